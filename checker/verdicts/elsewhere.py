"""Stakes that are within where they are set out, and that another check holds.

The crew takes the cut sheet to the hole and not the page of the other check, so a stake is held
wherever its number stands. No verdict is changed by it.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from checker.model.arrays import CodeArray
from checker.model.finding import Finding, Verdict

_SET_OUT = frozenset({"stakeout", "surface", "slope_stake", "curb_return"})
"""Kinds of which a row is one place that is built from."""


def held_elsewhere(findings: Sequence[Finding], shots: int) -> tuple[Finding, ...]:
    """Return the findings; rows whose shot fares worse in another check say where, and how.

    shots: how many as-measured points there are. Only undecided and outside count, of rows that
    count, and only against what has a verdict of its own to lose: what is unchecked stays so.
    """
    worst = [_of_shots(finding, shots) for finding in findings]
    holding = [number for number, codes in enumerate(worst) if codes.any()]
    return tuple(
        _told(finding, [(findings[other], worst[other]) for other in holding if other != number])
        for number, finding in enumerate(findings)
    )


def _of_shots(finding: Finding, shots: int) -> CodeArray:
    """Return the worst verdict of every shot in one check, 0 where it holds nothing.

    A row that rests on several shots speaks against each of them only where it misses a limit: when
    it is undecided otherwise, that may be for another one of them.
    """
    codes = np.zeros(shots, dtype=np.int8)
    measure = finding.measure
    if not len(finding.row_verdict) or not measure.shots.size:
        return codes
    held = (finding.row_verdict >= Verdict.UNDECIDED) & measure.counted
    missed = finding.row_verdict == Verdict.OUTSIDE
    for judgement in finding.judgements:
        missed |= judgement.verdict == Verdict.OUTSIDE
    several = np.count_nonzero(measure.shots >= 0, axis=1) > 1
    bad = np.flatnonzero(held & (missed | ~several))
    for column in measure.shots[bad].T:
        there = column >= 0
        np.maximum.at(codes, column[there], finding.row_verdict[bad][there])
    return codes


def _told(finding: Finding, others: Sequence[tuple[Finding, CodeArray]]) -> Finding:
    measure = finding.measure
    if measure.kind not in _SET_OUT or not len(finding.row_verdict) or not others:
        return finding
    elsewhere = np.zeros(len(measure.id), dtype=np.int8)
    said: dict[int, list[str]] = {}
    open_to_it = measure.counted & (finding.row_verdict != Verdict.UNCHECKED)
    for other, codes in others:
        # The last place stands for no shot.
        found = np.append(codes, np.int8(0))[measure.shots].max(axis=1, initial=0)
        worse = open_to_it & (found > finding.row_verdict)
        np.maximum(elsewhere, found, out=elsewhere, where=worse)
        for row in np.flatnonzero(worse).tolist():
            text = f"{Verdict(int(found[row])).word} in {other.measure.name}"
            said.setdefault(row, []).append(text)
    if not said:
        return finding
    reason = finding.row_reason.copy()
    for row, texts in said.items():
        reason[row] = "; ".join(filter(None, (reason[row], *texts)))
    return replace(finding, row_reason=reason, row_elsewhere=elsewhere)
