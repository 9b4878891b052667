"""Measure least squares: time beside a bare sparse solve, and how well blunders are named.

Run it by hand: ``python -m tests.bench.networks``. Nothing here passes or fails.
"""

import time
import tracemalloc

import numpy as np

from checker.adjust.least_squares import Kind, Observations, adjust
from checker.adjust.reliability import critical_value, minimal_blunder
from checker.model.arrays import BoolArray, FloatArray
from tests.support.nets import braced, run

CONFIDENCE = 0.95
CASES = 1000
CLEAN = 4000
"""Clean nets: so many that the share of false alarms is known to about a third of a percent."""
RELIABLE = 0.3
"""A blunder is planted only where the redundancy is at least this: reliable geometry."""


def large(side: int, rng: np.random.Generator) -> tuple[Observations, FloatArray, BoolArray]:
    """Return a grid of stations with distances and angles between neighbours."""
    count = side * side
    number = np.arange(count).reshape(side, side)
    grid = np.column_stack((np.repeat(np.arange(side), side), np.tile(np.arange(side), side)))
    place: FloatArray = np.zeros((count, 3))
    place[:, :2] = grid * 100.0 + rng.normal(0, 10, (count, 2))
    one = [number[:-1].ravel(), number[:, :-1].ravel(), number[:-1, :-1].ravel()]
    other = [number[1:].ravel(), number[:, 1:].ravel(), number[1:, 1:].ravel()]
    i, j = np.concatenate(one), np.concatenate(other)
    corner = number[:-1, :-1].ravel()
    angle = [
        (corner, number[1:, :-1].ravel(), number[1:, 1:].ravel()),
        (corner, number[1:, 1:].ravel(), number[:-1, 1:].ravel()),
    ]
    at, back, ahead = (np.concatenate([each[n] for each in angle]) for n in range(3))
    distance = np.hypot(*(place[j] - place[i])[:, :2].T)
    turn = [np.arctan2(*(place[to] - place[at])[:, 1::-1].T) for to in (back, ahead)]
    sigma = np.concatenate((np.full(i.size, 0.003), np.full(at.size, 2.5e-5)))
    value = np.concatenate((distance, (turn[1] - turn[0]) % (2 * np.pi)))
    rows = value.size
    fixed: BoolArray = np.zeros((count, 3), dtype=np.bool_)
    fixed[[0, count - 1]] = True
    return (
        Observations(
            kind=np.repeat([int(Kind.DISTANCE), int(Kind.ANGLE)], [i.size, at.size]),
            i=np.concatenate((i, at)),
            j=np.concatenate((j, back)),
            k=np.concatenate((np.full(i.size, -1), ahead)),
            value=value + sigma * rng.standard_normal(rows),
            sigma=sigma,
            block=np.full(rows, -1),
            covariance_m2=np.empty((0, 3, 3)),
        ),
        place,
        fixed,
    )


def speed() -> None:
    """Print the time of nets that grow, beside one bare solve of a like system."""
    from scipy.sparse import csc_array, eye_array
    from scipy.sparse.linalg import spsolve

    for side, free in ((20, False), (40, False), (71, False), (71, True)):
        net, place, fixed = large(side, np.random.default_rng(1))
        if free:
            fixed = np.zeros_like(fixed)
        start = place + np.where(fixed, 0.0, 0.02)
        begun = time.perf_counter()
        found = adjust(net, start, fixed, free=free)
        took = time.perf_counter() - begun
        tracemalloc.start()  # it slows what it watches, so it watches a second run
        adjust(net, start, fixed, free=free)
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        loose: BoolArray = ~np.asarray(fixed.any(axis=1))
        number = np.cumsum(loose) - 1
        ends = np.column_stack((net.i, net.j))[loose[net.i] & loose[net.j]]
        row = np.repeat(np.arange(len(ends)), 4)
        col = np.asarray((2 * number[ends][:, :, None] + np.array([0, 1])).reshape(-1))
        design = csc_array((np.tile([1.0, 0.3, -1.0, -0.2], len(ends)), (row, col)))
        normal = csc_array(design.T @ design + eye_array(design.shape[1]))
        begun = time.perf_counter()
        spsolve(normal, np.ones(normal.shape[0]))
        bare = time.perf_counter() - begun
        print(
            f"{side * side:6d} stations {len(net):6d} observations{', free' if free else '':6s}: "
            f"{took:6.2f} s in "
            f"{found.steps} steps with all redundancies, {peak:5.0f} MB; one bare solve "
            f"{bare:.3f} s"
        )


def blunders() -> None:
    """Print how often a planted blunder is named, and how often a clean net names something."""
    named = false = planted = 0
    for seed in range(CASES, CLEAN):
        rng = np.random.default_rng(seed)
        place, _, rows = braced(rng)
        clean = run(rows, place, {0: "ne", 15: "ne"})
        critical = critical_value(CONFIDENCE, len(rows))
        false += bool(np.nanmax(np.abs(clean.standardized)) > critical)
    for seed in range(CASES):
        rng = np.random.default_rng(seed)
        place, _, rows = braced(rng)
        held = {0: "ne", 15: "ne"}
        clean = run(rows, place, held)
        critical = critical_value(CONFIDENCE, len(rows))
        false += bool(np.nanmax(np.abs(clean.standardized)) > critical)
        size = 2.0 * minimal_blunder(critical, clean.strength)
        reliable = np.flatnonzero(clean.redundancy > RELIABLE)
        if not reliable.size:
            continue
        row = int(rng.choice(reliable))
        planted += 1
        kind, ends, value, sigma = rows[row]
        wrong = list(rows)
        wrong[row] = (kind, ends, value + float(size[row]) * rng.choice([-1, 1]), sigma)
        found = np.abs(run(wrong, place, held).standardized)
        named += bool(np.nanmax(found) > critical and int(np.nanargmax(found)) == row)
    print(f"planted at twice the detectable size: named in {named} of {planted}")
    print(
        f"clean nets that name something: {false} of {CLEAN}, {false / CLEAN:.1%} +- "
        f"{np.sqrt(false) / CLEAN:.1%}; stated no more often than {1 - CONFIDENCE:.0%}"
    )


if __name__ == "__main__":
    speed()
    blunders()
