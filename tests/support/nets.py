"""Nets for the tests: stations by name, observations in a line each."""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from checker.adjust.least_squares import Adjustment, Kind, Observations, adjust
from checker.model.arrays import FloatArray

Row = tuple[Kind, tuple[int, ...], float, float]
"""Kind, stations i, j, k, value, sigma."""


def observations(rows: Sequence[Row]) -> Observations:
    """Return rows as arrays; none is of a vector."""
    ends = np.array([(*row[1], -1, -1)[:3] for row in rows], dtype=np.int64).reshape(-1, 3)
    return Observations(
        kind=np.array([row[0] for row in rows], dtype=np.int64),
        i=ends[:, 0],
        j=ends[:, 1],
        k=ends[:, 2],
        value=np.array([row[2] for row in rows], dtype=np.float64),
        sigma=np.array([row[3] for row in rows], dtype=np.float64),
        block=np.full(len(rows), -1),
        covariance_m2=np.empty((0, 3, 3)),
    )


def computed(row: Row, place: FloatArray) -> float:
    """Return what a row would be, from positions: complex numbers, another way than under test."""
    kind, ends = row[0], row[1]
    plan = place[:, 0] + 1j * place[:, 1]
    if kind is Kind.DISTANCE:
        return float(abs(plan[ends[1]] - plan[ends[0]]))
    if kind is Kind.AZIMUTH:
        return float(np.angle(plan[ends[1]] - plan[ends[0]]))
    if kind is Kind.ANGLE:
        back, ahead = plan[ends[1]] - plan[ends[0]], plan[ends[2]] - plan[ends[0]]
        return float(np.angle(ahead / back) % (2 * math.pi))
    if kind is Kind.RISE:
        return float(place[ends[1], 2] - place[ends[0], 2])
    raise ValueError(kind)


def run(
    rows: Sequence[Row], place: FloatArray, held: Mapping[int, str], *, free: bool = False
) -> Adjustment:
    """Return the adjusted net. held: station -> the axes that are held, of "nez"."""
    fixed = np.zeros((len(place), 3), dtype=np.bool_)
    for station, axes in held.items():
        for axis in axes:
            fixed[station, "nez".index(axis)] = True
    return adjust(observations(rows), np.asarray(place, dtype=np.float64), fixed, free=free)


def braced(rng: np.random.Generator, side: int = 4) -> tuple[FloatArray, list[Row], list[Row]]:
    """Return a strong net: a grid of stations, all sides and diagonals measured both ways.

    Positions, rows without an error, and the same rows with normal errors of their sigmas.
    """
    step = 100.0
    place = np.array([[step * a, step * b, 0.0] for a in range(side) for b in range(side)])
    place[:, :2] += rng.uniform(-15.0, 15.0, (side * side, 2))
    rows: list[Row] = []
    for a in range(side):
        for b in range(side):
            here = a * side + b
            around = [
                (a + da) * side + b + db
                for da, db in ((0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1))
                if 0 <= a + da < side and 0 <= b + db < side
            ]
            rows += [(Kind.DISTANCE, (here, other), 0.0, 0.003) for other in around]
            rows += [
                (Kind.ANGLE, (here, one, other), 0.0, 5.0 * math.pi / 648000)
                for one, other in pairwise(around)
            ]
    clean = [
        (kind, ends, computed((kind, ends, 0.0, sigma), place), sigma)
        for kind, ends, _, sigma in rows
    ]
    noisy = [
        (kind, ends, value + sigma * float(rng.standard_normal()), sigma)
        for kind, ends, value, sigma in clean
    ]
    return place, clean, noisy
