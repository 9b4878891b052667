"""As-measured points against design points: what was staked, how far off, and what is missing."""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import column, refuse
from checker.checks.deltas import (
    counts_item,
    deltas,
    picked_text,
    point_columns,
    point_comparisons,
    sigmas_of,
    spread_items,
)
from checker.checks.grades import measure_grades
from checker.checks.lines import measure_lines
from checker.checks.matching import Nearest, match_nearest
from checker.checks.older_courses import with_older_grades
from checker.checks.older_lines import with_older_lines
from checker.checks.revisions import past_of
from checker.checks.selecting import (
    check_shots,
    control_remarks,
    exclusion_reasons,
    in_order_of_time,
    loose_id,
    need_points,
    place,
    select_points,
    stripped_ids,
    unique_points,
)
from checker.checks.staking import (
    Staked,
    design_columns,
    line_comparisons,
    lined,
    offset_remark,
    staked_design,
    wrong_side,
)
from checker.errors import InputError, Problem
from checker.geometry import neighbours
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.finding import Verdict
from checker.model.inputs import Inputs
from checker.model.job import Job, Match, Stakeout
from checker.model.measure import Comparison, Measure, Quantity
from checker.model.points import Points
from checker.text import fixed
from checker.units import LengthUnit, SigmaLevel

_FAR_NEARER = 3.0
"""Another design point this many times nearer than the shot's own is worth saying."""
_NO_DESIGN = "no design point of this number"


def measure_stakeout(section: Stakeout, inputs: Inputs, job: Job) -> Measure:
    """Compare as-measured points with the design of a section, a row each.

    Design points are matched by number or by nearness; `match = "line"` compares with drawn lines,
    and `match = "station"` without stakes with the profile at every shot's own station.

    Rows: every selected design point with the shot that governs, the latest of its number; earlier
    shots and excluded ones as rows that do not count; and, where the section says which shots it
    means, the shots without a design point. Raises InputError where a selection finds nothing, a
    design number stands twice with other coordinates, or an exclusion names no shot.
    """
    if section.match is Match.LINE:
        found = measure_lines(section, inputs, job)
        return with_older_lines(found, section, inputs, job) if inputs.older else found
    if section.match is Match.STATION and section.alignment is None:
        refuse(
            "match-unknown",
            section.where,
            'match = "station" needs the alignment on which stations count',
            'add alignment = "...", or write match = "id" or match = "nearest"',
        )
    if section.match is Match.STATION and section.stakes is None and section.design.everything:
        grades = measure_grades(section, inputs, job)
        return with_older_grades(grades, section.alignment, inputs, job)
    scene = _scene(section, inputs, job)
    matched = _by_nearest(scene) if section.match is Match.NEAREST else _by_id(scene)
    rows = _rows(scene, matched)
    return _measure(scene, rows, inputs, job)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """What a section compares.

    target: indices of the design points; target_id: their numbers; shot: indices of the shots that
    may stand for one; reason: shape (as-measured points,), why one is excluded, or "".
    """

    section: Stakeout
    staked: Staked
    design: Points
    measured: Points
    target: IntArray
    target_id: TextArray
    target_name: TextArray
    shot: IntArray
    measured_id: TextArray
    reason: TextArray
    checks: int
    unit: LengthUnit
    level: SigmaLevel | None

    def live(self) -> IntArray:
        """Return the shots that are not excluded."""
        found: IntArray = self.shot[self.reason[self.shot] == ""]
        return found

    def length(self, value_m: float) -> str:
        """Return a length in the job's unit."""
        return f"{fixed(self.unit.from_metres(value_m), 3)} {self.unit.short}"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Matched:
    """Which shot governs each target, and what else there is to say; shot indices, or -1.

    governs: shape (targets,). earlier: pairs (target position, shot) of superseded shots. extra:
    shots without a target, extra_reason why; extra_earlier: which of them a later one supersedes.
    undecided, said: shape (targets,).
    """

    governs: IntArray
    earlier_target: IntArray
    earlier_shot: IntArray
    extra: IntArray
    extra_reason: TextArray
    extra_earlier: BoolArray
    undecided: TextArray
    said: TextArray


def _scene(section: Stakeout, inputs: Inputs, job: Job) -> _Scene:
    """Return what the section compares; raises InputError with everything that is wrong with it."""
    where = section.where
    problems: list[Problem] = []
    target = chosen = np.empty(0, dtype=np.int64)
    staked, measured = None, inputs.measured
    reason: TextArray = np.empty(0, dtype=object)
    try:
        staked = staked_design(section, inputs, job)
        design = staked.points
        target = unique_points(
            design, select_points(design, section.design, "design", where), where
        )
    except InputError as fault:
        problems += fault.problems
    try:
        measured = need_points(measured, "measured", where)
        chosen = select_points(measured, section.measured, "measured", where)
    except InputError as fault:
        problems += fault.problems
    try:
        reason = exclusion_reasons(job, measured) if measured is not None else reason
    except InputError as fault:
        problems += fault.problems
    if problems or staked is None or measured is None:
        raise InputError(problems)
    design = staked.points
    proof = check_shots(replace(inputs, design=design), measured)[chosen]
    target_id = stripped_ids(design)[target]
    stated = job.measured is not None and job.measured.sigma_level is not None
    tolerance = section.tolerance
    return _Scene(
        section=section,
        staked=staked,
        design=design,
        measured=measured,
        target=target,
        target_id=target_id,
        target_name=_names(design, target, target_id),
        shot=chosen[~proof],
        measured_id=stripped_ids(measured),
        reason=reason,
        checks=int(proof.sum()),
        unit=job.unit,
        level=None if tolerance is None or stated else tolerance.sigma_level,
    )


def _names(points: Points, index: IntArray, ids: TextArray) -> TextArray:
    """Return the ids, and for points without one where they were read."""
    names = ids.copy()
    for position in np.flatnonzero(ids == "").tolist():
        names[position] = f"no number: {place(points, int(index[position]))}"
    return names


# ---------------------------------------------------------------- by number


def _by_id(scene: _Scene) -> _Matched:
    """Match by number: the latest of several shots governs."""
    target_of = {name: position for position, name in enumerate(scene.target_id.tolist()) if name}
    shots = scene.live()
    group = np.array(
        [target_of.get(name, -1) for name in scene.measured_id[shots].tolist()], dtype=np.int64
    )
    known = group >= 0
    order = in_order_of_time(scene.measured, group[known], shots[known])
    group_in_order, shot_in_order = group[known][order], shots[known][order]
    last = np.append(group_in_order[1:] != group_in_order[:-1], True)[: len(order)]
    governs = np.full(len(scene.target), -1, dtype=np.int64)
    governs[group_in_order[last]] = shot_in_order[last]
    extra, earlier = _extras_in_order(scene, shots[~known])
    return _Matched(
        governs=governs,
        earlier_target=group_in_order[~last],
        earlier_shot=shot_in_order[~last],
        extra=extra,
        extra_reason=np.full(len(extra), _NO_DESIGN, dtype=object),
        extra_earlier=earlier,
        undecided=np.full(len(governs), "", dtype=object),
        said=_elsewhere(scene, governs),
    )


def _extras_in_order(scene: _Scene, shots: IntArray) -> tuple[IntArray, BoolArray]:
    """Return shots without a design point in order, and which of them a later one supersedes."""
    if not len(shots):
        return shots, np.zeros(0, dtype=np.bool_)
    names, group = np.unique(scene.measured_id[shots].astype(str), return_inverse=True)
    order = in_order_of_time(scene.measured, group, shots)
    same = np.append(group[order][1:] == group[order][:-1], False)
    superseded = np.zeros(len(shots), dtype=np.bool_)
    superseded[order] = same & (names[group[order]] != "")
    return shots, superseded


def _elsewhere(scene: _Scene, governs: IntArray) -> TextArray:
    """Return what to say of shots that stand far nearer to another design point; (targets,)."""
    said: TextArray = np.full(len(governs), "", dtype=object)
    rows = np.flatnonzero(governs >= 0)
    if not rows.size:
        return said
    targets, shots = _plan(scene.design, scene.target), _plan(scene.measured, governs[rows])
    own = np.hypot(*(shots - targets[rows]).T)
    distance, near = neighbours.nearest(targets, shots)
    at = np.full(len(governs), -1, dtype=np.int64)
    far = distance * _FAR_NEARER < own
    at[rows[far]] = near[far]
    away = dict(zip(rows.tolist(), distance.tolist(), strict=True))
    for row in np.flatnonzero(at >= 0).tolist():
        other = int(at[row])
        text = f"nearest design point is {scene.target_name[other]}, at {scene.length(away[row])}"
        if at[other] == row:
            first, second = sorted((row, other))
            text += (
                f": {scene.target_name[first]} and {scene.target_name[second]}"
                " seem to carry each other's number"
            )
        said[row] = text
    return said


def _plan(points: Points, index: IntArray) -> FloatArray:
    """Return northing and easting; shape (rows, 2)."""
    return np.column_stack((points.northing_m[index], points.easting_m[index]))


# ---------------------------------------------------------------- by nearness


def _by_nearest(scene: _Scene) -> _Matched:
    """Match the nearest, one to one; what might as well be meant otherwise is undecided."""
    shots, stands_for = _last_of_restakes(scene)
    nearest = match_nearest(
        _plan(scene.design, scene.target),
        _plan(scene.measured, shots),
        scene.section.within_m,
        _plan_tolerance_m(scene),
    )
    governs = np.where(nearest.shot >= 0, shots[nearest.shot] if len(shots) else -1, -1)
    target_of = np.full(len(scene.measured), -1, dtype=np.int64)
    target_of[governs[governs >= 0]] = np.flatnonzero(governs >= 0)
    earlier = np.flatnonzero(stands_for >= 0)
    earlier_target = target_of[stands_for[earlier]]
    idle = np.concatenate((shots[target_of[shots] < 0], earlier[earlier_target < 0]))
    extra = np.sort(idle)
    return _Matched(
        governs=governs,
        earlier_target=earlier_target[earlier_target >= 0],
        earlier_shot=earlier[earlier_target >= 0],
        extra=extra,
        extra_reason=_why_idle(scene, extra, governs, nearest),
        extra_earlier=np.zeros(len(extra), dtype=np.bool_),
        undecided=_rivals(scene, shots, governs, nearest),
        said=np.full(len(governs), "", dtype=object),
    )


def _plan_tolerance_m(scene: _Scene) -> float:
    """Return the plan tolerance where it is one number, else 0; metres."""
    tolerance = scene.section.tolerance
    formula = None if tolerance is None else tolerance.horizontal
    return 0.0 if formula is None or formula.needs_n or formula.needs_length else formula.at()


def _last_of_restakes(scene: _Scene) -> tuple[IntArray, IntArray]:
    """Return the shots to match, and for every as-measured point the later shot that governs it.

    Shots of one number whose nearest design point is the same are re-stakes of it, if they stand
    within its reach; the latest governs. The second array has shape (as-measured points,), -1 for
    shots that govern themselves.
    """
    from scipy.spatial import KDTree

    from checker.checks.matching import reach_m

    shots = scene.live()
    later = np.full(len(scene.measured), -1, dtype=np.int64)
    if not len(shots):
        return shots, later
    targets = _plan(scene.design, scene.target)
    distance, nearest = KDTree(targets).query(_plan(scene.measured, shots))
    near = np.asarray(distance) <= reach_m(targets, scene.section.within_m)[nearest]
    numbered = np.flatnonzero(near & (scene.measured_id[shots] != ""))
    if not numbered.size:
        return shots, later
    keys = list(
        zip(
            np.asarray(nearest)[numbered].tolist(),
            scene.measured_id[shots[numbered]].tolist(),
            strict=True,
        )
    )
    code = {key: position for position, key in enumerate(dict.fromkeys(keys))}
    group = np.array([code[key] for key in keys], dtype=np.int64)
    order = in_order_of_time(scene.measured, group, shots[numbered])
    in_order, group_in_order = shots[numbered][order], group[order]
    ends = np.append(np.flatnonzero(group_in_order[1:] != group_in_order[:-1]), len(order) - 1)
    governing = in_order[ends][group_in_order]
    superseded = in_order != governing
    later[in_order[superseded]] = governing[superseded]
    return shots[later[shots] < 0], later


def _rivals(scene: _Scene, shots: IntArray, governs: IntArray, nearest: Nearest) -> TextArray:
    """Return why a shot might stand for another design point, or ""; shape (targets,)."""
    texts: TextArray = np.full(len(governs), "", dtype=object)
    targets = _plan(scene.design, scene.target)
    target_of = {name: position for position, name in enumerate(scene.target_id.tolist()) if name}

    def add(row: int, text: str) -> None:
        texts[row] = f"{texts[row]}; {text}" if texts[row] else text

    for row in np.flatnonzero(governs >= 0).tolist():
        number = str(scene.measured_id[governs[row]])
        own = target_of.get(number, row)
        if np.hypot(*(targets[own] - targets[row])) > 1e-6:
            add(row, f"carries number {number} but stands at {scene.target_name[row]}")
    for row in np.flatnonzero(nearest.free_target >= 0).tolist():
        other = int(nearest.free_target[row])
        away = float(np.hypot(*(_plan(scene.measured, governs[row : row + 1])[0] - targets[other])))
        add(
            row,
            f"could stand for {scene.target_name[row]} or {scene.target_name[other]},"
            f" {scene.length(float(nearest.distance_m[row]))} and {scene.length(away)} away",
        )
    for row in np.flatnonzero(nearest.free_shot >= 0).tolist():
        here = _shot_name(scene, int(governs[row]))
        there = _shot_name(scene, int(shots[nearest.free_shot[row]]))
        add(row, f"shots {here} and {there} both stand near {scene.target_name[row]}")
    for row in np.flatnonzero(nearest.exchange >= 0).tolist():
        first, second = sorted((row, int(nearest.exchange[row])))
        add(
            row,
            f"{scene.target_name[first]} and {scene.target_name[second]}"
            " are too close together to tell their shots apart",
        )
    return texts


def _shot_name(scene: _Scene, shot: int) -> str:
    """Return what a shot is called: its number, else where it was read."""
    return str(scene.measured_id[shot]) or place(scene.measured, shot)


def _why_idle(scene: _Scene, extra: IntArray, governs: IntArray, nearest: Nearest) -> TextArray:
    """Return why shots stand for no design point; shape as `extra`."""
    from scipy.spatial import KDTree

    texts: TextArray = np.full(len(extra), "", dtype=object)
    if not len(extra):
        return texts
    targets = _plan(scene.design, scene.target)
    distance, near = KDTree(targets).query(_plan(scene.measured, extra))
    away, at = np.asarray(distance).tolist(), np.asarray(near).tolist()
    for position, (length, target) in enumerate(zip(away, at, strict=True)):
        name = scene.target_name[target]
        if governs[target] >= 0 and length <= nearest.reach_m[target]:
            taken = _shot_name(scene, int(governs[target]))
            texts[position] = f"the nearest design point, {name}, is taken by {taken}"
        else:
            texts[position] = (
                f"no design point near enough: the nearest is {name}, at {scene.length(length)}"
            )
    return texts


# ---------------------------------------------------------------- rows


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """The rows of the table; target is a position among the targets, shot an index; -1: none."""

    target: IntArray
    shot: IntArray
    superseded: BoolArray
    counted: BoolArray
    unchecked: TextArray
    undecided: TextArray
    said: TextArray
    extra: int


def _texts(values: TextArray | str, rows: int) -> TextArray:
    """Return texts as an array of that many rows."""
    result: TextArray = np.full(rows, "", dtype=object)
    result[:] = values
    return result


def _block(
    target: IntArray,
    shot: IntArray,
    *,
    superseded: BoolArray | bool = False,
    counted: BoolArray | bool = True,
    unchecked: TextArray | str = "",
    undecided: TextArray | str = "",
    said: TextArray | str = "",
) -> _Rows:
    """Return rows; what is given once holds for all of them."""
    rows = len(target)
    return _Rows(
        target=target,
        shot=shot,
        superseded=np.array(np.broadcast_to(superseded, rows)),
        counted=np.array(np.broadcast_to(counted, rows)),
        unchecked=_texts(unchecked, rows),
        undecided=_texts(undecided, rows),
        said=_texts(said, rows),
        extra=0,
    )


def _rows(scene: _Scene, matched: _Matched) -> _Rows:
    """Return all rows: the design's in its order with earlier shots, then the extra ones."""
    targets = np.arange(len(scene.target))
    governs = matched.governs.copy()
    set_aside, aside_target = _excluded(scene)
    unchecked = _missing(scene, governs, matched.extra)
    spare = np.ones(len(set_aside), dtype=np.bool_)
    for position, (shot, target) in enumerate(
        zip(set_aside.tolist(), aside_target.tolist(), strict=True)
    ):
        if target >= 0 and governs[target] < 0:
            governs[target] = shot
            unchecked[target] = f"excluded: {scene.reason[shot]}"
            spare[position] = False
    explicit = not scene.section.measured.everything
    shown = spare & ((aside_target >= 0) | explicit)
    why = np.array([f"excluded: {scene.reason[shot]}" for shot in set_aside[shown]], dtype=object)
    blocks = [
        _block(
            targets,
            governs,
            counted=(matched.governs >= 0) | scene.section.complete,
            unchecked=unchecked,
            undecided=matched.undecided,
            said=matched.said,
        ),
        _block(
            matched.earlier_target,
            matched.earlier_shot,
            superseded=True,
            counted=False,
            said=_texts("staked again later", len(matched.earlier_shot)),
        ),
        _block(aside_target[shown], set_aside[shown], counted=False, unchecked=why),
    ]
    if explicit:
        blocks.append(
            _block(
                np.full(len(matched.extra), -1, dtype=np.int64),
                matched.extra,
                superseded=matched.extra_earlier,
                counted=~matched.extra_earlier,
                unchecked=matched.extra_reason,
            )
        )
    rows = _stacked(blocks)
    rank = np.repeat(np.arange(len(blocks)), [len(block.target) for block in blocks])
    place_of = np.where(rows.target >= 0, rows.target, len(targets))
    order = np.lexsort((np.arange(len(rank)), rank, place_of))
    extra = int((~matched.extra_earlier).sum()) if explicit else 0
    return replace(_taken(rows, order), extra=extra)


def _stacked(blocks: list[_Rows]) -> _Rows:
    """Return the rows of all blocks, one after the other."""
    return _Rows(
        target=np.concatenate([block.target for block in blocks]),
        shot=np.concatenate([block.shot for block in blocks]),
        superseded=np.concatenate([block.superseded for block in blocks]),
        counted=np.concatenate([block.counted for block in blocks]),
        unchecked=np.concatenate([block.unchecked for block in blocks]),
        undecided=np.concatenate([block.undecided for block in blocks]),
        said=np.concatenate([block.said for block in blocks]),
        extra=0,
    )


def _taken(rows: _Rows, order: IntArray) -> _Rows:
    """Return the rows in another order."""
    return _Rows(
        target=rows.target[order],
        shot=rows.shot[order],
        superseded=rows.superseded[order],
        counted=rows.counted[order],
        unchecked=rows.unchecked[order],
        undecided=rows.undecided[order],
        said=rows.said[order],
        extra=rows.extra,
    )


def _excluded(scene: _Scene) -> tuple[IntArray, IntArray]:
    """Return the excluded shots, the latest first, and the target of each one's number or -1."""
    target_of = {name: position for position, name in enumerate(scene.target_id.tolist()) if name}
    shots = scene.shot[scene.reason[scene.shot] != ""][::-1]
    target = [target_of.get(name, -1) for name in scene.measured_id[shots].tolist()]
    return shots, np.array(target, dtype=np.int64)


def _missing(scene: _Scene, governs: IntArray, idle: IntArray) -> TextArray:
    """Return why design points have no shot, or "" where they have one; shape (targets,)."""
    texts: TextArray = np.full(len(governs), "", dtype=object)
    missing = np.flatnonzero(governs < 0)
    if not missing.size:
        return texts
    plain = "not staked" if scene.section.complete else "not staked yet"
    if scene.section.match is Match.NEAREST:
        texts[missing] = f"{plain}: no shot near enough"
        return texts
    alike: dict[str, str] = {}
    for name in scene.measured_id[idle].tolist():
        alike.setdefault(loose_id(name), name)
    elsewhere = set(scene.measured_id.tolist())
    for row in missing.tolist():
        name = str(scene.target_id[row])
        if not name:
            texts[row] = f"{plain}: the design point has no number"
        elif name in elsewhere:
            texts[row] = f"{plain}: a shot of this number is not among this section's points"
        elif loose_id(name) in alike:
            texts[row] = (
                f'{plain}; shot "{alike[loose_id(name)]}" differs only in case, blanks'
                " or leading zeros"
            )
        else:
            texts[row] = plain
    return texts


# ---------------------------------------------------------------- the measure


def _measure(scene: _Scene, rows: _Rows, inputs: Inputs, job: Job) -> Measure:
    """Return the measure of the rows."""
    section = scene.section
    has_target = rows.target >= 0
    known = np.where(has_target, scene.target[rows.target] if len(scene.target) else -1, -1)
    found = deltas(
        scene.design,
        known,
        scene.measured,
        rows.shot,
        sigmas_of(scene.measured, rows.shot, scene.level),
    )
    shot_name = picked_text(scene.measured_id, rows.shot)
    name = picked_text(scene.target_name, rows.target)
    for row in np.flatnonzero(~has_target).tolist():
        name[row] = _shot_name(scene, int(rows.shot[row]))
    staked = scene.staked
    line = lined(staked, known, found)
    side = wrong_side(line.across, staked.set_off_m)
    past = past_of(section, inputs, job, staked, scene.target, known, rows.shot)
    said = _with(rows.said, picked_text(staked.said, known), side, past.said)
    description = picked_text(scene.measured.description, rows.shot)
    of_design = picked_text(scene.design.description, known)
    description = np.where(description == "", of_design, description)
    compared = (rows.unchecked == "") & (rows.shot >= 0)
    governing = compared & ~rows.superseded
    shot_count = int(governing.sum())
    summary = (
        counts_item("points", "Design points", len(scene.target)),
        counts_item("staked", "Staked", shot_count),
        counts_item("missing", "Not staked", len(scene.target) - shot_count),
        counts_item("extra", "Without a design point", rows.extra),
        *spread_items(found, governing),
    )
    return Measure(
        kind="stakeout",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=name,
        columns=(
            *point_columns(
                found,
                shot_name,
                rows.superseded,
                name,
                lined=None if staked.course is None else line,
            ),
            *design_columns(staked, known),
            column(
                "layer", "Layer", Quantity.TEXT, picked_text(scene.design.layer, known), detail=True
            ),
            column("description", "Description", Quantity.TEXT, description, detail=True),
        ),
        summary=summary,
        comparisons=(
            *point_comparisons(found, "the design"),
            *(
                _without_alignment(section, len(name))
                if staked.course is None
                else line_comparisons(line, found)
            ),
        ),
        judged_by_row=True,
        shots=rows.shot[:, None],
        used=np.unique(rows.shot[compared]),
        unchecked=rows.unchecked,
        undecided=rows.undecided,
        said=said,
        counted=rows.counted,
        remarks=(*_remarks(scene), *past.remarks),
        supplements=past.tables,
        earlier=past.earlier,
    )


def _with(*texts: TextArray) -> TextArray:
    """Return texts joined row by row; shape (rows,)."""
    joined: TextArray = np.array(
        ["; ".join(each for each in row if each) for row in zip(*texts, strict=True)] or [],
        dtype=object,
    )
    return joined


def _without_alignment(section: Stakeout, rows: int) -> tuple[Comparison, ...]:
    """Return what the tolerance limits along or across a line, which points alone cannot show."""
    tolerance = section.tolerance
    if tolerance is None:
        return ()
    wanted = {
        "along": tolerance.along is not None,
        "across": any((tolerance.across, tolerance.left, tolerance.right)),
    }
    return tuple(
        Comparison(
            limit=limit,
            label=limit,
            value=np.full(rows, np.nan),
            absent=_texts(
                f"{limit} is limited, but there is no alignment to measure it from", rows
            ),
            absent_verdict=np.full(rows, Verdict.UNCHECKED, dtype=np.int8),
        )
        for limit, limited in wanted.items()
        if limited
    )


def _remarks(scene: _Scene) -> tuple[str, ...]:
    """Return what must be said of the check as a whole."""
    remarks = [*control_remarks(scene.checks)]
    staked = scene.staked
    if staked.course is not None:
        remarks += staked.course.remarks
    if staked.set_off_m:
        remarks.append(offset_remark(staked.set_off_m, "the design points", scene.unit))
    return tuple(remarks)
