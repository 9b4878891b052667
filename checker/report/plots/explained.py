"""Residuals without and with a cause: two panels side by side, each to its own scale.

Where the cause is one of height alone the points stand in their order, else as north over east. The
scales are written, because the right one is often a thousand times larger.
"""

import numpy as np

from checker.lengths import spoken_scale
from checker.model.diagnosis import Diagnosis
from checker.report import svg
from checker.report.numbers import Outside
from checker.text import fixed

_WIDTH, _HEIGHT = 900.0, 400.0
_LEFT, _TOP, _SIDE, _GAP = 92.0, 34.0, 310.0, 140.0
_FEWEST = 2
_LARGE, _SMALL = 3.2, 2.0
_CROWD = 80


def explained(diagnosis: Diagnosis, outside: Outside, figure_id: str) -> svg.Figure | None:
    """Return the figure of a diagnosis, or None where it has no residuals to draw."""
    data = diagnosis.explained
    if data is None or len(data.before_m) < _FEWEST:
        return None
    before_m, after_m = data.before_m, data.after_m
    sizes_m = np.nan_to_num([*_sizes(before_m), *_sizes(after_m)])
    scale = spoken_scale(outside.unit, float(sizes_m.max()), fine_m=float(sizes_m[2:].min()))
    before, after = (part / scale.metres for part in (before_m, after_m))
    sizes = [_sizes(part) for part in (before, after)]
    upward = _fell(sizes[0][1], sizes[1][1]) > _fell(sizes[0][0], sizes[1][0])
    unit = scale.unit
    parts: list[str] = []
    heads = ("As measured minus design", "With the cause taken into account")
    for place, (part, head) in enumerate(zip((before, after), heads, strict=True)):
        left = _LEFT + place * (_SIDE + _GAP)
        parts.append(svg.text(left, _TOP - 12, head, bold=True))
        parts += _in_height(part, left, unit) if upward else _in_plan(part, left, unit)
    which = 1 if upward else 0
    words = "in height" if upward else "in plan"
    one, other = (f"{fixed(size[which], scale.decimals)} {unit}" for size in sizes)
    title = f"Without the cause {one} {words}, with it {other}"
    caption = (
        "Root mean squares of the points concerned. Every dot is one point; each panel has its own "
        "scale. The cause explains what the left panel shows and the right one no longer does."
    )
    if len(before) < data.count:
        caption += f" {len(before)} of {data.count:,} points are drawn."
    return svg.figure(
        figure_id,
        (_WIDTH, _HEIGHT),
        parts,
        title=title,
        caption=caption,
        name="Residuals without and with the cause",
        description=f"{title}.",
        wide=True,
    )


def _sizes(part: svg.FloatArray) -> tuple[float, float]:
    """Return root mean squares of plan and height, NaN where nothing is compared."""
    plan, height = np.sum(part[:, :2] ** 2, axis=1), part[:, 2] ** 2
    return _root(plan), _root(height)


def _root(squares: svg.FloatArray) -> float:
    squares = squares[np.isfinite(squares)]
    return float(np.sqrt(np.mean(squares))) if len(squares) else np.nan


def _fell(before: float, after: float) -> float:
    """Return by which factor a size fell, 0 where there is none."""
    if not np.isfinite(before) or not np.isfinite(after):
        return 0.0
    return before / max(after, 1e-9)


def _scale(low: float, high: float, start: float, end: float) -> svg.Scale:
    span = max(high - low, 1e-4)
    return svg.Scale(low=low - 0.08 * span, high=high + 0.08 * span, start=start, end=end)


def _ends(values: svg.FloatArray) -> tuple[float, float]:
    """Return the range of values and zero."""
    every = np.append(values, 0.0)
    return float(every.min()), float(every.max())


def _radius(count: int) -> float:
    return _LARGE if count < _CROWD else _SMALL


def _in_plan(part: svg.FloatArray, left: float, unit: str) -> list[str]:
    """Return north over east, both to one scale; the cross is no difference at all."""
    there = np.isfinite(part[:, :2]).all(axis=1)
    n, e = part[there, 0], part[there, 1]
    (south, north), (west, east) = _ends(n), _ends(e)
    half = max(north - south, east - west, 1e-4) / 2.0
    mid_n, mid_e = (south + north) / 2.0, (west + east) / 2.0
    x_of = _scale(mid_e - half, mid_e + half, left, left + _SIDE)
    y_of = _scale(mid_n - half, mid_n + half, _TOP + _SIDE, _TOP)
    return [
        svg.line(x_of(0.0), _TOP, x_of(0.0), _TOP + _SIDE, "rule"),
        svg.line(left, y_of(0.0), left + _SIDE, y_of(0.0), "rule"),
        *_beside(y_of, left),
        *_below(x_of),
        svg.dots(x_of.array(e), y_of.array(n), _radius(len(n))),
        svg.rect(left, _TOP, _SIDE, _SIDE, "frame"),
        _foot(left, f"east, {unit}; north upwards"),
    ]


def _in_height(part: svg.FloatArray, left: float, unit: str) -> list[str]:
    """Return the heights of the points in their order; the line is no difference at all."""
    z = part[np.isfinite(part[:, 2]), 2]
    y_of = _scale(*_ends(z), _TOP + _SIDE, _TOP)
    x = left + _SIDE * (np.arange(len(z)) + 0.5) / max(len(z), 1)
    return [
        svg.line(left, y_of(0.0), left + _SIDE, y_of(0.0), "ink"),
        *_beside(y_of, left),
        svg.dots(x, y_of.array(z), _radius(len(z))),
        svg.rect(left, _TOP, _SIDE, _SIDE, "frame"),
        _foot(left, f"points in their order; up, {unit}"),
    ]


def _foot(left: float, words: str) -> str:
    return svg.text(left + _SIDE / 2, _HEIGHT - 10, words, anchor="middle", dim=True)


def _beside(y_of: svg.Scale, left: float) -> list[str]:
    values, decimals = y_of.ticks(4)
    texts = [svg.tick_text(value, decimals) for value in values]
    return [
        svg.text(left - 6, y_of(value) + 4, text, anchor="end", size=10, dim=True)
        for value, text in zip(values, texts, strict=True)
    ]


def _below(x_of: svg.Scale) -> list[str]:
    values, decimals = x_of.ticks(3)
    return [
        svg.text(
            x_of(value),
            _TOP + _SIDE + 16,
            svg.tick_text(value, decimals),
            anchor="middle",
            size=10,
            dim=True,
        )
        for value in values
    ]
