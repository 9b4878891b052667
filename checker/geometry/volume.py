"""Volumes: between two surfaces exactly, and by end areas.

Between two surfaces of triangles the difference of elevation is linear over every piece that one
triangle of each has in common. The pieces are cut out, cut again by the boundary and along the line
where the surfaces meet, and a linear function is integrated over each exactly: area times the value
at the centroid. No grid, no chords: the result is exact but for rounding.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, IntArray, positions, ragged
from checker.geometry.boundary import inside
from checker.geometry.surface import Surface, plan_area

_PAIRS_AT_ONCE = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Volume:
    """What lies between an as-measured surface and a design.

    cut_m3: where as-measured is above design; fill_m3: where it is below; both positive. The areas
    are those of plan where each was found; area_m2 is all that was compared.
    """

    cut_m3: float
    fill_m3: float
    cut_area_m2: float
    fill_area_m2: float
    area_m2: float

    @property
    def net_m3(self) -> float:
        """Cut less fill."""
        return self.cut_m3 - self.fill_m3


def volume_between(
    measured: Surface, design: Surface, rings_m: Sequence[npt.ArrayLike] | None = None
) -> Volume:
    """Return cut and fill where both surfaces exist, within a boundary.

    rings_m: rings of (easting, northing), shape (vertices, 2), in any direction; a ring inside
    another is a hole; None: everywhere. Where a surface lies over itself, that part counts
    twice.
    """
    origin = design.origin_m
    ours = measured.triangles_m
    ours[:, :, :2] -= origin
    theirs = design.corner_m
    rings = None if rings_m is None else [positions(ring) - origin for ring in rings_m]
    total = np.zeros(5)
    first, second = touching(ours[:, :, :2], theirs[:, :, :2])
    for start in range(0, first.size, _PAIRS_AT_ONCE):
        chunk = slice(start, start + _PAIRS_AT_ONCE)
        total += _pieces(ours[first[chunk]], theirs[second[chunk]], rings)
    cut, fill, cut_area, fill_area, area = (float(each) for each in total)
    return Volume(
        cut_m3=cut, fill_m3=-fill, cut_area_m2=cut_area, fill_area_m2=fill_area, area_m2=area
    )


def touching(one: FloatArray, two: FloatArray) -> tuple[IntArray, IntArray]:
    """Return the pairs of triangles (n, 3, 2) whose boxes touch."""
    import shapely

    boxes = [
        shapely.box(each[:, 0], each[:, 1], most[:, 0], most[:, 1])
        for each, most in ((one.min(axis=1), one.max(axis=1)), (two.min(axis=1), two.max(axis=1)))
    ]
    first, second = shapely.STRtree(boxes[1]).query(boxes[0])
    return np.asarray(first, dtype=np.int64), np.asarray(second, dtype=np.int64)


def _pieces(ours: FloatArray, theirs: FloatArray, rings: list[FloatArray] | None) -> FloatArray:
    """Return cut, fill, their areas and the whole area of pairs of triangles, shape (5,).

    A polygon travels as (n, vertices, 3): easting, northing, difference of elevation; it is filled
    up by repeating vertices, which adds no area.
    """
    # Relative to each pair's own corner: slivers far from the origin keep their digits.
    base = theirs[:, :1, :2].copy()
    ours = ours.copy()
    ours[:, :, :2] -= base
    theirs = theirs.copy()
    theirs[:, :, :2] -= base
    plane = planes_of(theirs)
    polygon = ours
    polygon[:, :, 2] -= height_on(plane, ours)
    count = np.full(len(polygon), 3, dtype=np.int64)
    for side in range(3):
        a, b = theirs[:, side, :2], theirs[:, (side + 1) % 3, :2]
        run = b - a
        length = np.hypot(run[:, 0], run[:, 1])
        normal = np.column_stack((-run[:, 1], run[:, 0])) / length[:, None]
        away = np.einsum("nvk,nk->nv", polygon[:, :, :2] - a[:, None], normal)
        polygon, count = clip(polygon, count, away)
        keep = count > 2
        polygon, count, theirs, base = polygon[keep], count[keep], theirs[keep], base[keep]
    sign = np.ones(len(polygon))
    if rings is not None:
        polygon, count, sign = cut_to_rings(polygon, count, base[:, 0], rings)
    result = np.zeros(5)
    result[4] = float(np.sum(sign * integrate(polygon)[0]))
    for which, factor in ((0, 1.0), (1, -1.0)):
        part, _ = clip(polygon, count, factor * polygon[:, :, 2])
        area, value = integrate(part)
        result[which] = float(np.sum(sign * value))
        # Where the surfaces coincide there is neither cut nor fill.
        result[2 + which] = float(np.sum((sign * area)[np.abs(part[:, :, 2]).max(axis=1) > 0.0]))
    return result


def planes_of(corner: FloatArray) -> FloatArray:
    """Return z at the origin and the rises east and north of triangles' planes; shape (n, 3)."""
    p, q = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    double = 2.0 * plan_area(corner)
    east = (p[:, 2] * q[:, 1] - q[:, 2] * p[:, 1]) / double
    north = (q[:, 2] * p[:, 0] - p[:, 2] * q[:, 0]) / double
    at = corner[:, 0, 2] - east * corner[:, 0, 0] - north * corner[:, 0, 1]
    return np.column_stack((at, east, north))


def height_on(plane: FloatArray, points: FloatArray) -> FloatArray:
    """Return the planes' elevations at points (n, v, 2 or more)."""
    return np.asarray(
        plane[:, :1] + plane[:, 1:2] * points[:, :, 0] + plane[:, 2:] * points[:, :, 1]
    )


def clip(polygon: FloatArray, count: IntArray, away: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return convex polygons without what lies on the negative side of a line.

    polygon: shape (n, v, k), vertices filled up by repeating the last real one; count: shape (n,),
    real vertices. away: shape (n, v), signed distance (or anything linear in it) of the vertices.
    New vertices are interpolated in all k coordinates. Sutherland and Hodgman's rule for one line
    (from memory): keep what is inside, add where a side crosses.
    """
    n, v, k = polygon.shape
    if not n:
        return polygon, count
    real = np.arange(v)[None, :] < count[:, None]
    following = np.where(np.arange(v)[None, :] + 1 < count[:, None], np.arange(v)[None, :] + 1, 0)
    row = np.arange(n)[:, None]
    next_away = away[row, following]
    here = real & (away >= 0.0)
    crosses = real & ((away > 0.0) & (next_away < 0.0) | (away < 0.0) & (next_away > 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(crosses, away / (away - next_away), 0.0)
    between = polygon + share[:, :, None] * (polygon[row, following] - polygon)
    # Vertex, crossing, vertex, crossing ...: what is kept is moved to the front.
    wide = np.empty((n, 2 * v, k))
    wide[:, 0::2], wide[:, 1::2] = polygon, between
    keep = np.empty((n, 2 * v), dtype=np.bool_)
    keep[:, 0::2], keep[:, 1::2] = here, crosses
    total = keep.sum(axis=1)
    size = max(3, int(total.max()))
    order = np.argsort(~keep, axis=1, kind="stable")[:, :size]
    last = np.maximum(total - 1, 0)[:, None]
    order = np.where(np.arange(size)[None, :] < total[:, None], order, order[row, last])
    cut = wide[row, order]
    cut[total == 0] = 0.0
    return cut, total.astype(np.int64)


def integrate(polygon: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return areas and integrals of the third coordinate over polygons (n, v, 3), both (n,)."""
    a, b, c = polygon[:, :1], polygon[:, 1:-1], polygon[:, 2:]
    area = (
        (b[:, :, 0] - a[:, :, 0]) * (c[:, :, 1] - a[:, :, 1])
        - (b[:, :, 1] - a[:, :, 1]) * (c[:, :, 0] - a[:, :, 0])
    ) / 2.0
    mean = (a[:, :, 2] + b[:, :, 2] + c[:, :, 2]) / 3.0
    return np.asarray(area.sum(axis=1)), np.asarray((area * mean).sum(axis=1))


def cut_to_rings(
    polygon: FloatArray, count: IntArray, base: FloatArray, rings: list[FloatArray]
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Return the parts of the polygons within the rings, with signs that add up.

    A polygon that no edge comes near is in or out as a whole. Else what is inside is the sum, over
    the edges, of what lies below each between its ends, edges that run west counting positive and
    edges that run east negative (the rings turned counter-clockwise, holes clockwise).
    """
    edges = np.concatenate([_edges(ring, rings) for ring in rings])
    low = polygon[:, :, :2].min(axis=1) + base
    high = polygon[:, :, :2].max(axis=1) + base
    near_polygon, _ = _near(low, high, edges)
    touched = np.zeros(len(polygon), dtype=np.bool_)
    touched[near_polygon] = True
    centre = polygon[:, :, :2].mean(axis=1) + base
    whole = np.flatnonzero(~touched)
    whole = whole[inside(centre[whole], rings)]

    part = np.flatnonzero(touched)
    edges = edges[edges[:, 0] != edges[:, 2]]
    row, edge = _shared_strip(low[part, 0], high[part, 0], edges)
    row = part[row]
    ax, ay, bx, by = (edges[edge, column] for column in range(4))
    ax, bx = ax - base[row, 0], bx - base[row, 0]
    ay, by = ay - base[row, 1], by - base[row, 1]
    sign = np.where(bx < ax, 1.0, -1.0)
    left, right = np.minimum(ax, bx)[:, None], np.maximum(ax, bx)[:, None]
    slope = ((by - ay) / (bx - ax))[:, None]
    cut, number = polygon[row], count[row]
    cut, number = clip(cut, number, cut[:, :, 0] - left)
    cut, number = clip(cut, number, right - cut[:, :, 0])
    below = ay[:, None] + slope * (cut[:, :, 0] - ax[:, None]) - cut[:, :, 1]
    cut, number = clip(cut, number, below)
    size = max(polygon.shape[1], cut.shape[1])
    return (
        np.concatenate((_widen(polygon[whole], size), _widen(cut, size))),
        np.concatenate((count[whole], number)),
        np.concatenate((np.ones(whole.size), sign)),
    )


def _edges(ring: FloatArray, rings: list[FloatArray]) -> FloatArray:
    """Return a ring's edges (x1, y1, x2, y2), counter-clockwise, or clockwise if it is a hole."""
    depth = sum(bool(inside(ring[:1], [other])[0]) for other in rings if other is not ring)
    following = np.roll(ring, -1, axis=0)
    local, after = ring - ring[0], following - ring[0]
    area = np.sum(local[:, 0] * after[:, 1] - after[:, 0] * local[:, 1])
    edges = np.column_stack((ring, following))
    return edges if (area > 0.0) == (depth % 2 == 0) else edges[:, [2, 3, 0, 1]]


def _near(low: FloatArray, high: FloatArray, edges: FloatArray) -> tuple[IntArray, IntArray]:
    """Return the (polygon, edge) pairs whose boxes touch."""
    import shapely

    tree = shapely.STRtree(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    east, north = edges[:, [0, 2]], edges[:, [1, 3]]
    boxes = shapely.box(east.min(axis=1), north.min(axis=1), east.max(axis=1), north.max(axis=1))
    edge, polygon = tree.query(boxes)
    return np.asarray(polygon, dtype=np.int64), np.asarray(edge, dtype=np.int64)


def _shared_strip(
    low: FloatArray, high: FloatArray, edges: FloatArray
) -> tuple[IntArray, IntArray]:
    """Return the (polygon, edge) pairs that share eastings."""
    begin = np.minimum(edges[:, 0], edges[:, 2])
    end = np.maximum(edges[:, 0], edges[:, 2])
    order = np.argsort(low, kind="stable")
    stop = np.searchsorted(low[order], end, side="left")
    edge, within = ragged(stop)
    polygon = order[within]
    keep = high[polygon] > begin[edge]
    return polygon[keep], edge[keep]


def _widen(polygon: FloatArray, size: int) -> FloatArray:
    """Return polygons filled up to a number of vertices by repeating the last."""
    missing = size - polygon.shape[1]
    return np.pad(polygon, ((0, 0), (0, missing), (0, 0)), mode="edge") if missing else polygon
