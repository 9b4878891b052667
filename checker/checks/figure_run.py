"""Figures run through: from the courses of a deed, or from what is drawn."""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.chains import Chain, join_figures
from checker.checks.closing import find_control, length_text, refuse
from checker.checks.course import figures_on
from checker.checks.figure_contradictions import (
    TANGENT_RAD,
    curve_contradictions,
    tangent_contradiction,
)
from checker.errors import InputError, Problem, Where
from checker.geometry.figure import Course, Figure, FigureError, run_figure
from checker.geometry.plane import azimuth_rad
from checker.model.books import FigureBook
from checker.model.inputs import Inputs
from checker.model.job import DescribedFigure, Job

NOISE_M = 1e-9
"""A misclosure below a nanometre is binary rounding: it has no ratio and no direction."""
_LISTED = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureRun:
    """One figure run through: its courses as described, and what came of them.

    missing: rows of straight courses without bearing or distance; the figure is then run with a
    course due north, a metre long, in their place, and nothing behind the first of them holds.
    """

    label: str
    names: tuple[str, ...]
    courses: tuple[Course, ...]
    figure: Figure
    missing: tuple[int, ...] = ()


def start_xy(section: DescribedFigure, inputs: Inputs) -> tuple[float, float]:
    """Return easting and northing of the point of beginning; 0, 0 where none is stated."""
    start = section.start
    if start is None:
        return 0.0, 0.0
    if not isinstance(start, str):
        return start.easting_m, start.northing_m
    index = find_control(inputs, start, "start", section.where)
    assert inputs.control is not None  # noqa: S101  (find_control refused it)
    return float(inputs.control.easting_m[index]), float(inputs.control.northing_m[index])


def book_of(section: DescribedFigure, inputs: Inputs) -> FigureBook:
    """Return the book of a described figure."""
    book = inputs.books[section.name]
    if not isinstance(book, FigureBook):
        raise TypeError(section.name)
    return book


def deed_run(
    section: DescribedFigure,
    inputs: Inputs,
    remarks: list[str],
    contradictions: list[str],
) -> FigureRun:
    """Return a described figure; remarks and contradictions take what must be said of it."""
    book = book_of(section, inputs)
    courses = tuple(_course(book, row) for row in range(len(book)))
    names = tuple(str(name) for name in book.course)
    missing = tuple(
        row
        for row, course in enumerate(courses)
        if course.turn is None and (course.azimuth_rad is None or course.distance_m is None)
    )
    _refuse_hanging(book, courses)
    figure = _figure_of(
        book, tuple(_stand_in(course) for course in courses), start_xy(section, inputs)
    )
    if book.whole_circle:
        remarks.append("The directions have no letters and were taken as azimuths from north.")
    if book.chord_from_bearing:
        which = ", ".join(names[row] for row in book.chord_from_bearing[:_LISTED])
        remarks.append(f"Curve {which}: the one direction given was taken as that of the chord.")
    for row, course in enumerate(courses):
        if course.turn is None:
            continue
        contradictions += curve_contradictions(section, book, row, names[row], course)
        contradictions += tangent_contradiction(book, row, names[row], course, figure)
        stated = (course.arc_m, course.delta_rad, course.chord_m)
        if stated[0] is None and stated[1] is None:
            remarks.append(
                f"Curve {names[row]}: a radius and a chord fit two arcs; the shorter was taken."
            )
    return FigureRun(
        label=section.name, names=names, courses=courses, figure=figure, missing=missing
    )


def _figure_of(book: FigureBook, courses: tuple[Course, ...], start: tuple[float, float]) -> Figure:
    try:
        return run_figure(courses, start, tangent_rad=TANGENT_RAD)
    except FigureError as fault:
        refuse(
            "bad-course",
            Where(file=book.path, line=int(book.line[fault.course - 1])),
            str(fault),
            fault.hint or "check the numbers of this course against the deed",
        )


def _stand_in(course: Course) -> Course:
    """Return a course with what is missing of it filled in, so that the others can be run."""
    if course.turn is not None:
        return course
    return replace(
        course,
        azimuth_rad=0.0 if course.azimuth_rad is None else course.azimuth_rad,
        distance_m=1.0 if course.distance_m is None else course.distance_m,
    )


def _refuse_hanging(book: FigureBook, courses: tuple[Course, ...]) -> None:
    """Refuse a curve that is only said to be tangent to a course whose bearing is missing."""
    for row, course in enumerate(courses[1:], start=1):
        before = courses[row - 1]
        directed = course.chord_azimuth_rad is not None or course.radial_azimuth_rad is not None
        if course.tangent and not directed and before.turn is None and before.azimuth_rad is None:
            refuse(
                "missing-value",
                Where(file=book.path, line=int(book.line[row])),
                "this curve is tangent to a course whose bearing is missing",
                "give the bearing of its chord, or the bearing of the course before",
            )


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _course(book: FigureBook, row: int) -> Course:
    turn = int(book.turn[row])
    if turn == 0:
        return Course(
            azimuth_rad=_known(book.azimuth_rad[row]), distance_m=_known(book.distance_m[row])
        )
    return Course(
        turn=turn,
        radius_m=_known(book.radius_m[row]),
        arc_m=_known(book.arc_m[row]),
        delta_rad=_known(book.delta_rad[row]),
        chord_m=_known(book.chord_m[row]),
        chord_azimuth_rad=_known(book.chord_azimuth_rad[row]),
        radial_azimuth_rad=_known(book.radial_azimuth_rad[row]),
        tangent=book.tangent[row] == "yes",
        # False where one of the three is not stated, for NaN is never less
        delta_leads=bool(book.delta_step_rad[row] * book.radius_m[row] < book.arc_step_m[row]),
    )


def drawn_runs(
    section: DescribedFigure, inputs: Inputs, job: Job, remarks: list[str]
) -> list[FigureRun]:
    """Return the figures drawn on the section's layers; remarks takes what must be said of them."""
    figures = figures_on(inputs, section.layers, section.where, f'figure "{section.name}"')
    joined = join_figures(figures)
    problems = [
        Problem(
            slug="figure-branch",
            where=section.where,
            message="more than two lines meet in one place on the layer "
            f"{', '.join(section.layers)}: {len(joined.branches)} such places",
            hint="leave on the layer only the lines around the figure",
        )
        for _ in joined.branches[:1]
    ]
    if problems:
        raise InputError(problems)
    if not joined.chains:
        refuse(
            "figure-empty",
            section.where,
            f"no line on {', '.join(section.layers)} has a length",
            "look at what is drawn there",
        )
    if any(not figure.exact for figure in figures):
        remarks.append(
            "Ellipses, splines or tilted arcs were followed by chords: length and area are that "
            "much short of exact."
        )
    if job.reference.ground is not None:
        remarks.append("Lengths and area are those of the drawing, on ground.")
    many = len(joined.chains) > 1
    runs = []
    for number, chain in enumerate(joined.chains, start=1):
        courses = _courses_of(chain)
        first = chain.xyz_m[0, :2]
        prefix = f"{number}." if many else ""
        runs.append(
            FigureRun(
                label=chain.name,
                names=tuple(f"{prefix}{index}" for index in range(1, len(courses) + 1)),
                courses=courses,
                figure=run_figure(
                    courses, (float(first[0]), float(first[1])), tangent_rad=TANGENT_RAD
                ),
            )
        )
        if not chain.closed:
            gap = runs[-1].figure.misclosure_length_m
            remarks.append(
                f"{chain.name} is not drawn closed: from its last point to its first are "
                f"{length_text(gap, section.unit, plus=False)}, shown as its misclosure."
            )
    if many:
        remarks.append(
            f"{len(runs)} figures on the layer: length and area are of all of them, the "
            "misclosure is that of the one that closes worst."
        )
    return runs


def _courses_of(chain: Chain) -> tuple[Course, ...]:
    """Return the courses of a drawn line, arcs from their bulges."""
    xy = chain.xyz_m[:, :2]
    if chain.closed:
        xy = np.vstack((xy, xy[:1]))
    step = np.diff(xy, axis=0)
    bulge = chain.bulge[: len(step)]
    courses = []
    for (east, north), bow in zip(step.tolist(), bulge.tolist(), strict=True):
        chord = float(np.hypot(east, north))
        azimuth = float(azimuth_rad(north, east))
        if chord <= NOISE_M:
            continue
        if bow == 0.0:
            courses.append(Course(azimuth_rad=azimuth, distance_m=chord))
            continue
        delta = 4.0 * float(np.arctan(abs(bow)))
        courses.append(
            Course(
                turn=-1 if bow > 0.0 else 1,
                radius_m=chord / (2.0 * float(np.sin(delta / 2.0))),
                delta_rad=delta,
                chord_azimuth_rad=azimuth,
            )
        )
    return tuple(courses)
