"""Figures of closures: a traverse, its misclosure drawn large, and the profile of a level run."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from checker.lengths import small_text
from checker.model.finding import Verdict
from checker.model.measure import Item
from checker.report import svg
from checker.report.rows import Rows, kind_of
from checker.report.show import closure_ratio, item_text
from checker.text import fixed, ratio

_FACTORS = (1, 2, 5)
_LABELS = 40


def traverse(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return the traverse as computed, its misclosure exaggerated by a stated factor."""
    n, e = rows.lengths("n"), rows.lengths("e")
    latitude, departure = rows.lengths("latitude"), rows.lengths("departure")
    if not len(rows) or not (np.isfinite(n) & np.isfinite(e)).all():
        return None
    start = (float(n[0] - latitude[0]), float(e[0] - departure[0]))
    if not np.isfinite(start).all():
        return None
    items = {item.key: item for item in rows.finding.summary}
    off_n, off_e = _value(items, rows, "misclosure_n"), _value(items, rows, "misclosure_e")
    width, height, pad = 820.0, 400.0, 60.0
    all_n, all_e = np.append(n, start[0]), np.append(e, start[1])
    span = max(float(np.ptp(all_n)), float(np.ptp(all_e)), 1e-6)
    per_unit = min(
        (width - 2 * pad) / max(float(np.ptp(all_e)), span * 1e-3),
        (height - 2 * pad - 24) / max(float(np.ptp(all_n)), span * 1e-3),
    )
    middle_e = (float(all_e.max()) + float(all_e.min())) / 2
    middle_n = (float(all_n.max()) + float(all_n.min())) / 2
    x = width / 2 + (all_e - middle_e) * per_unit
    y = (height - 24) / 2 - (all_n - middle_n) * per_unit
    xs, ys = svg.nums(x), svg.nums(y)
    order = [len(n), *range(len(n))]
    closed = bool(np.hypot(x[-1] - x[-2], y[-1] - y[-2]) < 1.5)
    data = f"M{xs[-1]} {ys[-1]}" + _courses(rows, xs, ys, per_unit)
    parts = [svg.path(data, "drawn", width=1.7, more='stroke-linejoin="round"')]
    middle = (float(x.mean()), float(y.mean()))
    for index in order[: len(order) - closed][:_LABELS]:
        name = _start_name(rows) if index == len(n) else str(rows.ids[index])
        if index == len(n) and closed:
            name = str(rows.ids[-1])
        parts.append(_station(float(x[index]), float(y[index]), name, middle))
    note = "legs to scale, grid north up"
    misclosure = float(np.hypot(off_n, off_e))
    if np.isfinite(misclosure) and misclosure > 0:
        factor = scale_factor(misclosure * per_unit, 64.0)
        dx, dy = off_e * per_unit * factor, -off_n * per_unit * factor
        cx, cy = float(x[-2]), float(y[-2])
        parts += [
            svg.path(f"M{svg.num(cx)} {svg.num(cy)}l{svg.num(dx)} {svg.num(dy)}", width=3),
            svg.disc(cx + dx, cy + dy, 3.6, "ink"),
            svg.text(
                cx + dx + (9 if dx >= 0 else -9),
                cy + dy + 4,
                f"misclosure {_small(rows, misclosure)}",
                anchor="start" if dx >= 0 else "end",
                bold=True,
                halo=True,
            ),
        ]
        note = f"misclosure drawn × {factor:,.0f}, from known to computed; {note}"
    title = _traverse_title(items, rows)
    return svg.figure(
        figure_id,
        (width, height),
        parts,
        title=title,
        caption=f"{note[:1].upper()}{note[1:]}. Stations as computed before any adjustment.",
        name="Traverse",
        description=title,
        classes=("wide", "mid"),
        wide=True,
    )


def _courses(rows: Rows, xs: Sequence[str], ys: Sequence[str], per_unit: float) -> str:
    """Return the courses as a path from where the pen stands: lines, and arcs where there are."""
    count = len(rows)
    keys = {column.key for column in rows.finding.measure.columns}
    if not {"radius", "delta", "kind"} <= keys:
        return "".join(f"L{x} {y}" for x, y in zip(xs[:count], ys[:count], strict=True))
    radius = rows.lengths("radius") * per_unit
    delta = np.asarray(rows.finding.measure.column("delta").values, dtype=np.float64)
    kind = rows.finding.measure.column("kind").values
    steps = []
    for index in range(count):
        if not np.isfinite(radius[index]):
            steps.append(f"L{xs[index]} {ys[index]}")
            continue
        size = svg.num(float(radius[index]))
        flags = f"{int(delta[index] > np.pi)} {int(kind[index] == 'curve right')}"
        steps.append(f"A{size} {size} 0 {flags} {xs[index]} {ys[index]}")
    return "".join(steps)


def figure(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return a described figure with its misclosure; None for several figures in one check."""
    n, e = rows.lengths("n"), rows.lengths("e")
    north, east = n - rows.lengths("latitude"), e - rows.lengths("departure")
    gap = np.hypot(north[1:] - n[:-1], east[1:] - e[:-1])
    if len(rows) < 2 or (gap > 1e-6).any() or np.isnan(gap).all():
        return None
    made = traverse(rows, figure_id)
    return None if made is None else replace(made, caption="Courses as described.")


def _start_name(rows: Rows) -> str:
    start = getattr(rows.finding.measure, "start", None)
    return str(start) if start else "start"


def _station(x: float, y: float, name: str, middle: tuple[float, float]) -> str:
    """Return a station's triangle with its name on the side away from the middle."""
    triangle = (
        f'<path d="M0 -6L5.4 3.6H-5.4Z" class="hollow ink-s" fill="{svg.PAPER}" '
        f'stroke="{svg.INK}" stroke-width="1.5"/>'
    )
    right = x >= middle[0]
    label = svg.text(
        10 if right else -10,
        -5 if y <= middle[1] else 14,
        name,
        anchor="start" if right else "end",
        bold=True,
        halo=True,
    )
    return svg.at(x, y, triangle + label)


def scale_factor(pixels: float, wanted: float) -> float:
    """Return the round factor that draws so many pixels about as long as wanted."""
    power = 10.0 ** np.floor(np.log10(wanted / pixels))
    best = max(factor * power for factor in _FACTORS if factor * power * pixels <= wanted * 1.0001)
    return float(max(best, 1.0))


def _value(items: dict[str, Item], rows: Rows, key: str) -> float:
    item = items.get(key)
    if item is None or not isinstance(item.value, int | float):
        return float("nan")
    return rows.outside.one(item.quantity, key, float(item.value))


def _small(rows: Rows, value: float) -> str:
    """Return a difference in the job's unit as a sentence says it."""
    return small_text(rows.outside.unit.to_metres(value), rows.outside.unit)


def _traverse_title(items: dict[str, Item], rows: Rows) -> str:
    found, asked = items.get("ratio"), items.get("ratio_required")
    misclosure = items.get("misclosure")
    if found is not None and isinstance(found.value, float):
        limit = asked.value if asked is not None and isinstance(asked.value, float) else np.nan
        title = f"Closes {closure_ratio(found.value, limit)}"
        reason = rows.finding.reason.split("; ", maxsplit=1)[0]
        if rows.finding.verdict is Verdict.OUTSIDE and reason and "ratio" not in reason:
            return (
                f"{reason[:1].upper()}{reason[1:]}; position closes{title.removeprefix('Closes')}"
            )
        return title if np.isnan(limit) else f"{title}; {ratio(limit)} is asked"
    if misclosure is not None and misclosure.value is not None:
        return f"Misclosure {item_text(misclosure, rows.outside)}"
    return "Not closed: nothing proves these stations"


def levels(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return the profile of a level run with its misclosure beside what is allowed."""
    z = rows.lengths("elevation")
    known = np.flatnonzero(np.isfinite(z))
    # The marks of a net of lines stand in no order that a profile could follow.
    if len(known) < 2 or any(each.key == "lines" for each in rows.finding.measure.supplements):
        return None
    width, height = 820.0, 360.0
    left, right, top, base = 62.0, width - 126.0, 26.0, height - 50.0
    distance = np.nancumsum(rows.lengths("distance"))
    by_distance = bool(distance[-1] > 0 and np.isfinite(rows.lengths("distance")).any())
    along = distance if by_distance else np.arange(len(rows), dtype=np.float64)
    low, high = float(z[known].min()), float(z[known].max())
    margin = max((high - low) * 0.15, 0.05)
    x_of = svg.Scale(low=0, high=max(float(along[-1]), 1e-9), start=left, end=right)
    y_of = svg.Scale(low=low - margin, high=high + margin, start=base, end=top)
    unit = rows.outside.unit.short
    parts = svg.height_rules(y_of, left, right, 5)
    parts.append(svg.text(left - 6, top - 10, unit, anchor="end", size=10.5, dim=True))
    xs, ys = svg.nums(x_of.array(along[known])), svg.nums(y_of.array(z[known]))
    turns = _turning(rows, known)
    data = "M" + "L".join(f"{xs[index]} {ys[index]}" for index in turns)
    parts.append(svg.path(data, "within", width=2, more='stroke-linejoin="round"'))
    carries = set(turns)
    boxes: list[tuple[float, float]] = []
    for number, (a, b) in enumerate(zip(xs, ys, strict=True)):
        x, y = float(a), float(b)
        parts.append(
            svg.disc(x, y, 3.2, "run") if number in carries else svg.disc(x, y, 2, "sight")
        )
        around = z[known[max(number - 1, 0) : number + 2]]
        dip = float(z[known[number]]) <= float(around.min())
        anchor, shift = {0: ("start", 7), len(xs) - 1: ("end", -7)}.get(number, ("middle", 0))
        place = (x + shift, y + (19 if dip else -10))
        if number in carries and all(
            abs(place[0] - left) > 36 or abs(place[1] - above) > 14 for left, above in boxes
        ):
            boxes.append(place)
            name = str(rows.ids[known[number]])
            parts.append(svg.text(*place, name, anchor=anchor, halo=True))
    foot = f"distance levelled, {fixed(float(along[-1]), 0)} {unit}" if by_distance else "points"
    parts.append(
        svg.text(
            (left + right) / 2, base + 24, f"{foot}, in the order run", anchor="middle", dim=True
        )
    )
    items = {item.key: item for item in rows.finding.summary}
    parts += _gauge(items, rows, right + 52, (top + base) / 2, (base - top) / 2)
    title = _level_title(items, rows)
    return svg.figure(
        figure_id,
        (width, height),
        parts,
        title=title,
        caption=(
            "Elevations as booked, before any adjustment; small dots are intermediate sights. At "
            "the right the misclosure against what is allowed."
        ),
        name="Level run",
        description=title,
        classes=("wide", "mid"),
        wide=True,
    )


def _turning(rows: Rows, known: svg.IntArray) -> list[int]:
    """Return the points that carry the run; an intermediate sight hangs beside it."""
    sight = rows.lengths("is")[known]
    carry = np.flatnonzero(~np.isfinite(sight)).tolist()
    return carry if len(carry) > 1 else list(range(len(known)))


def _gauge(items: dict[str, Item], rows: Rows, x: float, middle: float, reach: float) -> list[str]:
    """Return a band as high as the allowable misclosure with the misclosure's mark."""
    found, allowed = _value(items, rows, "misclosure"), _value(items, rows, "allowable")
    if not np.isfinite(found) or not np.isfinite(allowed) or allowed <= 0:
        return []
    per_unit = reach * 0.62 / max(allowed, min(abs(found), allowed * 1.5))
    half = allowed * per_unit
    spot = middle - float(np.clip(found * per_unit, -reach * 0.95, reach * 0.95))
    kind = svg.KINDS[kind_of(rows.finding)]
    scale = rows.outside.small
    label = rows.outside.limit_text(float(rows.outside.in_small(np.array([allowed]))[0]))
    if scale.unit != rows.outside.unit.short:
        # The elevations beside it are in metres.
        label += f" {scale.unit}"
    return [
        svg.rect(x - 13, middle - half, 26, 2 * half, "limit"),
        svg.line(x - 17, middle, x + 17, middle),
        svg.at(x, spot, svg.mark(kind, 5.4)),
        svg.text(
            x - 19, middle - half + 4, f"+{label}", anchor="end", size=10.5, dim=True, halo=True
        ),
        svg.text(
            x - 19, middle + half + 4, f"−{label}", anchor="end", size=10.5, dim=True, halo=True
        ),
    ]


def _level_title(items: dict[str, Item], rows: Rows) -> str:
    found, allowed = items.get("misclosure"), items.get("allowable")
    if found is None or found.value is None:
        return "Not closed: nothing proves these elevations"
    title = f"Closes {item_text(found, rows.outside, sign=True)}"
    if allowed is not None and allowed.value is not None:
        title += f"; ±{item_text(allowed, rows.outside)} is allowed"
    return title
