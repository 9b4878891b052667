"""What a described figure says of itself that does not follow from the rest of it."""

import itertools

import numpy as np

from checker.checks.closing import length_text
from checker.geometry.curves import CircularCurve, CurveError, solve_curve
from checker.geometry.figure import Course, Figure
from checker.geometry.plane import wrap_signed
from checker.model.books import FigureBook
from checker.model.job import DescribedFigure
from checker.text import angle_words, group
from checker.units import ARCSEC, LengthUnit

TANGENT_RAD = 30.0 * ARCSEC
"""A curve said to be tangent may break by no more: what bearings to the second leave (ours)."""
_WRITTEN_M = 0.005
"""What a course's length is rounded by at most, in the job's unit: written to hundredths."""
_SAME_RAD = 2.0 * ARCSEC
"""A curve said not to be tangent breaks by more (our choice)."""
_RADIUS_STEP = 0.01
"""A radius written in whole units is a design value, not one rounded to the unit (our choice)."""
_ELEMENTS = {
    "radius_m": "radius",
    "arc_m": "arc",
    "delta_rad": "delta",
    "chord_m": "chord",
}


def _solved(values: dict[str, float]) -> CircularCurve | None:
    """Return the curve of two elements, None where they make none."""
    named = {("length_m" if key == "arc_m" else key): value for key, value in values.items()}
    try:
        return solve_curve(**named)
    except CurveError:
        return None


def _element(curve: CircularCurve, key: str) -> float:
    return float(getattr(curve, "length_m" if key == "arc_m" else key))


def curve_contradictions(
    section: DescribedFigure, book: FigureBook, row: int, name: str, course: Course
) -> list[str]:
    """Return what is stated of a curve beyond need and does not follow from the rest.

    The first two of radius, arc, delta and chord fix the curve, delta before arc where it is
    written the closer. What differs is listed only where rounding to the digits written cannot
    explain it.
    """
    unit = section.unit
    steps = {
        "radius_m": min(float(book.radius_step_m[row]), _RADIUS_STEP * unit.metres),
        "arc_m": float(book.arc_step_m[row]),
        "delta_rad": float(book.delta_step_rad[row]),
        "chord_m": float(book.chord_step_m[row]),
    }
    order = ("radius_m", "delta_rad", "arc_m", "chord_m") if course.delta_leads else _ELEMENTS
    stated = {key: getattr(course, key) for key in order if getattr(course, key) is not None}
    base = dict(list(stated.items())[:2])
    rest = dict(list(stated.items())[2:])
    curve = _solved(base)
    if not rest or curve is None:
        return []
    turned = [
        _solved(
            {
                key: value + sign * steps[key]
                for sign, (key, value) in zip(signs, base.items(), strict=True)
            }
        )
        for signs in itertools.product((-0.5, 0.5), repeat=2)
    ]
    nearby = [each for each in turned if each is not None]
    found = []
    given = " and ".join(_ELEMENTS[key] for key in base)
    for key, value in rest.items():
        follows = _element(curve, key)
        room = max((abs(_element(each, key) - follows) for each in nearby), default=0.0)
        room += steps[key] / 2.0
        if abs(value - follows) > room * (1.0 + 1e-9) + 1e-12:
            found.append(
                f"curve {name}: {given} give a {_ELEMENTS[key]} of {_shown(key, follows, unit)}, "
                f"and {_shown(key, value, unit)} is stated"
            )
    return found


def _shown(key: str, value: float, unit: LengthUnit) -> str:
    if key == "delta_rad":
        return angle_words(value, 1)
    return length_text(value, unit, plus=False)


def _half_turn_unsure(book: FigureBook, row: int, course: Course) -> float:
    """Return by how much half the central angle may be off as an arc's last digit leaves it."""
    leads = course.delta_leads and course.delta_rad is not None
    if leads or course.arc_m is None or not course.radius_m:
        return 0.0
    return float(book.arc_step_m[row]) / (4.0 * course.radius_m)


def tangent_contradiction(
    book: FigureBook, row: int, name: str, course: Course, figure: Figure
) -> list[str]:
    """Return the break of a curve that is said to be tangent and whose chord's bearing says no."""
    turn = float(figure.break_rad[row])
    most = TANGENT_RAD + _half_turn_unsure(book, row, course)
    if course.tangent and course.chord_azimuth_rad is not None and abs(turn) > most:
        says = (
            f"curve {name} is said to be tangent, and by its chord's bearing it breaks by "
            f"{angle_words(abs(turn), 0)} from the course before"
        )
        return [says]
    radial = course.radial_azimuth_rad
    if radial is not None and course.turn is not None and course.chord_azimuth_rad is not None:
        square = radial - course.turn * np.pi / 2.0
        off = float(wrap_signed(figure.azimuth_in_rad[row] - square))
        if abs(off) > most:
            says = (
                f"curve {name}: by its chord's bearing its radius at the beginning is "
                f"{angle_words(abs(off), 0)} off the radial bearing that is stated"
            )
            return [says]
    if book.tangent[row] == "no" and course.turn is not None and abs(turn) <= _SAME_RAD:
        return [f"curve {name} is said not to be tangent, and by its bearing it is"]
    return []


def area_contradiction(
    section: DescribedFigure, area: float, length: float, worst: Figure
) -> list[str]:
    """Return the stated area if it differs by more than rounding and the misclosure explain.

    Where the tolerance limits that difference, the tolerance judges it.

    A course that moves by d changes the area by at most its length times d, so all of it by no
    more than the perimeter times what the lengths are rounded by and the misclosure.
    """
    stated = section.area_m2
    limited = section.tolerance is not None and section.tolerance.area is not None
    if stated is None or limited:
        return []
    slack = worst.misclosure_length_m + _WRITTEN_M * section.unit.metres
    if abs(area - stated) <= section.area_step_m2 / 2.0 + length * slack:
        return []
    says = (
        f"the courses enclose {_area_text(area, section.unit)}, and "
        f"{_area_text(stated, section.unit)} is stated"
    )
    return [says]


def _area_text(area_m2: float, unit: LengthUnit) -> str:
    metric = unit is LengthUnit.METRE
    text = group(area_m2 / unit.metres**2, 2 if metric else 0)
    return f"{text} {'m²' if metric else 'sq ft'}"
