"""An alignment as a job asks for it: its course, how its stations count, its profile.

The course lies in the axes of the design, so that stations count as on the plan; positions go in
and come out on the grid of the as-measured points.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.checks.chains import Chain, figure_name, join_figures
from checker.checks.closing import length_text
from checker.checks.frame import to_grid_m, to_ground_m
from checker.checks.selecting import fits
from checker.errors import InputError, Problem, Where
from checker.geometry.alignment import Alignment, reversed_alignment
from checker.geometry.arrays import GeometryError
from checker.geometry.feet import Feet
from checker.geometry.layout import Part, from_intersections, from_parts
from checker.geometry.profile import Crossfall, Profile, crossfall, profile
from checker.geometry.stations import StationError, Stationing, format_station, stationing
from checker.model.alignment import (
    ElementTable,
    IntersectionTable,
    ProfileTable,
    SuperelevationTable,
)
from checker.model.arrays import FloatArray
from checker.model.drawing import Figure
from checker.model.inputs import Inputs
from checker.model.job import AlignmentInput, Ground, Job
from checker.text import angle_words, fixed
from checker.units import LengthUnit

GAP_M = 0.02
"""How far the start that a table states may be from where the element before it ends: stated
coordinates are rounded to a hundredth of a foot, and their elements to a second or so."""
END_SLACK_M = 0.01
"""A station this little past an end still counts: ends are printed to hundredths."""
BEYOND_M = 0.05
"""A shot so little beyond the end of a profile is at its end: nobody sets a stake nearer."""
_LISTED = 4
"""How many tangent breaks a remark lists."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """An alignment ready for use.

    alignment: in the axes of the design. profile: over the distance along it, None without one.
    remarks: what must be said of it wherever it is used. digits: behind the plus of a station; 0:
    as the unit has it.
    """

    name: str
    alignment: Alignment
    profile: Profile | None
    crossfall: Crossfall | None
    ground: Ground | None
    unit: LengthUnit
    remarks: tuple[str, ...] = ()
    digits: int = 0

    def feet(self, northing_m: FloatArray, easting_m: FloatArray, *, rival_m: float = 1e-3) -> Feet:
        """Return the nearest place of the course for positions on the grid, one row each."""
        xy = to_ground_m(np.column_stack((easting_m, northing_m)), self.ground)
        return self.alignment.station_offset(xy, rival_m=rival_m)

    def place(
        self, distance_m: npt.ArrayLike, offset_m: npt.ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return northings and eastings on the grid at distances along and offsets (+ right)."""
        return self.on_grid(self.alignment.point_at(distance_m, offset_m))

    def on_grid(self, xy_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return northings and eastings on the grid of places in the axes of the design."""
        xy = to_grid_m(xy_m, self.ground)
        return xy[:, 1], xy[:, 0]

    def elevation(self, distance_m: FloatArray, offset_m: FloatArray) -> FloatArray:
        """Return the profile's elevation with the crossfall; NaN without one, or outside it.

        Up to `BEYOND_M` beyond its ends a profile runs on in its grade.
        """
        if self.profile is None:
            return np.full(np.shape(distance_m), np.nan)
        held, beyond = self._held(self.profile, distance_m)
        level = self.profile.elevation(held) + self.profile.grade_at(held) * beyond
        if self.crossfall is not None:
            level = level + self.crossfall.rise(distance_m, offset_m)
        return np.asarray(level)

    def grade(self, distance_m: FloatArray) -> FloatArray:
        """Return grades of the profile, + rising up-station; NaN without one, or outside it."""
        if self.profile is None:
            return np.full(np.shape(distance_m), np.nan)
        return self.profile.grade_at(self._held(self.profile, distance_m)[0])

    def tilt(self, distance_m: FloatArray, offset_m: FloatArray) -> FloatArray:
        """Return how the crossfall rises per metre to the right; 0 without one."""
        if self.crossfall is None:
            return np.zeros(np.shape(distance_m))
        side = np.where(np.asarray(offset_m) < 0.0, -1.0, 1.0)
        return np.asarray(side * self.crossfall.rise(distance_m, side))

    @staticmethod
    def _held(line: Profile, distance_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return distances held to a profile that they miss by little, and by how much."""
        inside = np.clip(distance_m, line.station_m[0], line.end_m)
        beyond = distance_m - inside
        near = np.abs(beyond) <= BEYOND_M
        return np.where(near, inside, distance_m), np.where(near, beyond, 0.0)

    def station_text(self, distance_m: float) -> str:
        """Return the station at a distance along, as it is written on a stake."""
        return station_text(
            float(self.alignment.stationing.station(np.array([distance_m]))[0]),
            self.unit,
            self.digits,
        )


def station_text(station_m: float, unit: LengthUnit, digits: int = 0) -> str:
    """Return a station as text; digits: behind the plus, 0: 10+00.00 in feet, 0+100.000 in m."""
    usual = 3 if unit is LengthUnit.METRE else 2
    return format_station(
        float(unit.from_metres(station_m)), digits=digits or usual, decimals=usual
    )


def course_of(name: str, inputs: Inputs, job: Job) -> Course:
    """Return an alignment of the job; raises InputError with what is wrong with it."""
    given = next(each for each in job.alignments if each.name == name)
    remarks: list[str] = []
    ways = _stationing(given, job.unit)
    if given.elements is not None:
        alignment = _from_table(given, inputs.elements[name], job.unit)
    elif given.intersections is not None:
        alignment = _from_intersections(inputs.intersections[name])
    else:
        alignment = _from_layer(given, inputs, job, remarks)
    if given.reversed:
        alignment = reversed_alignment(alignment)
    alignment = Alignment(
        elements=alignment.elements,
        stationing=ways,
        closed=alignment.closed,
        dropped=alignment.dropped,
    )
    _equations_lie_on(given, alignment, job.unit)
    table = inputs.profiles.get(name)
    tilt = _crossfall(given, inputs, ways, job.unit)
    course = Course(
        name=name,
        alignment=alignment,
        profile=None if table is None else _profile(given, table, ways, job.unit),
        crossfall=tilt,
        ground=job.reference.ground,
        unit=job.unit,
        digits=given.station_digits,
    )
    return Course(
        name=name,
        alignment=alignment,
        profile=course.profile,
        crossfall=course.crossfall,
        ground=course.ground,
        unit=course.unit,
        digits=course.digits,
        remarks=(
            *_described(course),
            *remarks,
            *_tilted(course),
            *_breaks(course),
            *_turns(course),
        ),
    )


def check_courses(inputs: Inputs, job: Job) -> list[Problem]:
    """Return what is wrong with the job's alignments, whether or not a check uses them."""
    problems: list[Problem] = []
    for each in job.alignments:
        try:
            course_of(each.name, inputs, job)
        except InputError as fault:
            problems.extend(fault.problems)
    return problems


def _refused(slug: str, where: Where, message: str, hint: str) -> InputError:
    return InputError([Problem(slug=slug, where=where, message=message, hint=hint)])


# ---------------------------------------------------------------- from a layer


def figures_on(inputs: Inputs, layers: Sequence[str], where: Where, what: str) -> list[Figure]:
    """Return the drawn lines on layers; InputError naming the layers that have some."""
    every = [figure for drawing in inputs.drawings for figure in drawing.figures]
    names = np.array([figure.layer for figure in every], dtype=object)
    problems = []
    chosen = np.zeros(len(every), dtype=np.bool_)
    for pattern in layers:
        hit = fits([pattern], names)
        if not hit.any():
            there = sorted(set(names.tolist()))
            some = ", ".join(there[:8]) + (f" and {len(there) - 8} more" if len(there) > 8 else "")
            problems.append(
                Problem(
                    slug="layer-unknown",
                    where=where,
                    message=f'{what}: no line is drawn on a layer "{pattern}"',
                    hint=f"lines are drawn on: {some}" if there else "the design has no lines",
                )
            )
        chosen |= hit
    if problems:
        raise InputError(problems)
    return [every[index] for index in np.flatnonzero(chosen).tolist()]


def _from_layer(given: AlignmentInput, inputs: Inputs, job: Job, remarks: list[str]) -> Alignment:
    """Return the one course that the figures of a layer make."""
    assert given.layer is not None  # noqa: S101 - the job reader asks for one of the two
    what = f"[alignment.{given.name}]"
    figures = figures_on(inputs, (given.layer,), given.where, what)
    joined = join_figures(figures)
    if not joined.chains:
        raise _refused(
            "alignment-empty",
            given.where,
            f'{what}: no line on layer "{given.layer}" has a length',
            "look at what is drawn there",
        )
    if joined.branches:
        meeting = [figures[index] for index in joined.branches[0]]
        raise _refused(
            "alignment-branch",
            given.where,
            f"{what} branches: {', '.join(map(figure_name, meeting))} meet in one place",
            "leave on the layer what the course follows, or give the course as a table of elements",
        )
    if len(joined.chains) > 1:
        raise _parted(given, joined.chains, job)
    chain = joined.chains[0]
    flattened = [figure for figure in chain.figures if not figure.exact]
    if flattened:
        worst = max(figure.sagitta_m for figure in flattened)
        remarks.append(
            f"Alignment {given.name}: {', '.join(map(figure_name, flattened[:_LISTED]))} "
            f"{'is' if len(flattened) == 1 else 'are'} neither line nor arc and followed by chords "
            f"within {length_text(worst, job.unit, plus=False)}; state spirals in a table of "
            "elements."
        )
    try:
        return chain.course()
    except GeometryError as fault:
        hint = fault.hint or "look at what is drawn on that layer"
        raise _refused("alignment-empty", given.where, f"{what}: {fault}", hint) from None


def _parted(given: AlignmentInput, chains: tuple[Chain, ...], job: Job) -> InputError:
    """Return the fault of a layer that holds several courses: the least gap between two of them."""
    ends = []
    for number, chain in enumerate(chains):
        for place in (0,) if chain.closed else (0, -1):
            figure = chain.figures[place]
            ends.append((number, chain.xyz_m[place, :2], figure_name(figure)))
    gaps = [
        (float(np.hypot(*(one[1] - other[1]))), one, other)
        for index, one in enumerate(ends)
        for other in ends[index + 1 :]
        if one[0] != other[0]
    ]
    gap, one, other = min(gaps, key=lambda each: each[0])
    unit = job.unit

    def at(place: FloatArray) -> str:
        e, n = (fixed(float(unit.from_metres(value)), 3) for value in place.tolist())
        return f"N {n}, E {e}"

    return _refused(
        "alignment-gap",
        given.where,
        f'[alignment.{given.name}]: the lines on layer "{given.layer}" make {len(chains)} courses, '
        f"not one; the least gap is {length_text(gap, unit, plus=False)}, between {one[2]} at "
        f"{at(one[1])} and {other[2]} at {at(other[1])}",
        "close the gap in the drawing, or leave on the layer what the course follows",
    )


# ---------------------------------------------------------------- from a table


def _from_table(given: AlignmentInput, table: ElementTable, unit: LengthUnit) -> Alignment:
    """Return the course of a table of elements; its first row or the job states the start."""
    start = given.start_point
    northing, easting = float(table.northing_m[0]), float(table.easting_m[0])
    azimuth = float(table.azimuth_rad[0])
    first = Where(file=table.path, line=int(table.line[0]))
    problems = []
    if start is not None:
        northing, easting = start.northing_m, start.easting_m
    elif np.isnan(northing) or np.isnan(easting):
        problems.append(
            Problem(
                slug="alignment-start",
                where=first,
                message="nothing states where the course starts",
                hint="give northing and easting in the first row, or start_point in the job",
            )
        )
    if given.start_azimuth_rad is not None:
        azimuth = given.start_azimuth_rad
    elif np.isnan(azimuth):
        problems.append(
            Problem(
                slug="alignment-start",
                where=first,
                message="nothing states in which direction the course starts",
                hint="give the azimuth in the first row, or start_azimuth in the job",
            )
        )
    into, out, more = _curvatures(table)
    problems += more
    if problems:
        raise InputError(problems)
    parts = [
        Part(
            length_m=float(table.length_m[row]),
            curvature_in=float(into[row]),
            curvature_out=float(out[row]),
            azimuth_rad=None
            if row == 0 or np.isnan(table.azimuth_rad[row])
            else float(table.azimuth_rad[row]),
        )
        for row in range(len(table.kind))
    ]
    try:
        alignment = from_parts(parts, start_xy_m=(easting, northing), start_azimuth_rad=azimuth)
    except GeometryError as fault:
        hint = fault.hint or "look at the elements of the table"
        raise _refused("alignment-element", first, str(fault), hint) from None
    _table_agrees(table, alignment, unit)
    return alignment


def _from_intersections(table: IntersectionTable) -> Alignment:
    """Return the course whose tangents meet in the points of intersection."""
    try:
        return from_intersections(
            np.column_stack((table.easting_m, table.northing_m)),
            table.radius_m[1:-1],
            table.spiral_in_m[1:-1],
            table.spiral_out_m[1:-1],
        )
    except GeometryError as fault:
        where = Where(file=table.path, line=int(table.line[0]))
        hint = fault.hint or "look at the points of intersection, their radii and spirals"
        raise _refused("alignment-element", where, str(fault), hint) from None


def _curvatures(table: ElementTable) -> tuple[FloatArray, FloatArray, list[Problem]]:
    """Return the curvatures at both ends of every element, and what is wrong with them.

    A spiral without radii of its own runs from the curvature of the element before it to that of
    the arc behind it; one with a single radius is straight at its other end, unless it leaves a
    curve.
    """
    count = len(table.kind)
    into, out = np.zeros(count), np.zeros(count)
    arc = table.kind == "arc"
    into[arc] = out[arc] = 1.0 / table.radius_m[arc]
    problems = []
    for row in np.flatnonzero(table.kind == "spiral").tolist():
        before = float(out[row - 1]) if row else 0.0
        after = float(into[row + 1]) if row + 1 < count and arc[row + 1] else 0.0
        stated = [float(values[row]) for values in (table.radius_in_m, table.radius_out_m)]
        tight = float(table.radius_m[row])
        if not all(np.isnan(value) for value in stated):
            into[row], out[row] = (
                0.0 if np.isnan(value) or value == 0.0 else 1.0 / value for value in stated
            )
        elif np.isnan(tight) or tight == 0.0:
            into[row], out[row] = before, after
        elif before != 0.0:
            into[row], out[row] = 1.0 / tight, after
        else:
            into[row], out[row] = 0.0, 1.0 / tight
        if into[row] == out[row]:
            problems.append(
                Problem(
                    slug="element-radius",
                    where=Where(file=table.path, line=int(table.line[row])),
                    message="this spiral has the same curvature at both ends",
                    hint="give its radius at the end where it meets the arc",
                )
            )
    return into, out, problems


def _table_agrees(table: ElementTable, alignment: Alignment, unit: LengthUnit) -> None:
    """Refuse a table whose stated starts, directions or radii do not follow from its elements."""
    real = np.flatnonzero(table.length_m > 1e-9)
    elements, problems = alignment.elements, []
    for number, row in enumerate(real.tolist()):
        where = Where(file=table.path, line=int(table.line[row]))
        stated = np.array([table.easting_m[row], table.northing_m[row]])
        if number and np.isfinite(stated).all():
            gap = float(np.hypot(*(stated - elements.xy_m[number])))
            if gap > GAP_M:
                problems.append(
                    Problem(
                        slug="alignment-gap",
                        where=where,
                        message=f"this {table.kind[row]} is stated to start "
                        f"{length_text(gap, unit, plus=False)} from where the "
                        f"{table.kind[real[number - 1]]} of line "
                        f"{int(table.line[real[number - 1]])} ends",
                        hint="look at lengths, radii, turns and the stated start; a curve may "
                        "turn the wrong way",
                    )
                )
    for defect in alignment.defects():
        row = int(real[min(defect.element + 1, len(real) - 1)])
        where = Where(file=table.path, line=int(table.line[row]))
        if defect.kind == "reversal":
            problems.append(
                Problem(
                    slug="alignment-reversal",
                    where=where,
                    message=f"this {table.kind[row]} runs back against the one before it",
                    hint="look at its azimuth, and at the order of the rows",
                )
            )
        elif defect.kind == "radius":
            problems.append(
                Problem(
                    slug="element-radius",
                    where=where,
                    message="a spiral meets its neighbour here with another radius or turn",
                    hint="give both the same radius and turn, or the spiral's radius_in and "
                    "radius_out",
                )
            )
    if problems:
        raise InputError(problems)


# ---------------------------------------------------------------- stations and profile


def _stationing(given: AlignmentInput, unit: LengthUnit) -> Stationing:
    try:
        return stationing(given.start_m, given.equations)
    except StationError:
        begin = given.start_m
        number, back = 1, begin
        for number, (back, ahead) in enumerate(given.equations, start=1):  # noqa: B007
            if not back > begin:
                break
            begin = ahead
        one, other = (station_text(each, unit, given.station_digits) for each in (back, begin))
        raise _refused(
            "station-equation",
            given.where,
            f"[alignment.{given.name}]: station equation {number} has its back station "
            f"{one} not ahead of {other}, where its region begins",
            "give the equations in the order in which they are met up-station",
        ) from None


def _equations_lie_on(given: AlignmentInput, alignment: Alignment, unit: LengthUnit) -> None:
    for (back, _), at in zip(given.equations, alignment.stationing.breaks_m.tolist(), strict=True):
        if at > alignment.length_m:
            raise _refused(
                "station-equation",
                given.where,
                f"[alignment.{given.name}]: the station equation at "
                f"{station_text(back, unit, given.station_digits)} back lies beyond "
                f"its end, which is {length_text(at - alignment.length_m, unit, plus=False)} "
                "before it",
                "look at the equation, and at the station of the start",
            )


def distance_at(
    ways: Stationing, station_m: float, side: str, length_m: float = np.inf
) -> tuple[float, ...]:
    """Return the distances along at which a station may be meant; side: back, ahead or "".

    Where the alignment has a length, a station up to `END_SLACK_M` past its ends still counts: it
    lies on the end tangent, drawn on.
    """
    found = ways.distances(station_m, length_m)
    if not found and np.isfinite(length_m):
        found = tuple(
            each
            for each in ways.distances(station_m)
            if -END_SLACK_M <= each <= length_m + END_SLACK_M
        )
    if len(found) > 1 and side:
        return (found[0],) if side == "back" else (found[-1],)
    return found


def up_station(
    table: ProfileTable | SuperelevationTable,
    what: str,
    slug: str,
    ways: Stationing,
    unit: LengthUnit,
) -> FloatArray:
    """Return the distances along of a table's stations, which must grow; shape (rows,)."""
    distances: list[float] = []
    last = -np.inf
    for row in range(len(table.station_m)):
        station = float(table.station_m[row])
        where = Where(file=table.path, line=int(table.line[row]))
        found = distance_at(ways, station, str(table.side[row]))
        ahead = [each for each in found if each > last]
        if not found:
            raise _refused(
                "station-unknown",
                where,
                f"station {station_text(station, unit)} lies in the gap of a station equation: "
                "there is no such place",
                "look at the station, and at the equations of the alignment",
            )
        if not ahead:
            raise _refused(
                slug,
                where,
                f"the {what} at {station_text(station, unit)} does not lie ahead of the one "
                "before it",
                "give the rows up-station, each place once",
            )
        if len(ahead) > 1:
            raise _ambiguous(where, station, unit)
        last = ahead[0]
        distances.append(last)
    return np.array(distances)


def _crossfall(
    given: AlignmentInput, inputs: Inputs, ways: Stationing, unit: LengthUnit
) -> Crossfall | None:
    """Return the crossfall, one for all or changing along the alignment."""
    if given.crossfall is not None:
        return crossfall(given.crossfall.left, given.crossfall.right)
    table = inputs.superelevations.get(given.name)
    if table is None:
        return None
    distances = up_station(table, "crossfall", "superelevation-order", ways, unit)
    return crossfall(table.left, table.right, distances)


def _profile(
    given: AlignmentInput, table: ProfileTable, ways: Stationing, unit: LengthUnit
) -> Profile:
    """Return the profile over the distance along the alignment."""
    distances = up_station(table, "PVI", "profile-order", ways, unit)
    try:
        return profile(distances, table.elevation_m, table.length_in_m, table.length_out_m)
    except GeometryError as fault:
        where, message = _profile_fault(table, distances, str(fault), unit)
        raise _refused(
            "profile-curve", where, f"[alignment.{given.name}]: {message}", fault.hint
        ) from None


def _profile_fault(
    table: ProfileTable, distances: FloatArray, message: str, unit: LengthUnit
) -> tuple[Where, str]:
    """Return the line of the PVI at fault, and overlapping curves in the job's unit."""
    free = np.diff(distances) - table.length_out_m[:-1] - table.length_in_m[1:]
    bad = np.flatnonzero(free < -1e-6)
    ends = [table.length_in_m[row] + table.length_out_m[row] for row in (0, -1)]
    if max(ends) > 0.0:
        row = 0 if ends[0] > 0.0 else len(table.line) - 1
        return Where(file=table.path, line=int(table.line[row])), message
    if not bad.size:
        return Where(file=table.path, line=int(table.line[0])), message
    row = int(bad[0])
    one, other = (station_text(float(table.station_m[each]), unit) for each in (row, row + 1))
    size = length_text(-float(free[row]), unit, plus=False)
    where = Where(file=table.path, line=int(table.line[row + 1]))
    return where, f"the vertical curves at {one} and {other} overlap by {size}"


def _ambiguous(where: Where, station_m: float, unit: LengthUnit) -> InputError:
    text = station_text(station_m, unit)
    return _refused(
        "station-twice",
        where,
        f"station {text} occurs twice, before and behind a station equation",
        f'write "{text} back" or "{text} ahead"',
    )


def stake_distance(course: Course, station_m: float, side: str, where: Where) -> float:
    """Return the distance along at which a stake's station lies; InputError where it has none."""
    found = distance_at(course.alignment.stationing, station_m, side, course.alignment.length_m)
    if len(found) > 1:
        raise _ambiguous(where, station_m, course.unit)
    if found:
        return found[0]
    length = course.alignment.length_m
    raise _refused(
        "station-unknown",
        where,
        f"station {station_text(station_m, course.unit, course.digits)} is not on alignment "
        f"{course.name}, which runs from {course.station_text(0.0)} to "
        f"{course.station_text(length)}"
        + (" with station equations" if course.alignment.stationing.equations else ""),
        "look at the station, and at the start station of the alignment",
    )


# ---------------------------------------------------------------- remarks


def _tilted(course: Course) -> list[str]:
    """Return how far a table of superelevation reaches, where that is not the whole alignment."""
    tilt = course.crossfall
    if tilt is None or len(tilt.station_m) < 2:
        return []
    first, last = float(tilt.station_m[0]), float(tilt.station_m[-1])
    if first <= END_SLACK_M and last >= course.alignment.length_m - END_SLACK_M:
        return []
    reach = f"{course.station_text(first)} to {course.station_text(last)}"
    said = f"The superelevation of {course.name} is stated from {reach}"
    return [f"{said}; before and beyond it the nearest row holds."]


def _described(course: Course) -> list[str]:
    alignment = course.alignment
    elements = alignment.elements
    spirals = int(np.count_nonzero(elements.is_spiral))
    arcs = int(np.count_nonzero(~elements.is_spiral & (elements.curvature_in != 0.0)))
    lines = len(elements) - spirals - arcs
    counted = ((lines, "line"), (arcs, "arc"), (spirals, "spiral"))
    parts = [f"{count} {word}{'' if count == 1 else 's'}" for count, word in counted if count]
    n, e = (
        fixed(float(course.unit.from_metres(each[0])), 3)
        for each in course.place(np.zeros(1), np.zeros(1))
    )
    text = (
        f"Alignment {course.name} runs from {course.station_text(0.0)} at N {n}, E {e} to "
        f"{course.station_text(alignment.length_m)}: {', '.join(parts)}, "
        f"{length_text(alignment.length_m, course.unit, plus=False)} long"
    )
    if alignment.dropped:
        text += f"; {alignment.dropped} without a length left out"
    said = [f"{text}."]
    for equation in alignment.stationing.equations:
        kind = "gap" if equation.gap_m > 0 else "overlap"
        said.append(
            f"Station equation: {station_text(equation.back_m, course.unit, course.digits)} back = "
            f"{station_text(equation.ahead_m, course.unit, course.digits)} ahead, "
            f"a station {kind} of {length_text(abs(equation.gap_m), course.unit, plus=False)}."
        )
    return said


def _breaks(course: Course) -> list[str]:
    """Return where the tangent breaks; no fault, but often not meant."""
    kinks = [each for each in course.alignment.defects() if each.kind in ("kink", "reversal")]
    if not kinks:
        return []
    listed = [
        f"{course.station_text(each.distance_m)} by {angle_words(abs(each.amount))} to the "
        f"{'right' if each.amount > 0 else 'left'}"
        for each in sorted(kinks, key=lambda each: -abs(each.amount))[:_LISTED]
    ]
    more = f", and {len(kinks) - _LISTED} smaller breaks" if len(kinks) > _LISTED else ""
    return [f"The tangent of {course.name} breaks at {'; '.join(listed)}{more}."]


def _turns(course: Course) -> list[str]:
    if course.profile is None:
        return []
    unit = course.unit
    said = []
    for turn in course.profile.turns():
        level = fixed(float(unit.from_metres(turn.elevation_m)), 3)
        said.append(
            f"Profile of {course.name}: {turn.kind} point at "
            f"{course.station_text(turn.station_m)}, elevation {level} {unit.short}."
        )
    return said
