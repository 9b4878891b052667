"""Courses of a described figure that are missing, or that alone would have to be other: offers.

Nothing of it is used: what closes a figure by itself cannot prove it.
"""

from dataclasses import replace

import numpy as np

from checker.checks.closing import column
from checker.checks.figure_contradictions import TANGENT_RAD
from checker.checks.figure_run import FigureRun
from checker.geometry.figure import Course, run_figure
from checker.geometry.missing import Unknown, solve_missing, what_each_would_be
from checker.geometry.plane import wrap_signed
from checker.model.measure import Quantity, Supplement

WORTH = 1.0 / 5000.0
"""A figure that closes better than this needs no other course (our choice, no source)."""
_MOST = 8


def _lacks(course: Course) -> str:
    lacking = [
        what
        for what, value in (("bearing", course.azimuth_rad), ("distance", course.distance_m))
        if value is None
    ]
    return " and ".join(f"no {what}" for what in lacking)


def missing_words(run: FigureRun) -> str:
    """Return why a figure with missing courses is not decided."""
    said = "; ".join(
        f"course {run.names[row]} has {_lacks(run.courses[row])}" for row in run.missing
    )
    return f"{said}: what closes the figure by itself proves nothing"


def solutions(run: FigureRun) -> tuple[Supplement, ...]:
    """Return what the missing courses would have to be; one row a course of every solution."""
    step = np.diff(run.figure.xy_m, axis=0)
    known = np.ones(len(run.courses), dtype=np.bool_)
    known[list(run.missing)] = False
    east, north = (-np.sum(step[known], axis=0)).tolist()
    unknown = [
        Unknown(azimuth_rad=run.courses[row].azimuth_rad, distance_m=run.courses[row].distance_m)
        for row in run.missing
    ]
    found = solve_missing((north, east), unknown)
    names, number, azimuth, distance, left, area = [], [], [], [], [], []
    for index, each in enumerate(found, 1):
        courses = list(run.courses)
        for row, (direction, length) in zip(run.missing, each.courses, strict=True):
            courses[row] = replace(courses[row], azimuth_rad=direction, distance_m=length)
        figure = run_figure(courses, tangent_rad=TANGENT_RAD)
        for row, (direction, length) in zip(run.missing, each.courses, strict=True):
            names.append(run.names[row])
            number.append(float(index))
            azimuth.append(direction)
            distance.append(length)
            left.append(each.left_m)
            area.append(figure.area_m2)
    note = "Offered, not used: the figure is not proven by what closes it."
    if not found:
        note = "No course of the missing ones closes the figure: a known one is wrong too."
    elif len(found) > 1:
        note = f"{len(found)} figures close; the ground tells which one is right. {note}"
    return (
        Supplement(
            key="missing_courses",
            title="What the missing courses would have to be",
            head="Course",
            id=np.array(names, dtype=object),
            columns=(
                column("solution", "Solution", Quantity.COUNT, np.array(number)),
                column("azimuth", "Azimuth", Quantity.ANGLE, np.array(azimuth)),
                column("distance", "Distance", Quantity.DISTANCE, np.array(distance)),
                column("left", "Misclosure left", Quantity.LENGTH, np.array(left)),
                column("area", "Area", Quantity.AREA, np.array(area)),
            ),
            note=note,
        ),
    )


def alternatives(runs: list[FigureRun]) -> tuple[Supplement, ...]:
    """Return what each straight course would have to be to close the figure by itself.

    Only for one figure that closes worse than `WORTH`: one course is then likely to be misread.
    """
    if len(runs) != 1:
        return ()
    run = runs[0]
    figure = run.figure
    if not figure.misclosure_length_m > WORTH * figure.perimeter_m:
        return ()
    # A course with a curve hanging tangent on it would turn what follows: its bearing is left out.
    hangs = [
        course.tangent and course.chord_azimuth_rad is None and course.radial_azimuth_rad is None
        for course in run.courses
    ]
    straight = np.array([course.turn is None for course in run.courses])
    rows = np.flatnonzero(straight)
    if not rows.size:
        return ()
    turns = np.array([*hangs[1:], False])[rows]
    azimuth, length = figure.azimuth_in_rad[rows], figure.length_m[rows]
    east, north = figure.misclosure_m.tolist()
    would = what_each_would_be(azimuth, length, (north, east))
    bearing_left = np.where(turns, np.nan, would["left_bearing_m"])
    least = np.fmin(would["left_length_m"], bearing_left)
    order = np.argsort(least, kind="stable")[:_MOST]
    rows = rows[order]
    return (
        Supplement(
            key="alternatives",
            title="If one course were misread",
            head="Course",
            id=np.array([run.names[row] for row in rows], dtype=object),
            columns=(
                column(
                    "azimuth", "Azimuth that closes", Quantity.ANGLE, would["azimuth_rad"][order]
                ),
                column(
                    "distance", "Length that closes", Quantity.DISTANCE, would["distance_m"][order]
                ),
                column(
                    "d_azimuth",
                    "against as described",
                    Quantity.ANGLE,
                    wrap_signed(would["azimuth_rad"] - azimuth)[order],
                ),
                column(
                    "d_length",
                    "Length alone, against as described",
                    Quantity.LENGTH,
                    (would["length_m"] - length)[order],
                ),
                column(
                    "left_length",
                    "Misclosure left, length alone changed",
                    Quantity.LENGTH,
                    would["left_length_m"][order],
                ),
                column(
                    "left_bearing",
                    "Misclosure left, bearing alone changed",
                    Quantity.LENGTH,
                    bearing_left[order],
                ),
            ),
            note="Each course alone, the plainest first. Offered, not used.",
        ),
    )
