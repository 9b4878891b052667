"""The target: every shot's plan offset as a share of its own tolerance."""

import numpy as np

from checker.model.finding import Verdict
from checker.report import svg
from checker.report.rows import Rows
from checker.text import fixed

_SIZE, _RADIUS, _RIM = 340.0, 108.0, 1.36
_LABELS = 8
_ALL = 200
"""More marks than this are thinned: one stands for those that it hides."""
_WITHIN = svg.KINDS.index("within")
_ATTENTION = svg.KINDS.index("unchecked")


def target(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return the target of a check with a horizontal limit, or None."""
    limit = rows.limit("horizontal")
    right, up = rows.lengths("de") / limit, rows.lengths("dn") / limit
    take = np.flatnonzero(np.isfinite(right) & np.isfinite(up) & rows.counted)
    judgement = rows.judgement("horizontal")
    if not len(take) or judgement is None:
        return None
    right, up = right[take], up[take]
    size = np.hypot(right, up)
    beyond = (size > 1.0) & (judgement.verdict[take] != Verdict.WITHIN)
    proven = beyond & (judgement.verdict[take] == Verdict.OUTSIDE)
    shrink = np.where(size > _RIM, _RIM / np.maximum(size, _RIM), 1.0)
    cx, cy = _SIZE / 2, _SIZE / 2 - 6
    x, y = cx + right * shrink * _RADIUS, cy - up * shrink * _RADIUS
    # a name on the rim there must not cross the word
    crowded = beyond & (x > cx + _RADIUS) & (y > cy - 20) & (y < cy + 8)
    east = 16 if crowded.any() else -5
    kind = rows.kind[take]
    plain = kind == _WITHIN
    parts = [
        svg.disc(cx, cy, _RADIUS, "limit"),
        svg.disc(cx, cy, _RADIUS / 2, "ring"),
        svg.path(f"M{cx - 150} {cy}H{cx + 150}M{cx} {cy - 150}V{cy + 150}", "rule"),
        svg.text(cx, cy - 153, "north", anchor="middle", size=10.5, dim=True),
        svg.text(cx + 150, cy + east, "east", anchor="end", size=10.5, dim=True),
        svg.text(cx + 82, cy + 92, "tolerance", size=10.5, dim=True),
        svg.text(cx + 5, cy + _RADIUS / 2 + 12, "half", size=10.5, dim=True),
        _dots(x[plain], y[plain]),
    ]
    order = np.lexsort((size, -kind))
    for index in _on_top(order[~plain[order]], x, y, kind).tolist():
        name = f"{rows.ids[take[index]]}: {fixed(float(size[index]), 2)} of the tolerance"
        glyph = svg.mark(svg.KINDS[int(kind[index])], 4.6)
        parts.append(svg.at(float(x[index]), float(y[index]), glyph, name))
    mean_x, mean_y = cx + float(right.mean()) * _RADIUS, cy - float(up.mean()) * _RADIUS
    if len(take) > 2 and np.hypot(right.mean(), up.mean()) < _RIM:
        parts.append(svg.path(f"M{mean_x - 7:.1f} {mean_y:.1f}h14m-7 -7v14", width=2))
        parts.append(svg.path("M10 330h14m-7 -7v14", width=2))
        parts.append(svg.text(30, 334, "mean of all", size=10.5, dim=True))
    worst = np.flatnonzero(beyond)
    worst = worst[np.argsort(-size[worst], kind="stable")][:_LABELS]
    taken: list[tuple[float, float]] = []
    for index in worst.tolist():
        far = fixed(float(size[index]), 1)
        label = f"{rows.ids[take[index]]} {far}×" if far != "1.0" else str(rows.ids[take[index]])
        left = float(x[index]) > cx + 60
        place = (float(x[index]) + (-9 if left else 9), float(y[index]) + 4)
        if all(abs(place[0] - a) > 70 or abs(place[1] - b) > 12 for a, b in taken):
            taken.append(place)
            parts.append(
                svg.text(*place, label, anchor="end" if left else "start", bold=True, halo=True)
            )
    count = int(np.count_nonzero(beyond))
    return svg.figure(
        figure_id,
        (_SIZE, _SIZE),
        parts,
        title=_title(count, int(np.count_nonzero(proven)), len(take)),
        caption=(
            "Each plan offset divided by its own tolerance, north up; the circle is the limit. "
            "What lies beyond the rim stands on it with its true multiple. A mean away from the "
            "centre means a common shift."
        ),
        name="Plan offsets on a target",
        description=f"{len(take)} shots, {count} beyond the limit.",
    )


def _title(count: int, proven: int, total: int) -> str:
    if not count:
        return f"None of {total:,} shots lies beyond its circle"
    title = f"{count:,} of {total:,} shots {'lies' if count == 1 else 'lie'} beyond the circle"
    doubtful = count - proven
    return f"{title}, {doubtful:,} of them undecided" if doubtful else title


def _on_top(
    order: svg.IntArray, x: svg.FloatArray, y: svg.FloatArray, kind: svg.IntArray
) -> svg.IntArray:
    """Return marks without those that a later one of their kind hides; a few keep all."""
    if len(order) <= _ALL:
        return order
    places = np.stack([kind[order], np.rint(x[order] / 5.0), np.rint(y[order] / 5.0)], axis=1)
    _, last = np.unique(places[::-1], axis=0, return_index=True)
    return order[np.sort(len(order) - 1 - last)]


def _dots(x: svg.FloatArray, y: svg.FloatArray) -> str:
    """Return the dots of those within, one for each place that can be told apart."""
    if not len(x):
        return ""
    places = np.unique(np.rint(np.stack([x, y], axis=1) / 1.5) * 1.5, axis=0)
    if len(x) <= 500:
        return svg.dots(x, y, 2.6)
    return svg.dots(places[:, 0], places[:, 1], 1.8)
