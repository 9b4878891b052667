import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.model.measure import Quantity
from checker.report.numbers import Outside, fixed_column
from checker.report.show import chance, chances, closure_ratio, percent, percents
from checker.text import fixed
from checker.units import LengthUnit

NUMBERS = st.floats(allow_nan=True, allow_infinity=True, width=64)


@given(st.lists(NUMBERS, max_size=30), st.integers(0, 6))
def test_column_of_numbers_is_the_single_number_repeated(
    values: list[float], decimals: int
) -> None:
    column = fixed_column(np.array(values, dtype=np.float64), decimals)
    assert column == [fixed(value, decimals) for value in values]


@given(st.lists(st.integers(-20_000, 20_000), min_size=1, max_size=40))
def test_ties_of_decimal_fractions_round_half_up(halves: list[int]) -> None:
    values = np.array([half / 2000 for half in halves])
    expected = [fixed(half / 2000, 3) for half in halves]
    assert fixed_column(values, 3) == expected


def test_never_minus_zero() -> None:
    assert fixed_column(np.array([-0.0004, -0.0, 0.0]), 3) == ["0.000"] * 3


@given(st.lists(st.floats(0, 50), max_size=30))
def test_columns_of_shares_and_chances_are_the_single_ones(values: list[float]) -> None:
    array = np.array(values, dtype=np.float64)
    assert percents(array) == [percent(value) for value in values]
    assert chances(np.minimum(array, 1.0)) == [chance(min(value, 1.0)) for value in values]


def test_a_share_past_its_limit_never_prints_as_one_hundred() -> None:
    assert percent(1.0).startswith("100\N{NARROW NO-BREAK SPACE}")
    assert percent(1.0004).startswith("100.04")
    assert percent(math.nan) == "–"


def test_many_times_the_limit_is_told_as_times() -> None:
    assert [percent(value) for value in (9.99, 10.0, 119.99, 1234.0)] == [
        "999\N{NARROW NO-BREAK SPACE}%",
        "10\N{NARROW NO-BREAK SPACE}×",
        "120\N{NARROW NO-BREAK SPACE}×",
        "1,234\N{NARROW NO-BREAK SPACE}×",
    ]


@pytest.mark.parametrize(
    ("found", "asked", "text"),
    [
        (74111.0, 15000.0, "1:74,000"),
        (74111.0, math.nan, "1:74,000"),
        (14999.9, 15000.0, "1:14,000"),  # a failure stays below
        (15700.0, 15500.0, "1:15,700"),  # a pass is never shown as a failure
        (15000.0, 15000.0, "1:15,000"),
        (15432.0, 15431.0, "1:15,432"),
        (87.0, 50.0, "1:87"),
        (math.inf, 5000.0, "1:∞"),
    ],
)
def test_a_closure_ratio_has_no_digits_that_mean_nothing(
    found: float, asked: float, text: str
) -> None:
    assert closure_ratio(found, asked) == text


@given(st.floats(1.0, 1e9), st.floats(1.0, 1e9))
def test_a_closure_ratio_never_flatters_nor_contradicts_its_verdict(
    found: float, asked: float
) -> None:
    shown = float(closure_ratio(found, asked)[2:].replace(",", ""))
    assert shown <= found * (1.0 + 1e-8)
    if math.floor(found) >= asked:
        assert shown >= asked


@pytest.mark.parametrize(
    ("quantity", "key", "value", "expected"),
    [
        (Quantity.LENGTH, "dn", 0.3048, 0.999998),  # a foot is 0.999998 US survey feet
        (Quantity.AREA, "area", (1200 / 3937) ** 2, 1.0),
        (Quantity.ANGLE, "azimuth", math.pi, 180.0),
        (Quantity.SMALL_ANGLE, "angular_misclosure_arcsec", math.pi / 180, 3600.0),
        (Quantity.SMALL_ANGLE, "rotation_deg", math.pi / 180, 1.0),
        (Quantity.RATIO, "ratio", 12345.6, 12345.6),
        (Quantity.HOURS, "apart_h", 4.5, 4.5),
    ],
)
def test_units_outside(quantity: Quantity, key: str, value: float, expected: float) -> None:
    outside = Outside(unit=LengthUnit.US_SURVEY_FOOT)
    assert outside.one(quantity, key, value) == pytest.approx(expected, rel=1e-12)
