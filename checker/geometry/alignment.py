"""Alignments of lines, arcs and spirals: stations and offsets of points, and points at them.

Stations grow along the alignment; offset is + right and - left looking up-station; azimuths run
clockwise from north; curvature is 1/R, + turning right. `distance` is measured along the alignment
from its start, whatever its stations are called.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import BoolArray, FloatArray, GeometryError, IntArray, positions
from checker.geometry.elements import (
    Elements,
    azimuth,
    curvature,
    dot,
    place,
    rightward,
    tangent,
)
from checker.geometry.feet import Feet, Foot, join, spread
from checker.geometry.perpendicular import panels, simple_feet, spiral_feet
from checker.geometry.plane import wrap_azimuth, wrap_signed
from checker.geometry.stations import Stationing

SAME_M = 1e-6
"""Two feet closer along the alignment than this are one foot."""
ROUNDING_M = 1e-9
FARTHEST_M = 1e12


class AlignmentError(GeometryError):
    """An alignment that cannot be built as given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Defect:
    """A place where an alignment is not smooth.

    kind: "gap" (amount in metres), "kink" (radians by which the tangent breaks, + right),
    "reversal" (a kink of more than 150 degrees: an element drawn backwards), or "radius" (a spiral
    whose end does not have the curvature of its neighbour; 1/m).
    """

    kind: str
    distance_m: float
    element: int
    amount: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Alignment:
    """Elements end to end.

    closed: the end is the start. dropped: how many parts of no length were left out when built.
    """

    elements: Elements
    stationing: Stationing
    closed: bool = False
    dropped: int = 0

    @property
    def starts_m(self) -> FloatArray:
        """Distances at which the elements start, and the end of the last; shape (elements + 1,)."""
        return np.concatenate(([0.0], np.cumsum(self.elements.length_m)))

    @property
    def length_m(self) -> float:
        """Length along the alignment."""
        return float(np.sum(self.elements.length_m))

    def locate(self, distance_m: npt.ArrayLike) -> tuple[IntArray, FloatArray]:
        """Return the element and the distance inside it; a joint belongs to the element ahead."""
        distance = np.atleast_1d(np.asarray(distance_m, dtype=np.float64))
        starts = self.starts_m
        index = np.searchsorted(starts[1:-1], distance, side="right").astype(np.int64)
        return index, distance - starts[index]

    def point_at(self, distance_m: npt.ArrayLike, offset_m: npt.ArrayLike = 0.0) -> FloatArray:
        """Return positions at distances along and offsets (+ right); shape (n, 2).

        Before the start and past the end the end tangents are drawn on. NaN gives NaN.
        """
        distance, offset = np.broadcast_arrays(
            np.atleast_1d(np.asarray(distance_m, dtype=np.float64)),
            np.asarray(offset_m, dtype=np.float64),
        )
        index, t = self.locate(distance)
        inside = np.clip(t, 0.0, self.elements.length_m[index])
        direction = azimuth(self.elements, index, inside)
        return np.asarray(
            place(self.elements, index, inside)
            + (t - inside)[:, None] * tangent(direction)
            + offset[:, None] * rightward(direction)
        )

    def azimuth_at(self, distance_m: npt.ArrayLike) -> FloatArray:
        """Return azimuths of the tangent, radians in [0, 2 pi); at a kink of the part ahead."""
        index, t = self.locate(distance_m)
        inside = np.clip(t, 0.0, self.elements.length_m[index])
        return wrap_azimuth(azimuth(self.elements, index, inside))

    def curvature_at(self, distance_m: npt.ArrayLike) -> FloatArray:
        """Return curvatures, 1/m, + turning right; zero beyond the ends."""
        index, t = self.locate(distance_m)
        on = (t >= 0.0) & (t <= self.elements.length_m[index])
        return np.where(on, curvature(self.elements, index, t), 0.0)

    def station_offset(self, xy_m: npt.ArrayLike, *, rival_m: float = 1e-3) -> Feet:
        """Return the nearest place of the alignment for every point; row i belongs to point i.

        xy_m: shape (n, 2). rival_m: places not farther than the nearest by more than this count as
        rivals. Positions that are not finite give NaN.
        """
        from scipy.spatial import cKDTree

        every = positions(xy_m)
        finite = np.asarray(np.isfinite(every).all(axis=1))
        xy = every[finite]
        boxes = self._boxes()
        # A place of the alignment at a known distance: the nearest one is not farther.
        reach, _ = cKDTree(boxes.nodes_m).query(xy)
        feet = self._feet(xy, np.asarray(reach) + rival_m + SAME_M, boxes)
        feet = feet.take(np.lexsort((feet.distance_m, feet.away_m, feet.point)))
        found, first = np.unique(feet.point, return_index=True)
        if found.size != len(xy):
            raise AssertionError("a point has no nearest place on the alignment")
        near = feet.away_m <= feet.away_m[first][feet.point] + rival_m
        nearest = feet.take(first)
        rivals = np.bincount(feet.point[near], minlength=found.size) - 1
        # In the centre of an arc every place of it is as near as any other.
        k = np.where(
            self.elements.is_spiral[nearest.element],
            0.0,
            self.elements.curvature_in[nearest.element],
        )
        radius = np.divide(1.0, k, out=np.full_like(k, np.inf), where=k != 0.0)
        centre = np.abs(nearest.offset_m - radius) <= rival_m
        rivals += centre & (nearest.kind == Foot.ON)
        nearest = replace(nearest, rivals=rivals.astype(np.int64))
        return nearest if finite.all() else spread(nearest, finite)

    def all_station_offsets(self, xy_m: npt.ArrayLike, within_m: float) -> Feet:
        """Return every place that is nearer to a point than its surroundings, up to a distance.

        Sorted by point, then by distance from it. A point may have none, or several: near the
        centre of a curve, between the legs of a bend. `rivals` counts the point's other places.
        Positions that are not finite have none.
        """
        xy = positions(xy_m)
        rows = np.flatnonzero(np.isfinite(xy).all(axis=1))
        # The tree cannot look without an end.
        reach = np.full(rows.size, min(float(within_m), FARTHEST_M))
        feet = self._feet(xy[rows], reach, self._boxes())
        feet = replace(feet, point=rows[feet.point])
        feet = feet.take(np.lexsort((feet.distance_m, feet.away_m, feet.point)))
        count = np.bincount(feet.point, minlength=len(xy))
        return replace(feet, rivals=count[feet.point] - 1)

    def defects(self, *, gap_m: float = 1e-3, kink_rad: float = 1e-4) -> tuple[Defect, ...]:
        """Return where the elements do not meet, kink, run backwards or do not fit in radius."""
        elements, found = self.elements, []
        ends, directions = self._ends()
        following = np.roll(np.arange(len(elements)), -1)
        for index in range(len(elements) - (0 if self.closed else 1)):
            after = int(following[index])
            at = float(self.starts_m[index + 1])
            gap = float(np.hypot(*(elements.xy_m[after] - ends[index])))
            if gap > gap_m:
                found.append(Defect(kind="gap", distance_m=at, element=index, amount=gap))
            kink = float(wrap_signed(elements.azimuth_rad[after] - directions[index]))
            if abs(kink) > kink_rad:
                kind = "reversal" if abs(kink) > np.radians(150.0) else "kink"
                found.append(Defect(kind=kind, distance_m=at, element=index, amount=kink))
            step = float(elements.curvature_in[after] - elements.curvature_out[index])
            spiral = bool(elements.is_spiral[index] or elements.is_spiral[after])
            # A metre of offset must not move by a tenth of a milliradian's worth along a metre.
            if spiral and abs(step) > kink_rad:
                found.append(Defect(kind="radius", distance_m=at, element=index, amount=step))
        return tuple(found)

    def _ends(self) -> tuple[FloatArray, FloatArray]:
        """Positions and azimuths at the ends of the elements."""
        index = np.arange(len(self.elements))
        length = self.elements.length_m
        return place(self.elements, index, length), azimuth(self.elements, index, length)

    def _boxes(self) -> "_Boxes":
        """Return the boxes of the elements, and places along them."""
        nodes, low, high = [], [], []
        for number in range(len(self.elements)):
            piece = panels(self.elements, number)
            bend = np.max(np.abs(piece.curvature))
            # Between two nodes the curve leaves their box by less than its sagitta.
            pad = bend * piece.t_m[1] ** 2 / 4.0
            nodes.append(piece.xy_m)
            low.append(piece.xy_m.min(axis=0) - pad)
            high.append(piece.xy_m.max(axis=0) + pad)
        return _Boxes(nodes_m=np.concatenate(nodes), low_m=np.array(low), high_m=np.array(high))

    def _feet(self, xy_m: FloatArray, within_m: FloatArray, boxes: "_Boxes") -> Feet:
        """Return every place that is a local least distance, once, not farther than asked."""
        point, element = boxes.pairs(xy_m, within_m)
        spiral = self.elements.is_spiral[element]
        simple = np.flatnonzero(~spiral)
        t, on = simple_feet(self.elements, element[simple], xy_m[point[simple]])
        rows, where, along = [point[simple][on]], [element[simple][on]], [t[on]]
        for number in np.unique(element[spiral]):
            mine = point[element == number]
            row, t = spiral_feet(self.elements, int(number), xy_m[mine], within_m[mine])
            rows.append(mine[row])
            where.append(np.full(row.size, number))
            along.append(t)
        square = self._on(xy_m, np.concatenate(rows), np.concatenate(where), np.concatenate(along))
        feet = join((square, *self._at_vertices(xy_m, point, element)))
        perpendicular = np.arange(len(feet)) < len(square)
        keep = feet.away_m <= within_m[feet.point]
        return self._once(feet.take(keep), perpendicular[keep])

    def _on(self, xy_m: FloatArray, point: IntArray, element: IntArray, t: FloatArray) -> Feet:
        """Return feet of perpendiculars at t of the elements."""
        away = xy_m[point] - place(self.elements, element, t)
        side = dot(away, rightward(azimuth(self.elements, element, t)))
        offset = np.copysign(np.hypot(away[:, 0], away[:, 1]), side)
        distance = self.starts_m[element] + t
        if self.closed:
            distance = np.where(distance >= self.length_m - ROUNDING_M, 0.0, distance)
        return self._row(point, element, distance, offset, np.abs(offset), Foot.ON)

    def _at_vertices(
        self, xy_m: FloatArray, point: IntArray, element: IntArray
    ) -> tuple[Feet, Feet]:
        """Return the starts and ends of elements where they are nearer than what lies around them.

        A joint is a least distance where the point lies ahead of the part behind and behind the
        part ahead. Across a gap each end stands for itself.
        """
        elements, count = self.elements, len(self.elements)
        ends, directions = self._ends()
        before = np.roll(np.arange(count), 1)
        joined = np.hypot(*(elements.xy_m - ends[before]).T) <= SAME_M
        if not self.closed:
            joined[0] = False
        arriving = np.where(joined, directions[before], elements.azimuth_rad)

        # Starts, joints among them.
        away = xy_m[point] - elements.xy_m[element]
        behind = dot(away, tangent(elements.azimuth_rad[element]))
        ahead = dot(away, tangent(arriving[element]))
        # Rounding may hide the foot at a smooth joint from both elements: hence the little more.
        least = (behind <= SAME_M) & ((ahead >= -SAME_M) | ~joined[element])
        kink = np.maximum(np.abs(behind), np.abs(ahead)) > SAME_M
        middle = tangent(elements.azimuth_rad[element]) + tangent(arriving[element])
        flat = np.hypot(middle[:, 0], middle[:, 1]) < SAME_M
        middle[flat] = tangent(arriving[element])[flat]
        side = away[:, 0] * middle[:, 1] - away[:, 1] * middle[:, 0]
        radius = np.hypot(away[:, 0], away[:, 1])
        first = (element == 0) & (not self.closed)
        offset = np.where(
            first,
            dot(away, rightward(elements.azimuth_rad[element])),
            np.copysign(radius, side),
        )
        distance = self.starts_m[element] + np.where(first, behind, 0.0)
        kind = np.where(kink, np.where(first, Foot.BEFORE, Foot.VERTEX), Foot.ON)
        starts = self._row(point, element, distance, offset, radius, kind)

        # Ends that no element continues.
        open_end = ~joined[(element + 1) % count]
        point, element = point[open_end], element[open_end]
        away = xy_m[point] - ends[element]
        beyond = dot(away, tangent(directions[element]))
        side = dot(away, rightward(directions[element]))
        radius = np.hypot(away[:, 0], away[:, 1])
        last = element == count - 1
        offset = np.where(last, side, np.copysign(radius, side))
        distance = self.starts_m[element + 1] + np.where(last, beyond, 0.0)
        kind = np.where(beyond > SAME_M, np.where(last, Foot.PAST, Foot.VERTEX), Foot.ON)
        finish = self._row(point, element, distance, offset, radius, kind)
        return starts.take(least), finish.take(beyond >= -SAME_M)

    def _row(
        self,
        point: IntArray,
        element: IntArray,
        distance: FloatArray,
        offset: FloatArray,
        away: FloatArray,
        kind: int | npt.NDArray[np.int_],
    ) -> Feet:
        """Return feet with their stations."""
        return Feet(
            point=point,
            distance_m=distance,
            station_m=self.stationing.station(distance),
            region=self.stationing.region(distance),
            offset_m=offset,
            away_m=away,
            kind=np.broadcast_to(np.asarray(kind, dtype=np.int8), point.shape).copy(),
            element=element,
            rivals=np.zeros(point.size, dtype=np.int64),
        )

    def _once(self, feet: Feet, perpendicular: BoolArray) -> Feet:
        """Return the feet without those found twice, as at a joint from both of its elements."""
        along = feet.distance_m
        if self.closed:
            along = np.where(along >= self.length_m - SAME_M, along - self.length_m, along)
        order = np.lexsort((along, feet.point))
        new = np.ones(order.size, dtype=np.bool_)
        new[1:] = (np.diff(feet.point[order]) != 0) | (np.diff(along[order]) > SAME_M)
        group = np.empty(order.size, dtype=np.int64)
        group[order] = np.cumsum(new) - 1
        # A perpendicular stands for its group before a vertex does, then the nearest.
        best = np.lexsort((feet.away_m, ~perpendicular, group))
        _, first = np.unique(group[best], return_index=True)
        return feet.take(best[first])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Boxes:
    """Places along the elements (n, 2), and the corners of their boxes (elements, 2)."""

    nodes_m: FloatArray
    low_m: FloatArray
    high_m: FloatArray

    def pairs(self, xy_m: FloatArray, within_m: FloatArray) -> tuple[IntArray, IntArray]:
        """Return the (point, element) pairs whose boxes are not farther apart than asked."""
        import shapely

        boxes = shapely.box(
            self.low_m[:, 0], self.low_m[:, 1], self.high_m[:, 0], self.high_m[:, 1]
        )
        tree = shapely.STRtree(np.asarray(boxes))
        # A box without area, as of a line to the north, is a polygon all the same.
        point, element = tree.query(shapely.points(xy_m), predicate="dwithin", distance=within_m)
        return np.asarray(point, dtype=np.int64), np.asarray(element, dtype=np.int64)


def reversed_alignment(alignment: Alignment) -> Alignment:
    """Return the same line run the other way, from station 0, without equations.

    Offsets and curvatures change their sign, azimuths turn by half a circle.
    """
    elements = alignment.elements
    ends, directions = alignment._ends()  # noqa: SLF001  (same module)
    return replace(
        alignment,
        elements=Elements(
            xy_m=ends[::-1].copy(),
            azimuth_rad=wrap_azimuth(directions[::-1] + np.pi),
            length_m=elements.length_m[::-1].copy(),
            curvature_in=-elements.curvature_out[::-1],
            curvature_out=-elements.curvature_in[::-1],
        ),
        stationing=Stationing(),
    )
