import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import KDTree

from checker.geometry.arrays import FloatArray
from checker.geometry.neighbours import nearest, nearest_other


def scattered(seed: int, count: int, shape: str) -> FloatArray:
    rng = np.random.default_rng(seed)
    grid = np.column_stack((np.arange(count) % 17 * 5.0, np.arange(count) // 17 * 5.0))
    made = {
        "even": rng.uniform(0, 300, (count, 2)),
        "grid": grid,
        "line": np.column_stack((np.sort(rng.uniform(0, 5e3, count)), np.full(count, 7.0))),
        "heaps": rng.normal(0, 0.01, (count, 2)) + rng.integers(0, 3, (count, 1)) * 1e4,
        "far": grid + np.array([5_000_000.0, 400_000.0]),
        "stray": np.vstack((grid[:-1], [[9e5, -9e5]])) if count > 1 else grid,
    }
    found: FloatArray = made[shape]
    return found


pytestmark = pytest.mark.property

shapes = st.sampled_from(["even", "grid", "line", "heaps", "far", "stray"])


@settings(max_examples=80)
@given(st.integers(0, 999), st.integers(1, 300), shapes, st.floats(0, 50))
def test_the_nearest_place_is_that_of_an_independent_tree(
    seed: int, count: int, shape: str, noise: float
) -> None:
    places = scattered(seed, count, shape)
    rng = np.random.default_rng(seed + 1)
    queries = places[rng.integers(0, count, 50)] + rng.normal(0, 1 + noise, (50, 2))
    away, near = nearest(places, queries)
    expected, _ = KDTree(places).query(queries)
    assert away == pytest.approx(expected, rel=1e-12, abs=1e-12)
    assert np.hypot(*(places[near] - queries).T) == pytest.approx(expected, rel=1e-12, abs=1e-12)


@settings(max_examples=80)
@given(st.integers(0, 999), st.integers(2, 300), shapes)
def test_the_nearest_other_place_is_never_the_place_itself(
    seed: int, count: int, shape: str
) -> None:
    places = scattered(seed, count, shape)
    away, near = nearest_other(places)
    expected = np.asarray(KDTree(places).query(places, k=2)[0])
    assert away == pytest.approx(expected[:, 1], rel=1e-12, abs=1e-12)
    assert (near != np.arange(count)).all()


def test_one_place_is_the_nearest_to_all() -> None:
    away, near = nearest(np.array([[3.0, 4.0]]), np.array([[0.0, 0.0], [3.0, 4.0]]))
    assert away.tolist() == [5.0, 0.0]
    assert near.tolist() == [0, 0]
