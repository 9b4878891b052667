"""What a failed control check does to everything that rests on it."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from checker.model.arrays import BoolArray, IntArray, TextArray, same_text
from checker.model.finding import Finding, Verdict
from checker.model.points import Points

_NAMED = 2
"""How many failed check shots a doubt names."""
_ROWS = 12
"""How many rows of a check the chain names."""


def control_doubts(finding: Finding | None, measured: Points) -> TextArray:
    """Return for every as-measured point why its control is in doubt, or ""; shape (points,).

    A check shot that is outside or undecided puts in doubt the points of its own session; so does
    one without a session for all points. A point without a session, or whose session has no check
    shot of its own, rests on all check shots. Where no file shows sessions the base stands for
    them; where none shows bases either all rests on all. Control that was never shot is unchecked,
    which is said once and doubts nothing.
    """
    doubts: TextArray = np.full(len(measured), "", dtype=object)
    if finding is None:
        return same_text("", len(measured))
    shots = finding.measure.shots[:, 0]
    proofs = (shots >= 0) & (finding.row_verdict != Verdict.UNCHECKED) & finding.measure.counted
    bad = np.flatnonzero(proofs & (finding.row_verdict != Verdict.WITHIN))
    if not bad.size:
        return doubts
    setups = measured.quality.setups
    if setups is None:
        doubts[:] = _reason(finding, bad, None)
        return doubts
    _, sessions = setups
    of_shot = sessions[shots[bad]]
    own = set(sessions[shots[proofs]].tolist()) - {""}
    for session in dict.fromkeys(sessions.tolist()):
        here: BoolArray = (of_shot == session) | (of_shot == "")
        resting = bad[here] if session in own else bad
        if resting.size:
            doubts[sessions == session] = _reason(finding, resting, setups)
    return doubts


def _reason(finding: Finding, bad: IntArray, setups: tuple[str, TextArray] | None) -> str:
    """Return what is wrong with the control, its worst check shots by name and session."""
    use = np.where(np.isnan(finding.row_share[bad]), -1.0, finding.row_share[bad])
    ordered = bad[np.lexsort((-use, -finding.row_verdict[bad].astype(np.int64)))].tolist()
    named = []
    for row in ordered[:_NAMED]:
        through = ""
        if setups is not None and setups[1][finding.measure.shots[row, 0]]:
            word, names = setups
            where = "in session" if word == "session" else "from base"
            through = f" {where} {names[finding.measure.shots[row, 0]]}"
        named.append(f"{finding.measure.id[row]}{through} ({finding.row_reason[row]})")
    more = len(ordered) - len(named)
    text = "control in doubt: check shot on " + " and on ".join(named)
    return f"{text}, and {more} more" if more else text


def with_chain(finding: Finding, measured: Points, resting: Sequence[Finding]) -> Finding:
    """Return the control's finding with what its failures make undecided, check by check.

    resting: the findings of the checks that rest on the control.
    """
    said = tuple(_chain(finding, measured, resting))
    if not said:
        return finding
    measure = replace(finding.measure, remarks=(*said, *finding.measure.remarks))
    return replace(finding, measure=measure)


def _chain(finding: Finding, measured: Points, resting: Sequence[Finding]) -> Iterator[str]:
    """Say which shots rest on failed control, through which session, and which rows on them."""
    doubts = control_doubts(finding, measured)
    own = np.unique(finding.measure.shots[finding.measure.shots >= 0])
    doubted = doubts != ""
    doubted[own] = False
    if not doubted.any():
        return
    setups = measured.quality.setups
    word, names = setups or ("session", np.full(len(measured), "", dtype=object))
    for session in dict.fromkeys(names[doubted].tolist()):
        points = doubted & (names == session)
        count = int(points.sum())
        through = f"{word} {session}" if session else f"no {word} of its own"
        parts = [text for each in resting if (text := _undecided(each, points))]
        stakes = "; ".join(parts) if parts else "no check rests on them"
        yield (
            f"What rests on the failed control: {count} shot{'s' if count != 1 else ''} through"
            f" {through}, and on them {stakes}."
        )


def _undecided(finding: Finding, points: BoolArray) -> str:
    """Return the counted rows of a check that rest on any of these points, in one text."""
    measure = finding.measure
    on = ((measure.shots >= 0) & points[measure.shots]).any(axis=1) & measure.counted
    if measure.judged_by_row:
        on &= finding.row_verdict == Verdict.UNDECIDED
    rows = np.flatnonzero(on).tolist()
    if not rows:
        return ""
    listed = ", ".join(str(measure.id[row]) for row in rows[:_ROWS])
    more = f" and {len(rows) - _ROWS} more" if len(rows) > _ROWS else ""
    return f"{measure.name}: {listed}{more}"
