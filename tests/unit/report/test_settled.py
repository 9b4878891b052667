import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.report.settled import DECIMALS, DIGITS, settled


def one(value: float) -> float:
    return float(settled(np.array([value]))[0])


@pytest.mark.parametrize(
    ("value", "kept"),
    [
        (511956.99600000004, 511956.996),  # as feet come back from metres
        (0.035297478716221894, 0.0352974787162),
        (0.03529747871622192, 0.0352974787162),
        (-0.00026517, -0.00026517),
        (1.0 - 2**-53, 1.0),
        (0.001 + 1e-18, 0.001),
        (123456789012.25, 123456789012.25),  # no digit of it is noise
        (-0.0, 0.0),
    ],
)
def test_noise_is_cut_off(value: float, kept: float) -> None:
    assert one(value) == kept
    assert len(json.dumps(one(value))) <= len(json.dumps(kept))


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_what_is_cut_off_is_less_than_any_use_of_the_number(value: float) -> None:
    kept = one(value)
    assert abs(kept - value) <= 0.5 * 10.0 ** (1 - DIGITS) * abs(value) + 1e-160
    assert abs(kept - value) <= 0.5 * 10.0**-DECIMALS + math.ulp(value)
    assert one(kept) == kept
    assert math.copysign(1.0, kept) == math.copysign(1.0, value) or kept == 0.0


@given(st.floats(min_value=1e-9, max_value=1e6), st.integers(min_value=-2, max_value=2))
def test_the_last_digits_of_a_double_seldom_show(value: float, steps: int) -> None:
    """Only at a tie do two neighbours part, and then by one unit of the last digit."""
    other = value
    for _ in range(abs(steps)):
        other = math.nextafter(other, math.inf if steps > 0 else 0.0)
    unit = 10.0 ** -(max(DECIMALS, DIGITS - 1 - math.floor(math.log10(value))))
    assert abs(one(other) - one(value)) <= unit + 2.0 * math.ulp(value)


def test_what_is_no_number_stays() -> None:
    values = settled(np.array([np.nan, np.inf, -np.inf]))
    assert math.isnan(values[0])
    assert values[1:].tolist() == [math.inf, -math.inf]
    assert settled(np.empty(0)).shape == (0,)
    assert settled(np.ones((2, 3))).shape == (2, 3)
