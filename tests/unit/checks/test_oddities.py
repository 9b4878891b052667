"""What looks odd about points is said; what is plain is not."""

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from checker.checks.oddities import against_known, oddities, point_oddities
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.points import Points, Quality
from checker.units import LengthUnit

FOOT = LengthUnit.US_SURVEY_FOOT
Row = tuple[str, float, float, float]


def points(rows: Iterable[Row], unit: LengthUnit = LengthUnit.METRE, file: str = "a.csv") -> Points:
    rows = list(rows)
    n, e, z = (np.array([row[i] for row in rows], dtype=float) * unit.metres for i in (1, 2, 3))
    blank = np.full(len(rows), "", dtype=object)
    return Points(
        id=np.array([row[0] for row in rows], dtype=object),
        northing_m=n,
        easting_m=e,
        elevation_m=z,
        description=blank,
        layer=blank,
        handle=blank,
        file=np.zeros(len(rows), dtype=np.int64),
        line=np.arange(2, len(rows) + 2, dtype=np.int64),
        files=(file,),
        quality=Quality(),
    )


SITE: list[Row] = [
    (str(i), 512_000.0 + 11 * i, 618_000.0 + 13 * (i % 5), 46 + 0.1 * i) for i in range(20)
]


def slugs(rows: Iterable[Row], unit: LengthUnit = LengthUnit.METRE) -> list[str]:
    return [notice.slug for notice in point_oddities(points(rows, unit), unit)]


def test_a_plain_site_is_not_odd() -> None:
    assert slugs(SITE) == []
    assert slugs(SITE, FOOT) == []
    assert slugs(SITE[:1]) == []
    assert against_known(points(SITE), [points(SITE)], LengthUnit.METRE) == []


@pytest.mark.parametrize("unit", [LengthUnit.METRE, FOOT])
@pytest.mark.parametrize(
    ("value", "said"),
    [
        (51_205.5, "512055.000 if a digit or the decimal point has slipped"),
        (5_120_550.0, "512055.000 if a digit or the decimal point has slipped"),
        (512.055, "512055.000 if the decimal point has slipped by three"),
        (12_055.0, "512055.000 with its leading digits"),
        (2_055.0, "512055.000 with its leading digits"),
    ],
)
def test_a_coordinate_that_lost_digits(value: float, said: str, unit: LengthUnit) -> None:
    odd = [*SITE, ("X", value, 618_020.0, 47.0)]
    (notice,) = point_oddities(points(odd, unit), unit)
    assert notice.slug == "lost-digits"
    assert '"X"' in notice.message
    assert said in notice.message
    assert notice.where.line == 22


def test_a_base_far_off_is_only_far() -> None:
    odd = [*SITE, ("BASE", 527_000.0, 623_000.0, 90.0)]
    (notice,) = point_oddities(points(odd), LengthUnit.METRE)
    assert notice.slug == "far-point"
    assert '"BASE"' in notice.message


def test_two_parts_of_a_site_are_no_strays() -> None:
    second = [(f"B{i}", n + 3000.0, e, z) for i, (_, n, e, z) in enumerate(SITE)]
    assert slugs([*SITE, *second]) == []


def test_heights_that_are_none() -> None:
    assert slugs((p, n, e, 0.0) for p, n, e, _ in SITE) == ["zero-heights"]
    assert slugs((p, n, e, -9999.0 if p == "3" else z) for p, n, e, z in SITE) == ["no-data-height"]
    feet = [(p, n, e, -999.0 if p == "3" else z) for p, n, e, z in SITE]
    assert slugs(feet, FOOT) == ["no-data-height"]


def test_one_column_stored_twice() -> None:
    assert "same-axes" in slugs((p, n, n, z) for p, n, _, z in SITE)


def test_one_number_at_two_places() -> None:
    assert slugs([*SITE, ("3", 512_033.02, 618_039.01, 46.3)]) == []
    (notice,) = point_oddities(points([*SITE, ("3", 512_099.0, 618_012.0, 46.3)]), LengthUnit.METRE)
    assert notice.slug == "number-twice"
    assert '"3" on lines 5 and 22' in notice.message


@pytest.mark.parametrize("unit", [LengthUnit.METRE, FOOT])
@pytest.mark.parametrize("numbered", [True, False])
def test_exchanged_columns(numbered: bool, unit: LengthUnit) -> None:
    swapped = [(p if numbered else f"x{p}", e, n, z) for p, n, e, z in SITE]
    (notice,) = against_known(points(swapped, unit), [points(SITE, unit)], unit)
    assert notice.slug == "swapped-axes"
    assert notice.where.file == "a.csv"


def test_points_of_another_zone() -> None:
    elsewhere = [(f"x{p}", n, e + 400_000.0, z) for p, n, e, z in SITE]
    (notice,) = against_known(points(elsewhere), [points(SITE)], LengthUnit.METRE)
    assert notice.slug == "elsewhere"
    assert "-400000 m east" in notice.message


def test_a_job_collects_them_file_by_file() -> None:
    swapped = [(p, e, n, z) for p, n, e, z in SITE]
    job = Job(file="job.toml", root=Path(), title="Invented", unit=LengthUnit.METRE)
    inputs = Inputs(
        files=(),
        measured=points(swapped, file="shots.csv"),
        control=points(SITE[:3], file="control.csv"),
        design=points([(p, n, e, 0.0) for p, n, e, _ in SITE], file="design.csv"),
    )
    found = [(notice.where.file, notice.slug) for notice in oddities(inputs, job)]
    assert found == [("design.csv", "zero-heights"), ("shots.csv", "swapped-axes")]


def test_a_hundred_thousand_points() -> None:
    rng = np.random.default_rng(7)
    many = [
        (str(i), 5000.0 + a, 6000.0 + b, 50.0)
        for i, (a, b) in enumerate(rng.uniform(0, 900, (100_000, 2)).tolist())
    ]
    assert slugs(many) == []
