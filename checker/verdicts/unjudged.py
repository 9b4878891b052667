"""What a job could be thought to have judged, and has not.

A verdict without a word of what it leaves open is taken for more than it is.
"""

from collections.abc import Sequence

import numpy as np

from checker.lengths import small_text
from checker.model.arrays import TextArray
from checker.model.finding import Finding, Open, Unjudged
from checker.model.kinds import kind_name
from checker.model.measure import Measure
from checker.model.points import Points
from checker.units import LengthUnit

_PLACED = frozenset({"control", "stakeout", "surface", "curb_return"})
_SHOT = _PLACED | {"slope_stake", "relative", "plane", "pipe", "repeats"}
_PROVEN_BY = frozenset({"control", "site_fit"})
_PLAN_LIMITS = frozenset({"horizontal", "along", "across", "distance"})
_HEIGHT_LIMITS = frozenset({"vertical", "elevation"})
_NAMED = 3


def unjudged(
    findings: Sequence[Finding],
    measured: Points | None,
    unit: LengthUnit,
    idle: Sequence[str] = (),
) -> tuple[Unjudged, ...]:
    """Return what was compared, or could be thought to be, and was not judged.

    idle: the names of shots that no check compared and that are no check shots.
    """
    kinds = {finding.measure.kind for finding in findings}
    said = [
        (Open.HEIGHT, _without_limit(findings, unit, "Heights", "dz", _HEIGHT_LIMITS)),
        (Open.PLAN, _without_limit(findings, unit, "Places in plan", "horizontal", _PLAN_LIMITS)),
    ]
    if kinds & _SHOT and not kinds & _PROVEN_BY:
        text = (
            "Control: no shot on a known mark was compared, so what moves all shots together would "
            "not show."
        )
        said.append((Open.CONTROL, text))
    said.append((Open.CONTROL, _without_proof(findings, measured)))
    if kinds & _SHOT and not any(_shows_sigma(finding.measure) for finding in findings):
        text = "How well the shots are known: none shows a standard deviation."
        said.append((Open.PRECISION, text))
    said.append((Open.SHOTS, _idle(idle)))
    if measured is not None:
        said.append((Open.PRECISION, _perfect(measured)))
    return tuple(Unjudged(what=what, text=text) for what, text in said if text)


def _perfect(measured: Points) -> str:
    """Return a sentence about shots whose file shows a standard deviation of 0, or ""."""
    quality = measured.quality
    shown = (quality.sigma_n_m, quality.sigma_e_m, quality.sigma_h_m, quality.sigma_z_m)
    none = np.zeros(len(measured), dtype=np.bool_)
    for values in shown:
        if values is not None:
            none |= values == 0.0
    count = int(np.count_nonzero(none))
    if not count:
        return ""
    which = str(measured.id[int(none.argmax())])
    shots = f"{count} shots show" if count > 1 else "1 shot shows"
    return (
        f"How well the shots are known: {shots} a standard deviation of 0, {which} for one. No "
        "measurement is perfect: where it counts, what is within may only look proven."
    )


def _idle(names: Sequence[str]) -> str:
    """Return a sentence about the shots that no check compared."""
    if not names:
        return ""
    shown = ", ".join(names[:_NAMED])
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    if len(names) == 1:
        return f"Shots: 1 was compared with nothing: {shown}."
    return f"Shots: {len(names)} were compared with nothing: {shown}{more}."


def _without_proof(findings: Sequence[Finding], measured: Points | None) -> str:
    """Return a sentence about sessions, or bases, or days, without a check shot of their own."""
    proofs = [each.measure.used for each in findings if each.measure.kind == "control"]
    work = [each.measure.used for each in findings if each.measure.kind in _SHOT - _PROVEN_BY]
    setups = None if measured is None else _setups(measured)
    if setups is None or not proofs or not work:
        return ""
    word, names = setups
    proven = set(names[np.concatenate(proofs)].tolist())
    at_work = dict.fromkeys(names[np.unique(np.concatenate(work))].tolist())
    lead = "on" if word == "day" else f"in {word}"
    bare = [f"{lead} {name}" for name in at_work if name and name not in proven]
    if not bare:
        return ""
    more = f" and {len(bare) - _NAMED} more" if len(bare) > _NAMED else ""
    return (
        f"Control {', '.join(bare[:_NAMED])}{more}: no check shot of its own, so what was set "
        "up anew there would not show."
    )


def _setups(measured: Points) -> tuple[str, TextArray] | None:
    """Return what may have been set up anew, and which of these each shot is of; None: unknown."""
    if measured.quality.setups is not None:
        return measured.quality.setups
    time = measured.quality.time
    if time is None:
        return None
    days: TextArray = np.array(
        ["" if day == "NaT" else day for day in np.datetime_as_string(time, unit="D").tolist()],
        dtype=object,
    )
    return "day", days


def _without_limit(
    findings: Sequence[Finding], unit: LengthUnit, what: str, key: str, limits: frozenset[str]
) -> str:
    """Return a sentence about the checks that compare something for which they have no limit."""
    named, worst, at, stakes = [], 0.0, "", False
    for finding in findings:
        measure = finding.measure
        if measure.kind not in _PLACED or any(each.limit in limits for each in finding.judgements):
            continue
        size = np.where(measure.counted, np.abs(measure.numbers(key)), np.nan)
        if np.isnan(size).all():
            continue
        named.append(kind_name(measure.kind) if measure.name == measure.kind else measure.name)
        stakes |= measure.kind != "control" and not measure.as_built
        row = int(np.nanargmax(size))
        if not at or size[row] > worst:
            worst, at = float(size[row]), str(measure.id[row])
    if not named:
        return ""
    shown = ", ".join(f'"{name}"' for name in named[:_NAMED])
    more = f" and {len(named) - _NAMED} more" if len(named) > _NAMED else ""
    # of hubs that stand at ground it is the depth of the work, and no fault
    differ = "cut and fill" if stakes and key == "dz" else "the differences"
    return (
        f"{what} in {shown}{more}: no limit is stated; {differ}, up to {small_text(worst, unit)} "
        f"at {at}, are shown and not judged."
    )


def _shows_sigma(measure: Measure) -> bool:
    return any(np.isfinite(measure.numbers(key)).any() for key in ("sigma_h", "sigma_z"))
