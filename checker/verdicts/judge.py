"""Compare a measure with its tolerance.

Simple rule: within where the value does not exceed its limit. Guarded rule, after ISO 14253-1 (as
its public summaries state it): within where the limit still holds with the expanded uncertainty
added, outside where it fails with it taken off, undecided between. Values are judged unrounded; at
the limit is within, and so is what binary fractions add (`GUARD_M`, `GUARD_RAD`, `GUARD_RATIO`).
"""

from dataclasses import dataclass, replace

import numpy as np

from checker.model.arrays import (
    BoolArray,
    CodeArray,
    FloatArray,
    IntArray,
    TextArray,
    is_same,
    same_number,
    same_text,
)
from checker.model.finding import Finding, Judgement, Verdict
from checker.model.job import Rule, Tolerance
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.units import LengthUnit
from checker.verdicts.earlier import with_earlier
from checker.verdicts.limits import SLOPES, Limits, limit_items, limits
from checker.verdicts.probability import within_circle, within_interval, within_rectangle
from checker.verdicts.provable import provable, unproven
from checker.verdicts.risk import method_risks, row_risks
from checker.verdicts.shape import shape_remarks
from checker.verdicts.supplements import with_limits
from checker.verdicts.wording import component_reason

CLOSE = 0.8
"""The share of a limit above which what is within is marked as close."""
_WITHIN, _UNDECIDED = int(Verdict.WITHIN), int(Verdict.UNDECIDED)
_PLAN_AXES = frozenset({"along", "across"})
_NAMED = 3
"""How many rows the reason of a whole check names."""


def judge(measure: Measure, doubts: TextArray, unit: LengthUnit) -> Finding:
    """Return the measure with its verdicts.

    doubts: shape (as-measured points,), why what rests on a point cannot be decided, or "". unit:
    of the lengths in the reasons. Raises InputError where a limit of the tolerance cannot be taken
    at what was measured.
    """
    measure = with_limits(measure, lambda *given: _compare(*given).judgement)
    found = tuple((comparison, limits(comparison, measure)) for comparison in measure.comparisons)
    judged = [
        _compare(comparison, limit, measure.tolerance)
        for comparison, limit in found
        if limit is not None and measure.tolerance is not None
    ]
    proof, method = provable(measure, found, unit), method_risks(measure, found)
    summary = (*measure.summary, *limit_items(measure, found), *proof.items, *method.items)
    if proof.remarks or method.remarks:
        measure = replace(measure, remarks=(*measure.remarks, *proof.remarks, *method.remarks))
    words = shape_remarks(measure, tuple(item.judgement for item in judged), unit)
    if words:
        measure = replace(measure, remarks=(*words, *measure.remarks))
    if measure.judged_by_row:
        measure, follow = with_earlier(
            measure,
            tuple(item.judgement for item in judged),
            lambda *given: _compare(*given).judgement,
        )
        rows = _judge_rows(measure, judged, doubts, unit)
        clear = _doubts_of_rows(measure, doubts) == ""
        weak = unproven(
            measure,
            tuple(item.judgement for item in judged),
            np.where(clear, rows.verdict, np.int8(Verdict.WITHIN)),
            unit,
        )
        chance = row_risks(measure, rows.verdict, rows.p_within)
        if weak or chance.remarks:
            measure = replace(measure, remarks=(*weak, *measure.remarks, *chance.remarks))
        verdict, reason = _verdict_of_rows(measure, rows)
        used = rows.share[measure.counted & ~np.isnan(rows.share)]
        return Finding(
            measure=measure,
            summary=(*summary, *follow, *_share_items(measure, rows), *chance.items),
            verdict=verdict,
            reason=reason,
            close=verdict is Verdict.WITHIN and bool(rows.close[measure.counted].any()),
            share=float(used.max()) if used.size else np.nan,
            judgements=tuple(item.judgement for item in judged),
            row_verdict=rows.verdict,
            row_reason=rows.reason,
            row_close=rows.close,
            row_share=rows.share,
            p_within=rows.p_within,
            unproven=" ".join(weak),
        )
    verdict, reason, share = _judge_as_one(measure, judged, doubts, unit)
    if verdict is Verdict.OUTSIDE and any(
        column.key.startswith("adjusted") and np.isfinite(column.values.astype(np.float64)).any()
        for column in measure.columns
    ):
        measure = replace(measure, remarks=(_NOT_TO_BE_USED, *measure.remarks))
    return Finding(
        measure=measure,
        summary=summary,
        verdict=verdict,
        reason=reason,
        close=verdict is Verdict.WITHIN and share > CLOSE,
        share=share,
        judgements=tuple(item.judgement for item in judged),
        row_verdict=np.empty(0, dtype=np.int8),
        row_reason=np.empty(0, dtype=object),
        row_close=np.empty(0, dtype=np.bool_),
        row_share=np.empty(0),
        p_within=np.empty(0),
    )


# ---------------------------------------------------------------- one comparison


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """A comparison with its judgement."""

    comparison: Comparison
    judgement: Judgement

    def reason(self, index: int, unit: LengthUnit) -> str:
        """Return why the value at the index is not within; "" where the row says it itself."""
        absent = self.comparison.absent
        if np.isnan(self.judgement.value[index]):
            return "" if absent is None else str(absent[index])
        return component_reason(self.judgement, index, unit)


def _compare(comparison: Comparison, limit: Limits, tolerance: Tolerance) -> _Judged:
    """Return the comparison judged against its limits, each value on its own."""
    value = comparison.value
    uncertainty = same_number(0.0, len(value))
    if tolerance.rule is Rule.GUARDED:
        sigma = comparison.sigma
        uncertainty = same_number(np.nan, len(value)) if sigma is None else tolerance.k * sigma
    best = _holds(value, -uncertainty, limit)
    sure = _holds(value, uncertainty, limit)
    idle = np.zeros(value.shape, dtype=np.bool_)
    if comparison.applies is not None:
        idle = ~comparison.applies
    verdict = np.select(
        [idle, np.isnan(value), np.isnan(uncertainty + limit.lower + limit.upper), sure, ~best],
        [
            Verdict.WITHIN,
            _absent(comparison),
            Verdict.UNDECIDED,
            Verdict.WITHIN,
            Verdict.OUTSIDE,
        ],
        Verdict.UNDECIDED,
    ).astype(np.int8)
    if comparison.hint:
        verdict = np.minimum(verdict, np.int8(Verdict.UNDECIDED))
    return _Judged(
        comparison=comparison,
        judgement=Judgement(
            limit=comparison.limit,
            label=comparison.label,
            value=value,
            lower=limit.lower,
            upper=limit.upper,
            guard=uncertainty,
            share=np.where(idle, np.nan, _share(value, limit)),
            verdict=verdict,
        ),
    )


def _holds(value: FloatArray, uncertainty: FloatArray, limit: Limits) -> BoolArray:
    """Return where the limits hold for the value with the uncertainty added on its worse side."""
    above = value + uncertainty <= limit.upper + limit.guard
    return above & (value - uncertainty >= limit.lower - limit.guard)


def _absent(comparison: Comparison) -> CodeArray:
    """Return the verdict of values that are not there: what the check says, else unchecked."""
    if comparison.absent_verdict is None:
        return np.full(comparison.value.shape, Verdict.UNCHECKED, dtype=np.int8)
    return np.maximum(comparison.absent_verdict, np.int8(Verdict.UNCHECKED))


def _share(value: FloatArray, limit: Limits) -> FloatArray:
    """Return how much of its own side's limit a value uses: 1 at the limit.

    A limit of 0 is used up by 0 and exceeded infinitely by more; a side without a limit uses 0. Of
    what must be at least so much the share is what is asked over what is there.
    """
    bound = np.where(value >= 0.0, limit.upper, -limit.lower)
    size = np.abs(value)
    at_zero = np.where(size <= limit.guard, 1.0, np.inf)
    share = np.where(bound > 0.0, size / np.where(bound > 0.0, bound, 1.0), at_zero)
    least = limit.lower > 0.0
    asked = np.where(value > 0.0, limit.lower / np.where(value > 0.0, value, 1.0), np.inf)
    share = np.where(least, np.fmax(np.where(value >= 0.0, share, 0.0), asked), share)
    # what binary fractions add to a value at its limit uses no more than the limit
    holds = _holds(value, same_number(0.0, len(value)), limit)
    np.minimum(share, 1.0, out=share, where=holds)
    return np.where(np.isnan(value) | np.isnan(bound), np.nan, share)


# ---------------------------------------------------------------- checks judged as one


def _judge_as_one(
    measure: Measure, judged: list[_Judged], doubts: TextArray, unit: LengthUnit
) -> tuple[Verdict, str, float]:
    """Return verdict, reason and share of a check that gets one verdict.

    Where a shot that it rests on is in doubt it is undecided, whatever it comes to.
    """
    parts: list[tuple[int, str]] = []
    if measure.whole_unchecked:
        parts.append((Verdict.UNCHECKED, measure.whole_unchecked))
    if measure.whole_undecided:
        parts.append((Verdict.UNDECIDED, measure.whole_undecided))
    if not judged and not measure.whole_unchecked:
        parts.append((Verdict.UNCHECKED, _no_limit(measure)))
    for item in judged:
        verdict = int(item.judgement.verdict[0])
        if verdict != Verdict.WITHIN:
            parts.append((verdict, item.reason(0, unit)))
    worst = Verdict(max((verdict for verdict, _ in parts), default=Verdict.WITHIN))
    shares = [float(item.judgement.share[0]) for item in judged]
    compared = [share for share in shares if not np.isnan(share)]
    reason = _worst_first(parts)
    in_doubt = _doubts_of_rows(measure, doubts)
    resting = np.flatnonzero(in_doubt != "")
    if resting.size and judged and not measure.whole_unchecked:
        others = f" and {len(resting) - 1} more" if len(resting) > 1 else ""
        first = int(resting[0])
        reason = _joined(f"{measure.id[first]}{others} in doubt: {in_doubt[first]}", reason)
        worst = Verdict.UNDECIDED
    return worst, reason, max(compared, default=np.nan)


_NOT_TO_BE_USED = (
    "Outside its limit: what was shared out is shown for information, and nothing adjusted here is "
    "to be used."
)


def _worst_first(parts: list[tuple[int, str]]) -> str:
    """Return the reasons in one line, those of the worst verdict first, each once."""
    ordered = sorted(parts, key=lambda part: -part[0])
    return "; ".join(dict.fromkeys(text for _, text in ordered if text))


def _no_limit(measure: Measure) -> str:
    """Return why nothing could be judged."""
    if measure.tolerance is None:
        return "no tolerance stated"
    return "no limit stated for what was measured"


# ---------------------------------------------------------------- checks judged by row


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """The verdicts of the rows; arrays of shape (rows,)."""

    verdict: CodeArray
    reason: TextArray
    close: BoolArray
    share: FloatArray
    p_within: FloatArray


def _judge_rows(
    measure: Measure, judged: list[_Judged], doubts: TextArray, unit: LengthUnit
) -> _Rows:
    """Return the verdicts of all rows."""
    rows = len(measure.id)
    unchecked = measure.unchecked != ""
    doubt = _doubts_of_rows(measure, doubts)
    verdict = np.where(measure.undecided != "", Verdict.UNDECIDED, Verdict.WITHIN).astype(np.int8)
    share = np.full(rows, np.nan)
    for item in judged:
        verdict = np.maximum(verdict, item.judgement.verdict)
        share = np.fmax(share, item.judgement.share)
        # What is not judged shows no verdict of its components either.
        item.judgement.verdict[unchecked] = Verdict.UNCHECKED
        item.judgement.share[unchecked] = np.nan
    share[unchecked] = np.nan
    verdict[doubt != ""] = Verdict.UNDECIDED
    if not judged:
        unchecked = np.ones(rows, dtype=np.bool_)
    verdict[unchecked] = Verdict.UNCHECKED
    reason = np.full(rows, "", dtype=object)
    for row in np.flatnonzero((verdict != Verdict.WITHIN) | (measure.said != "")).tolist():
        reason[row] = _row_reason(row, measure, judged, str(doubt[row]), unit)
    return _Rows(
        verdict=verdict,
        reason=reason,
        close=(verdict == Verdict.WITHIN) & (share > CLOSE),
        share=share,
        p_within=_p_within(measure, judged),
    )


def _share_items(measure: Measure, rows: _Rows) -> tuple[Item, ...]:
    """Return the share of a surface's judged shots that are within; None where none is judged."""
    if measure.kind != "surface":
        return ()
    judged = rows.verdict[measure.counted & (rows.verdict != Verdict.UNCHECKED)]
    within = int(np.count_nonzero(judged == Verdict.WITHIN))
    share = within / judged.size if judged.size else None
    label = "Share of judged shots within"
    return (Item(key="share_within", label=label, quantity=Quantity.SHARE, value=share),)


def _doubts_of_rows(measure: Measure, doubts: TextArray) -> TextArray:
    """Return why rows are in doubt: the doubts of the shots on which they rest, each once."""
    if not np.any(doubts != ""):
        return same_text("", len(measure.id))
    joined: TextArray = np.full(len(measure.id), "", dtype=object)
    for shots in measure.shots.T:
        texts = np.where(shots >= 0, doubts[shots], "")
        more = (texts != "") & (texts != joined)
        first = more & (joined == "")
        further = more & ~first
        joined[first] = texts[first]
        joined[further] = joined[further] + "; " + texts[further]
    return joined


def _row_reason(
    row: int, measure: Measure, judged: list[_Judged], doubt: str, unit: LengthUnit
) -> str:
    """Return the reason of one row, with what must be said of it."""
    said = str(measure.said[row])
    if measure.unchecked[row]:
        return _joined(str(measure.unchecked[row]), said)
    if not judged:
        return _joined(_no_limit(measure), said)
    undecided = str(measure.undecided[row])
    parts = [(_UNDECIDED, undecided)] if undecided else []
    for item in judged:
        verdict = int(item.judgement.verdict[row])
        if verdict != _WITHIN:
            parts.append((verdict, item.reason(row, unit)))
    reason = _worst_first(parts) if len(parts) > 1 else parts[0][1] if parts else ""
    return _joined(doubt, reason, said)


def _joined(*texts: str) -> str:
    """Return the texts that are not empty in one line."""
    return "; ".join(text for text in texts if text)


def _verdict_of_rows(measure: Measure, rows: _Rows) -> tuple[Verdict, str]:
    """Return the check's verdict, the worst of its counted rows, and where it comes from."""
    counted = np.flatnonzero(measure.counted)
    parts: list[tuple[int, str]] = []
    if measure.whole_unchecked:
        parts.append((Verdict.UNCHECKED, measure.whole_unchecked))
    if measure.whole_undecided:
        parts.append((Verdict.UNDECIDED, measure.whole_undecided))
    if counted.size:
        worst = int(rows.verdict[counted].max())
        if worst != Verdict.WITHIN:
            parts.append((worst, _naming(measure, rows, counted[rows.verdict[counted] == worst])))
    elif not parts:
        parts.append((Verdict.UNCHECKED, "nothing to judge yet"))
    verdict = Verdict(max((code for code, _ in parts), default=Verdict.WITHIN))
    return verdict, _worst_first(parts)


def _naming(measure: Measure, rows: _Rows, chosen: IntArray) -> str:
    """Return the chosen rows in one line: the worst with its reason, then the others."""
    use = np.where(np.isnan(rows.share[chosen]), -1.0, rows.share[chosen])
    ordered = chosen[np.argsort(-use, kind="stable")].tolist()
    text = f"{measure.id[ordered[0]]}: {rows.reason[ordered[0]]}"
    others = [str(measure.id[row]) for row in ordered[1:_NAMED]]
    if len(ordered) > _NAMED:
        others.append(f"{len(ordered) - _NAMED} more")
    if not others:
        return text
    word = Verdict(int(rows.verdict[ordered[0]])).word
    return f"{text}; also {word}: {', '.join(others)}"


# ---------------------------------------------------------------- probability


def _p_within(measure: Measure, judged: list[_Judged]) -> FloatArray:
    """Return the probability that every limit of a row holds, components independent.

    NaN where a limited component has no sigma or no value, where nothing is limited, and where both
    the radial offset and its parts are limited, or a slope and what it is made of, which are not
    independent.
    """
    keys = {item.comparison.limit for item in judged}
    dependent = ("horizontal" in keys and keys & _PLAN_AXES) or (len(judged) > 1 and keys & SLOPES)
    if not judged or dependent:
        return same_number(np.nan, len(measure.id))
    result = np.ones(len(measure.id))
    pair = [item for item in judged if item.comparison.limit in _PAIR]
    if len(pair) == len(_PAIR) and (correlation := pair[0].comparison.pair_correlation) is not None:
        result = result * _of_pair(pair, correlation)
        judged = [item for item in judged if item.comparison.limit not in _PAIR]
    for item in judged:
        applies = item.comparison.applies
        chance = _probability(item)
        if applies is None and is_same(chance) and np.isnan(chance[0]):
            return same_number(np.nan, len(measure.id))
        result = result * (chance if applies is None else np.where(applies, chance, 1.0))
    return np.where(measure.unchecked != "", np.nan, result)


_PAIR = ("along", "across")


def _of_pair(pair: list[_Judged], correlation: FloatArray) -> FloatArray:
    """Return the probability that both along and across hold their limits."""
    value, sigma, lower, upper = (
        np.column_stack(parts)
        for parts in zip(
            *(
                (
                    item.judgement.value,
                    np.full(len(correlation), np.nan)
                    if item.comparison.sigma is None
                    else item.comparison.sigma,
                    np.broadcast_to(item.judgement.lower, correlation.shape),
                    np.broadcast_to(item.judgement.upper, correlation.shape),
                )
                for item in pair
            ),
            strict=True,
        )
    )
    return within_rectangle(value, sigma, correlation, lower, upper)


def _probability(item: _Judged) -> FloatArray:
    """Return the probability that one component holds its limits."""
    comparison, judgement = item.comparison, item.judgement
    if comparison.vector is not None:
        if comparison.vector_sigma is None:
            return same_number(np.nan, len(judgement.value))
        return within_circle(
            comparison.vector,
            comparison.vector_sigma,
            judgement.upper,
            comparison.vector_correlation,
        )
    if comparison.sigma is None:
        return same_number(np.nan, len(judgement.value))
    return within_interval(judgement.value, comparison.sigma, judgement.lower, judgement.upper)
