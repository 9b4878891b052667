"""Dixon's test: against plain counting, sorting one group at a time, and its limits."""

import math

import numpy as np
import pytest

from checker.geometry.statistics import dixon, dixon_critical


@pytest.mark.parametrize("count", [3, 5, 8, 10])
@pytest.mark.parametrize("alpha", [0.01, 0.05])
def test_pure_chance_is_rejected_as_often_as_stated(count: int, alpha: float) -> None:
    """Each end with alpha / 2; below a ratio of a half both ends may exceed it at once."""
    trials = 60_000
    values = np.random.default_rng(count).normal(5000.0, 0.01, (trials, count))
    values.sort(axis=1)
    span = values[:, -1] - values[:, 0]
    low = (values[:, 1] - values[:, 0]) / span
    high = (values[:, -1] - values[:, -2]) / span
    for ratio in (low, high):
        found = float(np.mean(ratio > dixon_critical(count, alpha)))
        chance = 0.5 * alpha
        assert abs(found - chance) < 4.5 * math.sqrt(chance * (1.0 - chance) / trials)


@pytest.mark.parametrize("count", [0, 1, 2, 11])
def test_no_limit_outside_three_to_ten(count: int) -> None:
    assert math.isnan(dixon_critical(count, 0.05))


def test_groups_of_all_sizes_against_one_at_a_time() -> None:
    rng = np.random.default_rng(3)
    group = rng.integers(0, 60, 300)
    values = rng.normal(0.0, 1.0, 300)
    values[rng.integers(0, 300, 25)] = np.nan
    found = dixon(values, group)
    for number in range(60):
        of = np.flatnonzero((group == number) & np.isfinite(values))
        suspects = np.flatnonzero((group == number) & np.isfinite(found.ratio))
        if not 3 <= len(of) <= 10:
            assert not suspects.size
            continue
        order = of[np.argsort(values[of])]
        sorted_ = values[order]
        low, high = sorted_[1] - sorted_[0], sorted_[-1] - sorted_[-2]
        expected = order[-1] if high >= low else order[0]
        assert suspects.tolist() == [expected]
        ratio = max(low, high) / (sorted_[-1] - sorted_[0])
        assert found.ratio[expected] == pytest.approx(ratio, rel=1e-12)
        assert found.critical[expected] == dixon_critical(len(of), 0.05)
    assert not found.rejected[np.isnan(found.ratio)].any()


def test_equal_values_have_no_outlier() -> None:
    found = dixon(np.full(5, 3.0), np.zeros(5, dtype=np.int64))
    assert np.nanmax(found.ratio) == 0.0
    assert not found.rejected.any()


def test_one_far_value_is_found_on_either_side() -> None:
    for far in (0.5, -0.5):
        values = np.array([0.001, 0.0, far, 0.002, -0.001])
        rejected = dixon(values, np.zeros(5, dtype=np.int64), 0.01).rejected
        assert rejected.tolist() == [False, False, True, False, False]


def test_nothing_to_test() -> None:
    found = dixon(np.empty(0), np.empty(0, dtype=np.int64))
    assert found.ratio.shape == (0,)
