import math
from typing import Any, Literal

import numpy as np
import pytest

from checker.formulas import parse_formula
from checker.units import (
    ARCSEC,
    M_PER_FOOT,
    M_PER_US_SURVEY_FOOT,
    AngleFormat,
    LengthUnit,
    UnitError,
    parse_angle,
    parse_bearing,
    parse_length,
    parse_ratio,
    parse_seconds,
    parse_sigma_level,
    parse_small_angle,
)

M, FT, USFT = LengthUnit.METRE, LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT
US = 1200 / 3937
HUGE = 10**400


@pytest.mark.parametrize(
    ("value", "unit", "metres"),
    [
        (2, M, 2.0),
        (2.5, FT, 0.762),
        (3937, USFT, 1200.0),
        ("2", FT, 0.6096),
        ("15 mm", FT, 0.015),
        ("2 cm", USFT, 0.02),
        ("0.25 m", USFT, 0.25),
        ("1.5 km", FT, 1500.0),
        ("0.05 ft", FT, 0.05 * 0.3048),
        ("0.05 ft", USFT, 0.05 * US),
        ("0.05 ft", M, 0.05 * 0.3048),
        ("3 usft", M, 3 * US),
        ("3 US survey feet", FT, 3 * US),
        ("3 us-survey-foot", FT, 3 * US),
        ("3 ift", USFT, 3 * 0.3048),
        ("1 in", M, 0.0254),
        ("12 in", USFT, US),
        ("1/8 in", FT, 0.003175),
        ("1 1/4 in", FT, 0.03175),
        ("1-1/4 in", FT, 0.03175),
        ("1 mi", FT, 1609.344),
        ("1 mi", USFT, 5280 * US),
        ("  -0.5FT. ", FT, -0.1524),
        ("−0.5 ft", FT, -0.1524),
        ("+.5 m", FT, 0.5),
        ("5. mm", FT, 0.005),
        ("1e3 mm", FT, 1.0),
        ("2\u00a0m", FT, 2.0),
    ],
)
def test_length(value: str | float, unit: LengthUnit, metres: float) -> None:
    assert parse_length(value, unit) == pytest.approx(metres, rel=1e-15)


@pytest.mark.parametrize(
    "value",
    [
        *("", " ", "ft", "abc", "2,5 m", "1,234.5", "1.2.3 m", "2 furlong", "20 arcsec", "1/0 in"),
        *("1e400", "9" * 5000, "nan", "inf", "2 m 3", "- 2 - m", "²", "٣ m"),
        *(math.nan, math.inf, HUGE, True),
    ],
)
def test_no_length(value: Any) -> None:
    with pytest.raises(UnitError) as caught:
        parse_length(value, M)
    assert '"' in str(caught.value)
    assert caught.value.hint
    assert len(str(caught.value)) < 200


def test_a_comma_is_named() -> None:
    with pytest.raises(UnitError, match="comma") as caught:
        parse_length("2,5 m", M)
    assert "point" in caught.value.hint


def test_unit_of_length_arrays() -> None:
    feet = np.array([0.0, 3937.0, np.nan])
    metres = USFT.to_metres(feet)
    np.testing.assert_array_equal(metres, [0.0, 1200.0, np.nan])
    np.testing.assert_allclose(USFT.from_metres(metres), feet, rtol=1e-15)
    assert FT.from_metres(FT.to_metres(1.0)) == 1.0
    assert [unit.short for unit in LengthUnit] == ["m", "ft", "ft", "mm", "cm", "in"]
    assert [unit.is_foot for unit in LengthUnit] == [False, True, True, False, False, False]
    assert [LengthUnit(word).metres for word in ("millimetre", "centimetre", "inch")] == [
        0.001,
        0.01,
        0.0254,  # exactly; 0.3048 / 12 is one bit off
    ]
    assert USFT.words == "US survey feet"
    assert (M_PER_FOOT, M_PER_US_SURVEY_FOOT) == (0.3048, US)


DMS = math.radians(123 + 45 / 60 + 56.7 / 3600)


@pytest.mark.parametrize(
    ("text", "fmt", "radians"),
    [
        ("123-45-56.7", "sexagesimal", DMS),
        ("123 45 56.7", "sexagesimal", DMS),
        ("123°45'56.7\"", "sexagesimal", DMS),
        ("123° 45′ 56.7″", "sexagesimal", DMS),
        ("123°45'56.7''", "sexagesimal", DMS),
        ("123d45m56.7s", "sexagesimal", DMS),
        ("-0-30-00", "sexagesimal", math.radians(-0.5)),
        ("12-30", "sexagesimal", math.radians(12.5)),
        ("12°30'", "sexagesimal", math.radians(12.5)),
        ("45°", "sexagesimal", math.radians(45)),
        ("45.5 deg", "sexagesimal", math.radians(45.5)),
        ("359.5", "sexagesimal", math.radians(359.5)),
        (10, "sexagesimal", math.radians(10)),
        ("123.45567", "packed", DMS),
        (123.45567, "packed", DMS),
        ("12.3", "packed", math.radians(12.5)),
        (12.3, "packed", math.radians(12.5)),
        (90, "packed", math.pi / 2),
        (-0.0001, "packed", -ARCSEC),
        (1e-05, "packed", 0.1 * ARCSEC),
        ("12-30-00", "packed", math.radians(12.5)),
        (100, "gon", math.pi / 2),
        ("100 gon", "gon", math.pi / 2),
        ("45-00-00", "gon", math.pi / 4),
        ("1.5", "radians", 1.5),
        ("1.5 rad", "radians", 1.5),
    ],
)
def test_angle(text: str | float, fmt: str, radians: float) -> None:
    assert parse_angle(text, AngleFormat(fmt)) == pytest.approx(radians, abs=1e-14)


@pytest.mark.parametrize(
    ("text", "fmt", "words"),
    [
        ("10-60-00", "sexagesimal", "60 minutes"),
        ("10-00-60", "sexagesimal", "60 seconds"),
        ("10.5-20-30", "sexagesimal", "decimals before"),
        ("10-20.5-30", "sexagesimal", "decimals before"),
        ("12.6", "packed", "60 minutes"),
        (12.0061, "packed", "61 seconds"),
        ("1e2", "packed", "packed"),
        ("50 gon", "sexagesimal", "not an angle"),
        ("1-2-3-4", "sexagesimal", "not an angle"),
        ("", "sexagesimal", "not an angle"),
        ("", "packed", "not an angle"),
        (".", "packed", "not an angle"),
        ("1e999", "sexagesimal", "not a number"),
        ("9" * 400 + "-00-00", "sexagesimal", "not an angle"),
        (math.nan, "gon", "not a number"),
        (True, "radians", "not a number"),
    ],
)
def test_no_angle(text: str | float, fmt: str, words: str) -> None:
    with pytest.raises(UnitError, match=words):
        parse_angle(text, AngleFormat(fmt))


@pytest.mark.parametrize(
    ("text", "arcsec"),
    [
        ("20 arcsec", 20),
        ("20 arc seconds", 20),
        ('5"', 5),
        ("5″", 5),
        ("0.5 arcmin", 30),
        ("1.5'", 90),
        ("0.01 deg", 36),
        ("0.01°", 36),
        ("0-00-20", 20),
        ("1 mgon", 3.24),
        ("1 mrad", 206.26480624709636),
    ],
)
def test_small_angle(text: str, arcsec: float) -> None:
    assert parse_small_angle(text) == pytest.approx(arcsec * ARCSEC, rel=1e-14)


@pytest.mark.parametrize("text", ["20", 20, "20 mm", "20 sec", "", "arcsec", "0-00-60", True])
def test_no_small_angle(text: Any) -> None:
    with pytest.raises(UnitError):
        parse_small_angle(text)


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("N 45-30-15 E", 45 + 30 / 60 + 15 / 3600),
        ("S45°W", 225),
        ("s 10 00 00 e", 170),
        ("N45°30'15\"W", 360 - (45 + 30 / 60 + 15 / 3600)),
        ("North 10.5 West", 349.5),
        ("N 0 W", 0),
        ("N 90 E", 90),
        ("N 90-00-00 W", 270),
        ("due north", 0),
        ("Due West", 270),
        ("E", 90),
        ("south", 180),
    ],
)
def test_bearing(text: str, degrees: float) -> None:
    assert math.degrees(parse_bearing(text)) == pytest.approx(degrees, abs=1e-12)


def test_bearing_in_gon() -> None:
    assert parse_bearing("S 50 E", AngleFormat.GON) == pytest.approx(0.75 * math.pi)


@pytest.mark.parametrize(
    "text", ["", "45", 45, "N E", "S 91 E", "N-45-E", "N 45", "45 E", "NE", "N 45-61-00 E"]
)
def test_no_bearing(text: Any) -> None:
    with pytest.raises(UnitError):
        parse_bearing(text)


@pytest.mark.parametrize(
    ("value", "seconds"),
    [
        (5, 5),
        ("5", 5),
        ("5 s", 5),
        ("2 min", 120),
        ("4 h", 14400),
        ("1.5 hours", 5400),
        ("1 d", 86400),
    ],
)
def test_seconds(value: str | float, seconds: float) -> None:
    assert parse_seconds(value) == seconds


@pytest.mark.parametrize("value", ["", "x", "2 weeks", "5 m", math.inf, True])
def test_no_seconds(value: Any) -> None:
    with pytest.raises(UnitError):
        parse_seconds(value)


@pytest.mark.parametrize(
    "value",
    ["1:10000", "1/10000", " 1 : 10000 ", "1:10,000", "1:10 000", "10000", 10000, 1e4, "1:10000.0"],
)
def test_ratio(value: str | float) -> None:
    assert parse_ratio(value) == 10000.0


@pytest.mark.parametrize(
    "value",
    ["", "1:0", "1:", "2:10000", "1:0.5", "1:1,00", 0.0001, -1, True, HUGE, "1;2"],
)
def test_no_ratio(value: Any) -> None:
    with pytest.raises(UnitError):
        parse_ratio(value)


@pytest.mark.parametrize("value", [2, 2.0, "2", "2 sigma", "2-sigma", "2σ"])
def test_sigma_level_as_a_multiple(value: str | float) -> None:
    level = parse_sigma_level(value)
    assert (level.axis, level.radial) == (2.0, 2.0)


@pytest.mark.parametrize("value", ["95 %", "95%", "95 percent", "95.0 %"])
def test_sigma_level_as_a_probability(value: str) -> None:
    level = parse_sigma_level(value)
    assert level.axis == pytest.approx(1.959963984540054, rel=1e-12)  # scipy.stats.norm.ppf(0.975)
    assert level.radial == pytest.approx(math.sqrt(-math.log(0.05)), rel=1e-14)


def test_sigma_level_against_scipy() -> None:
    # Outside reference: scipy's normal and Rayleigh distributions.
    from scipy.stats import norm, rayleigh

    for percent in (50.0, 68.27, 90.0, 99.0, 99.73):
        level = parse_sigma_level(f"{percent} %")
        assert level.axis == pytest.approx(norm.ppf(0.5 + percent / 200), rel=1e-12)
        assert level.radial == pytest.approx(rayleigh.ppf(percent / 100) / math.sqrt(2), rel=1e-12)


@pytest.mark.parametrize(
    "value", ["", "0", 0, -1, "100 %", "0 %", "95", 95, "two", True, math.nan, HUGE, "9" * 400]
)
def test_no_sigma_level(value: Any) -> None:
    with pytest.raises(UnitError):
        parse_sigma_level(value)


MI_KM = 1.609344


@pytest.mark.parametrize(
    ("text", "unit", "field", "value"),
    [
        (0.05, FT, "constant", 0.01524),
        ("0.05", FT, "constant", 0.01524),
        ("15 mm", FT, "constant", 0.015),
        ("1/8 in", FT, "constant", 0.003175),
        ("5 US survey feet", M, "constant", 5 * US),
        ("50 ppm", M, "per_length", 50e-6),
        ("12 mm * sqrt(km)", M, "per_sqrt_km", 0.012),
        ("12 mm*√km", M, "per_sqrt_km", 0.012),
        ("12 mm sqrt(km)", M, "per_sqrt_km", 0.012),
        ("sqrt(km) * 12 mm", M, "per_sqrt_km", 0.012),
        ("0.05 ft * sqrt(mi)", FT, "per_sqrt_km", 0.01524 / math.sqrt(MI_KM)),
        ("2 mm * km", M, "per_km", 0.002),
        ("2 mm/km", M, "per_km", 0.002),
        ("0.1 ft * mi", FT, "per_km", 0.03048 / MI_KM),
        ("3 mm * sqrt(n)", M, "per_sqrt_n", 0.003),
        ("3 mm * n", M, "per_n", 0.003),
        ("1 mm + 2 mm + 3 mm", M, "constant", 0.006),
        ("+1 cm", M, "constant", 0.01),
    ],
)
def test_length_formula(text: str | float, unit: LengthUnit, field: str, value: float) -> None:
    formula = parse_formula(text, "length", unit)
    every = ("constant", "per_n", "per_sqrt_n", "per_km", "per_sqrt_km", "per_length")
    for name in every:
        expected = value if name == field else 0.0
        assert getattr(formula, name) == pytest.approx(expected, rel=1e-14), name


@pytest.mark.parametrize(
    ("text", "field", "arcsec"),
    [
        ("20 arcsec", "constant", 20),
        ('20"', "constant", 20),
        ("0-01-30", "constant", 90),
        ("20 arcsec * sqrt(n)", "per_sqrt_n", 20),
        ('20"√n', "per_sqrt_n", 20),
        ("1'30\" * sqrt(n)", "per_sqrt_n", 90),
        ("0.5 arcmin * n", "per_n", 30),
        ("10 arc seconds * n", "per_n", 10),
    ],
)
def test_angle_formula(text: str, field: str, arcsec: float) -> None:
    formula = parse_formula(text, "angle", M)
    assert getattr(formula, field) == pytest.approx(arcsec * ARCSEC, rel=1e-14)
    assert formula.text == text


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("", "length", "empty"),
        ("   ", "angle", "empty"),
        ("20 arcsec", "length", "a length was expected"),
        ("0-00-20", "length", "a length was expected"),
        ("20 mm", "angle", "an angle was expected"),
        ("20 ppm", "angle", "ppm"),
        ("20", "angle", "no unit"),
        (20, "angle", "no unit"),
        ("20 arcsec * km", "angle", "not on a length"),
        ("-5 mm", "length", "negative"),
        (-0.5, "length", "negative"),
        ("5 mm - 2 ppm", "length", "only be added"),
        ("5 mm *", "length", "was expected"),
        ("5 mm * sqrt(", "length", "was expected"),
        ("5 mm * sqrt(km", "length", r'"\)" is missing'),
        ("5 mm * m", "length", "was expected"),
        ("5 mm / s", "length", "/ km"),
        ("50 ppm * km", "length", "ppm"),
        ("√" * 5000, "length", "root of a root"),
        ("sqrt(sqrt(km)) * 1 mm", "length", "root of a root"),
        ("(3 mm)", "length", "was expected"),
        ("3 mm 4 mm", "length", "not a unit|not expected"),
        ("3 mm * km * km", "length", "not expected"),
        ("3 furlong", "length", "not a unit"),
        ("km", "length", "a quantity"),
        ("km * km", "length", "a number with its unit"),
        ("3 mm; 4", "length", "cannot be read"),
        ("9" * 400 + " mm", "length", "too large"),
        ("9" * 5000 + "/3 mm", "length", "not a number"),
        ("1/0 mm", "length", "not a number"),
        (math.inf, "length", "not a number"),
        (True, "length", "not a number"),
    ],
)
def test_no_formula(text: Any, kind: Literal["length", "angle"], words: str) -> None:
    with pytest.raises(UnitError, match=words) as caught:
        parse_formula(text, kind, FT)
    assert caught.value.hint


def test_formula_values() -> None:
    formula = parse_formula(
        "2 mm + 3 mm * sqrt(n) + 1 mm * n + 4 mm * sqrt(km) + 10 ppm", "length", M
    )
    assert formula.needs_n
    assert formula.needs_length
    assert formula.at(n=4, length_m=9000.0) == pytest.approx(0.002 + 0.006 + 0.004 + 0.012 + 0.09)
    values = formula.at(n=np.array([1.0, 4.0]), length_m=np.array([0.0, 9000.0]))
    np.testing.assert_allclose(values, [0.006, 0.114], rtol=1e-14)
    with pytest.raises(UnitError, match="number of angles"):
        formula.at(length_m=1.0)
    with pytest.raises(UnitError, match="a length"):
        formula.at(n=1.0)


def test_formula_of_a_constant_needs_nothing() -> None:
    formula = parse_formula("15 mm", "length", FT)
    assert not formula.needs_n
    assert not formula.needs_length
    assert formula.at() == 0.015


def test_formula_text_names_the_unit_of_a_bare_number() -> None:
    assert parse_formula(0.05, "length", USFT).text == "0.05 ft"
    assert parse_formula(" 0.05 ", "length", M).text == "0.05 m"
    assert parse_formula(" 2 cm + 50 ppm", "length", FT).text == "2 cm + 50 ppm"


def test_a_number_too_long_to_print() -> None:
    too_long = 1 << 20_000
    for parse in (parse_angle, parse_ratio, parse_seconds, parse_small_angle, parse_sigma_level):
        with pytest.raises(UnitError, match="a very long number"):
            parse(too_long)
    with pytest.raises(UnitError, match="a very long number"):
        parse_length(too_long, M)
    with pytest.raises(UnitError, match="a very long number"):
        parse_formula(too_long, "length", M)
