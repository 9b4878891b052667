import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.formulas import parse_formula
from checker.units import (
    ARCSEC,
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

pytestmark = pytest.mark.property

units = st.sampled_from(LengthUnit)
formats = st.sampled_from(AngleFormat)
lengths = st.floats(-1e8, 1e8)
positive = st.floats(1e-6, 1e6)
# texts near the grammar, so that the parsers get past their first character
PIECES = (
    *("1", "20", "0.5", "60", "1/8", "e5", ".", ",", " ", "-", "+", "*", "/", "(", ")", ":", "%"),
    *("sqrt", "√", "n", "km", "mi", "ppm", "mm", "ft", "in", "US", "survey", "arcsec", "sigma"),
    *('"', "'", "°", "N", "E", "S", "W", "due ", "h"),
)
pieces = st.sampled_from(PIECES)
texts = st.one_of(st.text(max_size=20), st.lists(pieces, max_size=10).map("".join))
numbers = st.one_of(st.floats(), st.integers(), st.integers(-(10**400), 10**400))


@given(lengths, units)
def test_metres_and_back(value: float, unit: LengthUnit) -> None:
    assert unit.from_metres(unit.to_metres(value)) == pytest.approx(value, rel=1e-15, abs=1e-300)


@given(lengths, units)
def test_a_text_reads_as_its_number(value: float, unit: LengthUnit) -> None:
    assert parse_length(repr(value), unit) == parse_length(value, unit)
    named = "usft" if unit is LengthUnit.US_SURVEY_FOOT else unit.short
    assert parse_length(f"{value!r} {named}", LengthUnit.METRE) == parse_length(value, unit)


@given(
    st.integers(0, 399),
    st.integers(0, 59),
    st.integers(0, 59_999),
    st.booleans(),
    st.sampled_from(["{s}{d}-{m:02}-{x}", "{s}{d} {m} {x}", "{s}{d}°{m}'{x}\"", "{s}{d}d{m}m{x}s"]),
)
def test_every_spelling_of_an_angle(d: int, m: int, ms: int, minus: bool, spelling: str) -> None:
    seconds = f"{ms // 1000}.{ms % 1000:03}"
    expected = (d * 3600 + m * 60 + ms / 1000) * ARCSEC * (-1 if minus else 1)
    sign = "-" if minus else ""
    text = spelling.format(s=sign, d=d, m=m, x=seconds)
    assert parse_angle(text) == pytest.approx(expected, abs=1e-14)
    packed = f"{sign}{d}.{m:02}{ms // 1000:02}{ms % 1000:03}"
    assert parse_angle(packed, AngleFormat.PACKED) == pytest.approx(expected, abs=1e-14)
    # the same as a TOML number: no digit is lost on the way through a binary fraction
    assert parse_angle(float(packed), AngleFormat.PACKED) == pytest.approx(expected, abs=1e-14)


@given(st.floats(0, 90), st.sampled_from(["NE", "SE", "SW", "NW"]))
def test_a_bearing_is_its_azimuth(degrees: float, quadrant: str) -> None:
    azimuth = parse_bearing(f"{quadrant[0]} {degrees:.9f} {quadrant[1]}")
    assert 0.0 <= azimuth < 2 * math.pi
    angle = math.radians(round(degrees, 9))
    north, east = math.cos(angle), math.sin(angle)
    assert math.cos(azimuth) == pytest.approx(north if quadrant[0] == "N" else -north, abs=1e-12)
    assert math.sin(azimuth) == pytest.approx(east if quadrant[1] == "E" else -east, abs=1e-12)


@given(positive, positive, positive, units, st.floats(0, 1e6), st.integers(1, 100))
def test_a_sum_is_the_sum_of_its_terms(
    a: float, b: float, c: float, unit: LengthUnit, length_m: float, n: int
) -> None:
    terms = [f"{a!r} mm", f"{b!r} ft * sqrt(mi)", f"{c!r} ppm", f"{a!r} in * sqrt(n)"]
    whole = parse_formula(" + ".join(terms), "length", unit).at(n, length_m)
    parts = sum(parse_formula(term, "length", unit).at(n, length_m) for term in terms)
    assert whole == pytest.approx(parts, rel=1e-12)


@given(positive, st.floats(0, 1e6))
def test_miles_are_kilometres(value: float, length_m: float) -> None:
    miles = parse_formula(f"{value!r} ft * sqrt(mi)", "length", LengthUnit.FOOT)
    expected = value * 0.3048 * math.sqrt(length_m / 1609.344)
    assert miles.at(length_m=length_m) == pytest.approx(expected, rel=1e-12)


@given(st.one_of(texts, numbers), units, formats)
def test_anything_else_is_a_unit_error(
    value: str | float, unit: LengthUnit, fmt: AngleFormat
) -> None:
    parsers: tuple[Callable[[], float], ...] = (
        lambda: parse_length(value, unit),
        lambda: parse_angle(value, fmt),
        lambda: parse_small_angle(value),
        lambda: parse_bearing(value, fmt),
        lambda: parse_seconds(value),
        lambda: parse_ratio(value),
        lambda: parse_formula(value, "length", unit).at(4, 100.0),
        lambda: parse_formula(value, "angle", unit).at(4, 100.0),
        lambda: parse_sigma_level(value).axis,
    )
    for parse in parsers:
        try:
            found = parse()
        except UnitError:
            continue
        assert math.isfinite(found)
