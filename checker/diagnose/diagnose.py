"""Which common blunders would explain the residuals of a job."""

from collections.abc import Sequence

import numpy as np

from checker.diagnose.causes import USUAL_POLES_M, Setting, length
from checker.diagnose.evidence import Evidence, gather
from checker.diagnose.frames import realization_shifts, zones_of
from checker.diagnose.power import power
from checker.diagnose.search import Found, search
from checker.diagnose.words import LOOK, NAMES, NEVER, says, support
from checker.model.diagnosis import AppliesTo, Cause, Diagnosed, Diagnosis
from checker.model.finding import Finding
from checker.model.frame import SiteFrame
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.measure import Item, Quantity
from checker.text import fixed

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
    if evidence is None or not len(evidence):
        return Diagnosed()
    setting = _setting(job, inputs, evidence, frame)
    found = search(evidence, setting)
    proved = bool(evidence.control.any()) and not bool(evidence.control.all())
    checks = tuple(
        name
        for number, name in enumerate(evidence.sections)
        if not evidence.control[np.searchsorted(evidence.section, number)]
    )
    diagnoses = [_diagnosis(each, job, evidence, checks, proved=proved) for each in found]
    return Diagnosed(
        diagnoses=(*_without_elevation(evidence, job, checks), *diagnoses),
        power=power(evidence, setting, job.unit),
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
    middle = np.nanmedian(evidence.known[:, :2], axis=0)
    heights = evidence.known[:, 2][np.isfinite(evidence.known[:, 2])]
    height = float(np.median(heights)) if len(heights) else np.nan
    return Setting(
        combined_factor=combined if ground is None else ground.combined_factor,
        convergence_rad=np.nan if frame is None else frame.convergence_rad,
        marks=marks,
        ground=None if ground is None else complex(ground.origin_e_m, ground.origin_n_m),
        poles_m=_poles(job, inputs),
        units_m=tuple(sorted(units)),
        shifts_m=realization_shifts(job, float(middle[0]), float(middle[1]), height),
        zones=zones_of(job.reference.crs),
    )


def _poles(job: Job, inputs: Inputs) -> tuple[float, ...]:
    """Return the lengths that a pole may have: the gate's and the column's, else the usual ones.

    Where these name fewer than two lengths the usual ones are possible beside them.
    """
    stated = [] if job.gate is None else list(job.gate.pole_m)
    measured = inputs.measured
    if measured is not None and measured.quality.pole_m is not None:
        shown = measured.quality.pole_m
        stated += np.unique(np.round(shown[np.isfinite(shown)], 4)).tolist()[:6]
    settings = sorted({round(value, 4) for value in stated})
    if len(settings) < 2:
        settings = sorted({*settings, *USUAL_POLES_M})
    return tuple(settings)


def _diagnosis(
    found: Found, job: Job, evidence: Evidence, checks: tuple[str, ...], *, proved: bool
) -> Diagnosis:
    part = found.part
    concerned = sorted({evidence.sections[i] for i in np.unique(evidence.section[found.rows])})
    check = concerned[0] if len(concerned) == 1 else ""
    if part.by == "all" and not found.ids and len(checks) == 1 and part.value != "control":
        check = checks[0]
    if part.by == "check":
        check = part.value
    return Diagnosis(
        cause=found.cause,
        applies_to=AppliesTo(
            check=check,
            by="all" if part.by == "check" else part.by,
            group="" if part.by == "check" or found.ids else part.value,
            ids=found.ids[:LISTED],
        ),
        support=support(found),
        also=found.also,
        says=says(found, job.unit, proved=proved),
    )


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
                    says=f"{len(rows)} of the {whose} are {shown}, exactly. This looks like "
                    f"{NAMES['no-elevation']}. {LOOK['no-elevation']} {NEVER}",
                )
            )
    return tuple(diagnoses)
