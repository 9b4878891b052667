"""Runs of pipe: inverts, lengths, grades, and drops across structures.

Grades are falls from the upper end to the lower, positive downwards, fall over horizontal length.
"""

import difflib
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from checker.checks.closing import column, item
from checker.checks.deltas import counts_item, picked, sigmas_of
from checker.checks.frame import ground_scale
from checker.checks.selecting import stripped_ids
from checker.checks.shots import Shots, design_index, select_shots, sigma_level_of
from checker.errors import InputError, Problem
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.finding import Verdict
from checker.model.inputs import Inputs
from checker.model.job import Job, Pipe
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.text import fixed

_NO_LENGTH_M = 1e-3
"""Ends closer than this have no grade between them."""


def measure_pipe(section: Pipe, inputs: Inputs, job: Job) -> Measure:
    """Compare runs of pipe and drops across structures with the design, a row each.

    Of a run with points in between every part is a row, then the whole. An invert's latest shot
    speaks for it. Raises InputError where a number is in neither the design nor the as-measured
    points, stands twice in the design with other coordinates, or an exclusion names no shot.
    """
    shots = select_shots(section, section.measured, inputs, job)
    pairs = _pairs(section)
    names = list(dict.fromkeys(name for pair in pairs for name in pair.ends))
    problems = _unknown(section, inputs, shots, names)
    known: dict[str, int] = {}
    try:
        known = design_index(inputs, names, section.where)
    except InputError as fault:
        problems += fault.problems
    if problems:
        raise InputError(problems)
    latest, _ = shots.latest()
    ends = [
        _ends(inputs, shots, section, job, [pair.ends[which] for pair in pairs], known, latest)
        for which in (0, 1)
    ]
    ground = ground_scale(job.reference.ground)
    return _measure(section, pairs, _falls(pairs, ends[0], ends[1], ground), ends[0], ends[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """Two inverts, the upper first. kind: pipe, run (of several pipes), structure."""

    kind: str
    ends: tuple[str, str]


def _pairs(section: Pipe) -> list[_Pair]:
    """Return what is compared: the parts of every run, the whole of a longer one, structures."""
    found = []
    for run in section.runs:
        found += [_Pair(kind="pipe", ends=ends) for ends in pairwise(run)]
        if len(run) > 2:
            found.append(_Pair(kind="run", ends=(run[0], run[-1])))
    found += [_Pair(kind="structure", ends=ends) for ends in section.structures]
    return list(dict.fromkeys(found))


def _unknown(section: Pipe, inputs: Inputs, shots: Shots, names: list[str]) -> list[Problem]:
    """Return the numbers that neither the design nor the as-measured points know."""
    there = {str(name) for name in shots.id.tolist()}
    if inputs.design is not None:
        there |= {str(name) for name in stripped_ids(inputs.design).tolist()}
    problems = []
    for name in names:
        if name in there:
            continue
        near = difflib.get_close_matches(name, sorted(there), n=3, cutoff=0.5)
        problems.append(
            Problem(
                slug="unknown-point",
                where=section.where,
                message=f'neither the design nor the as-measured points have the number "{name}"',
                hint=f"the nearest there: {', '.join(near)}" if near else "name an invert",
            )
        )
    return problems


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ends:
    """One end of every pair; arrays of shape (pairs,), metres, NaN where not there.

    known, measured, sigma: shape (pairs, 3), northing, easting, elevation. apart: of the elevation
    where it is compared with that of another end, which rests on the same control. shot: -1 for
    none.
    """

    known: FloatArray
    measured: FloatArray
    sigma: FloatArray
    apart: FloatArray
    shot: IntArray
    absent: TextArray


def _ends(
    inputs: Inputs,
    shots: Shots,
    section: Pipe,
    job: Job,
    names: list[str],
    known: dict[str, int],
    latest: dict[str, int],
) -> _Ends:
    """Return where the named inverts are."""
    design, points = inputs.design, shots.points
    at = np.array([known.get(name, -1) for name in names], dtype=np.int64)
    shot = np.array([latest.get(name, -1) for name in names], dtype=np.int64)
    level = sigma_level_of(section, job)
    sigma = sigmas_of(points, shot, level)
    there = np.full((len(names), 3), np.nan)
    if design is not None:
        axes = (design.northing_m, design.easting_m, design.elevation_m)
        there = np.column_stack([picked(axis, at) for axis in axes])
    axes = (points.northing_m, points.easting_m, points.elevation_m)
    return _Ends(
        known=there,
        measured=np.column_stack([picked(axis, shot) for axis in axes]),
        sigma=np.column_stack((sigma.n, sigma.e, sigma.z)),
        apart=sigmas_of(points, shot, level, control=False, design=True).z,
        shot=shot,
        absent=np.array(
            ["" if name in latest else shots.why_absent(name) for name in names], dtype=object
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Falls:
    """The falls of all pairs; arrays of shape (pairs,). Grades are NaN for structures."""

    length: FloatArray
    design_length: FloatArray
    fall: FloatArray
    design_fall: FloatArray
    grade: FloatArray
    design_grade: FloatArray
    sigma_fall: FloatArray
    sigma_grade: FloatArray
    is_pipe: BoolArray


def _falls(pairs: list[_Pair], upper: _Ends, lower: _Ends, ground: FloatArray) -> _Falls:
    """Return lengths, falls and grades. A grade's sigma is that of the fall: lengths are long.

    ground: what differences of coordinates are multiplied by to be on ground, shape (3,).
    """
    is_pipe = np.array([pair.kind != "structure" for pair in pairs], dtype=np.bool_)
    run = (lower.measured - upper.measured) * ground
    design_run = (lower.known - upper.known) * ground
    length, design_length = (np.hypot(part[:, 0], part[:, 1]) for part in (run, design_run))
    fall, design_fall = -run[:, 2], -design_run[:, 2]
    sigma_fall = np.hypot(upper.apart, lower.apart)

    def over(value: FloatArray, size: FloatArray) -> FloatArray:
        long_enough = is_pipe & (size > _NO_LENGTH_M)
        return np.where(long_enough, value / np.where(long_enough, size, 1.0), np.nan)

    return _Falls(
        length=length,
        design_length=design_length,
        fall=fall,
        design_fall=design_fall,
        grade=over(fall, length),
        design_grade=over(design_fall, design_length),
        sigma_fall=sigma_fall,
        sigma_grade=over(sigma_fall, length),
        is_pipe=is_pipe,
    )


def _measure(
    section: Pipe, pairs: list[_Pair], found: _Falls, upper: _Ends, lower: _Ends
) -> Measure:
    """Return the measure of all pairs."""
    rows = len(pairs)
    unchecked: TextArray = np.full(rows, "", dtype=object)
    for row, texts in enumerate(zip(upper.absent.tolist(), lower.absent.tolist(), strict=True)):
        unchecked[row] = "; ".join(text for text in texts if text)
    undecided: TextArray = np.full(rows, "", dtype=object)
    said: TextArray = np.full(rows, "", dtype=object)
    for row in range(rows):
        undecided[row] = _why_undecided(found, row)
        missing = [
            name
            for name, end in zip(pairs[row].ends, (upper, lower), strict=True)
            if np.isnan(end.known[row, 2])
        ]
        if missing:
            said[row] = f"no design invert of {' and '.join(missing)}"
    behind = np.column_stack((upper.shot, lower.shot))
    kind: TextArray = np.array([pair.kind for pair in pairs], dtype=object)
    spot, length, grade = Quantity.COORDINATE, Quantity.LENGTH, Quantity.GRADE
    d_fall = found.fall - found.design_fall
    return Measure(
        kind="pipe",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=np.array([f"{pair.ends[0]}-{pair.ends[1]}" for pair in pairs], dtype=object),
        columns=(
            column("what", "What", Quantity.TEXT, kind),
            column("length", "Length", Quantity.DISTANCE, found.length),
            column("invert_upper", "Upper invert", spot, upper.measured[:, 2]),
            column("invert_lower", "Lower invert", spot, lower.measured[:, 2]),
            column("fall", "Fall", length, found.fall),
            column("grade_measured", "Grade", grade, found.grade),
            column("grade_design", "Design grade", grade, found.design_grade),
            column("d_grade", "Δ grade", grade, found.grade - found.design_grade),
            column("fall_design", "Design fall", length, found.design_fall),
            column("d_fall", "Δ fall", length, d_fall),
            column("dz_upper", "ΔZ upper", length, upper.measured[:, 2] - upper.known[:, 2]),
            column("dz_lower", "ΔZ lower", length, lower.measured[:, 2] - lower.known[:, 2]),
            column(
                "design_length",
                "Design length",
                Quantity.DISTANCE,
                found.design_length,
                detail=True,
            ),
            column("design_upper", "Design upper invert", spot, upper.known[:, 2], detail=True),
            column("design_lower", "Design lower invert", spot, lower.known[:, 2], detail=True),
            column("sigma_grade", "σ grade", grade, found.sigma_grade, detail=True),
            column("sigma_fall", "σ fall", length, found.sigma_fall, detail=True),
        ),
        summary=_summary(pairs, found, unchecked),
        comparisons=_comparisons(found, upper, lower),
        judged_by_row=True,
        shots=behind,
        used=np.unique(behind[behind >= 0]),
        unchecked=unchecked,
        undecided=undecided,
        said=said,
        counted=np.ones(rows, dtype=np.bool_),
    )


def _why_undecided(found: _Falls, row: int) -> str:
    """Return why a row cannot be judged whatever was measured, or ""."""
    if not found.is_pipe[row]:
        return ""
    if found.design_grade[row] < 0.0:
        percent = fixed(100.0 * float(found.design_grade[row]), 2)
        return (
            f"the design itself falls backwards here ({percent} %): is the upper end named first?"
        )
    if found.length[row] <= _NO_LENGTH_M:
        return "both ends were measured at one place: there is no length to take a grade over"
    return ""


def _comparisons(found: _Falls, upper: _Ends, lower: _Ends) -> tuple[Comparison, ...]:
    """Return everything that a tolerance may limit."""
    rows = len(found.fall)
    no_shot: TextArray = np.full(rows, "", dtype=object)
    no_height = np.isnan(found.fall) & (upper.shot >= 0) & (lower.shot >= 0)
    no_shot[no_height] = "no elevation was measured"
    undecided = np.full(rows, Verdict.UNDECIDED, dtype=np.int8)
    no_design: TextArray = no_shot.copy()
    without = np.isnan(found.design_fall)
    no_design[without & ~no_height] = "the design gives no inverts"
    design_verdict = np.where(without & ~no_height, Verdict.UNCHECKED, Verdict.UNDECIDED)
    compared = [
        Comparison(
            limit="grade",
            label="grade",
            value=found.grade,
            sigma=found.sigma_grade,
            absent=no_shot,
            absent_verdict=undecided,
            applies=found.is_pipe,
        ),
        Comparison(
            limit="slope",
            label="difference of grade",
            value=found.grade - found.design_grade,
            sigma=found.sigma_grade,
            absent=no_design,
            absent_verdict=design_verdict.astype(np.int8),
            applies=found.is_pipe,
        ),
        Comparison(
            limit="drop",
            label="drop",
            value=found.fall,
            sigma=found.sigma_fall,
            absent=no_shot,
            absent_verdict=undecided,
            applies=~found.is_pipe,
        ),
        Comparison(
            limit="elevation",
            label="difference of fall",
            value=found.fall - found.design_fall,
            sigma=found.sigma_fall,
            length_m=np.nan_to_num(found.length),
            absent=no_design,
            absent_verdict=design_verdict.astype(np.int8),
        ),
    ]
    for word, end in (("upper", upper), ("lower", lower)):
        dz = end.measured[:, 2] - end.known[:, 2]
        absent: TextArray = np.full(rows, "", dtype=object)
        unknown = np.isnan(end.known[:, 2])
        absent[np.isnan(dz)] = "no elevation was measured"
        absent[unknown] = "the design gives no invert"
        compared.append(
            Comparison(
                limit="vertical",
                label=f"{word} invert",
                value=dz,
                sigma=end.sigma[:, 2],
                absent=absent,
                absent_verdict=np.where(unknown, Verdict.UNCHECKED, Verdict.UNDECIDED).astype(
                    np.int8
                ),
            )
        )
    return tuple(compared)


def _summary(pairs: list[_Pair], found: _Falls, unchecked: TextArray) -> tuple[Item, ...]:
    """Return how many pipes and structures there are, and the flattest and steepest grade."""
    grade = found.grade[np.isfinite(found.grade)]
    single = np.array([pair.kind == "pipe" for pair in pairs])
    length = found.length[single & np.isfinite(found.length)]
    return (
        counts_item("pipes", "Pipes", int(single.sum())),
        counts_item("structures", "Structures", sum(pair.kind == "structure" for pair in pairs)),
        counts_item("missing", "Not measured whole", int((unchecked != "").sum())),
        item("length", "Length measured", Quantity.DISTANCE, float(length.sum())),
        item(
            "flattest_percent",
            "Flattest grade",
            Quantity.GRADE,
            float(grade.min()) if grade.size else np.nan,
        ),
        item(
            "steepest_percent",
            "Steepest grade",
            Quantity.GRADE,
            float(grade.max()) if grade.size else np.nan,
        ),
    )
