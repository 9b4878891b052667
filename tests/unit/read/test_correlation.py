"""Correlation of northing and easting as files show it: headings, units, levels, faults."""

import numpy as np
import pytest

from checker.errors import InputError
from checker.model.points import Points
from checker.read.files import Source
from checker.read.points import read_points
from checker.units import LengthUnit, SigmaLevel, parse_sigma_level

HEAD = "id,n,e,z,sigma_n,sigma_e,"


def read(text: str, unit: LengthUnit = LengthUnit.METRE, level: SigmaLevel | None = None) -> Points:
    source = Source(path="shots.csv", data=text.encode())
    points, _ = read_points(
        [source], unit=unit, columns={}, role="as-measured", sigma_level=level, unique=False
    )
    return points


def correlation(points: Points) -> list[float]:
    assert points.quality.correlation_ne is not None
    found: list[float] = points.quality.correlation_ne.tolist()
    return found


@pytest.mark.parametrize("heading", ["correlation_ne", "Correlation NE", "corr_ne", "rho_ne"])
def test_a_correlation_is_read_as_it_stands(heading: str) -> None:
    found = correlation(read(f"{HEAD}{heading}\n1,1,2,3,0.01,0.02,-0.4\n2,1,2,3,0.01,0.02,\n"))
    assert found[0] == -0.4
    assert np.isnan(found[1])


@pytest.mark.parametrize(
    ("unit", "heading", "cell"),
    [
        (LengthUnit.METRE, "cov_ne", "0.0001"),
        (LengthUnit.METRE, "covariance_ne (m2)", "0.0001"),
        (LengthUnit.METRE, "cov ne [mm²]", "100"),
        (LengthUnit.METRE, "c_ne (cm2)", "1"),
        (LengthUnit.FOOT, "cov_ne", "0.0001"),
        (LengthUnit.US_SURVEY_FOOT, "cov_ne (ft2)", "0.0001"),
        (LengthUnit.FOOT, "cov_ne (mm2)", str(0.0001 * 304.8**2)),
    ],
)
def test_a_covariance_is_in_the_square_of_the_unit(
    unit: LengthUnit, heading: str, cell: str
) -> None:
    found = read(f"{HEAD}{heading}\n1,1,2,3,0.01,0.02,{cell}\n", unit)
    assert correlation(found)[0] == pytest.approx(0.5, rel=1e-9)


def test_a_covariance_is_stored_at_the_level_of_the_sigmas() -> None:
    level = parse_sigma_level("95 %")
    found = read(f"{HEAD}cov_ne\n1,1,2,3,0.0196,0.0392,0.00038416\n", level=level)
    assert correlation(found)[0] == pytest.approx(0.5, rel=1e-6)
    assert found.quality.sigma_n_m is not None
    assert found.quality.sigma_n_m[0] == pytest.approx(0.01, rel=1e-4)


def test_decimal_commas() -> None:
    found = read("id;n;e;sigma_n;sigma_e;cov_ne\n1;1,5;2,5;0,010;0,020;0,0001\n")
    assert correlation(found)[0] == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f"{HEAD}correlation_ne\n1,1,2,3,0.01,0.02,1.2\n", "none is beyond -1 to 1"),
        (f"{HEAD}cov_ne\n1,1,2,3,0.01,0.02,0.001\n", "a correlation of 5.00"),
    ],
)
def test_what_is_no_correlation(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read(text)
    problem = caught.value.problems[0]
    assert problem.slug == "bad-covariance"
    assert words in problem.message


def test_a_covariance_in_another_unit_than_a_square() -> None:
    with pytest.raises(InputError) as caught:
        read(f"{HEAD}cov_ne (mm)\n1,1,2,3,0.01,0.02,100\n")
    assert [p.slug for p in caught.value.problems] == ["unit-contradiction"]


def test_rounding_may_reach_a_little_beyond_one() -> None:
    assert correlation(read(f"{HEAD}corr_ne\n1,1,2,3,0.01,0.01,-1.01\n")) == [-1.0]


def test_without_both_deviations_it_is_said_and_not_used() -> None:
    text = "id,n,e,sigma_h,correlation_ne\n1,1,2,0.01,0.5\n"
    points, notices = read_points(
        [Source(path="shots.csv", data=text.encode())],
        unit=LengthUnit.METRE,
        columns={},
        role="as-measured",
        unique=False,
    )
    assert points.quality.correlation_ne is None
    assert [notice.slug for notice in notices] == ["correlation-not-used"]
