"""Curb returns: shots along an arc that rounds off a corner, and the circle that they make.

Along counts from the beginning of the arc, offset is + right of the direction in which it is run.
Both are in the axes of the design, where the drawing is on ground on ground.
"""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import column, item, length_text, refuse
from checker.checks.course import BEYOND_M
from checker.checks.curb_arcs import ONE_ARC_M, Arc, design_arc
from checker.checks.deltas import (
    Deltas,
    Lined,
    counts_item,
    deltas,
    missing_heights,
    point_columns,
    sigmas_of,
)
from checker.checks.frame import to_grid_m, to_ground_m
from checker.checks.line_common import (
    Rows,
    across_items,
    description_column,
    row_names,
    shots_of,
    wanted_points,
)
from checker.checks.lines import limit_m
from checker.checks.shots import Shots, plan_xy_m, select_shots, sigma_level_of
from checker.checks.staking import line_comparisons
from checker.geometry.arrays import GeometryError
from checker.geometry.feet import Feet, Foot
from checker.geometry.fit import CircleFit, fit_circle
from checker.geometry.returns import kink_rad, radius_covariance, radius_per_shot
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.finding import Verdict
from checker.model.inputs import Inputs
from checker.model.job import CurbReturn, Job
from checker.model.measure import Column, Comparison, Item, Measure, Quantity, Supplement
from checker.text import angle_words

_PLAIN_SIGMA_M = 0.005
"""What a shot is taken to be good for where none shows a standard deviation."""
_TOO_SHORT = 0.1
"""A radius whose expanded uncertainty is more than this share of it says nothing."""
_REACH = 1.0 / 6.0
"""A shot within this share of the arc stands for its beginning, middle or end."""
_PLACES = (("beginning", 0.0), ("middle", 0.5), ("end", 1.0))
_WHOLE = "whole arc"


def measure_curb_return(section: CurbReturn, inputs: Inputs, job: Job) -> Measure:
    """Compare shots along a curb return with its design arc, and their circle with its radius.

    A row a shot, by its offset from the arc, or from the line that leads in or out; then a row for
    the arc as a whole, by its fitted radius, and for a beginning, middle or end without a shot.
    Raises InputError where the design has no such arc, its lines do not meet, or a selection finds
    nothing.
    """
    shots = select_shots(section, section.measured, inputs, job)
    rows = shots_of(section.measured, inputs, shots)
    points = shots.points
    xy = to_ground_m(plan_xy_m(points, rows.shot), job.reference.ground)
    governs = (rows.unchecked == "") & ~rows.superseded
    if not governs.any():
        refuse(
            "selection-empty",
            section.where,
            f'"{section.name}": no shot is left to compare with the return',
            "look at the selection and the exclusions",
        )
    arc, remarks = design_arc(section, inputs, job, xy[governs])
    feet = arc.course.station_offset(xy)
    along = feet.distance_m - arc.begin_m
    limit = limit_m(section.tolerance)
    unchecked = _unchecked(rows, feet, arc, along, limit, job)
    compared = unchecked == ""
    governs &= compared
    level = arc.level(along, max(limit, BEYOND_M))
    name = row_names(shots, rows)
    found = _deltas(section, job, shots, rows.shot, name, arc, feet, level)
    on_arc = governs & (along >= -limit) & (along <= arc.length_m + limit)
    circle = _circle(xy[on_arc], arc, _across_sigma(found, feet, arc)[on_arc], section, job)
    table = _Table(
        name=name,
        rows=rows,
        along=along,
        feet=feet,
        found=found,
        unchecked=unchecked,
        governs=governs,
        which=_which(along, governs, arc.length_m),
    )
    return _measure(section, job, arc, table, circle, shots, on_arc, tuple(remarks))


# ---------------------------------------------------------------- the shots


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """The rows of the shots; every array of shape (shots,). which: of the arc's places, or ""."""

    name: TextArray
    rows: Rows
    along: FloatArray
    feet: Feet
    found: Deltas
    unchecked: TextArray
    governs: BoolArray
    which: TextArray


def _unchecked(
    rows: Rows, feet: Feet, arc: Arc, along: FloatArray, limit: float, job: Job
) -> TextArray:
    """Return why shots are not compared: excluded, or beyond what is drawn."""
    unchecked = rows.unchecked.copy()
    total = arc.course.length_m
    over = np.where(feet.kind == Foot.BEFORE, feet.distance_m, feet.distance_m - total)
    beyond = ((feet.kind == Foot.BEFORE) | (feet.kind == Foot.PAST)) & (np.abs(over) > limit)
    for row in np.flatnonzero(beyond & (unchecked == "")).tolist():
        start = feet.kind[row] == Foot.BEFORE
        lined = arc.before if start else arc.after
        what = f"the line that leads {'in' if start else 'out'}" if lined else "the arc"
        past = length_text(float(abs(over[row])), job.unit, plus=False)
        unchecked[row] = f"{past} {'before the start' if start else 'past the end'} of {what}"
    gone = np.flatnonzero(np.isnan(along) & (unchecked == ""))
    unchecked[gone] = "the shot has no position"
    return unchecked


def _which(along: FloatArray, governs: BoolArray, length: float) -> TextArray:
    """Return which of beginning, middle and end each shot is the nearest to, or ""."""
    which: TextArray = np.full(len(along), "", dtype=object)
    rows = np.flatnonzero(governs)
    for word, share in _PLACES:
        if not rows.size:
            break
        off = np.abs(along[rows] - share * length)
        near = int(rows[np.argmin(off)])
        if off.min() <= _REACH * length and not which[near]:
            which[near] = word
    return which


def _deltas(
    section: CurbReturn,
    job: Job,
    shots: Shots,
    shot: IntArray,
    name: TextArray,
    arc: Arc,
    feet: Feet,
    level: FloatArray,
) -> Deltas:
    """Return the shots against the nearest places of the design."""
    grid = to_grid_m(arc.course.point_at(feet.distance_m), job.reference.ground)
    design = wanted_points(name, grid[:, 1], grid[:, 0], level)
    sigma = sigmas_of(shots.points, shot, sigma_level_of(section, job))
    return deltas(design, np.arange(len(name)), shots.points, shot, sigma)


def _across_sigma(found: Deltas, feet: Feet, arc: Arc) -> FloatArray:
    """Return the standard deviation of each shot across the design; NaN where it shows none."""
    direction = arc.course.azimuth_at(feet.distance_m)
    return found.sigma.along(direction + 0.5 * np.pi)


# ---------------------------------------------------------------- the circle


@dataclass(frozen=True, slots=True, kw_only=True)
class _Circle:
    """The circle that the shots on the arc make; absent: why there is none, or why it says nothing.

    sigma_m: standard deviation of its radius, from the shots' own where all show one, else from
    what is left of the fit; NaN where neither can be said.
    """

    fit: CircleFit | None
    shots: int
    sigma_m: float
    stated: bool
    absent: str
    remarks: tuple[str, ...] = ()


def _circle(xy: FloatArray, arc: Arc, sigma: FloatArray, section: CurbReturn, job: Job) -> _Circle:
    """Return the least-squares circle of the shots on the arc."""
    count = len(xy)
    nothing = _Circle(fit=None, shots=count, sigma_m=np.nan, stated=False, absent="")
    if count < 3:
        shown = "one shot lies" if count == 1 else f"{count or 'no'} shots lie"
        return replace(nothing, absent=f"{shown} on the arc: a radius needs three")
    try:
        fit = fit_circle(xy)
    except GeometryError as fault:
        return replace(nothing, absent=f"no circle fits the shots: {fault}")
    stated = bool(np.isfinite(sigma).all() and np.all(sigma > 0.0))
    own = float(fit.sigma_radius_m)
    if stated:
        own = float(np.sqrt(radius_covariance(xy, fit.centre_m, sigma)[2, 2]))
    per_shot = radius_per_shot(xy, fit.centre_m)
    reach = angle_words(fit.turn_rad, 0)
    middle = fit.radius_m * (1.0 - float(np.cos(fit.turn_rad / 2.0)))
    one = length_text(_PLAIN_SIGMA_M, job.unit, plus=False)
    said = (
        f"The {count} shots on the arc reach over {reach} of it, with a middle ordinate of "
        f"{length_text(middle, job.unit, plus=False)}; {one} in a shot changes the fitted radius "
        f"by about {length_text(per_shot * _PLAIN_SIGMA_M, job.unit, plus=False)}."
    )
    k = 2.0 if section.tolerance is None else section.tolerance.k
    doubt = own if np.isfinite(own) else per_shot * _PLAIN_SIGMA_M
    absent = ""
    if k * max(doubt, 0.0) > _TOO_SHORT * arc.radius_m:
        unsure = length_text(k * doubt, job.unit, plus=False)
        absent = (
            f"too short an arc to say its radius: the shots reach over {reach} of it, and the "
            f"radius is known to {unsure}"
        )
    return _Circle(fit=fit, shots=count, sigma_m=own, stated=stated, absent=absent, remarks=(said,))


# ---------------------------------------------------------------- the measure


def _measure(
    section: CurbReturn,
    job: Job,
    arc: Arc,
    table: _Table,
    circle: _Circle,
    shots: Shots,
    on_arc: BoolArray,
    remarks: tuple[str, ...],
) -> Measure:
    """Return the measure: the shots, the arc as a whole, and places without a shot."""
    rows = len(table.name)
    covered = set(table.which.tolist())
    missing = [word for word, _ in _PLACES if word not in covered]
    more = 1 + len(missing)
    limited = section.tolerance is not None and section.tolerance.radius is not None
    behind = np.full((rows + more, max(1, int(on_arc.sum()))), -1, dtype=np.int64)
    behind[:rows, 0] = table.rows.shot
    behind[rows, : int(on_arc.sum())] = table.rows.shot[on_arc]
    what = section.complete
    unchecked = _longer(table.unchecked, more)
    unchecked[rows] = "" if limited else "no limit on the radius is stated"
    for number, word in enumerate(missing, start=rows + 1):
        unchecked[number] = f"no shot near the {word} of the arc"
    said = _longer(np.full(rows, "", dtype=object), more)
    said[:rows][table.rows.superseded] = "measured again later"
    name = _longer(table.name, more)
    name[rows] = _WHOLE
    for number, word in enumerate(missing, start=rows + 1):
        name[number] = word
    counted = np.zeros(rows + more, dtype=np.bool_)
    counted[:rows] = ~table.rows.superseded & (table.rows.unchecked == "")
    counted[rows] = limited
    counted[rows + 1 :] = what
    undecided: TextArray = np.full(rows + more, "", dtype=object)
    fitted = np.nan if circle.fit is None else circle.fit.radius_m
    superseded = np.concatenate((table.rows.superseded, np.zeros(more, dtype=np.bool_)))
    found = Deltas(
        **{
            key: _padded(getattr(table.found, key), more)
            for key in Deltas.__dataclass_fields__
            if key != "sigma"
        },
        sigma=replace(
            table.found.sigma,
            **{key: _padded(getattr(table.found.sigma, key), more) for key in ("n", "e", "h", "z")},
            correlation=None
            if table.found.sigma.correlation is None
            else np.concatenate((table.found.sigma.correlation, np.zeros(more))),
        ),
    )
    across = _padded(table.feet.offset_m, more)
    direction = arc.course.azimuth_at(table.feet.distance_m)
    none = np.full(rows + more, np.nan)
    shown = Lined(
        along=none,
        across=across,
        station=none,
        offset=across,
        azimuth=np.concatenate((direction, np.zeros(more))),
    )
    compared = table.unchecked == ""
    return Measure(
        kind="curb_return",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=name,
        columns=(
            *_named(point_columns(found, name, superseded, name, lined=shown)),
            column("along_arc", "Along the arc", Quantity.DISTANCE, _padded(table.along, more)),
            column("part", "Stands for", Quantity.TEXT, _longer(table.which, more)),
            column("radius", "Radius", Quantity.LENGTH, _only(rows, more, fitted)),
            column(
                "d_radius", "Δ radius", Quantity.LENGTH, _only(rows, more, fitted - arc.radius_m)
            ),
            column("sigma_radius", "σ radius", Quantity.LENGTH, _only(rows, more, circle.sigma_m)),
            description_column(_longer(shots.points.description[table.rows.shot], more)),
        ),
        summary=(
            counts_item("shots", "Shots compared", int(table.governs.sum())),
            *_arc_items(arc),
            *_circle_items(arc, circle),
            *across_items(table.feet.offset_m[table.governs]),
        ),
        comparisons=_comparisons(arc, shown, found, circle, table.along),
        judged_by_row=True,
        shots=behind,
        used=np.unique(table.rows.shot[compared]),
        unchecked=unchecked,
        undecided=undecided,
        said=said,
        counted=counted,
        remarks=(*remarks, *circle.remarks, *_words(arc, circle, job)),
        supplements=(_arc_places(arc, job),),
    )


def _named(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    """Return the columns of points; nothing here lies along a station."""
    away = {"along", "station", "offset"}
    return tuple(replace(each, detail=True) if each.key in away else each for each in columns)


def _padded(values: FloatArray, more: int) -> FloatArray:
    return np.concatenate((values, np.full(more, np.nan)))


def _longer(values: TextArray, more: int) -> TextArray:
    text: TextArray = np.concatenate((values, np.full(more, "", dtype=object)))
    return text


def _only(rows: int, more: int, value: float) -> FloatArray:
    """Return a column that only the arc as a whole fills."""
    values = np.full(rows + more, np.nan)
    values[rows] = value
    return values


def _comparisons(
    arc: Arc, shown: Lined, found: Deltas, circle: _Circle, along: FloatArray
) -> tuple[Comparison, ...]:
    """Return the offset, the height of the shots, and the radius of the arc."""
    count, rows = len(shown.across), len(along)
    of_shot = np.arange(count) < rows
    sigma_dz = found.sigma.against_slope(shown.azimuth, _padded(arc.rise(along), count - rows))
    _, across = line_comparisons(shown, found)
    across = replace(across, applies=of_shot)
    horizontal = replace(across, limit="horizontal", label="off the arc", value=found.horizontal)
    unknown = np.isnan(found.known_z)
    absent, verdict = missing_heights(
        np.isnan(found.measured_z), unknown, "the design gives no elevation there"
    )
    vertical = Comparison(
        limit="vertical",
        label="vertical",
        value=found.dz,
        sigma=sigma_dz,
        absent=absent,
        absent_verdict=verdict,
        applies=of_shot & ~(unknown & _off_arc(arc, found)),
    )
    value = np.full(count, np.nan)
    if circle.fit is not None and not circle.absent:
        value[rows] = circle.fit.radius_m - arc.radius_m
    sigma = np.full(count, circle.sigma_m)
    radius = Comparison(
        limit="radius",
        label="radius",
        value=value,
        sigma=sigma,
        length_m=np.full(count, arc.radius_m),
        absent=np.full(count, circle.absent, dtype=object),
        absent_verdict=np.full(count, Verdict.UNDECIDED, dtype=np.int8),
        applies=np.arange(count) == rows,
    )
    return horizontal, across, vertical, radius


def _off_arc(arc: Arc, found: Deltas) -> BoolArray:
    """Return which rows have no elevation because they lie on a line beside the arc."""
    return np.isnan(found.known_z) & bool(len(arc.level_m))


def _arc_items(arc: Arc) -> tuple[Item, ...]:
    """Return the design's own elements."""
    turn = abs(arc.turn_rad)
    radius, length = arc.radius_m, Quantity.DISTANCE
    tangent = radius * float(np.tan(turn / 2.0)) if turn < np.pi else np.nan
    return (
        item("design_radius", "Design radius", length, radius),
        item("turn", "Turns, + right", Quantity.ANGLE, arc.turn_rad),
        item("length", "Length of the arc", length, arc.length_m),
        item("tangent", "Tangent", length, tangent),
        item("chord", "Long chord", length, 2.0 * radius * float(np.sin(turn / 2.0))),
        item("ordinate", "Middle ordinate", length, radius * (1.0 - float(np.cos(turn / 2.0)))),
    )


def _arc_places(arc: Arc, job: Job) -> Supplement:
    """Return where the design arc lies, on the grid, with its elevations."""
    along = np.array([0.0, arc.length_m / 2.0, arc.length_m])
    on = np.array([arc.centre_m, *(arc.at(each) for each in along.tolist())])
    grid = to_grid_m(on, job.reference.ground)
    spot = Quantity.COORDINATE
    return Supplement(
        key="arc",
        title="Where the design arc lies",
        head="Place",
        id=np.array(["centre", *(word for word, _ in _PLACES)], dtype=object),
        columns=(
            column("n", "N", spot, grid[:, 1]),
            column("e", "E", spot, grid[:, 0]),
            column("z", "Z", spot, np.concatenate(([np.nan], arc.level(along, ONE_ARC_M)))),
        ),
        detail=True,
    )


def _circle_items(arc: Arc, circle: _Circle) -> tuple[Item, ...]:
    """Return what the fitted circle is, and how it meets the design's ends."""
    length, angle, nan = Quantity.LENGTH, Quantity.ANGLE, np.nan
    fit = circle.fit
    shift = np.full(2, nan) if fit is None else fit.centre_m - arc.centre_m
    left = nan if fit is None else float(np.abs(fit.residual_m).max())
    gaps, kinks = _meeting(arc, circle)
    return (
        counts_item("shots_on_arc", "Shots that the circle is fitted to", circle.shots),
        item("radius", "Fitted radius", Quantity.DISTANCE, nan if fit is None else fit.radius_m),
        item("d_radius", "Fitted minus design radius", length, _radius_off(arc, circle)),
        item("sigma_radius", "σ of the fitted radius", length, circle.sigma_m),
        item("centre_dn", "Centre lies north by", length, float(shift[1])),
        item("centre_de", "Centre lies east by", length, float(shift[0])),
        item("centre_off", "Centre lies off by", length, float(np.hypot(*shift))),
        item("left_max", "Left after the fit, at most", length, left),
        item("gap_begin", "Circle past the beginning, + outward", length, gaps[0]),
        item("gap_end", "Circle past the end, + outward", length, gaps[1]),
        item("kink_begin", "Kink where the arc begins, + right", angle, kinks[0]),
        item("kink_end", "Kink where the arc ends, + right", angle, kinks[1]),
    )


def _radius_off(arc: Arc, circle: _Circle) -> float:
    return np.nan if circle.fit is None else circle.fit.radius_m - arc.radius_m


def _meeting(arc: Arc, circle: _Circle) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return how the fitted circle passes the arc's design ends, and the kinks with the lines.

    Gaps: how far outside those ends it passes. Kinks: by how much the direction changes from the
    line in to the circle, and from the circle to the line out; NaN where no line is given.
    """
    if circle.fit is None:
        return (np.nan, np.nan), (np.nan, np.nan)
    centre, radius = circle.fit.centre_m, circle.fit.radius_m
    gaps, kinks = [], []
    for along, lined, sign in ((0.0, arc.before, 1.0), (arc.length_m, arc.after, -1.0)):
        at = arc.at(along)
        gaps.append(radius - float(np.hypot(*(at - centre))))
        step = np.array([arc.begin_m + along - sign * 1e-6])
        line = float(arc.course.azimuth_at(step)[0])
        kinks.append(sign * kink_rad(centre, at, line, arc.turn_rad) if lined else np.nan)
    return (gaps[0], gaps[1]), (kinks[0], kinks[1])


def _words(arc: Arc, circle: _Circle, job: Job) -> tuple[str, ...]:
    """Return the fit in words."""
    if circle.fit is None:
        return (f"{circle.absent[:1].upper()}{circle.absent[1:]}.", *_compound(arc))

    def size(value_m: float) -> str:
        return length_text(abs(value_m), job.unit, plus=False)

    off = _radius_off(arc, circle)
    shift = circle.fit.centre_m - arc.centre_m
    how = "larger" if off > 0.0 else "smaller"
    sigma = ""
    if np.isfinite(circle.sigma_m):
        source = "the shots' own" if circle.stated else "what is left of the fit"
        sigma = f" (σ {size(circle.sigma_m)}, from {source})"
    text = (
        f"The fitted radius is {size(circle.fit.radius_m)}{sigma}, {size(off)} {how} than design; "
        f"its centre lies {size(shift[1])} {'north' if shift[1] >= 0.0 else 'south'} and "
        f"{size(shift[0])} {'east' if shift[0] >= 0.0 else 'west'} of the design's."
    )
    _, kinks = _meeting(arc, circle)
    for word, kink, joins in zip(("beginning", "end"), kinks, arc.neighbours, strict=True):
        if np.isfinite(kink):
            text += f" At the {word} it kinks by {angle_words(abs(float(kink)))} from the {joins}."
    return (text, *_compound(arc))


def _compound(arc: Arc) -> tuple[str, ...]:
    """Return that other arcs of the return are no part of the circle."""
    if "arc" not in arc.neighbours:
        return ()
    text = (
        "The return is made of several arcs one behind the other. Shots on the others are held to "
        "them by their offset; beginning, middle, end and the circle are of this arc alone."
    )
    return (text,)
