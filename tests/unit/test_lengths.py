import numpy as np
import pytest

from checker.lengths import is_fine, small_scale, small_text, spoken_scale
from checker.units import LengthUnit

METRE, FOOT, USFT = LengthUnit.METRE, LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT


@pytest.mark.parametrize(
    ("value_m", "text"),
    [
        (0.0123, "12 mm"),
        (-0.0123, "-12 mm"),
        (0.0125, "13 mm"),
        (0.005, "5 mm"),
        (0.0049, "4.9 mm"),
        (0.00006, "0.1 mm"),
        (0.00004, "0 mm"),
        (-0.00004, "0 mm"),
        (0.0, "0 mm"),
        (0.9994, "999 mm"),
        (1.0, "1.000 m"),
        (-11.999, "-11.999 m"),
        (float("nan"), "– m"),
    ],
)
def test_a_job_in_metres_says_small_lengths_in_millimetres(value_m: float, text: str) -> None:
    assert small_text(value_m, METRE) == text


@pytest.mark.parametrize("unit", [FOOT, USFT])
def test_a_job_in_feet_says_every_length_in_feet(unit: LengthUnit) -> None:
    assert small_text(0.01 * unit.metres, unit) == "0.010 ft"
    assert small_text(-0.0001 * unit.metres, unit) == "0.000 ft"
    assert small_text(12.0 * unit.metres, unit) == "12.000 ft"


def test_a_plus_stands_only_before_what_prints_above_zero() -> None:
    assert small_text(0.0123, METRE, plus=True) == "+12 mm"
    assert small_text(0.00004, METRE, plus=True) == "0 mm"
    assert small_text(0.0123, METRE, decimals=4, plus=True) == "+12.3 mm"


def test_a_sentence_has_a_tenth_where_what_it_speaks_of_is_fine() -> None:
    assert spoken_scale(METRE, 0.02, fine_m=0.004).decimals == 1
    assert spoken_scale(METRE, 0.02, fine_m=0.005).decimals == 0
    assert spoken_scale(METRE, 2.0, fine_m=0.004).unit == "m"


def test_a_column_keeps_one_unit_whatever_stands_in_it() -> None:
    scale = small_scale(METRE)
    assert (scale.unit, scale.metres, scale.decimals) == ("mm", 0.001, 0)
    assert small_scale(METRE, fine=True).decimals == 1
    assert small_scale(METRE, decimals=4).decimals == 1
    assert small_scale(USFT, fine=True).decimals == 3


def test_zero_and_what_is_missing_ask_for_no_further_digit() -> None:
    assert not is_fine(0.0, np.nan, 0.005, 0.1)
    assert is_fine(0.1, -0.0049)
