"""The drawing's own faults, before a stake goes in: nothing is refused, everything is told.

Every function takes what was read and returns notices; none of them changes a number or a verdict.
Lengths below are in metres and common practice, no source. What only the file itself can tell (a
dimension typed over, a label far from its point, a face without area) its reader has told already.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from checker.checks.degrees import in_degrees
from checker.checks.selecting import fits
from checker.errors import Where
from checker.geometry.neighbours import nearest_other
from checker.geometry.surface import SurfaceError, surface
from checker.model.arrays import FloatArray, IntArray, TextArray
from checker.model.drawing import Drawing, Figure, Notice, Triangles
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.points import Points
from checker.text import fixed
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT, LengthUnit

SAME_M: Final = 1e-3
"""Nearer than this two things stand at one place."""
NEAR_M: Final = 0.03
"""Nearer than this two points are hardly two stakes, and two ends hardly two places."""
GAP_M: Final = 1.0
GAP_SHARE: Final = 0.02
"""A figure is nearly closed where its gap is below both, the second as a share of its length."""
NO_AREA_M: Final = 1e-6
"""A closed figure of this mean width has no area."""
_SPREADS: Final = 50.0
_LEAST_APART_M: Final = 1000.0
_SITES: Final = 5.0
_LEAST_ELSEWHERE_M: Final = 1000.0
_OVERLAID: Final = 20.0
_MOST_LOOKED_UP: Final = 20_000
_SHOWN: Final = 5
_USED: Final = ("design point", "linework", "surface triangle")


def audit(inputs: Inputs, job: Job) -> Inputs:
    """Return the inputs with every drawing's audit among its notices, and among all notices."""
    drawings = []
    told: list[Notice] = []
    known = inputs.control if inputs.control is not None else inputs.measured
    known_as = "control" if inputs.control is not None else "as-measured points"
    for drawing in inputs.drawings:
        drawn = job.unit if job.design is None else job.design.unit
        found = [*in_degrees(drawing, drawn), *audit_drawing(drawing, job.unit)]
        if known is not None and len(known) and job.design is not None:
            found += against_known(drawing, known, known_as, job.design.unit, job.unit)
        found += unused_layers(drawing, job)
        told += found
        drawings.append(replace(drawing, notices=(*drawing.notices, *found)))
    return replace(inputs, drawings=tuple(drawings), notices=(*inputs.notices, *told))


def audit_drawing(drawing: Drawing, unit: LengthUnit) -> list[Notice]:
    """Return what is wrong with a drawing by itself; unit: that of the messages."""
    teller = _Teller(drawing.path, unit)
    _points(drawing.points, teller)
    if drawing.figures:
        lines = _Lines.of(drawing.figures)
        _duplicates(lines, teller)
        _closing(lines, teller)
        _ends(lines, teller)
        _zero_heights(lines, teller)
    if drawing.triangles is not None and len(drawing.triangles.corner_m):
        _faces(drawing.triangles, teller)
    _strays(drawing, teller)
    return teller.notices


# ---------------------------------------------------------------- words


class _Teller:
    """Collects notices; lists are cut short and say how much more there is."""

    def __init__(self, path: str, unit: LengthUnit) -> None:
        self.path = path
        self.unit = unit
        self.notices: list[Notice] = []

    def tell(self, slug: str, message: str, part: str | None = None) -> None:
        where = Where(file=self.path, part=part)
        self.notices.append(Notice(slug=slug, where=where, message=message))

    def length(self, value_m: float) -> str:
        value = float(self.unit.from_metres(float(value_m)))
        return f"{fixed(value, 0 if abs(value) >= 1000.0 else 3)} {self.unit.short}"


def _some(items: Sequence[str] | Iterator[str], count: int) -> str:
    shown = [text for text, _ in zip(items, range(_SHOWN), strict=False)]
    return "; ".join(shown) + (f"; and {count - _SHOWN} more" if count > _SHOWN else "")


def _are(count: int, one: str, many: str) -> str:
    return f"{count:,} {one if count == 1 else many}"


# ---------------------------------------------------------------- points


def _points(points: Points, teller: _Teller) -> None:
    """Tell of points at one place and of points nearly at one place."""
    if len(points) < 2:
        return
    xy = np.column_stack((points.easting_m, points.northing_m))
    place, first, inverse = np.unique(
        np.round((xy - xy[0]) / SAME_M), axis=0, return_index=True, return_inverse=True
    )
    inverse = inverse.ravel()
    order = np.argsort(inverse, kind="stable")
    groups = np.split(order, np.cumsum(np.bincount(inverse))[:-1]) if len(place) < len(xy) else []
    same: list[str] = []
    other: list[str] = []
    for group in (group for group in groups if len(group) > 1):
        names = [f'"{name}"' for name in dict.fromkeys(points.id[group].tolist())]
        height = points.elevation_m[group]
        said = " and ".join(names[:_SHOWN])
        spread = float(np.nanmax(height) - np.nanmin(height)) if np.isfinite(height).any() else 0.0
        if spread > SAME_M:
            said += f", heights {teller.length(spread)} apart"
        (same if len(names) == 1 else other).append(said)
    if same:
        teller.tell(
            "duplicate-point",
            f"{_are(len(same), 'point stands', 'points stand')} more than once at one place: "
            f"{_some(same, len(same))}",
        )
    if other:
        teller.tell(
            "stacked-points",
            f"points with different numbers stand on top of each other, at "
            f"{_are(len(other), 'place', 'places')}: {_some(other, len(other))}. Which number is "
            "meant?",
        )
    if len(place) < 2:
        return
    gap, near = nearest_other(xy[first])
    close = np.flatnonzero(gap <= NEAR_M)
    pairs = {
        (min(a, b), max(a, b)): float(gap[a])
        for a, b in zip(close.tolist(), near[close].tolist(), strict=True)
    }
    if pairs:
        teller.tell(
            "near-points",
            f"{_are(len(pairs), 'pair', 'pairs')} of points stand closer together than two stakes "
            "can: "
            + _some(
                (
                    f'"{points.id[first[a]]}" and "{points.id[first[b]]}", {teller.length(away)}'
                    for (a, b), away in pairs.items()
                ),
                len(pairs),
            ),
        )


def _by_layer(layers: Sequence[str], indices: IntArray) -> dict[str, IntArray]:
    """Return the indices parted by the layer that each stands on, in the order of drawing."""
    found: dict[str, list[int]] = {}
    for index in indices.tolist():
        found.setdefault(layers[index], []).append(index)
    return {layer: np.array(some, dtype=np.int64) for layer, some in found.items()}


# ---------------------------------------------------------------- lines


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lines:
    """All figures as one table of vertices; begin, end: which rows a figure has."""

    figures: Sequence[Figure]
    xyz: FloatArray
    bulge: FloatArray
    begin: IntArray
    end: IntArray
    closed: "np.ndarray[tuple[int], np.dtype[np.bool_]]"

    @classmethod
    def of(cls, figures: Sequence[Figure]) -> "_Lines":
        count = np.array([len(figure.xyz_m) for figure in figures], dtype=np.int64)
        end = np.cumsum(count)
        xyz = np.concatenate([figure.xyz_m for figure in figures])
        # Near the origin squares keep their last digits.
        return cls(
            figures=figures,
            xyz=xyz - np.append(xyz[0, :2], 0.0),
            bulge=np.concatenate([figure.bulge for figure in figures]),
            begin=end - count,
            end=end,
            closed=np.array([figure.closed for figure in figures], dtype=np.bool_),
        )

    def name(self, index: int) -> str:
        figure = self.figures[index]
        return f"layer {figure.layer}, {figure.kind} handle {figure.handle}"

    def names(self, indices: IntArray) -> str:
        return _some((self.name(index) for index in indices.tolist()), len(indices))

    def chords(self) -> tuple[FloatArray, FloatArray, IntArray]:
        """Return from, to (vertices, 2) and the owner of every vertex; closing chords too."""
        owner = np.repeat(np.arange(len(self.begin)), self.end - self.begin)
        after = np.arange(1, len(self.xyz) + 1)
        last = self.end - 1
        after[last] = np.where(self.closed, self.begin, last)
        return self.xyz[:, :2], self.xyz[after, :2], owner


def _lengths_and_areas(lines: _Lines) -> tuple[FloatArray, FloatArray]:
    """Return every figure's length along lines and arcs, and its signed area in plan."""
    start, stop, owner = lines.chords()
    chord = np.hypot(*(stop - start).T)
    half = 2.0 * np.arctan(np.abs(lines.bulge))
    length = chord / np.sinc(half / np.pi)
    # Twice the area between an arc and its chord is r^2 (sweep - sin sweep).
    origin = start[lines.begin[owner]]
    p, q = start - origin, stop - origin
    twice = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    with np.errstate(all="ignore"):
        radius = chord * (1.0 + lines.bulge**2) / (4.0 * np.abs(lines.bulge))
        segment = radius**2 * (2.0 * half - np.sin(2.0 * half)) * np.sign(lines.bulge)
    twice += np.where(lines.bulge == 0.0, 0.0, np.nan_to_num(segment))
    count = len(lines.begin)
    return (
        np.bincount(owner, weights=length, minlength=count).astype(np.float64),
        np.bincount(owner, weights=twice, minlength=count) / 2.0,
    )


def _closing(lines: _Lines, teller: _Teller) -> None:
    """Tell of figures that nearly close, close at another height, or enclose nothing."""
    length, area = _lengths_and_areas(lines)
    first, last = lines.xyz[lines.begin], lines.xyz[lines.end - 1]
    gap = np.hypot(*(last - first)[:, :2].T)
    several = (lines.end - lines.begin > 2) & ~lines.closed
    nearly = several & (gap > NO_AREA_M) & (gap <= np.minimum(GAP_M, GAP_SHARE * length))
    found = np.flatnonzero(nearly)
    if len(found):
        teller.tell(
            "nearly-closed",
            f"{_are(len(found), 'figure is', 'figures are')} not quite closed: "
            + _some(
                (f"{lines.name(i)}, gap {teller.length(float(gap[i]))}" for i in found.tolist()),
                len(found),
            ),
        )
    step = np.abs(last[:, 2] - first[:, 2])
    found = np.flatnonzero(several & (gap <= NO_AREA_M) & (step > SAME_M))
    if len(found):
        teller.tell(
            "closed-with-step",
            f"{_are(len(found), 'figure ends', 'figures end')} where they began but at another "
            "height: "
            + _some(
                (f"{lines.name(i)}, {teller.length(float(step[i]))}" for i in found.tolist()),
                len(found),
            ),
        )
    found = np.flatnonzero(lines.closed & (np.abs(area) <= NO_AREA_M * length))
    if len(found):
        teller.tell(
            "no-area",
            f"{_are(len(found), 'closed figure encloses', 'closed figures enclose')} no area: "
            f"{lines.names(found)}",
        )


def _duplicates(lines: _Lines, teller: _Teller) -> None:
    """Tell of figures drawn twice, in whichever direction."""
    rounded = np.round(lines.xyz / (SAME_M / 10.0)) + 0.0
    count = lines.end - lines.begin
    seen: dict[bytes, int] = {}
    pairs: list[tuple[int, int]] = []
    bulge = np.round(lines.bulge, 9) + 0.0
    two = np.flatnonzero((count == 2) & ~lines.closed)
    if len(two):
        a, b = rounded[lines.begin[two]], rounded[lines.begin[two] + 1]
        turn = bulge[lines.begin[two]]
        less = (a[:, 0] < b[:, 0]) | (
            (a[:, 0] == b[:, 0])
            & ((a[:, 1] < b[:, 1]) | ((a[:, 1] == b[:, 1]) & (a[:, 2] <= b[:, 2])))
        )
        keys = np.column_stack(
            (
                np.where(less[:, None], a, b),
                np.where(less[:, None], b, a),
                np.where(less, turn, -turn),
            )
        )
        _, first, inverse = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        mate = first[inverse.ravel()]
        twice = np.flatnonzero(mate != np.arange(len(two)))
        pairs += zip(two[mate[twice]].tolist(), two[twice].tolist(), strict=True)
    for index in np.flatnonzero((count != 2) | lines.closed).tolist():
        key = _course_key(
            rounded[lines.begin[index] : lines.end[index]],
            bulge[lines.begin[index] : lines.end[index]],
            closed=bool(lines.closed[index]),
        )
        there = seen.setdefault(key, index)
        if there != index:
            pairs.append((there, index))
    if pairs:
        teller.tell(
            "duplicate-line",
            f"{_are(len(pairs), 'line is', 'lines are')} drawn twice: "
            + _some((f"{lines.name(b)} over {lines.name(a)}" for a, b in pairs), len(pairs)),
        )


def _course_key(xyz: FloatArray, bulge: FloatArray, *, closed: bool) -> bytes:
    """Return what is the same for a course run the other way, or closed from another vertex."""
    if closed:
        turn = -int(np.lexsort(xyz.T)[0])
        xyz, bulge = np.roll(xyz, turn, axis=0), np.roll(bulge, turn)
        back = np.roll(xyz[::-1], 1, axis=0), -bulge[::-1]
    else:
        bulge = bulge[:-1]
        back = xyz[::-1], -bulge[::-1]
    one, other = (
        np.ascontiguousarray(places).tobytes() + (np.ascontiguousarray(turns) + 0.0).tobytes()
        for places, turns in ((xyz, bulge), back)
    )
    return min(one, other) + bytes((closed,))


def _ends(lines: _Lines, teller: _Teller) -> None:
    """Tell of ends of lines that nearly meet, on one layer."""
    is_open = np.flatnonzero(~lines.closed)
    told: list[tuple[float, int, int]] = []
    for some in _by_layer([figure.layer for figure in lines.figures], is_open).values():
        ends = np.concatenate((lines.begin[some], lines.end[some] - 1))
        far = lines.xyz[np.concatenate((lines.end[some] - 1, lines.begin[some])), :2]
        owner = np.concatenate((some, some))
        _, first, meeting = np.unique(
            np.round(lines.xyz[ends, :2] / NO_AREA_M), axis=0, return_index=True, return_counts=True
        )
        if len(first) < 2:
            continue
        xy = lines.xyz[ends[first], :2]
        gap, near = nearest_other(xy)
        # An end where nothing else ends, near an end that is not its own line's other one.
        other = np.hypot(*(xy[near] - far[first]).T)
        close = (gap > SAME_M) & (gap <= NEAR_M) & (meeting == 1) & (other > NO_AREA_M)
        seen: set[tuple[int, int]] = set()
        for a in np.flatnonzero(close).tolist():
            b = int(near[a])
            if (b, a) not in seen:
                seen.add((a, b))
                told.append((float(gap[a]), int(owner[first[a]]), int(owner[first[b]])))
    if told:
        teller.tell(
            "ends-apart",
            f"{_are(len(told), 'pair', 'pairs')} of lines nearly meet but do not: "
            + _some(
                (
                    f"{lines.name(one)} and {lines.figures[other].kind} handle "
                    f"{lines.figures[other].handle}, gap {teller.length(away)}"
                    for away, one, other in told
                ),
                len(told),
            ),
        )


def _zero_heights(lines: _Lines, teller: _Teller) -> None:
    """Tell of lines with heights some of whose vertices lie at 0."""
    _, _, owner = lines.chords()
    zero = lines.xyz[:, 2] == 0.0
    zeros = np.bincount(owner, weights=zero, minlength=len(lines.begin))
    mixed = np.flatnonzero((zeros > 0) & (zeros < lines.end - lines.begin))
    high = np.zeros(len(lines.begin))
    np.maximum.at(high, owner, np.abs(lines.xyz[:, 2]))
    mixed = mixed[high[mixed] > 1.0]
    if len(mixed):
        teller.tell(
            "zero-vertex",
            f"{_are(len(mixed), 'line has', 'lines have')} heights but vertices at height 0 too: "
            f"{lines.names(mixed)}",
        )
    layers = [lines.figures[index].layer for index in range(len(lines.begin))]
    flat, raised = Counter[str](), Counter[str]()
    for layer, count, size in zip(
        layers, zeros.tolist(), (lines.end - lines.begin).tolist(), strict=True
    ):
        (flat if count == size else raised)[layer] += 1
    for layer in raised:
        if flat[layer]:
            teller.tell(
                "mixed-heights",
                f"{_are(flat[layer], 'line lies', 'lines lie')} at height 0, "
                f"{_are(raised[layer], 'has', 'have')} heights. Which of them count?",
                f"layer {layer}",
            )


# ---------------------------------------------------------------- faces


def _faces(triangles: Triangles, teller: _Teller) -> None:
    """Tell of faces that lie over each other, drawn twice, or with a corner at 0."""
    corner = triangles.corner_m
    origin = np.append(corner[0, 0, :2], 0.0)
    key = np.round((corner - origin) / (SAME_M / 10.0)) + 0.0
    order = np.lexsort((key[:, :, 2].T, key[:, :, 1].T, key[:, :, 0].T), axis=0).T
    key = np.take_along_axis(key, order[:, :, None], axis=1).reshape(len(corner), 9)
    first = _first_of_each(key)
    if len(first) < len(corner):
        twice = np.ones(len(corner), dtype=np.bool_)
        twice[first] = False
        again = np.flatnonzero(twice)
        teller.tell(
            "duplicate-face",
            f"{_are(len(again), 'triangle is', 'triangles are')} drawn more than once: "
            f"{_handles(triangles, again)}",
        )
    zero = corner[:, :, 2] == 0.0
    spike = np.flatnonzero(
        zero.any(axis=1) & ~zero.all(axis=1) & (np.abs(corner[:, :, 2]).max(axis=1) > 1.0)
    )
    if len(spike):
        teller.tell(
            "zero-corner",
            f"{_are(len(spike), 'triangle has', 'triangles have')} a corner at height 0 and "
            f"another that is not: {_handles(triangles, spike)}. A point without a height was "
            "perhaps triangulated",
        )
    for layer, some in _by_layer(triangles.layer.tolist(), first).items():
        _overlaps(triangles, some, layer, teller)


def _first_of_each(rows: FloatArray) -> IntArray:
    """Return the sorted indices of rows that no earlier row is equal to; whole numbers, (n, k)."""
    # Rows that differ in one sum are different; the sorting of whole rows takes ten times as long.
    weights = np.random.default_rng(0).integers(1, 2**31, rows.shape[1])
    if len(np.unique(rows.astype(np.int64) @ weights)) == len(rows):
        return np.arange(len(rows))
    _, first = np.unique(rows, axis=0, return_index=True)
    return np.sort(first)


def _overlaps(triangles: Triangles, some: IntArray, layer: str, teller: _Teller) -> None:
    corner = triangles.corner_m[some]
    if len(corner) < 2:
        return
    try:
        found = surface(corner)
    except SurfaceError:
        return
    low, high = corner[:, :, :2].min(axis=(0, 1)), corner[:, :, :2].max(axis=(0, 1))
    over = float(found.area_m2.sum() / np.prod(high - low))
    part = f"layer {layer}"
    if over > _OVERLAID:
        teller.tell(
            "overlapping-faces",
            f"the faces lie over each other {over:.0f} times; this is no surface of the ground",
            part,
        )
        return
    step = -(-len(corner) // _MOST_LOOKED_UP)
    heights = found.look_up(corner[::step, :, :2].mean(axis=1))
    # In its middle a triangle of a sound surface is alone.
    several = np.flatnonzero((heights.hits > 1) & ~heights.on_edge)
    if len(several):
        apart = float(np.max(heights.high_m[several] - heights.low_m[several]))
        sampled = f" (of {len(heights.hits):,} looked at)" if step > 1 else ""
        teller.tell(
            "overlapping-faces",
            f"{_are(len(several), 'triangle lies', 'triangles lie')} over or under "
            f"another{sampled}, heights up to {teller.length(apart)} apart: "
            f"{_handles(triangles, some[several * step])}",
            part,
        )


def _handles(triangles: Triangles, indices: IntArray) -> str:
    names = list(
        dict.fromkeys(
            f"layer {layer}, face {handle}"
            for layer, handle in zip(
                triangles.layer[indices].tolist(), triangles.handle[indices].tolist(), strict=True
            )
        )
    )
    return _some(names, len(names))


# ---------------------------------------------------------------- where it all is


def _places(drawing: Drawing) -> FloatArray:
    """Return the middle of everything, shape (n, 2), easting and northing."""
    parts = [np.column_stack((drawing.points.easting_m, drawing.points.northing_m))]
    if drawing.figures:
        lines = _Lines.of(drawing.figures)
        size = lines.end - lines.begin
        total = np.add.reduceat(lines.xyz[:, :2], lines.begin, axis=0)
        parts.append(total / size[:, None] + drawing.figures[0].xyz_m[0, :2])
    if drawing.triangles is not None:
        parts.append(drawing.triangles.corner_m[:, :, :2].mean(axis=1))
    return np.concatenate(parts)


def _name_of(drawing: Drawing, place: int) -> str:
    """Return what stands at one of the places."""
    points, figures = drawing.points, drawing.figures
    if place < len(points):
        return f'layer {points.layer[place]}, point "{points.id[place]}"'
    place -= len(points)
    if place < len(figures):
        figure = figures[place]
        return f"layer {figure.layer}, {figure.kind} handle {figure.handle}"
    if drawing.triangles is None:
        raise AssertionError("there is no such place")
    place -= len(figures)
    return f"layer {drawing.triangles.layer[place]}, face {drawing.triangles.handle[place]}"


def _strays(drawing: Drawing, teller: _Teller) -> None:
    """Tell of entities far from the rest."""
    xy = _places(drawing)
    if len(xy) < 5:
        return
    middle = np.median(xy, axis=0)
    away = np.hypot(*(xy - middle).T)
    usual = float(np.median(away))
    apart = np.flatnonzero(away > max(_SPREADS * usual, _LEAST_APART_M))
    if 0 < len(apart) <= max(2, len(xy) // 20):
        teller.tell(
            "stray-entity",
            f"{_are(len(apart), 'entity stands', 'entities stand')} far from the rest of the "
            "drawing: "
            + _some(
                (
                    f"{_name_of(drawing, i)}, {teller.length(float(away[i]))} off"
                    for i in apart.tolist()
                ),
                len(apart),
            ),
        )


def against_known(
    drawing: Drawing, known: Points, known_as: str, drawn: LengthUnit, unit: LengthUnit
) -> list[Notice]:
    """Return that a drawing stands far from the known points, and which reading would fit.

    known: control, or as-measured points, called known_as. drawn: the unit that the drawing was
    read in. unit: that of the messages.
    """
    teller = _Teller(drawing.path, unit)
    xy = _places(drawing)
    if not len(xy):
        return []
    there = np.column_stack((known.easting_m, known.northing_m))
    there = there[np.isfinite(there).all(axis=1)]
    if not len(there):
        return []
    middle = np.median(xy, axis=0)
    size = max(_size(xy), _size(there))
    gap = _distance(middle, there)
    if gap <= max(_SITES * size, _LEAST_ELSEWHERE_M):
        return []
    reach = max(size, _LEAST_ELSEWHERE_M / 2.0)
    fitting = [
        f"{said} ({teller.length(away)} off)"
        for said, place in _readings(middle, drawn, there)
        if (away := _distance(place, there)) <= reach
    ]
    shift = np.median(there, axis=0) - middle
    fits_ = (
        f"It would fit with {' or '.join(fitting)}"
        if fitting
        else "No usual mistake (axes exchanged, another unit, leading digits left out) explains "
        "it: perhaps another zone or a local grid"
    )
    teller.tell(
        "drawing-elsewhere",
        f"the drawing stands {teller.length(gap)} from the {known_as} ({known_as} minus drawing "
        f"about {teller.length(float(shift[1]))} north, {teller.length(float(shift[0]))} east). "
        f"{fits_}",
    )
    return teller.notices


def _readings(
    middle: FloatArray, drawn: LengthUnit, there: FloatArray
) -> Iterator[tuple[str, FloatArray]]:
    """Return usual mistakes in words, and where the drawing's middle would be without them."""
    units = (
        ("metres", 1.0),
        ("feet", M_PER_FOOT),
        ("US survey feet", M_PER_US_SURVEY_FOOT),
        ("millimetres", 1e-3),
        ("centimetres", 1e-2),
        ("kilometres", 1e3),
        ("inches", M_PER_FOOT / 12.0),
    )
    swapped = middle[::-1]
    yield "northing and easting exchanged", swapped
    told: list[float] = []
    for words, metres in units:
        # The two feet cannot be told apart by the place alone, unless the job names one of them.
        factor = metres / drawn.metres
        if abs(factor - 1.0) < 1e-5 or any(abs(factor / each - 1.0) < 1e-5 for each in told):
            continue
        told.append(factor)
        yield f"the drawing read in {words}", middle * factor
        yield f"the drawing read in {words}, northing and easting exchanged", swapped * factor
    aim = np.median(there, axis=0)
    for own, said in ((middle, ""), (swapped, " and northing and easting exchanged")):
        raw, wanted = own / drawn.metres, aim / drawn.metres
        for power in range(3, 9):
            step = 10.0**power
            turns = np.round((wanted - raw) / step)
            if np.any(turns != 0.0) and np.all((raw >= 0.0) & (raw < step)):
                shift = turns * step
                lost = f"{shift[1]:,.0f} north, {shift[0]:,.0f} east"
                yield (
                    f"the leading digits that were left out ({lost}){said}",
                    (raw + shift) * drawn.metres,
                )
                break


def _size(xy: FloatArray) -> float:
    low, high = np.percentile(xy, [5, 95], axis=0)
    return float(np.hypot(*(high - low)))


def _distance(place: FloatArray, there: FloatArray) -> float:
    low, high = np.percentile(there, [5, 95], axis=0)
    return float(np.hypot(*np.maximum(np.maximum(low - place, place - high), 0.0)))


# ---------------------------------------------------------------- layers


def unused_layers(drawing: Drawing, job: Job) -> list[Notice]:
    """Return that layers hold something to check that no check looks at."""
    patterns, every_point = _used_patterns(job)
    held: Counter[str] = Counter()
    points: Counter[str] = Counter()
    for count in drawing.counts:
        if count.used_as in _USED:
            held[count.layer] += count.count
            points[count.layer] += count.count * (count.used_as == "design point")
    names = sorted(held)
    layers: TextArray = np.array(names, dtype=object)
    used = fits(patterns, layers) if patterns and names else np.zeros(len(names), dtype=np.bool_)
    left = [
        name
        for name, is_used in zip(names, used.tolist(), strict=True)
        if not is_used and not (every_point and points[name])
    ]
    if not left:
        return []
    teller = _Teller(drawing.path, job.unit)
    teller.tell(
        "unused-layers",
        f"no check uses {_are(len(left), 'layer', 'layers')} with points, lines or faces: "
        + _some((f"{name} ({held[name]:,})" for name in left), len(left)),
    )
    return teller.notices


def _used_patterns(job: Job) -> tuple[list[str], bool]:
    """Return the layer patterns of all sections, and whether one takes points of any layer."""
    patterns: list[str] = []
    every = False
    sections: Iterable[object] = (*job.checks, *job.alignments)
    for section in sections:
        for name in ("layers", "boundary"):
            patterns += getattr(section, name, ())
        layer = getattr(section, "layer", None)
        patterns += [layer] if layer else []
        design = getattr(section, "design", None)
        if design is not None:
            patterns += design.layers
            every = every or not design.layers
    return patterns, every
