"""Crandall's rule: directions held, lengths by least squares with variances as the lengths."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.adjust.shares import crandall_rule

SEEDS = st.integers(0, 2**32 - 1)


def legs(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[float, float]]:
    dice = np.random.default_rng(seed)
    count = int(dice.integers(3, 9))
    azimuth = np.sort(dice.uniform(0.0, 2.0 * np.pi, count))
    length = dice.uniform(40.0, 400.0, count)
    miss = tuple(dice.normal(0.0, 0.05, 2).tolist())
    return azimuth, length, np.array([length * np.cos(azimuth), length * np.sin(azimuth)]), miss


@settings(max_examples=40)
@given(SEEDS)
def test_scipys_optimizer_finds_the_same_lengths(seed: int) -> None:
    """General reference library: scipy.optimize on the same model, directions held."""
    from scipy.optimize import minimize

    azimuth, length, (lat, dep), miss = legs(seed)
    found = crandall_rule(lat, dep, length, *miss)
    if found is None:
        return
    stretch = found[0] * np.cos(azimuth) + found[1] * np.sin(azimuth)
    conditions: Any = [
        {"type": "eq", "fun": lambda v: np.sum(v * np.cos(azimuth)) + miss[0]},
        {"type": "eq", "fun": lambda v: np.sum(v * np.sin(azimuth)) + miss[1]},
    ]
    solve: Any = minimize  # its stubs want more of a lambda than it needs
    other = solve(
        lambda v: float(np.sum(v**2 / length)) * 1e3,
        np.zeros(length.size),
        jac=lambda v: 2e3 * v / length,
        constraints=conditions,
        method="SLSQP",
        options={"ftol": 1e-16, "maxiter": 200},
    )
    assert other.x == pytest.approx(stretch, abs=1e-6)


@given(SEEDS)
def test_it_closes_and_turns_no_leg(seed: int) -> None:
    azimuth, length, (lat, dep), miss = legs(seed)
    found = crandall_rule(lat, dep, length, *miss)
    if found is None:
        return
    assert float(np.sum(found[0])) == pytest.approx(-miss[0], abs=1e-9)
    assert float(np.sum(found[1])) == pytest.approx(-miss[1], abs=1e-9)
    across = found[0] * np.sin(azimuth) - found[1] * np.cos(azimuth)
    assert across == pytest.approx(np.zeros(length.size), abs=1e-9)


def test_a_square_gives_each_pair_of_sides_its_part() -> None:
    """By hand: of a square 0.04 too long north and 0.02 east each side takes half."""
    lat, dep = np.array([100.0, 0.0, -100.0, 0.0]), np.array([0.0, 100.0, 0.0, -100.0])
    found = crandall_rule(lat, dep, np.full(4, 100.0), 0.04, 0.02)
    assert found is not None
    assert found[0] == pytest.approx([-0.02, 0.0, -0.02, 0.0])
    assert found[1] == pytest.approx([0.0, -0.01, 0.0, -0.01])


def test_legs_in_one_line_cannot_be_closed_by_their_lengths() -> None:
    line = np.array([100.0, 50.0, -150.0])
    assert crandall_rule(line, 0.0 * line, np.abs(line), 0.01, 0.02) is None
