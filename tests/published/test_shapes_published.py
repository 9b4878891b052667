"""Printed grades, inverts, spot elevations and planes, reached through whole job files.

The cases stand in geometry/ and accuracy/ with their sources; `test_geometry_published.py` holds
the bare formulas against them, this module what a user's job would give.
"""

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.support.shapes import Place, by_id, only_check, table, write_job

FOLDER = Path(__file__).parent


def case(name: str) -> dict[str, Any]:
    (path,) = FOLDER.glob(f"*/{name}.toml")
    return tomllib.loads(path.read_text(encoding="utf-8"))


def printed(found: dict[str, Any], name: str) -> tuple[float, float]:
    """Return a printed value with the tolerance of its digits."""
    row = next(row for row in found["expected"] if row["name"] == name)
    return row["value"], row["tol"]


def test_inverts_of_a_sewer_stakeout(tmp_path: Path) -> None:
    """US Navy, NAVEDTRA 14070, figure 10-19: 2.18 % from 122.87 over 50 ft gives 121.78."""
    sewer = case("stake-sewer-invert-cuts")
    given, expected = sewer["inputs"], sewer["expected"]
    far = given["stations"][0] - given["stations"][1]
    upper, lower = expected["inverts"]
    shots: list[Place] = [("9+00", 0.0, 0.0, upper), ("8+50", -far, 0.0, lower)]
    section = (
        '[[pipe]]\nname = "sewer"\nruns = [["9+00", "8+50"]]\n'
        f'minimum_grade = "{given["grade_pct"] - 0.01} %"\n'
        f'maximum_grade = "{given["grade_pct"] + 0.01} %"\n'
    )
    found = only_check(write_job(tmp_path, section, unit="foot", m_csv=table(shots)))
    row = by_id(found)["9+00-8+50"]
    # The lower invert is printed to a hundredth: half of it over 50 ft is a hundredth of a percent.
    assert row["grade_measured"] == pytest.approx(given["grade_pct"], abs=100 * 0.005 / far)
    assert row["verdict"] == "within"
    exact = [("9+00", 0.0, 0.0, upper), ("8+50", -far, 0.0, upper - given["grade_pct"] / 100 * far)]
    again = only_check(write_job(tmp_path / "b", section, unit="foot", m_csv=table(exact)))
    row = by_id(again)["9+00-8+50"]
    assert row["invert_lower"] == pytest.approx(lower, abs=sewer["tolerance"]["abs"])
    assert row["grade_measured"] == pytest.approx(2.18, abs=1e-9)


def test_cuts_to_the_inverts_by_a_surface(tmp_path: Path) -> None:
    """The same figure: hubs at 126.94 and 127.33 stand C 4.07 and C 5.55 above the inverts.

    The inverts are a plane that rises with the station, given as a table of corners and faces.
    """
    sewer = case("stake-sewer-invert-cuts")
    given, expected = sewer["inputs"], sewer["expected"]
    rise = given["grade_pct"] / 100.0

    def invert(station: float) -> float:
        return float(given["invert_upstream"] + rise * (station - given["stations"][0]))

    corners: list[Place] = [
        ("1", 800.0, -5.0, invert(800.0)),
        ("2", 800.0, 5.0, invert(800.0)),
        ("3", 1000.0, 0.0, invert(1000.0)),
    ]
    hubs: list[Place] = [
        (f"H{number}", station, 0.0, top)
        for number, (station, top) in enumerate(
            zip(given["stations"], given["hub_tops"], strict=True)
        )
    ]
    folder = write_job(
        tmp_path,
        '[[surface]]\nname = "inverts"\ndesign = { points = "p.csv", faces = "f.csv" }\n'
        "tolerance = { vertical = 9 }\n",
        unit="foot",
        m_csv=table(hubs),
        p_csv=table(corners),
        f_csv="a,b,c\n1,2,3\n",
    )
    rows = by_id(only_check(folder))
    for number, (mark, cut) in enumerate(zip(expected["marks"], expected["cuts"], strict=True)):
        assert rows[f"H{number}"]["cut_fill"] == mark
        assert rows[f"H{number}"]["dz"] == pytest.approx(cut, abs=sewer["tolerance"]["abs"])


def test_spot_elevations_of_two_percent(tmp_path: Path) -> None:
    """Landscape site grading principles, figure 10.20: 34.4, 34.0 and 33.04 on one line of 2 %.

    Two more shots beside the line, level across it, make a plane of it.
    """
    spot = case("stake-spot-elevation-2pct")
    given, expected = spot["inputs"], spot["expected"]
    far_e, far_c = given["dist_AE"], given["dist_AC"]
    shots: list[Place] = [
        ("A", 0.0, 0.0, expected["elev_A"]),
        ("E", 0.0, far_e, given["elev_E"]),
        ("C", 0.0, far_c, expected["elev_C"]),
        ("A2", 10.0, 0.0, expected["elev_A"]),
        ("C2", 10.0, far_c, expected["elev_C"]),
    ]
    section = (
        '[[plane]]\nname = "walk"\nslope = "2 %"\ndirection = 90\n'
        'tolerance = { slope = "0.001 %", vertical = "0.001 ft" }\n'
    )
    found = only_check(write_job(tmp_path, section, unit="foot", m_csv=table(shots)))
    rows = by_id(found)
    assert rows["slope"]["slope_measured"] == pytest.approx(100.0 * given["slope"], abs=1e-9)
    assert rows["crossfall"]["slope_measured"] == pytest.approx(0.0, abs=1e-9)
    assert found["verdict"] == "within"


def test_height_of_a_point_on_a_plane(tmp_path: Path) -> None:
    """Question-and-answer site: a plane through three points is 17/5 at (8, 4), 5 at (10, 10)."""
    plane = case("plane-se-e")
    given = plane["inputs"]
    # The source's coordinates are (x, y, z); x is taken for the easting.
    corners: list[Place] = [(str(i), y, x, z) for i, (x, y, z) in enumerate(given["points"])]
    corners.append(("3", given["fourth"][1], given["fourth"][0], given["fourth"][2]))
    x, y = given["query"]
    left, right = (printed(plane, name)[0] for name in ("left_edge", "right_edge"))
    shots: list[Place] = [
        ("Q", y, x, printed(plane, "z")[0]),
        ("L", y, 0.0, left),
        ("R", y, 10.0, right),
        ("F", 10.0, 10.0, printed(plane, "fourth")[0]),
    ]
    folder = write_job(
        tmp_path,
        '[[surface]]\nname = "plane"\ndesign = { points = "p.csv", faces = "f.csv" }\n'
        'tolerance = { vertical = "0.1 mm" }\n',
        m_csv=table(shots),
        p_csv=table(corners),
        f_csv="a,b,c\n0,1,2\n1,3,2\n",
    )
    found = only_check(folder)
    assert found["verdict"] == "within"
    rows = by_id(found)
    # Printed as fractions, so exact: 17/5, 9/5, 19/5.
    for name, value in (("Q", 17 / 5), ("L", 9 / 5), ("R", 19 / 5), ("F", 5.0)):
        assert rows[name]["design_z"] == pytest.approx(value, abs=1e-12)


def test_pile_spacings_of_a_pier(tmp_path: Path) -> None:
    """Foundation positions of pier P27-02: three piles of a square, turned by the pier's azimuth.

    The plan is the pier's own axes, along and to the right, before they are turned.
    """
    pier = case("setout-pier-piles")
    given = pier["inputs"]
    plan: list[Place] = [
        (str(number), along, right, None)
        for number, (along, right) in enumerate(
            zip(given["chainage_offset_m"], given["lateral_offset_m"], strict=True), 1
        )
    ]
    shots: list[Place] = [
        (str(number), n, e, None) for number, (n, e) in enumerate(pier["expected"]["piles"], 1)
    ]
    section = (
        '[[relative]]\nname = "piles"\ngroup = { id = ["1", "2", "3"] }\n'
        'tolerance = { distance = "0.01 mm" }\n'
    )
    found = only_check(write_job(tmp_path, section, d_csv=table(plan), m_csv=table(shots)))
    rows = by_id(found)
    assert rows["1-2"]["measured_distance"] == pytest.approx(7.5, abs=1e-6)
    assert rows["2-3"]["measured_distance"] == pytest.approx(7.5, abs=1e-6)
    assert rows["1-3"]["measured_distance"] == pytest.approx(7.5 * math.sqrt(2.0), abs=1e-6)
    assert found["verdict"] == "within"
    # Along the pier's azimuth, then to its right: the plan is turned by that azimuth clockwise.
    turned = found["summary"]["rotation_arcsec"] / 3600.0
    assert turned == pytest.approx(given["azimuth_deg"], abs=1e-6)


def test_the_tolerances_of_anchor_rods_as_they_are_quoted() -> None:
    """AISC 303, 7.5.1, SEEN through quotations: an eighth of an inch within a group.

    It is not a table of ours, only what a user may state: the text is read to the exact length.
    """
    from checker.formulas import parse_formula
    from checker.units import LengthUnit

    quoted = tomllib.loads(
        (FOLDER / "accuracy" / "tol-aisc303-anchor-rods.toml").read_text(encoding="utf-8")
    )
    assert quoted["status"] == "SEEN"
    for text, name in (
        ("1/8 in", "within_group_center_to_center"),
        ("1/4 in", "between_adjacent_groups"),
        ("1 in", "accumulated_per_column_line"),
    ):
        limit = parse_formula(text, "length", LengthUnit.FOOT)
        assert limit.constant == pytest.approx(quoted["expected"][name] * 0.0254, rel=1e-15)
