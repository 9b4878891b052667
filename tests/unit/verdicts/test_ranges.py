"""Values that are limited themselves, comparisons that apply to some rows only, shape and place."""

from typing import Any

import numpy as np
import pytest

from checker.model.finding import Finding, Verdict
from checker.model.job import Rule, Tolerance
from checker.model.measure import Comparison, Item, Quantity
from checker.units import Formula, LengthUnit
from checker.verdicts.judge import judge
from tests.support.measures import measure_of
from tests.support.points import texts, tolerance


def slope(value: float) -> Formula:
    return Formula(constant=value, text=f"{value * 100:g} %")


def judged(
    *comparisons: Comparison, limit: Tolerance, summary: tuple[Item, ...] = (), kind: str = "pipe"
) -> Finding:
    measure = measure_of(
        *comparisons,
        limit=limit,
        by_shots=False,
        kind=kind,
        id=texts([f"r{row}" for row in range(len(comparisons[0].value))]),
        summary=summary,
    )
    return judge(measure, texts([]), LengthUnit.METRE)


def grade(*values: float, **more: Any) -> Comparison:
    return Comparison(limit="grade", label="grade", value=np.array(values), **more)


LIMIT = Tolerance(name="t", minimum_grade=slope(0.004), maximum_grade=slope(0.1))


@pytest.mark.parametrize(
    ("value", "verdict", "share", "reason"),
    [
        (0.008, Verdict.WITHIN, 0.5, ""),
        (0.004, Verdict.WITHIN, 1.0, ""),
        (0.004 - 1e-12, Verdict.WITHIN, 1.0, ""),
        (0.0039, Verdict.OUTSIDE, 0.004 / 0.0039, "grade 0.39 %, short of 0.40 %"),
        (0.003999, Verdict.OUTSIDE, 0.004 / 0.003999, "grade 0.3999 %, short of 0.4000 %"),
        (0.0, Verdict.OUTSIDE, np.inf, "grade 0.00 %, short of 0.40 %"),
        (-0.001, Verdict.OUTSIDE, np.inf, "grade falls backwards: -0.10 %, short of 0.40 %"),
        (0.09, Verdict.WITHIN, 0.9, ""),
        (0.12, Verdict.OUTSIDE, 1.2, "grade 12.00 %, over 10.00 %"),
    ],
)
def test_at_least_and_at_most(value: float, verdict: Verdict, share: float, reason: str) -> None:
    found = judged(grade(value), limit=LIMIT)
    assert found.verdict is verdict
    assert found.row_share[0] == pytest.approx(share)
    assert found.row_reason[0] == reason


def test_a_least_of_nothing_forbids_only_what_is_below() -> None:
    limit = Tolerance(name="t", minimum_grade=slope(0.0))
    found = judged(grade(0.002, 0.0, -0.002), limit=limit)
    assert found.row_verdict.tolist() == [Verdict.WITHIN, Verdict.WITHIN, Verdict.OUTSIDE]
    assert found.row_reason[2] == "grade falls backwards: -0.20 %"


def test_guarded_at_least() -> None:
    sigma = np.array([0.0005, 0.0005, 0.0005, np.nan])
    limit = Tolerance(name="t", minimum_grade=slope(0.004), rule=Rule.GUARDED)
    found = judged(grade(0.0055, 0.0045, 0.0025, 0.0055, sigma=sigma), limit=limit)
    assert found.row_verdict.tolist() == [
        Verdict.WITHIN,
        Verdict.UNDECIDED,
        Verdict.OUTSIDE,
        Verdict.UNDECIDED,
    ]
    assert found.row_reason[1] == "grade 0.45 ± 0.10 %, at least 0.40 %: too close to say"
    assert "at least" in found.row_reason[3]
    assert "no standard deviation is shown" in found.row_reason[3]


def test_the_limits_stand_in_the_summary() -> None:
    found = judged(grade(0.008), limit=LIMIT)
    summary = {item.key: item for item in found.summary}
    assert summary["minimum_grade"].value == 0.004
    assert summary["minimum_grade"].quantity is Quantity.GRADE
    assert summary["maximum_grade"].label == "Maximum grade"


def test_a_comparison_may_apply_to_some_rows_only() -> None:
    """Where it does not apply a value that is not there, or too large, makes no verdict."""
    flat = Comparison(
        limit="vertical",
        label="off",
        value=np.array([0.005, np.nan, 9.0]),
        sigma=np.array([0.001, np.nan, np.nan]),
        applies=np.array([True, False, False]),
    )
    found = judged(flat, limit=tolerance(vertical=0.01))
    assert found.row_verdict.tolist() == [Verdict.WITHIN] * 3
    assert found.row_share[0] == pytest.approx(0.5)
    assert np.isnan(found.row_share[1:]).all()
    assert found.p_within[0] == pytest.approx(1.0, abs=1e-5)
    assert found.p_within[1:].tolist() == [1.0, 1.0]


def test_a_slope_and_what_it_is_made_of_have_no_common_probability() -> None:
    change = Comparison(
        limit="slope", label="slope", value=np.array([0.001]), sigma=np.array([0.001])
    )
    upper = Comparison(
        limit="vertical", label="invert", value=np.array([0.001]), sigma=np.array([0.001])
    )
    limit = Tolerance(name="t", slope=slope(0.01), vertical=Formula(constant=0.01, text="1 cm"))
    assert np.isnan(judged(change, upper, limit=limit).p_within).all()
    assert np.isfinite(judged(change, limit=limit).p_within).all()


def test_a_difference_of_slope_is_told_in_percent() -> None:
    change = Comparison(limit="slope", label="difference of slope", value=np.array([-0.0123]))
    found = judged(change, limit=Tolerance(name="t", slope=slope(0.01)))
    assert found.row_reason[0] == "difference of slope 1.23 %, limit 1.00 %"
    (item,) = [item for item in found.summary if item.key == "allowed_slope"]
    assert item.quantity is Quantity.GRADE


@pytest.mark.parametrize(
    ("shift", "left", "says"),
    [
        (0.05, 0.002, "The shape is right, the place is wrong"),
        (0.002, 0.05, "The place is right, the shape is wrong"),
        (0.002, 0.003, ""),
        (0.05, 0.06, ""),
        (0.01, 0.002, ""),
    ],
)
def test_shape_and_place(shift: float, left: float, says: str) -> None:
    numbers = tuple(
        Item(key=key, label=key, quantity=Quantity.LENGTH, value=value)
        for key, value in (("shift", shift), ("left_max", left))
    )
    pair = Comparison(limit="distance", label="distance", value=np.array([0.001, 0.001]))
    found = judged(pair, limit=tolerance(distance=0.01), summary=numbers, kind="relative")
    text = " ".join(found.measure.remarks)
    assert says in text
    assert bool(text) is bool(says)
