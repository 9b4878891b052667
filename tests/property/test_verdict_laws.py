"""Laws of the verdicts that hold for every measure."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from checker.model.arrays import FloatArray
from checker.model.finding import Finding, Verdict
from checker.model.job import Rule, Tolerance
from checker.model.measure import Comparison, Measure
from checker.text import fixed, show_failure
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from checker.verdicts.probability import within_circle, within_interval
from tests.support.measures import measure_of
from tests.support.points import texts, tolerance

pytestmark = pytest.mark.property
LENGTHS = st.floats(-1.0, 1.0, allow_subnormal=False)
SIGMAS = st.floats(1e-4, 0.1)
LIMITS = st.floats(1e-3, 0.2)


def measure(limit: Tolerance, value: list[float], sigma: list[float]) -> Measure:
    heights = Comparison(
        limit="vertical", label="vertical", value=np.array(value), sigma=np.array(sigma)
    )
    return measure_of(heights, limit=limit)


def judged(limit: Tolerance, value: float, sigma: float) -> Finding:
    return judge(measure(limit, [value], [sigma]), texts([""]), LengthUnit.METRE)


@given(LENGTHS, SIGMAS, LIMITS, st.floats(0.5, 3.0))
def test_the_guarded_rule_only_takes_from_both_sides_of_the_simple_one(
    value: float, sigma: float, size: float, k: float
) -> None:
    simple = judged(tolerance(vertical=size), value, sigma).verdict
    guarded = judged(tolerance(vertical=size, rule=Rule.GUARDED, k=k), value, sigma).verdict
    assert guarded in (simple, Verdict.UNDECIDED)


@given(LENGTHS, SIGMAS, LIMITS)
def test_more_uncertainty_never_decides(value: float, sigma: float, size: float) -> None:
    limit = tolerance(vertical=size, rule=Rule.GUARDED)
    loose, sharp = judged(limit, value, 2.0 * sigma), judged(limit, value, sigma)
    assert loose.verdict in (sharp.verdict, Verdict.UNDECIDED)


@given(LENGTHS, SIGMAS, LIMITS, st.floats(1.0, 3.0))
def test_a_wider_tolerance_is_never_worse(
    value: float, sigma: float, size: float, factor: float
) -> None:
    for rule in Rule:
        tight = judged(tolerance(vertical=size, rule=rule), value, sigma)
        wide = judged(tolerance(vertical=size * factor, rule=rule), value, sigma)
        assert wide.verdict <= tight.verdict
        assert wide.row_share[0] <= tight.row_share[0] + 1e-12
        assert wide.p_within[0] >= tight.p_within[0] - 1e-12


@given(LENGTHS, SIGMAS, LIMITS)
def test_verdict_and_probability_agree(value: float, sigma: float, size: float) -> None:
    finding = judged(tolerance(vertical=size, rule=Rule.GUARDED), value, sigma)
    p = finding.p_within[0]
    if finding.verdict is Verdict.WITHIN:
        assert p > 0.95  # at least 2 sigma from both limits: 0.9545
    if finding.verdict is Verdict.OUTSIDE:
        assert p < 0.0228


@given(LENGTHS, SIGMAS, LIMITS, st.sampled_from(list(LengthUnit)))
def test_the_unit_of_the_job_changes_words_only(
    value: float, sigma: float, size: float, unit: LengthUnit
) -> None:
    item = measure(tolerance(vertical=size, rule=Rule.GUARDED), [value], [sigma])
    here = judge(item, texts([""]), LengthUnit.METRE)
    there = judge(item, texts([""]), unit)
    assert here.row_verdict.tolist() == there.row_verdict.tolist()
    assert (there.reason == "") == (here.reason == "")


@given(LENGTHS, LIMITS, st.sampled_from(list(LengthUnit)))
def test_a_reason_never_prints_a_failure_as_its_limit(
    value: float, size: float, unit: LengthUnit
) -> None:
    finding = judge(measure(tolerance(vertical=size), [value], [0.0]), texts([""]), unit)
    if finding.verdict is Verdict.OUTSIDE:
        words = finding.row_reason[0].split()
        assert float(words[1]) > float(words[-2])


@given(LENGTHS, st.text(min_size=1, max_size=5))
def test_doubt_is_never_a_pass_nor_a_failure(value: float, doubt: str) -> None:
    finding = judge(
        measure(tolerance(vertical=0.02), [value], [0.01]), texts([doubt]), LengthUnit.METRE
    )
    assert finding.verdict is Verdict.UNDECIDED


@given(st.lists(LENGTHS, min_size=1, max_size=20), st.randoms(use_true_random=False))
def test_rows_do_not_depend_on_each_other(values: list[float], random: object) -> None:
    order = list(range(len(values)))
    random.shuffle(order)  # type: ignore[attr-defined]
    limit = tolerance(above=0.02, below=0.3)
    blank = texts([""] * len(values))
    sigma = [0.01] * len(values)
    here = judge(measure(limit, values, sigma), blank, LengthUnit.METRE)
    there = judge(measure(limit, [values[row] for row in order], sigma), blank, LengthUnit.METRE)
    assert there.row_verdict.tolist() == here.row_verdict[order].tolist()
    assert there.row_reason.tolist() == here.row_reason[order].tolist()
    assert there.verdict is here.verdict


@given(LENGTHS, SIGMAS, LIMITS)
def test_mirrored_heights_have_mirrored_limits(value: float, sigma: float, size: float) -> None:
    up = tolerance(above=size, below=2 * size, rule=Rule.GUARDED)
    down = replace(up, above=up.below, below=up.above)
    assert judged(up, value, sigma).verdict is judged(down, -value, sigma).verdict


def one(value: float) -> FloatArray:
    return np.array([value], dtype=np.float64)


@given(LENGTHS, LENGTHS, SIGMAS, SIGMAS, LIMITS, st.floats(1.0, 2.0))
def test_a_circle_lies_between_its_square_and_its_inner_square(
    n: float, e: float, sigma_n: float, sigma_e: float, radius: float, factor: float
) -> None:
    offset, sigma = np.array([[n, e]]), np.array([[sigma_n, sigma_e]])
    p = float(within_circle(offset, sigma, one(radius))[0])

    def square(half: float) -> float:
        sides = [
            within_interval(one(value), one(s), one(-half), one(half))
            for value, s in ((n, sigma_n), (e, sigma_e))
        ]
        return float(sides[0][0] * sides[1][0])

    assert 0.0 <= p <= 1.0
    assert square(radius / np.sqrt(2)) - 1e-9 <= p <= square(radius) + 1e-9
    assert float(within_circle(offset, sigma, one(radius * factor))[0]) >= p - 1e-9
    turned = within_circle(offset[:, ::-1], sigma[:, ::-1], one(radius))
    assert float(turned[0]) == pytest.approx(p, abs=1e-9)


@given(st.floats(-1e7, 1e7), st.integers(0, 6))
def test_fixed_is_the_nearest_decimal(value: float, decimals: int) -> None:
    text = fixed(value, decimals)
    assert abs(float(text) - value) <= (0.5 + 1e-5) * 10.0**-decimals + 1e-8
    assert len(text.partition(".")[2]) == decimals
    assert not (text.startswith("-") and float(text) == 0.0)
    assert fixed(float(text), decimals) == text


@given(st.floats(0.0, 1e3), st.floats(0.0, 1e3))
def test_numbers_told_apart_keep_their_order(value: float, limit: float) -> None:
    assume(abs(value - limit) > 1e-6)
    shown, bound = show_failure(value, limit, 3)
    assert (float(shown) > float(bound)) == (value > limit)
    assert shown != bound
