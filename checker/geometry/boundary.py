"""Edges of a surface: corners that belong together, outer loops, holes, seams."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, IntArray, positions, ragged
from checker.geometry.surface import Surface

WELD_M = 1e-4
"""Corners closer than this in plan are one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """A closed run of edges with triangles on one side only.

    xyz_m: shape (vertices, 3), easting, northing, elevation, the first not repeated. area_m2: plan
    area, positive for an outer loop (counter-clockwise), negative for a hole. kind: "outer",
    "hole" or "seam" (no area to speak of: a crack between triangles whose corners do not meet).
    """

    xyz_m: FloatArray
    area_m2: float
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Boundary:
    """All loops of a surface, the largest first.

    crowded_edges: edges with two triangles or more on the same side: the surface lies over itself
    there.
    """

    loops: tuple[Loop, ...]
    crowded_edges: int

    def count(self, kind: str) -> int:
        """Return how many loops are of a kind."""
        return sum(loop.kind == kind for loop in self.loops)


def weld(xy_m: npt.ArrayLike, within_m: float = WELD_M) -> IntArray:
    """Return a number for each position, alike for those that touch within a distance.

    xy_m: shape (n, 2). Chains of near positions become one.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    unique, inverse = _unique(np.ascontiguousarray(positions(xy_m)))
    pairs = cKDTree(unique).query_pairs(within_m, output_type="ndarray")
    number: npt.NDArray[np.integer] = np.arange(len(unique))
    if len(pairs):
        graph = coo_matrix(
            (np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(unique), len(unique))
        )
        _, number = connected_components(graph, directed=False)
    return np.asarray(number, dtype=np.int64)[inverse]


def _unique(xy: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the different positions in order, easting first, and which of them each one is."""
    # Positions whose sums differ are different, and whole numbers sort much more quickly.
    bits = (xy + 0.0).view(np.uint64)  # a negative zero is a zero
    _, first, inverse = np.unique(
        bits[:, 0] * _SPREAD[0] + bits[:, 1] * _SPREAD[1], return_index=True, return_inverse=True
    )
    if not (xy[first][inverse] == xy).all():
        # Complex numbers sort as pairs do.
        each, inverse = np.unique(xy.view(np.complex128).reshape(-1), return_inverse=True)
        return each.view(np.float64).reshape(-1, 2), inverse.reshape(-1)
    order = np.argsort(xy[first].view(np.complex128).reshape(-1))
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return xy[first[order]], rank[inverse]


_SPREAD = np.array((0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F), dtype=np.uint64)
"""Large odd numbers without a pattern."""


def boundary(surface: Surface, *, within_m: float = WELD_M, seam_m: float = 0.01) -> Boundary:
    """Return the loops around a surface and around its holes.

    within_m: corners closer than this are one. seam_m: a loop whose area is less than half its
    length times this is a seam.
    """
    corner = surface.corner_m
    number = weld(corner[:, :, :2].reshape(-1, 2), within_m).reshape(-1, 3)
    begin, end = number.reshape(-1), np.roll(number, -1, axis=1).reshape(-1)
    real = begin != end
    count = int(number.max()) + 1
    ahead = begin[real] * count + end[real]
    directed, first, uses = np.unique(ahead, return_index=True, return_counts=True)
    back = directed % count * count + directed // count
    there = np.minimum(np.searchsorted(directed, back), len(directed) - 1)
    outer = directed[there] != back
    single = np.flatnonzero(real)[first[outer]]

    place = np.empty((count, 3))
    place[number.reshape(-1)[::-1]] = corner.reshape(-1, 3)[::-1]
    loops = []
    for ring in _rings(begin[single], end[single], place[:, :2]):
        xyz = place[ring]
        area = _area(xyz[:, :2])
        length = float(np.sum(np.hypot(*np.diff(xyz[:, :2], axis=0, append=xyz[:1, :2]).T)))
        kind = "outer" if area > 0.0 else "hole"
        if abs(area) < seam_m * length / 2.0:
            kind = "seam"
        world = xyz.copy()
        world[:, :2] += surface.origin_m
        loops.append(Loop(xyz_m=world, area_m2=area, kind=kind))
    loops.sort(key=lambda loop: -abs(loop.area_m2))
    return Boundary(loops=tuple(loops), crowded_edges=int(np.count_nonzero(uses > 1)))


def _area(xy: FloatArray) -> float:
    """Return the signed area of a polygon, counter-clockwise positive."""
    east, north = (xy - xy[0]).T
    return float(np.sum(east * np.roll(north, -1) - np.roll(east, -1) * north) / 2.0)


def _rings(begin: IntArray, end: IntArray, xy: FloatArray) -> list[IntArray]:
    """Return the closed runs of directed edges; the surface lies to the left of each.

    Where several edges leave a corner, the one is taken that keeps to the same triangles: parts
    that touch in a corner stay two loops.
    """
    leaving: dict[int, list[int]] = {}
    for edge, corner in enumerate(begin.tolist()):
        leaving.setdefault(corner, []).append(edge)
    stop = end.tolist()
    start = begin.tolist()
    open_ = dict.fromkeys(range(len(start)))
    rings = []
    while open_:
        edge = next(iter(open_))
        ring = []
        while edge in open_:
            del open_[edge]
            ring.append(start[edge])
            choices = [each for each in leaving.get(stop[edge], []) if each in open_]
            if not choices:
                break
            edge = choices[0] if len(choices) == 1 else _sharpest(edge, choices, start, stop, xy)
        rings.append(np.array(ring, dtype=np.int64))
    return rings


def _sharpest(
    edge: int, choices: list[int], start: list[int], stop: list[int], xy: FloatArray
) -> int:
    """Return which of the edges leaving a corner turns most to the left."""
    here = xy[stop[edge]]
    back = np.arctan2(*(here - xy[start[edge]])[::-1])
    turns = [
        float(np.mod(np.arctan2(*(xy[stop[each]] - here)[::-1]) - back + np.pi, 2.0 * np.pi))
        for each in choices
    ]
    return choices[int(np.argmax(turns))]


def inside(xy_m: npt.ArrayLike, rings_m: list[FloatArray]) -> npt.NDArray[np.bool_]:
    """Return which positions lie within rings, by the even-odd rule; on an edge either may come.

    xy_m: shape (n, 2). rings_m: each shape (vertices, 2), in any direction; rings in rings are
    holes.
    """
    xy = positions(xy_m)
    odd = np.zeros(len(xy), dtype=np.int64)
    for ring in rings_m:
        a, b = ring, np.roll(ring, -1, axis=0)
        order = np.argsort(xy[:, 1], kind="stable")
        north = xy[order, 1]
        low = np.searchsorted(north, np.minimum(a[:, 1], b[:, 1]), side="left")
        high = np.searchsorted(north, np.maximum(a[:, 1], b[:, 1]), side="left")
        edge, within = ragged(high - low)
        point = order[low[edge] + within]
        share = (xy[point, 1] - a[edge, 1]) / (b[edge, 1] - a[edge, 1])
        crosses = a[edge, 0] + share * (b[edge, 0] - a[edge, 0]) > xy[point, 0]
        odd += np.bincount(point[crosses], minlength=len(xy))
    return np.asarray(odd % 2 == 1)
