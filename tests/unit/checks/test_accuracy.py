"""Statements of accuracy from check points."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from checker.checks.accuracy import measure_accuracy
from checker.errors import InputError
from checker.model.finding import Finding, Verdict
from checker.model.job import Accuracy, AccuracyStandard, Against, ControlInput, Selection
from checker.model.measure import Measure
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from tests.support.points import HERE, Shot, inputs, job, points, texts, tolerance


def grid(count: int) -> list[Shot]:
    return [(str(k), 100.0 * k, 50.0 * k, 10.0) for k in range(count)]


def moved(rows: list[Shot], noise: np.ndarray[Any, np.dtype[np.float64]]) -> list[Shot]:
    return [
        (name, n + dn, e + de, z + dz)
        for (name, n, e, z), (dn, de, dz) in zip(rows, noise.tolist(), strict=True)
    ]


def run(shots: list[Shot], known: list[Shot], **keys: Any) -> Measure:
    section = Accuracy(where=HERE, name="statement", measured=Selection(), **keys)
    role = {"control": points(known)}
    if keys.get("against") is Against.DESIGN:
        role = {"design": points(known)}
    return measure_accuracy(section, inputs(measured=points(shots), **role), job(section))


def summary(measure: Measure) -> dict[str, Any]:
    return {item.key: item.value for item in measure.summary}


def judged(measure: Measure, doubts: list[str] | None = None) -> Finding:
    return judge(measure, texts(doubts or [""] * 40), LengthUnit.METRE)


def alternating(count: int, n: float, e: float, z: float) -> np.ndarray[Any, Any]:
    """Return errors of exactly these root mean squares and no mean; count even."""
    sign = np.where(np.arange(count) % 2, -1.0, 1.0)
    return np.column_stack((n * sign, e * sign, z * sign))


def test_factors_of_the_standard() -> None:
    """2.4477 and 1.7308 in plan, 1.96 in height: FGDC-STD-007.3-1998."""
    known = grid(20)
    found = summary(run(moved(known, alternating(20, 0.03, 0.03, 0.02)), known))
    assert found["rmse_n"] == pytest.approx(0.03)
    assert found["rmse_horizontal"] == pytest.approx(0.03 * math.sqrt(2.0))
    assert found["accuracy_horizontal_95"] == pytest.approx(0.03 * 2.4477, rel=1e-4)
    assert found["accuracy_horizontal_95"] == pytest.approx(
        1.7308 * found["rmse_horizontal"], rel=1e-4
    )
    assert found["accuracy_vertical_95"] == pytest.approx(0.02 * 1.96, rel=1e-4)
    assert (found["points"], found["points_required"]) == (20, 20)


def test_the_words_of_the_statement() -> None:
    known = grid(20)
    remarks = run(moved(known, alternating(20, 0.03, 0.03, 0.02)), known).remarks
    assert "Tested 0.0734 meters horizontal accuracy at 95% confidence level." in remarks
    assert "Tested 0.0392 meters vertical accuracy at 95% confidence level." in remarks
    assert any(text.startswith("No outlier by Grubbs' test") for text in remarks)


def test_no_formula_below_the_ratio() -> None:
    known = grid(20)
    limit = tolerance(horizontal=1.0, vertical=1.0)
    measure = run(moved(known, alternating(20, 0.01, 0.03, 0.02)), known, tolerance=limit)
    assert summary(measure)["accuracy_horizontal_95"] is None
    finding = judged(measure)
    assert finding.verdict is Verdict.UNDECIDED
    assert "differ too much for the standard's formula" in finding.reason


@pytest.mark.parametrize(("count", "verdict"), [(20, Verdict.WITHIN), (18, Verdict.UNDECIDED)])
def test_too_few_check_points_only_inform(count: int, verdict: Verdict) -> None:
    known = grid(count)
    limit = tolerance(horizontal=0.1)
    measure = run(moved(known, alternating(count, 0.03, 0.03, 0.02)), known, tolerance=limit)
    assert judged(measure).verdict is verdict
    assert any("only inform" in text for text in measure.remarks) is (count < 20)
    assert any(text.startswith("Tested 0") for text in measure.remarks) is (count == 20)


def test_the_limit_is_on_what_is_reported() -> None:
    known = grid(30)
    shots = moved(known, alternating(30, 0.03, 0.03, 0.02))
    limit = tolerance(horizontal=0.05)
    assert judged(run(shots, known, tolerance=limit)).verdict is Verdict.OUTSIDE
    by_rmse = run(shots, known, tolerance=limit, standard=AccuracyStandard.ASPRS_2023)
    assert judged(by_rmse).verdict is Verdict.WITHIN
    assert (
        "The tested horizontal positional accuracy was found to be RMSEH = 0.0424 meters."
        in by_rmse.remarks
    )
    few = run(shots[:20], known, tolerance=limit, standard=AccuracyStandard.ASPRS_2023)
    assert judged(few).verdict is Verdict.UNDECIDED


def test_an_outlier_is_named_and_kept() -> None:
    rng = np.random.default_rng(8)
    known = grid(20)
    noise = rng.normal(0.0, 0.01, (20, 3))
    noise[7, 2] = 0.3
    measure = run(moved(known, noise), known)
    outlier = measure.column("outlier").values.tolist()
    assert outlier[7].startswith("Z: G 4.")
    assert sum(bool(text) for text in outlier) == 1
    assert any("axis: 7. They are in the" in text for text in measure.remarks)
    assert summary(measure)["rmse_z"] > 0.06


def test_a_bias_is_no_chance_error() -> None:
    rng = np.random.default_rng(9)
    known = grid(20)
    noise = rng.normal(0.0, 0.01, (20, 3)) + np.array([0.0, 0.0, 0.03])
    remarks = run(moved(known, noise), known).remarks
    assert any(text.startswith("The mean of ΔZ is no accident") for text in remarks)


def test_a_shot_in_doubt_leaves_the_statement_undecided() -> None:
    known = grid(20)
    limit = tolerance(horizontal=0.1)
    measure = run(moved(known, alternating(20, 0.03, 0.03, 0.02)), known, tolerance=limit)
    finding = judged(measure, ["", "solution float, not fixed", *[""] * 18])
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.reason == "1 in doubt: solution float, not fixed"


def test_against_the_design_and_faults() -> None:
    known = grid(3)
    measure = run(known, known, against=Against.DESIGN)
    assert summary(measure)["rmse_horizontal"] == 0.0
    assert measure.used.tolist() == [0, 1, 2]
    section = Accuracy(where=HERE, name="s", measured=Selection(), against=Against.DESIGN)
    with pytest.raises(InputError, match="compares with the design, and the job has none"):
        measure_accuracy(section, inputs(measured=points(known)), job(section))
    with pytest.raises(InputError, match="no as-measured point has the number"):
        run([("x", 0.0, 0.0, 0.0)], known)


def test_of_several_shots_the_latest_counts() -> None:
    known = grid(1)
    shots = points(
        [("0", 0.5, 0.0, 10.0), ("0", 0.1, 0.0, 10.0)],
        time=["2031-04-15T10:00", "2031-04-15T09:00"],
    )
    section = Accuracy(where=HERE, name="s", measured=Selection())
    measure = measure_accuracy(section, inputs(measured=shots, control=points(known)), job(section))
    assert measure.column("dn").values.tolist() == [0.5]


def test_check_points_of_their_own() -> None:
    known = grid(30)
    shots = moved(known, alternating(30, 0.03, 0.03, 0.02))
    section = Accuracy(where=HERE, name="statement", measured=Selection(), file="check.csv")
    data = replace(inputs(measured=points(shots)), check_points={"statement": points(known)})
    found = summary(measure_accuracy(section, data, job(section)))
    assert found["rmse_z"] == pytest.approx(0.02)
    assert found["check_sigma_z"] is None
    stranger = replace(data, check_points={"statement": points([("x", 0.0, 0.0, 0.0)])})
    with pytest.raises(InputError, match="number of a point of the check points"):
        measure_accuracy(section, stranger, job(section))


def test_edition_2_counts_the_error_of_the_check_points() -> None:
    known = grid(30)
    shots = moved(known, alternating(30, 0.03, 0.03, 0.02))
    keys: dict[str, Any] = {"sigma_h_m": 0.04, "sigma_z_m": 0.005}
    measure = run(shots, known, standard=AccuracyStandard.ASPRS_2023, **keys)
    total = math.sqrt(2 * 0.03**2 + 0.04**2)
    assert any(f"RMSEH = {total:.4f} meters" in text for text in measure.remarks)
    assert summary(measure)["rmse_horizontal"] == pytest.approx(0.03 * math.sqrt(2.0))
    assert any("In plan the check points are known only 1.1 times" in t for t in measure.remarks)
    assert not any("In height the check points" in text for text in measure.remarks)
    plain = run(shots, known)
    assert any("is not stated (sigma_h, sigma_z)" in text for text in plain.remarks)


def test_the_controls_own_deviations_are_those_of_its_check_points() -> None:
    known = grid(20)
    control = ControlInput(
        where=HERE, file="c.csv", unit=LengthUnit.METRE, sigma_h_m=0.004, sigma_z_m=0.006
    )
    section = Accuracy(where=HERE, name="statement", measured=Selection())
    data = inputs(measured=points(known), control=points(known))
    found = summary(measure_accuracy(section, data, job(section, control=control)))
    assert (found["check_sigma_horizontal"], found["check_sigma_z"]) == (0.004, 0.006)
