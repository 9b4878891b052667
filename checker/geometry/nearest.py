"""The nearest line or arc among many, exactly.

Arcs are flattened only to look for candidates; every distance that is told comes from the arc.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, GeometryError, IntArray, positions, ragged

if TYPE_CHECKING:
    import shapely
    from scipy.spatial import KDTree

FLATTEN_M = 0.010
"""How far a chord of the search may be from its arc."""
_NO_LENGTH_M = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Primitives:
    """Lines and arcs, each from a start to an end; arrays of shape (n,), positions (n, 2).

    bulge: tan of a quarter of the arc's angle, + counter-clockwise (a left turn), 0 for a line.
    """

    start_m: FloatArray
    end_m: FloatArray
    bulge: FloatArray

    def __len__(self) -> int:
        """Return the number of primitives."""
        return len(self.bulge)


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """The nearest primitive of every point; arrays of shape (points,).

    primitive: index; of several as near the first. along_m: from its start to the nearest place on
    it. offset_m: distance with a sign, + where the point stands right of the primitive's direction.
    at_end: the nearest place is an end, beyond which the point stands. rivals: how many other
    primitives are as near.
    """

    primitive: IntArray
    along_m: FloatArray
    offset_m: FloatArray
    at_end: npt.NDArray[np.bool_]
    rivals: IntArray


def primitives(
    start_m: npt.ArrayLike, end_m: npt.ArrayLike, bulge: npt.ArrayLike = 0.0
) -> Primitives:
    """Return lines and arcs; GeometryError where a number is not finite or a part has no length."""
    start, end = positions(start_m), positions(end_m)
    turn = np.broadcast_to(np.asarray(bulge, dtype=np.float64), (len(start),))
    if not (np.isfinite(start).all() and np.isfinite(end).all() and np.isfinite(turn).all()):
        raise GeometryError("a line or an arc has a coordinate or a bulge that is not finite")
    length = np.hypot(*(end - start).T)
    if np.any(length <= _NO_LENGTH_M):
        raise GeometryError("a line or an arc has no length", "leave it out")
    # An arc that leaves its chord by less than a picometre is a line.
    flat = np.abs(turn) * length / 2.0 < 1e-12
    return Primitives(start_m=start, end_m=end, bulge=np.where(flat, 0.0, turn))


@dataclass(frozen=True, slots=True, kw_only=True)
class Close:
    """Pairs of a point and a primitive that is as near to it as the nearest, or nearly so.

    Arrays of shape (pairs,), in the order of the points, then of the primitives; the numbers are
    those of `Nearest`.
    """

    point: IntArray
    primitive: IntArray
    along_m: FloatArray
    offset_m: FloatArray
    at_end: npt.NDArray[np.bool_]


class NearestIndex:
    """Lines and arcs prepared for look-up."""

    def __init__(self, parts: Primitives) -> None:
        """Build the trees; GeometryError where there is nothing to look among."""
        if not len(parts):
            raise GeometryError("there is no line to be near to", "look at the layer's name")
        self.parts = parts
        self._tree, self._owner = _tree(parts)
        self._marks, self._marked = _marks(parts)

    def look_up(self, xy_m: npt.ArrayLike, *, rival_m: float = 1e-6) -> Nearest:
        """Return the nearest primitive of every point; xy_m: shape (n, 2), all finite.

        rival_m: primitives not farther than the nearest by more than this count as rivals.
        """
        return self.look_around(xy_m, rival_m)[0]

    def look_around(self, xy_m: npt.ArrayLike, rival_m: float) -> tuple[Nearest, Close]:
        """Return the nearest primitive of every point as `look_up`, and it with all its rivals."""
        xy = positions(xy_m)
        if not np.isfinite(xy).all():
            raise ValueError("positions that are not finite have no nearest line")
        # The nearest is not farther than that on which the nearest mark stands.
        guess = self._marked[self._marks.query(xy)[1]]
        at_most = np.abs(on_primitive(self.parts, guess, xy)[1])
        point, primitive = self._about(xy, at_most + rival_m)
        along, offset, at_end = on_primitive(self.parts, primitive, xy[point])
        distance = np.abs(offset)
        order = np.lexsort((primitive, distance, point))
        _, first = np.unique(point[order], return_index=True)
        best = order[first]
        near = distance <= distance[best][point] + rival_m
        nearest = Nearest(
            primitive=primitive[best],
            along_m=along[best],
            offset_m=offset[best],
            at_end=at_end[best],
            rivals=np.bincount(point[near], minlength=len(xy)).astype(np.int64) - 1,
        )
        return nearest, Close(
            point=point[near],
            primitive=primitive[near],
            along_m=along[near],
            offset_m=offset[near],
            at_end=at_end[near],
        )

    def _about(self, xy: FloatArray, reach_m: FloatArray) -> tuple[IntArray, IntArray]:
        """Return every (point, primitive) pair that may be as near as that, and few others."""
        import shapely

        # A chord is off its arc by FLATTEN_M at most.
        point, chord = self._tree.query(
            shapely.points(xy), predicate="dwithin", distance=reach_m + FLATTEN_M
        )
        pair = np.unique(point.astype(np.int64) * len(self.parts) + self._owner[chord])
        point, primitive = np.divmod(pair, len(self.parts))
        return point, primitive

    def near(self, xy_m: npt.ArrayLike, reach_m: npt.ArrayLike) -> tuple[IntArray, IntArray]:
        """Return every (point, primitive) pair that is not farther apart than asked, in order.

        xy_m: shape (n, 2), all finite. reach_m: shape (n,) or a number.
        """
        xy = positions(xy_m)
        reach = np.broadcast_to(np.asarray(reach_m, dtype=np.float64), (len(xy),))
        point, primitive = self._about(xy, reach)
        _, offset, _ = on_primitive(self.parts, primitive, xy[point])
        close = np.abs(offset) <= reach[point]
        return point[close], primitive[close]


def on_primitive(
    parts: Primitives, primitive: IntArray, xy_m: FloatArray
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Return along, signed distance and whether an end is nearest, for (primitive, point) pairs.

    With f along the chord and o to the right of it from its middle, an arc of bulge b and half
    chord h has its centre at o = h (b^2 - 1) / (2 b), its radius h (1 + b^2) / (2 |b|).
    """
    start, end, bulge = (each[primitive] for each in (parts.start_m, parts.end_m, parts.bulge))
    chord = end - start
    length = np.hypot(chord[:, 0], chord[:, 1])
    unit = chord / length[:, None]
    away = xy_m - start
    ahead = away[:, 0] * unit[:, 0] + away[:, 1] * unit[:, 1]
    right = away[:, 0] * unit[:, 1] - away[:, 1] * unit[:, 0]
    along = np.clip(ahead, 0.0, length)
    offset = np.copysign(np.hypot(ahead - along, right), right)
    at_end = (ahead < 0.0) | (ahead > length)
    arc = np.flatnonzero(bulge != 0.0)
    if arc.size:
        along[arc], offset[arc], at_end[arc] = _on_arc(
            ahead[arc], right[arc], length[arc], bulge[arc]
        )
    return along, offset, at_end


def _on_arc(
    ahead: FloatArray, right: FloatArray, length: FloatArray, bulge: FloatArray
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Return the same for arcs, the point being given along and right of the chord's start."""
    angle = 4.0 * np.arctan(bulge)
    # Along and right of the tangent at the start, which points right of the chord by angle / 2.
    cosine, sine = np.cos(angle / 2.0), np.sin(angle / 2.0)
    forward = ahead * cosine + right * sine
    aside = right * cosine - ahead * sine
    k = -4.0 * bulge / (length * (1.0 + bulge * bulge))
    whole = np.abs(angle / k)
    t = np.arctan2(forward * k, 1.0 - aside * k) / k
    t = np.where((t < 0.0) & (t + 2.0 * np.pi / np.abs(k) <= whole), t + 2.0 * np.pi / np.abs(k), t)
    on = (t >= 0.0) & (t <= whole)
    # 1 - h with h the distance from the centre in radii, without losing its digits.
    square = forward * forward + aside * aside
    radii = np.sqrt(np.maximum(1.0 - 2.0 * aside * k + square * k * k, 0.0))
    beside = (2.0 * aside - square * k) / (1.0 + radii)
    to_start = np.hypot(ahead, right)
    to_end = np.hypot(ahead - length, right)
    first = to_start <= to_end
    # Beyond an end the side is that of its tangent.
    leaving = right * cosine + (ahead - length) * sine
    outside = np.where(first, np.copysign(to_start, aside), np.copysign(to_end, leaving))
    return (
        np.where(on, t, np.where(first, 0.0, whole)),
        np.where(on, beside, outside),
        ~on,
    )


def _tree(parts: Primitives) -> tuple["shapely.STRtree", IntArray]:
    """Return a tree of chords and the primitive that each belongs to."""
    import shapely

    angle = 4.0 * np.arctan(np.abs(parts.bulge))
    length = np.hypot(*(parts.end_m - parts.start_m).T)
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = length / (2.0 * np.sin(angle / 2.0))
        # The sagitta of a chord over an angle a is R (1 - cos(a / 2)).
        most = 2.0 * np.arccos(1.0 - np.minimum(FLATTEN_M / radius, 1.0))
        pieces = np.where(parts.bulge == 0.0, 1.0, np.ceil(angle / most))
    owner, number = ragged(np.maximum(pieces, 1.0).astype(np.int64))
    count = pieces[owner]
    begin = _at_share(parts, owner, number / count)
    finish = _at_share(parts, owner, (number + 1) / count)
    chords = shapely.linestrings(np.stack((begin, finish), axis=1))
    return shapely.STRtree(np.asarray(chords)), owner


def _marks(parts: Primitives) -> tuple["KDTree", IntArray]:
    """Return places along the primitives, some four on each and more on the longer ones."""
    from scipy.spatial import KDTree

    length = np.hypot(*(parts.end_m - parts.start_m).T)
    count = np.ceil(4.0 * length / length.mean()).astype(np.int64)
    owner, number = ragged(count)
    return KDTree(_at_share(parts, owner, (number + 0.5) / count[owner])), owner


def _at_share(parts: Primitives, primitive: IntArray, share: FloatArray) -> FloatArray:
    """Return the places at a share of each primitive's length; shape (n, 2)."""
    start = parts.start_m[primitive]
    chord = parts.end_m[primitive] - start
    half = 2.0 * np.arctan(parts.bulge[primitive])
    # Turned about the start by what is left of the half angle, and as long as its own chord.
    turn = half * (share - 1.0)
    scale = share * np.sinc(half * share / np.pi) / np.sinc(half / np.pi)
    cosine, sine = np.cos(turn), np.sin(turn)
    return np.column_stack(
        (
            start[:, 0] + scale * (chord[:, 0] * cosine - chord[:, 1] * sine),
            start[:, 1] + scale * (chord[:, 0] * sine + chord[:, 1] * cosine),
        )
    )
