"""Stakes that miss this design and stand, within the same tolerance, where an earlier one put them.

The bare value counts, whatever the rule: this names what is seen and changes no verdict.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from checker.model.arrays import BoolArray
from checker.model.finding import Judgement, Verdict
from checker.model.job import Rule, Tolerance
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.verdicts.limits import Limits, limits

_NAMED = 12
_WORDS = {"surface": ("shot", "lies", "lie")}
"""What the rows of a check are called here, and what one and several of them do."""


def with_earlier(
    measure: Measure,
    judged: tuple[Judgement, ...],
    compare: Callable[[Comparison, Limits, Tolerance], Judgement],
) -> tuple[Measure, tuple[Item, ...]]:
    """Return the measure that says which rows follow an earlier revision, and how many do.

    A row follows one where a limit of this design does not hold, and all those that can be compared
    with the earlier one do, in plan or in height. Without earlier revisions there is no count.
    """
    tolerance = measure.tolerance
    if tolerance is None or not measure.earlier:
        return measure, ()
    simple = replace(tolerance, rule=Rule.SIMPLE)
    missed = np.zeros(len(measure.id), dtype=np.bool_)
    for each in judged:
        missed |= each.verdict == Verdict.OUTSIDE
    missed &= measure.unchecked == ""
    said = measure.said.copy()
    noun, one_does, many_do = _WORDS.get(measure.kind, ("stake", "stands", "stand"))
    remarks = []
    following = np.zeros(len(measure.id), dtype=np.bool_)
    for revision in measure.earlier:
        stands = missed & _holds(revision.comparisons, replace(measure, tolerance=simple), compare)
        rows = np.flatnonzero(stands)
        following |= stands
        for row in rows.tolist():
            text = f"{one_does} where {revision.words} put it"
            said[row] = f"{said[row]}; {text}" if said[row] else text
        named = [str(measure.id[row]) for row in rows.tolist() if measure.counted[row]]
        if named:
            shown = ", ".join(named[:_NAMED])
            more = f" and {len(named) - _NAMED} more" if len(named) > _NAMED else ""
            one = len(named) == 1
            what = f"{noun} {one_does}" if one else f"{noun}s {many_do}"
            remarks.append(
                f"{len(named)} {what} where {revision.words} "
                f"put {'it' if one else 'them'}, not where this design does: {shown}{more}."
            )
    count = Item(
        key="follow_older",
        label="Stand where an earlier revision put them",
        quantity=Quantity.COUNT,
        value=float(np.count_nonzero(following & measure.counted)),
    )
    return replace(measure, said=said, remarks=(*remarks, *measure.remarks)), (count,)


def _holds(
    comparisons: tuple[Comparison, ...],
    measure: Measure,
    compare: Callable[[Comparison, Limits, Tolerance], Judgement],
) -> BoolArray:
    """Return where everything that can be compared is within, and something can be."""
    rows = len(measure.id)
    some, all_within = np.zeros(rows, dtype=np.bool_), np.ones(rows, dtype=np.bool_)
    for comparison in comparisons:
        limit = limits(comparison, measure)
        if limit is None or measure.tolerance is None:
            continue
        there = ~np.isnan(comparison.value)
        verdict = compare(comparison, limit, measure.tolerance).verdict
        some |= there
        all_within &= ~there | (verdict == Verdict.WITHIN)
    return some & all_within
