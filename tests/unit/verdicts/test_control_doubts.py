"""What a failed check shot does to everything that rests on it."""

from dataclasses import replace

import numpy as np

from checker.checks.control import measure_control
from checker.checks.stakeout import measure_stakeout
from checker.model.finding import Finding, Verdict
from checker.model.job import ControlInput
from checker.model.points import Points
from checker.units import LengthUnit
from checker.verdicts.control import control_doubts, with_chain
from checker.verdicts.judge import judge
from tests.support.points import HERE, inputs, job, points, stakeout, texts, tolerance

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
BAD = "control in doubt: check shot on CP2 (horizontal 500 mm, limit 30 mm)"
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
    assert text.startswith("control in doubt: check shot on CP2 (horizontal 500 mm")
    assert text.endswith(", and 3 more")


def test_rows_that_do_not_count_prove_nothing() -> None:
    measured = points(SHOTS)
    finding = proof(measured)
    hidden = replace(finding.measure, counted=np.zeros(len(finding.measure.id), dtype=np.bool_))
    assert control_doubts(replace(finding, measure=hidden), measured).tolist() == [""] * 6


def resting(measured: Points, names: list[str]) -> Finding:
    section = stakeout(limit=tolerance(horizontal=0.03))
    design = points([(name, 0.0, 0.0, 0.0) for name in names])
    doubts = control_doubts(proof(measured), measured)
    measure = measure_stakeout(section, inputs(design=design, measured=measured), job(section))
    return judge(measure, doubts, LengthUnit.METRE)


def test_the_chain_names_the_stakes_and_the_session_through_which_they_rest() -> None:
    measured = points(SHOTS, session=texts(SESSIONS))
    found = with_chain(proof(measured), measured, [resting(measured, ["1", "2", "3", "4"])])
    chain = [text for text in found.measure.remarks if "rests on the failed control" in text]
    assert chain == [
        "What rests on the failed control: 1 shot through session pm, and on them stakes: 2.",
        "What rests on the failed control: 1 shot through session eve, and on them stakes: 3.",
        (
            "What rests on the failed control: 1 shot through no session of its own, and on them"
            " stakes: 4."
        ),
    ]


def test_a_long_chain_is_cut_and_counted() -> None:
    names = [str(k) for k in range(20)]
    shots = [("CP1", 100.5, 100.0, 10.0), *((name, 0.0, 0.0, 0.0) for name in names)]
    measured = points(shots)
    found = with_chain(proof(measured), measured, [resting(measured, names)])
    assert "20 shots through no session" in found.measure.remarks[0]
    assert "10, 11 and 8 more." in found.measure.remarks[0]


def test_good_control_has_no_chain() -> None:
    measured = points(SHOTS[:2])
    found = with_chain(proof(measured), measured, [resting(measured, ["1"])])
    assert not any("rests on" in text for text in found.measure.remarks)
    bad_alone = points([SHOTS[2]])
    found = with_chain(proof(bad_alone), bad_alone, [])
    assert not any("rests on" in text for text in found.measure.remarks)


def test_without_sessions_the_base_stands_for_them() -> None:
    measured = points(SHOTS, base=texts(SESSIONS))
    found = control_doubts(proof(measured), measured).tolist()
    from_base = BAD.replace("CP2", "CP2 from base pm")
    assert found == ["", "", from_base, from_base, from_base, from_base]
    chain = with_chain(proof(measured), measured, [resting(measured, ["1", "2"])])
    assert "1 shot through base pm, and on them stakes: 2." in chain.measure.remarks[0]


def test_sessions_go_before_bases() -> None:
    measured = points(SHOTS, session=texts(SESSIONS), base=texts(["one base"] * 6))
    assert control_doubts(proof(measured), measured).tolist()[1] == ""
