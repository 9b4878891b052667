"""Runs of pipe in profile: as-measured inverts against the design's, heights drawn larger."""

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.finding import Verdict
from checker.report import svg
from checker.report.rows import Rows
from checker.report.show import THIN, minus
from checker.text import fixed

_PIPES = 60


def profile(rows: Rows, figure_id: str) -> svg.Figure | None:
    """Return the profile of the pipes one behind the other, or None where none was measured."""
    what = rows.texts("what")
    length = rows.lengths("length")
    upper, lower = rows.lengths("invert_upper"), rows.lengths("invert_lower")
    take = [
        row
        for row in range(len(rows))
        if what[row] == "pipe" and np.isfinite([length[row], upper[row], lower[row]]).all()
    ]
    if not take or len(take) > _PIPES:
        return None
    design = np.column_stack((rows.lengths("design_upper"), rows.lengths("design_lower")))
    ends = np.concatenate([[0.0], np.cumsum(length[take])])
    width, left, right, top, base = 1000.0, 70.0, 980.0, 34.0, 250.0
    every = np.concatenate((upper[take], lower[take], design[take].ravel()))
    every = every[np.isfinite(every)]
    margin = max(float(np.ptp(every)) * 0.12, 0.05)
    x_of = svg.Scale(low=0.0, high=max(float(ends[-1]), 1e-9), start=left, end=right)
    y_of = svg.Scale(
        low=float(every.min()) - margin, high=float(every.max()) + margin, start=base, end=top
    )
    parts = _axes(rows, x_of, y_of, left, right, base, top)
    grade = rows.lengths("grade_measured")
    failing = _failing(rows)
    for place, row in enumerate(take):
        x1, x2 = x_of(float(ends[place])), x_of(float(ends[place + 1]))
        parts += _pipe(x1, x2, y_of, design[row], np.array([upper[row], lower[row]]))
        text = f"{minus(fixed(float(grade[row]), 2))}{THIN}%"
        middle = y_of((float(upper[row]) + float(lower[row])) / 2) - 9
        parts.append(
            svg.text(
                (x1 + x2) / 2, middle, text, anchor="middle", bold=bool(failing[row]), halo=True
            )
        )
        if failing[row]:
            parts.append(svg.at((x1 + x2) / 2, middle - 18, svg.mark("outside", 4.6)))
        parts.append(
            svg.text((x1 + x2) / 2, base + 32, str(rows.ids[row]), anchor="middle", size=10.5)
        )
    bad = int(sum(bool(failing[row]) for row in take))
    title = (
        f"{bad} of {len(take)} pipes {'is' if bad == 1 else 'are'} past a limit"
        if bad
        else f"{len(take)} {'pipe' if len(take) == 1 else 'pipes'}, none past a limit"
    )
    return svg.figure(
        figure_id,
        (width, 300),
        parts,
        title=title,
        caption=(
            "Solid lines join the as-measured inverts, dashed lines the design's; pipes follow "
            "each other as the job lists them. Heights are drawn larger than lengths."
        ),
        name="Pipes in profile",
        description=title,
        classes=("wide",),
        wide=True,
    )


def _failing(rows: Rows) -> list[bool]:
    verdicts = rows.finding.row_verdict.tolist()
    return [code == Verdict.OUTSIDE for code in verdicts]


def _axes(
    rows: Rows,
    x_of: svg.Scale,
    y_of: svg.Scale,
    left: float,
    right: float,
    base: float,
    top: float,
) -> list[str]:
    """Return the grid with its numbers."""
    unit = rows.outside.unit.short
    parts = svg.height_rules(y_of, left, right, 5)
    values, decimals = x_of.ticks(8)
    for value in values:
        label = svg.tick_text(value, decimals)
        parts.append(svg.text(x_of(value), base + 16, label, anchor="middle", size=10.5, dim=True))
    parts += [
        svg.line(left, base, right, base),
        svg.text(
            left - 60, top - 16, f"invert ({unit}), over length downstream ({unit})", dim=True
        ),
    ]
    return parts


def _pipe(
    x1: float, x2: float, y_of: svg.Scale, design: FloatArray, measured: FloatArray
) -> list[str]:
    """Return one pipe: its design dashed, what was measured solid with its ends."""
    parts = []
    if np.isfinite(design).all():
        parts.append(
            svg.line(
                x1,
                y_of(float(design[0])),
                x2,
                y_of(float(design[1])),
                "drawn",
                width=1.6,
                more='stroke-dasharray="6 4"',
            )
        )
    y1, y2 = y_of(float(measured[0])), y_of(float(measured[1]))
    parts.append(svg.line(x1, y1, x2, y2, width=2.4))
    for x, y in ((x1, y1), (x2, y2)):
        parts.append(svg.line(x, y - 5, x, y + 5, width=1.6))
    return parts
