"""What a failed control check does to everything that rests on it."""

import numpy as np

from checker.model.arrays import BoolArray, IntArray, TextArray
from checker.model.finding import Finding, Verdict
from checker.model.points import Points

_NAMED = 2
"""How many failed check shots a doubt names."""


def control_doubts(finding: Finding | None, measured: Points) -> TextArray:
    """Return for every as-measured point why its control is in doubt, or ""; shape (points,).

    A check shot that is outside or undecided puts in doubt the points of its own session; so does
    one without a session for all points. A point without a session, or whose session has no check
    shot of its own, rests on all check shots. Where no file shows sessions all rests on all.
    Control that was never shot is unchecked, which is said once and doubts nothing.
    """
    doubts = np.full(len(measured), "", dtype=object)
    if finding is None:
        return doubts
    shots = finding.measure.shots[:, 0]
    proofs = (shots >= 0) & (finding.row_verdict != Verdict.UNCHECKED) & finding.measure.counted
    bad = np.flatnonzero(proofs & (finding.row_verdict != Verdict.WITHIN))
    if not bad.size:
        return doubts
    sessions = measured.quality.session
    if sessions is None:
        doubts[:] = _reason(finding, bad, None)
        return doubts
    of_shot = sessions[shots[bad]]
    own = set(sessions[shots[proofs]].tolist()) - {""}
    for session in dict.fromkeys(sessions.tolist()):
        here: BoolArray = (of_shot == session) | (of_shot == "")
        resting = bad[here] if session in own else bad
        if resting.size:
            doubts[sessions == session] = _reason(finding, resting, sessions)
    return doubts


def _reason(finding: Finding, bad: IntArray, sessions: TextArray | None) -> str:
    """Return what is wrong with the control, its worst check shots by name and session."""
    use = np.where(np.isnan(finding.row_share[bad]), -1.0, finding.row_share[bad])
    ordered = bad[np.lexsort((-use, -finding.row_verdict[bad].astype(np.int64)))].tolist()
    named = []
    for row in ordered[:_NAMED]:
        session = "" if sessions is None else str(sessions[finding.measure.shots[row, 0]])
        through = f" in session {session}" if session else ""
        named.append(f"{finding.measure.id[row]}{through} ({finding.row_reason[row]})")
    more = len(ordered) - len(named)
    text = "control in doubt: check shot on " + " and on ".join(named)
    return f"{text}, and {more} more" if more else text
