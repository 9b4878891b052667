"""Sentences computed from the results: what was found, what to do, what to beware of."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from checker.model.finding import Finding, Open, Results, Verdict
from checker.model.job import Status
from checker.model.kinds import kind_name
from checker.model.measure import Item
from checker.report.rows import HEIGHT_LIMITS, PLAN_LIMITS, Rows
from checker.report.show import percent
from checker.units import LengthUnit

STATUS_NOTES = {
    Status.DRAFT: "Draft: for checking by the surveyor in charge, not to be built from.",
    Status.ISSUED: "",
    Status.SUPERSEDED: "Superseded: do not use. Ask for the report that replaces this one.",
}
ON_PAPER = (
    "Left out on paper: the tables of coordinates, the columns of standard deviations and P "
    "within, tables that stand under another check already, and the plans of checks that are "
    "wholly within. The pages have them; the numbers are in results.csv."
)
_LIMIT_NAMES = {
    "allowed_horizontal": "Allowed in plan",
    "allowed_vertical": "Allowed in height",
    "allowed_along": "Allowed along the line",
    "allowed_across": "Allowed across the line",
    "allowed_distance": "Allowed difference of distance",
    "allowed_elevation": "Allowed difference of elevation",
    "allowed_slope": "Allowed difference of slope",
    "allowed_radius": "Allowed difference of radius",
    "allowed_plumb": "Allowed out of plumb",
    "angular_allowable_arcsec": "Allowed angular misclosure",
    "ratio_required": "Closure ratio asked for",
    "allowable": "Allowed misclosure",
}
"""What a limit limits, by the key of its number; the files have the tolerance's own word."""
_LIMIT_NAMES_OF = {
    "figure": {
        "angular_allowable_arcsec": "Allowed for the bearing of a common line",
        "allowed_distance": "Allowed for the length of a common line, and gap",
    },
    "network": {"allowed_distance": "Allowed semi-major axis between two stations"},
    "plane": {"allowed_vertical": "Allowed off the plane"},
}
"""The same, where a kind of check compares something else."""
PASSIVE = {
    Verdict.OUTSIDE: "outside tolerance",
    Verdict.UNDECIDED: "undecided",
    Verdict.UNCHECKED: "unchecked",
    Verdict.WITHIN: "within tolerance",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """The verdict at one glance: a short sentence and what stands below it."""

    big: str
    rest: str


def item_name(item: Item, kind: str) -> str:
    """Return what a number of a check of that kind is called on its page."""
    names = _LIMIT_NAMES | _LIMIT_NAMES_OF.get(kind, {})
    return names.get(item.key, item.label)


def called(finding: Finding) -> str:
    """Return what a check is called: by its name, or by its kind where the job gives it none."""
    measure = finding.measure
    return kind_name(measure.kind) if measure.kind == measure.name else measure.name


def headline(results: Results, close: int) -> Headline:
    """Return the verdict of the job. close: how many of those within use most of their limit.

    Where the control fails, that comes first: what rests on it cannot be believed before.
    """
    shown = _headline(results.verdict, results.counts, close, "values")
    if results.verdict is Verdict.WITHIN:
        shown = Headline(big=f"{shown.big}{_only(results)}", rest=shown.rest)
    control = [each for each in results.findings if each.measure.kind == "control"]
    failed = sum(
        int(np.count_nonzero(each.row_verdict[each.measure.counted] == Verdict.OUTSIDE))
        for each in control
    )
    if not failed:
        return shown
    if _all_rest_on_doubtful_control(results):
        return Headline(
            big="The control does not hold",
            rest=f"Prove it before anything else: all that rests on it is undecided. {shown.big}. "
            f"{shown.rest}".strip(),
        )
    total = sum(int(np.count_nonzero(each.measure.counted)) for each in control)
    return Headline(
        big=shown.big,
        rest=f"Control fails in {failed:,} of {total:,}: prove it first, what rests on it is "
        f"undecided. {shown.rest}".strip(),
    )


def _all_rest_on_doubtful_control(results: Results) -> bool:
    others = [
        each.measure.used
        for each in results.findings
        if each.measure.kind not in ("control", "site_fit") and each.measure.used.size
    ]
    if not others:
        return True
    used = results.doubts[np.unique(np.concatenate(others))].tolist()
    return all("control" in str(doubt).lower() for doubt in used)


def _only(results: Results) -> str:
    """Return in what alone all is within, where nothing was judged in the other; or ""."""
    left = {each.what for each in results.unjudged}
    limits = {each.limit for finding in results.findings for each in finding.judgements}
    if Open.HEIGHT in left and not limits & HEIGHT_LIMITS:
        return ", in plan"
    if Open.PLAN in left and not limits & PLAN_LIMITS:
        return ", in height"
    return ""


def status_note(results: Results) -> str:
    """Return what the standing of the report means, so that issued is not read as passed."""
    status = results.job.status
    if status is not Status.ISSUED or results.verdict is Verdict.WITHIN:
        return STATUS_NOTES[status]
    counts = [
        f"{results.counts[verdict]:,} {verdict.word}"
        for verdict in (Verdict.OUTSIDE, Verdict.UNDECIDED, Verdict.UNCHECKED)
        if results.counts.get(verdict, 0)
    ]
    return f"Issued with {' and '.join(counts)}: issued does not mean passed."


def check_headline(finding: Finding, close: int) -> Headline:
    """Return the verdict of one check."""
    measure = finding.measure
    if not measure.judged_by_row or not measure.counted.any():
        rest = _sentence(finding.reason)
        if finding.verdict is Verdict.WITHIN:
            rest = _used(finding.share, close=finding.close)
        return Headline(big=finding.verdict.word.capitalize(), rest=rest)
    codes = finding.row_verdict[measure.counted].astype(np.int64)
    counts = dict(zip(Verdict, np.bincount(codes, minlength=len(Verdict)).tolist(), strict=True))
    shown = _headline(finding.verdict, counts, close, "rows")
    if counts.get(finding.verdict, 0):
        return shown
    # the verdict is that of the check as a whole, and so is its reason
    return Headline(big=shown.big, rest=f"{_sentence(finding.reason)} {shown.rest}".strip())


def _used(share: float, *, close: bool) -> str:
    if not np.isfinite(share):
        return ""
    text = f"The largest share of a limit that is used is {percent(share)}"
    return f"{text}: close." if close else f"{text}."


def _headline(verdict: Verdict, counts: Mapping[Verdict, int], close: int, things: str) -> Headline:
    total = sum(counts.values())
    worst = counts.get(verdict, 0)
    if not total:
        return Headline(big="Unchecked", rest="There was nothing to judge.")
    if verdict is Verdict.WITHIN:
        big = f"All {total:,} within tolerance" if total > 1 else "Within tolerance"
    elif not worst:
        big = verdict.word.capitalize()
    else:
        big = f"{worst:,} of {total:,} {PASSIVE[verdict]}"
    parts = []
    if verdict in (Verdict.UNDECIDED, Verdict.UNCHECKED):
        parts.append("Nothing is outside, but undecided and unchecked are no pass")
    others = [
        f"{counts[each]:,} {each.word}"
        for each in (Verdict.UNDECIDED, Verdict.UNCHECKED)
        if each is not verdict and counts.get(each, 0)
    ]
    if others:
        either = ", which is not a pass either" if verdict is Verdict.OUTSIDE else ""
        parts.append(f"{_cap(' and '.join(others))}{either}")
    if verdict is not Verdict.WITHIN:
        parts.append(f"{counts.get(Verdict.WITHIN, 0):,} of {total:,} {things} are within")
    if close:
        verb = "uses" if close == 1 else "use"
        parts.append(f"{close:,} of those within {verb} more than 80{_NBSP}% of a limit")
    return Headline(big=big, rest=". ".join(parts) + "." if parts else "")


_NBSP = "\N{NO-BREAK SPACE}"


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Return a sentence with a capital, unless it begins with the name of a file."""
    first = text.split(maxsplit=1)[0] if text else ""
    return text if "." in first or "/" in first else _cap(text)


def _sentence(text: str) -> str:
    return f"{_cap(text)}." if text else ""


def found(rows: Rows, row: int) -> str:
    """Return what was found at a row: its reason, or how much of which limit it uses."""
    reason = str(rows.finding.row_reason[row]) if rows.by_row else rows.finding.reason
    if reason:
        return reason
    governs = int(rows.governs[row])
    if governs < 0:
        return ""
    label = rows.finding.judgements[governs].label
    label = label[:1].lower() + label[1:]
    return f"uses {percent(float(rows.share[row]))} of what is allowed: {label}"


def to_do(rows: Rows, row: int, doubts: Sequence[str]) -> str:
    """Return what to do about a row that needs attention, in plain words."""
    finding, measure = rows.finding, rows.finding.measure
    verdict = Verdict(int(finding.row_verdict[row]))
    kind = measure.kind
    if verdict is Verdict.OUTSIDE:
        return _about_outside(rows, row)
    if verdict is Verdict.UNDECIDED:
        doubt = "; ".join(doubts[shot] for shot in measure.shots[row].tolist() if shot >= 0)
        return _about_undecided(rows, row, doubt)
    if verdict is Verdict.UNCHECKED:
        return _about_unchecked(rows, row)
    if kind == "control":
        return "Within, but most of the allowance is gone: shoot it again before going on."
    return (
        "Within, but most of the tolerance is gone: look at it before what follows needs the rest."
    )


_EARLIER = re.compile(r"stands where .+ put it")
_OUTSIDE_TO_DO = {
    "control": (
        "Stop. Look at set-up, pole, base and mark, shoot it again; set nothing more from it "
        "until it agrees."
    ),
    "repeats": (
        "Hold. Find which shot is wrong by a third one at another time; if the stake was moved "
        "in between, say so."
    ),
    "site_fit": (
        "Stop. Find the wrong mark before anything rests on this fit: look at its cap and at the "
        "control list, shoot it again."
    ),
    "surface": "Hold. Check the height again; if it stands, cut or fill there and shoot it again.",
    "relative": (
        "Hold. Measure it again directly, by tape, total station or level: a single point, or the "
        "whole group, may stand wrong."
    ),
    "plane": "Hold. Check with level or straightedge; if it stands, rework before it is covered.",
    "curb_return": (
        "Hold. Shoot it again; if it stands, ask the engineer whether the return stays or is "
        "rebuilt."
    ),
    "slope_stake": "Hold. Shoot it again; if it stands, move the stake to the catch point.",
    "pipe": "Hold. Level both inverts again before the trench is filled; if it stands, re-lay it.",
}
"""What to do about a row outside, where its kind matters; of stakes it is told below."""


def _about_outside(rows: Rows, row: int) -> str:
    kind = rows.finding.measure.kind
    failing = {
        judgement.limit
        for judgement in rows.finding.judgements
        if len(judgement.verdict) == len(rows) and judgement.verdict[row] == Verdict.OUTSIDE
    }
    if "plumb" in failing:
        return (
            "Hold. Plumb it again from two sides; if it stands, tell the engineer before loading "
            "or grouting."
        )
    if kind in _OUTSIDE_TO_DO:
        return _OUTSIDE_TO_DO[kind]
    if rows.finding.measure.as_built:
        return _about_as_built(failing)
    return _about_stake(str(rows.finding.measure.said[row]), failing)


def _about_stake(said: str, failing: set[str]) -> str:
    """Return what to do about a stake that is outside; said: what else is known of it."""
    if "on the other side" in said:
        return (
            "Stop. Pull the stake, set it on the side that the design says, and tell whoever may "
            "have built from it."
        )
    if _EARLIER.search(said):
        return (
            "Hold. Find out which revision it was set from, or whether it was disturbed; then "
            "re-set it by this one, look for others, and tell whoever may have built from them."
        )
    plan, height = bool(failing & PLAN_LIMITS), bool(failing & HEIGHT_LIMITS)
    if plan and height:
        return "Hold. Shoot it again; if it stands, re-set the stake in plan and in height."
    if height:
        return "Hold. Check the height again, by level if tight; if it stands, re-mark cut or fill."
    return "Hold. Shoot it again; if it stands, re-set the stake."


def _about_as_built(failing: set[str]) -> str:
    """Return what to do about something built; it is not moved like a stake."""
    what = "the height" if failing <= HEIGHT_LIMITS else "it"
    how = ", by level if tight" if failing <= HEIGHT_LIMITS else ""
    return (
        f"Hold. Check {what} again{how}; if it stands, ask the engineer whether it stays or is "
        "rebuilt."
    )


def _about_undecided(rows: Rows, row: int, doubt: str) -> str:
    if "site fit" in doubt.lower():
        return "Hold. Prove the site fit first: find the wrong mark, or add marks to it."
    if rows.finding.measure.kind == "site_fit" and not doubt:
        return "Hold. Shoot more control all round the site, so that the fit can be proven."
    if "control" in doubt.lower():
        return "Hold. Prove the control first; then shoot it again from proven control."
    if doubt:
        return _about_doubt(doubt)
    if rows.finding.measure.undecided[row]:
        if rows.finding.measure.kind == "repeats":
            return "Shoot it again after a longer time, better from another base."
        why = str(rows.finding.measure.undecided[row])
        if why.startswith(("as near to", "beyond the")):
            return "Hold. Settle which line is meant, and where it ends; ask if in doubt."
        return "Hold. Settle which design point this is; ask the designer if in doubt."
    return (
        f"Hold. Measure it again {_finer(rows, row)}, or ask the engineer whether a wider "
        "tolerance will do."
    )


def _about_doubt(doubt: str) -> str:
    """Return what to do about a shot that fails the gate."""
    if all(part.endswith(" not shown") for part in doubt.split("; ")):
        return (
            "Hold. See whether the export left the column out; if the receiver did not store it, "
            "shoot it again."
        )
    if "not fixed" in doubt:
        return "Hold. Shoot it again, and store it only on a fixed solution."
    return "Hold. Shoot it again so that the stored shot shows what the gate asks for."


def _finer(rows: Rows, row: int) -> str:
    """Return with what to measure a row again, by what of it is undecided."""
    weak = {
        judgement.limit
        for judgement in rows.finding.judgements
        if len(judgement.verdict) == len(rows) and judgement.verdict[row] == Verdict.UNDECIDED
    }
    if weak and weak <= HEIGHT_LIMITS:
        return "with a level"
    if weak and weak <= PLAN_LIMITS:
        return "with a total station from proven control"
    if weak and weak <= PLAN_LIMITS | HEIGHT_LIMITS:
        return "with a total station from proven control, and its height with a level"
    return "by a finer method"


def _about_unchecked(rows: Rows, row: int) -> str:
    measure = rows.finding.measure
    if measure.kind == "control":
        return "Take a check shot on it, or state a tolerance for it."
    if not (measure.shots[row] >= 0).any():
        if "excluded" in str(measure.unchecked[row]):
            return "Shoot it again, or have the exclusion agreed."
        return "Stake it, or take it off the list of what is to be staked."
    text = str(measure.unchecked[row]).lower() or str(rows.finding.row_reason[row]).lower()
    if "elevation" in text:
        return "Ask the designer for the missing elevation."
    if "excluded" in text:
        return "Shoot it again, or have the exclusion agreed."
    if "limit" in text or "tolerance" in text:
        return "State a tolerance for it in the job."
    return "Find out which design point it belongs to; ask the designer if there is none."


_WHOLE_TO_DO = {
    ("traverse", Verdict.OUTSIDE): (
        "Hold. Adjust nothing: look for the leg or angle at fault, and measure it again."
    ),
    ("levels", Verdict.OUTSIDE): (
        "Hold. Adjust nothing: run the line again, from the last proven bench mark."
    ),
    ("vectors", Verdict.OUTSIDE): (
        "Hold. Adjust nothing: find the vector that its loops share, and observe it again."
    ),
    ("figure", Verdict.OUTSIDE): (
        "Hold. Compare the courses with the paper they come from; where it says so, ask its author."
    ),
    ("network", Verdict.OUTSIDE): (
        "Hold. Look at the largest standardized residual first: measure that again, or show that "
        "the stated standard deviations were too small."
    ),
    ("accuracy", Verdict.OUTSIDE): (
        "Hold. The data are coarser than asked for: find the worst points and their cause."
    ),
    ("rover_test", Verdict.OUTSIDE): (
        "Rely on no tight work of this rover: look at pole, sky and base, and test it again."
    ),
    ("accuracy", Verdict.UNDECIDED): (
        "State nothing from it yet: supply the check points that are missing."
    ),
    ("rover_test", Verdict.UNDECIDED): (
        "State nothing from it yet: shoot the series again, whole and clean."
    ),
}
"""What to do about checks that are judged as one, where their kind matters."""


def whole_to_do(finding: Finding) -> str:
    """Return what to do about a check that is judged as one."""
    of_kind = _WHOLE_TO_DO.get((finding.measure.kind, finding.verdict))
    if of_kind is not None:
        return of_kind
    if finding.verdict is Verdict.OUTSIDE:
        return "Hold. Find the cause and measure again."
    if finding.verdict is Verdict.UNDECIDED:
        return "Hold. Supply what is missing, or close the work, then check again."
    if finding.verdict is Verdict.UNCHECKED:
        return "State what it is to be compared with."
    return "Within, but most of the allowance is gone: see whether one leg or set-up stands out."


def hold(results: Results) -> str:
    """Return the one caution that stands beside the verdict."""
    if results.verdict is Verdict.WITHIN:
        return "Within tolerance does not mean certified: read the cautions before anyone builds."
    return (
        "Hold the work at everything listed below as outside, undecided or unchecked until the "
        "person in responsible charge of the survey has dealt with it: stop and ask, do not build."
    )


_CAUTIONS_OF = {
    ("figure",): (
        "A figure that closes agrees with itself; that makes it no boundary. What a boundary is, "
        "and whose, is for the licensed surveyor and the law of the place."
    ),
    ("surface", "plane"): (
        "Between the shots nothing was measured: a surface, a slab or a volume is known there only "
        "as far as the ground runs straight from shot to shot."
    ),
    ("pipe",): (
        "The fall of a pipe is no better than the heights it rests on: have it levelled before it "
        "is bedded and covered."
    ),
    ("accuracy", "rover_test"): (
        "A statement of accuracy or a test of the rover tells how the work agreed there and then. "
        "It approves no instrument, and says nothing of another place or day."
    ),
}
"""Cautions that some kinds of check ask for."""


def cautions(results: Results) -> list[str]:
    """Return the cautions that apply to this report."""
    texts = [
        (
            "This report compares the coordinates in the files listed under Inputs with the "
            "design in them. It certifies nothing: not a boundary or a title, not that the "
            "design is right or safe, not that a stake still stands where it was set."
        ),
        (
            "It holds for those files, those times and that revision only. After a new "
            "revision, or once marks may have been disturbed, check again."
        ),
        (
            "It is no clearance to dig. Have the utilities located and marked first, keep the "
            "tolerance zone that your state or country sets, and expose by safe means. The "
            "colours in these figures are not utility marks."
        ),
        (
            "Trenches, traffic, plant, overhead lines and confined spaces are governed by the "
            "site's safety plan and the local rules. Do not read a screen where machines or "
            "vehicles move."
        ),
        (
            "Who may survey, stake and sign differs from place to place. Where a licence is "
            "required, only the licensed person judges, signs and seals; this report does none "
            "of it."
        ),
    ]
    if results.job.unit is LengthUnit.US_SURVEY_FOOT:
        texts.append(
            "Lengths are in US survey feet, which were retired for new work at the end of 2022 "
            "(Federal Register 85 FR 62698): confirm that this project is meant to be in them."
        )
    kinds = {finding.measure.kind for finding in results.findings}
    texts += [text for of, text in _CAUTIONS_OF.items() if kinds & set(of)]
    if _satellite(results):
        texts.append(
            "Satellite positioning is weaker in height than in plan. A fixed solution proves "
            "neither datum nor control; shots minutes apart share their errors; trees and walls "
            "bend them. Tight heights need a level."
        )
    return texts


def _satellite(results: Results) -> bool:
    measured = results.inputs.measured
    if measured is None:
        return False
    quality = measured.quality
    return any(
        column is not None
        for column in (quality.solution, quality.satellites, quality.pdop, quality.age_s)
    )
