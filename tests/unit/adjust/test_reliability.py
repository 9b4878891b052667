import numpy as np
import pytest

from checker.adjust.reliability import critical_value, detectable, minimal_blunder
from tests.support.nets import braced, run

HELD = {0: "ne", 15: "ne"}


def test_the_usual_constants() -> None:
    """3.29 at 0.1 %, 4.13 with 80 % power; 1.96 and 2.80 at 5 % (from memory, recomputed)."""
    assert critical_value(0.999, 1) == pytest.approx(3.29, abs=0.005)
    assert detectable(critical_value(0.999, 1)) == pytest.approx(4.13, abs=0.005)
    assert critical_value(0.95, 1) == pytest.approx(1.96, abs=0.005)
    assert detectable(critical_value(0.95, 1)) == pytest.approx(2.80, abs=0.005)
    # Measured twice: half is redundant, and below 5.8 sigma a blunder is not found reliably.
    twice = minimal_blunder(critical_value(0.999, 1), np.sqrt(np.array([0.5])))
    assert twice[0] == pytest.approx(4.13 * 2**0.5, abs=0.01)


def test_many_tests_together_keep_the_level_of_the_net() -> None:
    from scipy.stats import norm

    value = critical_value(0.95, 40)
    assert (1 - 2 * norm.sf(value)) ** 40 == pytest.approx(0.95)


def test_blunders_of_twice_the_detectable_size_are_named_and_clean_nets_rarely_accused() -> None:
    """100 seeded nets here; tests/bench/networks.py prints a thousand."""
    named = false = 0
    for seed in range(100):
        rng = np.random.default_rng(1000 + seed)
        place, _, rows = braced(rng)
        clean = run(rows, place, HELD)
        critical = critical_value(0.95, len(rows))
        false += bool(np.nanmax(np.abs(clean.standardized)) > critical)
        size = 2.0 * minimal_blunder(critical, clean.strength)
        row = int(rng.choice(np.flatnonzero(clean.redundancy > 0.3)))
        kind, ends, value, sigma = rows[row]
        wrong = [*rows[:row], (kind, ends, value + float(size[row]), sigma), *rows[row + 1 :]]
        found = np.abs(run(wrong, place, HELD).standardized)
        named += bool(np.nanmax(found) > critical and int(np.nanargmax(found)) == row)
    assert named >= 95
    # 5 expected at most; 11 or more would come by chance once in a hundred such runs.
    assert false <= 11
