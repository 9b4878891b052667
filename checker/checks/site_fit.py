"""The site fit: how the measured grid lies to the control, and what such a fit cannot see.

Plan by a similarity (scale, rotation, shift) or a shift, height by a shift or an inclined plane,
least squares with equal weight (`geometry.fit`). Residuals are fitted minus control. Shifts are
those at the middle of the marks; the rotation is clockwise, so that azimuths grow by it; the tilt
is the steepest rise of the height correction.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from checker.checks.closing import column, item, length_text, refuse
from checker.checks.deltas import counts_item, spread
from checker.checks.fit_prediction import about_given, about_prediction
from checker.checks.fit_uncertainty import FitSigmas, about_fit_sigmas, fit_sigmas, with_fit
from checker.checks.given_fit import given_height, given_plan
from checker.checks.selecting import exclusion_reasons, need_points, stripped_ids, unique_points
from checker.checks.shots import sigma_level_of
from checker.geometry.arrays import GeometryError
from checker.geometry.fit import (
    HeightFit,
    PlaneMove,
    fit_level,
    fit_plane,
    fit_shift,
    fit_similarity,
)
from checker.geometry.hull import hull, outside_by
from checker.model.arrays import BoolArray, CodeArray, FloatArray, IntArray, TextArray
from checker.model.finding import Verdict
from checker.model.frame import SiteFrame
from checker.model.inputs import Inputs
from checker.model.job import HeightFitKind, Job, PlanFit, SiteFit
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.model.points import Points
from checker.text import fixed
from checker.units import LengthUnit

_NAMED = 8
"""How many points a remark names."""
_WEAK = 0.5
"""A mark of which less than this part of an error shows in its own residual is remarked on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedSite:
    """The fit's measure; the as-measured points moved by it, None where the job does not apply it.

    fitted: indices of the as-measured points that the fit rests on.
    """

    measure: Measure
    moved: Points | None
    fitted: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Marks:
    """Marks with shots; arrays of shape (marks,), metres; means over a mark's shots.

    shots: indices of its as-measured points. used: whether the fit rests on it.
    """

    id: TextArray
    measured_id: TextArray
    shots: tuple[IntArray, ...]
    used: BoolArray
    xy: FloatArray
    z: FloatArray
    known_xy: FloatArray
    known_z: FloatArray

    def __len__(self) -> int:
        """Return the number of marks."""
        return len(self.id)

    @property
    def for_height(self) -> BoolArray:
        """Which marks the fit of heights rests on: those with both elevations."""
        return self.used & np.isfinite(self.z) & np.isfinite(self.known_z)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """What was fitted; None where the job asks for nothing of the kind. given: it was stated."""

    plan: PlaneMove | None
    height: HeightFit | None
    given: bool = False

    @property
    def plan_redundancy(self) -> int | None:
        """How many coordinates more than the plan needs; None where it was not fitted."""
        return None if self.plan is None else self.plan.redundancy

    @property
    def height_redundancy(self) -> int | None:
        """How many heights more than the fit needs; None where they were not fitted."""
        return None if self.height is None else self.height.fit.redundancy

    def plan_of(self, xy_m: FloatArray) -> FloatArray:
        """Return moved positions, shape (n, 2)."""
        return xy_m if self.plan is None else self.plan.apply(xy_m)

    def rise_at(self, xy_m: FloatArray) -> FloatArray:
        """Return what is added to heights at measured positions, shape (n,)."""
        return np.zeros(len(xy_m)) if self.height is None else self.height.at(xy_m)


def fit_site(
    section: SiteFit, inputs: Inputs, job: Job, frame: SiteFrame | None = None
) -> FittedSite:
    """Fit the as-measured points to the control and say what the fit shows and hides.

    A mark that was shot more than once enters once, with the mean of its shots. frame: what the
    projection predicts for scale and rotation. Raises InputError where a pair names no point, or
    the marks do not fix the fit.
    """
    measured = need_points(inputs.measured, "measured", section.where)
    marks = _marks(section, inputs, measured, job)
    fit = _fit(section, marks)
    measure = _measure(section, marks, fit, inputs, job, frame)
    moved = None
    if section.apply:
        added = (
            FitSigmas(h_m=None, z_m=None)
            if fit.given
            else fit_sigmas(
                measured,
                _chosen(marks, marks.used),
                _chosen(marks, marks.for_height),
                fit.plan,
                fit.height,
                sigma_level_of(section, job),
            )
        )
        xy = np.column_stack((measured.easting_m, measured.northing_m))
        plan = fit.plan_of(xy)
        moved = replace(
            with_fit(measured, added, fit.plan),
            northing_m=plan[:, 1],
            easting_m=plan[:, 0],
            elevation_m=measured.elevation_m + fit.rise_at(xy),
        )
        fitted = (fit.plan is not None, fit.height is not None)
        said = () if fit.given else tuple(about_fit_sigmas(added, fitted, job.unit))
        measure = replace(measure, remarks=(*measure.remarks, *said))
    return FittedSite(
        measure=measure,
        moved=moved,
        fitted=np.unique(np.concatenate(_chosen(marks, marks.used)))
        if section.pairs or not fit.given
        else np.empty(0, dtype=np.int64),
    )


def _chosen(marks: _Marks, which: BoolArray) -> tuple[IntArray, ...]:
    """Return the shots of the marks of the mask, mark by mark."""
    return tuple(shots for shots, used in zip(marks.shots, which, strict=True) if used)


# ---------------------------------------------------------------- the marks


def _marks(section: SiteFit, inputs: Inputs, measured: Points, job: Job) -> _Marks:
    known = inputs.control
    if known is None:
        refuse(
            "no-points",
            section.where,
            "[site_fit] fits the as-measured points to the control, and the job has none",
            "name the file of known points under [control]",
        )
    rows = unique_points(known, np.arange(len(known)), section.where, "control")
    of_known = dict(zip(stripped_ids(known)[rows].tolist(), rows.tolist(), strict=True))
    names = stripped_ids(measured)
    live = exclusion_reasons(job, measured) == ""
    of_measured: dict[str, list[int]] = {}
    for index in np.flatnonzero(live).tolist():
        of_measured.setdefault(str(names[index]), []).append(index)
    pairs = list(section.pairs)
    for shot, mark in pairs:
        for name, there, what in (
            (shot, of_measured, "as-measured point, or none that is not set aside,"),
            (mark, of_known, "control point"),
        ):
            if name not in there:
                refuse(
                    "unknown-point",
                    section.where,
                    f'[site_fit]: the pair "{shot}", "{mark}" names "{name}": no {what} has'
                    " that id",
                    "each pair is an as-measured id and a control id, in that order",
                )
    equal = [(name, name) for name in of_known if name and name in of_measured]
    used = pairs or equal
    taken = {mark for _, mark in used}
    others = [pair for pair in equal if pair[1] not in taken]
    if not used:
        refuse(
            "fit-weak",
            section.where,
            "[site_fit]: no as-measured point carries the id of a control point",
            'shoot the control, or name pairs = [["as-measured id", "control id"], ...]',
        )
    every = [*used, *others]
    shots = tuple(np.array(of_measured[shot], dtype=np.int64) for shot, _ in every)
    at = np.array([of_known[mark] for _, mark in every], dtype=np.int64)

    def mean(values: FloatArray) -> FloatArray:
        return np.array([_mean(values[index]) for index in shots])

    return _Marks(
        id=np.array([mark for _, mark in every], dtype=object),
        measured_id=np.array([shot for shot, _ in every], dtype=object),
        shots=shots,
        used=np.arange(len(every)) < len(used),
        xy=np.column_stack((mean(measured.easting_m), mean(measured.northing_m))),
        z=mean(measured.elevation_m),
        known_xy=np.column_stack((known.easting_m[at], known.northing_m[at])),
        known_z=known.elevation_m[at],
    )


def _mean(values: FloatArray) -> float:
    """Return the mean of what is there, NaN of nothing."""
    there = values[np.isfinite(values)]
    return float(there.mean()) if there.size else float("nan")


def _fit(section: SiteFit, marks: _Marks) -> _Fit:
    """Return the fit; InputError where the marks do not fix it."""
    plan = height = None
    part = "plan"
    if section.given is not None:
        chosen, given = marks.for_height, section.given
        if given.plan:
            plan = given_plan(given, marks.xy[marks.used], marks.known_xy[marks.used])
        if given.shift_z_m is not None:
            rise = (marks.known_z - marks.z)[chosen]
            height = given_height(given, marks.xy[chosen], rise)
        return _Fit(plan=plan, height=height, given=True)
    try:
        if section.plan is PlanFit.SIMILARITY:
            plan = fit_similarity(marks.xy[marks.used], marks.known_xy[marks.used])
        elif section.plan is PlanFit.SHIFT:
            plan = fit_shift(marks.xy[marks.used], marks.known_xy[marks.used])
        part = "height"
        chosen = marks.for_height
        rise = (marks.known_z - marks.z)[chosen]
        if section.height is HeightFitKind.PLANE:
            height = fit_plane(marks.xy[chosen], rise)
        elif section.height is HeightFitKind.SHIFT:
            height = fit_level(marks.xy[chosen], rise)
    except GeometryError as fault:
        refuse(
            "fit-weak",
            section.where,
            f"[site_fit]: {part} cannot be fitted: {fault}",
            _remedy(section, marks, part)
            or fault.hint
            or f"name more marks, or write {part} with a simpler fit",
        )
    return _Fit(plan=plan, height=height)


_NEEDED: Final = {
    ("plan", "similarity"): ("a similarity needs 2 marks, and a third", 2, 'plan = "shift"'),
    ("plan", "shift"): ("a shift needs a mark, and a second", 1, 'plan = "none"'),
    ("height", "plane"): ("a plane needs 3 marks, and a fourth", 3, 'height = "shift"'),
    ("height", "shift"): ("a shift needs a mark, and a second", 1, 'height = "none"'),
}
"""What fixes a fit and what shows its errors, how many marks that is, and what needs fewer."""


def _remedy(section: SiteFit, marks: _Marks, part: str) -> str:
    """Return what to do where marks are too few for a fit; "" where their number is enough."""
    used = marks.used if part == "plan" else marks.for_height
    names = [str(name) for name in marks.id[used]]
    key = (part, str(section.plan if part == "plan" else section.height))
    if key not in _NEEDED or len(names) >= _NEEDED[key][1]:
        return ""
    needs, _, simpler = _NEEDED[key]
    are = "is" if len(names) == 1 else "are"
    there = f"there {are} {len(names)}: {', '.join(names)}" if names else "there is none"
    return (
        f"{needs} to show anything; {there}. Shoot more known marks, or write {simpler} where "
        "that is enough"
    )


# ---------------------------------------------------------------- the measure


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """What the fit leaves at each mark; arrays of shape (marks,), fitted minus control, metres.

    left: the same had the mark not been used. share: how much of an error of the mark shows in its
    own residual (its redundancy number), NaN where nothing of the kind was fitted.
    """

    dn: FloatArray
    de: FloatArray
    dz: FloatArray
    left_n: FloatArray
    left_e: FloatArray
    left_z: FloatArray
    share_plan: FloatArray
    share_height: FloatArray


def _rows(marks: _Marks, fit: _Fit) -> _Rows:
    away = fit.plan_of(marks.xy) - marks.known_xy
    dz = marks.z + fit.rise_at(marks.xy) - marks.known_z
    left, left_z = away.copy(), dz.copy()
    share_plan = np.full(len(marks), np.nan)
    share_height = np.full(len(marks), np.nan)
    if fit.plan is not None:
        left[marks.used] = fit.plan.left_out_m
        share_plan[marks.used] = 1.0 if fit.given else _plan_shares(marks, fit.plan)
    if fit.height is not None:
        left_z[marks.for_height] = fit.height.fit.left_out
        share_height[marks.for_height] = fit.height.fit.redundancy_number
    return _Rows(
        dn=away[:, 1],
        de=away[:, 0],
        dz=dz,
        left_n=left[:, 1],
        left_e=left[:, 0],
        left_z=left_z,
        share_plan=share_plan,
        share_height=share_height,
    )


def _plan_shares(marks: _Marks, plan: PlaneMove) -> FloatArray:
    """Return the redundancy number of each used mark, the same for northing and easting."""
    count = int(marks.used.sum())
    share = np.full(count, 1.0 - 1.0 / count)
    if plan.redundancy < 2 * count - 2:  # more than a shift
        away = marks.xy[marks.used] - plan.centre_from_m
        share = share - np.sum(away * away, axis=1) / plan.spread_m2
    return np.asarray(np.maximum(share, 0.0))


def _measure(
    section: SiteFit, marks: _Marks, fit: _Fit, inputs: Inputs, job: Job, frame: SiteFrame | None
) -> Measure:
    rows = _rows(marks, fit)
    length, spot = Quantity.LENGTH, Quantity.COORDINATE
    most = max(len(shots) for shots in marks.shots)
    table = np.full((len(marks), most), -1, dtype=np.int64)
    for row, shots in enumerate(marks.shots):
        table[row, : len(shots)] = shots
    same = bool(np.all(marks.measured_id == marks.id))
    blank: TextArray = np.full(len(marks), "", dtype=object)
    horizontal = np.hypot(rows.dn, rows.de)
    return Measure(
        kind="site_fit",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=marks.id,
        columns=(
            column("measured_id", "As-measured", Quantity.TEXT, marks.measured_id, detail=same),
            column("in_fit", "In the fit", Quantity.TEXT, _in_fit(section, marks)),
            column(
                "count", "Shots", Quantity.COUNT, np.array([len(s) for s in marks.shots], float)
            ),
            column("dn", "ΔN", length, rows.dn),
            column("de", "ΔE", length, rows.de),
            column("dz", "ΔZ", length, rows.dz),
            column("horizontal", "Horizontal", length, horizontal),
            column("left_out_n", "Left out ΔN", length, rows.left_n, detail=True),
            column("left_out_e", "Left out ΔE", length, rows.left_e, detail=True),
            column("left_out", "Left out, plan", length, np.hypot(rows.left_n, rows.left_e)),
            column("left_out_z", "Left out ΔZ", length, rows.left_z),
            column(
                "redundancy_plan",
                "Shows in plan",
                Quantity.PROBABILITY,
                rows.share_plan,
                detail=True,
            ),
            column(
                "redundancy_height",
                "Shows in height",
                Quantity.PROBABILITY,
                rows.share_height,
                detail=True,
            ),
            column("design_n", "Known N", spot, marks.known_xy[:, 1], detail=True),
            column("design_e", "Known E", spot, marks.known_xy[:, 0], detail=True),
            column("design_z", "Known Z", spot, marks.known_z, detail=True),
            column("measured_n", "As-measured N", spot, marks.xy[:, 1], detail=True),
            column("measured_e", "As-measured E", spot, marks.xy[:, 0], detail=True),
            column("measured_z", "As-measured Z", spot, marks.z, detail=True),
        ),
        summary=(
            counts_item("marks", "Marks in the fit", int(marks.used.sum())),
            counts_item("others", "Marks kept out of it", int((~marks.used).sum())),
            *_parameters(section, fit, marks),
            *spread(rows.dn[marks.used], rows.de[marks.used], rows.dz[marks.used]),
        ),
        comparisons=(
            *_residuals(marks, fit, rows),
            *(() if fit.given else _left_out(marks, fit, rows)),
        ),
        judged_by_row=True,
        shots=table,
        used=np.unique(np.concatenate(marks.shots)),
        unchecked=blank,
        undecided=blank.copy(),
        said=blank.copy(),
        counted=np.ones(len(marks), dtype=np.bool_),
        remarks=(
            *_about_use(section, marks, fit),
            *_about_proof(section, marks, fit, rows),
            *(() if fit.given else _about_left_out(marks, rows, fit, job.unit)),
            *(about_given(fit.plan, frame) if fit.given else about_prediction(fit.plan, frame)),
            *_about_reach(marks, fit, inputs, job.unit),
        ),
    )


def _residuals(marks: _Marks, fit: _Fit, rows: _Rows) -> tuple[Comparison, Comparison]:
    """Return what the fit leaves at each mark, in plan and in height."""
    horizontal = np.hypot(rows.dn, rows.de)
    return (
        Comparison(
            limit="horizontal",
            label="horizontal",
            value=_proven(horizontal, marks.used, fit.plan_redundancy),
            vector=np.column_stack((rows.dn, rows.de)),
            absent=_absent(marks, marks.used, "plan", fit.plan_redundancy),
            absent_verdict=np.full(len(marks), Verdict.UNDECIDED, dtype=np.int8),
        ),
        Comparison(
            limit="vertical",
            label="vertical",
            value=_proven(rows.dz, marks.for_height, fit.height_redundancy),
            absent=_absent(marks, marks.for_height, "height", fit.height_redundancy),
            absent_verdict=_no_height(marks),
        ),
    )


def _left_out(marks: _Marks, fit: _Fit, rows: _Rows) -> Iterator[Comparison]:
    """Give what a mark misses by when left out: over the limit, the fit may hide what is wrong.

    It is a hint and no proof: another mark may be the wrong one, and the fewer marks remain, the
    more their own errors grow.
    """
    horizontal = np.hypot(rows.left_n, rows.left_e)
    for limit, label, values, used, redundancy in (
        (
            "horizontal",
            "left out of the fit, horizontal",
            horizontal,
            marks.used,
            fit.plan_redundancy,
        ),
        (
            "vertical",
            "left out of the fit, vertical",
            rows.left_z,
            marks.for_height,
            fit.height_redundancy,
        ),
    ):
        if redundancy is None:
            continue
        alone = np.isnan(values) & used & (redundancy > 0)
        yield Comparison(
            limit=limit,
            label=label,
            value=values,
            vector=np.column_stack((rows.left_n, rows.left_e)) if limit == "horizontal" else None,
            applies=used & (np.isfinite(values) | alone),
            absent=np.where(alone, "the other marks do not fix the fit without this one", ""),
            absent_verdict=np.full(len(marks), Verdict.UNDECIDED, dtype=np.int8),
            hint=True,
        )


def _no_height(marks: _Marks) -> CodeArray:
    """Return the verdict of heights that are not there to be judged; shape (marks,)."""
    return np.where(marks.for_height, Verdict.UNDECIDED, Verdict.UNCHECKED).astype(np.int8)


def _proven(values: FloatArray, fitted: BoolArray, redundancy: int | None) -> FloatArray:
    """Return the residuals that can prove anything: of a fit without redundancy none does."""
    if redundancy is None or redundancy > 0:
        return values
    return np.where(fitted, np.nan, values)


def _absent(marks: _Marks, fitted: BoolArray, part: str, redundancy: int | None) -> TextArray:
    """Return why a residual is not there to be judged; shape (marks,)."""
    texts: TextArray = np.full(len(marks), "", dtype=object)
    if part == "height":
        texts[np.isnan(marks.z)] = "no elevation was measured"
        texts[np.isnan(marks.known_z)] = "the control gives no elevation"
    if redundancy == 0:
        texts[fitted] = (
            f"no more marks than the fit in {part} needs: a residual of 0 proves nothing"
        )
    return texts


def _parameters(section: SiteFit, fit: _Fit, marks: _Marks) -> Iterator[Item]:
    """Give the parameters with their standard deviations; None where nothing of the kind is fitted.

    Without redundancy a standard deviation does not exist.
    """
    plan, height = fit.plan, fit.height
    similar = plan if section.plan is PlanFit.SIMILARITY else None
    at = marks.xy[marks.used].mean(axis=0, keepdims=True)
    middle = plan.apply(at)[0] - at[0] if plan is not None else np.full(2, np.nan)
    count = len(plan.residual_m) if plan is not None else 1
    of_shift = np.nan if plan is None or fit.given else plan.sigma_m / np.sqrt(count)
    tilt, towards, sd_tilt = _tilt(height)
    ppm, angle, length = Quantity.PPM, Quantity.SMALL_ANGLE, Quantity.LENGTH
    yield item("scale_ppm", "Scale", ppm, (similar.scale - 1.0) * 1e6 if similar else None)
    yield item("sd_scale_ppm", "σ scale", ppm, similar.sigma_scale * 1e6 if similar else None)
    yield item(
        "rotation_deg", "Rotation, clockwise", angle, similar.rotation_rad if similar else None
    )
    yield item(
        "sd_rotation_deg", "σ rotation", angle, similar.sigma_rotation_rad if similar else None
    )
    yield item("shift_n", "Shift N at the middle of the marks", length, float(middle[1]))
    yield item("shift_e", "Shift E at the middle of the marks", length, float(middle[0]))
    yield item("sd_shift_n", "σ shift N", length, of_shift)
    yield item("sd_shift_e", "σ shift E", length, of_shift)
    at = marks.xy[marks.for_height]
    level = None if height is None or not len(at) else float(height.at(at.mean(axis=0)[None])[0])
    yield item("shift_z", "Shift Z at the middle of the marks", length, level)
    sd_level = None if height is None else float(np.sqrt(height.fit.covariance[0, 0]))
    yield item("sd_shift_z", "σ shift Z", length, sd_level)
    yield item("tilt", "Tilt of the height correction", angle, tilt)
    if tilt is not None:
        yield item("tilt_ppm", "Tilt, mm in a kilometre", ppm, tilt * 1e6)
        yield item("tilt_azimuth", "It rises towards azimuth", Quantity.ANGLE, towards)
        yield item("sd_tilt", "σ tilt", angle, sd_tilt)
    plan_free = None if plan is None else float(plan.redundancy)
    yield item("redundancy_plan", "Redundancy in plan", Quantity.COUNT, plan_free)
    height_free = None if height is None else float(height.fit.redundancy)
    yield item("redundancy_height", "Redundancy in height", Quantity.COUNT, height_free)
    sd_plan = None if plan is None else plan.sigma_m
    yield item("sd_plan", "σ of one coordinate, from the residuals", length, sd_plan)
    sd_height = None if height is None else height.fit.sigma
    yield item("sd_height", "σ of one height, from the residuals", length, sd_height)


def _tilt(height: HeightFit | None) -> tuple[float | None, float | None, float | None]:
    """Return tilt, the azimuth of its rise and its standard deviation; None without a plane."""
    if height is None or len(height.fit.parameter) < 3:
        return None, None, None
    rise = np.array([height.rise_east, height.rise_north])
    tilt = height.slope
    unit = rise / tilt if tilt > 0.0 else np.array([0.0, 1.0])
    spread_of = float(unit @ height.fit.covariance[1:, 1:] @ unit)
    towards = float(np.mod(np.arctan2(rise[0], rise[1]), 2.0 * np.pi)) if tilt > 0.0 else None
    return float(np.arctan(tilt)), towards, float(np.sqrt(spread_of))


# ---------------------------------------------------------------- what must be said


def _in_fit(section: SiteFit, marks: _Marks) -> TextArray:
    """Return whether the fit rests on each mark: of a stated one on those that the job names."""
    texts: TextArray = np.where(marks.used, "yes", "no").astype(object)
    if section.given is not None and not section.pairs:
        texts[:] = "not stated"
    return texts


def _about_use(section: SiteFit, marks: _Marks, fit: _Fit) -> Iterator[str]:
    """Say whether the fit moves anything, and what that takes from the marks."""
    if fit.given:
        yield (
            "The fit was not computed here but stated in the job; the marks test it, and all of"
            " what they miss by is shown. How well its parameters are known is not."
        )
    if not section.apply:
        yield "The fit is shown only: no as-measured point was moved by it."
        return
    yield (
        "This fit was applied: every as-measured point was moved by it before all other checks, and"
        " the coordinates in this report are the moved ones."
    )
    if fit.given and not section.pairs:
        yield (
            "From which marks it was computed is not stated (pairs): if these are the ones, they"
            " are no independent proof of it."
        )
        return
    yield (
        "The marks in the fit are no independent check shots any more: they were made to agree."
        + ("" if (~marks.used).any() else " No mark was kept out of it to prove it.")
    )


def _about_proof(section: SiteFit, marks: _Marks, fit: _Fit, rows: _Rows) -> Iterator[str]:
    """Say what the number of marks cannot show."""
    count = int(marks.used.sum())
    if fit.plan is not None and fit.plan.redundancy == 0:
        yield (
            f"Plan: {count} mark{'s' if count != 1 else ''} always fit, whatever is wrong with"
            " them. The residuals are 0 and prove nothing; add marks."
        )
    tall = int(marks.for_height.sum())
    plane = section.height is HeightFitKind.PLANE
    if fit.given:
        return
    if fit.height is not None and fit.height.fit.redundancy == 0:
        what = "A plane through three marks" if plane else "A shift from one mark"
        yield (
            f"Height: {what} has no residual, however wrong a mark is, and the error grows with the"
            " distance from the marks. Add marks all round the site, or fit a shift and level it."
        )
    elif plane and tall == 4:
        yield (
            "Height: with four marks and a plane the error of one bad mark shows on all four alike,"
            " a quarter each at the corners of a rectangle: it is seen, but not whose it is. Level"
            " between the marks to find it."
        )
    for part, shares in (("plan", rows.share_plan), ("height", rows.share_height)):
        weak = np.flatnonzero(np.isfinite(shares) & (shares > 1e-6) & (shares < _WEAK))
        if weak.size:
            worst = int(weak[np.argmin(shares[weak])])
            yield (
                f"In {part} only {fixed(100.0 * float(shares[worst]), 0)} % of an error of mark"
                f" {marks.id[worst]} shows in its own residual; the rest bends the fit. Look at"
                " what it has when left out."
            )


def _about_left_out(marks: _Marks, rows: _Rows, fit: _Fit, unit: LengthUnit) -> Iterator[str]:
    """Name the marks that the others contradict most."""
    plan = np.where(marks.used, np.hypot(rows.left_n, rows.left_e), np.nan)
    height = np.where(marks.used, np.abs(rows.left_z), np.nan)
    for part, values, fitted in (("plan", plan, fit.plan), ("height", height, fit.height)):
        if fitted is not None and np.isfinite(values).any() and np.nanmax(values) > 0.0:
            worst = int(np.nanargmax(values))
            yield (
                f"Left out of the fit, {marks.id[worst]} would miss by"
                f" {length_text(float(values[worst]), unit, plus=False)} in {part}, the most of all"
                " marks."
            )


def _about_reach(marks: _Marks, fit: _Fit, inputs: Inputs, unit: LengthUnit) -> Iterator[str]:
    """Say which stakes lie outside the figure of the marks, where the fit is extrapolated."""
    points = inputs.design if inputs.design is not None and len(inputs.design) else inputs.measured
    if points is None or (fit.plan is None and fit.height is None):
        return
    xy = np.column_stack((points.easting_m, points.northing_m))
    # the figure of the control, in which the design is; a shift is the same everywhere
    beyond = outside_by(hull(marks.known_xy[marks.used]), xy)
    if points is inputs.measured:
        beyond = outside_by(hull(marks.xy[marks.used]), xy)
    far = np.flatnonzero(beyond > 0.0)
    if not far.size:
        return
    order = far[np.argsort(-beyond[far], kind="stable")]
    names = stripped_ids(points)
    noun = "design points" if points is inputs.design else "as-measured points"
    named = ", ".join(str(names[index]) for index in order[:_NAMED].tolist())
    more = f" and {len(order) - _NAMED} more" if len(order) > _NAMED else ""
    worst = int(order[0])
    distance = length_text(float(beyond[worst]), unit, plus=False)
    text = (
        f"{len(order)} of {len(points)} {noun} lie outside the figure of the marks, where the fit"
        f" is extrapolated, {names[worst]} farthest, by {distance}"
    )
    sizes = []
    if fit.plan is not None and fit.plan.redundancy > 0 and not fit.given:
        sizes.append(("plan", float(np.hypot(*fit.plan.sigma_at(xy[worst : worst + 1])[0]))))
    if fit.height is not None and fit.height.fit.redundancy > 0 and not fit.given:
        sizes.append(("height", float(fit.height.sigma_at(xy[worst : worst + 1])[0])))
    if sizes:
        known = " and ".join(
            f"{length_text(size, unit, plus=False)} in {part}" for part, size in sizes
        )
        text += f"; there it is known to {known}, one standard deviation by these residuals"
    yield f"{text}. Outside: {named}{more}."
