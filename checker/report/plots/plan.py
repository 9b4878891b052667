"""The plan: where the points stand on the design, and which way the shots are off.

Vectors are scaled by each point's own tolerance, so that an anchor bolt shows beside a fence post.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.drawing import Polyline
from checker.report import svg
from checker.report.escape import escape
from checker.report.numbers import Outside
from checker.report.rows import Rows

WIDTH, HEIGHT = 1000, 620
_PAD, _FOOT = 56, 26
_TOLERANCE = 22.0
"""Pixels that one tolerance is drawn long."""
_LONGEST = 66.0
"""Pixels that a vector has at most."""
_ALL = 5000
"""Up to so many points every one is drawn."""
_CELL = 10.0
"""Beyond that, the worst within each cell of so many pixels, and all that needs attention."""
_DOT = 2.9
"""Radius of the mark of a point within."""
_LABELS = 60
_MANY, _LARGER = 5, 5.0
"""So many marks that need attention in a part so many times smaller than the plan are a crowd."""
_VERTICES = 40_000
_NEAR = 0.7
"""Vertices closer than this on the page, in pixels, are drawn as one."""
_WITHIN = svg.KINDS.index("within")
_CLOSE = svg.KINDS.index("close")
_PLACES = (
    *((9, 4, "start"), (-9, 4, "end"), (0, -10, "middle"), (0, 18, "middle"), (9, -8, "start")),
    *((9, 16, "start"), (-9, -8, "end"), (-9, 16, "end"), (22, -17, "start"), (-22, -17, "end")),
    *((22, 26, "start"), (-22, 26, "end"), (34, 4, "start"), (-34, 4, "end")),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """Points to draw, in the job's unit; arrays of shape (n,).

    step_e, step_n: as-measured minus design in tolerances, NaN where none. href: where a mark
    leads; kind: index into `svg.KINDS`.
    """

    id: Sequence[str]
    href: Sequence[str]
    n: FloatArray
    e: FloatArray
    kind: IntArray
    share: FloatArray
    step_n: FloatArray
    step_e: FloatArray


def marks_of(rows: Rows, hrefs: Sequence[str], *, anywhere: bool = False) -> Marks:
    """Return a check's rows as marks: at the design, or as measured where there is no design.

    Superseded shots and rows that are only listed are left out. anywhere: a mark shows the worst
    verdict that any check has of it.
    """
    design_n, design_e = rows.lengths("design_n"), rows.lengths("design_e")
    n = np.where(np.isfinite(design_n), design_n, rows.lengths("measured_n"))
    e = np.where(np.isfinite(design_e), design_e, rows.lengths("measured_e"))
    limit = rows.limit("horizontal")
    take = np.flatnonzero(np.isfinite(n) & np.isfinite(e) & rows.counted)
    chosen = take.tolist()
    return Marks(
        id=[rows.ids[row] for row in chosen],
        href=[hrefs[row] for row in chosen],
        n=n[take],
        e=e[take],
        kind=(rows.kind_anywhere if anywhere else rows.kind)[take],
        share=rows.share[take],
        step_n=(rows.lengths("dn") / limit)[take],
        step_e=(rows.lengths("de") / limit)[take],
    )


def part_of(marks: Marks, rows: IntArray) -> Marks:
    """Return some of the marks; rows: their indices."""
    chosen = rows.tolist()
    return Marks(
        id=[marks.id[row] for row in chosen],
        href=[marks.href[row] for row in chosen],
        n=marks.n[rows],
        e=marks.e[rows],
        kind=marks.kind[rows],
        share=marks.share[rows],
        step_n=marks.step_n[rows],
        step_e=marks.step_e[rows],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A part of the plan, in the job's unit, and how many times larger it can be drawn."""

    low_n: float
    high_n: float
    low_e: float
    high_e: float
    times: float

    def holds(self, n: FloatArray, e: FloatArray) -> BoolArray:
        """Tell which places lie inside; shape as given."""
        inside: BoolArray = (n >= self.low_n) & (n <= self.high_n)
        return inside & (e >= self.low_e) & (e <= self.high_e)


def _crowd(marks: Marks) -> Window | None:
    """Return the part where marks that need attention crowd most, or None where none do."""
    urgent = np.flatnonzero(marks.kind != _WITHIN)
    if len(urgent) < _MANY or len(marks.n) > _ALL:
        return None
    x_of, y_of = scales(marks.n, marks.e)
    x, y = x_of.array(marks.e[urgent]), y_of.array(marks.n[urgent])
    half_x, half_y = WIDTH / _LARGER / 2, HEIGHT / _LARGER / 2
    near = (np.abs(x[:, None] - x) <= half_x) & (np.abs(y[:, None] - y) <= half_y)
    most = int(near.sum(axis=1).argmax())
    if int(near[most].sum()) < _MANY:
        return None
    middle_x, middle_y = float(x[near[most]].mean()), float(y[near[most]].mean())
    middle_e, middle_n = marks.e[urgent[most]], marks.n[urgent[most]]
    middle_e += (middle_x - x[most]) / x_of.per_unit
    middle_n += (middle_y - y[most]) / y_of.per_unit
    wide, high = half_x / x_of.per_unit, half_y / x_of.per_unit
    inside = (np.abs(marks.e - middle_e) <= wide) & (np.abs(marks.n - middle_n) <= high)
    n, e = marks.n[inside], marks.e[inside]
    room = 4.0 / x_of.per_unit
    new_x, _ = scales(n, e)
    return Window(
        low_n=float(n.min()) - room,
        high_n=float(n.max()) + room,
        low_e=float(e.min()) - room,
        high_e=float(e.max()) + room,
        times=new_x.per_unit / x_of.per_unit,
    )


def _frame(window: Window | None, x_of: svg.Scale, y_of: svg.Scale) -> str:
    if window is None:
        return ""
    left, right = x_of(window.low_e), x_of(window.high_e)
    top, base = y_of(window.high_n), y_of(window.low_n)
    data = f"M{svg.num(left)} {svg.num(top)}H{svg.num(right)}V{svg.num(base)}H{svg.num(left)}Z"
    return svg.path(
        data, width=1.2, more='stroke-dasharray="5 3" vector-effect="non-scaling-stroke"'
    )


def join(marks: Sequence[Marks]) -> Marks:
    """Return the marks of several checks as one."""
    return Marks(
        id=[text for each in marks for text in each.id],
        href=[text for each in marks for text in each.href],
        n=np.concatenate([each.n for each in marks]),
        e=np.concatenate([each.e for each in marks]),
        kind=np.concatenate([each.kind for each in marks]),
        share=np.concatenate([each.share for each in marks]),
        step_n=np.concatenate([each.step_n for each in marks]),
        step_e=np.concatenate([each.step_e for each in marks]),
    )


def overview(
    marks: Marks,
    linework: Sequence[Polyline],
    outside: Outside,
    figure_id: str,
    title: str,
    most: int | None = None,
) -> list[svg.Figure | None]:
    """Return the plan and, where marks crowd, a larger one of the place where most do.

    most: how many marks it holds at most, the worst of them; None: as many as a page can show.
    """
    crowd = _crowd(marks)
    whole = plan(marks, linework, outside, figure_id, title, crowd, most)
    if crowd is None:
        return [whole]
    inside = np.flatnonzero(crowd.holds(marks.n, marks.e))
    near = part_of(marks, inside)
    urgent = int(np.count_nonzero(near.kind != _WITHIN))
    text = f"The framed part, {crowd.times:.0f} times as large: {len(inside):,} points"
    text += f", {urgent:,} of which need attention"
    detail = plan(near, linework, outside, f"{figure_id}-detail", text, None, most)
    if detail is not None:
        detail = replace(detail, caption="Drawn as the plan above it.")
    return [whole, detail]


def plan(
    marks: Marks,
    linework: Sequence[Polyline],
    outside: Outside,
    figure_id: str,
    title: str,
    framed: "Window | None" = None,
    most: int | None = None,
) -> svg.Figure | None:
    """Return the plan, or None where no point has a place.

    framed: a part to draw a frame about. most: see `overview`.
    """
    if not len(marks.n):
        return None
    x_of, y_of = scales(marks.n, marks.e)
    x, y = x_of.array(marks.e), y_of.array(marks.n)
    lines, all_lines = _linework(linework, x_of, y_of, outside)
    drawn = _chosen(marks, x, y)
    whole_number = len(drawn)
    if most is not None and len(drawn) > most:
        worst = np.lexsort((drawn, -np.nan_to_num(marks.share[drawn]), marks.kind[drawn]))[:most]
        drawn = drawn[np.sort(worst)]
    whole = f'<rect width="{WIDTH}" height="{HEIGHT}"/>'
    vectors = bool(np.isfinite(marks.step_n[drawn]).any())
    parts = [
        f'<defs><clipPath id="{figure_id}-clip">{whole}</clipPath></defs>',
        svg.rect(0, 0, WIDTH, HEIGHT, "paper"),
        f'<g clip-path="url(#{figure_id}-clip)"><g class="zoom">',
        *grid(x_of, y_of),
        lines,
        _frame(framed, x_of, y_of),
        *_points(marks, x, y, drawn),
        *_labels(marks, x, y, drawn),
        "</g></g>",
        *grid_texts(x_of, y_of),
        *furniture(x_of, outside, vectors=vectors),
        svg.rect(0.5, 0.5, WIDTH - 1, HEIGHT - 1, "frame"),
    ]
    caption = (
        "Every mark stands at its design or known place, or where it was measured if it has none."
    )
    if vectors:
        caption += (
            " The tick on a mark runs from design toward the shot; its length is the share of "
            "that point's own plan tolerance, so classes with different tolerances compare. One "
            "tolerance is a little over two marks long, at any zoom."
        )
    if len(drawn) < whole_number:
        caption += (
            f" The worst {len(drawn):,} of {len(marks.n):,} points are drawn; the report in a "
            "folder draws more."
        )
    elif len(drawn) < len(marks.n):
        caption += (
            f" {len(drawn):,} of {len(marks.n):,} points are drawn: all that need attention, and "
            "of those within the one that uses most of its tolerance in each small square."
        )
    if not all_lines:
        caption += (
            " The design's lines are left out: there are too many for a page to draw. They count "
            "in every check all the same."
        )
    return svg.figure(
        figure_id,
        (WIDTH, HEIGHT),
        parts,
        title=title,
        caption=caption,
        name="Plan",
        description=f"{title}. {len(marks.n)} points, grid north up.",
        classes=("plan",),
        role="group",
        wide=True,
        zoomable=True,
        verdicts=True,
    )


def scales(n: FloatArray, e: FloatArray) -> tuple[svg.Scale, svg.Scale]:
    """Return one scale for both axes; a single point gets a window of 20 units about it."""
    span_e, span_n = max(float(np.ptp(e)), 1e-9), max(float(np.ptp(n)), 1e-9)
    if max(span_e, span_n) < 1e-6:
        span_e = span_n = 20.0
    per_unit = min((WIDTH - 2 * _PAD) / span_e, (HEIGHT - 2 * _PAD - _FOOT) / span_n)
    middle_e, middle_n = (
        (float(e.max()) + float(e.min())) / 2,
        (float(n.max()) + float(n.min())) / 2,
    )
    half_e, half_n = WIDTH / per_unit / 2, HEIGHT / per_unit / 2
    shift = _FOOT / per_unit / 2
    return (
        svg.Scale(low=middle_e - half_e, high=middle_e + half_e, start=0, end=WIDTH),
        svg.Scale(
            low=middle_n - half_n - shift, high=middle_n + half_n - shift, start=HEIGHT, end=0
        ),
    )


def _chosen(marks: Marks, x: FloatArray, y: FloatArray) -> IntArray:
    """Return which points are drawn, the worst last so that they lie on top."""
    take = np.arange(len(x))
    if len(x) > _ALL:
        fine = np.flatnonzero(marks.kind == _WITHIN)
        order = fine[np.argsort(-np.nan_to_num(marks.share[fine]), kind="stable")]
        cell = np.floor(x[order] / _CELL) * HEIGHT + np.floor(y[order] / _CELL)
        _, first = np.unique(cell, return_index=True)
        take = np.concatenate([np.flatnonzero(marks.kind != _WITHIN), np.sort(order[first])])
    return take[np.lexsort((take, -marks.kind[take]))]


def grid(x_of: svg.Scale, y_of: svg.Scale) -> list[str]:
    """Return the lines of a grid over the whole drawing."""
    still = 'vector-effect="non-scaling-stroke"'
    data = "".join(f"M{svg.num(x_of(value))} 0V{HEIGHT}" for value in x_of.ticks(6)[0])
    data += "".join(f"M0 {svg.num(y_of(value))}H{WIDTH}" for value in y_of.ticks(4)[0])
    return [svg.path(data, "rule", more=still)] if data else []


def grid_texts(x_of: svg.Scale, y_of: svg.Scale) -> list[str]:
    """Return the coordinates that stand at the grid's lines; a narrow screen has every other."""
    texts = []
    values, decimals = x_of.ticks(6)
    for number, value in enumerate(values):
        place = x_of(value)
        if 60 < place < WIDTH - 60:
            name = f"E {svg.tick_text(value, decimals)}"
            label = svg.text(place, 15, name, anchor="middle", size=10.5, dim=True, halo=True)
            texts.append(f'<g class="roomy">{label}</g>' if number % 2 else label)
    values, decimals = y_of.ticks(4)
    for value in values:
        place = y_of(value)
        if 30 < place < HEIGHT - 60:
            label = f"N {svg.tick_text(value, decimals)}"
            text = svg.text(7, place - 4, label, size=10.5, dim=True, halo=True)
            texts.append(text if place > 60 else f'<g class="roomy">{text}</g>')
    return [f'<g class="fixed">{"".join(texts)}</g>']


def _linework(
    linework: Sequence[Polyline], x_of: svg.Scale, y_of: svg.Scale, outside: Outside
) -> tuple[str, bool]:
    """Return the design's lines as one path, thinned, and False where they had to be left out."""
    lines = [each for each in linework if len(each.xy_m) > 1]
    if not lines:
        return "", True
    xy = np.concatenate([np.asarray(each.xy_m, dtype=np.float64)[:, :2] for each in lines])
    counts = np.array([len(each.xy_m) for each in lines])
    ends = np.cumsum(counts)
    starts = ends - counts
    x = x_of.array(outside.unit.from_metres(xy[:, 0]))
    y = y_of.array(outside.unit.from_metres(xy[:, 1]))
    low_x, high_x = np.minimum.reduceat(x, starts), np.maximum.reduceat(x, starts)
    low_y, high_y = np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts)
    seen = (high_x >= 0) & (low_x <= WIDTH) & (high_y >= 0) & (low_y <= HEIGHT)
    seen &= np.maximum(high_x - low_x, high_y - low_y) >= _NEAR
    grid = np.rint(np.stack([x, y]) / _NEAR)
    keep: BoolArray = np.ones(len(x), dtype=np.bool_)
    keep[1:] = (np.diff(grid, axis=1) != 0).any(axis=0)
    keep[starts] = True
    keep[ends - 1] = True
    keep &= np.repeat(seen, counts)
    letter = np.full(len(x), "L", dtype=object)
    letter[starts] = "M"
    tail = np.full(len(x), "", dtype=object)
    tail[ends[np.array([each.closed for each in lines])] - 1] = "Z"
    chosen = np.flatnonzero(keep)
    if len(chosen) > _VERTICES:
        return "", False
    data = "".join(
        f"{a}{b} {c}{d}"
        for a, b, c, d in zip(
            letter[chosen].tolist(),
            svg.nums(np.clip(x[chosen], -1e5, 1e5)),
            svg.nums(np.clip(y[chosen], -1e5, 1e5)),
            tail[chosen].tolist(),
            strict=True,
        )
    )
    still = 'vector-effect="non-scaling-stroke" stroke-linejoin="round"'
    return (svg.path(data, "drawn", width=1.3, more=still) if data else ""), True


def _steps(marks: Marks, drawn: IntArray) -> tuple[list[str], list[str]]:
    """Return the ends of the vectors in pixels, shortened where they would cross the page."""
    step_x, step_y = marks.step_e[drawn] * _TOLERANCE, -marks.step_n[drawn] * _TOLERANCE
    size = np.hypot(step_x, step_y)
    with np.errstate(divide="ignore", invalid="ignore"):
        shorten = np.where(size > _LONGEST, _LONGEST / size, 1.0)
    return svg.nums(np.nan_to_num(step_x * shorten)), svg.nums(np.nan_to_num(step_y * shorten))


def _points(marks: Marks, x: FloatArray, y: FloatArray, drawn: IntArray) -> list[str]:
    """Return the marks with their vectors. Each keeps its size when the plan is zoomed."""
    glyphs = {index: svg.mark(kind, 5) for index, kind in enumerate(svg.KINDS)}
    glyphs[_CLOSE] = svg.mark("close", 4.6)
    strokes = {
        index: f'class="v-{kind}" stroke="{colour}" stroke-width="2.2"'
        for index, (kind, colour) in enumerate(svg.COLOURS.items())
    }
    places = zip(svg.nums(x[drawn]), svg.nums(y[drawn]), *_steps(marks, drawn), strict=True)
    plain, ticks, parts = [], [], []
    for index, (px, py, dx, dy) in zip(drawn.tolist(), places, strict=True):
        kind = int(marks.kind[index])
        at = f'<g transform="translate({px} {py})">'
        name = f"<title>{escape(marks.id[index])} {svg.KINDS[kind]}</title>"
        if kind == _WITHIN:
            plain.append(f'{at}{name}<path class="mk" d="M0 0h0"/></g>')
            # A vector that its own dot hides need not be drawn.
            if np.hypot(float(dx), float(dy)) > _DOT:
                ticks.append(f'{at}<path class="mk" d="M0 0L{dx} {dy}"/></g>')
            continue
        tick = "" if dx == "0" and dy == "0" else f'<path d="M0 0L{dx} {dy}" {strokes[kind]}/>'
        group = f'{at}{name}<g class="mk">{tick}{glyphs[kind]}</g></g>'
        label = escape(f"{marks.id[index]}, {svg.KINDS[kind]}")
        parts.append(f'<a href="{escape(marks.href[index])}" aria-label="{label}">{group}</a>')
    look = f'class="v-within" fill="none" stroke="{svg.COLOURS["within"]}" stroke-linecap="round"'
    return [
        f'<g {look} stroke-width="1.2">{"".join(ticks)}</g>',
        f'<g {look} stroke-width="{2 * _DOT:g}">{"".join(plain)}</g>',
        *parts,
    ]


def _labels(marks: Marks, x: FloatArray, y: FloatArray, drawn: IntArray) -> list[str]:
    """Return the names of what needs attention, worst first, each where it hides least."""
    urgent = drawn[marks.kind[drawn] < _WITHIN]
    worst = np.lexsort((urgent, -np.nan_to_num(marks.share[urgent]), marks.kind[urgent]))
    urgent = urgent[worst][:_LABELS]
    step_x = np.clip(np.nan_to_num(marks.step_e * _TOLERANCE), -_LONGEST, _LONGEST)
    step_y = np.clip(np.nan_to_num(-marks.step_n * _TOLERANCE), -_LONGEST, _LONGEST)
    centre = np.concatenate([np.stack([x, y]), np.stack([x + step_x, y + step_y])], axis=1)
    low, high = centre - 5, centre + 5
    boxes: list[tuple[float, float, float, float]] = []
    parts = []
    for index in urgent.tolist():
        name = marks.id[index]
        wide = len(name) * 6.6 + 3
        best: tuple[int, float, float, str, tuple[float, float, float, float]] | None = None
        for dx, dy, anchor in _PLACES:
            left = float(x[index]) + dx - {"start": 0.0, "end": wide, "middle": wide / 2}[anchor]
            box = (left, float(y[index]) + dy - 10, left + wide, float(y[index]) + dy + 3)
            hits = int(
                np.count_nonzero(
                    (low[0] < box[2]) & (high[0] > box[0]) & (low[1] < box[3]) & (high[1] > box[1])
                )
            )
            hits += 4 * sum(_overlap(box, other) for other in boxes)
            if not (box[0] >= 4 and box[2] <= WIDTH - 4 and box[1] >= 18 and box[3] <= HEIGHT - 52):
                hits += 50
            if best is None or hits < best[0]:
                best = (hits, dx, dy, anchor, box)
            if not hits:
                break
        if best is None or best[0] > 3:
            continue
        boxes.append(best[4])
        label = svg.text(best[1], best[2], name, anchor=best[3], bold=True, halo=True)
        parts.append(svg.at(float(x[index]), float(y[index]), f'<g class="mk">{label}</g>'))
    return parts


def _overlap(
    one: tuple[float, float, float, float], other: tuple[float, float, float, float]
) -> bool:
    return one[0] < other[2] and one[2] > other[0] and one[1] < other[3] and one[3] > other[1]


def foot_key(*parts: str) -> str:
    """Return what explains the marks at the foot; a narrow screen leaves it to the caption."""
    return f'<g class="roomy">{"".join(parts)}</g>'


def furniture(x_of: svg.Scale, outside: Outside, *, vectors: bool) -> list[str]:
    """Return scale bar, key of the vectors and north arrow, which stay put when the plan zooms."""
    long = svg.round_step(180 / x_of.per_unit)
    pixels, right, base = long * x_of.per_unit, WIDTH - 24, HEIGHT - 18
    unit = outside.unit.short
    decimals = max(0, -int(np.floor(np.log10(long))))
    scale = (
        f'class="scale" data-long="{long:g}" data-pixels="{pixels:.3f}" data-right="{right}" '
        f'data-base="{base}" data-unit="{unit}"'
    )
    parts = [
        svg.rect(1, HEIGHT - 46, WIDTH - 2, 45, "foot"),
        f"<g {scale}>",
        svg.path(
            f"M{svg.num(right - pixels)} {base - 5}V{base + 4}M{svg.num(right - pixels)} {base}"
            f"H{right}M{right} {base - 5}V{base + 4}",
            width=1.8,
        ),
        svg.text(
            right - pixels / 2, base - 9, f"{svg.tick_text(long, decimals)} {unit}", anchor="middle"
        ),
        "</g>",
    ]
    if vectors:
        tick = svg.path(f"M24 {base - 5}V{base + 4}M24 {base}h{_TOLERANCE:g}m0 -5v9", width=1.8)
        said = "a tick of this length is one plan tolerance, at any zoom"
        parts.append(foot_key(tick, svg.text(24 + _TOLERANCE + 8, base + 4, said)))
    arrow = (
        f'<path d="M0 -26L7 8L0 3L-7 8Z" class="ink" fill="{svg.INK}"/>'
        f"{svg.text(0, 23, 'N', anchor='middle', size=12, bold=True, halo=True)}"
    )
    parts.append(svg.at(WIDTH - 32, 44, arrow, "Grid north"))
    return parts
