"""What to measure again, and how: every shot on which an undecided verdict rests."""

from collections.abc import Sequence

import numpy as np

from checker.model.finding import Results, Verdict
from checker.report.escape import clean
from checker.report.rows import Rows
from checker.report.show import true_minus
from checker.report.sources import LISTED, ShotList, ShotView
from checker.report.words import to_do


def shoot_again(every: Sequence[Rows], results: Results) -> ShotList:
    """Return the shots of undecided rows, each once, with the checks, the remedies and the reasons.

    every: the rows of all findings. In the order of the checks and their rows.
    """
    measured = results.inputs.measured
    if measured is None:
        return ShotList(shown=(), count=0)
    doubts = results.doubts.tolist()
    texts: dict[int, list[str]] = {}
    for rows in every:
        if not rows.by_row:
            continue
        verdict, shots = rows.finding.row_verdict, rows.finding.measure.shots
        chosen = rows.counted & (verdict == Verdict.UNDECIDED) & (shots >= 0).any(axis=1)
        for row in np.flatnonzero(chosen).tolist():
            # of a pair of shots the later one is the one to repeat
            shot = int(next(each for each in shots[row].tolist() if each >= 0))
            found = texts.setdefault(shot, [])
            if len(texts) > LISTED:
                continue
            remedy = to_do(rows, row, doubts).removeprefix("Hold. ")
            name = rows.finding.measure.name
            found.append(f"{remedy} {name}: {rows.finding.row_reason[row]}")
    shown = []
    for shot, found in list(texts.items())[:LISTED]:
        place = measured.files[int(measured.file[shot])]
        line = int(measured.line[shot])
        shown.append(
            ShotView(
                id=clean(str(measured.id[shot])),
                place=clean(f"{place}:{line}" if line else place),
                text=true_minus(clean("; ".join(dict.fromkeys(found)))),
            )
        )
    return ShotList(shown=tuple(shown), count=len(texts))
