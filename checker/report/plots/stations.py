"""What was set, in the order of its stations: the elevations, cut and fill, and left and right."""

import numpy as np

from checker.report import svg
from checker.report.lath import height_texts
from checker.report.numbers import station_texts
from checker.report.rows import Rows, least_reach
from checker.report.show import difference, minus
from checker.text import fixed

_LEFT, _RIGHT = 92.0, 984.0
_LABELS = 12
_MOST_MARKS = 4000
"""More stakes than this are drawn as plain dots."""
_MOST_BARS = 400
"""So many stakes at most get a bar of their own."""
_WITHIN = svg.KINDS.index("within")
_FEWEST = 2


def by_station(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return the figure of a check whose rows have stations, or None where it has none."""
    station = rows.lengths("station")
    take = np.flatnonzero(np.isfinite(station) & rows.counted)
    panels = []
    for key, limit, names in (
        ("dz", "vertical", ("cut, above design", "fill, below design")),
        ("across", _plan_limit(rows), ("RIGHT of design", "LEFT of design")),
    ):
        if np.count_nonzero(np.isfinite(rows.lengths(key)[take])) >= _FEWEST:
            panels.append((key, limit, names))
    if not panels:
        return None
    take = take[np.argsort(station[take], kind="stable")]
    low, high = float(station[take].min()), float(station[take].max())
    margin = max((high - low) * 0.02, 1e-6)
    x_of = svg.Scale(low=low - margin, high=high + margin, start=_LEFT, end=_RIGHT)
    parts = [f"<defs>{svg.hatch(figure_id)}</defs>"]
    top = 26.0
    if np.count_nonzero(np.isfinite(rows.lengths("design_z")[take])) >= _FEWEST:
        parts += _elevations(rows, take, x_of, top)
        top += 190.0
    for key, limit, names in panels:
        parts += _panel(rows, take, x_of, top, key, limit, names, figure_id)
        top += 200.0
    parts += _axis(rows, x_of, top - 22.0)
    title = _title(rows, take, panels)
    return svg.figure(
        figure_id,
        (1000, top + 10.0),
        parts,
        title=title,
        caption=(
            "In the order of the stations. The pale band is the tolerance; solid bars are cut or "
            "right of design, hatched bars fill or left of it."
        ),
        name="By station",
        description=title,
        classes=("wide",),
        wide=True,
    )


def _plan_limit(rows: Rows) -> str:
    return "across" if rows.judgement("across") is not None else "horizontal"


def _title(rows: Rows, take: svg.IntArray, panels: list[tuple[str, str, tuple[str, str]]]) -> str:
    """Return the largest of what is shown."""
    words = {"dz": ("high", "low"), "across": ("right", "left")}
    said = []
    for key, limit, _ in panels:
        if key == "dz" and rows.judgement(limit) is None:
            continue  # the cut to the stake, not an error
        values = rows.lengths(key)[take]
        row = int(np.nanargmax(np.abs(values)))
        value = float(values[row])
        side = words[key][0 if value > 0 else 1]
        size = difference(abs(float(rows.outside.unit.to_metres(value))), rows.outside)
        said.append(f"{size} {side} at {rows.ids[take[row]]}")
    text = f"{len(take)} stakes by station"
    return f"{text}: at most {' and '.join(said)}" if said else text


def _elevations(rows: Rows, take: svg.IntArray, x_of: svg.Scale, top: float) -> list[str]:
    """Return the panel of elevations: the design as a line, the stakes as marks."""
    base = top + 140.0
    station = rows.lengths("station")[take]
    design, measured = rows.lengths("design_z")[take], rows.lengths("measured_z")[take]
    every = np.concatenate((design, measured))
    every = every[np.isfinite(every)]
    pad = max(float(np.ptp(every)) * 0.1, 0.05)
    y_of = svg.Scale(
        low=float(every.min()) - pad, high=float(every.max()) + pad, start=base, end=top
    )
    parts = svg.height_rules(y_of, _LEFT, _RIGHT, 4)
    known = np.isfinite(design)
    xs, ys = svg.nums(x_of.array(station[known])), svg.nums(y_of.array(design[known]))
    line = "L".join(f"{x} {y}" for x, y in zip(xs, ys, strict=True))
    parts.append(svg.path(f"M{line}", "drawn", width=1.6))
    unit = rows.outside.unit.short
    parts.append(
        svg.text(
            _LEFT, top - 9, f"ELEVATION ({unit}): the line joins the design of the stakes", dim=True
        )
    )
    there = np.flatnonzero(np.isfinite(measured))
    parts += _marks(rows, take[there], x_of.array(station[there]), y_of.array(measured[there]))
    return parts


def _marks(rows: Rows, take: svg.IntArray, x: svg.FloatArray, y: svg.FloatArray) -> list[str]:
    kind = rows.kind[take]
    plain = (kind == _WITHIN) | (len(take) > _MOST_MARKS)
    parts = [svg.dots(x[plain], y[plain], 2.6)]
    for index in np.flatnonzero(~plain).tolist():
        glyph = svg.mark(svg.KINDS[int(kind[index])], 4.4)
        parts.append(svg.at(float(x[index]), float(y[index]), glyph, str(rows.ids[take[index]])))
    return parts


def _panel(
    rows: Rows,
    take: svg.IntArray,
    x_of: svg.Scale,
    top: float,
    key: str,
    limit: str,
    names: tuple[str, str],
    figure_id: str,
) -> list[str]:
    """Return a panel of bars up and down from zero."""
    base = top + 140.0
    scale = rows.outside.small
    values = rows.smalls(key)[take]
    upper = _one(rows.small_limit(limit)[take])
    lower = _one(rows.small_limit(limit, -1)[take]) if limit != "horizontal" else upper
    limits = [size for size in (upper, lower) if np.isfinite(size)]
    reach = [size * 1.5 for size in limits]
    most = max(float(np.nanmax(np.abs(values))) * 1.15, *reach, least_reach(rows))
    # One stake on the wrong side must not flatten all the others.
    if limits and most > 12.0 * max(limits):
        most = 12.0 * max(limits)
    y_of = svg.Scale(low=-most, high=most, start=base, end=top)
    parts = []
    if limits:
        high = y_of(upper) if np.isfinite(upper) else top
        low = y_of(-lower) if np.isfinite(lower) else base
        parts.append(svg.rect(_LEFT, high, _RIGHT - _LEFT, low - high, "band"))
    for size, sign in ((upper, 1.0), (lower, -1.0)):
        if np.isfinite(size):
            place = y_of(sign * size)
            parts.append(svg.line(_LEFT, place, _RIGHT, place, more='stroke-dasharray="5 3"'))
            label = f"{'+' if sign > 0 else '−'}{rows.outside.limit_text(size)}"
            parts.append(svg.text(_LEFT - 6, place + 4, label, anchor="end", size=10.5, dim=True))
    known = [0.0, *(y for size, y in ((upper, upper), (lower, -lower)) if np.isfinite(size))]
    ticks, decimals = y_of.ticks(4)
    for value in ticks:
        if all(abs(y_of(value) - y_of(each)) > 13 for each in known):
            label = svg.tick_text(value, decimals)
            place = y_of(value)
            parts.append(svg.line(_LEFT, place, _RIGHT, place, "rule", width=0.5))
            parts.append(svg.text(_LEFT - 6, place + 4, label, anchor="end", size=10.5, dim=True))
    unit = scale.unit
    parts += [
        svg.line(_LEFT, y_of(0), _RIGHT, y_of(0), width=1.2),
        svg.text(_LEFT - 6, y_of(0) + 4, "0", anchor="end", size=10.5, dim=True),
        svg.text(_LEFT, top - 9, f"{names[0]} ({unit})", dim=True),
        svg.text(_LEFT, base + 16, f"{names[1]} ({unit})", dim=True),
    ]
    x = x_of.array(rows.lengths("station")[take])
    wide = min(9.0, max(1.0, (_RIGHT - _LEFT) / max(len(take), 1) * 0.5))
    texts = _texts(rows, key)
    labelled = 0
    shown = np.flatnonzero(np.isfinite(values))
    heights = y_of.array(np.clip(values, -most, most))
    many = len(shown) > _MOST_BARS
    past = np.where(values > 0, values > upper, -values > lower)
    if many:
        parts.append(svg.dots(x[shown], heights[shown], 1.4))
        shown = shown[past[shown]]
        shown = shown[np.argsort(-np.abs(values[shown]), kind="stable")][:_LABELS]
    for index in shown.tolist():
        row, value, y = int(take[index]), float(values[index]), float(heights[index])
        high, low = min(y, y_of(0)), max(y, y_of(0))
        left = float(x[index]) - wide / 2
        if not many:
            bar = svg.bar(left, high, wide, max(low - high, 0.8), cut=value > 0, of=figure_id)
            name = f"{svg.escape(rows.ids[row])}: {svg.escape(texts[row])}"
            parts.append(f"<g><title>{name}</title>{bar}</g>")
        if past[index] and labelled < _LABELS:
            labelled += 1
            late = float(x[index]) > _RIGHT - 130
            parts.append(
                svg.text(
                    float(x[index]) + (-8 if late else 8),
                    y + (10 if value > 0 else -2),
                    f"{rows.ids[row]} {texts[row]}",
                    anchor="end" if late else "start",
                    bold=True,
                    halo=True,
                )
            )
    return parts


def _texts(rows: Rows, key: str) -> list[str]:
    if key == "dz":
        values = rows.outside.unit.to_metres(rows.lengths(key))
        return height_texts(rows.finding, values, rows.outside)
    decimals = rows.outside.small.decimals
    return [
        f"{'R' if value > 0 else 'L'} {fixed(abs(value), decimals)}" if np.isfinite(value) else ""
        for value in rows.smalls(key).tolist()
    ]


def _axis(rows: Rows, x_of: svg.Scale, y: float) -> list[str]:
    values, _ = x_of.ticks(4)
    unit = rows.outside.unit
    parts = []
    for value in values:
        metres, digits = np.array([unit.to_metres(value)]), rows.outside.station_digits
        label = minus(station_texts(metres, unit, digits)[0])
        parts.append(svg.line(x_of(value), y - 4, x_of(value), y))
        parts.append(svg.text(x_of(value), y + 14, label, anchor="middle", size=10.5, dim=True))
    return parts


def _one(limits: svg.FloatArray) -> float:
    """Return the limit that all rows share, NaN where they differ or have none."""
    known = np.unique(limits[np.isfinite(limits)])
    return float(known[0]) if len(known) == 1 else float("nan")
