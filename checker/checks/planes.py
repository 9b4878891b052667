"""Slabs, pads, ramps: the plane that fits the shots, its slopes, and how flat they lie about it.

Slopes are falls, positive downwards, rise per length; crossfall is the fall to the right of the
direction. The plane is fitted by least squares of vertical residuals (`geometry.fit`). On a drawing
on ground shots and design points are brought to ground, so that slopes are rises per length there.
"""

from dataclasses import dataclass

import numpy as np

from checker.checks.closing import column, item, refuse
from checker.checks.deltas import Sigmas, counts_item, picked, sigmas_of
from checker.checks.frame import to_ground_m
from checker.checks.selecting import (
    check_shots,
    need_points,
    select_points,
    unique_points,
)
from checker.checks.shots import (
    Shots,
    names_of,
    plan_xy_m,
    select_shots,
    shot_again,
    sigma_level_of,
)
from checker.errors import InputError, Problem
from checker.geometry.fit import FitError, HeightFit, fit_plane
from checker.lengths import small_text
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.finding import Verdict
from checker.model.inputs import Inputs
from checker.model.job import Job, Plane
from checker.model.measure import Column, Comparison, Item, Measure, Quantity
from checker.text import azimuth, fixed, with_signs
from checker.units import LengthUnit

_MOST = 2000
"""So many shots at most: every one of them bears on every slope."""
_LEVEL = 1e-9
"""A design plane that falls less than this has no direction."""
_FLAT_DESIGN_M = 0.001
"""Design points that lie farther off their plane than this are said."""


def measure_plane(section: Plane, inputs: Inputs, job: Job) -> Measure:
    """Fit a plane to the selected shots: a row a shot with its residual, then a row a slope.

    Earlier shots of a number at the same place and excluded shots are rows that do not count and
    do not take part. Too few shots for a plane leave everything undecided. Raises InputError where
    a selection finds nothing, the design's points are no plane, or an exclusion names no shot.
    """
    problems: list[Problem] = []
    shots = design = None
    try:
        design = _design(section, inputs, job)
    except InputError as fault:
        problems += fault.problems
    try:
        shots = select_shots(section, section.measured, inputs, job)
    except InputError as fault:
        problems += fault.problems
    if problems or shots is None:
        raise InputError(problems)
    row = shots.chosen[~check_shots(inputs, shots.points)[shots.chosen]]
    if len(row) > _MOST:
        refuse(
            "group-too-large",
            section.where,
            f"{len(row)} shots are selected for one plane",
            f"select {_MOST} at most, or compare them with a surface",
        )
    xy = to_ground_m(plan_xy_m(shots.points, row), job.reference.ground)
    superseded, said = shot_again(shots, row, xy)
    z = shots.points.elevation_m[row]
    taken = ~superseded & (shots.reason[row] == "") & ~np.isnan(z)
    fit, fault_text = None, ""
    try:
        fit = fit_plane(xy[taken], z[taken])
    except FitError as fault:
        fault_text = f"no plane: {fault}"
    scene = _Scene(
        section=section,
        shots=shots,
        row=row,
        taken=taken,
        superseded=superseded,
        said=said,
        # what the control is off by tilts no plane
        sigma=sigmas_of(
            shots.points, row, sigma_level_of(section, job), control=False, design=True
        ),
        design=design,
        fit=fit,
        unit=job.unit,
    )
    return _measure(scene, xy, z, fault_text)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """Shots of a plane. row: their indices; taken, superseded, said: shape (rows,)."""

    section: Plane
    shots: Shots
    row: IntArray
    taken: BoolArray
    superseded: BoolArray
    said: TextArray
    sigma: Sigmas
    design: HeightFit | None
    fit: HeightFit | None
    unit: LengthUnit

    @property
    def direction_rad(self) -> float:
        """The azimuth in which the slope is meant; NaN: the steepest fall."""
        if self.section.direction_rad is not None:
            return self.section.direction_rad
        if self.design is not None and self.design.slope > _LEVEL:
            return self.design.aspect_rad
        return float("nan")


def _design(section: Plane, inputs: Inputs, job: Job) -> HeightFit | None:
    """Return the plane of the design's points; None where the job states slopes, or nothing."""
    if section.design is None:
        return None
    points = need_points(inputs.design, "design", section.where)
    chosen = unique_points(
        points, select_points(points, section.design, "design", section.where), section.where
    )
    chosen = chosen[~np.isnan(points.elevation_m[chosen])]
    xy = to_ground_m(plan_xy_m(points, chosen), job.reference.ground)
    try:
        return fit_plane(xy, points.elevation_m[chosen])
    except FitError as fault:
        refuse(
            "no-plane",
            section.where,
            f"design: {fault}",
            "select three design points with elevations or more, not in one line",
        )


# ---------------------------------------------------------------- slopes


@dataclass(frozen=True, slots=True, kw_only=True)
class _Slope:
    """A slope of the plane: by design (NaN: not stated), as measured, and its sigma."""

    name: str
    design: float
    measured: float
    sigma: float


def _slopes(scene: _Scene, xy: FloatArray) -> list[_Slope]:
    """Return the slope, and the crossfall where there is a direction."""
    fit, section, design = scene.fit, scene.section, scene.design
    direction = scene.direction_rad
    if fit is None:
        nothing = float("nan")
        return [_Slope(name="slope", design=nothing, measured=nothing, sigma=nothing)]
    covariance = _covariance(scene, xy)
    steepest = np.isnan(direction)
    towards = fit.aspect_rad if steepest else direction
    towards = 0.0 if np.isnan(towards) else towards
    along, right = (-rise for rise in fit.fall(towards))
    if design is not None:
        wanted = design.slope if steepest else -design.fall(direction)[0]
    else:
        wanted = np.nan if section.slope is None else section.slope
    found = [
        _Slope(
            name="slope",
            design=wanted,
            measured=fit.slope if steepest else along,
            sigma=_sigma(covariance, towards),
        )
    ]
    if not steepest:
        if design is not None:
            across = -design.fall(direction)[1]
        else:
            across = np.nan if section.slope is None else section.crossfall or 0.0
        found.append(
            _Slope(
                name="crossfall",
                design=across,
                measured=right,
                sigma=_sigma(covariance, towards + np.pi / 2.0),
            )
        )
    return found


def _covariance(scene: _Scene, xy: FloatArray) -> FloatArray:
    """Return the covariance of the rises east and north from the shots' sigma_z, shape (2, 2)."""
    away = xy[scene.taken] - xy[scene.taken].mean(axis=0)
    design = np.column_stack((np.ones(len(away)), away))
    pseudo = np.linalg.pinv(design)
    spread = pseudo * scene.sigma.z[scene.taken]
    covariance: FloatArray = (spread @ spread.T)[1:, 1:]
    return covariance


def _sigma(covariance: FloatArray, azimuth_rad: float) -> float:
    """Return the standard deviation of the slope along an azimuth."""
    along = np.array([np.sin(azimuth_rad), np.cos(azimuth_rad)])
    return float(np.sqrt(along @ covariance @ along))


# ---------------------------------------------------------------- the measure


def _measure(scene: _Scene, xy: FloatArray, z: FloatArray, fault: str) -> Measure:
    """Return the measure: the shots' rows, then the slopes'."""
    section, row = scene.section, scene.row
    slopes = _slopes(scene, xy)
    count, rows = len(row), len(row) + len(slopes)
    of_shot = np.arange(rows) < count
    plane, residual, left_out, absent = _residuals(scene, xy, z, fault)
    reason = scene.shots.reason[row]
    unchecked: TextArray = np.full(rows, "", dtype=object)
    for position in np.flatnonzero(reason != "").tolist():
        unchecked[position] = f"excluded: {reason[position]}"
    undecided: TextArray = np.full(rows, "", dtype=object)
    if fault:
        undecided[count:] = fault
    shots = np.full((rows, max(count, 1)), -1, dtype=np.int64)
    shots[:count, 0] = row
    shots[count:, :count] = np.where(scene.taken, row, -1)
    said: TextArray = np.full(rows, "", dtype=object)
    said[:count] = scene.said
    counted = np.ones(rows, dtype=np.bool_)
    counted[:count] = ~scene.superseded & (reason == "")
    return Measure(
        kind="plane",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=np.array(
            [*names_of(scene.shots, row).tolist(), *(slope.name for slope in slopes)], dtype=object
        ),
        columns=_columns(scene, slopes, plane, residual, left_out),
        summary=_summary(scene, slopes, residual[scene.taken]),
        comparisons=_comparisons(scene, slopes, residual, absent, of_shot),
        judged_by_row=True,
        shots=shots,
        used=row[reason == ""],
        unchecked=unchecked,
        undecided=undecided,
        said=said,
        counted=counted,
        remarks=_remarks(scene, left_out),
    )


def _residuals(
    scene: _Scene, xy: FloatArray, z: FloatArray, fault: str
) -> tuple[FloatArray, FloatArray, FloatArray, TextArray]:
    """Return fitted heights, residuals, residuals without the shot itself, and what is absent.

    All of shape (shots,): as-measured less plane, metres, + high.
    """
    count = len(xy)
    plane, residual, left_out = (np.full(count, np.nan) for _ in range(3))
    absent: TextArray = np.full(count, fault, dtype=object)
    if scene.fit is not None:
        plane = scene.fit.at(xy)
        residual = z - plane
        left_out[scene.taken] = -scene.fit.fit.left_out
        alone = np.zeros(count, dtype=np.bool_)
        alone[scene.taken] = scene.fit.fit.redundancy_number <= 0.0
        absent[alone] = (
            "three shots always lie in one plane"
            if int(scene.taken.sum()) == 3
            else "the plane rests on this shot: no other checks it"
        )
    absent[np.isnan(z)] = "no elevation was measured"
    return plane, residual, left_out, absent


def _columns(
    scene: _Scene,
    slopes: list[_Slope],
    plane: FloatArray,
    residual: FloatArray,
    left_out: FloatArray,
) -> tuple[Column, ...]:
    """Return the columns; what a shot or a slope lacks is NaN."""
    points, row = scene.shots.points, scene.row

    def of_shots(values: FloatArray) -> FloatArray:
        return np.concatenate((values, np.full(len(slopes), np.nan)))

    def of_slopes(values: list[float]) -> FloatArray:
        return np.concatenate((np.full(len(row), np.nan), values))

    spot, length, grade = Quantity.COORDINATE, Quantity.LENGTH, Quantity.GRADE
    superseded = np.concatenate((scene.superseded, np.zeros(len(slopes), dtype=np.bool_)))
    return (
        column(
            "measured_n",
            "As-measured N",
            spot,
            of_shots(picked(points.northing_m, row)),
            detail=True,
        ),
        column(
            "measured_e",
            "As-measured E",
            spot,
            of_shots(picked(points.easting_m, row)),
            detail=True,
        ),
        column("measured_z", "As-measured Z", spot, of_shots(picked(points.elevation_m, row))),
        column("plane_z", "Plane Z", spot, of_shots(plane), detail=True),
        column("residual", "Off the plane", length, of_shots(residual)),
        column("left_out", "Off the others' plane", length, of_shots(left_out), detail=True),
        column("slope_design", "Design slope", grade, of_slopes([s.design for s in slopes])),
        column(
            "slope_measured", "As-measured slope", grade, of_slopes([s.measured for s in slopes])
        ),
        column("d_slope", "Δ slope", grade, of_slopes([s.measured - s.design for s in slopes])),
        column("sigma_z", "σ vertical", length, of_shots(scene.sigma.z)),
        column("sigma_slope", "σ slope", grade, of_slopes([s.sigma for s in slopes]), detail=True),
        Column(
            key="superseded",
            label="Superseded",
            quantity=Quantity.FLAG,
            values=superseded,
            detail=not superseded.any(),
        ),
    )


def _comparisons(
    scene: _Scene,
    slopes: list[_Slope],
    residual: FloatArray,
    absent: TextArray,
    of_shot: BoolArray,
) -> tuple[Comparison, ...]:
    """Return flatness, difference of slope, and the limits of slope and crossfall themselves."""
    rows, count = len(of_shot), len(residual)
    flat, flat_sigma = np.full(rows, np.nan), np.full(rows, np.nan)
    flat[:count] = np.where(absent == "", residual, np.nan)
    flat_sigma[:count] = scene.sigma.z
    why: TextArray = np.full(rows, "", dtype=object)
    why[:count] = absent
    undecided = np.full(rows, Verdict.UNDECIDED, dtype=np.int8)

    def of(name: str, *, difference: bool) -> tuple[FloatArray, FloatArray, BoolArray]:
        value, sigma = np.full(rows, np.nan), np.full(rows, np.nan)
        applies = np.zeros(rows, dtype=np.bool_)
        for number, slope in enumerate(slopes, count):
            if (difference and not np.isnan(slope.design)) or (
                not difference and slope.name == name
            ):
                value[number] = slope.measured - (slope.design if difference else 0.0)
                sigma[number] = slope.sigma
                applies[number] = True
        return value, sigma, applies

    change, change_sigma, has_design = of("", difference=True)
    grade, grade_sigma, is_slope = of("slope", difference=False)
    cross, cross_sigma, is_cross = of("crossfall", difference=False)
    return (
        Comparison(
            limit="vertical",
            label="off the plane",
            value=flat,
            sigma=flat_sigma,
            absent=why,
            absent_verdict=undecided,
            applies=of_shot,
        ),
        Comparison(
            limit="slope",
            label="difference of slope",
            value=change,
            sigma=change_sigma,
            absent_verdict=undecided,
            applies=has_design,
        ),
        Comparison(
            limit="grade",
            label="slope",
            value=grade,
            sigma=grade_sigma,
            absent_verdict=undecided,
            applies=is_slope,
        ),
        Comparison(
            limit="crossfall",
            label="crossfall",
            value=np.abs(cross),
            sigma=cross_sigma,
            absent_verdict=undecided,
            applies=is_cross,
        ),
    )


def _summary(scene: _Scene, slopes: list[_Slope], residual: FloatArray) -> tuple[Item, ...]:
    """Return the plane's numbers."""
    fit, design, none = scene.fit, scene.design, float("nan")
    some = residual if residual.size and fit is not None else np.full(1, np.nan)
    by_name = {slope.name: slope for slope in slopes}
    cross = by_name.get("crossfall")
    length, grade = Quantity.LENGTH, Quantity.GRADE
    over = none
    if fit is not None and design is not None:
        over = fit.level_m - float(design.at(fit.centre_m[None, :])[0])
    found = (
        counts_item("points", "Shots", int(scene.taken.sum())),
        item("slope_percent", "Slope as measured", grade, by_name["slope"].measured),
        item(
            "crossfall_percent", "Crossfall as measured", grade, cross.measured if cross else none
        ),
        item("steepest_percent", "Steepest fall", grade, none if fit is None else fit.slope),
        item(
            "fall_azimuth",
            "Falls towards azimuth",
            Quantity.ANGLE,
            none if fit is None else fit.aspect_rad,
        ),
        item("highest", "Highest above the plane", length, float(some.max())),
        item("lowest", "Lowest against the plane", length, float(some.min())),
        item("rms", "RMS off the plane", length, float(np.sqrt(np.mean(some**2)))),
    )
    if design is None:
        return found
    return (*found, item("mean_z", "Mean height above the design plane", length, over))


def _remarks(scene: _Scene, left_out: FloatArray) -> tuple[str, ...]:
    """Return what must be said of the plane."""
    fit, unit = scene.fit, scene.unit
    texts = []

    def size(value_m: float) -> str:
        return small_text(value_m, unit)

    if fit is not None and fit.slope > _LEVEL:
        texts.append(
            f"The fitted plane falls {fixed(fit.slope * 100.0, 2)} % towards azimuth "
            f"{with_signs(azimuth(fit.aspect_rad, 0))}. Flatness is what each shot stands off "
            "it, not the gap below a straightedge."
        )
    if fit is not None and np.isfinite(left_out).any() and fit.fit.redundancy > 1:
        worst = int(np.nanargmax(np.abs(left_out)))
        side = "above" if left_out[worst] > 0 else "below"
        texts.append(
            f"Shot {scene.shots.id[scene.row[worst]] or 'without number'} stands "
            f"{size(abs(float(left_out[worst])))} {side} the plane of all the others, the most of "
            "any."
        )
    if scene.design is not None:
        off = float(np.abs(scene.design.fit.residual).max())
        if off > _FLAT_DESIGN_M:
            texts.append(f"The design's own points lie up to {size(off)} off one plane.")
    return tuple(texts)
