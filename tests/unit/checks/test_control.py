"""Check shots against the known points."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from checker.checks.control import measure_control
from checker.errors import InputError
from checker.model.job import ControlInput, Tolerance
from checker.model.measure import Measure
from checker.model.points import Points, SigmaBudget
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from tests.support.points import HERE, inputs, job, points, texts, tolerance

NAN = np.nan
KNOWN = points(
    [("CP1", 100.0, 100.0, 10.0), ("CP2", 200.0, 100.0, NAN), ("CP3", 300.0, 100.0, 10.0)]
)
SHOTS = [
    ("CP2", 200.01, 100.0, 12.0),
    ("CP1", 100.0, 100.02, 10.01),
    ("7", 0.0, 0.0, 0.0),
    ("CP1", 100.0, 100.05, 9.99),
]
LIMIT = tolerance(horizontal=0.03, vertical=0.03)


def run(
    measured: Points | None, limit: Tolerance | None = LIMIT, known: Points = KNOWN, **of_job: Any
) -> Measure | None:
    section = ControlInput(where=HERE, file="control.csv", unit=LengthUnit.METRE, tolerance=limit)
    return measure_control(section, inputs(measured=measured, control=known), job(**of_job))


def made(*arguments: Any, **options: Any) -> Measure:
    measure = run(*arguments, **options)
    assert measure is not None
    return measure


def test_every_check_shot_is_a_row_and_counts() -> None:
    measure = made(points(SHOTS))
    assert (measure.kind, measure.name) == ("control", "control")
    assert measure.id.tolist() == ["CP1", "CP1", "CP2", "CP3"]
    assert measure.shots[:, 0].tolist() == [1, 3, 0, -1]
    assert measure.counted.tolist() == [True, True, True, False]
    assert measure.unchecked.tolist() == ["", "", "", "no check shot"]
    assert measure.used.tolist() == [0, 1, 3]
    np.testing.assert_allclose(
        measure.column("de").values.tolist()[:3], [0.02, 0.05, 0.0], atol=1e-9
    )
    finding = judge(measure, texts([""] * 4), LengthUnit.METRE)
    assert finding.row_reason.tolist() == [
        "",
        "horizontal 50 mm, limit 30 mm",
        "the control gives no elevation",
        "no check shot",
    ]


def test_control_that_was_never_shot_counts_where_proof_is_asked() -> None:
    measure = made(points([("7", 0.0, 0.0, 0.0)]))
    assert measure.unchecked.tolist() == ["no check shot"] * 3
    assert measure.counted.tolist() == [True] * 3
    assert run(points([("7", 0.0, 0.0, 0.0)]), None) is None


def test_shots_without_a_tolerance_are_unchecked() -> None:
    finding = judge(made(points(SHOTS), None), texts([""] * 4), LengthUnit.METRE)
    assert finding.row_reason.tolist()[:3] == ["no tolerance stated"] * 3
    assert finding.verdict.word == "unchecked"


def test_nothing_measured_is_nothing_to_prove() -> None:
    assert run(None) is None


def test_an_excluded_check_shot_proves_nothing() -> None:
    measure = made(points(SHOTS), exclude=[("CP1", "wrong cap")])
    assert measure.id.tolist() == ["CP1", "CP1", "CP2", "CP3"]
    assert measure.unchecked.tolist() == ["excluded: wrong cap"] * 2 + ["", "no check shot"]
    assert measure.counted.tolist() == [False, False, True, False]
    assert measure.used.tolist() == [0]


def test_only_excluded_check_shots_are_no_proof() -> None:
    measure = made(points(SHOTS[1:2]), exclude=[("CP1", "wrong cap")])
    assert measure.unchecked.tolist() == ["excluded: wrong cap", "no check shot", "no check shot"]
    assert measure.counted.tolist() == [True] * 3
    assert {item.key: item.value for item in measure.summary}["missing"] == 3


def test_a_control_number_that_stands_twice_elsewhere_is_a_fault() -> None:
    twice = points([("CP1", 0.0, 0.0, 0.0), ("CP1", 5.0, 0.0, 0.0)])
    with pytest.raises(InputError, match='control point "CP1" stands twice'):
        run(points(SHOTS), LIMIT, twice)
    same = points([("CP1", 0.0, 0.0, 0.0), ("CP1", 0.0, 0.0, 0.0)])
    assert made(points(SHOTS), LIMIT, same).id.tolist() == ["CP1", "CP1"]


def test_the_columns_call_the_known_point_known() -> None:
    assert made(points(SHOTS)).column("design_n").label == "Known N"


def remarks(sessions: list[str], ids: list[str], time: list[str] | None = None) -> list[str]:
    rows = [(name, 100.0, 100.0, 10.0) for name in ids]
    return list(made(points(rows, time=time, session=texts(sessions))).remarks)


def test_check_shots_before_and_after_the_work_of_each_session() -> None:
    assert remarks(["a"] * 3 + ["b"] * 3, ["CP1", "7", "CP1", "CP2", "8", "CP1"]) == [
        "Check shots stand before and after the work of: a, b."
    ]
    (text,) = remarks(["a"] * 2, ["CP1", "7"])
    assert text.startswith("Check shots are missing: a none after its other shots. What happened")
    assert "a none before and none after its other shots" in " ".join(
        remarks(["a"] * 3, ["7", "CP1", "8"])
    )
    assert any(
        text.startswith("Without a check shot of their own: b.")
        for text in remarks(["a", "a", "a", "b"], ["CP1", "7", "CP1", "8"])
    )


def test_time_counts_before_the_order_of_the_rows() -> None:
    times = ["2031-04-15T10:00", "2031-04-15T09:00", "2031-04-15T11:00"]
    assert remarks(["a"] * 3, ["7", "CP1", "CP1"], times) == [
        "Check shots stand before and after the work of: a."
    ]


def test_without_sessions_nothing_is_said_of_them() -> None:
    assert made(points(SHOTS)).remarks == ()


def test_the_sigmas_of_a_mark_count_where_the_table_shows_them() -> None:
    known = points(
        [("CP1", 100.0, 100.0, 10.0), ("CP3", 300.0, 100.0, 10.0)],
        sigma_n_m=np.array([0.008, NAN]),
        sigma_e_m=np.array([0.006, NAN]),
        sigma_z_m=np.array([0.01, NAN]),
    )
    shots = points(
        [("CP1", 100.0, 100.0, 10.0), ("CP3", 300.0, 100.0, 10.0)], sigma=(0.003, 0.004, 0.005)
    )
    budget = SigmaBudget(control_h_m=0.02, control_z_m=0.03)
    measure = made(replace(shots, budget=budget), known=known)
    np.testing.assert_allclose(
        measure.column("sigma_h").values.tolist(),
        # by its own, and as the job states for all control
        [np.sqrt(0.003**2 + 0.004**2 + 0.008**2 + 0.006**2), np.hypot(0.005, 0.02)],
    )
    np.testing.assert_allclose(
        measure.column("sigma_z").values.tolist(), [np.hypot(0.005, 0.01), np.hypot(0.005, 0.03)]
    )
