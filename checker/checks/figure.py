"""Described and drawn figures: how their courses close, their area, and what contradicts itself.

Latitudes and departures of a curve are those of its chord; its length is that of its arc. The area
is inside the courses, arcs included exactly as segments (common practice; tests/published/closures
names worked examples). A deed's coordinates begin at 0, 0.
"""

from dataclasses import dataclass

import numpy as np

from checker.checks.chains import Chain, join_figures
from checker.checks.closing import column, item, length_text, once, refuse, whole_measure
from checker.checks.course import figures_on
from checker.errors import InputError, Problem, Where
from checker.geometry.figure import Course, Figure, FigureError, run_figure
from checker.geometry.plane import azimuth_rad
from checker.model.arrays import FloatArray
from checker.model.books import FigureBook
from checker.model.inputs import Inputs
from checker.model.job import DescribedFigure, Job
from checker.model.measure import Column, Comparison, Item, Measure, Quantity
from checker.text import dms, group
from checker.units import ARCSEC, LengthUnit

NOISE_M = 1e-9
"""A misclosure below a nanometre is binary rounding: it has no ratio and no direction."""
_TANGENT_RAD = 30.0 * ARCSEC
"""A curve said to be tangent may break by no more: what bearings to the second leave (ours)."""
_WRITTEN_M = 0.005
"""What a course's length is rounded by at most, in the job's unit: written to hundredths."""
_SAME_RAD = 2.0 * ARCSEC
"""A curve said not to be tangent breaks by more (our choice)."""
_RADIUS_STEP = 0.01
"""A radius written in whole units is a design value, not one rounded to the unit (our choice)."""
_LISTED = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """One figure run through: its courses as described, and what came of them."""

    label: str
    names: tuple[str, ...]
    courses: tuple[Course, ...]
    figure: Figure


def measure_figure(section: DescribedFigure, inputs: Inputs, job: Job) -> Measure:
    """Return how a figure closes: one row a course, one verdict.

    Comparisons: misclosure (metres; n courses, length_m the perimeter) and ratio (misclosure /
    perimeter). Of several figures on a layer the summary is the one that closes worst, and area
    and length are of all. Curve data or an area that contradict the courses by more than rounding
    explains leave the check undecided, each contradiction a remark. Raises InputError for courses
    that cannot be followed and layers without lines.
    """
    remarks: list[str] = []
    contradictions: list[str] = []
    if section.file is None:
        runs = _drawn(section, inputs, job, remarks)
    else:
        book = inputs.books[section.name]
        if not isinstance(book, FigureBook):
            raise TypeError(section.name)
        runs = [_deed(section, book, remarks, contradictions)]
    area = float(sum(run.figure.area_m2 for run in runs))
    length = float(sum(run.figure.perimeter_m for run in runs))
    worst = max(runs, key=lambda run: run.figure.misclosure_length_m)
    contradictions += _area_contradiction(section, area, length, worst.figure)
    if contradictions:
        undecided = f"the description contradicts itself: {contradictions[0]}" + (
            f" (and {len(contradictions) - 1} more)" if len(contradictions) > 1 else ""
        )
    else:
        undecided = ""
    return whole_measure(
        "figure",
        section,
        row_id=np.array([name for run in runs for name in run.names], dtype=object),
        columns=_columns(runs),
        summary=_summary(section, runs, worst, area, length),
        comparisons=_comparisons(worst.figure, len(worst.courses)),
        remarks=[
            *(f"{text[:1].upper()}{text[1:]}." for text in contradictions),
            *_sense(runs, section.unit),
            *remarks,
        ],
        undecided=undecided,
    )


# ---------------------------------------------------------------- a deed


def _deed(
    section: DescribedFigure,
    book: FigureBook,
    remarks: list[str],
    contradictions: list[str],
) -> _Run:
    courses = tuple(_course(book, row) for row in range(len(book)))
    names = tuple(str(name) for name in book.course)
    try:
        figure = run_figure(courses, tangent_rad=_TANGENT_RAD)
    except FigureError as fault:
        refuse(
            "bad-course",
            Where(file=book.path, line=int(book.line[fault.course - 1])),
            str(fault),
            fault.hint or "check the numbers of this course against the deed",
        )
    if book.whole_circle:
        remarks.append("The directions have no letters and were taken as azimuths from north.")
    if book.chord_from_bearing:
        which = ", ".join(names[row] for row in book.chord_from_bearing[:_LISTED])
        remarks.append(f"Curve {which}: the one direction given was taken as that of the chord.")
    for row, course in enumerate(courses):
        if course.turn is None:
            continue
        contradictions += _curve_contradictions(section, book, row, names[row], course)
        contradictions += _tangent_contradiction(book, row, names[row], course, figure)
        stated = (course.arc_m, course.delta_rad, course.chord_m)
        if stated[0] is None and stated[1] is None:
            remarks.append(
                f"Curve {names[row]}: a radius and a chord fit two arcs; the shorter was taken."
            )
    return _Run(label=section.name, names=names, courses=courses, figure=figure)


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
        tangent=book.tangent[row] == "yes",
    )


_WORDS = {"arc_m": "arc", "delta_rad": "delta", "chord_m": "chord"}


def _elements(radius_m: float, delta_rad: float) -> dict[str, float]:
    return {
        "arc_m": radius_m * delta_rad,
        "delta_rad": delta_rad,
        "chord_m": 2.0 * radius_m * float(np.sin(delta_rad / 2.0)),
    }


def _angle_of(name: str, value: float, radius_m: float) -> float:
    """Return the central angle that a radius and one more element give."""
    if name == "delta_rad":
        return value
    if name == "arc_m":
        return value / radius_m
    return 2.0 * float(np.arcsin(min(1.0, value / (2.0 * radius_m))))


def _curve_contradictions(
    section: DescribedFigure, book: FigureBook, row: int, name: str, course: Course
) -> list[str]:
    """Return what is stated of a curve beyond need and does not follow from the rest.

    The radius and the first of arc, delta and chord fix the curve. What differs is listed only
    where rounding to the digits written cannot explain it.
    """
    radius = course.radius_m
    assert radius is not None  # noqa: S101  (the reader asks for it)
    steps = {
        "arc_m": float(book.arc_step_m[row]),
        "delta_rad": float(book.delta_step_rad[row]),
        "chord_m": float(book.chord_step_m[row]),
    }
    given = [(key, getattr(course, key)) for key in _WORDS if getattr(course, key) is not None]
    if len(given) < 2:
        return []
    key, value = given[0]
    half_radius = min(float(book.radius_step_m[row]), _RADIUS_STEP * section.unit.metres) / 2.0
    half = steps[key] / 2.0
    follows = _elements(radius, _angle_of(key, value, radius))
    turned = [
        _elements(radius + dr, _angle_of(key, value + dv, radius + dr))
        for dr in (-half_radius, half_radius)
        for dv in (-half, half)
    ]
    found = []
    for other, stated in given[1:]:
        room = max(abs(each[other] - follows[other]) for each in turned) + steps[other] / 2.0
        off = stated - follows[other]
        if other == "chord_m" and follows["delta_rad"] > np.pi:
            # A chord says nothing of which side of half a circle its arc is.
            off = stated - abs(follows[other])
        if abs(off) > room * (1.0 + 1e-9) + 1e-12:
            found.append(
                f"curve {name}: radius and {_WORDS[key]} give a {_WORDS[other]} of "
                f"{_shown(other, follows[other], section.unit)}, and "
                f"{_shown(other, stated, section.unit)} is stated"
            )
    return found


def _shown(key: str, value: float, unit: LengthUnit) -> str:
    if key == "delta_rad":
        return dms(value, 1)
    return length_text(value, unit, plus=False)


def _tangent_contradiction(
    book: FigureBook, row: int, name: str, course: Course, figure: Figure
) -> list[str]:
    """Return the break of a curve that is said to be tangent and whose chord's bearing says no."""
    turn = float(figure.break_rad[row])
    if course.tangent and course.chord_azimuth_rad is not None and abs(turn) > _TANGENT_RAD:
        says = (
            f"curve {name} is said to be tangent, and by its chord's bearing it breaks by "
            f"{dms(abs(turn), 0)} from the course before"
        )
        return [says]
    if book.tangent[row] == "no" and course.turn is not None and abs(turn) <= _SAME_RAD:
        return [f"curve {name} is said not to be tangent, and by its chord's bearing it is"]
    return []


# ---------------------------------------------------------------- a drawing


def _drawn(section: DescribedFigure, inputs: Inputs, job: Job, remarks: list[str]) -> list[_Run]:
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
            _Run(
                label=chain.name,
                names=tuple(f"{prefix}{index}" for index in range(1, len(courses) + 1)),
                courses=courses,
                figure=run_figure(
                    courses, (float(first[0]), float(first[1])), tangent_rad=_TANGENT_RAD
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


# ---------------------------------------------------------------- what is handed on


def _area_contradiction(
    section: DescribedFigure, area: float, length: float, worst: Figure
) -> list[str]:
    """Return the stated area if it differs by more than rounding and the misclosure explain.

    A course that moves by d changes the area by at most its length times d, so all of it by no
    more than the perimeter times what the lengths are rounded by and the misclosure.
    """
    stated = section.area_m2
    if stated is None:
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


def _sense(runs: list[_Run], unit: LengthUnit) -> list[str]:
    if len(runs) != 1:
        return []
    figure = runs[0].figure
    miss = figure.misclosure_length_m
    way = "counter-clockwise" if figure.counter_clockwise else "clockwise"
    says = [f"The courses run {way}."]
    if miss > NOISE_M:
        east, north = (-figure.misclosure_m).tolist()
        says.append(
            "A closing course from the end of the last to the point of beginning would run on "
            f"azimuth {dms(float(azimuth_rad(north, east)), 0)} for "
            f"{length_text(miss, unit, plus=False)}; it is not used. The area is inside it."
        )
    return says


def _columns(runs: list[_Run]) -> tuple[Column, ...]:
    def joined(parts: list[FloatArray]) -> FloatArray:
        return np.concatenate(parts)

    step = joined([np.diff(run.figure.xy_m, axis=0) for run in runs])
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
    return (
        column("kind", "Course", Quantity.TEXT, kind),
        column("azimuth", "Azimuth (of the chord)", angle, azimuth_rad(step[:, 1], step[:, 0])),
        column("distance", "Length (of the arc)", distance, length),
        column("latitude", "Latitude", distance, step[:, 1]),
        column("departure", "Departure", distance, step[:, 0]),
        column("n", "Northing", Quantity.COORDINATE, end[:, 1]),
        column("e", "Easting", Quantity.COORDINATE, end[:, 0]),
        column("radius", "Radius", distance, radius),
        column("delta", "Central angle", angle, delta + nothing),
        column("chord", "Chord", distance, chord + nothing),
        column("tangent", "Tangent", Quantity.TEXT, tangent.astype(object)),
        column("break", "Break to the course before", angle, breaks, detail=True),
    )


def _summary(
    section: DescribedFigure, runs: list[_Run], worst: _Run, area: float, length: float
) -> tuple[Item, ...]:
    figure = worst.figure
    miss = figure.misclosure_length_m
    east, north = figure.misclosure_m.tolist()
    noise = not miss > NOISE_M
    stated = section.area_m2
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
        item("area_segments", "of which segments of curves", Quantity.AREA, segments),
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


def _comparisons(figure: Figure, courses: int) -> tuple[Comparison, ...]:
    miss, length = figure.misclosure_length_m, figure.perimeter_m
    return (
        once("misclosure", "Misclosure", miss, n=courses, length_m=length),
        once("ratio", "Closure ratio", miss / length, n=courses, length_m=length),
    )
