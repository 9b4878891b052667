"""Described and drawn figures: how their courses close, their area, and what contradicts itself.

Latitudes and departures of a curve are those of its chord; its length is that of its arc. The area
is inside the courses, arcs included exactly as segments (common practice; tests/published/closures
names worked examples). A deed's coordinates begin at 0, 0 unless the job says where it begins.
"""

import numpy as np

from checker.checks.closing import column, compared, item, length_text, once, whole_measure
from checker.checks.figure_common import common_comparisons, common_tables, neighbour_tables
from checker.checks.figure_contradictions import area_contradiction
from checker.checks.figure_missing import alternatives, missing_words, solutions
from checker.checks.figure_run import NOISE_M, FigureRun, deed_run, drawn_runs
from checker.geometry.curves import segment_area
from checker.geometry.figure import Figure
from checker.geometry.plane import azimuth_rad, double_meridian_distances
from checker.model.arrays import BoolArray, FloatArray
from checker.model.inputs import Inputs
from checker.model.job import DescribedFigure, Job
from checker.model.measure import Column, Comparison, Item, Measure, Quantity
from checker.text import angle_words
from checker.units import LengthUnit

_SHOWN = 0.0005
"""A closing course that prints as nothing is not worth a sentence, in the job's unit."""


def measure_figure(section: DescribedFigure, inputs: Inputs, job: Job) -> Measure:
    """Return how a figure closes: one row a course, one verdict.

    Comparisons: misclosure (metres; n courses, length_m the perimeter), ratio (misclosure /
    perimeter), area (computed minus stated; length_m the stated area), and of common lines angular
    and distance. Of several figures on a layer the summary is the one that closes worst, and area
    and length are of all. Curve data or an area that contradict the courses by more than rounding
    explains leave the check undecided, each contradiction a remark; so do missing courses, whose
    solutions are offered and not used. Raises InputError for courses that cannot be followed and
    layers without lines.
    """
    remarks: list[str] = []
    contradictions: list[str] = []
    if section.file is None:
        runs = drawn_runs(section, inputs, job, remarks)
    else:
        runs = [deed_run(section, inputs, remarks, contradictions)]
    missing = bool(runs[0].missing)
    area = float(sum(run.figure.area_m2 for run in runs))
    length = float(sum(run.figure.perimeter_m for run in runs))
    worst = max(runs, key=lambda run: run.figure.misclosure_length_m)
    if missing:
        area = float("nan")
        if any(worst.courses[row].distance_m is None for row in worst.missing):
            length = float("nan")
    else:
        contradictions += area_contradiction(section, area, length, worst.figure)
    undecided = missing_words(worst) if missing else ""
    if contradictions:
        undecided = f"the description contradicts itself: {contradictions[0]}" + (
            f" (and {len(contradictions) - 1} more)" if len(contradictions) > 1 else ""
        )
    shared = common_tables(section, inputs, job, runs)
    return whole_measure(
        "figure",
        section,
        row_id=np.array([name for run in runs for name in run.names], dtype=object),
        columns=_columns(runs),
        summary=_summary(section, runs, worst, area, length),
        comparisons=(
            *_comparisons(worst, undecided if missing else ""),
            *compared(
                section.tolerance,
                [
                    _area_comparison(section, area, undecided if missing else ""),
                    *common_comparisons(shared),
                ],
                remarks,
            ),
        ),
        remarks=[
            *(f"{text[:1].upper()}{text[1:]}." for text in contradictions),
            *([] if missing else _sense(runs, section.unit)),
            *remarks,
        ],
        undecided=undecided,
        supplements=(
            *(solutions(worst) if missing else alternatives(runs)),
            *shared,
            *neighbour_tables(runs),
        ),
    )


# ---------------------------------------------------------------- what is handed on


def _sense(runs: list[FigureRun], unit: LengthUnit) -> list[str]:
    if len(runs) != 1:
        return []
    figure = runs[0].figure
    miss = figure.misclosure_length_m
    way = "counter-clockwise" if figure.counter_clockwise else "clockwise"
    says = [f"The courses run {way}."]
    if unit.from_metres(miss) >= _SHOWN:
        east, north = (-figure.misclosure_m).tolist()
        says.append(
            "A closing course from the end of the last to the point of beginning would run on "
            f"azimuth {angle_words(float(azimuth_rad(north, east)), 0)} for "
            f"{length_text(miss, unit, plus=False)}; it is not used. The area is inside it."
        )
    return says


def _columns(runs: list[FigureRun]) -> tuple[Column, ...]:
    def joined(parts: list[FloatArray]) -> FloatArray:
        return np.concatenate(parts)

    no_bearing, no_length, lost = (np.zeros(sum(len(run.names) for run in runs), bool),) * 3
    if runs[0].missing:
        courses = runs[0].courses
        straight = np.array([course.turn is None for course in courses])
        no_bearing = straight & np.array([course.azimuth_rad is None for course in courses])
        no_length = straight & np.array([course.distance_m is None for course in courses])
        lost = np.logical_or.accumulate(no_bearing | no_length)
    either = no_bearing | no_length

    def known(values: FloatArray, unknown: BoolArray) -> FloatArray:
        return np.where(unknown, np.nan, values)

    steps = [np.diff(run.figure.xy_m, axis=0) for run in runs]
    step = joined(steps)
    end = joined([run.figure.xy_m[1:] for run in runs])
    curved = joined([run.figure.bulge for run in runs]) != 0.0
    chord = joined([run.figure.chord_m for run in runs])
    length = joined([run.figure.length_m for run in runs])
    delta = 4.0 * np.arctan(np.abs(joined([run.figure.bulge for run in runs])))
    with np.errstate(invalid="ignore", divide="ignore"):
        radius = np.where(curved, length / delta, np.nan)
    turn = joined([-np.sign(run.figure.bulge) for run in runs])
    kind = np.where(curved, np.where(turn > 0, "curve right", "curve left"), "line").astype(object)
    breaks = joined([run.figure.break_rad for run in runs])
    touching = joined([run.figure.tangent.astype(np.float64) for run in runs]) > 0.0
    tangent = np.where(curved & np.isfinite(breaks), np.where(touching, "yes", "no"), "")
    distance, angle = Quantity.DISTANCE, Quantity.ANGLE
    nothing = np.where(curved, 0.0, np.nan)
    bearing = azimuth_rad(step[:, 1], step[:, 0])
    breaks = known(breaks, no_bearing | np.concatenate(([False], no_bearing[:-1])))
    return (
        column("kind", "Course", Quantity.TEXT, kind),
        column("azimuth", "Azimuth (of the chord)", angle, known(bearing, no_bearing)),
        column("distance", "Length (of the arc)", distance, known(length, no_length)),
        column("latitude", "Latitude", distance, known(step[:, 1], either)),
        column("departure", "Departure", distance, known(step[:, 0], either)),
        column("n", "Northing", Quantity.COORDINATE, known(end[:, 1], lost)),
        column("e", "Easting", Quantity.COORDINATE, known(end[:, 0], lost)),
        column("radius", "Radius", distance, radius),
        column("delta", "Central angle", angle, delta + nothing),
        column("chord", "Chord", distance, chord + nothing),
        column("tangent", "Tangent", Quantity.TEXT, tangent.astype(object)),
        column("break", "Break to the course before", angle, breaks, detail=True),
        column(
            "dmd",
            "Double meridian distance",
            distance,
            known(joined([double_meridian_distances(s[:, 0]) for s in steps]), lost),
            detail=True,
        ),
        column(
            "segment_area",
            "Segment between arc and chord",
            Quantity.AREA,
            np.where(curved, segment_area(radius, delta), np.nan),
            detail=True,
        ),
    )


def _summary(
    section: DescribedFigure, runs: list[FigureRun], worst: FigureRun, area: float, length: float
) -> tuple[Item, ...]:
    figure = worst.figure
    miss = figure.misclosure_length_m
    east, north = figure.misclosure_m.tolist()
    noise = not miss > NOISE_M
    stated = section.area_m2
    if worst.missing:
        miss = east = north = float("nan")
        noise = True
    curves = sum(int(np.count_nonzero(run.figure.bulge)) for run in runs)
    segments = float(
        sum(run.figure.area_m2 for run in runs) - sum(_chord_area(run.figure) for run in runs)
    )
    small = Quantity.LENGTH
    return (
        item("courses", "Courses", Quantity.COUNT, sum(len(run.courses) for run in runs)),
        item("curves", "Curves", Quantity.COUNT, curves),
        item("misclosure_n", "Misclosure in northing", small, north),
        item("misclosure_e", "Misclosure in easting", small, east),
        item("misclosure", "Misclosure", small, miss),
        item(
            "misclosure_azimuth",
            "Azimuth of the misclosure",
            Quantity.ANGLE,
            float("nan") if noise else float(azimuth_rad(north, east)),
        ),
        item("length", "Perimeter", Quantity.DISTANCE, length),
        item(
            "ratio",
            "Closure ratio",
            Quantity.RATIO,
            float("nan") if noise else figure.perimeter_m / miss,
        ),
        item("area", "Area", Quantity.AREA, area),
        item(
            "area_segments",
            "of which segments of curves",
            Quantity.AREA,
            None if worst.missing else segments,
        ),
        item("area_stated", "Area stated", Quantity.AREA, stated),
        item(
            "area_difference",
            "Area minus stated",
            Quantity.AREA,
            None if stated is None else area - stated,
        ),
    )


def _chord_area(figure: Figure) -> float:
    """Area inside the chords alone."""
    east, north = (figure.xy_m - figure.xy_m[0]).T
    signed = float(np.sum(east[:-1] * north[1:] - east[1:] * north[:-1]) / 2.0)
    return signed if figure.counter_clockwise else -signed


def _comparisons(worst: FigureRun, missing: str) -> tuple[Comparison, ...]:
    """Return how the figure closes; missing: why one with missing courses does not say."""
    figure, courses = worst.figure, len(worst.courses)
    miss, length = figure.misclosure_length_m, figure.perimeter_m
    if missing:
        miss = float("nan")
    return (
        once("misclosure", "Misclosure", miss, n=courses, length_m=length, absent=missing),
        once("ratio", "Closure ratio", miss / length, n=courses, length_m=length, absent=missing),
    )


def _area_comparison(section: DescribedFigure, area: float, missing: str) -> Comparison:
    stated = section.area_m2
    return once(
        "area",
        "Area minus stated",
        float("nan") if stated is None else area - stated,
        length_m=stated,
        absent=missing or ("" if stated is not None else "no area is stated"),
    )
