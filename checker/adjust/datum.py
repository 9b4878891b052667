"""The datum of a free net: in which ways it may move as a whole, and the middle of all of them.

A net that nothing holds is adjusted with as few coordinates held as it needs, then carried to the
place where the sum of squares of all shifts from the approximate positions is least (inner
constraints). Its cofactors go over by S = I - N (G' N)^-1 G', N the ways to move at the solution,
G those at the approximate positions without the circles (A. Meissl; W. Baarda, S-transformations
and criterion matrices, 1973; both from memory). Residuals and what is tested by them do not change.
"""

from dataclasses import dataclass

import numpy as np

from checker.adjust.normal import Inverse, Normal, Sparse
from checker.adjust.observations import PLAN, Kind, Observations
from checker.model.arrays import BoolArray, FloatArray, IntArray

NULL = 1e-6
"""A way to move that changes no observation by more than this share of its own size is free."""


def parts(observations: Observations, stations: int, *, heights: bool) -> IntArray:
    """Return for every station the part of the net in which it hangs together with others.

    shape (stations,); of plan, or of heights.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    kind = observations.kind
    if heights:
        pairs = [(observations.i, observations.j, np.isin(kind, [Kind.RISE, Kind.UP]))]
    else:
        plan = np.isin(kind, [*PLAN, Kind.NORTH, Kind.EAST])
        pairs = [
            (observations.i, observations.j, plan),
            (observations.i, observations.k, kind == Kind.ANGLE),
        ]
    row = np.concatenate([one[rows] for one, _, rows in pairs])
    col = np.concatenate([other[rows] for _, other, rows in pairs])
    graph = coo_array((np.ones(row.size), (row, col)), shape=(stations, stations))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def ways_to_move(
    observations: Observations,
    design: Sparse,
    position_m: FloatArray,
    column: IntArray,
    circles: IntArray,
) -> FloatArray:
    """Return the ways in which a net moves as a whole without an observation changing.

    design: whitened, with the unknowns of `column` and `circles` that nothing holds. Shape
    (unknowns, ways): shifts, turn and scale of each part, as far as they are free, orthonormal.
    """
    size = design.shape[1]
    plan = parts(observations, len(position_m), heights=False)
    level = parts(observations, len(position_m), heights=True)
    at_circle = np.full(len(circles), -1, dtype=np.int64)
    rows = np.flatnonzero(observations.kind == Kind.DIRECTION)
    at_circle[observations.k[rows]] = observations.i[rows]
    found: list[FloatArray] = []
    for part in np.unique(plan[(column[:, :2] >= 0).any(axis=1)]).tolist():
        here = np.flatnonzero((plan == part) & (column[:, :2] >= 0).all(axis=1))
        if not here.size:
            continue
        n, e = (position_m[here, :2] - position_m[here, :2].mean(axis=0)).T
        reach = max(float(np.sqrt(np.mean(n**2 + e**2))), 1e-3)
        ways = np.zeros((size, 4))
        ways[column[here, 0], 0] = ways[column[here, 1], 1] = 1.0
        ways[column[here, 0], 2], ways[column[here, 1], 2] = -e / reach, n / reach
        turned = np.flatnonzero(plan[at_circle] == part)
        ways[circles[turned], 2] = 1.0 / reach
        ways[column[here, 0], 3], ways[column[here, 1], 3] = n / reach, e / reach
        found.append(_free_of(design, ways))
    for part in np.unique(level[column[:, 2] >= 0]).tolist():
        here = np.flatnonzero((level == part) & (column[:, 2] >= 0))
        ways = np.zeros((size, 1))
        ways[column[here, 2], 0] = 1.0
        found.append(_free_of(design, ways))
    free = np.concatenate([np.zeros((size, 0)), *found], axis=1)
    return np.asarray(np.linalg.qr(free)[0]) if free.shape[1] else free


def _free_of(design: Sparse, ways: FloatArray) -> FloatArray:
    """Return those combinations of ways that change no observation."""
    change, most = design @ ways, abs(design) @ np.abs(ways)
    size = np.sqrt(np.sum(most**2, axis=0))
    used = np.flatnonzero(size > 0.0)
    change = change[:, used] / size[used]
    _, singular, right = np.linalg.svd(change.T @ change)
    # One way by itself: its size is what the singular values are compared with.
    null = right[np.sqrt(np.maximum(singular, 0.0)) < NULL]
    return np.asarray((ways[:, used] / size[used]) @ null.T)


def least_held(ways: FloatArray, column: IntArray) -> BoolArray:
    """Return as few coordinates as hold a net that moves in these ways; shape (stations, 3)."""
    from scipy.linalg import qr

    coordinates = int(column.max(initial=-1)) + 1
    _, _, order = qr(ways[:coordinates].T, mode="economic", pivoting=True)
    return np.isin(column, order[: ways.shape[1]]) & (column >= 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeInverse:
    """Cofactors of a free net, made from those of the net with as few coordinates held.

    held: number of every unknown in that net, -1 where it is held. The other fields are of the
    transformation S: left (unknowns, ways) = N M, far (unknowns, ways) = Q G, inner = G' Q G.
    """

    base: Inverse
    held: IntArray
    left: FloatArray
    far: FloatArray
    inner: FloatArray

    def knows(self, row: IntArray, col: IntArray) -> "np.typing.NDArray[np.bool_]":
        """Tell which elements were computed; shape as given."""
        one, other = self.held[row], self.held[col]
        both = (one >= 0) & (other >= 0)
        known = np.ones(np.shape(row), dtype=np.bool_)
        known[both] = self.base.knows(one[both], other[both])
        return known

    def at(self, row: IntArray, col: IntArray) -> FloatArray:
        """Return elements; shape as given."""
        one, other = self.held[row], self.held[col]
        both = (one >= 0) & (other >= 0)
        found = np.zeros(np.shape(row))
        found[both] = self.base.at(one[both], other[both])
        found -= np.sum(self.left[row] * self.far[col], axis=1)
        found -= np.sum(self.far[row] * self.left[col], axis=1)
        found += np.einsum("ri,ij,rj->r", self.left[row], self.inner, self.left[col])
        return np.asarray(found)


def free_inverse(
    base: Inverse, normal: Normal, held: IntArray, middle: FloatArray, ways: FloatArray
) -> FreeInverse:
    """Return the cofactors of the free net.

    held: shape (unknowns,), number of every unknown in the net with coordinates held. middle: the
    ways to move at the approximate positions, 0 at the circles (G). ways: at the solution (N).
    """
    kept = np.flatnonzero(held >= 0)
    inside = np.zeros((normal.size, middle.shape[1]))
    inside[held[kept]] = middle[kept]
    far = np.zeros_like(middle)
    far[kept] = normal.solve(inside)[held[kept]]
    return FreeInverse(
        base=base,
        held=held,
        left=ways @ np.linalg.inv(middle.T @ ways),
        far=far,
        inner=middle.T @ far,
    )
