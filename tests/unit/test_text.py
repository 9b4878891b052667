"""Numbers as text."""

import math

import pytest

from checker.text import (
    azimuth,
    decimals_apart,
    dms,
    fixed,
    group,
    lath,
    ratio,
    show_failure,
    signed,
    stated_decimals,
)


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (2.675, 2, "2.68"),  # the nearest double lies below the tie
        (-2.675, 2, "-2.68"),  # half up on the magnitude
        (0.125, 2, "0.13"),
        (0.1249999, 2, "0.12"),
        (-0.0004, 3, "0.000"),
        (-0.0, 3, "0.000"),
        (-0.0005, 3, "-0.001"),
        (0.05 * 3 / 0.3048 * 0.3048, 2, "0.15"),
        (618000.0005, 3, "618000.001"),
        (1e16, 1, "10000000000000000.0"),
        (9.9996, 3, "10.000"),
        (5.0, 0, "5"),
        (math.nan, 3, "–"),
        (math.inf, 3, "∞"),
        (-math.inf, 3, "-∞"),
    ],
)
def test_fixed(value: float, decimals: int, text: str) -> None:
    assert fixed(value, decimals) == text


def test_missing_is_what_the_caller_wants() -> None:
    assert fixed(math.nan, 2, missing="") == ""


@pytest.mark.parametrize(
    ("value", "text"), [(0.012, "+0.012"), (-0.012, "-0.012"), (0.0001, "0.000"), (0.0, "0.000")]
)
def test_signed(value: float, text: str) -> None:
    assert signed(value, 3) == text


@pytest.mark.parametrize(
    ("value", "limit", "texts"),
    [
        (0.0412, 0.03, ("0.041", "0.030")),
        (0.0301, 0.03, ("0.0301", "0.0300")),
        (0.030002, 0.03, ("0.030002", "0.030000")),
        (0.03, 0.03, ("0.030", "0.030")),  # equal: no failure to show
    ],
)
def test_a_failure_never_prints_as_its_limit(
    value: float, limit: float, texts: tuple[str, str]
) -> None:
    assert show_failure(value, limit, 3) == texts
    assert fixed(value, decimals_apart(value, limit, 3)) == texts[0]


@pytest.mark.parametrize(
    ("n", "text"),
    [
        (12345.9, "1:12,345"),
        (9999.9999, "1:9,999"),
        (10000.0 * (1 - 1e-12), "1:10,000"),
        (math.inf, "1:∞"),
        (math.nan, "–"),
    ],
)
def test_a_ratio_is_rounded_down(n: float, text: str) -> None:
    assert ratio(n) == text


def test_group() -> None:
    assert group(-1234567.891, 2) == "-1,234,567.89"
    assert group(math.nan) == "–"
    assert group(-0.2) == "0"


@pytest.mark.parametrize(
    ("degrees", "decimals", "text"),
    [
        (123.7657361111, 1, "123-45-56.7"),
        (59.9999999, 0, "60-00-00"),  # never 59-59-60
        (-0.5, 0, "-0-30-00"),
        (-1e-9, 0, "0-00-00"),
        (7.0, 0, "7-00-00"),
        (math.nan, 0, "–"),
    ],
)
def test_dms(degrees: float, decimals: int, text: str) -> None:
    assert dms(math.radians(degrees), decimals) == text


def test_an_azimuth_never_prints_as_360() -> None:
    assert azimuth(math.tau - 1e-9) == "0-00-00"
    assert azimuth(-math.pi / 2) == "270-00-00"


@pytest.mark.parametrize(
    ("dz", "decimals", "text"),
    [
        (0.3249, 2, "C 0.32"),
        (-0.145, 2, "F 0.15"),
        (0.004, 2, "0.00"),
        (-0.0004, 3, "0.000"),
        (math.nan, 2, "–"),
    ],
)
def test_lath(dz: float, decimals: int, text: str) -> None:
    assert lath(dz, decimals) == text


@pytest.mark.parametrize(
    ("limit", "least", "decimals"),
    [
        (12.5, 0, 1),
        (0.0125 / 0.001, 0, 1),
        (6.25, 0, 2),
        (15.0, 0, 0),
        (0.0625, 3, 4),
        (0.03 * 1200 / 3937 / (1200 / 3937), 3, 3),
        (0.0254 / 0.3048, 3, 3),  # an inch in feet has no end
        (math.inf, 3, 3),
        (math.nan, 3, 3),
        (0.0, 3, 3),
    ],
)
def test_a_limit_has_the_digits_that_it_was_stated_with(
    limit: float, least: int, decimals: int
) -> None:
    assert stated_decimals(limit, least) == decimals
