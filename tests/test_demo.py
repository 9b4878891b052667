"""The demonstration shows what it is there to show, and comes out the same every time."""

import csv
import hashlib
import html.parser
import importlib.metadata
import io
import json
import math
import os
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyproj import Proj, Transformer
from scipy.interpolate import LinearNDInterpolator

from checker.model.job import Labels
from checker.read.drawing import read_drawing
from checker.read.files import Source
from checker.run import check, document
from checker.units import LengthUnit
from tests import make_demo
from tests.make_demo import (
    COMBINED_FACTOR,
    CONTROL,
    CORNER,
    DRAWN_WITH,
    LIMIT,
    LOOP,
    ORIGIN,
    PAVEMENT,
    ROAD_HALF,
    ROAD_SET_OFF,
    ROAD_STAKES,
    ROAD_STATION,
    SITE_AZIMUTH,
    apron_level,
    road,
    road_level,
    site,
    stakes,
    to_grid,
    write_demo,
)

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "demo_job"
GOLDEN = ROOT / "tests" / "golden" / "demo"

Row = dict[str, Any]


@pytest.fixture(scope="module")
def results() -> dict[str, Any]:
    """Return results.json of the demonstration as a reader of the file gets it."""
    found: dict[str, Any] = json.loads(json.dumps(document(check(DEMO)), allow_nan=False))
    return found


def section(results: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(c for c in results["checks"] if c["name"] == name)
    return found


def row(results: dict[str, Any], name: str, point: str, *, superseded: bool = False) -> Row:
    rows = section(results, name)["rows"]
    (found,) = (r for r in rows if r["id"] == point and bool(r.get("superseded")) is superseded)
    return dict(found)


def table(name: str) -> list[dict[str, str]]:
    """Return a table of the demonstration, read without the checker."""
    lines = (DEMO / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


# --- the files ------------------------------------------------------------------------------------


def test_the_data_come_out_of_the_script(tmp_path: Path) -> None:
    write_demo(tmp_path)
    for made in sorted(tmp_path.iterdir()):
        kept = DEMO / made.name
        if made.suffix == ".dxf" and importlib.metadata.version("ezdxf") != DRAWN_WITH:
            drawings = [
                read_drawing(
                    Source(path=made.name, data=path.read_bytes()),
                    unit=LengthUnit.US_SURVEY_FOOT,
                    labels=Labels(),
                ).points
                for path in (made, kept)
            ]
            assert drawings[0].id.tolist() == drawings[1].id.tolist()
            assert drawings[0].northing_m.tolist() == drawings[1].northing_m.tolist()
            assert drawings[0].easting_m.tolist() == drawings[1].easting_m.tolist()
        else:
            assert made.read_bytes() == kept.read_bytes(), made.name


def test_the_job_names_the_very_drawing() -> None:
    sha256 = hashlib.sha256((DEMO / "design.dxf").read_bytes()).hexdigest()
    assert f'sha256 = "{sha256}"' in (DEMO / "job.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", sorted(DEMO.iterdir()), ids=lambda path: str(path.name))
def test_every_file_says_that_it_is_invented(path: Path) -> None:
    assert "invented" in path.read_text(encoding="utf-8").lower()


def test_the_invented_site_lies_on_the_real_grid() -> None:
    """Against PROJ's EPSG:6527: inside its area, and the grid part of the combined factor is right.

    The rest, two parts in a million, is an elevation factor for a few metres of height.
    """
    east, north = ORIGIN[1], ORIGIN[0]
    lon, lat = Transformer.from_crs("EPSG:6527", "EPSG:6318", always_xy=True).transform(east, north)
    assert -75.6 < lon < -73.88
    assert 38.87 < lat < 41.36
    scale = Proj("EPSG:6527").get_factors(lon, lat).meridional_scale
    assert abs(COMBINED_FACTOR - scale) < 4e-6


# --- what it shows --------------------------------------------------------------------------------


def test_every_verdict_occurs_and_most_is_good(results: dict[str, Any]) -> None:
    counts = results["counts"]
    assert results["verdict"] == "outside"
    assert all(counts[word] for word in ("within", "outside", "undecided", "unchecked"))
    assert counts["within"] > 0.75 * sum(counts.values())


HUBS = "Structure hubs"


@pytest.mark.parametrize(
    ("name", "point", "verdict", "words"),
    [
        (HUBS, "101", "within", ""),
        (HUBS, "110", "outside", "horizontal"),
        (HUBS, "110", "outside", "stands where revision B put it"),
        (HUBS, "116", "outside", ""),
        (HUBS, "121", "undecided", ""),
        (HUBS, "124", "unchecked", "not staked"),
        ("Crane anchor bolts", "201", "undecided", ""),
        ("Crane anchor bolts", "204", "undecided", ""),
        ("Fence posts", "309", "unchecked", "wire in the way"),
        ("Fence posts", "313", "undecided", "float"),
        ("Fence posts", "390", "unchecked", "no design point"),
        ("Force main hubs", "403", "within", ""),
        ("Force main hubs", "417", "unchecked", "not staked yet"),
        ("Rims as built", "503", "within", ""),
        ("Road, left edge", "704", "within", ""),
        ("Road, right edge", "715", "outside", "set on the other side"),
        ("Road, right edge", "716", "within", ""),
        ("Curb as poured", "806", "within", ""),
        ("Slope stakes of the road", "734", "within", ""),
        ("Slope stakes of the road", "735", "outside", "from the catch point"),
        ("Return into the lane", "823", "within", ""),
        ("Return into the lane", "whole arc", "within", ""),
        ("Columns of the building", "K1B-K1T", "within", ""),
        ("Columns of the building", "K3B-K3T", "outside", "out of plumb"),
        ("Apron subgrade", "964", "outside", "high"),
        ("Apron subgrade", "951", "within", ""),
        ("Building corners", "101-103", "within", ""),
        ("Crane bolts among themselves", "201-203", "within", ""),
        ("Generator slab", "slope", "within", ""),
        ("Gravity sewer", "603-604", "outside", "short of 0.40 %"),
        ("Gravity sewer", "602-603", "within", ""),
    ],
)
def test_a_point_gets_the_verdict_that_it_was_made_for(
    results: dict[str, Any], name: str, point: str, verdict: str, words: str
) -> None:
    found = row(results, name, point)
    assert (found["verdict"], words in found["reason"]) == (verdict, True), found["reason"]


def test_the_return_is_the_circle_of_its_formula(results: dict[str, Any]) -> None:
    """The demonstration's own arc, built 0.02 ft too large; shots are good to 0.01 ft."""
    found = next(each for each in results["checks"] if each["name"] == "Return into the lane")
    middle = make_demo.to_grid(*make_demo.site(*make_demo.curb_return(0.5)))
    (place,) = [each for each in found["tables"] if each["key"] == "arc"]
    rows = {each["id"]: each for each in place["rows"]}
    assert rows["middle"]["n"] == pytest.approx(middle[0], abs=1e-6)
    assert rows["middle"]["e"] == pytest.approx(middle[1], abs=1e-6)
    summary = found["summary"]
    assert summary["design_radius"] == pytest.approx(make_demo.RETURN_RADIUS, abs=1e-6)
    built = make_demo.BUILT_RADIUS
    assert abs(summary["radius"] - built) < 3 * summary["sigma_radius"]


def test_what_changed_since_the_revision_before_is_listed(results: dict[str, Any]) -> None:
    found = next(each for each in results["checks"] if each["name"] == "Rims as built")
    (table_of,) = [each for each in found["tables"] if each["key"] == "changes"]
    (moved,) = table_of["rows"]
    assert (moved["id"], moved["change"]) == ("504", "moved in height")
    assert moved["dz"] == pytest.approx(0.15, abs=1e-9)


def test_a_stake_set_again_shows_both_shots(results: dict[str, Any]) -> None:
    first = row(results, "Force main hubs", "403", superseded=True)
    assert first["horizontal"] > 0.4
    assert row(results, "Force main hubs", "403")["horizontal"] < 0.05


def test_a_rim_is_close_to_its_limit(results: dict[str, Any]) -> None:
    found = row(results, "Rims as built", "503")
    assert found["close"] is True
    assert 0.08 < found["horizontal"] <= 0.10


def test_what_no_check_compared_is_listed(results: dict[str, Any]) -> None:
    """The shot that is set aside, the one without a design, and three on the ground."""
    measured = results["measured"]
    days = [f"rover-{day}.csv" for day in ("proof", "day1", "day2", "day3", "road", "slopes")]
    assert measured["count"] == sum(len(table(day)) for day in days)
    assert measured["unused"] == ["309", "390", "901", "902", "903"]


def test_the_rover_was_tested_and_its_accuracy_stated(results: dict[str, Any]) -> None:
    """The statement's numbers by hand, from the tables as they stand."""
    known = {each["id"]: each for each in table("check-points.csv")}
    shots = [each for each in table("rover-proof.csv") if each["id"] in known]
    statement = section(results, "Ground shots against check points")
    assert statement["verdict"] == "within"
    assert len(shots) == len(known) == 22
    off = np.array(
        [
            [float(shot[axis]) - float(known[shot["id"]][axis]) for shot in shots]
            for axis in ("northing", "easting", "elevation")
        ]
    )
    n, e, z = np.sqrt(np.mean(off**2, axis=1))
    summary = statement["summary"]
    assert summary["accuracy_horizontal_95"] == pytest.approx(2.4477 * 0.5 * (n + e), rel=1e-4)
    assert summary["accuracy_vertical_95"] == pytest.approx(1.96 * z, rel=1e-4)
    assert any(text.startswith("Tested 0.0") for text in statement["remarks"])
    rover = section(results, "Rover before the work")
    assert (rover["summary"]["series"], rover["summary"]["sets"]) == (3, 15)
    assert rover["verdict"] == "within"


@pytest.mark.parametrize("name", ["control", "Control loop", "Bench mark run"])
def test_the_control_holds(results: dict[str, Any], name: str) -> None:
    assert section(results, name)["verdict"] == "within"


def test_one_repeat_of_six_fails_a_day_apart(results: dict[str, Any]) -> None:
    rows = section(results, "Hubs shot again next day")["rows"]
    verdicts = sorted(r["verdict"] for r in rows)
    assert verdicts == ["outside"] + ["within"] * 5
    assert all(24 < r["apart_h"] < 30 for r in rows)


def test_what_a_plain_comparison_would_pass_is_explained_in_two_sentences(
    results: dict[str, Any],
) -> None:
    found = row(results, HUBS, "121")
    assert found["horizontal"] < 0.08
    assert abs(found["dz"]) < 0.10
    assert found["verdict"] == "undecided"
    (text,) = (each for each in section(results, HUBS)["remarks"] if "bare number" in each)
    assert text.startswith("By the bare number 121 is inside its tolerance, ")
    assert len(re.findall(r"[a-z]\.(?: |$)", text)) == 2


def test_the_site_fit_finds_grid_on_grid(results: dict[str, Any]) -> None:
    fit = section(results, "site_fit")
    assert fit["verdict"] == "within"
    assert abs(fit["summary"]["scale_ppm"]) < 40.0
    assert all("none, as from grid to grid" in text for text in fit["remarks"] if "agrees" in text)
    assert any("shown only" in text for text in fit["remarks"])


# --- the same by other arithmetic -----------------------------------------------------------------


def test_the_deltas_are_those_of_plain_arithmetic(results: dict[str, Any]) -> None:
    """Independent: the design of the script, brought to grid, against the tables, in feet."""
    shots = {r["id"]: r for r in [*table("rover-day1.csv"), *table("rover-day2.csv")]}
    compared = 0
    for stake in stakes():
        shot = shots.get(str(stake.id))
        if shot is None:
            continue
        for found in (r for c in results["checks"] for r in c["rows"]):
            if found["id"] != str(stake.id) or found.get("dn") is None or found.get("superseded"):
                continue
            if found.get("design_n") is None:
                continue
            n, e = to_grid(stake.n, stake.e)
            # The drawing holds coordinates to 1e-12 of their size at best, the table thousandths.
            assert found["dn"] == pytest.approx(float(shot["northing"]) - n, abs=1e-8)
            assert found["de"] == pytest.approx(float(shot["easting"]) - e, abs=1e-8)
            if stake.z is not None:
                dz = float(shot["elevation"]) - stake.z
                assert found["dz"] == pytest.approx(dz, abs=1e-8)
            compared += 1
    assert compared >= 60


def test_the_subgrade_is_that_of_the_script(results: dict[str, Any]) -> None:
    """Independent: the apron's formula at the shot's place in the site's axes, less the pavement.

    The faces' corners are rounded to a ten-thousandth of a foot.
    """
    shots = {r["id"]: r for r in table("rover-day3.csv")}
    cos, sin = math.cos(SITE_AZIMUTH), math.sin(SITE_AZIMUTH)
    compared = 0
    for found in section(results, "Apron subgrade")["rows"]:
        shot = shots[found["id"]]
        n = ORIGIN[0] + (float(shot["northing"]) - ORIGIN[0]) / COMBINED_FACTOR - CORNER[0]
        e = ORIGIN[1] + (float(shot["easting"]) - ORIGIN[1]) / COMBINED_FACTOR - CORNER[1]
        level = apron_level(n * cos + e * sin, n * sin - e * cos) - PAVEMENT
        assert found["design_z"] == pytest.approx(level, abs=2e-4)
        assert found["dz"] == pytest.approx(float(shot["elevation"]) - level, abs=2e-4)
        compared += 1
    assert compared == 18


def test_the_volume_is_that_of_a_fine_grid(results: dict[str, Any]) -> None:
    """Independent: interpolated by scipy, less the apron's formula, on cells of 0.25 ft."""
    shots = {r["id"]: r for r in table("rover-day3.csv")}
    cos, sin = math.cos(SITE_AZIMUTH), math.sin(SITE_AZIMUTH)
    places, heights = [], []
    for found in section(results, "Apron subgrade")["rows"]:
        shot = shots[found["id"]]
        n = ORIGIN[0] + (float(shot["northing"]) - ORIGIN[0]) / COMBINED_FACTOR - CORNER[0]
        e = ORIGIN[1] + (float(shot["easting"]) - ORIGIN[1]) / COMBINED_FACTOR - CORNER[1]
        places.append((n * cos + e * sin, n * sin - e * cos))
        heights.append(float(shot["elevation"]))
    (x0, y0), _, (x1, y1), _ = LIMIT
    cell = 0.25
    x, y = np.meshgrid(np.arange(x0, x1, cell) + cell / 2, np.arange(y0, y1, cell) + cell / 2)
    ground = LinearNDInterpolator(np.array(places), np.array(heights))(x, y)
    design = np.array([[apron_level(a, b) for a in x[0]] for b in y[:, 0]]) - PAVEMENT
    over = ground - design
    summary = section(results, "Apron subgrade")["summary"]
    assert summary["volume_area"] == pytest.approx((x1 - x0) * (y1 - y0), rel=1e-6)
    assert summary["cut_volume"] == pytest.approx(over[over > 0].sum() * cell**2, rel=0.01)
    assert summary["fill_volume"] == pytest.approx(-over[over < 0].sum() * cell**2, rel=0.01)


def test_the_sewer_falls_as_plain_arithmetic_says(results: dict[str, Any]) -> None:
    shots = {r["id"]: r for r in table("rover-day3.csv")}
    for found in section(results, "Gravity sewer")["rows"]:
        upper, lower = (shots[name] for name in found["id"].split("-"))
        fall = float(upper["elevation"]) - float(lower["elevation"])
        run = math.dist(
            *((float(shot["northing"]), float(shot["easting"])) for shot in (upper, lower))
        )
        assert found["fall"] == pytest.approx(fall, abs=1e-9)
        run /= COMBINED_FACTOR  # the drawing is on ground, and so are the pipes
        assert found["length"] == pytest.approx(run, abs=1e-9)
        if found["grade_measured"] is not None:
            assert found["grade_measured"] == pytest.approx(100.0 * fall / run, abs=1e-8)


def test_the_sides_of_the_building_are_those_that_are_drawn(results: dict[str, Any]) -> None:
    rows = {found["id"]: found for found in section(results, "Building corners")["rows"]}
    for pair, drawn in (("101-102", 32.0), ("102-103", 22.0), ("101-103", math.hypot(32.0, 22.0))):
        assert rows[pair]["design_distance"] == pytest.approx(drawn, abs=2e-4)


def test_the_road_lies_where_its_own_formula_puts_it(results: dict[str, Any]) -> None:
    """Independent: the road of the script, line, arc and line by sines, and its parabola."""
    half, off = ROAD_HALF, ROAD_SET_OFF
    for side, away in (("left", -off), ("right", off)):
        for number, length, offset in ROAD_STAKES[side]:
            found = row(results, f"Road, {side} edge", str(number))
            n, e = to_grid(*site(*road(length, offset + away)))
            # Stations have two decimals, the drawing's coordinates all of theirs.
            assert found["design_n"] == pytest.approx(n, abs=1e-6)
            assert found["design_e"] == pytest.approx(e, abs=1e-6)
            assert found["design_z"] == pytest.approx(road_level(length, offset), abs=1e-6)
            assert found["design_station"] == pytest.approx(ROAD_STATION + length, abs=1e-6)
            assert found["feature_offset"] == pytest.approx(offset, abs=1e-6)
    for number in range(801, 813):
        found = row(results, "Curb as poured", str(number))
        length = found["station"] - ROAD_STATION
        assert found["design_z"] == pytest.approx(road_level(length, half), abs=1e-6)
        n, e = to_grid(*site(*road(length, half)))
        gap = math.hypot(found["measured_n"] - n, found["measured_e"] - e) / COMBINED_FACTOR
        assert abs(found["across"]) == pytest.approx(gap, abs=1e-8)


def test_the_cut_sheet_has_stations_and_sides(report: dict[str, bytes]) -> None:
    rows = {r["id"]: r for r in csv.DictReader(io.StringIO(report["cut-sheet.csv"].decode()))}
    assert rows["704"]["station"].startswith(("11+54.", "11+55."))
    assert rows["704"]["offset"].startswith(("L 16.9", "L 17.0"))
    assert rows["715"]["offset"].startswith(("R 4.9", "R 5.0"))
    assert f"  {rows['704']['cut_fill_ft']}  to the feature R 6.0" in rows["704"]["lath"]
    assert rows["715"]["lath"] == "HOLD"  # set on the other side
    # what was poured is no stake
    assert (rows["806"]["lath"], rows["806"]["as_built"]) == ("", "yes")
    assert [rows[name]["as_built"] for name in ("503", "704", "201")] == ["yes", "", "yes"]
    page = report["cut-sheet.html"].decode()
    assert ">715</th>" in page
    assert "12+00." in page


def test_what_to_do_suits_what_was_found(report: dict[str, bytes]) -> None:
    page = report["index.html"].decode()
    start = page.index('<table class="plain attention">')
    rows = re.findall(r"<tr>(.*?)</tr>", page[start : page.index("</table>", start)], re.DOTALL)
    to_do = {}
    for each in rows[1:]:
        cells = [re.sub(r"<[^>]*>", "", cell) for cell in re.findall(r"<t[hd].*?</t[hd]>", each)]
        to_do[cells[0]] = cells[4]
    assert to_do["K3B-K3T"].startswith("Hold. Plumb it again from two sides")
    assert "re-lay it" in to_do["603-604"]
    # the notes say that it leans, the diagnosis that it follows another revision
    assert to_do["110"].startswith("Hold. Find out which revision it was set from, or whether")
    assert "Pull the stake" in to_do["715"]


def test_the_traverse_closes_by_complex_numbers_too(results: dict[str, Any]) -> None:
    """Independent: directions as unit complex numbers, north real; angles shared first."""
    rows = table("traverse.csv")
    at = {i: complex(n, e) for i, n, e, _, _ in CONTROL}
    angles = []
    for entry in rows:
        d, m, s = (int(part) for part in entry["angle"].split("-"))
        angles.append(math.radians(d + m / 60 + s / 3600))

    def turn(angle: float) -> complex:
        return complex(math.cos(angle), math.sin(angle))

    first = at["CP6"] - at["CP1"]
    first /= abs(first)
    direction = first
    for angle in angles:
        direction = direction * turn(angle) * (1 if angle is angles[-1] else -1)
    misclosure = math.atan2((direction / first).imag, (direction / first).real)

    place, direction = at["CP1"], first
    length = 0.0
    for entry, angle in zip(rows[: len(LOOP)], angles, strict=False):
        direction *= turn(angle - misclosure / len(angles))
        place += float(entry["distance"]) * direction
        length += float(entry["distance"])
        direction = -direction
    gap = abs(place - at["CP1"])

    summary = section(results, "Control loop")["summary"]
    assert summary["angular_misclosure_arcsec"] == pytest.approx(
        math.degrees(misclosure) * 3600, abs=1e-4
    )
    assert summary["misclosure"] == pytest.approx(gap, abs=1e-7)
    assert summary["length"] == pytest.approx(length, abs=1e-9)
    assert summary["ratio"] == pytest.approx(length / gap, rel=1e-4)


def test_the_level_run_closes_by_its_sums(results: dict[str, Any]) -> None:
    rows = table("levels.csv")
    back = math.fsum(float(r["bs"]) for r in rows if r["bs"])
    fore = math.fsum(float(r["fs"]) for r in rows if r["fs"])
    summary = section(results, "Bench mark run")["summary"]
    assert summary["misclosure"] == pytest.approx(back - fore, abs=1e-9)
    assert summary["distance"] == pytest.approx(sum(float(r["distance"] or 0) for r in rows))
    assert summary["setups"] == sum(1 for r in rows if r["bs"])


def test_the_lot_closes_and_encloses_what_complex_numbers_give(results: dict[str, Any]) -> None:
    """Independent: courses as complex numbers, the rounded corner as a quarter of a circle."""
    step = []
    for entry in table("lot.csv"):
        text = entry["bearing"] or entry["chord bearing"]
        d, m, s = (int(part) for part in text[2:-2].split("-"))
        turned = math.radians(d + m / 60 + s / 3600)
        length = float(entry["distance"] or 0) or 25.0 * math.sqrt(2.0)
        north = math.cos(turned) * (1 if text[0] == "N" else -1)
        east = math.sin(turned) * (1 if text[-1] == "E" else -1)
        step.append(length * complex(north, east))
    place = [complex(0, 0)]
    for each in step:
        place.append(place[-1] + each)
    double = sum((a.conjugate() * b).imag for a, b in pairwise(place))
    area = abs(double) / 2 + 25.0**2 * (math.pi / 2 - 1) / 2
    summary = section(results, "Lift station lot")["summary"]
    assert summary["misclosure"] == pytest.approx(abs(place[-1]), abs=1e-9)
    # The angle is written as 90-00-00 and the arc as 39.27, a hair too long: the angle leads.
    assert summary["area"] == pytest.approx(area, abs=1e-6)


# --- the same every time --------------------------------------------------------------------------


def build(target: Path, **environment: str) -> dict[str, bytes]:
    done = subprocess.run(
        [sys.executable, "-m", "checker", "build", str(DEMO), "--out", str(target)],
        cwd=ROOT,
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1, done.stderr
    return {
        path.relative_to(target).as_posix(): path.read_bytes()
        for path in sorted(target.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return build(tmp_path_factory.mktemp("one") / "report", PYTHONHASHSEED="1", TZ="UTC")


def test_two_builds_are_the_same_bytes(report: dict[str, bytes], tmp_path: Path) -> None:
    other = build(tmp_path / "other", PYTHONHASHSEED="77", TZ="Pacific/Apia", LC_ALL="C")
    assert report == other


def test_the_report_names_no_place_of_this_machine(report: dict[str, bytes]) -> None:
    for name, content in report.items():
        assert str(ROOT).encode() not in content, name
        assert str(Path.home()).encode() + b"/" not in content, name


def test_the_manifest_names_every_other_file(report: dict[str, bytes]) -> None:
    manifest = json.loads(report["manifest.json"])
    listed = {entry["path"]: (entry["bytes"], entry["sha256"]) for entry in manifest["files"]}
    there = {
        name: (len(content), hashlib.sha256(content).hexdigest())
        for name, content in report.items()
        if name != "manifest.json"
    }
    assert listed == there


class Words(html.parser.HTMLParser):
    """Collects what a page says, a line a block, without figures, style and script."""

    def __init__(self) -> None:
        super().__init__()
        self.skipping = 0
        self.lines: list[str] = [""]

    def handle_starttag(self, tag: str, _attrs: list[tuple[str, str | None]]) -> None:
        self.skipping += tag in {"svg", "style", "script"}
        if tag in {"p", "li", "tr", "h1", "h2", "h3", "dt", "section", "div", "caption"}:
            self.lines.append("")

    def handle_endtag(self, tag: str) -> None:
        self.skipping -= tag in {"svg", "style", "script"}

    def handle_data(self, data: str) -> None:
        if not self.skipping:
            self.lines[-1] += f" {data}"

    @classmethod
    def of(cls, page: bytes) -> str:
        words = cls()
        words.feed(page.decode())
        lines = (re.sub(r"\s+", " ", line).strip() for line in words.lines)
        return "\n".join(line for line in lines if line) + "\n"


def goldens(report: dict[str, bytes]) -> dict[str, str]:
    return {
        "results.json": json.dumps(json.loads(report["results.json"]), indent=1) + "\n",
        "cut-sheet.csv": report["cut-sheet.csv"].decode(),
        "index.txt": Words.of(report["index.html"]),
    }


@pytest.mark.parametrize("name", ["results.json", "cut-sheet.csv", "index.txt"])
def test_the_report_is_the_one_that_was_looked_at(
    report: dict[str, bytes], name: str, request: pytest.FixtureRequest
) -> None:
    found, kept = goldens(report)[name], GOLDEN / name
    if request.config.getoption("--update-golden"):
        GOLDEN.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(found.encode())
        return
    golden = kept.read_bytes().decode()
    if name == "results.json":
        assert _same(json.loads(found), json.loads(golden)) or found == golden
    else:
        assert found == golden


def _same(found: object, golden: object) -> bool:
    """Compare two documents; another processor may round the last bits of a sine otherwise."""
    if isinstance(found, float) and isinstance(golden, int | float):
        return math.isclose(found, golden, rel_tol=1e-9, abs_tol=1e-7)
    if isinstance(found, list) and isinstance(golden, list):
        return len(found) == len(golden) and all(map(_same, found, golden))
    if isinstance(found, dict) and isinstance(golden, dict):
        same_keys = list(found) == list(golden)
        return same_keys and all(_same(found[key], golden[key]) for key in found)
    return found == golden
