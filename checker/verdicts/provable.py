"""The smallest tolerance that the measurements could prove, however well the stakes were set.

A value is proven within where its limit still holds with the expanded uncertainty U = k sigma
added; a perfect one (0) is, where U is no larger than the limit. So no limit under k times the
smallest sigma can be proven for any row, and every perfect stake is proven only from k times the
largest one on. The middle sigma stands for the method.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from checker.lengths import spoken_scale
from checker.model.arrays import BoolArray, CodeArray, FloatArray
from checker.model.finding import Judgement, Verdict
from checker.model.job import Rule
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.text import decimals_apart, fixed
from checker.units import LengthUnit
from checker.verdicts.limits import Limits

WORDS = {
    "horizontal": "plan",
    "vertical": "height",
    "along": "direction along the line",
    "across": "direction across the line",
}
"""What is proven point by point, as sentences call it."""
KINDS = frozenset({"stakeout", "surface", "control", "plane", "pipe"})
"""What is judged point by point against a known place."""


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
    if tolerance is None or not measure.judged_by_row or measure.kind not in KINDS:
        return Provable()
    items, remarks, silent = [], [], []
    for comparison, limit in found:
        part = WORDS.get(comparison.limit)
        if part is None or limit is None:
            continue
        chosen = judged_rows(measure, comparison)
        missing = _without_sigma(measure, comparison)
        if missing:
            silent.append((part, missing, bool(chosen.any())))
        if comparison.sigma is None or not chosen.any():
            continue
        middle = tolerance.k * float(comparison.sigma[middling_row(comparison.sigma, chosen)])
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
        items.append(
            Item(
                key=f"proof_{comparison.limit}",
                label=f"Tolerance provable, {part}",
                quantity=Quantity.TEXT,
                value="yes" if middle <= tightest else "no",
            )
        )
        if middle > tightest:
            remarks.append(
                _sentence(part, middle, least, tightest, tolerance.k, tolerance.rule, unit)
            )
    return Provable(items=tuple(items), remarks=(*remarks, *_about_silence(silent, tolerance.rule)))


def _remedy(part: str) -> str:
    """Return what to measure with where the method is too coarse."""
    if part == "height":
        return "measure again with a level"
    return "measure again with a total station from proven control"


def _without_sigma(measure: Measure, comparison: Comparison) -> int:
    """Return how many counted rows have a value and no standard deviation of it."""
    there = np.isfinite(comparison.value) & measure.counted & (measure.unchecked == "")
    if comparison.applies is not None:
        there &= comparison.applies
    if comparison.sigma is not None:
        there &= np.isnan(comparison.sigma)
    return int(np.count_nonzero(there))


def _about_silence(silent: Sequence[tuple[str, int, bool]], rule: Rule) -> Iterator[str]:
    """Say of which parts no standard deviations are shown; (part, rows without, whether some)."""
    bare = " The simple rule takes the bare numbers as they are." if rule is Rule.SIMPLE else ""
    none = [part for part, _, some in silent if not some]
    if none:
        yield (
            f"Not shown: any standard deviation in {' and in '.join(none)}. How well these points"
            f" were measured, and which tolerance they could prove, cannot be said.{bare}"
        )
    for part, count, some in silent:
        if some:
            yield (
                f"Not shown: the standard deviation in {part} of {count}"
                f" point{'s' if count != 1 else ''}; what those can prove cannot be said.{bare}"
            )


def middling_row(sigma: FloatArray, chosen: BoolArray) -> int:
    """Return the row of middling quality among the chosen: of two in the middle the worse one."""
    rows = np.flatnonzero(chosen)
    order = rows[np.argsort(sigma[rows], kind="stable")]
    return int(order[len(order) // 2])


def judged_rows(measure: Measure, comparison: Comparison) -> BoolArray:
    """Return which counted rows have a value and a standard deviation of it; shape (rows,)."""
    sigma = comparison.sigma
    if sigma is None:
        return np.zeros(len(measure.id), dtype=np.bool_)
    chosen = np.isfinite(comparison.value) & np.isfinite(sigma) & measure.counted
    chosen &= (measure.unchecked == "") & (sigma > 0.0)
    return chosen if comparison.applies is None else chosen & comparison.applies


def _sentence(
    part: str, middle: float, least: float, limit: float, k: float, rule: Rule, unit: LengthUnit
) -> str:
    """Return what to say where the method is coarser than the tolerance."""
    scale = spoken_scale(unit, max(middle, least, limit), fine_m=min(middle, least, limit))
    enough = decimals_apart(middle / scale.metres, limit / scale.metres, scale.decimals)
    provable_, best, asked = (
        f"{fixed(value / scale.metres, enough)} {scale.unit}" for value in (middle, least, limit)
    )
    times = fixed(k, 2).rstrip("0").rstrip(".")
    text = (
        f"With these standard deviations no tolerance in {part} under {provable_} can be proven"
        f" by a shot of middling quality, nor under {best} by the best one ({times} times the"
        f" standard deviation); the tolerance is {asked}."
    )
    remedy = f"{_remedy(part).capitalize()}."
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
    sizes = abs(float(weak.value[row])), float(weak.guard[row]), abs(bound)
    scale = spoken_scale(unit, max(sizes), fine_m=min(sizes[1:]))
    found, reach, limit = (
        f"{fixed(size / scale.metres, scale.decimals)} {scale.unit}" for size in sizes
    )
    others = f" (and {len(rows) - 1} more like it)" if len(rows) > 1 else ""
    text = (
        f"By the bare number {measure.id[row]}{others} is inside its tolerance,"
        f" {found} of {limit} {weak.label}, but the measurement is only sure to {reach} either way,"
        " so the true place may be outside. Do not build on it yet and do not move it either:"
        f" first {_remedy(WORDS.get(weak.limit, weak.limit))}."
    )
    return (text,)
