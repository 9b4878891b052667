import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import lstsq

from checker.adjust.shares import along_run, by_weight, compass_rule, equally, transit_rule
from checker.model.arrays import FloatArray

weights = st.lists(st.floats(0.5, 2000.0), min_size=2, max_size=9).map(np.array)
error = st.floats(-1.0, 1.0)


def least_squares(observed: FloatArray, total: float, weight: FloatArray) -> FloatArray:
    """Corrections of differences in a chain between two fixed ends, by weighted least squares.

    The unknowns are the values at the inner points; scipy solves them without our rules.
    """
    count = observed.size
    design = np.zeros((count, count - 1))
    fixed = np.zeros(count)
    for row in range(count):
        if row < count - 1:
            design[row, row] = 1.0
        if row > 0:
            design[row, row - 1] = -1.0
    fixed[-1] = total
    root = np.sqrt(1.0 / weight)
    solution = lstsq(root[:, None] * design, root * (observed - fixed))[0]
    return np.asarray(design @ solution + fixed - observed)


@given(weights, error, error)
def test_compass_rule_is_least_squares_with_variances_as_the_legs(
    legs: FloatArray, north: float, east: float
) -> None:
    lat, dep = compass_rule(legs, north, east)
    zero = np.zeros(legs.size)
    np.testing.assert_allclose(lat, least_squares(zero, -north, legs), atol=1e-9)
    np.testing.assert_allclose(dep, least_squares(zero, -east, legs), atol=1e-9)


@given(weights, error, error)
def test_transit_rule_is_least_squares_with_variances_as_the_parts(
    size: FloatArray, north: float, east: float
) -> None:
    signs = np.where(np.arange(size.size) % 2, -1.0, 1.0)
    lat, dep = transit_rule(signs * size, size[::-1], np.hypot(size, size[::-1]), north, east)
    zero = np.zeros(size.size)
    np.testing.assert_allclose(lat, least_squares(zero, -north, size), atol=1e-9)
    np.testing.assert_allclose(dep, least_squares(zero, -east, size[::-1]), atol=1e-9)


@given(weights, error)
def test_corrections_add_up_to_the_whole_misclosure(weight: FloatArray, misclosure: float) -> None:
    assert float(np.sum(by_weight(misclosure, weight))) == pytest.approx(-misclosure, abs=1e-12)
    assert float(np.sum(equally(misclosure, 7))) == pytest.approx(-misclosure, abs=1e-12)
    assert float(along_run(misclosure, weight)[-1]) == pytest.approx(-misclosure, abs=1e-12)


def test_transit_rule_without_any_latitude_shares_by_length() -> None:
    # Due east and due west: the cosines leave 6e-17 and 2e-16 of latitude, which are no weights.
    legs = np.array([100.0, 300.0])
    azimuths = np.radians([90.0, 270.0])
    lat, dep = transit_rule(legs * np.cos(azimuths), legs * np.sin(azimuths), legs, 0.04, 0.08)
    np.testing.assert_allclose(lat, [-0.01, -0.03])
    np.testing.assert_allclose(dep, [-0.02, -0.06])


def test_nothing_to_weigh_by_shares_equally() -> None:
    np.testing.assert_allclose(by_weight(0.3, np.zeros(3)), [-0.1, -0.1, -0.1])
    assert equally(1.0, 0).size == 0
