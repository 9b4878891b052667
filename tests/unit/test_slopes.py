"""Slopes as people write them."""

import pytest

from checker.units import UnitError, parse_slope


@pytest.mark.parametrize(
    ("text", "rise"),
    [
        ("2 %", 0.02),
        ("2%", 0.02),
        ("-0.5 percent", -0.005),
        ("5 ‰", 0.005),
        ("1:48", 1 / 48),
        ("1 in 48", 1 / 48),
        ("-1:200", -1 / 200),
        ("1:1", 1.0),
        ("1/4 in/ft", 1 / 48),
        ("1/8 in per ft", 1 / 96),
        ("5 mm/m", 0.005),
        ("0.02 ft/ft", 0.02),
        ("250 %", 2.5),
        (0, 0.0),
        ("0 %", 0.0),
    ],
)
def test_a_slope_is_rise_per_length(text: str | float, rise: float) -> None:
    assert parse_slope(text) == pytest.approx(rise, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (2, "has no unit"),
        (0.02, "has no unit"),
        ("2", "is not a slope"),
        ("2:1", "rise to run, or run to rise"),
        ("1:0", "rise to run, or run to rise"),
        ("1.5", "is not a slope"),
        ("steep", "does not begin with a number"),
        ("2 ft", "is not a slope"),
        ("2 apples/ft", "is not a slope"),
        (True, "is not a number"),
    ],
)
def test_what_could_be_two_things_is_refused(text: str | float, says: str) -> None:
    with pytest.raises(UnitError, match=says):
        parse_slope(text)
