"""The smallest tolerance that the measurements could prove, however well the stakes were set.

A value is proven within where its limit still holds with the expanded uncertainty U = k sigma
added; a perfect one (0) is, where U is no larger than the limit. So no limit under k times the
smallest sigma can be proven for any row, and every perfect stake is proven only from k times the
largest one on. The middle sigma stands for the method.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checker.model.arrays import CodeArray, FloatArray
from checker.model.finding import Judgement, Verdict
from checker.model.job import Rule
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.text import decimals_apart, fixed
from checker.units import LengthUnit
from checker.verdicts.limits import Limits

_WORDS = {"horizontal": "plan", "vertical": "height"}
_KINDS = frozenset({"stakeout", "surface", "control", "plane", "pipe"})
"""What is judged point by point against a known place."""
_TELLING = 0.01
"""Expected wrong verdicts below this are not worth a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Provable:
    """What the method can prove, as numbers of the summary and as sentences."""

    items: tuple[Item, ...] = ()
    remarks: tuple[str, ...] = ()


def provable(
    measure: Measure, found: Sequence[tuple[Comparison, Limits | None]], unit: LengthUnit
) -> Provable:
    """Return the smallest provable limits, and a sentence where one is larger than the tolerance.

    Only for checks that are judged by row and show standard deviations. unit: of the sentences.
    """
    tolerance = measure.tolerance
    if tolerance is None or not measure.judged_by_row or measure.kind not in _KINDS:
        return Provable()
    items, remarks = [], []
    for comparison, limit in found:
        part = _WORDS.get(comparison.limit)
        if part is None or limit is None or comparison.sigma is None:
            continue
        chosen = np.isfinite(comparison.value) & np.isfinite(comparison.sigma) & measure.counted
        chosen &= (measure.unchecked == "") & (comparison.sigma > 0.0)
        if comparison.applies is not None:
            chosen &= comparison.applies
        if not chosen.any():
            continue
        middle = tolerance.k * float(np.median(comparison.sigma[chosen]))
        least = tolerance.k * float(comparison.sigma[chosen].min())
        items.append(
            Item(
                key=f"provable_{comparison.limit}",
                label=f"Provable in {part}",
                quantity=Quantity.LENGTH,
                value=middle,
            )
        )
        room = np.fmin(limit.upper, np.where(np.isinf(limit.lower), np.inf, -limit.lower))
        tightest = float(np.min(room[chosen]))
        if middle > tightest:
            remarks.append(
                _sentence(part, middle, least, tightest, tolerance.k, tolerance.rule, unit)
            )
    return Provable(items=tuple(items), remarks=tuple(remarks))


def _sentence(
    part: str, middle: float, least: float, limit: float, k: float, rule: Rule, unit: LengthUnit
) -> str:
    """Return what to say where the method is coarser than the tolerance."""
    enough = decimals_apart(unit.from_metres(middle), unit.from_metres(limit), 3)
    provable_, best, asked = (
        f"{fixed(unit.from_metres(value), enough)} {unit.short}" for value in (middle, least, limit)
    )
    times = fixed(k, 2).rstrip("0").rstrip(".")
    text = (
        f"With these standard deviations no tolerance in {part} under {provable_} can be proven"
        f" by a shot of middling quality, nor under {best} by the best one ({times} times the"
        f" standard deviation); the tolerance is {asked}."
    )
    remedy = (
        "Measure again with a level."
        if part == "height"
        else "Measure again with a total station from proven control."
    )
    if rule is Rule.SIMPLE:
        return (
            f"{text} The simple rule compares the bare numbers all the same: it rejects stakes that"
            f" are right and takes others that are wrong. {remedy}"
        )
    return f"{text} {remedy}"


def unproven(
    measure: Measure, judgements: Sequence[Judgement], verdict: CodeArray, unit: LengthUnit
) -> tuple[str, ...]:
    """Return two sentences about what a plain comparison would pass and the uncertainty does not.

    verdict: shape (rows,), of the rows. They name the row whose bare value uses least of its limit,
    so that nobody takes it for a near miss, and how many others there are.
    """
    plain = (verdict == Verdict.UNDECIDED) & (measure.undecided == "") & measure.counted
    doubted = np.zeros(len(verdict), dtype=np.bool_)
    use = np.zeros(len(verdict))
    for judgement in judgements:
        size = np.where(np.isnan(judgement.share), np.inf, judgement.share)
        use = np.maximum(use, size)
        doubted |= (judgement.verdict == Verdict.UNDECIDED) & (judgement.guard > 0.0)
    rows = np.flatnonzero(plain & doubted & (use <= 1.0))
    if not rows.size:
        return ()
    row = int(rows[np.argmin(use[rows])])
    weak = next(
        each
        for each in judgements
        if each.verdict[row] == Verdict.UNDECIDED and each.guard[row] > 0.0
    )
    upper, lower = float(weak.upper[row]), float(weak.lower[row])
    bound = upper if weak.value[row] >= 0.0 or np.isinf(lower) else -lower
    found, reach, limit = (
        f"{fixed(float(unit.from_metres(abs(value))), 3)} {unit.short}"
        for value in (float(weak.value[row]), float(weak.guard[row]), bound)
    )
    others = f" (and {len(rows) - 1} more like it)" if len(rows) > 1 else ""
    text = (
        f"By the bare number {measure.id[row]}{others} is inside its tolerance,"
        f" {found} of {limit} {weak.label}, but the measurement is only sure to {reach} either way,"
        " so the true place may be outside. Do not build on it yet and do not move it either:"
        " measure it again by a finer method first."
    )
    return (text,)


def risk(measure: Measure, verdict: CodeArray, p_within: FloatArray) -> tuple[str, ...]:
    """Return how many of the rows within must be expected to be outside in truth, and the worst.

    The sum of 1 - P over rows (global risk of what was accepted, from the specific risks of JCGM
    106:2012 as a plain sum of probabilities). Nothing is said where it stays below a hundredth.
    """
    if measure.kind not in _KINDS:
        return ()
    rows = np.flatnonzero((verdict == Verdict.WITHIN) & measure.counted & np.isfinite(p_within))
    wrong = 1.0 - p_within[rows]
    if not rows.size or float(wrong.sum()) < _TELLING:
        return ()
    worst = int(rows[np.argmax(wrong)])
    count = f"Of the {len(rows)} within" if len(rows) > 1 else "Of the one within"
    text = (
        f"{count}, {fixed(float(wrong.sum()), 2)} must be expected to be outside in truth, if"
        f" errors are as their standard deviations say; least sure is {measure.id[worst]}, with a"
        f" probability of {fixed(100.0 * float(p_within[worst]), 1)} % to be within."
    )
    return (text,)
