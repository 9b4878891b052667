"""Curves of a drawing: exact in three dimensions, seen in plan, flattened only to be shown.

A drawing's lines, circular and elliptical arcs are all of one form,
``centre + u cos t + v sin t`` (a line has no u and v), and that form stays exact under every
affine map: turned, mirrored, stretched or nested in blocks. Plan here is the drawing's x and y,
that is easting and northing; angles are counter-clockwise from x, as drawings have them.

Sources: the open DXF reference for bulge (the tangent of a quarter of the included angle,
counter-clockwise positive) and for the entity coordinate system (the arbitrary axis rule, 1/64);
plane geometry otherwise.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checker.model.arrays import FloatArray, IntArray

MAX_CHORDS = 2048
"""At most so many chords stand for one arc, however large it is."""
FULL_TURN = 2.0 * np.pi
_FLAT_BULGE = 1e-8
"""A flatter arc is a line: it stands off its chord by 5e-9 of the chord's length, while rounding of
its far centre would already move it by more."""
_AXIS_LIMIT = 1.0 / 64.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Connected lines and arcs in three dimensions, in the unit and axes they were drawn in.

    start, end, centre, u, v: shape (parts, 3); sweep_rad: shape (parts,). Part i is the straight
    line from start to end where sweep_rad is 0, else centre + u cos t + v sin t for t from 0 to
    sweep_rad (signed). closed: the last end is the first start.
    """

    start: FloatArray
    end: FloatArray
    centre: FloatArray
    u: FloatArray
    v: FloatArray
    sweep_rad: FloatArray
    closed: bool

    def __len__(self) -> int:
        """Return the number of parts."""
        return len(self.sweep_rad)


@dataclass(frozen=True, slots=True, kw_only=True)
class Straight:
    """Connected straight lines, which most linework is; points has shape (vertices, 3).

    sagitta: how far they may stand off the curve that they stand for, 0 where they are the line.
    """

    points: FloatArray
    closed: bool
    sagitta: float = 0.0


def entity_axes(extrusion: Sequence[float]) -> FloatArray:
    """Return the axes of an entity's own coordinate system as columns, shape (3, 3).

    World coordinates are ``axes @ entity coordinates``. An extrusion without length counts as +z.
    """
    z = np.asarray(extrusion, dtype=np.float64)
    length = float(np.sqrt(z @ z))
    if not (np.isfinite(length) and length > 0.0):
        return np.eye(3)
    z = z / length
    if abs(z[0]) < _AXIS_LIMIT and abs(z[1]) < _AXIS_LIMIT:
        x = np.array((z[2], 0.0, -z[0]))  # world y cross z
    else:
        x = np.array((-z[1], z[0], 0.0))  # world z cross z
    x /= np.sqrt(x @ x)
    y = np.array((z[1] * x[2] - z[2] * x[1], z[2] * x[0] - z[0] * x[2], z[0] * x[1] - z[1] * x[0]))
    return np.column_stack((x, y, z))


def curved(line: Curve | Straight) -> Curve:
    """Return the line as a curve, for exact segments."""
    return line if isinstance(line, Curve) else polyline(line.points, None, closed=line.closed)


def polyline(
    points: FloatArray, bulges: FloatArray | None, *, closed: bool, axes: FloatArray | None = None
) -> Curve:
    """Return a polyline's curve.

    points: shape (vertices, 3), entity coordinates. bulges: shape (vertices,), of the part that
    starts there; None for straight lines only. axes: of `entity_axes`, None for world coordinates.
    """
    last = len(points) if closed else max(len(points) - 1, 0)
    start = points[:last]
    end = np.roll(points, -1, axis=0)[:last]
    bulge = np.zeros(last) if bulges is None else bulges[:last]
    # A part without length is no part, whatever its bulge.
    keep = np.any(start[:, :2] != end[:, :2], axis=1) | (start[:, 2] != end[:, 2])
    start, end, bulge = start[keep], end[keep], bulge[keep]
    round_ = np.abs(bulge) > _FLAT_BULGE
    b = np.where(round_, bulge, 1.0)
    chord = end - start
    left = np.column_stack((-chord[:, 1], chord[:, 0], np.zeros(len(chord))))
    centre = start + chord / 2.0 + left * ((1.0 - b * b) / (4.0 * b))[:, None]
    u = np.where(round_[:, None], start - centre, 0.0)
    v = np.column_stack((-u[:, 1], u[:, 0], np.zeros(len(u))))
    u[:, 2] = 0.0
    curve = Curve(
        start=start,
        end=end,
        centre=np.where(round_[:, None], centre, 0.0),
        u=u,
        v=v,
        sweep_rad=np.where(round_, 4.0 * np.arctan(b), 0.0),
        closed=closed,
    )
    return curve if axes is None else transformed(curve, _affine(axes))


def conic(centre: FloatArray, u: FloatArray, v: FloatArray, span_rad: tuple[float, float]) -> Curve:
    """Return an arc of a circle or ellipse, ``centre + u cos t + v sin t``.

    centre, u, v: shape (3,). span_rad: t from, to; to is brought behind from, and a span of
    nothing is the whole figure, as drawings mean it.
    """
    begin, finish = span_rad
    sweep = (finish - begin) % FULL_TURN
    if sweep < 1e-12 or FULL_TURN - sweep < 1e-12:
        sweep = FULL_TURN
    cos, sin = np.cos(begin), np.sin(begin)
    first, second = u * cos + v * sin, v * cos - u * sin
    end = centre + first * np.cos(sweep) + second * np.sin(sweep)
    closed = sweep == FULL_TURN
    return Curve(
        start=(centre + first)[None, :],
        end=(centre + first if closed else end)[None, :],
        centre=centre[None, :],
        u=first[None, :],
        v=second[None, :],
        sweep_rad=np.array([sweep]),
        closed=closed,
    )


def moved(line: Curve | Straight, matrix: FloatArray) -> Curve | Straight:
    """Return the line under an affine map; matrix has shape (4, 4), column vectors."""
    if isinstance(line, Curve):
        return transformed(line, matrix)
    sagitta = line.sagitta
    if sagitta:
        sagitta *= float(np.linalg.norm(matrix[:3, :3], 2))
    return Straight(
        points=line.points @ matrix[:3, :3].T + matrix[:3, 3], closed=line.closed, sagitta=sagitta
    )


def transformed(curve: Curve, matrix: FloatArray) -> Curve:
    """Return the curve under an affine map; matrix has shape (4, 4), column vectors."""
    linear, shift = matrix[:3, :3].T, matrix[:3, 3]
    return Curve(
        start=curve.start @ linear + shift,
        end=curve.end @ linear + shift,
        centre=curve.centre @ linear + shift,
        u=curve.u @ linear,
        v=curve.v @ linear,
        sweep_rad=curve.sweep_rad,
        closed=curve.closed,
    )


def flattened(curve: Curve | Straight, sagitta: float) -> FloatArray:
    """Return the vertices of chords along the line, shape (vertices, 3), both ends included.

    sagitta: how far a chord may stand off its arc, in the curve's unit; at most MAX_CHORDS an arc.
    """
    if isinstance(curve, Straight):
        return curve.points
    pieces = np.where(curve.sweep_rad == 0.0, 1, chord_counts(curve, sagitta))
    part, _, fraction1 = _split(pieces)
    return np.concatenate((curve.start[:1], _at(curve, part, fraction1)))


def without_repeats(xy: FloatArray, *, closed: bool) -> tuple[FloatArray, bool]:
    """Return the vertices without consecutive repeats, and whether the figure closes.

    A figure that returns to its first vertex is closed, flagged or not; the repeat is dropped.
    """
    if len(xy) == 2 and not (xy[0, 0] == xy[1, 0] and xy[0, 1] == xy[1, 1]):
        return xy, False
    if len(xy) == 0:
        return xy, closed
    keep = np.ones(len(xy), dtype=np.bool_)
    keep[1:] = np.any(xy[1:] != xy[:-1], axis=1)
    xy = xy[keep]
    if len(xy) > 2 and bool(np.all(xy[0] == xy[-1])):
        return xy[:-1], True
    return xy, closed and len(xy) > 2


def _affine(axes: FloatArray) -> FloatArray:
    matrix = np.eye(4)
    matrix[:3, :3] = axes
    return matrix


def plan_axes(curve: Curve) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return u.u, v.v and u.v in plan, each of shape (parts,)."""
    u, v = curve.u[:, :2], curve.v[:, :2]
    return (
        np.einsum("ij,ij->i", u, u),
        np.einsum("ij,ij->i", v, v),
        np.einsum("ij,ij->i", u, v),
    )


def longest_axis(curve: Curve, axes: int) -> FloatArray:
    """Return the longer half axis of every part, seen in its first `axes` coordinates; (parts,)."""
    u, v = curve.u[:, :axes], curve.v[:, :axes]
    a, b = np.einsum("ij,ij->i", u, u), np.einsum("ij,ij->i", v, v)
    dot = np.einsum("ij,ij->i", u, v)
    # Of the ellipse that has u and v as conjugate half diameters.
    return np.asarray(np.sqrt((a + b + np.hypot(a - b, 2.0 * dot)) / 2.0))


def chord_counts(
    curve: Curve, sagitta: float, *, axes: int = 2, most: int = MAX_CHORDS
) -> IntArray:
    """Return how many chords keep within the sagitta: s = r (1 - cos(step / 2)); at most `most`."""
    with np.errstate(all="ignore"):
        radius = longest_axis(curve, axes)
        step = 2.0 * np.arccos(np.clip(1.0 - sagitta / radius, 0.0, 1.0))
        count = np.ceil(np.abs(curve.sweep_rad) / step)
    count = np.nan_to_num(count, nan=1.0, posinf=most)
    # Never coarser than 16 chords a turn, so that small circles still look round.
    least = np.ceil(np.abs(curve.sweep_rad) * 16.0 / FULL_TURN)
    return np.clip(np.maximum(count, least), 1, most).astype(np.int64)


def places_along(curve: Curve, pieces: IntArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Cut every part into so many pieces; return each piece's part, begin and end, (pieces, 3)."""
    part, fraction0, fraction1 = _split(pieces)
    return part, _at(curve, part, fraction0), _at(curve, part, fraction1)


def _split(pieces: IntArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return for every piece its part and the fractions of the part at its two ends."""
    part = np.repeat(np.arange(len(pieces)), pieces)
    within = np.arange(len(part)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    count = pieces[part]
    return part, within / count, (within + 1) / count


def _at(curve: Curve, part: IntArray, fraction: FloatArray) -> FloatArray:
    t = (curve.sweep_rad[part] * fraction)[:, None]
    on_arc = curve.centre[part] + curve.u[part] * np.cos(t) + curve.v[part] * np.sin(t)
    place = np.where(t == 0.0, curve.start[part], on_arc)
    # Ends are taken as they were given, so that neighbours meet to the last bit.
    return np.where((fraction == 1.0)[:, None], curve.end[part], place)
