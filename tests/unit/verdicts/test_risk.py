"""Risks of the method and of the rows, against plain counting of simulated stakes.

Every setting is simulated with 100,000 stakes and judged by the rules themselves; what the finding
states must agree within sampling error.
"""

import itertools
import math
from typing import Any

import numpy as np
import pytest

from checker.model.arrays import FloatArray
from checker.model.finding import Finding, Verdict
from checker.model.job import Rule, Tolerance
from checker.model.measure import Comparison
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from tests.support.measures import measure_of
from tests.support.points import texts, tolerance

STAKES = 100_000
T = 0.015
SETTINGS = [(0.018, 0.018, 0.0), (0.006, 0.006, 0.0), (0.003, 0.009, 0.0), (0.007, 0.005, 0.7)]
"""Standard deviations of northing and easting, their correlation; the first is coarser than T."""


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the sentences of a hundred thousand rows unwritten; their verdicts are counted."""
    monkeypatch.setattr("checker.verdicts.judge.component_reason", lambda *_: "over")


def judged(
    limit: Tolerance,
    *,
    height: FloatArray | None = None,
    plan: FloatArray | None = None,
    sigma: tuple[float, float, float] = (0.006, 0.006, 0.0),
) -> Finding:
    """Judge heights or plan offsets that all have these standard deviations."""
    value = height if height is not None else np.empty(0)
    keys: dict[str, Any] = {"sigma": np.full(len(value), sigma[0])}
    if plan is not None:
        value = np.hypot(plan[:, 0], plan[:, 1])
        count = len(value)
        keys = {
            "sigma": np.full(count, math.hypot(sigma[0], sigma[1])),
            "vector": plan,
            "vector_sigma": np.tile(sigma[:2], (count, 1)),
            "vector_correlation": np.full(count, sigma[2]) if sigma[2] else None,
        }
    name = "vertical" if plan is None else "horizontal"
    every = Comparison(limit=name, label=name, value=value, **keys)
    measure = measure_of(every, limit=limit, by_shots=False)
    return judge(measure, texts([]), LengthUnit.METRE)


def stated(finding: Finding) -> dict[str, float]:
    return {
        item.key: float(item.value)
        for item in finding.summary
        if isinstance(item.value, float) and item.key.startswith(("risk", "expected"))
    }


def noise(rng: np.random.Generator, sigma: tuple[float, float, float]) -> FloatArray:
    n, e, r = sigma
    covariance = [[n * n, r * n * e], [r * n * e, e * e]]
    return np.asarray(rng.multivariate_normal([0.0, 0.0], covariance, STAKES))


def agrees(counted: float, chance: float, count: int = STAKES) -> bool:
    return abs(counted - chance) < 4.5 * math.sqrt(max(chance * (1.0 - chance), 1e-5) / count)


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("rule", list(Rule))
@pytest.mark.parametrize("sigma_m", [0.018, 0.006, 0.003])
def test_risks_of_a_height(rule: Rule, sigma_m: float) -> None:
    rng = np.random.default_rng(6)
    limit = tolerance(vertical=T, rule=rule)
    error = rng.normal(0.0, sigma_m, STAKES)
    keys = {"sigma": (sigma_m, sigma_m, 0.0)}
    perfect = judged(limit, height=error, **keys)  # type: ignore[arg-type]
    off = judged(limit, height=1.5 * T + error, **keys)  # type: ignore[arg-type]
    found = stated(perfect)
    assert agrees(np.mean(perfect.row_verdict != Verdict.WITHIN), found["risk_perfect_vertical"])
    assert agrees(np.mean(off.row_verdict == Verdict.WITHIN), found["risk_off_vertical"])
    if sigma_m == 0.018 and rule is Rule.SIMPLE:
        # the figure of the trade: it rejects 40 % of perfect stakes and takes 32 % of the others
        assert found["risk_perfect_vertical"] == pytest.approx(0.40, abs=0.005)
        assert found["risk_off_vertical"] == pytest.approx(0.32, abs=0.005)


@pytest.mark.usefixtures("quick")
def test_risks_of_an_unequal_tolerance_of_height() -> None:
    rng = np.random.default_rng(7)
    limit = tolerance(above=0.010, below=0.020)
    error = rng.normal(0.0, 0.008, STAKES)
    perfect = judged(limit, height=error, sigma=(0.008, 0.008, 0.0))
    found = stated(perfect)
    assert agrees(np.mean(perfect.row_verdict != Verdict.WITHIN), found["risk_perfect_vertical"])
    passed = [
        np.mean(
            judged(limit, height=truth + error, sigma=(0.008, 0.008, 0.0)).row_verdict
            == Verdict.WITHIN
        )
        for truth in (0.015, -0.030)
    ]
    assert agrees(max(passed), found["risk_off_vertical"])


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize(
    ("sigma", "rule"),
    [*((each, Rule.SIMPLE) for each in SETTINGS), *((each, Rule.GUARDED) for each in SETTINGS[2:])],
)
def test_risks_in_plan(sigma: tuple[float, float, float], rule: Rule) -> None:
    rng = np.random.default_rng(8)
    limit = tolerance(horizontal=T, rule=rule)
    error = noise(rng, sigma)
    perfect = judged(limit, plan=error, sigma=sigma)
    found = stated(perfect)
    assert agrees(np.mean(perfect.row_verdict != Verdict.WITHIN), found["risk_perfect_horizontal"])
    # off along the axes of the error ellipse, in either of which it may pass most often
    n, e, r = sigma
    _, axes = np.linalg.eigh([[n * n, r * n * e], [r * n * e, e * e]])
    passed = []
    for axis in axes.T:
        off = judged(limit, plan=1.5 * T * axis + error, sigma=sigma)
        passed.append(float(np.mean(off.row_verdict == Verdict.WITHIN)))
    assert agrees(max(passed), found["risk_off_horizontal"])


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("rule", list(Rule))
def test_specific_and_global_risk_of_heights(rule: Rule) -> None:
    """Stakes of which nothing is known beforehand: true places spread evenly, far and wide."""
    rng = np.random.default_rng(9)
    true = rng.uniform(-0.08, 0.08, STAKES)
    finding = judged(tolerance(vertical=T, rule=rule), height=true + rng.normal(0.0, 0.006, STAKES))
    _compare(finding, np.abs(true) <= T)


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("sigma", SETTINGS)
def test_specific_and_global_risk_in_plan(sigma: tuple[float, float, float]) -> None:
    rng = np.random.default_rng(10)
    true = rng.uniform(-0.10, 0.10, (STAKES, 2))
    finding = judged(tolerance(horizontal=T), plan=true + noise(rng, sigma), sigma=sigma)
    _compare(finding, np.hypot(true[:, 0], true[:, 1]) <= T)


def _compare(finding: Finding, good: np.ndarray[Any, np.dtype[np.bool_]]) -> None:
    found = stated(finding)
    for code, key, wrong in (
        (Verdict.WITHIN, "expected_wrong_within", ~good),
        (Verdict.OUTSIDE, "expected_wrong_outside", good),
    ):
        rows = finding.row_verdict == code
        p = finding.p_within[rows]
        spread = math.sqrt(float(np.sum(p * (1.0 - p))))
        assert rows.any()
        assert abs(int(np.count_nonzero(wrong[rows])) - found[key]) < 4.5 * spread
    # and row by row: of those said to be within with a probability p, so many are
    edges = np.array([0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98])
    for low, high in itertools.pairwise(edges):
        rows = (finding.p_within >= low) & (finding.p_within < high)
        if np.count_nonzero(rows) < 200:
            continue
        p = finding.p_within[rows]
        spread = math.sqrt(float(np.sum(p * (1.0 - p))))
        assert abs(int(np.count_nonzero(good[rows])) - float(p.sum())) < 4.5 * spread


def test_the_sentences_say_both_risks() -> None:
    rng = np.random.default_rng(11)
    coarse = judged(tolerance(vertical=T), height=rng.normal(0.0, 0.018, 9), sigma=(0.018, 0, 0))
    (text,) = (each for each in coarse.measure.remarks if "Risk of the method" in each)
    assert "in height 40.5 % of the points set exactly right would be found outside" in text
    assert "32.0 % of those that are off" in text
    wrong = [each for each in coarse.measure.remarks if "in truth" in each]
    assert any("must be expected to be outside" in each for each in wrong)
    fine = judged(tolerance(vertical=T), height=np.zeros(3), sigma=(0.001, 0, 0))
    assert not any("isk" in each for each in fine.measure.remarks)
    assert stated(fine)["risk_perfect_vertical"] == 0.0
    guarded = judged(
        tolerance(vertical=T, rule=Rule.GUARDED), height=np.zeros(3), sigma=(0.018, 0, 0)
    )
    (text,) = (each for each in guarded.measure.remarks if "Risk of the method" in each)
    assert "more than 99.9 % of the points set exactly right would be found undecided" in text
    assert "and less than 0.1 % of those" in text


def test_what_is_over_outside_its_tolerance_may_be_right() -> None:
    finding = judged(tolerance(vertical=T), height=np.array([0.016, 0.0]), sigma=(0.004, 0, 0))
    (text,) = (each for each in finding.measure.remarks if "expected to be within" in each)
    assert text.startswith("Of the one outside, 0.40 must be expected to be within in truth")
