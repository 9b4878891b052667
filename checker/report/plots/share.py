"""How much of the tolerance is used: a strip for every check, and a cumulative curve for one."""

import math
from collections.abc import Sequence

import numpy as np

from checker.model.arrays import TextArray
from checker.report import svg
from checker.report.rows import Rows, kind_of
from checker.report.show import percent
from checker.report.words import called

_ENOUGH = 8
"""Fewer rows make no curve."""
_RIGHT = 2.0
"""Shares beyond this stand at the edge."""
_WITHIN = svg.KINDS.index("within")


def curve(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return the cumulative curve of a check's shares, or None where there are too few."""
    share = np.sort(rows.share[np.isfinite(rows.share) & rows.counted])
    if not rows.by_row or len(share) < _ENOUGH:
        return None
    width, height, left, right, top, base = 340.0, 340.0, 52.0, 322.0, 24.0, 292.0
    x_of = svg.Scale(low=0, high=_RIGHT, start=left, end=right)
    y_of = svg.Scale(low=0, high=1, start=base, end=top)
    parts = [svg.rect(left, top, x_of(1) - left, base - top, "band")]
    for level in (0, 0.25, 0.5, 0.75, 1):
        parts.append(svg.line(left, y_of(level), right, y_of(level), "rule"))
        label = f"{level * 100:.0f} %"
        parts.append(svg.text(left - 6, y_of(level) + 4, label, anchor="end", size=10.5, dim=True))
    for value in (0, 0.5, 1, 1.5, 2):
        label = f"{value:g}" if value < _RIGHT else "2 +"
        parts.append(svg.text(x_of(value), base + 16, label, anchor="middle", size=10.5, dim=True))
    steps = np.linspace(0, len(share) - 1, min(len(share), 400)).astype(np.int64)
    xs = x_of.array(np.minimum(share[steps], _RIGHT))
    ys = y_of.array((steps + 1) / len(share))
    data = f"M{svg.num(left)} {svg.num(base)}"
    data += "".join(f"H{a}V{b}" for a, b in zip(svg.nums(xs), svg.nums(ys), strict=True))
    inside = float(np.count_nonzero(share <= 1.0)) / len(share)
    parts += [
        svg.line(x_of(1), top, x_of(1), base, width=1.6),
        svg.path(f"{data}H{svg.num(right)}", "within", width=2),
        svg.disc(x_of(1), y_of(inside), 4, "ink"),
        svg.text(
            x_of(1) + 8, max(y_of(inside) + 18, top + 12), _down(inside), bold=True, halo=True
        ),
        svg.text(x_of(1) + 5, base - 7, "limit", size=10.5, dim=True),
        svg.text(
            (left + right) / 2, height - 12, "share of tolerance used", anchor="middle", dim=True
        ),
    ]
    return svg.figure(
        figure_id,
        (width, height),
        parts,
        title=_curve_title(share),
        caption=(
            "Cumulative count of the largest share of a limit that each row uses. A step to the "
            "right of the line is a row past its limit."
        ),
        name="Cumulative share of tolerance used",
        description=f"{_down(inside)} of {len(share)} rows are at or inside their limits.",
    )


def _curve_title(share: svg.FloatArray) -> str:
    """Return the finding: how many keep their limits, and what the middle one uses.

    share: sorted, finite, shape (rows,).
    """
    kept = int(np.count_nonzero(share <= 1.0))
    middle = percent(float(share[(len(share) - 1) // 2]))
    total = f"{len(share):,}"
    if kept == len(share):
        text = f"All {total} keep their limits" if kept > 1 else "1 of 1 keeps its limits"
    elif not kept:
        text = f"None of {total} keeps its limits"
    elif kept == 1:
        text = f"1 of {total} keeps its limits"
    else:
        text = f"{kept:,} of {total} keep their limits"
    return f"{text}; half use {middle} or less"


def strips(every: Sequence[Rows], figure_id: str) -> svg.Figure | None:
    """Return one line a check with a mark for every row, or None where nothing was compared."""
    shown = [rows for rows in every if len(_shares(rows)[0])]
    if not shown:
        return None
    width, left, right, top, pitch = 1000.0, 250.0, 960.0, 26.0, 34.0
    base = top + pitch * len(shown)
    x_of = svg.Scale(low=0, high=_RIGHT, start=left, end=right)
    parts = [svg.rect(left, top, x_of(1) - left, base - top, "band")]
    for number, rows in enumerate(shown):
        y = top + pitch * (number + 0.5)
        name = called(rows.finding)
        name = name if len(name) <= 34 else f"{name[:33]}…"
        parts.append(svg.line(left, y, right, y, "rule"))
        parts.append(svg.text(left - 12, y + 4, name, anchor="end", size=12))
        parts += _strip(rows, x_of, y)
    parts += [
        svg.line(x_of(1), top, x_of(1), base, width=1.6),
        svg.text(x_of(1), top - 8, "limit", anchor="middle", dim=True),
    ]
    for value in (0, 0.5, 1, 1.5, 2):
        label = percent(value) if value < _RIGHT else f"{percent(value)} and more"
        anchor = "end" if value == _RIGHT else "middle"
        place = x_of(value) + (10 if value == _RIGHT else 0)
        parts.append(svg.text(place, base + 18, label, anchor=anchor, dim=True))
    past = [rows for rows in shown if bool((_shares(rows)[0] > 1).any())]
    return svg.figure(
        figure_id,
        (width, base + 30),
        parts,
        title=_strips_title(past, len(shown)),
        caption=(
            "One line a check, one mark a row: the largest share of any of its limits. Marks right "
            "of the line are past it; a triangle left of it is undecided for another reason."
        ),
        name="Share of tolerance used, by check",
        description=f"{len(shown)} checks; {len(past)} have rows past their limit.",
        classes=("wide",),
        wide=True,
    )


def _strips_title(past: Sequence[Rows], total: int) -> str:
    if not past:
        return f"Nothing is past its limit in {'any of ' if total > 1 else ''}{_checks(total)}"
    if len(past) == 1 and total > 1:
        return f"What is past its limit is all in one check: {called(past[0].finding)}"
    verb = "has" if len(past) == 1 else "have"
    return f"{len(past)} of {_checks(total)} {verb} values past their limit"


def _checks(total: int) -> str:
    return f"{total} check{'' if total == 1 else 's'}"


def _shares(rows: Rows) -> tuple[svg.FloatArray, svg.FloatArray, Sequence[str] | TextArray]:
    """Return share, kind and name of what a check's strip shows."""
    if rows.by_row:
        take = np.flatnonzero(np.isfinite(rows.share) & rows.counted)
        return rows.share[take], rows.kind[take].astype(np.float64), rows.ids[take]
    share = rows.finding.share
    if not math.isfinite(share):
        return np.empty(0), np.empty(0), ()
    kind = float(kind_of(rows.finding))
    return np.array([share]), np.array([kind]), (rows.finding.measure.name,)


def _strip(rows: Rows, x_of: svg.Scale, y: float) -> list[str]:
    share, kind, names = _shares(rows)
    x = x_of.array(np.minimum(share, _RIGHT))
    plain = kind == _WITHIN
    places = np.unique(np.rint(x[plain] * 2) / 2)
    parts = [svg.dots(places, np.full(len(places), y), 3)]
    seen: set[tuple[int, float]] = set()
    order = np.lexsort((share, -kind))
    for index in order[~plain[order]].tolist():
        place = (int(kind[index]), round(float(x[index])))
        if place not in seen:
            seen.add(place)
            glyph = svg.mark(svg.KINDS[place[0]], 4.8)
            name = f"{names[index]}: {percent(float(share[index]))}"
            parts.append(svg.at(float(x[index]), y, glyph, name))
    past = np.flatnonzero(share > 1.0)
    if len(past):
        worst = int(past[np.argmax(share[past])])
        others = x[np.arange(len(x)) != worst]
        label = f"{names[worst]}, {percent(float(share[worst]))}"
        long = 6.6 * len(label)
        for side, low in (("end", float(x[worst]) - 10 - long), ("start", float(x[worst]) + 10)):
            free = not ((others > low - 6) & (others < low + long + 6)).any()
            if free and low > x_of(1) and low + long < x_of(_RIGHT):
                edge = low + long if side == "end" else low
                drawn = svg.text(edge, y + 4, label, anchor=side, bold=True, halo=True)
                # where a narrow screen has scrolled the names at the left away
                name = f'<tspan class="nr"> {svg.escape(called(rows.finding))}</tspan>'
                parts.append(drawn.replace("</text>", f"{name}</text>") if rows.by_row else drawn)
                break
    return parts


def _down(share: float) -> str:
    """Return a share as percent, rounded down so that it never flatters."""
    return f"{math.floor(share * 1000 + 1e-9) / 10:.1f} %"
