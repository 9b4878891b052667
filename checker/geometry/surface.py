"""Surfaces of triangles as drawn: elevations and slopes at points.

Never re-triangulated. A triangle without area in plan (a vertical face, or one whose corners lie in
a line) carries no elevation: it is dropped and counted. Elevation within a triangle is linear:
z = z0 + gE (e - e0) + gN (n - n0).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import (
    BoolArray,
    FloatArray,
    GeometryError,
    IntArray,
    positions,
    ragged,
)
from checker.geometry.plane import wrap_azimuth

NO_HEIGHT_M = 1e-6
"""A triangle whose least height in plan is below this has no area worth the name."""
EDGE_M = 1e-6
"""A point this close to a triangle is on it."""
_QUERIES_AT_ONCE = 65_536
_FEW_COLUMNS = 46_000
"""Fewer columns of buckets than this, and as many rows, can be numbered in 32 bits."""


class SurfaceError(GeometryError):
    """Triangles that do not make a surface."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One size of square buckets and the triangles that were put into them.

    size_m: side. key: sorted numbers of the buckets that hold anything; first, count: where their
    triangles stand in `triangle`.
    """

    size_m: float
    columns: int
    key: IntArray
    first: IntArray
    count: IntArray
    triangle: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Triangles prepared for look-up; coordinates relative to `origin_m`, (easting, northing).

    corner_m: shape (t, 3, 3), counter-clockwise on the map. gradient: shape (t, 2), rise per metre
    east and north. side: shape (3, t, 3), a, b, c of the distance a e + b n + c to the left of each
    side. source: which of the triangles given each one was. dropped_vertical,
    dropped_degenerate: how many had no area in plan but a height, or no area at all.
    """

    origin_m: FloatArray
    corner_m: FloatArray
    gradient: FloatArray
    side: FloatArray
    source: IntArray
    dropped_vertical: int
    dropped_degenerate: int
    low_m: FloatArray
    levels: tuple[Level, ...]

    def __len__(self) -> int:
        """Return the number of triangles that carry elevations."""
        return len(self.corner_m)

    @property
    def triangles_m(self) -> FloatArray:
        """The triangles in the coordinates they came in, counter-clockwise; shape (t, 3, 3)."""
        moved = self.corner_m.copy()
        moved[:, :, :2] += self.origin_m
        return moved

    @property
    def area_m2(self) -> FloatArray:
        """Plan areas; shape (t,)."""
        return plan_area(self.corner_m)

    @property
    def slope(self) -> FloatArray:
        """Steepest rise per metre of each triangle; shape (t,)."""
        return np.asarray(np.hypot(self.gradient[:, 0], self.gradient[:, 1]))

    @property
    def aspect_rad(self) -> FloatArray:
        """Azimuth in which each triangle falls, clockwise from north; NaN where it is level."""
        aspect = wrap_azimuth(np.arctan2(-self.gradient[:, 0], -self.gradient[:, 1]))
        return np.where(self.slope == 0.0, np.nan, aspect)

    def look_up(self, xy_m: npt.ArrayLike, *, overlap_m: float = 1e-4) -> "Heights":
        """Return the design elevation at every point, metres.

        xy_m: shape (n, 2). On an edge or a corner every triangle there counts; the one drawn first
        gives the elevation, so the answer does not depend on the way of asking. overlap_m: where
        triangles at a point differ by more than this the surface overlaps itself (or steps, at a
        vertical face), and both elevations are told.
        """
        xy = positions(xy_m) - self.origin_m
        size = len(xy)
        source = np.full(size, -1, dtype=np.int32)
        elevation, gradient = np.full(size, np.nan), np.full((size, 2), np.nan)
        edge = np.zeros(size, dtype=np.bool_)
        hits = np.zeros(size, dtype=np.int32)
        several: list[tuple[IntArray, FloatArray, FloatArray]] = []
        # Neighbours one after the other find their triangles still in the processor's cache.
        walk = self._row_by_row(xy) if size > _QUERIES_AT_ONCE else np.arange(size)
        for first in range(0, size, _QUERIES_AT_ONCE):
            chunk = walk[first : first + _QUERIES_AT_ONCE]
            some = xy[chunk]
            at = self._at(some)
            hit = np.flatnonzero(at.triangle < len(self))
            triangle, place = at.triangle[hit], chunk[hit]
            elevation[place] = self._plane(triangle, some[hit])
            gradient[place] = self.gradient[triangle]
            source[place] = self.source[triangle]
            edge[chunk], hits[chunk] = at.edge, at.hits
            more = np.flatnonzero(at.hits > 1)
            several.append((chunk[more], at.low_m[more], at.high_m[more]))
        low, high = elevation, elevation
        overlaps = np.zeros(size, dtype=np.bool_)
        if any(len(place) for place, _, _ in several):
            low, high = elevation.copy(), elevation.copy()
            for place, least, most in several:
                low[place], high[place] = least, most
                overlaps[place] = most - least > overlap_m
        return Heights(
            elevation_m=elevation,
            source=source,
            gradient=gradient,
            low_m=low,
            high_m=high,
            overlaps=overlaps,
            on_edge=edge,
            hits=hits,
        )

    def _at(self, xy: FloatArray) -> "_Found":
        """Return the triangles at positions relative to the origin, few enough for the cache."""
        size = len(xy)
        found = _Found(
            triangle=np.full(size, len(self), dtype=np.int64),
            low_m=np.full(size, np.inf),
            high_m=np.full(size, -np.inf),
            edge=np.zeros(size, dtype=np.bool_),
            hits=np.zeros(size, dtype=np.int64),
        )
        for level in self.levels:
            point, triangle, z, on_edge = self._hits(level, xy)
            np.minimum.at(found.low_m, point, z)
            np.maximum.at(found.high_m, point, z)
            found.edge[point[on_edge]] = True
            np.add.at(found.hits, point, 1)
            # The triangle drawn first: the lowest number, whatever level it is on.
            np.minimum.at(found.triangle, point, triangle)
        return found

    def _row_by_row(self, xy: FloatArray) -> IntArray:
        """Return an order of positions in which neighbours follow each other."""
        size_m = self.levels[0].size_m
        # Whatever is beside the surface may come anywhere.
        cell = np.clip(np.nan_to_num((xy - self.low_m) / size_m), -1.0, 1e9).astype(np.int64)
        return np.argsort((cell[:, 1] << 31) + cell[:, 0])

    def _plane(self, triangle: IntArray, xy: FloatArray) -> FloatArray:
        """Return the elevations of the triangles' planes at positions relative to the origin."""
        corner = self.corner_m[triangle, 0]
        slope = self.gradient[triangle]
        east, north = xy[:, 0] - corner[:, 0], xy[:, 1] - corner[:, 1]
        return np.asarray(corner[:, 2] + slope[:, 0] * east + slope[:, 1] * north)

    def _hits(
        self, level: Level, xy: FloatArray
    ) -> tuple[IntArray, IntArray, FloatArray, BoolArray]:
        """Return which points lie in which triangles of one level, with elevation and edge."""
        point, triangle = candidates(level, self.low_m, xy)
        east, north = (np.ascontiguousarray(xy[:, axis]).take(point) for axis in (0, 1))
        nearest = np.full(point.size, np.inf)
        for side in range(3):
            # Distance to the left of the side; inside, all three are positive.
            row = self.side[side].take(triangle, axis=0)
            away = row[:, 0] * east + row[:, 1] * north + row[:, 2]
            inside = np.flatnonzero(away >= -EDGE_M)
            point, triangle = point.take(inside), triangle.take(inside)
            east, north = east.take(inside), north.take(inside)
            nearest = np.minimum(nearest.take(inside), away.take(inside))
        return point, triangle, self._plane(triangle, xy[point]), nearest <= EDGE_M


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """The triangles at some positions; arrays of shape (n,).

    triangle: the first, as many as there are where there is none. low_m, high_m: of all there.
    """

    triangle: IntArray
    low_m: FloatArray
    high_m: FloatArray
    edge: BoolArray
    hits: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """What a surface is at points; arrays of shape (n,), gradient (n, 2).

    elevation_m: NaN outside. source: index into the triangles given, -1 outside. gradient: rise per
    metre east and north. low_m, high_m: least and largest elevation of all triangles there (one
    array where nothing lies over another); overlaps: they differ. on_edge: on a side or corner of a
    triangle. hits: how many triangles.
    """

    elevation_m: FloatArray
    source: npt.NDArray[np.int32]
    gradient: FloatArray
    low_m: FloatArray
    high_m: FloatArray
    overlaps: BoolArray
    on_edge: BoolArray
    hits: npt.NDArray[np.int32]

    def normal(self, dz_m: npt.ArrayLike) -> FloatArray:
        """Return vertical differences as distances square to the surface, same sign, metres."""
        steep = 1.0 + np.sum(self.gradient * self.gradient, axis=1)
        return np.asarray(np.asarray(dz_m, dtype=np.float64) / np.sqrt(steep))


def plan_area(corner_m: FloatArray) -> FloatArray:
    """Return signed plan areas of triangles (t, 3, 2 or more); counter-clockwise positive."""
    a, b, c = corner_m[:, 0], corner_m[:, 1], corner_m[:, 2]
    return np.asarray(
        ((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])) / 2
    )


def surface(triangles_m: npt.ArrayLike) -> Surface:
    """Return a surface from triangles as drawn.

    triangles_m: shape (t, 3, 3): corners, then easting, northing, elevation, metres; either
    direction round. SurfaceError where a number is missing or no triangle has an area in plan.
    """
    given = np.asarray(triangles_m, dtype=np.float64)
    if given.ndim != 3 or given.shape[1:] != (3, 3):
        raise ValueError(f"triangles have shape {given.shape}, expected (t, 3, 3)")
    missing = ~np.isfinite(given).all(axis=(1, 2))
    if missing.any():
        raise SurfaceError(
            f"{np.count_nonzero(missing)} of {len(given)} triangles lack a coordinate",
            "look for faces without an elevation",
        )
    if not len(given):
        raise SurfaceError("a surface without triangles", "look at the layer's name")
    # The middle of the extents: products of seven-digit coordinates would eat the digits.
    flat = given[:, :, :2]
    origin = (flat.min(axis=(0, 1)) + flat.max(axis=(0, 1))) / 2.0
    corner = given.copy()
    corner[:, :, :2] -= origin
    area = plan_area(corner)
    side = np.roll(corner, -1, axis=1) - corner
    longest = np.sqrt(np.max(side[:, :, 0] ** 2 + side[:, :, 1] ** 2, axis=1))
    flat_enough = 2.0 * np.abs(area) > NO_HEIGHT_M * longest
    standing = ~flat_enough & _has_space(side)
    if not flat_enough.any():
        raise SurfaceError(
            f"none of the {len(given)} triangles has an area in plan", "look at the drawing's axes"
        )
    corner, area = corner[flat_enough], area[flat_enough]
    clockwise = area < 0.0
    corner[clockwise] = corner[clockwise][:, ::-1]
    low = corner[:, :, :2].min(axis=(0, 1))
    return Surface(
        origin_m=origin,
        corner_m=corner,
        gradient=_gradient(corner),
        side=_sides(corner[:, :, :2]),
        source=np.flatnonzero(flat_enough).astype(np.int64),
        dropped_vertical=int(np.count_nonzero(standing)),
        dropped_degenerate=int(np.count_nonzero(~flat_enough & ~standing)),
        low_m=low,
        levels=_levels(corner[:, :, :2], low),
    )


def _has_space(side: FloatArray) -> BoolArray:
    """Return which triangles have an area in space; side: shape (t, 3, 3)."""
    normal = np.cross(side[:, 0], side[:, 1])
    longest = np.sqrt(np.max(np.sum(side * side, axis=2), axis=1))
    return np.asarray(np.linalg.norm(normal, axis=1) > NO_HEIGHT_M * longest)


def _gradient(corner: FloatArray) -> FloatArray:
    """Return rise per metre east and north of each triangle's plane; shape (t, 2)."""
    p, q = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    double = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    east = (p[:, 2] * q[:, 1] - q[:, 2] * p[:, 1]) / double
    north = (q[:, 2] * p[:, 0] - p[:, 2] * q[:, 0]) / double
    return np.column_stack((east, north))


def _sides(xy: FloatArray) -> FloatArray:
    """Return a, b, c of the distance to the left of each side; xy (t, 3, 2), answer (3, t, 3)."""
    run = np.roll(xy, -1, axis=1) - xy
    run /= np.hypot(run[:, :, 0], run[:, :, 1])[:, :, None]
    constant = run[:, :, 1] * xy[:, :, 0] - run[:, :, 0] * xy[:, :, 1]
    rows = np.stack((-run[:, :, 1], run[:, :, 0], constant), axis=2)
    return np.ascontiguousarray(np.swapaxes(rows, 0, 1))


def _levels(xy: FloatArray, low: FloatArray) -> tuple[Level, ...]:
    """Put triangles into buckets of about their size; one level for each size.

    A single size would put one large triangle into every bucket, or all small ones into one.
    xy: shape (t, 3, 2), relative to the origin.
    """
    least, most = _ends(xy)
    extent = np.max(most - least, axis=1)
    # Sizes a factor of 2 apart: a bucket about half as wide as its triangles, so that most of those
    # found in it are at the point; smaller ones take longer to fill than they save.
    power = np.ceil(np.log2(np.maximum(extent, EDGE_M)) - 0.5).astype(np.int64)
    whole = np.max(most.max(axis=0) - low)
    levels = []
    for each in np.unique(power):
        # Not so small that the buckets cannot be numbered.
        size = max(float(2.0 ** (each - 1)), float(whole) * 1e-8)
        columns = int(np.ceil(whole / size)) + 3
        mine = np.flatnonzero(power == each)
        first = np.floor((least[mine] - EDGE_M - low) / size).astype(np.int64) + 1
        last = np.floor((most[mine] + EDGE_M - low) / size).astype(np.int64) + 1
        span = last - first + 1
        row, cell = ragged(span[:, 0] * span[:, 1])
        key = (first[row, 1] + cell // span[row, 0]) * columns + first[row, 0] + cell % span[row, 0]
        order = np.argsort(key.astype(np.int32) if columns < _FEW_COLUMNS else key)
        key = key[order]
        start = np.flatnonzero(np.diff(key, prepend=-1))
        levels.append(
            Level(
                size_m=size,
                columns=columns,
                key=key[start],
                first=start.astype(np.int64),
                count=np.diff(start, append=len(key)).astype(np.int64),
                triangle=mine[row[order]],
            )
        )
    return tuple(levels)


def _ends(xy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the least and the largest of three corners; numpy is slow along so short an axis."""
    a, b, c = xy[:, 0], xy[:, 1], xy[:, 2]
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def candidates(level: Level, low_m: FloatArray, xy: FloatArray) -> tuple[IntArray, IntArray]:
    """Return the (point, triangle) pairs that share a bucket; positions relative to the origin."""
    with np.errstate(invalid="ignore"):
        cell = np.floor((xy - low_m) / level.size_m) + 1.0
        inside = ((cell >= 0.0) & (cell < level.columns)).all(axis=1)
    rows = np.flatnonzero(inside)
    place = cell[rows].astype(np.int64)
    key = place[:, 1] * level.columns + place[:, 0]
    at = np.minimum(np.searchsorted(level.key, key), level.key.size - 1)
    found = level.key[at] == key
    rows, at = rows[found], at[found]
    row, within = ragged(level.count[at])
    return rows[row], level.triangle[level.first[at][row] + within]
