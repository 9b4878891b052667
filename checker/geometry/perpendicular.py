"""Feet of perpendiculars from points onto lines, arcs and spirals: every local least distance."""

from dataclasses import dataclass

import numpy as np

from checker.geometry.arrays import BoolArray, FloatArray, IntArray
from checker.geometry.elements import (
    Elements,
    azimuth,
    curvature,
    dot,
    place,
    rightward,
    run,
    tangent,
)

_PANEL_TURN_RAD = 0.05
_FEWEST_PANELS = 8
_CELLS_AT_ONCE = 2_000_000


def simple_feet(
    elements: Elements, index: IntArray, xy_m: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Return t of the foot on each line or arc, and whether it lies on it.

    index: shape (n,), which line or arc each point of xy_m (n, 2) is dropped on. With f along the
    start's tangent and o to the right of it the foot has tan(kt) = fk / (1 - ok): the angle at the
    centre; for a line t = f. A point in an arc's centre has no foot of its own: t is 0.
    """
    away = xy_m - elements.xy_m[index]
    direction = elements.azimuth_rad[index]
    forward = dot(away, tangent(direction))
    right = dot(away, rightward(direction))
    k = elements.curvature_in[index]
    length = elements.length_m[index]
    curved = k != 0.0
    k_safe = np.where(curved, k, 1.0)
    t = np.where(curved, np.arctan2(forward * k, 1.0 - right * k) / k_safe, forward)
    whole = np.where(curved, 2.0 * np.pi / np.abs(k_safe), np.inf)
    # Behind the start of an arc is also far ahead of it, once around the circle.
    ahead = curved & (t < 0.0) & (t + np.where(curved, whole, 0.0) <= length)
    t = np.where(ahead, t + np.where(curved, whole, 0.0), t)
    return t, (t >= 0.0) & (t <= length)


@dataclass(frozen=True, slots=True, kw_only=True)
class Panels:
    """A spiral cut into pieces that turn so little that a foot can be told from its ends.

    Everything at the ends of the pieces; shape (pieces + 1,), xy_m (pieces + 1, 2).
    """

    t_m: FloatArray
    xy_m: FloatArray
    azimuth_rad: FloatArray
    curvature: FloatArray
    rate: float


def panels(elements: Elements, element: int) -> Panels:
    """Return one element cut into pieces."""
    length = float(elements.length_m[element])
    bend = max(abs(elements.curvature_in[element]), abs(elements.curvature_out[element]))
    count = max(_FEWEST_PANELS, int(np.ceil(bend * length / _PANEL_TURN_RAD)))
    t = np.linspace(0.0, length, count + 1)
    index = np.full(count + 1, element)
    change = float(elements.curvature_out[element] - elements.curvature_in[element])
    return Panels(
        t_m=t,
        xy_m=place(elements, index, t),
        azimuth_rad=azimuth(elements, index, t),
        curvature=curvature(elements, index, t),
        rate=change / length,
    )


def spiral_feet(
    elements: Elements, element: int, xy_m: FloatArray, within_m: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Return every foot on one spiral: which point it belongs to, and its t.

    xy_m: shape (n, 2); within_m: shape (n,), feet farther than this may be left out. With g(t) the
    distance of the point ahead of the normal at t, a foot is where g falls through zero; the
    derivative of g is kn - 1 where n is the offset. Between two ends of a piece there may be two
    zeros near the evolute: the extreme of g is looked up then.
    """
    piece = panels(elements, element)
    rows, feet = [], []
    size = max(1, _CELLS_AT_ONCE // piece.t_m.size)
    for first in range(0, len(xy_m), size):
        chunk = slice(first, first + size)
        row, t = _spiral_feet(piece, xy_m[chunk], within_m[chunk])
        rows.append(row + first)
        feet.append(t)
    if not rows:
        return np.empty(0, dtype=np.int64), np.empty(0)
    return np.concatenate(rows), np.concatenate(feet)


def _spiral_feet(
    piece: Panels, xy_m: FloatArray, within_m: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Return the feet of one chunk of points."""
    east = xy_m[:, None, 0] - piece.xy_m[None, :, 0]
    north = xy_m[:, None, 1] - piece.xy_m[None, :, 1]
    sine, cosine = np.sin(piece.azimuth_rad), np.cos(piece.azimuth_rad)
    g = east * sine + north * cosine
    slope = (east * cosine - north * sine) * piece.curvature - 1.0
    away = np.hypot(east, north)
    step = np.diff(piece.t_m)
    # No place on a piece is nearer than this: it is as short as its chord, or longer.
    near = (away[:, :-1] + away[:, 1:] - step) / 2.0 <= within_m[:, None]
    falls = near & (g[:, :-1] >= 0.0) & (g[:, 1:] <= 0.0)
    row, number = np.nonzero(falls)
    low, high = piece.t_m[number], piece.t_m[number + 1]

    above = (
        near & (g[:, :-1] > 0.0) & (g[:, 1:] > 0.0) & (slope[:, :-1] < 0.0) & (slope[:, 1:] > 0.0)
    )
    below = (
        near & (g[:, :-1] < 0.0) & (g[:, 1:] < 0.0) & (slope[:, :-1] > 0.0) & (slope[:, 1:] < 0.0)
    )
    row_b, number_b = np.nonzero(above | below)
    if row_b.size:
        extreme = _extreme(piece, number_b, xy_m[row_b])
        value, _ = _ahead(piece, number_b, extreme, xy_m[row_b])
        is_above = above[row_b, number_b]
        real = np.where(is_above, value < 0.0, value > 0.0)
        row_b, number_b, extreme, is_above = (
            row_b[real],
            number_b[real],
            extreme[real],
            is_above[real],
        )
        row = np.concatenate((row, row_b))
        number = np.concatenate((number, number_b))
        low = np.concatenate((low, np.where(is_above, piece.t_m[number_b], extreme)))
        high = np.concatenate((high, np.where(is_above, extreme, piece.t_m[number_b + 1])))
    return row.astype(np.int64), _root(piece, number, low, high, xy_m[row])


def _ahead(
    piece: Panels, number: IntArray, t: FloatArray, xy_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return g and its derivative at t inside the pieces `number`."""
    local = t - piece.t_m[number]
    k, begin = piece.curvature[number], piece.azimuth_rad[number]
    rate = np.full_like(k, piece.rate)
    away = xy_m - (piece.xy_m[number] + run(begin, k, rate, local))
    direction = begin + (k + rate * local / 2.0) * local
    return dot(away, tangent(direction)), dot(away, rightward(direction)) * (k + rate * local) - 1.0


def _extreme(piece: Panels, number: IntArray, xy_m: FloatArray) -> FloatArray:
    """Return where g' is zero inside each piece, by halving."""
    low, high = piece.t_m[number].copy(), piece.t_m[number + 1].copy()
    _, first = _ahead(piece, number, low, xy_m)
    for _ in range(54):
        middle = (low + high) / 2.0
        _, slope = _ahead(piece, number, middle, xy_m)
        same = (slope > 0.0) == (first > 0.0)
        low = np.where(same, middle, low)
        high = np.where(same, high, middle)
    return np.asarray((low + high) / 2.0)


def _root(
    piece: Panels, number: IntArray, low: FloatArray, high: FloatArray, xy_m: FloatArray
) -> FloatArray:
    """Return the zero of g between low (g >= 0) and high (g <= 0), by Newton inside the bracket."""
    low, high = low.copy(), high.copy()
    t = (low + high) / 2.0
    open_ = np.arange(t.size)
    for _ in range(80):
        value, slope = _ahead(piece, number[open_], t[open_], xy_m[open_])
        positive = value > 0.0
        low[open_] = np.where(positive, t[open_], low[open_])
        high[open_] = np.where(positive, high[open_], t[open_])
        with np.errstate(divide="ignore", invalid="ignore"):
            step = t[open_] - value / slope
        inside = (step >= low[open_]) & (step <= high[open_])
        new = np.where(inside, step, (low[open_] + high[open_]) / 2.0)
        new = np.where(value == 0.0, t[open_], new)
        moved = np.abs(new - t[open_])
        t[open_] = new
        open_ = open_[(moved > 1e-13 * (1.0 + piece.t_m[-1])) & (value != 0.0)]
        if not open_.size:
            break
    return t
