"""Unit definitions and factors printed by authorities, and the same from a reference library."""

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from checker.formulas import parse_formula
from checker.units import ARCSEC, M_PER_FOOT, M_PER_US_SURVEY_FOOT, LengthUnit, parse_sigma_level

FOLDER = Path(__file__).parent / "accuracy"


def case(name: str) -> tuple[dict[str, Any], dict[str, float]]:
    content = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    return content["expected"], content["tolerance"]


def test_foot_definitions() -> None:
    # 85 FR 62698 (NIST, NOAA): VERIFIED
    expected, tolerance = case("unit-foot-definitions")
    for key, found in (
        ("usft_per_m", LengthUnit.US_SURVEY_FOOT.from_metres(1.0)),
        ("ift_per_m", LengthUnit.FOOT.from_metres(1.0)),
        ("ratio_ift_to_usft", M_PER_FOOT / M_PER_US_SURVEY_FOOT),
    ):
        assert found == pytest.approx(expected[key], abs=tolerance[key], rel=0), key


def test_us_survey_feet_of_a_highway_manual() -> None:
    # Texas Department of Transportation, ESS manual: VERIFIED
    expected, tolerance = case("unit-txdot-factor")
    found = LengthUnit.US_SURVEY_FOOT.from_metres(1.0)
    assert found == pytest.approx(expected["factor"], abs=tolerance["factor"], rel=0)


def test_no_rounded_library_factor() -> None:
    # ezdxf 1.4.5 converts feet by a rounded factor; ours is the definition: VERIFIED
    expected, _ = case("unit-ezdxf-conversion-trap")
    assert pytest.approx(expected["exact_feet"], rel=0, abs=0) == M_PER_FOOT
    assert abs(expected["factor_feet"] - M_PER_FOOT) > 1e-12


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("foot", M_PER_FOOT),
        ("US survey foot", M_PER_US_SURVEY_FOOT),
        ("metre", LengthUnit.METRE.metres),
    ],
)
def test_lengths_of_the_epsg_registry(name: str, factor: float) -> None:
    # Reference library: the EPSG registry as pyproj carries it, 15 digits.
    from pyproj.database import get_units_map

    found = get_units_map(auth_name="EPSG", category="linear")[name].conv_factor
    assert factor == pytest.approx(found, rel=2e-15)


def test_arc_second_of_the_epsg_registry() -> None:
    from pyproj.database import get_units_map

    found = get_units_map(auth_name="EPSG", category="angular")["arc-second"].conv_factor
    assert pytest.approx(found, rel=1e-14) == ARCSEC


def test_accuracy_factors_at_95_per_cent() -> None:
    # FGDC-STD-007.3-1998: 1.7308 RMSE_r in plan, 1.9600 RMSE_z in height: VERIFIED
    expected, tolerance = case("acc-nssda-factors")
    level = parse_sigma_level("95 %")
    key = "k_h95_rmse_r"
    assert level.radial == pytest.approx(expected[key], abs=tolerance[key], rel=0)
    assert level.axis == pytest.approx(expected["k_v95"], abs=tolerance["k_v95"], rel=0)
    key = "k_h95_sigma"
    assert level.radial * math.sqrt(2) == pytest.approx(expected[key], abs=tolerance[key], rel=0)


def test_accuracy_factors_at_90_per_cent() -> None:
    # ACIC / NGA conversion factors: VERIFIED
    expected, tolerance = case("acc-ce-le-factors")
    level = parse_sigma_level("90 %")
    for key, found in (
        ("ce90_per_rmse_r_exact", level.radial),
        ("ce90_per_sigma", level.radial * math.sqrt(2)),
        ("le90_per_rmse_z", level.axis),
    ):
        assert found == pytest.approx(expected[key], abs=tolerance[key], rel=0), key


def test_allowable_misclosures_of_a_level_net() -> None:
    # phisan-chula/Deform_Congruent, tolerance audit of 12 mm * sqrt(km): VERIFIED
    content = tomllib.loads((FOLDER / "level-audit-12sqrtk.toml").read_text(encoding="utf-8"))
    formula = parse_formula("12 mm * sqrt(km)", "length", LengthUnit.METRE)
    lines = content["inputs"]["lines"]
    for line, allowable in zip(lines, content["expected"]["allowable_mm"], strict=True):
        found_mm = formula.at(length_m=line[3] * 1000.0) * 1000.0
        assert found_mm == pytest.approx(allowable, abs=content["tolerance"]["allowable_mm"], rel=0)
