"""As-measured points against lines: drawn lines and arcs, or an alignment.

Across is + right of the line, looking the way it runs; along counts from its start. What is set off
a line is compared with the place that far beside it.
"""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.chains import JOINED_M, Chain, join_figures
from checker.checks.closing import column, length_text
from checker.checks.course import Course, course_of, figures_on
from checker.checks.deltas import (
    Deltas,
    Lined,
    counts_item,
    deltas,
    point_columns,
    point_comparisons,
    sigmas_of,
    spread_items,
)
from checker.checks.frame import to_grid_m, to_ground_m
from checker.checks.line_common import (
    Rows,
    across_items,
    aside,
    description_column,
    heights_where_clear,
    line_remarks,
    row_names,
    shots_of,
    wanted_points,
)
from checker.checks.shots import Shots, plan_xy_m, select_shots, sigma_level_of
from checker.checks.staking import line_comparisons, side_word, wrong_side
from checker.errors import InputError, Problem
from checker.geometry.arrays import GeometryError
from checker.geometry.elements import Elements, azimuth, dot, rightward, tangent
from checker.geometry.elements import place as place_on
from checker.geometry.feet import Foot
from checker.geometry.nearest import Close, NearestIndex, primitives
from checker.geometry.plane import wrap_azimuth
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.inputs import Inputs
from checker.model.job import Job, Stakeout, Tolerance
from checker.model.measure import Column, Comparison, Measure, Quantity
from checker.model.points import Points
from checker.units import LengthUnit

LEAST_LIMIT_M = 1e-3
"""Where the tolerance has no plan limit, what counts as beyond an end, or as near to two lines."""
_ROUNDING_M = 1e-6
_CENTRE = "as near to every place of an arc, in whose centre it stands"


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """The place of a line that is nearest to each shot; arrays of shape (shots,).

    name: of the line. along_m: from its start; before it negative. offset_m: + right. xy_m: shape
    (shots, 2), the place, in the axes of the design; beyond an end on the tangent drawn on.
    aside: shape (shots, 2), unit vectors from there to the right. level_m: the line's own
    elevation; rise: how it rises, metre per metre along. beyond_m: how far the shot is past an end,
    - before the start. rival: what other place is as near, or "".
    """

    name: TextArray
    layer: TextArray
    along_m: FloatArray
    offset_m: FloatArray
    xy_m: FloatArray
    aside: FloatArray
    level_m: FloatArray
    rise: FloatArray
    beyond_m: FloatArray
    rival: TextArray


# ---------------------------------------------------------------- against lines


def measure_lines(section: Stakeout, inputs: Inputs, job: Job) -> Measure:
    """Compare shots with the nearest line of a layer, or with an alignment; a row a shot.

    Raises InputError where a selection finds nothing or a line cannot be used.
    """
    course = None if section.alignment is None else course_of(section.alignment, inputs, job)
    shots = select_shots(section, section.measured, inputs, job)
    rows = shots_of(section.measured, inputs, shots)
    points = shots.points
    xy = to_ground_m(plan_xy_m(points, rows.shot), job.reference.ground)
    limit = limit_m(section.tolerance)
    remarks: list[str] = []
    if section.design.everything:
        if course is None:
            raise AssertionError("the job reader asks for a layer or an alignment")
        near = to_course(course, points, rows.shot, xy, limit)
        count = 1
    else:
        chains = _chains(section, inputs, job, remarks)
        near = to_chains(chains, xy, limit, job.unit)
        count = len(chains)
    set_off = section.stake_offset_m or 0.0
    kept = _within(section, near, set_off, rows)
    rows, near = rows.take(kept), _taken(near, kept)
    far = _far(section, near, set_off)
    return _line_measure(section, job, shots, rows, near, course, far, count, remarks)


def limit_m(tolerance: Tolerance | None) -> float:
    """Return the largest plan limit of a tolerance, metres; a millimetre where it has none."""
    keys = ("horizontal", "across", "left", "right")
    stated = [] if tolerance is None else [getattr(tolerance, key) for key in keys]
    sizes = [
        each.at() for each in stated if each is not None and not (each.needs_n or each.needs_length)
    ]
    return max((float(size) for size in sizes), default=LEAST_LIMIT_M)


def to_course(course: Course, points: Points, shot: IntArray, xy: FloatArray, limit: float) -> Near:
    """Return the nearest places of an alignment."""
    feet = course.feet(points.northing_m[shot], points.easting_m[shot], rival_m=limit)
    alignment = course.alignment
    direction = alignment.azimuth_at(feet.distance_m)
    on = alignment.point_at(feet.distance_m)
    rival: TextArray = np.full(len(shot), "", dtype=object)
    apart = _elsewhere_on(course, xy, feet.distance_m, feet.away_m, feet.rivals > 0, limit)
    rival[apart] = f"as near to two places of {course.name}"
    bend = alignment.curvature_at(feet.distance_m)
    rival[_at_centre(bend, feet.offset_m, limit) & (rival == "")] = _CENTRE
    length = alignment.length_m
    beyond = np.where(
        feet.kind == Foot.BEFORE,
        feet.distance_m,
        np.where(feet.kind == Foot.PAST, feet.distance_m - length, 0.0),
    )
    name: TextArray = np.full(len(shot), course.name, dtype=object)
    layer: TextArray = np.full(len(shot), "", dtype=object)
    return Near(
        name=name,
        layer=layer,
        along_m=feet.distance_m,
        offset_m=feet.offset_m,
        xy_m=on,
        aside=aside(xy, on, feet.offset_m, direction, feet.kind == Foot.VERTEX),
        level_m=np.full(len(shot), np.nan),
        rise=np.full(len(shot), np.nan),
        beyond_m=beyond,
        rival=rival,
    )


def _elsewhere_on(
    course: Course,
    xy: FloatArray,
    along: FloatArray,
    away: FloatArray,
    doubtful: BoolArray,
    limit: float,
) -> BoolArray:
    """Return which shots are as near to a place of the alignment that is really another one."""
    found = np.zeros(len(xy), dtype=np.bool_)
    rows = np.flatnonzero(doubtful)
    if not rows.size:
        return found
    reach = float(away[rows].max()) + limit
    every = course.alignment.all_station_offsets(xy[rows], reach)
    mine = rows[every.point]
    near = every.away_m <= away[mine] + limit
    apart = np.abs(every.distance_m - along[mine]) > 2.0 * (every.away_m + away[mine] + limit)
    found[mine[near & apart]] = True
    return found


def _at_centre(bend: FloatArray, offset: FloatArray, limit: float) -> BoolArray:
    """Return which shots stand in the centre of an arc, as near to every place of it.

    bend: curvature of the nearest place, 1/m, + right.
    """
    return np.asarray((bend != 0.0) & (np.abs(bend * offset - 1.0) <= limit * np.abs(bend)))


# ---------------------------------------------------------------- drawn lines


@dataclass(frozen=True, slots=True, kw_only=True)
class _Course:
    """The parts of all chains as one list; part i runs from an elevation to another.

    chain: shape (parts,). begin_m: how far its chain has run before it. first, last: whether it is
    an open chain's end.
    """

    elements: Elements
    chain: IntArray
    begin_m: FloatArray
    first: BoolArray
    last: BoolArray
    level_in_m: FloatArray
    level_out_m: FloatArray


def _chains(section: Stakeout, inputs: Inputs, job: Job, remarks: list[str]) -> tuple[Chain, ...]:
    what = "design"
    figures = figures_on(inputs, section.design.layers, section.where, what)
    joined = join_figures(figures)
    if not joined.chains:
        raise InputError(
            [
                Problem(
                    slug="line-empty",
                    where=section.where,
                    message="design: no line on its layers has a length",
                    hint="look at what is drawn there",
                )
            ]
        )
    flattened = [figure for figure in figures if not figure.exact]
    if flattened:
        worst = max(figure.sagitta_m for figure in flattened)
        one = len(flattened) == 1
        remarks.append(
            f"{len(flattened)} {'line is' if one else 'lines are'} neither straight nor an arc and "
            f"followed by chords within {length_text(worst, job.unit, plus=False)}."
        )
    return joined.chains


def _has_level(chain: Chain) -> bool:
    """Tell whether a line's elevations mean something: drawn in plan, all are zero."""
    level = chain.xyz_m[:, 2]
    return bool(np.isfinite(level).all() and np.any(level != 0.0))


def _parts(chains: tuple[Chain, ...]) -> _Course:
    """Return the lines and arcs of all chains."""
    elements, chain_of, begin, first, last, into, out = [], [], [], [], [], [], []
    for number, chain in enumerate(chains):
        course = chain.course()
        count = len(course.elements)
        elements.append(course.elements)
        chain_of.append(np.full(count, number, dtype=np.int64))
        begin.append(course.starts_m[:-1])
        ends = np.zeros((2, count), dtype=np.bool_)
        ends[0, 0] = ends[1, -1] = not chain.closed
        first.append(ends[0])
        last.append(ends[1])
        plan, level = chain.xyz_m[:, :2], chain.xyz_m[:, 2]
        if not _has_level(chain):
            level = np.full(len(level), np.nan)
        following = np.roll(np.arange(len(plan)), -1)
        segment = np.arange(len(plan) if chain.closed else len(plan) - 1)
        real = np.hypot(*(plan[following[segment]] - plan[segment]).T) > 1e-9
        into.append(level[segment][real])
        out.append(level[following[segment]][real])
    fields = ("xy_m", "azimuth_rad", "length_m", "curvature_in", "curvature_out")
    return _Course(
        elements=Elements(
            **{key: np.concatenate([getattr(each, key) for each in elements]) for key in fields}
        ),
        chain=np.concatenate(chain_of),
        begin_m=np.concatenate(begin),
        first=np.concatenate(first),
        last=np.concatenate(last),
        level_in_m=np.concatenate(into),
        level_out_m=np.concatenate(out),
    )


def to_chains(chains: tuple[Chain, ...], xy: FloatArray, limit: float, unit: LengthUnit) -> Near:
    """Return the nearest places of drawn lines."""
    parts = _parts(chains)
    elements = parts.elements
    every = np.arange(len(elements))
    ends = place_on(elements, every, elements.length_m)
    bulge = -np.tan(elements.curvature_in * elements.length_m / 4.0)
    try:
        index = NearestIndex(primitives(elements.xy_m, ends, bulge))
    except GeometryError as fault:
        raise AssertionError(str(fault)) from fault
    found, close = index.look_around(xy, limit)
    part, t = found.primitive, found.along_m
    direction = azimuth(elements, part, t)
    on = place_on(elements, part, t)
    away = xy - on
    ahead = dot(away, tangent(direction))
    before = parts.first[part] & found.at_end & (t <= _ROUNDING_M) & (ahead < 0.0)
    whole = elements.length_m[part]
    past = parts.last[part] & found.at_end & (t >= whole - _ROUNDING_M) & (ahead > 0.0)
    out = before | past
    beyond = np.where(out, ahead, 0.0)
    corner = np.flatnonzero(found.at_end & ~out)
    offset = np.where(out, dot(away, rightward(direction)), found.offset_m)
    offset[corner] = _at_corner(parts, part[corner], t[corner], away[corner])
    on = np.where(out[:, None], on + beyond[:, None] * tangent(direction), on)
    share = t / whole
    level = parts.level_in_m[part] + (parts.level_out_m[part] - parts.level_in_m[part]) * share
    chain = parts.chain[part]
    names: TextArray = np.array([each.name for each in chains], dtype=object)
    layers: TextArray = np.array([each.figures[0].layer for each in chains], dtype=object)
    along = parts.begin_m[part] + t + beyond
    return Near(
        name=names[chain],
        layer=layers[chain],
        along_m=along,
        offset_m=offset,
        xy_m=on,
        aside=aside(xy, on, offset, direction, found.at_end & ~out),
        level_m=level,
        rise=(parts.level_out_m[part] - parts.level_in_m[part]) / whole,
        beyond_m=beyond,
        rival=_rivals(chains, parts, index, xy, close, found.offset_m, along, chain, limit, unit),
    )


def _at_corner(parts: _Course, part: IntArray, t: FloatArray, away: FloatArray) -> FloatArray:
    """Return signed distances from vertices: the side is that of the mean of both tangents.

    part, t: the part and the end of it that is nearest. away: from the vertex, shape (n, 2).
    """
    elements = parts.elements
    count = np.bincount(parts.chain)
    first: IntArray = np.asarray(np.cumsum(count) - count, dtype=np.int64)
    chain = parts.chain[part]
    at_start = t <= elements.length_m[part] / 2.0
    step = np.where(at_start, -1, 1)
    other = first[chain] + (part - first[chain] + step) % count[chain]
    at = np.where(at_start, elements.length_m[other], 0.0)
    mine = azimuth(elements, part, t)
    middle = tangent(mine) + tangent(azimuth(elements, other, at))
    flat = np.hypot(middle[:, 0], middle[:, 1]) < _ROUNDING_M
    middle[flat] = tangent(mine)[flat]
    side = away[:, 0] * middle[:, 1] - away[:, 1] * middle[:, 0]
    return np.asarray(np.copysign(np.hypot(away[:, 0], away[:, 1]), side))


def _rivals(  # noqa: PLR0913, PLR0917  (what was found, and what it is compared with)
    chains: tuple[Chain, ...],
    parts: _Course,
    index: NearestIndex,
    xy: FloatArray,
    close: Close,
    offset: FloatArray,
    along: FloatArray,
    chain: IntArray,
    limit: float,
    unit: LengthUnit,
) -> TextArray:
    """Return which other place of the lines is as near to a shot, or ""; shape (shots,).

    Around a corner, and where lines meet in one place, it does not matter which is meant.
    """
    texts: TextArray = np.full(len(xy), "", dtype=object)
    mine = np.abs(offset)
    point, primitive, away = close.point, close.primitive, close.offset_m
    centre = _at_centre(parts.elements.curvature_in[primitive], away, limit) & ~close.at_end
    texts[point[centre]] = _CENTRE
    away = np.abs(away)
    reach = 2.0 * (mine[point] + away + limit)
    other = parts.chain[primitive]
    there = parts.begin_m[primitive] + close.along_m
    same = other == chain[point]
    length = np.zeros(len(chains))
    np.maximum.at(length, parts.chain, parts.begin_m + parts.elements.length_m)
    closed = np.array([each.closed for each in chains], dtype=np.bool_)
    apart = np.abs(there - along[point])
    apart = np.where(closed[other], np.minimum(apart, length[other] - apart), apart)
    neighbour = same & (apart <= reach)
    touching: dict[tuple[int, int], list[FloatArray]] | None = None
    for pair in np.flatnonzero(~neighbour).tolist():
        row = int(point[pair])
        if texts[row]:
            continue
        here, else_where = int(chain[row]), int(other[pair])
        if not same[pair]:
            touching = _touching(chains, parts, index) if touching is None else touching
            places = touching.get((min(here, else_where), max(here, else_where)), [])
            if any(np.hypot(*(xy[row] - each)) <= reach[pair] for each in places):
                continue
        one, two = chains[here].name, chains[else_where].name
        sizes = " and ".join(
            length_text(float(each), unit, plus=False) for each in (mine[row], away[pair])
        )
        texts[row] = (
            f"as near to two places of {one}, {sizes}"
            if same[pair]
            else f"as near to {one} as to {two}, {sizes}"
        )
    return texts


def _touching(
    chains: tuple[Chain, ...], parts: _Course, index: NearestIndex
) -> dict[tuple[int, int], list[FloatArray]]:
    """Return for every two lines the places where an end of one lies on the other."""
    open_ones = [number for number, each in enumerate(chains) if not each.closed]
    touching: dict[tuple[int, int], list[FloatArray]] = {}
    if not open_ones:
        return touching
    ends = np.concatenate([chains[number].xyz_m[[0, -1], :2] for number in open_ones])
    end, primitive = index.near(ends, 2.0 * JOINED_M)
    for place_of, part in zip(end.tolist(), primitive.tolist(), strict=True):
        mine, other = open_ones[place_of // 2], int(parts.chain[part])
        if mine != other:
            key = (min(mine, other), max(mine, other))
            touching.setdefault(key, []).append(ends[place_of])
    return touching


# ---------------------------------------------------------------- the measure


def _within(section: Stakeout, near: Near, set_off: float, rows: Rows) -> BoolArray:
    """Return which rows to keep: without a selection of shots only those near enough."""
    kept = np.ones(len(rows.shot), dtype=np.bool_)
    if section.within_m is not None and section.measured.everything:
        kept = _distance(near, set_off) <= section.within_m
    return kept


def _distance(near: Near, set_off: float) -> FloatArray:
    """Return how far shots are from where they should be, ends included."""
    return np.hypot(near.offset_m - set_off, near.beyond_m)


def _far(section: Stakeout, near: Near, set_off: float) -> BoolArray:
    if section.within_m is None:
        return np.zeros(len(near.along_m), dtype=np.bool_)
    return np.asarray(_distance(near, set_off) > section.within_m)


def _taken(near: Near, kept: BoolArray) -> Near:
    return Near(**{key: getattr(near, key)[kept] for key in Near.__dataclass_fields__})


def _design(
    near: Near, set_off: float, level: FloatArray, names: TextArray, job: Job
) -> tuple[Points, FloatArray, FloatArray]:
    """Return where the shots should be, as points, and the places of the line itself (n, e)."""
    ground = job.reference.ground
    on = to_grid_m(near.xy_m, ground)
    stake = to_grid_m(near.xy_m + set_off * near.aside, ground)
    points = wanted_points(names, stake[:, 1], stake[:, 0], level, near.layer)
    return points, on[:, 1], on[:, 0]


def _level(near: Near, course: Course | None, job: Job) -> tuple[FloatArray, FloatArray]:
    """Return the line's own elevation, else that of the alignment's profile beside it; and a rise.

    The rise, metre per metre, is along the line, or of the profile along the alignment.
    """
    if course is None or course.profile is None:
        return near.level_m, near.rise
    grid = to_grid_m(near.xy_m, job.reference.ground)
    feet = course.feet(grid[:, 1], grid[:, 0])
    own = ~np.isnan(near.level_m)
    return (
        np.where(own, near.level_m, course.elevation(feet.distance_m, feet.offset_m)),
        np.where(own, near.rise, course.grade(feet.distance_m)),
    )


def _line_measure(  # noqa: PLR0913, PLR0917  (what was found)
    section: Stakeout,
    job: Job,
    shots: Shots,
    rows: Rows,
    near: Near,
    course: Course | None,
    far: BoolArray,
    lines: int,
    remarks: list[str],
) -> Measure:
    set_off = section.stake_offset_m or 0.0
    points = shots.points
    name = row_names(shots, rows)
    level, rise = _level(near, course, job)
    design, on_n, on_e = _design(near, set_off, level, name, job)
    sigma = sigmas_of(points, rows.shot, sigma_level_of(section, job))
    across = near.offset_m - set_off
    found = deltas(design, np.arange(len(name)), points, rows.shot, sigma)
    # Azimuth of the line: a quarter turn left of what points to its right.
    direction = wrap_azimuth(np.arctan2(-near.aside[:, 1], near.aside[:, 0]))
    shown = Lined(
        along=near.along_m,
        across=across,
        station=near.along_m,
        offset=near.offset_m,
        azimuth=direction,
    )
    sigma_dz = sigma.against_slope(direction, rise)
    if course is not None:
        feet = course.feet(found.measured_n, found.measured_e)
        shown = replace(shown, station=feet.station_m, offset=feet.offset_m)
    unchecked = rows.unchecked.copy()
    for row in np.flatnonzero(far & (unchecked == "")).tolist():
        away = length_text(float(abs(near.offset_m[row])), job.unit, plus=False)
        unchecked[row] = f"no line near enough: the nearest, {near.name[row]}, is {away} away"
    said = wrong_side(across, set_off)
    said[rows.superseded] = "staked again later"
    compared = unchecked == ""
    governing = compared & ~rows.superseded
    return Measure(
        kind="stakeout",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=name,
        columns=(
            *point_columns(found, name, rows.superseded, name, lined=shown),
            *_feature_columns(near, set_off, level, on_n, on_e),
            column("sigma_dz", "σ of ΔZ", Quantity.LENGTH, sigma_dz, detail=True),
            column("line", "Line", Quantity.TEXT, near.name, detail=lines == 1),
            column("layer", "Layer", Quantity.TEXT, near.layer, detail=True),
            description_column(points.description[rows.shot]),
        ),
        summary=(
            counts_item("lines", "Lines", lines),
            counts_item("shots", "Shots compared", int(governing.sum())),
            counts_item("beyond", "Beyond an end", int((governing & (near.beyond_m != 0.0)).sum())),
            *across_items(across[governing]),
            *(each for each in spread_items(found, governing) if each.key.endswith("_z")),
        ),
        comparisons=_line_comparisons(section, shown, found, near, sigma_dz),
        judged_by_row=True,
        shots=rows.shot[:, None],
        used=np.unique(rows.shot[compared]),
        unchecked=unchecked,
        undecided=_undecided(section, near, job.unit),
        said=said,
        counted=~rows.superseded & (rows.unchecked == ""),
        remarks=line_remarks(section, rows, course, job.unit, remarks),
    )


def _feature_columns(
    near: Near, set_off: float, level: FloatArray, on_n: FloatArray, on_e: FloatArray
) -> tuple[Column, ...]:
    """Return the places of the line for which the stakes stand."""
    if not set_off:
        return ()
    where = Quantity.COORDINATE
    side: TextArray = np.full(len(on_n), side_word(set_off), dtype=object)
    return (
        column("feature_n", "Feature N", where, on_n, detail=True),
        column("feature_e", "Feature E", where, on_e, detail=True),
        column("feature_z", "Feature Z", where, level, detail=True),
        column("feature_offset", "Offset from feature", Quantity.LENGTH, near.offset_m),
        column("side", "Stake stands", Quantity.TEXT, side),
    )


def _line_comparisons(
    section: Stakeout, shown: Lined, found: Deltas, near: Near, sigma_dz: FloatArray
) -> tuple[Comparison, ...]:
    """Return plan and height: across the line, and along it only beyond its ends."""
    along, across = line_comparisons(replace(shown, along=near.beyond_m), found)
    _, vertical = point_comparisons(found, "the line")
    horizontal = Comparison(
        limit="horizontal", label="from the line", value=found.horizontal, sigma=across.sigma
    )
    ends = (along,) if section.tolerance is not None and section.tolerance.along else ()
    heights = heights_where_clear(replace(vertical, sigma=sigma_dz), near.rival != "")
    return (horizontal, *heights, *ends, across)


def _undecided(section: Stakeout, near: Near, unit: LengthUnit) -> TextArray:
    """Return why it is not clear which place of which line is meant, or ""; shape (rows,)."""
    texts = near.rival.copy()
    if section.tolerance is not None and section.tolerance.along is not None:
        return texts
    limit = limit_m(section.tolerance)
    for row in np.flatnonzero(np.abs(near.beyond_m) > limit).tolist():
        end = "start" if near.beyond_m[row] < 0 else "end"
        size = length_text(float(abs(near.beyond_m[row])), unit, plus=False)
        text = f"beyond the {end} of the line by {size}"
        texts[row] = f"{texts[row]}; {text}" if texts[row] else text
    return texts
