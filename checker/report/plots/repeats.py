"""Repeats: by how much later shots of a mark differ from the first."""

import numpy as np

from checker.report import svg
from checker.report.rows import Rows
from checker.report.show import minus

_ROWS = 40
"""So many rows at most are drawn, the worst."""
_WITHIN = svg.KINDS.index("within")


def repeats(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return plan and height differences beside their limits, or None where there are none."""
    plan, height = rows.smalls("horizontal"), rows.smalls("dz")
    take = np.flatnonzero(rows.counted & (np.isfinite(plan) | np.isfinite(height)))
    if not len(take):
        return None
    beyond = int(np.count_nonzero(rows.kind[take] == svg.KINDS.index("outside")))
    verb = "differs" if beyond == 1 else "differ"
    title = (
        f"{beyond} of {len(take)} repeats {verb} by more than allowed"
        if beyond
        else f"None of {len(take)} repeats differs by more than allowed"
    )
    chosen = take
    if len(take) > _ROWS:
        worst = np.lexsort((take, -np.nan_to_num(rows.share[take])))[:_ROWS]
        chosen = np.sort(take[worst])
    pitch, top = 20.0, 42.0
    base = top + pitch * len(chosen)
    width = 700.0
    unit = rows.outside.small.unit
    parts = []
    panels = (
        ("horizontal", plan, 110.0, 370.0, f"plan difference ({unit})"),
        ("vertical", height, 420.0, 680.0, f"height, later − first ({unit})"),
    )
    for limit, values, left, right, label in panels:
        parts += _panel(rows, limit, values, (left, right, top, base), label, chosen)
    for number, row in enumerate(chosen.tolist()):
        y = top + pitch * (number + 0.5)
        bad = int(rows.kind[row]) != _WITHIN
        parts.append(svg.text(100, y + 4, str(rows.ids[row]), anchor="end", bold=bad))
    caption = "One line a repeat. The pale band is the tolerance."
    if len(chosen) < len(take):
        caption += f" The worst {len(chosen)} of {len(take)} are drawn."
    return svg.figure(
        figure_id,
        (width, base + 26),
        parts,
        title=title,
        caption=caption,
        name="Repeat differences",
        description=title,
        classes=("wide", "mid"),
        wide=True,
    )


def _panel(
    rows: Rows,
    limit: str,
    values: svg.FloatArray,
    frame: tuple[float, float, float, float],
    label: str,
    chosen: svg.IntArray,
) -> list[str]:
    left, right, top, base = frame
    signed = limit == "vertical"
    bounds = rows.small_limit(limit)
    known = bounds[np.isfinite(bounds)]
    allowed = float(known.max()) if len(known) else float("nan")
    finite = np.abs(values[chosen][np.isfinite(values[chosen])])
    most = max(
        float(finite.max()) * 1.12 if len(finite) else 0.0,
        allowed * 1.3 if np.isfinite(allowed) else 0.0,
        float(rows.outside.in_small(np.array([0.002]))[0]),
    )
    x_of = svg.Scale(low=-most if signed else 0.0, high=most, start=left, end=right)
    parts = []
    if np.isfinite(allowed):
        low = x_of(-allowed) if signed else left
        parts.append(svg.rect(low, top, x_of(allowed) - low, base - top, "band"))
        for value in (-allowed, allowed) if signed else (allowed,):
            place = x_of(value)
            parts.append(svg.line(place, top, place, base, more='stroke-dasharray="5 3"'))
            mark = minus(rows.outside.limit_text(value))
            parts.append(svg.text(place, top - 6, mark, anchor="middle", size=10.5, dim=True))
    parts.append(svg.line(x_of(0), top, x_of(0), base, width=1.2))
    parts.append(svg.text((left + right) / 2, top - 24, label, anchor="middle", dim=True))
    pitch = (base - top) / len(chosen)
    for number, row in enumerate(chosen.tolist()):
        y = top + pitch * (number + 0.5)
        value = float(values[row])
        parts.append(svg.line(left, y, right, y, "rule", width=0.5))
        if np.isfinite(value):
            parts.append(svg.line(x_of(0), y, x_of(value), y, "drawn", width=2))
            glyph = svg.mark(svg.KINDS[int(rows.kind[row])], 4.4)
            parts.append(svg.at(x_of(value), y, glyph, f"{rows.ids[row]}"))
    return parts
