"""The risks of a verdict: of single rows, of all rows together, and of the method as such.

Specific risk: the probability that a row's true value lies on the other side, 1 - P of what is
within and P of what is outside; P as in `verdicts.probability` (JCGM 106:2012, section 7, formula
recalled). Their sums are how many verdicts must be expected to be wrong. Risk of the method: how
often its errors would let a perfect stake fail, and one that is off by one and a half limits pass,
by the same normal distributions taken the other way round, about the truth instead of about what
was measured.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checker.model.arrays import CodeArray, FloatArray
from checker.model.finding import Verdict
from checker.model.job import Rule, Tolerance
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.text import fixed
from checker.verdicts.limits import Limits
from checker.verdicts.probability import principal, within_circle, within_interval
from checker.verdicts.provable import KINDS, WORDS, judged_rows, middling_row

OFF = 1.5
"""How many limits a stake is off whose chance to pass is told."""
_TELLING = 0.01
"""Expected wrong verdicts, and chances of them, below this are not worth a sentence."""
_LEAST_TOLD = 0.001
"""Chances nearer than this to none or all are told as less or more than it."""
_SET_OUT = KINDS - {"control"}
"""What is set out or built, and so may be off; control is not."""
_TELLING_OF = {Rule.SIMPLE: _TELLING, Rule.GUARDED: 0.1}
"""The same of perfect stakes: an undecided one is measured again, a rejected one is moved."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Risks:
    """Risks as numbers of the summary and as sentences."""

    items: tuple[Item, ...] = ()
    remarks: tuple[str, ...] = ()


def method_risks(measure: Measure, found: Sequence[tuple[Comparison, Limits | None]]) -> Risks:
    """Return how often the method would fail perfect stakes and pass those that are off.

    By the standard deviations of the row in the middle of their order, for each of plan and height
    that is limited. Under the guarded rule a perfect stake does not fail but stays undecided.
    """
    tolerance = measure.tolerance
    if tolerance is None or not measure.judged_by_row or measure.kind not in _SET_OUT:
        return Risks()
    items: list[Item] = []
    told: list[str] = []
    for comparison, limit in found:
        part = WORDS.get(comparison.limit)
        if part is None or limit is None or comparison.sigma is None:
            continue
        chosen = judged_rows(measure, comparison)
        if not chosen.any():
            continue
        row = middling_row(comparison.sigma, chosen)
        chances = _chances(comparison, limit, tolerance, row)
        if chances is None:
            continue
        perfect, off = chances
        missed = "undecided" if tolerance.rule is Rule.GUARDED else "outside"
        items += [
            _chance(
                f"risk_perfect_{comparison.limit}", f"A perfect point is {missed}, {part}", perfect
            ),
            _chance(f"risk_off_{comparison.limit}", f"One off by 1.5 limits passes, {part}", off),
        ]
        if off >= _TELLING or perfect >= _TELLING_OF[tolerance.rule]:
            told.append(_of_method(part, perfect, off, missed))
    if not told:
        return Risks(items=tuple(items))
    head = "Risk of the method, by the standard deviations of a shot of median quality"
    text = f"{head}: {'; '.join(told)}."
    return Risks(items=tuple(items), remarks=(text,))


def _chance(key: str, label: str, value: float) -> Item:
    return Item(key=key, label=label, quantity=Quantity.PROBABILITY, value=value)


def _of_method(part: str, perfect: float, off: float, missed: str) -> str:
    return (
        f"in {part} {_percent(perfect)} of the points set exactly right would be found {missed},"
        f" and {_percent(off)} of those that are off by one and a half times the tolerance would be"
        " taken for within"
    )


def _percent(chance: float) -> str:
    """Return a chance in percent, one digit, never rounded to certainty."""
    if chance < _LEAST_TOLD:
        return "less than 0.1 %"
    if chance > 1.0 - _LEAST_TOLD:
        return "more than 99.9 %"
    return f"{fixed(100.0 * chance, 1)} %"


def _chances(
    comparison: Comparison, limit: Limits, tolerance: Tolerance, row: int
) -> tuple[float, float] | None:
    """Return how often a perfect stake is not within, and how often one off by 1.5 limits is.

    Of the directions, or sides, in which it may be off the one counts in which it passes most
    often. None where a limit or a standard deviation is missing.
    """
    if comparison.sigma is None:
        return None
    guard = tolerance.k * float(comparison.sigma[row]) if tolerance.rule is Rule.GUARDED else 0.0
    upper, lower = float(limit.upper[row]), float(limit.lower[row])
    if comparison.vector is None:
        ends = [OFF * end for end in (upper, lower) if np.isfinite(end)]
        if not ends:
            return None
        truth = np.array([0.0, *ends])
        same = np.ones(len(truth))
        sigma = same * float(comparison.sigma[row])
        # a guard wider than the limits leaves nothing that could be within
        p = within_interval(truth, sigma, same * (lower + guard), same * (upper - guard))
        p = np.where(lower + guard <= upper - guard, p, 0.0)
    else:
        if comparison.vector_sigma is None or not np.isfinite(upper):
            return None
        sigma = comparison.vector_sigma[row : row + 1]
        if comparison.vector_correlation is not None:
            correlation = comparison.vector_correlation[row : row + 1]
            _, sigma = principal(np.zeros((1, 2)), sigma, correlation)
        # along the ellipse's own axes
        places = OFF * upper * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
        reach = upper - guard
        p = (
            within_circle(places, np.repeat(sigma, 3, axis=0), np.full(3, reach))
            if reach >= 0.0
            else np.zeros(3)
        )
    return 1.0 - float(p[0]), float(p[1:].max())


def row_risks(measure: Measure, verdict: CodeArray, p_within: FloatArray) -> Risks:
    """Return how many of the verdicts must be expected to be wrong, and which is least sure.

    Sums of specific risks over the rows that are within, and over those that are outside. verdict,
    p_within: shape (rows,). Nothing is said of sums below a hundredth.
    """
    if measure.kind not in KINDS:
        return Risks()
    items, remarks = [], []
    for code, key, label in (
        (Verdict.WITHIN, "expected_wrong_within", "Found within, in truth outside"),
        (Verdict.OUTSIDE, "expected_wrong_outside", "Found outside, in truth within"),
    ):
        rows = np.flatnonzero((verdict == code) & measure.counted & np.isfinite(p_within))
        if not rows.size:
            continue
        wrong = p_within[rows] if code is Verdict.OUTSIDE else 1.0 - p_within[rows]
        total = float(wrong.sum())
        items.append(Item(key=key, label=label, quantity=Quantity.NUMBER, value=total))
        if total >= _TELLING:
            worst = int(rows[np.argmax(wrong)])
            remarks.append(_of_rows(measure, code, rows.size, total, worst, p_within))
    return Risks(items=tuple(items), remarks=tuple(remarks))


def _of_rows(
    measure: Measure, code: Verdict, count: int, total: float, worst: int, p_within: FloatArray
) -> str:
    """Return how many rows of a verdict must be expected to be wrong, and the least sure one."""
    other = "outside" if code is Verdict.WITHIN else "within"
    group = f"Of the {count} {code.word}" if count > 1 else f"Of the one {code.word}"
    return (
        f"{group}, {fixed(total, 2)} must be expected to be {other} in truth, if errors are as"
        f" their standard deviations say; least sure is {measure.id[worst]}, with a probability of"
        f" {_percent(float(p_within[worst]))} to be within."
    )
