"""Which common blunders would explain the residuals of a job."""

from collections.abc import Sequence

import numpy as np

from checker.diagnose.across import across_lines
from checker.diagnose.closures import Closed, closures
from checker.diagnose.evidence import Evidence, gather, on_lines
from checker.diagnose.frames import realization_drifts, realization_shifts, zones_of
from checker.diagnose.hypothesis import USUAL_POLES_M, Setting, length
from checker.diagnose.power import closure_power, power
from checker.diagnose.search import Found, search
from checker.diagnose.words import (
    SAID_SHAPE,
    closure_support,
    hints,
    says,
    says_closure,
    says_no_elevation,
    support,
    with_decision,
)
from checker.model.diagnosis import AppliesTo, Cause, Diagnosed, Diagnosis
from checker.model.finding import Finding, Verdict
from checker.model.frame import SiteFrame
from checker.model.inputs import Inputs
from checker.model.job import Job, Stakeout
from checker.model.measure import Item, Quantity
from checker.text import fixed

_SAME_POLE_M = 0.003
_LEAST_FRAME_M, _MOST_FRAME_M = 0.04, 60.0
LISTED = 200
"""How many numbers a diagnosis lists at most."""


def diagnose(
    job: Job, inputs: Inputs, findings: Sequence[Finding], frame: SiteFrame | None = None
) -> Diagnosed:
    """Return the causes that the stakeouts' and the control's residuals show. Corrects nothing.

    frame: the named grid at the site. A cause is named only where it brings the rows that it
    concerns to the noise and gains more than its charges against every rival, "nothing" and "some
    single stakes are off" among them.
    """
    evidence = gather(job, inputs, findings)
    convergence = np.nan if frame is None else frame.convergence_rad
    closed = closures(job, inputs, findings, _poles(job, inputs), convergence)
    of_closures = tuple(_closure(each, job) for each in closed)
    if evidence is None or not len(evidence):
        across = tuple(
            _diagnosis(each, job, rows, (), _more(each, job, rows, inputs, findings), proved=False)
            for each, rows in across_lines(job, findings, (), Setting())
        )
        return Diagnosed(diagnoses=(*across, *of_closures), power=closure_power(findings))
    setting = _setting(job, inputs, evidence, frame)
    found = search(evidence, setting)
    proved = bool(evidence.control.any()) and not bool(evidence.control.all())
    checks = tuple(
        name
        for number, name in enumerate(evidence.sections)
        if not evidence.control[np.searchsorted(evidence.section, number)]
    )
    lines = any(isinstance(each, Stakeout) and on_lines(each) for each in job.checks)
    both = [(each, evidence) for each in found]
    both += across_lines(job, findings, found, setting)
    diagnoses = [
        _diagnosis(
            each,
            job,
            rows,
            checks,
            _more(each, job, rows, inputs, findings),
            proved=proved and rows is evidence,
        )
        for each, rows in both
    ]
    return Diagnosed(
        diagnoses=(*_without_elevation(evidence, job, checks), *diagnoses, *of_closures),
        power=power(evidence, setting, job.unit, lines=lines),
    )


def _closure(closed: Closed, job: Job) -> Diagnosis:
    return Diagnosis(
        cause=closed.cause,
        applies_to=AppliesTo(check=closed.check, by="all", group="", ids=closed.cause.ids),
        support=closure_support(closed),
        also=tuple(with_decision(each) for each in closed.also),
        concerns=(closed.check,),
        says=says_closure(closed, job.unit),
    )


def _setting(job: Job, inputs: Inputs, evidence: Evidence, frame: SiteFrame | None) -> Setting:
    control = inputs.control
    marks = (
        ()
        if control is None
        else tuple(
            complex(e, n)
            for e, n in zip(control.easting_m.tolist(), control.northing_m.tolist(), strict=True)
        )
    )
    ground = job.reference.ground
    combined = np.nan if frame is None else frame.combined_factor
    units = {job.unit.metres}
    if job.measured is not None:
        units.add(job.measured.unit.metres)
    if job.design is not None:
        units.add(job.design.unit.metres)
    flat = evidence.known[np.isfinite(evidence.known[:, 0]), :2]
    middle = np.median(flat, axis=0) if len(flat) else np.full(2, np.nan)
    heights = evidence.known[:, 2][np.isfinite(evidence.known[:, 2])]
    height = float(np.median(heights)) if len(heights) else np.nan
    place, shifted = (float(middle[0]), float(middle[1]), height), _shifted(evidence)
    return Setting(
        combined_factor=combined if ground is None else ground.combined_factor,
        convergence_rad=np.nan if frame is None else frame.convergence_rad,
        marks=marks,
        ground=None if ground is None else complex(ground.origin_e_m, ground.origin_n_m),
        poles_m=_poles(job, inputs),
        units_m=tuple(sorted(units)),
        shifts_m=realization_shifts(job, *place) if shifted else (),
        drifts=realization_drifts(job, *place) if shifted else (),
        frames=frame is not None,
        zones=zones_of(job.reference.crs),
    )


def _shifted(evidence: Evidence) -> bool:
    """Tell whether some rows are off by what two realizations may differ: to look costs time."""
    away = np.hypot(*(evidence.measured - evidence.known)[:, :2].T)
    within = (away > _LEAST_FRAME_M) & (away < _MOST_FRAME_M)
    groups = [group.rows for group in evidence.groups()]
    some = [np.ones(len(evidence), dtype=np.bool_), evidence.control, ~evidence.control, *groups]
    return any(within[rows].sum() >= max(2.0, 0.2 * rows.sum()) for rows in some)


def _poles(job: Job, inputs: Inputs) -> tuple[float, ...]:
    """Return the lengths that a pole may have: the gate's and the column's, else the usual ones.

    Where these name fewer than two lengths the usual ones are possible beside them.
    """
    stated = [] if job.gate is None else list(job.gate.pole_m)
    measured = inputs.measured
    if measured is not None and measured.quality.pole_m is not None:
        shown = measured.quality.pole_m
        stated += [
            v for v in np.unique(np.round(shown[np.isfinite(shown)], 4)).tolist() if v > 0.1
        ][:6]
    if len({round(value, 2) for value in stated}) < 2:
        stated += USUAL_POLES_M
    settings: list[float] = []
    for value in stated:
        # A length written in feet is the same length, rounded.
        if all(abs(value - other) > _SAME_POLE_M for other in settings):
            settings.append(value)
    return tuple(sorted(settings))


def _diagnosis(
    found: Found,
    job: Job,
    evidence: Evidence,
    checks: tuple[str, ...],
    more: tuple[str, ...],
    *,
    proved: bool,
) -> Diagnosis:
    part = found.part
    concerned = sorted({evidence.sections[i] for i in np.unique(evidence.section[found.rows])})
    check = concerned[0] if len(concerned) == 1 else ""
    if part.by == "all" and not found.ids and len(checks) == 1 and part.value != "control":
        check = checks[0]
    if part.by in ("check", "relative"):
        check = part.value
    by, group = _split(found, evidence)
    ids = found.ids
    if part.by == "relative":  # no column of the files shows which points these are
        ids = tuple(str(name) for name in evidence.id[found.rows].tolist())
    return Diagnosis(
        cause=found.cause,
        applies_to=AppliesTo(
            check=check,
            by=by,
            group=group,
            ids=ids[:LISTED],
        ),
        support=support(found),
        concerns=tuple(concerned),
        explained=found.explained,
        also=tuple(with_decision(each) for each in found.also),
        says=says(
            found,
            job.unit,
            proved=proved,
            again=evidence.again,
            marks=bool(evidence.control.all()),
            more=more,
        ),
    )


_MOVES = ("shift", "stale-revision", "base-moved", "rotation", "frame-shift", "foot-definition")
"""Causes that leave the distances among the points that they move as they are."""


def _more(
    found: Found, job: Job, evidence: Evidence, inputs: Inputs, findings: Sequence[Finding]
) -> tuple[str, ...]:
    """Return what else speaks for a cause: drawings, metadata, distances that hold."""
    older = {revision.of.path for revision in inputs.older}
    of_now = [each for each in inputs.notices if each.where.file not in older]
    said = hints(found.cause.blunder, of_now, job.reference.geoid)
    if found.cause.blunder not in _MOVES or inputs.measured is None:
        return said
    names = {str(name) for name in evidence.id[found.rows].tolist()}
    held = [
        finding.measure.name
        for finding in findings
        if finding.measure.kind == "relative"
        and finding.verdict is Verdict.WITHIN
        and len(finding.measure.used)
        and names.issuperset(
            str(name).strip() for name in inputs.measured.id[finding.measure.used].tolist()
        )
    ]
    return (*said, *(SAID_SHAPE.replace("…", name, 1) for name in held[:2]))


def _later(evidence: Evidence) -> tuple[str, str]:
    """Return what all later shots share, where anything."""
    for by in ("base", "session", "day", "file"):
        codes = evidence.codes.get(by)
        if codes is not None and len(np.unique(codes)) == 1 and codes[0] >= 0:
            return by, evidence.values[by][int(codes[0])]
    return "all", ""


_NATURAL = {
    "pole-height": ("pole",),
    "base-moved": ("base",),
    **dict.fromkeys(
        ("foot-definition", "unit-factor", "axes-swapped", "mirrored", "dropped-digits"), ("file",)
    ),
    "wrong-zone": ("file",),
}
"""By what a cause goes where several columns split the same rows off."""


def _split(found: Found, evidence: Evidence) -> tuple[str, str]:
    """Return by which column the rows are split off, and its value there."""
    part = found.part
    if part.by in ("check", "relative") or found.ids:
        return "all" if part.by in ("check", "relative") else part.by, ""
    if part.by == "all":
        return _later(evidence) if evidence.again else (part.by, part.value)
    rows = part.rows(evidence)
    for by in _NATURAL.get(found.cause.blunder, ()):
        codes = evidence.codes.get(by)
        if codes is None:
            continue
        first = int(codes[np.argmax(rows)])
        if first >= 0 and np.array_equal(codes == first, rows):
            return by, evidence.values[by][first]
    return part.by, part.value


def _without_elevation(
    evidence: Evidence, job: Job, checks: tuple[str, ...]
) -> tuple[Diagnosis, ...]:
    """Return the diagnoses of numbers that stand in place of elevations: exact, so without odds."""
    diagnoses = []
    for side, whose in (("measured", "as-measured heights"), ("design", "design heights")):
        here = np.isfinite(evidence.no_height) & (evidence.no_height_of == side)
        for value in np.unique(np.round(evidence.no_height[here], 9)).tolist():
            rows = np.flatnonzero(here & (np.abs(evidence.no_height - value) < 1e-6))
            ids = tuple(str(evidence.id[row]) for row in rows)
            shown = f"{fixed(job.unit.from_metres(value), 3)} {job.unit.short}"
            diagnoses.append(
                Diagnosis(
                    cause=Cause(
                        blunder="no-elevation",
                        parameter=(length("value", value),),
                        ids=ids[:LISTED],
                    ),
                    applies_to=AppliesTo(
                        check=checks[0] if len(checks) == 1 else "",
                        by="all",
                        group="design" if side == "design" else "",
                        ids=ids[:LISTED],
                    ),
                    support=(
                        Item(
                            key="points",
                            label="points",
                            quantity=Quantity.COUNT,
                            value=len(rows),
                        ),
                    ),
                    also=(),
                    concerns=tuple(
                        evidence.sections[i] for i in np.unique(evidence.section[rows]).tolist()
                    ),
                    says=says_no_elevation(len(rows), whose, shown),
                )
            )
    return tuple(diagnoses)
