"""Cut and fill: a bar for every stake, or how often which height occurs where there are many."""

import numpy as np

from checker.model.finding import Verdict
from checker.report import svg
from checker.report.lath import height_texts
from checker.report.rows import Rows, least_reach
from checker.report.show import THIN, minus
from checker.text import fixed

_BARS = 80
"""So many stakes at most get a bar of their own."""
_LABELS = 14
_BINS = 41


def heights(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return the figure of a check's heights, or None where there are none."""
    dz = rows.smalls("dz")
    take = np.flatnonzero(np.isfinite(dz) & rows.counted)
    if len(take) < 2:
        return None
    above, below = rows.small_limit("vertical"), rows.small_limit("vertical", -1)
    judgement = rows.judgement("vertical")
    beyond = np.zeros(len(rows), dtype=np.bool_)
    if judgement is not None:
        beyond = judgement.verdict == Verdict.OUTSIDE
    if len(take) <= _BARS:
        return _bars(rows, dz, take, beyond, _one(above[take]), _one(below[take]), figure_id)
    return _spread(rows, dz[take], beyond[take], _one(above[take]), _one(below[take]), figure_id)


def _one(limits: svg.FloatArray) -> float:
    """Return the limit that all rows share, NaN where they differ or have none."""
    known = np.unique(limits[np.isfinite(limits)])
    return float(known[0]) if len(known) == 1 else float("nan")


def _title(rows: Rows, dz: svg.FloatArray, beyond: svg.BoolArray) -> str:
    count = int(np.count_nonzero(beyond))
    unit, decimals = rows.outside.small.unit, rows.outside.small.decimals
    if count:
        cut = int(np.count_nonzero(beyond & (dz > 0)))
        sides = f"{cut} high, {count - cut} low"
        verb = "is" if count == 1 else "are"
        return f"{count} of {len(dz)} heights {verb} past the limit: {sides}"
    worst = fixed(float(np.abs(dz).max()), decimals)
    mean = fixed(float(dz.mean()), decimals).replace("-", "−")
    sizes = f"largest {worst}{THIN}{unit}, mean {mean}{THIN}{unit}"
    judgement = rows.judgement("vertical")
    kept = judgement is not None and bool((judgement.verdict[rows.counted] == Verdict.WITHIN).all())
    return (
        f"All {len(dz)} heights keep their limit: {sizes}"
        if kept
        else f"{len(dz)} heights: {sizes}"
    )


def _sides(rows: Rows) -> tuple[str, str]:
    """Return what is above and what is below: of control nothing is cut or filled."""
    if rows.finding.measure.kind == "control":
        return "above known", "below known"
    return "cut, above design", "fill, below design"


def _caption(rows: Rows) -> str:
    above, below = _sides(rows)
    text = f"Solid bars are {above}; hatched bars are {below}."
    if rows.judgement("vertical") is None:
        return text + " No limit on height is stated: they are shown, not judged."
    return text + " The pale band is the tolerance."


def _bars(
    rows: Rows,
    dz: svg.FloatArray,
    take: svg.IntArray,
    beyond: svg.BoolArray,
    above: float,
    below: float,
    figure_id: str,
) -> svg.Figure:
    width, left, right, top, base = 1000.0, 64.0, 984.0, 30.0, 214.0
    values = dz[take]
    limits = [limit for limit in (above, below) if np.isfinite(limit)]
    reach = [limit * 1.5 for limit in limits]
    most = max(float(np.abs(values).max()) * 1.25, *reach, least_reach(rows))
    x_of = svg.Scale(low=-0.5, high=len(take) - 0.5, start=left, end=right)
    y_of = svg.Scale(low=-most, high=most, start=base, end=top)
    band = _limits(rows, y_of, left, right, above, below)
    parts = [f"<defs>{svg.hatch(figure_id)}</defs>", *band]
    unit, sides = rows.outside.small.unit, _sides(rows)
    parts += [
        svg.line(left, y_of(0), right, y_of(0), width=1.2),
        svg.text(left - 6, y_of(0) + 4, "0", anchor="end", size=10.5, dim=True),
        svg.text(left, top - 14, f"{sides[0]} ({unit})", dim=True),
        svg.text(left, base + 18, f"{sides[1]} ({unit})", dim=True),
    ]
    wide = min(16.0, x_of.per_unit * 0.62)
    dz_m = rows.outside.unit.to_metres(rows.lengths("dz"))
    texts = height_texts(rows.finding, dz_m, rows.outside)
    labelled = 0
    for number, row in enumerate(take.tolist()):
        value = float(dz[row])
        x, y = x_of(number), y_of(value)
        high, tall = min(y, y_of(0)), max(abs(y - y_of(0)), 0.8)
        parts.append(
            f"<g><title>{svg.escape(rows.ids[row])}: {svg.escape(texts[row])}</title>"
            f"{svg.bar(x - wide / 2, high, wide, tall, cut=value > 0, of=figure_id)}</g>"
        )
        if beyond[row]:
            up = value > 0
            parts.append(svg.at(x, y + (-9 if up else 9), svg.mark("outside", 4.6)))
            if labelled < _LABELS:
                labelled += 1
                late = x > right - 110
                parts.append(
                    svg.text(
                        x + (-9 if late else 9),
                        y + (-5 if up else 13),
                        f"{rows.ids[row]} {texts[row]}",
                        anchor="end" if late else "start",
                        bold=True,
                        halo=True,
                    )
                )
    title = _title(rows, values, beyond[take])
    ends = f"{rows.ids[take[0]]} … {rows.ids[take[-1]]}, in the order of the table"
    parts.append(svg.text(right, base + 18, ends, anchor="end", dim=True))
    return svg.figure(
        figure_id,
        (width, 244),
        parts,
        title=title,
        caption=_caption(rows),
        name="Cut and fill by stake",
        description=title,
        classes=("wide",),
        wide=True,
    )


def _limits(
    rows: Rows, y_of: svg.Scale, left: float, right: float, above: float, below: float
) -> list[str]:
    """Return band, limit lines and their numbers; a side without a limit is open."""
    high = y_of(above) if np.isfinite(above) else min(y_of.start, y_of.end)
    low = y_of(-below) if np.isfinite(below) else max(y_of.start, y_of.end)
    parts = []
    if np.isfinite(above) or np.isfinite(below):
        parts.append(svg.rect(left, high, right - left, low - high, "band"))
    for value, place, sign in ((above, high, "+"), (below, low, "−")):
        if np.isfinite(value):
            parts.append(svg.line(left, place, right, place, more='stroke-dasharray="5 3"'))
            label = f"{sign}{rows.outside.limit_text(value)}"
            parts.append(svg.text(left - 6, place + 4, label, anchor="end", size=10.5, dim=True))
    return parts


def _spread(
    rows: Rows,
    dz: svg.FloatArray,
    beyond: svg.BoolArray,
    above: float,
    below: float,
    figure_id: str,
) -> svg.Figure:
    width, left, right, top, base = 1000.0, 64.0, 984.0, 20.0, 196.0
    limits = [limit for limit in (above, below) if np.isfinite(limit)]
    reach = [limit * 1.3 for limit in limits]
    most = max(float(np.quantile(np.abs(dz), 0.995)) * 1.1, *reach, least_reach(rows))
    edges = np.linspace(-most, most, _BINS + 1)
    counts, _ = np.histogram(np.clip(dz, -most, most), bins=edges)
    x_of = svg.Scale(low=-most, high=most, start=left, end=right)
    y_of = svg.Scale(low=0, high=max(int(counts.max()), 1), start=base, end=top)
    parts = [f"<defs>{svg.hatch(figure_id)}</defs>"]
    if limits:
        low = x_of(-below) if np.isfinite(below) else left
        high = x_of(above) if np.isfinite(above) else right
        parts.append(svg.rect(low, top, high - low, base - top, "band"))
    for value, count in zip((edges[:-1] + edges[1:]) / 2, counts, strict=True):
        if count:
            x = x_of(float(value)) - (right - left) / _BINS / 2 + 1
            wide = (right - left) / _BINS - 2
            y = y_of(float(count))
            parts.append(svg.bar(x, y, wide, max(base - y, 0.8), cut=value > 0, of=figure_id))
    for value, sign in ((above, 1.0), (-below, -1.0)):
        if np.isfinite(value):
            place = x_of(value)
            parts.append(svg.line(place, top, place, base, more='stroke-dasharray="5 3"'))
            label = minus(rows.outside.limit_text(value))
            anchor = "start" if sign > 0 else "end"
            parts.append(svg.text(place + 4 * sign, top + 10, label, anchor=anchor, halo=True))
    values, decimals = x_of.ticks(8)
    for value in values:
        label = svg.tick_text(value, decimals)
        parts.append(svg.text(x_of(value), base + 16, label, anchor="middle", size=10.5, dim=True))
    unit, sides = rows.outside.small.unit, _sides(rows)
    parts += [
        svg.line(left, base, right, base),
        svg.line(x_of(0), top, x_of(0), base),
        svg.text(left, base + 34, f"← {sides[1]} ({unit})", dim=True),
        svg.text(right, base + 34, f"{sides[0]} ({unit}) →", anchor="end", dim=True),
        svg.text(left - 6, top + 8, str(int(counts.max())), anchor="end", size=10.5, dim=True),
        svg.text(left - 6, base, "0", anchor="end", size=10.5, dim=True),
    ]
    title = _title(rows, dz, beyond)
    return svg.figure(
        figure_id,
        (width, 242),
        parts,
        title=title,
        caption=f"{_caption(rows)} Heights past the edge stand in the last bar of their side.",
        name="How often which cut and fill occurs",
        description=title,
        classes=("wide",),
        wide=True,
    )
