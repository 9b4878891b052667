"""Tables of curves of an alignment, and stations in the habit of the job, through whole jobs.

Horizontal: hcurve-200-30 and hcurve-26deg. Vertical: vcurve-mahun-2, vcurve-mahun-4 and
vcurve-unequal-5888; what a source does not print (origin "computed") is left out here too.
"""

import math
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.course import station_text
from checker.report.numbers import station_texts
from checker.run import build
from checker.units import LengthUnit
from tests.support.lines import check, row, run, table, write

FOLDER = Path(__file__).parent / "geometry"
Case = dict[str, Any]
STAKES = (
    '[[stakeout]]\nname = "S"\nalignment = "A"\nmatch = "station"\n'
    'design = { stakes = "stakes.csv" }\ntolerance = "t"\n'
)


def case_of(name: str) -> Case:
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def printed(case: Case) -> dict[str, tuple[float, float]]:
    return {
        each["name"]: (each["value"], each["tol"])
        for each in case["expected"]
        if each.get("origin") != "computed" and not each.get("misprint")
    }


def head(unit: str) -> str:
    return (
        f'[job]\ntitle = "Published case"\nunit = "{unit}"\n'
        '[measured]\nfiles = ["shots.csv"]\n[tolerance.t]\nhorizontal = 1\n'
    )


def tables_of(folder: Path) -> dict[str, list[dict[str, Any]]]:
    found = check(run(folder), "S")
    return {each["key"]: each["rows"] for each in found["tables"]}


def arc_job(folder: Path, radius: float, delta: float, start: str, stakes: str) -> Path:
    length = radius * delta
    return write(
        folder,
        head("metre") + f'[alignment.A]\nelements = "a.csv"\nstart = {start}\n' + STAKES,
        a_csv=(
            "type,length,radius,northing,easting,azimuth\nline,100,,0,0,0\n"
            f"arc,{length!r},{radius},,,\nline,100,,,,\n"
        ),
        stakes_csv=stakes,
        shots_csv="id,northing,easting,elevation\nX,0,0,0\n",
    )


def test_the_elements_of_a_curve_of_26_degrees(tmp_path: Path) -> None:
    case = case_of("hcurve-26deg")
    wanted = printed(case)
    bc = case["inputs"]["bc_station"]
    folder = arc_job(
        tmp_path,
        case["inputs"]["R"],
        math.radians(26.0),
        f"{bc - 100}",
        "id,station,offset\nA,4200,0\n",
    )
    (curve,) = tables_of(folder)["curves"]
    for ours, theirs in (("chord", "LC"), ("length", "L"), ("tangent", "T")):
        assert curve[ours] == pytest.approx(wanted[theirs][0], abs=wanted[theirs][1])
    assert curve["begin_station"] == pytest.approx(bc)
    assert curve["turn"] == "right"
    assert curve["delta"] == pytest.approx(26.0)


def test_deflections_of_stakes_on_a_curve(tmp_path: Path) -> None:
    """The first and the sum of the deflections; the chords' own come from differences."""
    case = case_of("hcurve-200-30")
    wanted = printed(case)
    stations = [2206.0, 2220.0, 2240.0, 2260.0, 2280.0, 2300.0]
    stakes = table("id,station,offset", [(f"{each:g}", each, 0) for each in stations])
    stakes += f"EC,{2206 + 200 * math.radians(30.0):.6f},0\n"
    folder = arc_job(tmp_path, 200.0, math.radians(30.0), "2106", stakes)
    found = run(folder)
    at = [row(found, "S", f"{each:g}")["deflection"] for each in stations]
    end = row(found, "S", "EC")
    assert at[0] == pytest.approx(0.0, abs=1e-9)
    assert at[1] == pytest.approx(wanted["d_first"][0], abs=wanted["d_first"][1])
    for one, other in pairwise(at[1:]):
        assert other - one == pytest.approx(wanted["d_std"][0], abs=wanted["d_std"][1])
    # The sum of the printed rounded angles is 1" short of the exact 15 degrees; the note says so.
    assert end["deflection"] == pytest.approx(15.0, abs=1e-6)
    assert end["deflection"] == pytest.approx(wanted["d_sum"][0], abs=2 * wanted["d_sum"][1])
    assert end["arc_chord"] == pytest.approx(2 * 200 * math.sin(math.radians(15.0)), abs=1e-6)
    (curve,) = tables_of(folder)["curves"]
    assert curve["tangent"] == pytest.approx(wanted["T"][0], abs=wanted["T"][1])
    assert curve["length"] == pytest.approx(wanted["L"][0], abs=wanted["L"][1])
    assert curve["end_station"] == pytest.approx(wanted["ec"][0], abs=wanted["ec"][1])


def test_degree_of_curve_by_arc_and_by_chord(tmp_path: Path) -> None:
    """By definition (common practice, no source): 100 ft of arc, and a chord of 100 ft."""
    feet = 1000.0
    folder = arc_job(tmp_path, feet * 0.3048, 0.5, "0", "id,station,offset\nA,10,0\n")
    (curve,) = tables_of(folder)["curves"]
    assert curve["degree_arc"] == pytest.approx(math.degrees(100.0 / feet))
    assert curve["degree_chord"] == pytest.approx(2 * math.degrees(math.asin(50.0 / feet)))
    assert curve["external"] == pytest.approx(feet * 0.3048 * (1 / math.cos(0.25) - 1))
    assert curve["ordinate"] == pytest.approx(feet * 0.3048 * (1 - math.cos(0.25)))


@pytest.mark.parametrize("name", ["vcurve-mahun-2", "vcurve-mahun-4", "vcurve-unequal-5888"])
def test_a_vertical_curve_as_a_row(tmp_path: Path, name: str) -> None:
    case = case_of(name)
    given, wanted = case["inputs"], printed(case)
    g1, g2 = given["g1"] / 100, given["g2"] / 100
    before = given.get("L1", given.get("L", 0) / 2)
    behind = given.get("L2", given.get("L", 0) / 2)
    station = given.get("pvi_station", given.get("bvc_station", 0) + before)
    level = given.get("pvi_elev", given.get("bvc_elev", 0) + g1 * before)
    begin = station - before - 300
    points = [
        (begin, level - g1 * (before + 300), 0, 0),
        (station, level, before, behind),
        (station + behind + 300, level + g2 * (behind + 300), 0, 0),
    ]
    folder = write(
        tmp_path,
        head("foot")
        + f'[alignment.A]\nelements = "a.csv"\nstart = {begin}\nprofile = "p.csv"\n'
        + STAKES,
        a_csv=f"type,length,northing,easting,azimuth\nline,{before + behind + 600},0,0,0\n",
        p_csv=table("station,elevation,length_in,length_out", points),
        stakes_csv=table("id,station,offset", [("A", begin, 0)]),
        shots_csv="id,northing,easting,elevation\nX,0,0,0\n",
    )
    (curve,) = tables_of(folder)["vertical_curves"]
    assert curve["pvi_station"] == pytest.approx(station)
    assert curve["pvi_elevation"] == pytest.approx(level)
    assert curve["grade_in"] == pytest.approx(given["g1"])
    assert curve["grade_out"] == pytest.approx(given["g2"])
    assert curve["length"] == pytest.approx(before + behind)
    assert curve["begin_station"] == pytest.approx(station - before)
    assert curve["begin_elevation"] == pytest.approx(level - g1 * before)
    assert curve["end_elevation"] == pytest.approx(level + g2 * behind)
    assert curve["k"] == pytest.approx((before + behind) / abs(given["g2"] - given["g1"]))
    assert curve["turn"] in ("high", "low")
    if "bvc_elev" in wanted:
        assert curve["begin_elevation"] == pytest.approx(
            wanted["bvc_elev"][0], abs=wanted["bvc_elev"][1]
        )
    if "cvc_elev" in wanted:
        assert level + curve["ordinate"] == pytest.approx(
            wanted["cvc_elev"][0], abs=wanted["cvc_elev"][1]
        )
    # The extreme lies where the grade is nought: on the parabola, by its own equation.
    along, level_at = curve["turn_station"] - curve["begin_station"], curve["begin_elevation"]
    if along <= before:
        bend = 2.0 * curve["ordinate"] / before**2
        assert g1 + bend * along == pytest.approx(0.0, abs=1e-9)
        expected = level_at + g1 * along + bend * along**2 / 2.0
    else:
        back = curve["end_station"] - curve["turn_station"]
        bend = 2.0 * curve["ordinate"] / behind**2
        assert g2 - bend * back == pytest.approx(0.0, abs=1e-9)
        expected = curve["end_elevation"] - g2 * back + bend * back**2 / 2.0
    assert curve["turn_elevation"] == pytest.approx(expected, abs=1e-7)


def test_stations_print_in_the_habit_of_the_start() -> None:
    feet, metres = LengthUnit.FOOT, LengthUnit.METRE
    assert station_text(304.8, feet) == "10+00.00"
    assert station_text(304.8, feet, 3) == "1+000.00"
    assert station_text(1000.0, metres) == "1+000.000"
    assert station_text(1000.0, metres, 2) == "10+00.000"
    assert station_texts(np.array([1234.5, -5.0]), metres, 2) == ["12+34.500", "-0+05.000"]


@pytest.mark.parametrize(
    ("start", "shown"), [('"10+00"', "10+20.000"), ('"1+000"', "1+020.000"), ("1000", "1+020.000")]
)
def test_the_cut_sheet_has_the_habit_too(tmp_path: Path, start: str, shown: str) -> None:
    folder = write(
        tmp_path / "job",
        head("metre")
        + f'[alignment.A]\nelements = "a.csv"\nstart = {start}\nprofile = "p.csv"\n'
        + STAKES,
        a_csv="type,length,northing,easting,azimuth\nline,100,0,0,0\n",
        p_csv="station,elevation,length\n1000,5,0\n1100,6,0\n",
        stakes_csv="id,station,offset\nA,1020,0\n",
        shots_csv="id,northing,easting,elevation\nA,20,0,5\n",
    )
    build(folder, tmp_path / "out")
    sheet = (tmp_path / "out" / "cut-sheet.csv").read_text(encoding="utf-8")
    assert shown in sheet
    pages = "".join(each.read_text(encoding="utf-8") for each in (tmp_path / "out").rglob("*.html"))
    assert shown in pages
    other = {"10+20.000": "1+020.000", "1+020.000": "10+20.000"}[shown]
    assert other not in pages
