"""Limits and verdicts of the rows of further tables; the check's own verdict is not made here."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from checker.model.finding import Judgement, Verdict
from checker.model.job import Tolerance
from checker.model.measure import Column, Comparison, Measure, Quantity, Supplement
from checker.verdicts.limits import Limits, limits


def with_limits(
    measure: Measure, compare: Callable[[Comparison, Limits, Tolerance], Judgement]
) -> Measure:
    """Return the measure with limit, share and verdict in those tables that a tolerance limits."""
    if measure.tolerance is None or all(each.comparison is None for each in measure.supplements):
        return measure
    made = tuple(_judged(each, measure, compare) for each in measure.supplements)
    return replace(measure, supplements=made)


def _judged(
    each: Supplement,
    measure: Measure,
    compare: Callable[[Comparison, Limits, Tolerance], Judgement],
) -> Supplement:
    comparison, tolerance = each.comparison, measure.tolerance
    if comparison is None or tolerance is None:
        return each
    limit = limits(comparison, measure)
    if limit is None:
        return each
    found = compare(comparison, limit, tolerance)
    words = np.array([Verdict(code).word for code in found.verdict.tolist()], dtype=object)
    share = Quantity.SHARE
    return replace(
        each,
        columns=(
            *each.columns,
            Column(key="allowable", label="Allowed", quantity=Quantity.FINE, values=limit.upper),
            Column(key="share", label="Used", quantity=share, values=found.share),
            Column(key="verdict", label="Verdict", quantity=Quantity.TEXT, values=words),
        ),
    )
