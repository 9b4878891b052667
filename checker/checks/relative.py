"""How points stand to each other: sides, diagonals, spacings, whatever the place of the whole.

Distances are horizontal; where the drawing is on ground they are on ground, the design's as drawn
and the as-measured ones brought there by the same combined factor. dz is the as-measured difference
of elevation less the design's, second minus first.
"""

import difflib
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from checker.checks.closing import column, item, refuse
from checker.checks.deltas import counts_item, sigmas_of
from checker.checks.frame import ground_scale
from checker.checks.selecting import need_points, select_points, stripped_ids, unique_points
from checker.checks.shots import Shots, design_index, select_shots, several, sigma_level_of
from checker.errors import InputError, Problem, Where
from checker.geometry.arrays import GeometryError
from checker.geometry.fit import PlaneMove, fit_rigid
from checker.geometry.plane import azimuth_rad
from checker.lengths import small_text
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.finding import Verdict
from checker.model.inputs import Inputs
from checker.model.job import Job, Relative, Selection
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.model.points import Points
from checker.text import angle_words
from checker.units import LengthUnit

_MOST = 200
"""A group of more points has more pairs than anyone reads."""
_NO_HEIGHT_M = 1e-3
"""A top less than so much above its bottom stands for nothing that could lean."""


def measure_relative(section: Relative, inputs: Inputs, job: Job) -> Measure:
    """Compare distances and differences of elevation between points with design, a row a pair.

    A point's latest shot speaks for it. A name of `groups` stands for the middle of its points.
    Rows of bottoms and tops follow: how far the top stands off its bottom in plan, beyond what the
    design says (nothing, where it does not have both). Raises InputError where a pair names no
    design point, a group has fewer than two points, a design number stands twice with other
    coordinates, or an exclusion names no shot.
    """
    problems: list[Problem] = []
    shots = asked = None
    try:
        if section.pairs or section.group is not None or section.groups or section.line:
            need_points(inputs.design, "design", section.where)
        asked = _asked(section, inputs)
    except InputError as fault:
        problems += fault.problems
    try:
        shots = select_shots(section, section.measured, inputs, job)
    except InputError as fault:
        problems += fault.problems
    if problems or shots is None or asked is None:
        raise InputError(problems)
    marks = _marks(section, inputs, job, shots, asked.members)
    place = {name: number for number, name in enumerate(asked.members)}
    every = [*asked.pairs, *section.plumb]
    whole = dict.fromkeys(asked.group or [name for pair in asked.pairs for name in pair])
    rows = _Rows(
        first=np.array([place[one] for one, _ in every], dtype=np.int64),
        second=np.array([place[other] for _, other in every], dtype=np.int64),
        plumb=np.arange(len(every)) >= len(asked.pairs),
    )
    return _measure(
        section, job, marks, rows, np.array([place[name] for name in whole], dtype=np.int64)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What a section asks for: the points of every mark by its name, the group, the pairs."""

    members: dict[str, tuple[str, ...]]
    group: tuple[str, ...]
    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """Marks compared, by their places; arrays of shape (rows,). plumb: a bottom and its top."""

    first: IntArray
    second: IntArray
    plumb: BoolArray


# ---------------------------------------------------------------- what is asked


def _asked(section: Relative, inputs: Inputs) -> _Asked:
    """Return what is asked for; raises InputError for marks that there are not."""
    problems: list[Problem] = []
    groups: dict[str, tuple[str, ...]] = {}
    for name, selection in section.groups.items():
        try:
            groups[name] = _points_of(section, inputs, selection, f"groups, {name}")
        except InputError as fault:
            problems += fault.problems
    group: tuple[str, ...] = ()
    if section.group is not None:
        try:
            group = _points_of(section, inputs, section.group, "group")
        except InputError as fault:
            problems += fault.problems
    pairs = [*section.pairs, *combinations(group, 2)]
    pairs += [(section.line[0], name) for name in section.line[1:]]
    pairs = list(dict.fromkeys(pairs))
    names = list(dict.fromkeys((*group, *(name for pair in pairs for name in pair))))
    design = inputs.design
    known = set() if design is None else {str(name) for name in stripped_ids(design).tolist()}
    wanted = [name for name in names if name not in section.groups and name not in known]
    ends = list(dict.fromkeys(name for pair in section.plumb for name in pair))
    if inputs.measured is not None:
        shot = {str(name) for name in stripped_ids(inputs.measured).tolist()}
        wanted += [name for name in ends if name not in known and name not in shot]
    for name in dict.fromkeys(wanted):
        near = difflib.get_close_matches(name, [*groups, *sorted(known)], n=3, cutoff=0.5)
        problems.append(
            Problem(
                slug="unknown-point",
                where=section.where,
                message=f'no design point has the number "{name}"',
                hint=f"the nearest there: {', '.join(near)}" if near else "name a design point",
            )
        )
    if len(section.line) == 1:
        problems.append(
            Problem(
                slug="group-too-small",
                where=section.where,
                message="line names one point",
                hint="name the points of the line in order, two or more",
            )
        )
    if problems:
        raise InputError(problems)
    return _Asked(
        members={name: groups.get(name, (name,)) for name in dict.fromkeys((*names, *ends))},
        group=group,
        pairs=tuple(pairs),
    )


def _design(inputs: Inputs) -> Points:
    assert inputs.design is not None  # noqa: S101  (the caller looked)
    return inputs.design


def _points_of(
    section: Relative, inputs: Inputs, selection: Selection, what: str
) -> tuple[str, ...]:
    """Return the numbers of a group's design points; raises InputError where they are no group."""
    design = _design(inputs)
    try:
        chosen = unique_points(
            design, select_points(design, selection, "design", section.where), section.where
        )
        ids = [str(name) for name in stripped_ids(design)[chosen].tolist() if name]
    except InputError:
        ids = _by_their_shots(inputs, selection)
        if not ids:
            raise
    for wanted in selection.ids:
        if not any(mark in wanted for mark in "*?") and wanted not in ids:
            refuse(
                "unknown-point",
                section.where,
                f'{what}: no design point has the number "{wanted}"',
                "write the number as in the design",
            )
    if len(ids) < 2:
        refuse(
            "group-too-small",
            section.where,
            f"{what}: {len(ids) or 'no'} numbered design point fits, and a group has two or more",
            "select more points, or name pairs",
        )
    if len(ids) > _MOST:
        refuse(
            "group-too-large",
            section.where,
            f"{what}: {len(ids)} points have {len(ids) * (len(ids) - 1) // 2} pairs",
            f"name the pairs that matter, or groups of {_MOST} points at most",
        )
    return tuple(ids)


def _by_their_shots(inputs: Inputs, selection: Selection) -> list[str]:
    """Return the design points whose shots fit a selection: descriptions are often the crew's."""
    measured = inputs.measured
    if measured is None or not selection.descriptions:
        return []
    try:
        chosen = select_points(measured, selection, "measured", Where(file=""))
    except InputError:
        return []
    known = set(stripped_ids(_design(inputs)).tolist())
    names = stripped_ids(measured)[chosen].tolist()
    return [name for name in dict.fromkeys(names) if name and name in known]


# ---------------------------------------------------------------- the marks


@dataclass(frozen=True, slots=True, kw_only=True)
class _Marks:
    """Points, or middles of groups: arrays of shape (marks,), metres; NaN where not there.

    known, measured: shape (marks, 3), northing, easting, elevation; sigma: of measured, likewise.
    shots: indices of the shots behind each mark. absent: why it was not measured, or "".
    """

    name: TextArray
    known: FloatArray
    measured: FloatArray
    sigma: FloatArray
    shots: tuple[tuple[int, ...], ...]
    absent: TextArray
    superseded: int


def _marks(
    section: Relative,
    inputs: Inputs,
    job: Job,
    shots: Shots,
    members: dict[str, tuple[str, ...]],
) -> _Marks:
    """Return where the marks are by design and as measured."""
    points = shots.points
    wanted = {name for names in members.values() for name in names}
    known_at = design_index(inputs, wanted, section.where)
    latest, _ = shots.latest()
    count = len(members)
    known, measured = np.full((count, 3), np.nan), np.full((count, 3), np.nan)
    sigma = np.full((count, 3), np.nan)
    absent: TextArray = np.full(count, "", dtype=object)
    behind = []
    level = sigma_level_of(section, job)
    for number, names in enumerate(members.values()):
        at = np.array([known_at[name] for name in names if name in known_at], dtype=np.int64)
        if len(at) == len(names):
            known[number] = _middle(_design(inputs), at)
        missing = [name for name in names if name not in latest]
        behind.append(tuple(latest[name] for name in names if name in latest))
        if missing:
            absent[number] = shots.why_absent(missing[0])
            if len(missing) > 1:
                absent[number] += f", and {len(missing) - 1} more"
            continue
        shot = np.array(behind[-1], dtype=np.int64)
        measured[number] = _middle(points, shot)
        drawn = len(at) == len(names)  # then what the design's rounding may be off by counts too
        each = sigmas_of(points, shot, level, control=False, design=drawn)
        squares = [float(np.sum(part**2)) for part in (each.n, each.e, each.z)]
        sigma[number] = np.sqrt(squares) / len(shot)
    used = {name for names in members.values() for name in names}
    repeated = sum(
        int(np.count_nonzero(shots.id[shots.live] == name)) - 1 for name in used if name in latest
    )
    return _Marks(
        name=np.array(list(members), dtype=object),
        known=known,
        measured=measured,
        sigma=sigma,
        shots=tuple(behind),
        absent=absent,
        superseded=repeated,
    )


def _middle(points: Points, index: IntArray) -> FloatArray:
    """Return the mean northing, easting and elevation of points."""
    axes = (points.northing_m, points.easting_m, points.elevation_m)
    # About the first, so that the mean of one point is that point to the last digit.
    return np.array([axis[index[0]] + np.mean(axis[index] - axis[index[0]]) for axis in axes])


# ---------------------------------------------------------------- the rows


def _measure(
    section: Relative,
    job: Job,
    marks: _Marks,
    pairs: _Rows,
    whole: IntArray,
) -> Measure:
    """Return the measure of pairs of marks."""
    first, second, plumb = pairs.first, pairs.second, pairs.plumb
    ground = ground_scale(job.reference.ground)
    known = (marks.known[second] - marks.known[first]) * ground
    found = (marks.measured[second] - marks.measured[first]) * ground
    level = ~plumb
    design_distance = np.where(level, np.hypot(known[:, 0], known[:, 1]), np.nan)
    distance = np.where(level, np.hypot(found[:, 0], found[:, 1]), np.nan)
    dz = np.where(level, found[:, 2] - known[:, 2], np.nan)
    sigma_distance, sigma_dz = _sigmas(marks, found, first, second)
    lean = np.where(plumb[:, None], found[:, :2] - np.nan_to_num(known[:, :2]), np.nan)
    off = np.hypot(lean[:, 0], lean[:, 1])
    height = np.where(plumb, np.abs(found[:, 2]), np.nan)
    no_lean = not plumb.any()
    names = marks.name
    rows = len(first)
    row_id: TextArray = np.array(
        [f"{names[a]}-{names[b]}" for a, b in zip(first.tolist(), second.tolist(), strict=True)],
        dtype=object,
    )
    unchecked: TextArray = np.full(rows, "", dtype=object)
    for row, (a, b) in enumerate(zip(first.tolist(), second.tolist(), strict=True)):
        why = [marks.absent[place] for place in (a, b) if marks.absent[place]]
        unchecked[row] = "; ".join(dict.fromkeys(why))
    behind = [
        (*marks.shots[a], *marks.shots[b])
        for a, b in zip(first.tolist(), second.tolist(), strict=True)
    ]
    shots = np.full((rows, max(map(len, behind), default=1) or 1), -1, dtype=np.int64)
    for row, each in enumerate(behind):
        shots[row, : len(each)] = each
    blank: TextArray = np.full(rows, "", dtype=object)
    items, remarks = _as_a_whole(marks, whole, job)
    length = Quantity.LENGTH
    earlier = several(marks.superseded, "earlier shot")
    again = (f"{earlier} of these points superseded by later ones.",) if marks.superseded else ()
    differences = np.abs(distance - design_distance)
    largest = float(np.nanmax(differences)) if np.isfinite(differences).any() else np.nan
    heights = np.abs(dz)
    largest_z = float(np.nanmax(heights)) if np.isfinite(heights).any() else np.nan
    return Measure(
        kind="relative",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=row_id,
        columns=(
            column("design_distance", "Design distance", Quantity.DISTANCE, design_distance),
            column("measured_distance", "As-measured distance", Quantity.DISTANCE, distance),
            column("d_distance", "Δ distance", length, distance - design_distance),
            column("dz", "ΔZ", length, dz),
            column("sigma_distance", "σ distance", length, np.where(level, sigma_distance, np.nan)),
            column("height", "Height", Quantity.DISTANCE, height, detail=no_lean),
            column("lean", "Out of plumb", length, off, detail=no_lean),
            column("lean_n", "Top leans north", length, lean[:, 0], detail=no_lean),
            column("lean_e", "Top leans east", length, lean[:, 1], detail=no_lean),
            column("sigma_dz", "σ of ΔZ", length, sigma_dz, detail=True),
            column("first", "First", Quantity.TEXT, names[first], detail=True),
            column("second", "Second", Quantity.TEXT, names[second], detail=True),
        ),
        summary=(
            counts_item("pairs", "Pairs", int(level.sum())),
            counts_item("points", "Points", len(names)),
            counts_item("missing", "Not measured", int((marks.absent != "").sum())),
            item("max_abs_d_distance", "Largest Δ distance, either way", length, largest),
            item("max_abs_z", "Largest ΔZ, either way", length, largest_z),
            *([] if no_lean else [item("max_lean", "Largest out of plumb", length, _most(off))]),
            *items,
        ),
        comparisons=(
            *_comparisons(
                known, found, design_distance, distance, dz, sigma_distance, sigma_dz, level
            ),
            _out_of_plumb(marks, pairs, lean, height),
        ),
        judged_by_row=True,
        shots=shots,
        used=np.unique(shots[shots >= 0]),
        unchecked=unchecked,
        undecided=blank,
        said=blank.copy(),
        counted=np.ones(rows, dtype=np.bool_),
        remarks=(*remarks, *_diagonals(marks, whole, job), *again),
    )


def _most(values: FloatArray) -> float:
    """Return the largest of what is there; NaN where nothing is."""
    return float(np.nanmax(values)) if np.isfinite(values).any() else np.nan


def _sigmas(
    marks: _Marks, found: FloatArray, first: IntArray, second: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return the standard deviations of distance and of difference of elevation; shape (rows,).

    Of a distance: the parts of both ends' sigmas along the line; the ends are taken as independent.
    """
    a, b = marks.sigma[first], marks.sigma[second]
    size = np.hypot(found[:, 0], found[:, 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine, sine = found[:, 0] / size, found[:, 1] / size
    variance = cosine**2 * (a[:, 0] ** 2 + b[:, 0] ** 2) + sine**2 * (a[:, 1] ** 2 + b[:, 1] ** 2)
    return np.sqrt(variance), np.hypot(a[:, 2], b[:, 2])


def _comparisons(
    known: FloatArray,
    found: FloatArray,
    design_distance: FloatArray,
    distance: FloatArray,
    dz: FloatArray,
    sigma_distance: FloatArray,
    sigma_dz: FloatArray,
    level: BoolArray,
) -> tuple[Comparison, Comparison]:
    """Return the comparisons of distance and of difference of elevation."""
    absent: TextArray = np.full(len(dz), "", dtype=object)
    verdict = np.full(len(dz), Verdict.UNCHECKED, dtype=np.int8)
    flat = np.isnan(found[:, 2]) & ~np.isnan(found[:, 0])
    absent[flat] = "no elevation was measured"
    verdict[flat] = Verdict.UNDECIDED
    unknown = np.isnan(known[:, 2])
    absent[unknown] = "the design gives no elevation"
    verdict[unknown] = Verdict.UNCHECKED
    return (
        Comparison(
            limit="distance",
            label="distance",
            value=distance - design_distance,
            sigma=sigma_distance,
            length_m=np.where(level, design_distance, 0.0),
            applies=level,
        ),
        Comparison(
            limit="elevation",
            label="difference of elevation",
            value=dz,
            sigma=sigma_dz,
            length_m=np.where(level, design_distance, 0.0),
            absent=absent,
            absent_verdict=verdict,
            applies=level,
        ),
    )


def _out_of_plumb(marks: _Marks, pairs: _Rows, lean: FloatArray, height: FloatArray) -> Comparison:
    """Return how far tops stand off their bottoms; a limit may grow with the height."""
    sigma = np.hypot(marks.sigma[pairs.first, :2], marks.sigma[pairs.second, :2])
    absent: TextArray = np.full(len(height), "", dtype=object)
    absent[np.isnan(height)] = "no elevation was measured"
    flat = height <= _NO_HEIGHT_M
    absent[flat] = "top and bottom were measured at one height: which is which?"
    unknown = np.isnan(height) | flat
    return Comparison(
        limit="plumb",
        label="out of plumb",
        value=np.where(unknown, np.nan, np.hypot(lean[:, 0], lean[:, 1])),
        sigma=np.hypot(sigma[:, 0], sigma[:, 1]),
        vector=lean,
        vector_sigma=sigma,
        length_m=np.nan_to_num(height),
        absent=absent,
        absent_verdict=np.full(len(height), Verdict.UNDECIDED, dtype=np.int8),
        applies=pairs.plumb,
    )


# ---------------------------------------------------------------- the group as a whole


def _as_a_whole(
    marks: _Marks, whole: IntArray, job: Job
) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    """Return how the points lie as a rigid whole, and what is left inside; said in words too.

    The shift is a difference of coordinates, on the grid; what is left inside is on ground.
    """
    unit, ground = job.unit, ground_scale(job.reference.ground)
    there = whole[marks.absent[whole] == ""]
    known, measured = marks.known[there] * ground, marks.measured[there] * ground
    move: PlaneMove | None = None
    if len(there) > 1:
        try:
            move = fit_rigid(known[:, [1, 0]], measured[:, [1, 0]])
        except GeometryError:  # all in one place: nothing turns
            move = None
    length, none = Quantity.LENGTH, np.nan
    if not len(whole):
        return (), ()
    if move is None:
        shift, left, turn = np.full(2, np.nan), np.full(len(there), np.nan), none
    else:
        shift = (move.centre_to_m - move.centre_from_m)[::-1] / ground[:2]
        left = np.hypot(*move.residual_m.T)
        turn = move.rotation_rad
    rise = measured[:, 2] - known[:, 2]
    some = rise[~np.isnan(rise)]
    shift_z = float(some.mean()) if some.size else none
    left_z = float(np.abs(some - shift_z).max()) if some.size else none
    largest = float(left.max()) if left.size else none
    items = (
        item("shift_n", "Best fit: group lies north by", length, float(shift[0])),
        item("shift_e", "Best fit: group lies east by", length, float(shift[1])),
        item("shift", "Best fit: group lies off by", length, float(np.hypot(*shift))),
        item("shift_z", "Group lies high by, on average", length, shift_z),
        item("rotation_arcsec", "Best fit: turned clockwise by", Quantity.SMALL_ANGLE, turn),
        item("left_max", "Left inside after the best fit, at most", length, largest),
        item("left_z_max", "Left in height after the mean, at most", length, left_z),
    )
    if move is None:
        return items, ()
    return items, (_fit_words(move, marks.name[there], shift, left, unit),)


def _fit_words(
    move: PlaneMove, names: TextArray, shift: FloatArray, left: FloatArray, unit: LengthUnit
) -> str:
    """Return the best fit in words."""

    def size(value_m: float) -> str:
        return small_text(value_m, unit)

    north = f"{size(abs(shift[0]))} {'north' if shift[0] >= 0 else 'south'}"
    east = f"{size(abs(shift[1]))} {'east' if shift[1] >= 0 else 'west'}"
    sense = "clockwise" if move.rotation_rad >= 0 else "counter-clockwise"
    worst = int(left.argmax())
    apart = -move.residual_m[worst]
    text = (
        f"As a rigid whole the group lies {north} and {east} of its design and is turned "
        f"{angle_words(abs(move.rotation_rad), 0)} {sense}. With that taken "
        f"away, what is left is at most {size(float(left[worst]))}, at {names[worst]}"
    )
    if left[worst] > 0.0 and len(names) > 2:
        text += (
            f" ({size(abs(float(apart[1])))} {'north' if apart[1] >= 0 else 'south'}, "
            f"{size(abs(float(apart[0])))} {'east' if apart[0] >= 0 else 'west'})"
        )
    return text + "."


def _diagonals(marks: _Marks, whole: IntArray, job: Job) -> tuple[str, ...]:
    """Return how the two diagonals of four points compare: whether a rectangle is square."""
    unit, scale = job.unit, float(ground_scale(job.reference.ground)[0])
    if len(whole) != 4 or (marks.absent[whole] != "").any():
        return ()
    known = marks.known[whole]
    away = known[:, :2] - known[:, :2].mean(axis=0)
    around = whole[np.argsort(azimuth_rad(away[:, 0], away[:, 1]), kind="stable")]
    ends = ((around[0], around[2]), (around[1], around[3]))

    def length_of(place: FloatArray, ends: tuple[int, int]) -> float:
        return scale * float(np.hypot(*(place[ends[1], :2] - place[ends[0], :2])))

    grown = [length_of(marks.measured, pair) - length_of(marks.known, pair) for pair in ends]
    texts = []
    for pair, more in zip(ends, grown, strict=True):
        value = small_text(abs(more), unit)
        said = f"{value} {'longer' if more > 0 else 'shorter'} than design"
        if not value.split(" ", maxsplit=1)[0].strip("0."):
            said = "as long as design"
        texts.append(f"{marks.name[pair[0]]}-{marks.name[pair[1]]} is {said}")
    apart = small_text(abs(grown[0] - grown[1]), unit)
    text = (
        f"Diagonals: {' and '.join(texts)}. Their difference is {apart} off design's: "
        "what the corners are out of square."
    )
    return (text,)
