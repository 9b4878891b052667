"""Where as-measured stands above and below: a map of signed sizes, and bars for what has no place.

Above is a solid triangle that points up, below a hatched one that points down; the size grows with
the difference. No colour of a verdict: what is past its limit has a heavy rim and its name.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase

import numpy as np

from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.finding import Results, Verdict
from checker.model.job import Surface
from checker.report import svg
from checker.report.lath import height_texts
from checker.report.plots.plan import (
    HEIGHT,
    WIDTH,
    foot_key,
    furniture,
    grid,
    grid_texts,
    scales,
)
from checker.report.rows import Rows, least_reach
from checker.report.show import THIN
from checker.text import fixed, signed

_LARGEST = 13.0
"""Pixels from the middle to the corner of the largest mark."""
_SMALLEST = 2.2
_ALL = 1500
"""Beyond so many marks the largest of each cell is drawn, and all past the limit."""
_CELL = 14.0
_EDGES = 12_000
_LABELS = 40
_BARS = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """What a difference is: its column, the limit it is held against, and the words for its sides.

    lath: cells are written as cut and fill.
    """

    key: str
    limit: str
    above: str
    below: str
    lath: bool = False


SURFACE = Words(
    key="dz", limit="vertical", above="cut, above design", below="fill, below design", lath=True
)
PLANE = Words(key="residual", limit="vertical", above="above the plane", below="below the plane")
PLUMB = Words(key="lean", limit="plumb", above="top off its bottom", below="")
DISTANCES = Words(
    key="d_distance", limit="distance", above="longer than design", below="shorter than design"
)


_STILL = 'vector-effect="non-scaling-stroke"'
"""Lines that keep their width when the map is zoomed."""


def difference_map(
    rows: Rows, words: Words, edges: Sequence[FloatArray], figure_id: str
) -> svg.Figure | None:
    """Return the map of a check's differences, or None where nothing has a place and a value.

    edges: lines of the design in the job's unit, each shape (vertices, 2), easting, northing.
    """
    n, e = rows.lengths("measured_n"), rows.lengths("measured_e")
    value = rows.smalls(words.key)
    take = np.flatnonzero(np.isfinite(n) & np.isfinite(e) & np.isfinite(value) & rows.counted)
    if len(take) < 3:
        return None
    x_of, y_of = scales(n[take], e[take])
    x, y = x_of.array(e), y_of.array(n)
    beyond = _beyond(rows, words.limit)
    top = _reference(rows, words.limit, value[take])
    drawn = _drawn(take, x, y, np.abs(value), beyond)
    clip = f'<clipPath id="{figure_id}-clip"><rect width="{WIDTH}" height="{HEIGHT}"/></clipPath>'
    parts = [
        f"<defs>{svg.hatch(figure_id)}{clip}</defs>",
        svg.rect(0, 0, WIDTH, HEIGHT, "paper"),
        f'<g clip-path="url(#{figure_id}-clip)"><g class="zoom">',
        *grid(x_of, y_of),
        _edges(edges, x_of, y_of),
    ]
    texts = _texts(rows, words, value)
    for row in drawn.tolist():
        size = max(_SMALLEST, _LARGEST * min(np.sqrt(abs(value[row]) / top), 1.6))
        shape = _mark(figure_id, float(value[row]), float(size), heavy=bool(beyond[row]))
        body = f'<g class="mk">{shape}</g>'
        parts.append(svg.at(float(x[row]), float(y[row]), body, f"{rows.ids[row]}: {texts[row]}"))
    parts += _labels(rows, texts, x, y, drawn[beyond[drawn]])
    parts.append("</g></g>")
    parts += [*grid_texts(x_of, y_of), *furniture(x_of, rows.outside, vectors=False)]
    parts += _key(figure_id, words)
    parts.append(svg.rect(0.5, 0.5, WIDTH - 1, HEIGHT - 1, "frame"))
    title = _title(rows, words, value[take], beyond[take])
    caption = (
        "Every mark stands where the shot was taken: solid and pointing up is "
        f"{words.above}, hatched and pointing down is {words.below}; the area grows with the "
        "difference, and a dot is next to none. A heavy rim is past the limit. Thin lines are the "
        "design's own triangles."
    )
    if words.key != "dz":
        caption = caption.removesuffix(" Thin lines are the design's own triangles.")
    if len(drawn) < len(take):
        caption += f" {len(drawn):,} of {len(take):,} shots are drawn, the largest of each place."
    return svg.figure(
        figure_id,
        (WIDTH, HEIGHT),
        parts,
        title=title,
        caption=caption,
        name="Map of differences",
        description=f"{title}. Grid north up.",
        classes=("plan",),
        wide=True,
        zoomable=True,
    )


def surface_edges(rows: Rows, results: Results) -> list[FloatArray]:
    """Return the design triangles of a surface check as rings for its map, in the job's unit."""
    job = results.job
    measure = rows.finding.measure
    section = next(
        (each for each in job.checks if isinstance(each, Surface) and each.name == measure.name),
        None,
    )
    if section is None:
        return []
    if section.tables is not None:
        parts = [results.inputs.faces[section.name].corner_m]
    else:
        parts = [
            each.triangles.corner_m[_on_layers(each.triangles.layer, section.layers)]
            for each in results.inputs.drawings
            if each.triangles is not None
        ]
    rings = []
    ground = job.reference.ground
    for part in parts:
        xy = part[:, :, :2]
        if ground is not None:
            origin = np.array([ground.origin_e_m, ground.origin_n_m])
            xy = origin + ground.combined_factor * (xy - origin)
        rings += list(job.unit.from_metres(xy))
    return rings


def _on_layers(layer: TextArray, patterns: Sequence[str]) -> BoolArray:
    """Return which triangles stand on layers of these patterns."""
    wanted = {
        name
        for name in set(layer.tolist())
        if any(fnmatchcase(str(name).lower(), pattern.lower()) for pattern in patterns)
    }
    return np.array([name in wanted for name in layer.tolist()], dtype=np.bool_)


def _beyond(rows: Rows, limit: str) -> BoolArray:
    """Return which rows fail that limit."""
    judgement = rows.judgement(limit)
    if judgement is None:
        return np.zeros(len(rows), dtype=np.bool_)
    failing: BoolArray = judgement.verdict == Verdict.OUTSIDE
    return failing


def _reference(rows: Rows, limit: str, values: FloatArray) -> float:
    """Return the difference that a mark of full size stands for: the limit, else the largest."""
    bounds = np.concatenate((rows.small_limit(limit), rows.small_limit(limit, -1)))
    bounds = bounds[np.isfinite(bounds) & (bounds > 0.0)]
    return float(bounds.max()) if bounds.size else max(float(np.abs(values).max()), 1e-9)


def _drawn(
    take: IntArray, x: FloatArray, y: FloatArray, size: FloatArray, beyond: BoolArray
) -> IntArray:
    """Return which rows are drawn, the smallest last so that none hides behind a larger one."""
    if len(take) > _ALL:
        order = take[np.argsort(-size[take], kind="stable")]
        cell = np.floor(x[order] / _CELL) * 1e5 + np.floor(y[order] / _CELL)
        _, first = np.unique(cell, return_index=True)
        take = np.union1d(order[first], take[beyond[take]])
    return take[np.argsort(-size[take], kind="stable")]


def _mark(figure_id: str, value: float, size: float, *, heavy: bool) -> str:
    """Return a triangle about the origin: up and solid above, down and hatched below."""
    if size <= _SMALLEST:
        return f'<circle r="1.8" class="ink" fill="{svg.INK}"/>'
    up = value >= 0.0
    tip, base, half = (-size, size * 0.62, size * 0.9) if up else (size, -size * 0.62, size * 0.9)
    look = f'class="cut" fill="{svg.DIM}"'
    if not up:
        look = f'class="fill" fill="url(#{figure_id}-hatch)"'
    width = 2.4 if heavy else 0.8
    return (
        f'<path d="M0 {svg.num(tip)}L{svg.num(half)} {svg.num(base)}H{svg.num(-half)}Z" {look} '
        f'stroke="{svg.INK}" stroke-width="{width:g}" stroke-linejoin="round"/>'
    )


def _edges(edges: Sequence[FloatArray], x_of: svg.Scale, y_of: svg.Scale) -> str:
    """Return the design's lines as one path; nothing where there are more than a page shows."""
    if not edges or sum(len(line) for line in edges) > _EDGES:
        return ""
    data = []
    for line in edges:
        x = np.clip(x_of.array(line[:, 0]), -1e5, 1e5)
        y = np.clip(y_of.array(line[:, 1]), -1e5, 1e5)
        if x.max() < 0 or x.min() > WIDTH or y.max() < 0 or y.min() > HEIGHT:
            continue
        places = [f"{a} {b}" for a, b in zip(svg.nums(x), svg.nums(y), strict=True)]
        data.append(f"M{'L'.join(places)}Z")
    return svg.path("".join(data), "drawn", width=0.7, more=_STILL) if data else ""


def _texts(rows: Rows, words: Words, value: FloatArray) -> list[str]:
    """Return every difference as a mark's name says it."""
    if words.lath:
        value_m = rows.outside.unit.to_metres(rows.lengths(words.key))
        return height_texts(rows.finding, value_m, rows.outside)
    decimals = rows.outside.small.decimals
    if not words.below:
        return [fixed(each, decimals) for each in value.tolist()]
    return [signed(each, decimals).replace("-", "−") for each in value.tolist()]


def _labels(
    rows: Rows, texts: Sequence[str], x: FloatArray, y: FloatArray, chosen: IntArray
) -> list[str]:
    """Return names of what is past its limit, none over another."""
    parts: list[str] = []
    taken: list[tuple[float, float]] = []
    for row in chosen[:_LABELS].tolist():
        late = float(x[row]) > WIDTH - 150
        place = (float(x[row]) + (-16 if late else 16), float(y[row]) + 4)
        if any(abs(place[0] - a) < 90 and abs(place[1] - b) < 13 for a, b in taken):
            continue
        taken.append(place)
        label = f"{rows.ids[row]} {texts[row]}"
        text = svg.text(
            -16 if late else 16, 4, label, anchor="end" if late else "start", bold=True, halo=True
        )
        parts.append(svg.at(float(x[row]), float(y[row]), f'<g class="mk">{text}</g>'))
    return parts


def _key(figure_id: str, words: Words) -> list[str]:
    """Return what the two marks mean."""
    base = HEIGHT - 18
    return [
        foot_key(
            svg.at(30, base - 3, _mark(figure_id, 1.0, 8, heavy=False)),
            svg.text(44, base + 1, words.above),
            svg.at(200, base - 5, _mark(figure_id, -1.0, 8, heavy=False)),
            svg.text(214, base + 1, words.below),
        )
    ]


def _title(rows: Rows, words: Words, value: FloatArray, beyond: BoolArray) -> str:
    """Return the finding of a figure in words."""
    unit, decimals = rows.outside.small.unit, rows.outside.small.decimals
    count = int(beyond.sum())
    if count:
        high = int(np.count_nonzero(beyond & (value > 0)))
        verb = "is" if count == 1 else "are"
        text = f"{count} of {len(value)} {verb} past the limit"
        if not words.below:
            return text
        return (
            f"{text}: {high} {words.above.split(',')[0]}, "
            f"{count - high} {words.below.split(',')[0]}"
        )
    most = fixed(float(np.abs(value).max()), decimals)
    mean = fixed(float(value.mean()), decimals).replace("-", "−")
    return f"{len(value)} differences: largest {most}{THIN}{unit}, mean {mean}{THIN}{unit}"


def difference_bars(rows: Rows, words: Words, figure_id: str) -> svg.Figure | None:
    """Return a bar for every row in the order of the table; None where there are too many."""
    value = rows.smalls(words.key)
    take = np.flatnonzero(np.isfinite(value) & rows.counted)
    if not 2 <= len(take) <= _BARS:
        return None
    beyond = _beyond(rows, words.limit)
    limits = rows.small_limit(words.limit), rows.small_limit(words.limit, -1)
    above, below = limits[0][take], limits[1][take]
    width, left, right, top, base = 1000.0, 64.0, 984.0, 30.0, 214.0
    shown = value[take]
    bounds = [float(each) for each in (*above, *below) if np.isfinite(each)]
    most = max(float(np.abs(shown).max()) * 1.25, max(bounds, default=0.0) * 1.3, least_reach(rows))
    x_of = svg.Scale(low=-0.5, high=len(take) - 0.5, start=left, end=right)
    y_of = svg.Scale(low=-most if words.below else 0.0, high=most, start=base, end=top)
    wide = min(16.0, x_of.per_unit * 0.62)
    unit = rows.outside.small.unit
    parts = [f"<defs>{svg.hatch(figure_id)}</defs>"]
    texts = _texts(rows, words, value)
    labelled = 0
    for number, row in enumerate(take.tolist()):
        x = x_of(number)
        half = x_of.per_unit / 2
        for bound, sign in ((above[number], 1.0), (below[number], -1.0)):
            if np.isfinite(bound):
                place = y_of(sign * float(bound))
                parts.append(
                    svg.line(x - half, place, x + half, place, more='stroke-dasharray="5 3"')
                )
        y, zero = y_of(float(value[row])), y_of(0.0)
        bar = svg.bar(
            x - wide / 2,
            min(y, zero),
            wide,
            max(abs(y - zero), 0.8),
            cut=bool(value[row] > 0),
            of=figure_id,
        )
        name = f"{rows.ids[row]}: {texts[row]} {unit}"
        parts.append(f"<g><title>{svg.escape(name)}</title>{bar}</g>")
        if beyond[row] and labelled < 12:
            labelled += 1
            late = x > right - 130
            offset = -5.0 if value[row] > 0 else 13.0
            parts.append(
                svg.text(
                    x + (-9 if late else 9),
                    y + offset,
                    f"{rows.ids[row]} {texts[row]}",
                    anchor="end" if late else "start",
                    bold=True,
                    halo=True,
                )
            )
    parts += [
        svg.line(left, y_of(0), right, y_of(0), width=1.2),
        svg.text(left - 6, y_of(0) + 4, "0", anchor="end", size=10.5, dim=True),
        svg.text(left, top - 14, f"{words.above} ({unit})", dim=True),
        *([svg.text(left, base + 18, f"{words.below} ({unit})", dim=True)] if words.below else []),
        svg.text(right, base + 18, "in the order of the table", anchor="end", dim=True),
    ]
    title = _title(rows, words, shown, beyond[take])
    return svg.figure(
        figure_id,
        (width, 244),
        parts,
        title=title,
        caption=(
            f"Solid bars are {words.above}, hatched bars {words.below}. The dashes are each row's "
            "own limit."
            if words.below
            else f"Bars are {words.above}. The dashes are each row's own limit."
        ),
        name="Differences by row",
        description=title,
        classes=("wide",),
        wide=True,
    )
