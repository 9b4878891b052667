"""What a net is observed by: one row a number, by the index of its stations."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from checker.model.arrays import BoolArray, FloatArray, IntArray


class Kind(IntEnum):
    """What one row of the observations is."""

    DISTANCE = 0  # horizontal, i to j
    AZIMUTH = 1  # of i to j
    ANGLE = 2  # clockwise at i, from j to k
    DIRECTION = 3  # at i to j, from the zero of the circle `k`
    RISE = 4  # z of j minus z of i
    NORTH = 5  # n of j minus n of i
    EAST = 6
    UP = 7
    N = 8  # n of i itself
    E = 9
    Z = 10


ANGULAR = frozenset({Kind.AZIMUTH, Kind.ANGLE, Kind.DIRECTION})
PLAN = (Kind.DISTANCE, Kind.AZIMUTH, Kind.ANGLE, Kind.DIRECTION)
"""What needs northing and easting of its stations at once."""
AXES = ((Kind.NORTH, 0), (Kind.EAST, 1), (Kind.UP, 2))
"""The rows of a vector, in the order in which they stand, with their axis."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observations:
    """One row a number observed; arrays of shape (rows,).

    i, j, k: stations as `Kind` says, -1 where there is none. sigma: one standard deviation.
    block: rows of one vector share a number and stand together, north, east, and up where its
    height counts; -1: alone.
    covariance_m2: shape (blocks, 3, 3), north, east, up of every block.
    """

    kind: IntArray
    i: IntArray
    j: IntArray
    k: IntArray
    value: FloatArray
    sigma: FloatArray
    block: IntArray
    covariance_m2: FloatArray

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.kind)

    def vectors(self) -> list[tuple[IntArray, int]]:
        """Return the first rows of the vectors of three components and of those of two (plan)."""
        first = np.flatnonzero((self.block >= 0) & (self.kind == Kind.NORTH))
        count = np.bincount(self.block[self.block >= 0], minlength=len(self.covariance_m2))
        size = count[self.block[first]]
        return [(first[size == each], each) for each in (3, 2) if np.any(size == each)]

    def variance(self) -> FloatArray:
        """Return every row's own a priori variance; shape (rows,)."""
        variance = self.sigma**2
        for what, axis in AXES:
            rows = np.flatnonzero((self.kind == what) & (self.block >= 0))
            if rows.size:
                variance[rows] = self.covariance_m2[self.block[rows], axis, axis]
        return np.asarray(variance)


def columns_of(observations: Observations, fixed: BoolArray) -> tuple[IntArray, IntArray]:
    """Return the number of every unknown: shape (stations, 3) of n, e, z, and of the circles.

    fixed: shape (stations, 3); -1 where a coordinate is fixed or nothing observes it.
    """
    used = np.zeros(fixed.shape, dtype=np.bool_)
    kind = observations.kind
    plan = np.isin(kind, PLAN)
    for index, axes, rows in (
        (observations.i, (0, 1), plan),
        (observations.j, (0, 1), plan),
        (observations.k, (0, 1), kind == Kind.ANGLE),
        (observations.i, (2,), np.isin(kind, [Kind.RISE, Kind.UP, Kind.Z])),
        (observations.j, (2,), np.isin(kind, [Kind.RISE, Kind.UP])),
        (observations.i, (0,), np.isin(kind, [Kind.NORTH, Kind.N])),
        (observations.j, (0,), kind == Kind.NORTH),
        (observations.i, (1,), np.isin(kind, [Kind.EAST, Kind.E])),
        (observations.j, (1,), kind == Kind.EAST),
    ):
        for axis in axes:
            used[index[rows], axis] = True
    free = used & ~fixed
    column = np.full(fixed.shape, -1, dtype=np.int64)
    column[free] = np.arange(np.count_nonzero(free))
    directions = observations.k[kind == Kind.DIRECTION]
    count = int(directions.max(initial=-1)) + 1
    return column, np.count_nonzero(free) + np.arange(count, dtype=np.int64)
