"""The smallest tolerance that can be proven, and what a plain comparison would pass."""

from typing import Any

import numpy as np
import pytest

from checker.model.finding import Finding, Verdict
from checker.model.job import Rule, Tolerance
from checker.model.measure import Comparison
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from tests.support.measures import measure_of
from tests.support.points import texts, tolerance

GUARDED = Rule.GUARDED


def judged(
    values: list[float],
    sigmas: list[float] | None,
    limit: Tolerance,
    *,
    kind: str = "stakeout",
    doubts: list[str] | None = None,
    unit: LengthUnit = LengthUnit.METRE,
    **fields: Any,
) -> Finding:
    heights = Comparison(
        limit="vertical",
        label="vertical",
        value=np.array(values),
        sigma=None if sigmas is None else np.array(sigmas),
    )
    measure = measure_of(
        heights,
        limit=limit,
        kind=kind,
        id=texts([f"P{row}" for row in range(len(values))]),
        **fields,
    )
    return judge(measure, texts(doubts or [""] * len(values)), unit)


def provable(finding: Finding) -> float | None:
    found = [item.value for item in finding.summary if item.key == "provable_vertical"]
    assert len(found) < 2
    return float(found[0]) if found and found[0] is not None else None


def test_k_times_the_middle_sigma() -> None:
    finding = judged([0.0, 0.0, 0.0], [0.004, 0.005, 0.009], tolerance(vertical=0.02, rule=GUARDED))
    assert provable(finding) == pytest.approx(0.010)
    assert not any("can be proven" in text for text in finding.measure.remarks)
    wide = judged([0.0], [0.005], tolerance(vertical=0.02, rule=GUARDED, k=3.0))
    assert provable(wide) == pytest.approx(0.015)


def test_what_can_be_proven_is_what_a_perfect_stake_needs() -> None:
    """Independent of the formula: the limit at which a perfect value turns from undecided."""
    sigma = 0.0137
    low, high = 0.0, 0.1
    for _ in range(50):
        middle = 0.5 * (low + high)
        finding = judged([0.0], [sigma], tolerance(vertical=middle, rule=GUARDED))
        low, high = (low, middle) if finding.verdict is Verdict.WITHIN else (middle, high)
    found = provable(judged([0.0], [sigma], tolerance(vertical=0.1, rule=GUARDED)))
    assert found == pytest.approx(high, abs=2e-6)  # the guard against binary fractions


def test_a_method_that_is_too_coarse_is_named_with_its_remedy() -> None:
    finding = judged(
        [0.0, 0.0],
        [0.00625, 0.00630],
        tolerance(vertical=0.006, rule=GUARDED),
        unit=LengthUnit.FOOT,
    )
    (text,) = (each for each in finding.measure.remarks if "can be proven" in each)
    assert "no tolerance in height under 0.041 ft can be proven" in text
    assert "the tolerance is 0.020 ft" in text
    assert text.endswith("Measure again with a level.")
    simple = judged([0.0], [0.00625], tolerance(vertical=0.006))
    (text,) = (each for each in simple.measure.remarks if "can be proven" in each)
    assert "rejects stakes that are right and takes others that are wrong" in text


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "repeats"},
        {"unchecked": texts(["not staked"])},
        {"counted": np.array([False])},
    ],
)
def test_nothing_is_said_where_nothing_was_measured_for_it(fields: dict[str, Any]) -> None:
    assert provable(judged([0.0], [0.5], tolerance(vertical=0.01), **fields)) is None


def test_without_sigmas_nothing_is_said() -> None:
    assert provable(judged([0.0], None, tolerance(vertical=0.01))) is None


def test_two_sentences_for_what_a_plain_comparison_would_pass() -> None:
    limit = tolerance(vertical=0.020, rule=GUARDED)
    finding = judged([0.012, 0.016, 0.001], [0.006, 0.006, 0.001], limit)
    assert finding.row_verdict.tolist() == [Verdict.UNDECIDED, Verdict.UNDECIDED, Verdict.WITHIN]
    text = finding.measure.remarks[0]
    assert text.startswith("By the bare number P0 (and 1 more like it) is inside its tolerance,")
    assert "12 mm of 20 mm vertical" in text
    assert "only sure to 12 mm either way" in text
    assert text.count(". ") + text.endswith(".") == 2
    simple = judged([0.012], [0.006], tolerance(vertical=0.020))
    assert simple.verdict is Verdict.WITHIN
    assert not any("bare number" in each for each in simple.measure.remarks)


def test_the_risk_of_what_was_accepted_is_the_sum_of_its_parts() -> None:
    """Against plain normal tails: one value a sigma below its limit, one far inside."""
    limit = tolerance(vertical=0.020)
    finding = judged([0.015, 0.0], [0.005, 0.001], limit)
    (text,) = (each for each in finding.measure.remarks if "in truth" in each)
    assert text.startswith("Of the 2 within, 0.16 must be expected to be outside in truth")
    assert "least sure is P0, with a probability of 84.1 %" in text  # Phi(1), and a far other side
    sure = judged([0.0, 0.0], [0.001, 0.001], limit)
    assert not any("in truth" in each for each in sure.measure.remarks)


def test_a_doubt_or_a_failure_is_no_such_case() -> None:
    limit = tolerance(vertical=0.020, rule=GUARDED)
    for finding in (
        judged([0.012], [0.006], limit, doubts=["solution float"]),
        judged([0.025], [0.006], limit),  # over by the bare number too
        judged([0.012], [0.006], limit, undecided=texts(["two stakes could be meant"])),
    ):
        assert not any("bare number" in text for text in finding.measure.remarks)


def test_a_hint_leaves_a_row_undecided_and_never_outside() -> None:
    left = Comparison(limit="vertical", label="left out", value=np.array([0.05]), hint=True)
    measure = measure_of(left, limit=tolerance(vertical=0.01), kind="site_fit", id=texts(["A"]))
    finding = judge(measure, texts([""]), LengthUnit.METRE)
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.row_reason[0] == "left out 50 mm high, limit 10 mm"
