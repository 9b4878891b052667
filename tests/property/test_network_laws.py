"""Laws of adjusted nets: shift, turn, rename, reorder, change the unit; planted errors."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.adjust.least_squares import Kind, adjust
from checker.model.arrays import FloatArray
from tests.support.nets import Row, braced, computed, observations, run

pytestmark = pytest.mark.property
SEEDS = st.integers(0, 2**31)
HELD = {0: "ne", 8: "ne"}


def turned(place: FloatArray, angle: float, shift: tuple[float, float]) -> FloatArray:
    cos, sin = math.cos(angle), math.sin(angle)
    moved = place.copy()
    moved[:, :2] = place[:, :2] @ np.array([[cos, sin], [-sin, cos]]) + np.array(shift)
    return moved


@settings(max_examples=25, deadline=None)
@given(
    SEEDS,
    st.floats(-3.1, 3.1),
    st.tuples(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5)),
    st.booleans(),
)
def test_a_net_that_is_moved_and_turned_is_adjusted_alike(
    seed: int, angle: float, shift: tuple[float, float], free: bool
) -> None:
    place, _, rows = braced(np.random.default_rng(seed), side=3)
    held = {} if free else HELD
    one = run(rows, place, held, free=free)
    other = run(rows, turned(place, angle, shift), held, free=free)
    assert other.residual == pytest.approx(one.residual, abs=1e-7)
    assert other.redundancy == pytest.approx(one.redundancy, abs=1e-6)
    moved = turned(one.position_m, angle, shift)
    assert other.position_m[:, :2] == pytest.approx(moved[:, :2], abs=1e-6, rel=0)
    spread = np.trace(one.cofactor_m2[:, :2, :2], axis1=1, axis2=2)
    again = np.trace(other.cofactor_m2[:, :2, :2], axis1=1, axis2=2)
    assert again == pytest.approx(spread, rel=1e-4, abs=1e-14)


@settings(max_examples=25, deadline=None)
@given(SEEDS)
def test_the_order_of_rows_and_stations_does_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    place, _, rows = braced(rng, side=3)
    one = run(rows, place, HELD)
    order = rng.permutation(len(rows))
    number = rng.permutation(9)
    renamed: list[Row] = [
        (rows[k][0], tuple(int(number[s]) for s in rows[k][1]), rows[k][2], rows[k][3])
        for k in order
    ]
    there = np.empty_like(place)
    there[number] = place
    other = run(renamed, there, {int(number[0]): "ne", int(number[8]): "ne"})
    assert other.position_m[number] == pytest.approx(one.position_m, abs=1e-8)
    assert other.standardized == pytest.approx(one.standardized[order], abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(SEEDS, st.sampled_from([0.3048, 1000.0, 1200 / 3937]))
def test_another_unit_of_length_changes_no_test(seed: int, scale: float) -> None:
    place, _, rows = braced(np.random.default_rng(seed), side=3)
    one = run(rows, place, HELD)
    scaled: list[Row] = [
        (kind, ends, value * scale, sigma * scale)
        if kind is Kind.DISTANCE
        else (kind, ends, value, sigma)
        for kind, ends, value, sigma in rows
    ]
    other = run(scaled, place * scale, HELD)
    assert other.standardized == pytest.approx(one.standardized, abs=1e-5)
    assert other.chi2 == pytest.approx(one.chi2, rel=1e-6)
    assert other.position_m == pytest.approx(one.position_m * scale, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(SEEDS, st.floats(0.05, 1.0), st.sampled_from([-1.0, 1.0]))
def test_a_planted_blunder_comes_back_exactly(seed: int, size: float, sign: float) -> None:
    """In a net without other errors, observed minus right is -w / strength, to 1e-6 m."""
    rng = np.random.default_rng(seed)
    place, rows, _ = braced(rng, side=3)
    distances = [k for k, row in enumerate(rows) if row[0] is Kind.DISTANCE and row[1] != (0, 8)]
    row = int(rng.choice(distances))
    kind, ends, value, sigma = rows[row]
    wrong = [*rows[:row], (kind, ends, value + sign * size, sigma), *rows[row + 1 :]]
    # From the truth: so large a blunder must not bend the linear step by more than that.
    net = observations(wrong)
    fixed = np.zeros((9, 3), dtype=np.bool_)
    fixed[[0, 8], :2] = True
    found = adjust(net, place, fixed)
    assert int(np.nanargmax(np.abs(found.standardized))) == row
    estimate = -found.standardized[row] / found.strength[row]
    # Second order: the blunder squared over a leg, times what the net lets through.
    assert estimate == pytest.approx(sign * size, abs=1e-6 + size**2 / 50.0)
    rest = [*rows[:row], *rows[row + 1 :]]
    clean = run(rest, place, HELD)
    assert value + sign * size - computed((kind, ends, 0, 1), clean.position_m) == pytest.approx(
        sign * size, abs=1e-6
    )
