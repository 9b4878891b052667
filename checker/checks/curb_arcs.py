"""The design of a curb return: an arc, drawn or described, with the lines that lead in and out."""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.chains import Chain, join_figures
from checker.checks.closing import length_text, refuse
from checker.checks.course import figures_on
from checker.checks.frame import to_ground_m
from checker.checks.shots import design_index, plan_xy_m
from checker.geometry.alignment import Alignment
from checker.geometry.arrays import GeometryError
from checker.geometry.elements import place as place_on
from checker.geometry.layout import from_vertices
from checker.geometry.plane import azimuth_rad
from checker.geometry.returns import rounded_corner
from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs
from checker.model.job import CurbReturn, Job, Position

ONE_ARC_M = 1e-3
"""Arcs one behind the other whose radii and centres differ by less are one arc."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Arc:
    """The design: the arc with the lines at its ends, where there are any, as one course.

    begin_m, length_m: where on the course the arc begins, and how long it is. centre_m: shape (2,).
    turn_rad: + right. before, after: whether a line leads in and out, or another arc with what
    leads to that. level_m: elevations evenly spaced from beginning to end, or none. name: what it
    is called.
    """

    course: Alignment
    begin_m: float
    length_m: float
    radius_m: float
    centre_m: FloatArray
    turn_rad: float
    before: bool
    after: bool
    level_m: FloatArray
    name: str

    @property
    def neighbours(self) -> tuple[str, str]:
        """What joins it before and behind: "line", "arc" or ""."""
        elements, starts = self.course.elements, self.course.starts_m
        mine = int(np.argmin(np.abs(starts[:-1] - self.begin_m)))
        found = []
        for there, index in ((self.before, mine - 1), (self.after, mine + 1)):
            bent = there and elements.curvature_in[index] != 0.0
            found.append("arc" if bent else "line" if there else "")
        return found[0], found[1]

    def at(self, along_m: float) -> FloatArray:
        """Return the place on the course that far behind the beginning of the arc; shape (2,)."""
        return np.asarray(self.course.point_at(np.array([self.begin_m + along_m]))[0])

    def level(self, along_m: FloatArray, slack_m: float) -> FloatArray:
        """Return the design elevation along the arc; NaN off it, and where there is none.

        slack_m: so far before its beginning and past its end the elevation of that end holds.
        """
        if not len(self.level_m):
            return np.full(len(along_m), np.nan)
        known = np.linspace(0.0, self.length_m, len(self.level_m))
        on = (along_m >= -slack_m) & (along_m <= self.length_m + slack_m)
        return np.where(on, np.interp(along_m, known, self.level_m), np.nan)

    def rise(self, along_m: FloatArray) -> FloatArray:
        """Return how the design rises per metre along the arc; NaN off it, and without elevations.

        Where two grades meet it is that ahead.
        """
        if not len(self.level_m) or not self.length_m:
            return np.full(len(along_m), np.nan)
        known = np.linspace(0.0, self.length_m, len(self.level_m))
        grade = np.diff(self.level_m) / np.diff(known)
        piece = np.clip(np.searchsorted(known, along_m, side="right") - 1, 0, len(grade) - 1)
        on = (along_m >= 0.0) & (along_m <= self.length_m)
        return np.where(on, grade[piece], np.nan)


def design_arc(
    section: CurbReturn, inputs: Inputs, job: Job, xy: FloatArray
) -> tuple[Arc, list[str]]:
    """Return the design arc; xy: shape (shots, 2), which of a layer's arcs they are nearest to."""
    remarks: list[str] = []
    if section.layers:
        arc = _from_layers(section, inputs, job, xy, remarks)
    elif section.tangents:
        arc = _from_tangents(section, inputs, job)
    else:
        arc = _from_centre(section, inputs, job)
    if section.elevation_m:
        arc = replace(arc, level_m=np.array(section.elevation_m))
    return arc, remarks


def _place(section: CurbReturn, inputs: Inputs, job: Job, given: str | Position) -> FloatArray:
    """Return a stated place or a design point, (easting, northing) in the axes of the design."""
    if isinstance(given, Position):
        return np.array([given.easting_m, given.northing_m])
    index = design_index(inputs, (given,), section.where).get(given)
    if index is None or inputs.design is None:
        refuse(
            "unknown-point",
            section.where,
            f'design: no design point has the number "{given}"',
            "write the number as in the design, or { n = ..., e = ... }",
        )
    xy = plan_xy_m(inputs.design, np.array([index], dtype=np.int64))
    return np.asarray(to_ground_m(xy, job.reference.ground)[0])


def _from_tangents(section: CurbReturn, inputs: Inputs, job: Job) -> Arc:
    a, b, c, d = (_place(section, inputs, job, each) for each in section.tangents)
    if section.reversed:
        a, b, c, d = d, c, b, a
    try:
        corner = rounded_corner(np.array([a, b]), np.array([c, d]), section.radius_m)
    except GeometryError as fault:
        refuse(
            "tangents-unusable",
            section.where,
            f"design: {fault}",
            "give two different points of each line, in the direction in which the return is run",
        )
    # A line counts only where it reaches the arc from outside, not where it ends short of it.
    before = float((corner.begin_m - a) @ (b - a)) > 0.0
    after = float((d - corner.end_m) @ (d - c)) > 0.0
    vertices = [corner.begin_m, corner.end_m]
    bulge = [corner.bulge, 0.0]
    if before:
        vertices.insert(0, a)
        bulge.insert(0, 0.0)
    if after:
        vertices.append(d)
        bulge.append(0.0)
    return _made(np.array(vertices), np.array(bulge), int(before), int(after), name="the arc")


def _from_centre(section: CurbReturn, inputs: Inputs, job: Job) -> Arc:
    assert section.centre is not None  # noqa: S101 - the job reader asks for one of the three
    assert section.begin is not None  # noqa: S101
    assert section.end is not None  # noqa: S101
    centre, begin, end = (
        _place(section, inputs, job, each) for each in (section.centre, section.begin, section.end)
    )
    right = section.turns_right
    if section.reversed:
        begin, end, right = end, begin, not right
    away = np.array([begin - centre, end - centre])
    if not np.hypot(away[:, 0], away[:, 1]).min() > 0.0:
        refuse(
            "no-arc",
            section.where,
            "design: the arc begins or ends in its own centre",
            "look at centre, begin and end",
        )
    first, last = azimuth_rad(away[:, 1], away[:, 0]).tolist()
    turn = (last - first) % (2.0 * np.pi) if right else -((first - last) % (2.0 * np.pi))
    if abs(turn) < 1e-9:
        refuse(
            "no-arc",
            section.where,
            "design: begin and end lie in the same direction from the centre",
            "look at begin and end; a return is less than a full circle",
        )
    on = section.radius_m * np.array(
        [[np.sin(angle), np.cos(angle)] for angle in (first, first + turn)]
    )
    bulge = np.array([-np.tan(turn / 4.0), 0.0])
    return _made(centre + on, bulge, 0, 0, name="the arc")


def _made(vertices: FloatArray, bulge: FloatArray, at: int, after: int, *, name: str) -> Arc:
    """Return the arc of a course with so many elements before (`at`) and after it, or without."""
    course = from_vertices(vertices, bulge)
    k = float(course.elements.curvature_in[at])
    start = course.elements.xy_m[at]
    azimuth = float(course.elements.azimuth_rad[at])
    centre = start + np.array([np.cos(azimuth), -np.sin(azimuth)]) / k
    return Arc(
        course=course,
        begin_m=float(course.starts_m[at]),
        length_m=float(course.elements.length_m[at]),
        radius_m=1.0 / abs(k),
        centre_m=centre,
        turn_rad=float(k * course.elements.length_m[at]),
        before=at > 0,
        after=after > 0,
        level_m=np.empty(0),
        name=name,
    )


def _from_layers(
    section: CurbReturn, inputs: Inputs, job: Job, xy: FloatArray, remarks: list[str]
) -> Arc:
    figures = figures_on(inputs, section.layers, section.where, "design")
    arcs = [arc for chain in join_figures(figures).chains for arc in _arcs_of(chain, section)]
    if not arcs:
        refuse(
            "no-arc",
            section.where,
            "design: the lines on its layers have no arc",
            "name the layer on which the return is drawn as an arc",
        )
    away: list[float] = []
    for arc in arcs:
        alone = from_vertices(
            np.array([arc.at(0.0), arc.at(arc.length_m)]),
            np.array([-np.tan(arc.turn_rad / 4.0), 0.0]),
        )
        away.append(float(np.mean(alone.station_offset(xy).away_m)))
    order: list[int] = np.argsort(away, kind="stable").tolist()
    arc = arcs[order[0]]
    if len(arcs) > 1:
        other = length_text(away[order[1]], job.unit, plus=False)
        mine = length_text(away[order[0]], job.unit, plus=False)
        remarks.append(
            f"Of {len(arcs)} arcs on these layers the nearest is meant, {arc.name}: the shots are "
            f"{mine} from it on average, from the next one {other}."
        )
    return arc


def _arcs_of(chain: Chain, section: CurbReturn) -> list[Arc]:
    """Return the arcs of a drawn line, each with the lines that it joins."""
    course = chain.course()
    elements = course.elements
    count = len(elements)
    every = np.arange(count)
    k = elements.curvature_in
    ends = place_on(elements, every, elements.length_m)
    groups: list[list[int]] = []
    for index in range(count):
        if k[index] == 0.0:
            continue
        joins = groups and groups[-1][-1] == index - 1
        if joins and _one_arc(elements.xy_m, elements.azimuth_rad, k, index - 1, index):
            groups[-1].append(index)
        else:
            groups.append([index])
    found = []
    for group in groups:
        first, last = group[0], group[-1]
        turn = float(np.sum(k[group] * elements.length_m[group]))
        if abs(turn) >= 2.0 * np.pi - 1e-6:
            continue
        lead = _joining(first, -1, group, k, closed=chain.closed)
        follow = _joining(last, 1, [*group, *lead], k, closed=chain.closed)
        bends = -np.tan(k * elements.length_m / 4.0)
        vertices = [*elements.xy_m[lead], elements.xy_m[first], ends[last], *ends[follow]]
        bulge = [*bends[lead], -np.tan(turn / 4.0), *bends[follow], 0.0]
        corners, turns = np.array(vertices), np.array(bulge)
        before, after = len(lead), len(follow)
        level = _levels(chain, elements.xy_m[first], ends[last])
        if section.reversed:
            corners, before, after, level = corners[::-1], after, before, level[::-1]
            # The bulge stands at the vertex where its segment begins.
            turns = np.roll(-turns[::-1], -1)
        arc = _made(corners, turns, before, after, name=chain.name)
        found.append(replace(arc, level_m=level))
    return found


def _joining(end: int, step: int, taken: list[int], k: FloatArray, *, closed: bool) -> list[int]:
    """Return the elements that join an arc, in order: further arcs, up to the first line.

    end: the arc's first or last element. step: -1 before it, 1 behind it. taken: those that are
    spoken for. k: curvatures.
    """
    found: list[int] = []
    index = end + step
    while True:
        index = index % len(k) if closed else index
        if not 0 <= index < len(k) or index in taken or index in found:
            break
        found.append(index)
        if k[index] == 0.0:
            break
        index += step
    return found[::step]


def _one_arc(xy: FloatArray, azimuth: FloatArray, k: FloatArray, one: int, other: int) -> bool:
    """Tell whether two arcs, one behind the other, are parts of one circle."""
    centres = [
        xy[each] + np.array([np.cos(azimuth[each]), -np.sin(azimuth[each])]) / k[each]
        for each in (one, other)
    ]
    apart = float(np.hypot(*(centres[1] - centres[0])))
    return bool(
        k[one] * k[other] > 0.0
        and abs(1.0 / k[one] - 1.0 / k[other]) < ONE_ARC_M
        and apart < ONE_ARC_M
    )


def _levels(chain: Chain, begin: FloatArray, end: FloatArray) -> FloatArray:
    """Return the drawn elevations at an arc's ends; none where the line is drawn in plan."""
    level = chain.xyz_m[:, 2]
    if not (np.isfinite(level).all() and np.any(level != 0.0)):
        return np.empty(0)
    plan = chain.xyz_m[:, :2]
    at = [int(np.argmin(np.hypot(*(plan - each).T))) for each in (begin, end)]
    return np.asarray(level[at])
