"""What a stored point must show."""

from typing import Any

import numpy as np
import pytest

from checker.model.job import Gate
from checker.model.points import Points
from checker.units import LengthUnit
from checker.verdicts.gate import gate_doubts, solution_word
from tests.support.points import HERE, Shot, points, texts

NAN = np.nan
FOOT = LengthUnit.FOOT


def doubts(
    gate: dict[str, Any], *, unit: LengthUnit = LengthUnit.METRE, **quality: Any
) -> list[str]:
    count = max((len(values) for values in quality.values()), default=1)
    table = points([(str(row), 0.0, 0.0, 0.0) for row in range(count)], **quality)
    found: list[str] = gate_doubts(Gate(where=HERE, **gate), table, unit).tolist()
    return found


def test_no_gate_asks_nothing() -> None:
    assert gate_doubts(None, points([("1", 0.0, 0.0, 0.0)])).tolist() == [""]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("Fixed", "fixed"),
        (" FIX ", "fixed"),
        ("RTK_Fixed", "fixed"),
        ("rtk-fix", "fixed"),
        ("4", "fixed"),
        ("4.0", "fixed"),
        ("5", "float"),
        ("RTK Float", "float"),
        ("1", "autonomous"),
        ("2", "differential"),
        ("ppp", "ppp"),
        ("", ""),
    ],
)
def test_words_for_a_solution(text: str, word: str) -> None:
    # Quality indicators of NMEA 0183 GGA from memory; the words are common practice, no source.
    assert solution_word(text) == word


def test_solution() -> None:
    found = doubts({"solution": ("fixed",)}, solution=texts(["4", "RTK fixed", "Float", " "]))
    assert found == ["", "", "solution float, not fixed", "solution not shown"]


def test_solution_by_the_gate_s_own_word() -> None:
    found = doubts({"solution": ("4", "float")}, solution=texts(["fix", "5", "1"]))
    assert found == ["", "", "solution autonomous, not fixed or float"]


@pytest.mark.parametrize(
    ("gate", "field", "values", "expected"),
    [
        (
            {"satellites": 6},
            "satellites",
            [6, 5, NAN],
            ["", "satellites 5, at least 6", "satellites not shown"],
        ),
        ({"epochs": 5}, "epochs", [5, 4], ["", "epochs 4, at least 5"]),
        ({"pdop": 4.0}, "pdop", [4.0, 5.2, 4.01], [
            "", "PDOP 5.2, limit 4.0", "PDOP 4.01, limit 4.00"]),
        ({"pdop": 2.25}, "pdop", [2.3], ["PDOP 2.30, limit 2.25"]),
        ({"hdop": 2.0}, "hdop", [1.9, 2.1], ["", "HDOP 2.1, limit 2.0"]),
        ({"vdop": 3.0}, "vdop", [3.5], ["VDOP 3.5, limit 3.0"]),
        ({"age_s": 5.0}, "age_s", [5.0, 7.0, 5.4], [
            "", "age of corrections 7 s, limit 5 s", "age of corrections 5.4 s, limit 5.0 s"]),
        ({"base_distance_m": 5000.0}, "base_distance_m", [5000.0, 6200.4], [
            "", "base distance 6200 m, limit 5000 m"]),
        ({"elevation_mask_rad": np.radians(10)}, "elevation_mask_rad", np.radians([10.0, 5.0]), [
            "", "elevation mask 5°, at least 10°"]),
    ],
)  # fmt: skip
def test_numbers(
    gate: dict[str, Any], field: str, values: list[float], expected: list[str]
) -> None:
    quality: dict[str, Any] = {field: np.array(values, dtype=np.float64)}
    assert doubts(gate, **quality) == expected


def test_lengths_are_said_in_the_unit_of_the_job() -> None:
    limit = 0.03 * 0.3048
    found = doubts(
        {"sigma_h_m": limit, "sigma_z_m": limit},
        unit=FOOT,
        sigma_h_m=np.array([limit, 0.041 * 0.3048]),
        sigma_z_m=np.array([limit, limit]),
    )
    assert found == ["", "σ in plan 0.041 ft, limit 0.030 ft"]


def test_a_radial_sigma_is_made_of_its_axes_where_only_these_are_shown() -> None:
    found = doubts(
        {"sigma_h_m": 0.0125},
        sigma_n_m=np.array([0.003, 0.012, 0.012]),
        sigma_e_m=np.array([0.004, 0.005, 0.005]),
        sigma_h_m=np.array([NAN, NAN, 0.010]),
    )
    assert found == ["", "σ in plan 13.0 mm, limit 12.5 mm", ""]


def test_poles_to_the_millimetre() -> None:
    found = doubts({"pole_m": (2.0, 1.8)}, pole_m=np.array([2.0, 2.001, 1.8, 2.0021, 0.6096, NAN]))
    assert found == [
        "",
        "",
        "",
        "pole 2.002 m, not 2.000 or 1.800",
        "pole 0.610 m, not 2.000 or 1.800",
        "pole not shown",
    ]


def test_a_field_that_the_file_lacks_is_not_shown() -> None:
    every = {
        "solution": ("fixed",),
        "satellites": 6,
        "epochs": 5,
        "hdop": 2.0,
        "vdop": 2.0,
        "pdop": 4.0,
        "age_s": 5.0,
        "sigma_h_m": 0.01,
        "sigma_z_m": 0.02,
        "base_distance_m": 5000.0,
        "pole_m": (2.0,),
        "elevation_mask_rad": 0.17,
    }
    names = [part.removesuffix(" not shown") for part in doubts(every)[0].split("; ")]
    assert names == [
        "solution",
        "satellites",
        "epochs",
        "HDOP",
        "VDOP",
        "PDOP",
        "age of corrections",
        "σ in plan",
        "σ in height",
        "base distance",
        "pole",
        "elevation mask",
    ]


def test_all_failures_of_a_point_are_joined() -> None:
    found = doubts({"satellites": 6, "pdop": 4.0}, satellites=np.array([5.0]), pdop=np.array([NAN]))
    assert found == ["satellites 5, at least 6; PDOP not shown"]


TIMES = ["08:00", "09:30", "12:00", "08:10", "", "13:00"]


def timed(**quality: Any) -> Points:
    time = [f"2031-04-17T{text}" if text else "NaT" for text in TIMES]
    rows: list[Shot] = [(name, 0.0, 0.0, 0.0) for name in ("CP1", "1", "2", "3", "4", "CP1")]
    return points(rows, time=time, **quality)


def near_check(measured: Points, limit_s: float = 7200.0) -> list[str]:
    checks = np.array([name == "CP1" for name in measured.id.tolist()])
    gate = Gate(where=HERE, check_within_s=limit_s)
    found: list[str] = gate_doubts(gate, measured, LengthUnit.METRE, checks).tolist()
    return found


def test_a_check_shot_stands_near_in_time() -> None:
    assert near_check(timed()) == ["", "", "", "", "time not shown", ""]
    found = near_check(timed(), 1800.0)
    assert found[1] == "nearest check shot of its session 1.50 h away, limit 30.0 min"
    assert found[2] == "nearest check shot of its session 1.00 h away, limit 30.0 min"
    assert found[3] == ""
    assert found[0] == found[5] == ""  # check shots prove, they are not proven


def test_a_check_shot_of_another_session_does_not_count() -> None:
    measured = timed(session=texts(["am", "am", "pm", "eve", "am", "pm"]))
    found = near_check(measured)
    assert found == ["", "", "", "no check shot on control in its session", "time not shown", ""]


def test_exactly_at_the_limit_is_near_enough() -> None:
    assert near_check(timed(), 5400.0)[1] == ""
    assert near_check(timed(), 5399.0)[1] != ""


def test_without_times_nothing_is_near() -> None:
    rows: list[Shot] = [("CP1", 0.0, 0.0, 0.0), ("1", 0.0, 0.0, 0.0)]
    assert near_check(points(rows)) == ["", "time not shown"]


def test_without_control_no_check_shot_is_near() -> None:
    gate = Gate(where=HERE, check_within_s=60.0)
    found = gate_doubts(gate, timed(), LengthUnit.METRE).tolist()
    assert found[0] == "no check shot on control in its session"
