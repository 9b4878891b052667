"""Nearest places against scipy's tree, another method."""

import numpy as np
import pytest
from scipy.spatial import KDTree

from checker.geometry.neighbours import nearest, nearest_other, neighbours_within


@pytest.mark.parametrize("origin", [0.0, 4_000_000.0])
def test_nearest_agrees_with_another_tree(origin: float) -> None:
    dice = np.random.default_rng(7)
    places = origin + dice.uniform(0, 100, (500, 2))
    queries = origin + dice.uniform(-20, 120, (700, 2))
    distance, which = nearest(places, queries)
    expected, index = KDTree(places).query(queries)
    assert np.allclose(distance, expected, rtol=0, atol=1e-8)
    assert (which == index).all()


def test_nearest_other_leaves_the_place_itself_out() -> None:
    places = np.random.default_rng(8).uniform(0, 100, (400, 2))
    distance, which = nearest_other(places)
    expected, index = map(np.asarray, KDTree(places).query(places, k=2))
    assert np.allclose(distance, expected[:, 1], rtol=0, atol=1e-12)
    assert (which == index[:, 1]).all()
    assert (which != np.arange(len(places))).all()


def test_neighbours_within_counts_the_place_itself() -> None:
    places = np.random.default_rng(9).uniform(0, 10, (300, 2))
    counts = KDTree(places).query_ball_point(places, 1.5, return_length=True)
    assert neighbours_within(places, 1.5).tolist() == np.asarray(counts).tolist()
    assert neighbours_within(places[:1], 0.0).tolist() == [1]
