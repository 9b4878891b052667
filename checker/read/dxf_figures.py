"""A drawing's lines as figures: exact lines and circular arcs in world coordinates.

A circular arc stays exact however its block was turned, mirrored or scaled alike in both
directions; a mirrored arc turns the other way, which changes the sign of its bulge. What is no
circle in plan (an ellipse, a spline, a circle seen aslant or stretched) comes as short chords, and
the figure says so. All figures are worked out in one go, because there are as many as entities.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.drawing import Figure, Polyline
from checker.read.dxf_entities import COORDINATE_LIMIT, Tag
from checker.read.dxf_geometry import (
    Curve,
    Straight,
    chord_counts,
    flattened,
    longest_axis,
    places_along,
    plan_axes,
    polyline,
    without_repeats,
)

_ALIKE: Final = 1e-9
"""Half axes that differ by less than this share are those of a circle."""
_ROUND: Final = 1.5 * np.pi
"""A larger arc is cut into halves: the bulge of a nearly full turn has no digits to spare."""


_THIN: Final = 48
_MOST_CHORDS: Final = 20_000
_REPEAT_M: Final = 1e-8
"""Vertices nearer than this are one place: rounding moves far coordinates by a tenth of it."""


class Drawn(NamedTuple):
    """A line of the drawing and the entity that drew it, in the drawing's unit."""

    tag: Tag
    curve: Curve | Straight


class Figures(NamedTuple):
    """Figures in the order of drawing; what has no length; what lies where there is no Earth."""

    figures: list[Figure]
    without: list[Tag]
    astray: list[Tag]


def figures_of(drawn: Sequence[Drawn], metres: float, sagitta_m: float) -> Figures:
    """Return the figures of lines.

    metres: of one unit of the drawing. sagitta_m: how far a chord may stand off what is no circle.
    """
    straight = [item for item in drawn if isinstance(item.curve, Straight)]
    curved = [item for item in drawn if isinstance(item.curve, Curve)]
    made: dict[int, Figure] = {}
    with np.errstate(all="ignore"):
        made.update(_straight(straight, metres))
        made.update(_curved(curved, metres, sagitta_m))
    found = Figures([], [], [])
    for item in drawn:
        figure = made.get(id(item))
        if figure is None:
            found.without.append(item.tag)
        elif not (np.abs(figure.xyz_m) < COORDINATE_LIMIT * metres).all():
            found.astray.append(item.tag)
        else:
            found.figures.append(figure)
    return found


def outlines(figures: Sequence[Figure], sagitta_m: float) -> list[Polyline]:
    """Return the figures for the plan: arcs as chords that stand off no more than sagitta_m."""
    found = []
    for figure in figures:
        xy = figure.xyz_m[:, :2]
        if figure.bulge.any():
            curve = polyline(figure.xyz_m, figure.bulge, closed=figure.closed)
            xy = flattened(curve, sagitta_m)[:, :2]
        elif not figure.exact and len(xy) > _THIN:
            # Three times as long chords stand off nine times as far.
            xy = np.concatenate((xy[:-1:3], xy[-1:]))
        xy, closed = without_repeats(xy, closed=figure.closed)
        if len(xy) > 1:
            found.append(Polyline(layer=figure.layer, xy_m=xy, closed=closed))
    return found


def _straight(items: Sequence[Drawn], metres: float) -> dict[int, Figure]:
    lines = [item.curve for item in items if isinstance(item.curve, Straight)]
    if not lines:
        return {}
    count = np.array([len(line.points) for line in lines])
    xyz = np.concatenate([line.points for line in lines]) * metres
    closed = np.array([line.closed for line in lines])
    sagitta = np.array([line.sagitta for line in lines]) * metres
    return _figures(items, xyz, np.zeros(len(xyz)), count, closed, sagitta)


def _curved(items: Sequence[Drawn], metres: float, sagitta_m: float) -> dict[int, Figure]:
    items = [item for item in items if isinstance(item.curve, Curve) and len(item.curve)]
    curves = [item.curve for item in items if isinstance(item.curve, Curve)]
    if not curves:
        return {}

    def joined(name: str) -> FloatArray:
        return np.concatenate([getattr(curve, name) for curve in curves])

    whole = Curve(
        start=joined("start"),
        end=joined("end"),
        centre=joined("centre"),
        u=joined("u"),
        v=joined("v"),
        sweep_rad=joined("sweep_rad"),
        closed=False,
    )
    parts = np.array([len(curve) for curve in curves])
    owner = np.repeat(np.arange(len(curves)), parts)
    straight = whole.sweep_rad == 0.0
    circle = ~straight & is_circle(whole)
    pieces = np.where(circle, 1 + (np.abs(whole.sweep_rad) > _ROUND), 1)
    slant = ~straight & ~circle
    chords = chord_counts(whole, sagitta_m / metres, axes=3, most=_MOST_CHORDS)
    pieces = np.where(slant, chords, pieces)
    # Chords that are limited in number may stand off farther than was asked.
    off = longest_axis(whole, 3) * (1.0 - np.cos(np.abs(whole.sweep_rad) / chords / 2.0))
    off = np.where(slant, np.maximum(off * metres, sagitta_m), 0.0)
    sagitta = np.zeros(len(curves))
    np.maximum.at(sagitta, owner, off)
    part, begin, end = places_along(whole, pieces)
    turned = whole.u[:, 0] * whole.v[:, 1] - whole.u[:, 1] * whole.v[:, 0] < 0.0
    sweep = np.where(turned, -whole.sweep_rad, whole.sweep_rad)
    bulge = np.where(circle, np.tan(sweep / pieces / 4.0), 0.0)[part]
    # A full circle as two halves has bulges of 1, not nearly 1.
    bulge = np.where(np.abs(np.abs(bulge) - 1.0) < 1e-15, np.sign(bulge), bulge)
    closed = np.array([curve.closed for curve in curves])
    piece_owner = owner[part]
    count = np.bincount(piece_owner, minlength=len(curves))
    # Each figure's pieces give their begins; the end of the last one is a vertex of its own.
    last = np.cumsum(count) - 1
    spot = np.arange(len(part)) + piece_owner
    xyz = np.empty((len(part) + len(curves), 3))
    at = np.zeros(len(xyz))
    xyz[spot], at[spot] = begin, bulge
    xyz[last + np.arange(len(curves)) + 1] = end[last]
    # Rounding may part the last end from the first start.
    xyz[(last + np.arange(len(curves)) + 1)[closed]] = whole.start[
        (np.cumsum(parts) - parts)[closed]
    ]
    return _figures(items, xyz * metres, at, count + 1, closed, sagitta)


def is_circle(curve: Curve) -> BoolArray:
    """Return which parts are, seen in plan, circular arcs at one height, to rounding."""
    a, b, dot = plan_axes(curve)
    scale = a + b
    rise = np.maximum(np.abs(curve.u[:, 2]), np.abs(curve.v[:, 2]))
    level = rise <= _ALIKE * np.sqrt(scale)
    return (np.abs(a - b) <= _ALIKE * scale) & (np.abs(dot) <= _ALIKE * scale) & level


def _figures(
    items: Sequence[Drawn],
    xyz: FloatArray,
    bulge: FloatArray,
    count: IntArray,
    closed: BoolArray,
    sagitta_m: FloatArray,
) -> dict[int, Figure]:
    """Cut the vertices of all figures apart, without those that repeat the one before."""
    owner = np.repeat(np.arange(len(count)), count)
    first = np.zeros(len(xyz), dtype=np.bool_)
    first[(np.cumsum(count) - count)[count > 0]] = True
    # A full circle returns to where it began; only a straight piece without length is a repeat.
    same = np.zeros(len(xyz), dtype=np.bool_)
    same[1:] = np.all(np.abs(xyz[1:] - xyz[:-1]) < _REPEAT_M, axis=1) & (owner[1:] == owner[:-1])
    keep = first | ~same
    # The piece that leads to a repeat has no length; the repeat's own bulge counts from there.
    before = np.flatnonzero(same & ~first) - 1
    bulge = bulge.copy()
    for index in before[::-1].tolist():
        bulge[index] = bulge[index + 1]
    xyz, bulge, owner = xyz[keep], bulge[keep], owner[keep]
    count = np.bincount(owner, minlength=len(count))
    ends = np.cumsum(count)
    begins = ends - count
    some = count > 1
    returns = np.zeros(len(count), dtype=np.bool_)
    gap = xyz[begins[some]] - xyz[ends[some] - 1]
    returns[some] = np.all(np.abs(gap) < _REPEAT_M, axis=1)
    made: dict[int, Figure] = {}
    for item, begin, end, back, flag, off in zip(
        items,
        begins.tolist(),
        ends.tolist(),
        returns.tolist(),
        closed.tolist(),
        sagitta_m.tolist(),
        strict=True,
    ):
        stop = end - 1 if back else end
        vertices = stop - begin
        if vertices < 2:
            continue
        is_closed = back or flag
        # Two vertices enclose something only where an arc joins them; else a line goes there and
        # comes back.
        if vertices == 2 and is_closed and not bulge[begin:stop].any():
            stop, is_closed = end, False
        made[id(item)] = Figure(
            layer=item.tag.layer,
            kind=item.tag.kind,
            handle=item.tag.handle,
            xyz_m=xyz[begin:stop],
            bulge=bulge[begin:stop],
            closed=is_closed,
            exact=off == 0.0,
            sagitta_m=off,
        )
    return made
