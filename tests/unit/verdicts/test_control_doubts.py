"""What a failed check shot does to everything that rests on it."""

from dataclasses import replace

import numpy as np

from checker.checks.control import measure_control
from checker.model.finding import Finding, Verdict
from checker.model.job import ControlInput
from checker.model.points import Points
from checker.units import LengthUnit
from checker.verdicts.control import control_doubts
from checker.verdicts.judge import judge
from tests.support.points import HERE, inputs, job, points, texts, tolerance

KNOWN = points([("CP1", 100.0, 100.0, 10.0), ("CP2", 200.0, 100.0, 10.0)])
SHOTS = [
    ("CP1", 100.0, 100.0, 10.0),  # morning: good
    ("1", 0.0, 0.0, 0.0),
    ("CP2", 200.5, 100.0, 10.0),  # afternoon: half a metre north
    ("2", 0.0, 0.0, 0.0),
    ("3", 0.0, 0.0, 0.0),  # evening: no check shot of its own
    ("4", 0.0, 0.0, 0.0),  # no session shown
]
SESSIONS = ["am", "am", "pm", "pm", "eve", ""]
BAD = "control in doubt: check shot on CP2 (horizontal 0.500 m over 0.030 m)"
IN_PM = BAD.replace("CP2", "CP2 in session pm")


def proof(measured: Points, doubts: list[str] | None = None) -> Finding:
    control = ControlInput(
        where=HERE,
        file="control.csv",
        unit=LengthUnit.METRE,
        tolerance=tolerance(horizontal=0.03, vertical=0.03),
    )
    measure = measure_control(control, inputs(measured=measured, control=KNOWN), job())
    assert measure is not None
    return judge(measure, texts(doubts or [""] * len(measured)), LengthUnit.METRE)


def test_a_session_rests_on_its_own_check_shots() -> None:
    measured = points(SHOTS, session=texts(SESSIONS))
    found = control_doubts(proof(measured), measured).tolist()
    assert found == ["", "", IN_PM, IN_PM, IN_PM, IN_PM]


def test_without_sessions_all_rests_on_all() -> None:
    measured = points(SHOTS)
    assert control_doubts(proof(measured), measured).tolist() == [BAD] * 6


def test_a_bad_check_shot_without_a_session_doubts_all() -> None:
    measured = points(SHOTS, session=texts(["am", "am", "", "pm", "eve", ""]))
    assert control_doubts(proof(measured), measured).tolist() == [BAD] * 6


def test_a_check_shot_that_fails_the_gate_proves_nothing() -> None:
    measured = points(SHOTS, session=texts(SESSIONS))
    finding = proof(measured, ["pdop 5.2 over 4.0", *[""] * 5])
    found = control_doubts(finding, measured).tolist()
    assert found[1] == "control in doubt: check shot on CP1 in session am (pdop 5.2 over 4.0)"
    assert found[4].startswith("control in doubt: check shot on CP2 in session pm (")
    assert found[4].endswith(" and on CP1 in session am (pdop 5.2 over 4.0)")


def test_good_control_doubts_nothing() -> None:
    measured = points([SHOTS[0], *SHOTS[3:]])
    assert control_doubts(proof(measured), measured).tolist() == [""] * 4


def test_control_that_was_never_shot_doubts_nothing() -> None:
    measured = points([("1", 0.0, 0.0, 0.0)])
    finding = proof(measured)
    assert finding.verdict is Verdict.UNCHECKED
    assert control_doubts(finding, measured).tolist() == [""]
    assert control_doubts(None, measured).tolist() == [""]


def test_many_bad_check_shots_are_counted() -> None:
    measured = points([("CP2", 200.0 + 0.1 * step, 100.0, 10.0) for step in range(1, 6)])
    text = control_doubts(proof(measured), measured)[0]
    assert text.startswith("control in doubt: check shot on CP2 (horizontal 0.500 m")
    assert text.endswith(", and 3 more")


def test_rows_that_do_not_count_prove_nothing() -> None:
    measured = points(SHOTS)
    finding = proof(measured)
    hidden = replace(finding.measure, counted=np.zeros(len(finding.measure.id), dtype=np.bool_))
    assert control_doubts(replace(finding, measure=hidden), measured).tolist() == [""] * 6
