"""Figure of a network: its stations, what was observed between them, and ellipses drawn large."""

import numpy as np

from checker.lengths import small_text
from checker.model.measure import Supplement
from checker.report import svg
from checker.report.plots.closures import scale_factor
from checker.report.rows import Rows
from checker.report.show import percent

_MOST_LABELS = 60
_MOST_LINES = 4000
_WANTED = 30.0
"""Pixels that the largest ellipse's half axis comes to, about."""


def network(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return the net in plan with its error ellipses; None where nothing of plan was observed."""
    kind = np.array(rows.texts("kind"))
    n, e = rows.lengths("n"), rows.lengths("e")
    major, minor = rows.lengths("semi_major"), rows.lengths("semi_minor")
    turn = rows.lengths("orientation")
    there = np.flatnonzero((kind == "station") & np.isfinite(n) & np.isfinite(e))
    joined = _joined(rows)
    beside = [k for k in there.tolist() if str(rows.ids[k]) not in joined]
    there = np.array([k for k in there.tolist() if str(rows.ids[k]) in joined], dtype=np.int64)
    free = there[np.isfinite(major[there]) & (major[there] > 0.0)]
    if not free.size or there.size < 2:
        return None
    width, height, pad = 820.0, 460.0, 64.0
    span = max(float(np.ptp(n[there])), float(np.ptp(e[there])), 1e-6)
    per_unit = min(
        (width - 2 * pad) / max(float(np.ptp(e[there])), span * 1e-3),
        (height - 2 * pad - 24) / max(float(np.ptp(n[there])), span * 1e-3),
    )
    middle_e = (float(e[there].max()) + float(e[there].min())) / 2
    middle_n = (float(n[there].max()) + float(n[there].min())) / 2
    x = width / 2 + (e - middle_e) * per_unit
    y = (height - 24) / 2 - (n - middle_n) * per_unit
    factor = scale_factor(float(major[free].max()) * per_unit, _WANTED)
    parts = [_lines(rows, x, y, there)]
    left = ", ".join(str(rows.ids[k]) for k in beside[:4]) + (" and more" if beside[4:] else "")
    scale = per_unit * factor
    parts += [
        _ellipse(float(x[k]), float(y[k]), major[k] * scale, minor[k] * scale, float(turn[k]))
        for k in free.tolist()
    ]
    marks = rows.texts("mark")
    held = [k for k in there.tolist() if marks[k].startswith("held")]
    parts += [_held(float(x[k]), float(y[k])) for k in held]
    parts.append(svg.dots(x[free], y[free], 1.6))
    worst = int(free[np.argmax(major[free])])
    few = there if there.size <= _MOST_LABELS else np.array([worst])
    parts += [
        svg.text(
            float(x[k]) + (1 if x[k] >= width / 2 else -1) * (9 + _half(major[k] * scale)),
            float(y[k]) - 7,
            str(rows.ids[k]),
            anchor="start" if x[k] >= width / 2 else "end",
            bold=True,
            halo=True,
        )
        for k in few.tolist()
    ]
    note = f"ellipses drawn × {factor:,.0f}; lines are observations, to scale, grid north up; "
    note += "triangles are held"
    note += f"; not drawn, as only sighted or levelled: {left}" if beside else ""
    title = _title(rows, worst, float(major[worst]))
    return svg.figure(
        figure_id,
        (width, height),
        parts,
        title=title,
        caption=f"Error ellipses of the adjusted stations at the stated confidence. {_cap(note)}.",
        name="Network",
        description=title,
        classes=("wide", "mid"),
        wide=True,
    )


def _half(drawn: float) -> float:
    """Return how far an ellipse keeps a name away; none where there is no ellipse."""
    return drawn * 0.6 if np.isfinite(drawn) else 0.0


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]


def _lines(rows: Rows, x: svg.FloatArray, y: svg.FloatArray, there: svg.IntArray) -> str:
    """Return what was observed between stations as one path."""
    place = {str(rows.ids[k]): k for k in there.tolist()}
    pairs = next((s for s in rows.finding.measure.supplements if s.key == "pairs"), None)
    if pairs is None:
        return ""
    ends = [(place.get(a), place.get(b)) for a, b in zip(*_ends(pairs), strict=True)]
    known = [(a, b) for a, b in ends if a is not None and b is not None][:_MOST_LINES]
    if not known:
        return ""
    one, other = (np.array(each, dtype=np.int64) for each in zip(*known, strict=True))
    data = "".join(
        f"M{a} {b}L{c} {d}"
        for a, b, c, d in zip(
            svg.nums(x[one]),
            svg.nums(y[one]),
            svg.nums(x[other]),
            svg.nums(y[other]),
            strict=True,
        )
    )
    return svg.path(data, "drawn", width=1)


def _joined(rows: Rows) -> set[str]:
    """Return the stations that lines of the figure join."""
    pairs = next((s for s in rows.finding.measure.supplements if s.key == "pairs"), None)
    return set() if pairs is None else {name for names in _ends(pairs) for name in names}


def _ends(pairs: Supplement) -> tuple[list[str], list[str]]:
    columns = {column.key: column.values for column in pairs.columns}
    return columns["from"].tolist(), columns["to"].tolist()


def _ellipse(x: float, y: float, major: float, minor: float, azimuth_deg: float) -> str:
    """Return an ellipse with its half axes in pixels."""
    return (
        f'<ellipse rx="{svg.num(major)}" ry="{svg.num(max(minor, 0.3))}" '
        f'transform="translate({svg.num(x)} {svg.num(y)}) rotate({svg.num(azimuth_deg - 90.0)})" '
        f'class="ink-s" fill="none" stroke="{svg.INK}" stroke-width="1.6"/>'
    )


def _held(x: float, y: float) -> str:
    triangle = (
        f'<path d="M0 -6L5.4 3.6H-5.4Z" class="hollow ink-s" fill="{svg.PAPER}" '
        f'stroke="{svg.INK}" stroke-width="1.5"/>'
    )
    return svg.at(x, y, triangle)


def _title(rows: Rows, worst: int, size: float) -> str:
    items = {item.key: item.value for item in rows.finding.summary}
    level = items.get("confidence")
    how = f" at {percent(level)}" if isinstance(level, float) else ""
    shown = small_text(rows.outside.unit.to_metres(size), rows.outside.unit)
    title = f"Largest ellipse {shown}{how}, at {rows.ids[worst]}"
    loud = sum(mark == "stands out" for mark in rows.texts("mark"))
    if loud:
        return f"{title}; {loud} observation{'s stand' if loud > 1 else ' stands'} out"
    return f"{title}; no observation stands out"
