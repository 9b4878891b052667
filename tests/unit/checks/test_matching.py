"""The nearest, one to one, against an independent search of all assignments."""

from itertools import permutations

import numpy as np
import pytest

from checker.checks import matching
from checker.checks.matching import match_nearest
from checker.model.arrays import FloatArray


def cost(targets: FloatArray, shots: FloatArray, shot: tuple[int, ...], reach: float) -> float:
    """Return the total: distance of a pair within reach, the reach of a target without one."""
    total = 0.0
    for target, position in zip(targets, shot, strict=True):
        away = np.inf if position < 0 else float(np.hypot(*(shots[position] - target)))
        total += min(away, reach)
    return total


@pytest.mark.parametrize("seed", range(12))
def test_the_total_is_the_least_of_all_assignments(seed: int) -> None:
    rng = np.random.default_rng(seed)
    targets, shots = rng.uniform(0.0, 3.0, (5, 2)), rng.uniform(0.0, 3.0, (6, 2))
    found = match_nearest(targets, shots, 1.2, 0.0)
    used = found.shot[found.shot >= 0].tolist()
    assert len(used) == len(set(used))
    assert np.nanmax(found.distance_m, initial=0.0) <= 1.2
    best = min(cost(targets, shots, order, 1.2) for order in permutations(range(6), 5))
    assert cost(targets, shots, tuple(found.shot.tolist()), 1.2) == pytest.approx(best)


def test_a_good_pair_is_not_torn_apart_to_give_a_bad_one_a_partner() -> None:
    targets = np.array([[0.0, 0.0], [0.0, 0.2]])
    shots = np.array([[0.0, 0.01], [0.0, -0.25]])
    found = match_nearest(targets, shots, 0.3, 0.0)
    assert found.shot.tolist() == [0, -1]


def test_large_tangles_are_matched_by_mutual_nearness(monkeypatch: pytest.MonkeyPatch) -> None:
    targets = np.array([[0.0, 0.0], [0.0, 1.0], [0.0, 2.0]])
    shots = targets[::-1] + 0.01
    plain = match_nearest(targets, shots, 5.0, 0.0)
    monkeypatch.setattr(matching, "_MOST_CELLS", 1)
    monkeypatch.setattr(matching, "_MOST_PAIRS", 1)
    bounded = match_nearest(targets, shots, 5.0, 0.0)
    assert plain.shot.tolist() == bounded.shot.tolist() == [2, 1, 0]


def test_nothing_to_match() -> None:
    none, one = np.empty((0, 2)), np.array([[1.0, 1.0]])
    assert match_nearest(one, none, None, 0.0).shot.tolist() == [-1]
    assert match_nearest(none, one, None, 0.0).shot.tolist() == []
    assert match_nearest(none, none, 1.0, 0.0).shot.tolist() == []


def test_a_shot_at_the_end_of_the_reach_is_within_it() -> None:
    found = match_nearest(np.array([[0.0, 0.0]]), np.array([[3.0, 4.0]]), 5.0, 0.0)
    assert found.shot.tolist() == [0]
    beyond = match_nearest(np.array([[0.0, 0.0]]), np.array([[3.0, 4.01]]), 5.0, 0.0)
    assert beyond.shot.tolist() == [-1]
