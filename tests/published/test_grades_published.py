"""Worked examples of grade stakes, grades and points of intersection, through whole job folders.

The cases stand in geometry/ with their sources. Rod readings become elevations below a plane of
sight at 100, which is what a crew reduces them to; the program sees elevations alone.
"""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.support.lines import check, row, run, table, write
from tests.support.shapes import by_id, only_check, write_job
from tests.support.shapes import table as places

FOLDER = Path(__file__).parent / "geometry"
Case = dict[str, Any]
SIGHT = 100.0
HEAD = "id,northing,easting,elevation"


def case_of(name: str) -> Case:
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def test_cut_at_a_hub_and_what_remains_at_the_ground(tmp_path: Path) -> None:
    """The rod that finds grade is the hub's and its cut; what remains is that less the ground's."""
    case = case_of("stake-checking-grade")
    given, expected = case["inputs"], case["expected"]
    design, shots = [], []
    for number, (each, target) in enumerate(
        zip(given["cases"], expected["target_rod"], strict=True)
    ):
        for name, rod in (("hub", each["hub_rod"]), ("ground", each["ground_rod"])):
            place = (f"{name}{number}", 10.0 * number, 0.0 if name == "hub" else 5.0)
            design.append((*place, SIGHT - target))
            shots.append((*place, SIGHT - rod))
    write(
        tmp_path,
        '[job]\ntitle = "Published case"\nunit = "foot"\n[design]\npoints = "d.csv"\n'
        '[measured]\nfiles = ["m.csv"]\n[[stakeout]]\nname = "S"\ntolerance = { vertical = 9 }\n',
        d_csv=table(HEAD, design),
        m_csv=table(HEAD, shots),
    )
    found = run(tmp_path)
    for number, (each, left, words) in enumerate(
        zip(given["cases"], expected["remaining"], expected["words"], strict=True)
    ):
        assert row(found, "S", f"hub{number}")["dz"] == pytest.approx(each["stake_cut"])
        ground = row(found, "S", f"ground{number}")
        assert ground["dz"] == pytest.approx(left, abs=case["tolerance"]["abs"])
        letter, size = ground["cut_fill"].split()
        assert (letter, float(size)) == (words[0].upper(), float(words.split()[1]))


def pipe(folder: Path, shots: list[tuple[str, float, float, float | None]]) -> dict[str, Any]:
    """Return the rows of runs from the first shot to every other, by the second's number."""
    runs = ", ".join(f'["{shots[0][0]}", "{name}"]' for name, *_ in shots[1:])
    section = f'[[pipe]]\nname = "S"\nruns = [{runs}]\nminimum_grade = "0.1 %"\n'
    write_job(folder, section, unit="foot", d_csv=places(shots), m_csv=places(shots))
    return {key.rpartition("-")[2]: each for key, each in by_id(only_check(folder)).items()}


def test_a_gradient_as_a_ratio(tmp_path: Path) -> None:
    """The source rounds the miles first, and the feet per mile; 5280 ft to the mile."""
    case = case_of("stake-gradient-ratio")
    given, expected, slack = case["inputs"], case["expected"], case["tolerance"]
    feet = expected["miles"] * 5280.0
    shots = [("A", 0.0, 0.0, given["elev_a"]), ("B", feet, 0.0, given["elev_b"])]
    grade = pipe(tmp_path, shots)["B"]["grade_measured"] / 100.0
    assert grade * 5280.0 == pytest.approx(expected["ft_per_mile"], abs=slack["ft_per_mile"])
    exact = given["map_inches"] * given["scale"] / 12.0 / 5280.0
    assert exact == pytest.approx(expected["miles"], abs=slack["miles"])


def test_spot_elevations_on_a_slope(tmp_path: Path) -> None:
    case = case_of("stake-spot-elevation-2pct")
    given, expected, slack = case["inputs"], case["expected"], case["tolerance"]["abs"]
    shots = [
        ("A", 0.0, 0.0, expected["elev_A"]),
        ("E", given["dist_AE"], 0.0, given["elev_E"]),
        ("C", 0.0, given["dist_AC"], expected["elev_C"]),
    ]
    rows = pipe(tmp_path, shots)
    for to, fall in (("E", expected["dV_AE"]), ("C", expected["dV_AC"])):
        assert rows[to]["fall"] == pytest.approx(fall, abs=slack)
        assert rows[to]["grade_measured"] == pytest.approx(100.0 * given["slope"], abs=slack)


@pytest.mark.parametrize("name", ["spiral-cn-jd1", "spiral-cn-jd4"])
def test_a_curve_with_spirals_from_its_point_of_intersection(tmp_path: Path, name: str) -> None:
    """From the coordinates of three PIs, radius and spirals to the printed stations."""
    case = case_of(name)
    given = case["inputs"]
    wanted = {each["name"]: (each["value"], each["tol"]) for each in case["expected"]}
    section = '[[stakeout]]\nname = "S"\nalignment = "A"\nmatch = "line"\ntolerance = "t"\n'
    rows = [(*given["prev"], "", ""), (*given["pi"], given["R"], given["Ls"])]
    before = sum((a - b) ** 2 for a, b in zip(given["pi"], given["prev"], strict=True)) ** 0.5
    start = given["pi_station"] - before
    write(
        tmp_path,
        '[job]\ntitle = "Published case"\nunit = "metre"\n[measured]\nfiles = ["shots.csv"]\n'
        "[tolerance.t]\nhorizontal = 1\n"
        f'[alignment.A]\nintersections = "pis.csv"\nstart = {start!r}\n' + section,
        pis_csv=table("northing,easting,radius,spiral", [*rows, (*given["next"], "", "")]),
        shots_csv=table("id,northing,easting", [("PI", *given["pi"])]),
    )
    found = run(tmp_path)
    side = -1.0 if given["turn"] == "right" else 1.0
    middle = row(found, "S", "PI")
    assert middle["offset"] == pytest.approx(side * wanted["E"][0], abs=wanted["E"][1])
    assert middle["station"] == pytest.approx(wanted["st.MID"][0], abs=0.0011)
    (curve,) = next(each["rows"] for each in check(found, "S")["tables"] if each["key"] == "curves")
    assert curve["length"] == pytest.approx(wanted["Ly"][0], abs=wanted["Ly"][1])
    assert curve["radius"] == pytest.approx(given["R"])
