"""Figures against each other: courses that they share, and how drawn ones lie together."""

from dataclasses import dataclass

import numpy as np

from checker.checks.closing import column, once, refuse
from checker.checks.figure_run import FigureRun, deed_run
from checker.errors import Where
from checker.geometry.plane import wrap_signed
from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs
from checker.model.job import CommonLine, DescribedFigure, Job
from checker.model.measure import Comparison, Quantity, Supplement

_NEAR_M = 0.5
"""A corner so near to another figure was meant to stand on it (our choice, no source)."""
_ON_M = 1e-3
"""A corner that is no further off stands on it."""
_CHORD_M = 1e-4
"""Arcs are followed by chords that leave them by no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shared:
    """One common line: this figure's course against the other's, turned to run the same way.

    azimuth_rad, length_m, radius_m: this minus other. start_m, end_m: how far the other's ends lie
    outside of this figure, + gap, - overlap; NaN where the two are not in one place.
    """

    name: str
    azimuth_rad: float
    length_m: float
    radius_m: float
    start_m: float
    end_m: float


def _run_of(section: DescribedFigure, inputs: Inputs) -> FigureRun:
    return deed_run(section, inputs, [], [])


def _row(section: DescribedFigure, run: FigureRun, name: str, where: Where) -> int:
    if name not in run.names:
        refuse(
            "unknown-course",
            where,
            f'common names the course "{name}", and "{section.name}" has none of that name',
            f"its courses are {', '.join(run.names[:12])}",
        )
    return run.names.index(name)


def common_tables(
    section: DescribedFigure, inputs: Inputs, job: Job, runs: list[FigureRun]
) -> tuple[Supplement, ...]:
    """Return the common lines of a figure; () where none is named."""
    if not section.common:
        return ()
    described = {
        each.name: each
        for each in job.checks
        if isinstance(each, DescribedFigure) and each.file is not None
    }
    found = []
    for line in section.common:
        other = described.get(line.figure)
        if other is None or other.name == section.name:
            refuse(
                "unknown-section-name",
                section.where,
                f'common names the figure "{line.figure}", and no other [[figure]] with a file has '
                "that name",
                f"their names are {', '.join(n for n in described if n != section.name) or 'none'}",
            )
        placed = section.start is not None and other.start is not None
        found.append(_shared(section, runs[0], other, _run_of(other, inputs), line, placed=placed))
    length = Quantity.LENGTH
    return (
        Supplement(
            key="common_lines",
            title="Common lines",
            head="Course",
            id=np.array([each.name for each in found], dtype=object),
            columns=(
                column(
                    "d_azimuth_arcsec",
                    "Difference of bearing",
                    Quantity.SMALL_ANGLE,
                    _of(found, "azimuth_rad"),
                ),
                column("d_length", "Difference of length", length, _of(found, "length_m")),
                column("d_radius", "Difference of radius", length, _of(found, "radius_m")),
                column("gap_start", "Gap at its start", length, _of(found, "start_m")),
                column("gap_end", "Gap at its end", length, _of(found, "end_m")),
            ),
            note="This figure minus the other one, both run the same way. A gap is positive, an "
            "overlap negative; they are known where both figures have a start.",
        ),
    )


def _of(found: list[_Shared], key: str) -> FloatArray:
    return np.array([getattr(each, key) for each in found], dtype=np.float64)


def _shared(
    section: DescribedFigure,
    run: FigureRun,
    other: DescribedFigure,
    other_run: FigureRun,
    line: CommonLine,
    *,
    placed: bool,
) -> _Shared:
    mine = _row(section, run, line.course, section.where)
    its = _row(other, other_run, line.other, section.where)
    a, b = run.figure, other_run.figure
    step = a.xy_m[mine + 1] - a.xy_m[mine]
    its_ends = b.xy_m[[its, its + 1]]
    its_step = its_ends[1] - its_ends[0]
    reverse = float(step @ its_step) < 0.0
    if reverse:
        its_step, its_ends = -its_step, its_ends[::-1]
    azimuth = float(wrap_signed(np.arctan2(*step) - np.arctan2(*its_step)))
    unknown = mine in run.missing or its in other_run.missing
    lost = run.missing or other_run.missing
    ends = (float("nan"), float("nan"))
    if placed and not lost:
        # Right of the course is outside where the figure is run counter-clockwise.
        east, north = step / np.hypot(*step)
        outward = np.array([north, -east]) * (1.0 if a.counter_clockwise else -1.0)
        off = (its_ends - a.xy_m[[mine, mine + 1]]) @ outward
        ends = (float(off[0]), float(off[1]))
    return _Shared(
        name=f"{line.course} = {other.name} {line.other}",
        azimuth_rad=float("nan") if unknown else azimuth,
        length_m=float("nan") if unknown else float(a.length_m[mine] - b.length_m[its]),
        radius_m=_radius(run, mine) - _radius(other_run, its),
        start_m=ends[0],
        end_m=ends[1],
    )


def _radius(run: FigureRun, row: int) -> float:
    bulge = float(run.figure.bulge[row])
    if bulge == 0.0:
        return float("nan")
    return float(run.figure.length_m[row] / (4.0 * np.arctan(abs(bulge))))


def common_comparisons(shared: tuple[Supplement, ...]) -> tuple[Comparison, ...]:
    """Return the largest differences of the common lines, for tolerances that limit them."""
    absent = "" if shared else "no common line is named"
    values = {}
    for limit, keys in (
        ("angular", ("d_azimuth_arcsec",)),
        ("distance", ("d_length", "d_radius", "gap_start", "gap_end")),
    ):
        found = [
            column.values.astype(np.float64)
            for each in shared
            for column in each.columns
            if column.key in keys
        ]
        every = np.abs(np.concatenate(found)) if found else np.empty(0)
        every = every[np.isfinite(every)]
        values[limit] = float(every.max()) if every.size else float("nan")
    unknown = "a common line has no bearing or no length" if shared else absent
    return (
        once(
            "angular",
            "Bearing of a common line",
            values["angular"],
            n=1.0,
            absent=unknown if np.isnan(values["angular"]) else "",
        ),
        once(
            "distance",
            "Common line",
            values["distance"],
            length_m=0.0,
            absent=unknown if np.isnan(values["distance"]) else "",
        ),
    )


# ---------------------------------------------------------------- drawn figures side by side


def neighbour_tables(runs: list[FigureRun]) -> tuple[Supplement, ...]:
    """Return where figures of one layer overlap, or nearly but not quite meet; () where neither."""
    if len(runs) < 2:
        return ()
    from shapely import STRtree
    from shapely.geometry import Point, Polygon

    outlines = [_outline(run) for run in runs]
    shapes = [Polygon(outline).buffer(0) for outline in outlines]
    tree = STRtree(shapes)
    pairs = tree.query(shapes, predicate="dwithin", distance=_NEAR_M).T
    names, apart, overlap = [], [], []
    for i, j in sorted((int(a), int(b)) for a, b in pairs if a != b):
        shared = float(shapes[i].intersection(shapes[j]).area) if i < j else 0.0
        if shared > _ON_M**2 * 1e3:
            names.append(f"{runs[i].label} and {runs[j].label}")
            apart.append(float("nan"))
            overlap.append(shared)
        edge = shapes[j].exterior if hasattr(shapes[j], "exterior") else shapes[j].boundary
        for row, corner in enumerate(runs[i].figure.xy_m[:-1]):
            point = Point(corner)
            gap = float(edge.distance(point))
            if _ON_M < gap <= _NEAR_M:
                before = runs[i].names[row - 1]
                names.append(f"{runs[i].label}, corner behind {before}, and {runs[j].label}")
                apart.append(-gap if shapes[j].contains(point) else gap)
                overlap.append(float("nan"))
    if not names:
        return ()
    return (
        Supplement(
            key="neighbours",
            title="Where figures do not fit together",
            head="Figures",
            id=np.array(names, dtype=object),
            columns=(
                column("gap", "Gap", Quantity.LENGTH, np.array(apart)),
                column("overlap", "Area of overlap", Quantity.AREA, np.array(overlap)),
            ),
            note="A corner within half a metre of another figure that does not stand on it: a gap "
            "is positive, an overlap negative. Nothing is judged by it.",
        ),
    )


def _outline(run: FigureRun) -> FloatArray:
    """Return the corners of a figure, arcs followed by chords; shape (points, 2)."""
    figure = run.figure
    parts = []
    for row in range(len(run.names)):
        start, end = figure.xy_m[row], figure.xy_m[row + 1]
        bulge = float(figure.bulge[row])
        parts.append(start[None])
        if bulge == 0.0:
            continue
        delta = 4.0 * np.arctan(bulge)
        chord = end - start
        radius = np.hypot(*chord) / (2.0 * np.sin(abs(delta) / 2.0))
        largest = 2.0 * np.arccos(max(1.0 - _CHORD_M / radius, 0.0))
        count = max(2, int(np.ceil(abs(delta) / largest)))
        # The centre is left of the chord for a left turn of less than half a circle.
        middle = (start + end) / 2.0
        left = np.array([-chord[1], chord[0]]) / np.hypot(*chord)
        centre = middle + left * (np.hypot(*chord) / (2.0 * np.tan(delta / 2.0)))
        ray = start - centre
        angle = delta * np.arange(1, count) / count
        cosine, sine = np.cos(angle), np.sin(angle)
        parts.append(
            centre
            + np.column_stack((ray[0] * cosine - ray[1] * sine, ray[0] * sine + ray[1] * cosine))
        )
    return np.vstack(parts)
