"""Worked examples of curves and profiles, through whole job folders.

The cases stand in geometry/ with their sources; tests/published/test_geometry_published.py takes
them to the formulas, this module to the job file: tables of elements, profiles and stakes in,
results.json out. Values whose origin is "computed" are not printed in the source and are left out;
one marked "differs" is off by less than a unit of its last digit in the source itself.
"""

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.support.lines import check, figure, row, run, table, write

FOLDER = Path(__file__).parent / "geometry"
Case = dict[str, Any]
STAKES = (
    '[[stakeout]]\nname = "S"\nalignment = "A"\nmatch = "station"\n'
    'design = { stakes = "stakes.csv" }\ntolerance = "t"\n'
)
UNITS = {"m": "metre", "ft": "foot"}


def case_of(name: str) -> Case:
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def printed(case: Case, start: str = "") -> dict[str, tuple[float, float]]:
    """Return what the source prints: value and tolerance by name."""
    return {
        each["name"]: (each["value"], each["tol"])
        for each in case["expected"]
        if each.get("origin") != "computed"
        and not each.get("misprint")
        and each["name"].startswith(start)
    }


def head(unit: str) -> str:
    return (
        f'[job]\ntitle = "Published case"\nunit = "{UNITS[unit]}"\n'
        '[measured]\nfiles = ["shots.csv"]\n[tolerance.t]\nhorizontal = 1\n'
    )


def near(found: float, value: tuple[float, float]) -> bool:
    return abs(found - value[0]) <= value[1]


# ---------------------------------------------------------------- vertical curves


def pvis(case: Case) -> list[tuple[float, float, float, float]]:
    """Return station, elevation, length before and behind of the PVIs, 300 more on either side."""
    given = case["inputs"]
    first, second = given["g1"] / 100, given["g2"] / 100
    before = given.get("L1", given.get("L", 0) / 2)
    behind = given.get("L2", given.get("L", 0) / 2)
    station = given.get("pvi_station", given.get("bvc_station", 0) + before)
    level = given.get("pvi_elev")
    if level is None:
        level = given["bvc_elev"] + first * before
    far_in, far_out = before + 300, behind + 300
    return [
        (station - far_in, level - first * far_in, 0, 0),
        (station, level, before, behind),
        (station + far_out, level + second * far_out, 0, 0),
    ]


@pytest.mark.parametrize(
    "name", ["vcurve-forum-2-15", "vcurve-mahun-2", "vcurve-mahun-4", "vcurve-unequal-5888"]
)
def test_elevations_and_grades_of_a_vertical_curve(tmp_path: Path, name: str) -> None:
    case = case_of(name)
    points = pvis(case)
    wanted = {
        key: value for key, value in printed(case).items() if key.startswith(("elev.", "grade."))
    }
    stations = sorted({float(key.split(".", 1)[1]) for key in wanted})
    job = head(case["inputs"]["unit"]) + (
        f'[alignment.A]\nelements = "a.csv"\nstart = {points[0][0]}\nprofile = "p.csv"\n'
    )
    write(
        tmp_path,
        job + STAKES,
        a_csv=f"type,length,northing,easting,azimuth\nline,{points[2][0] - points[0][0]},0,0,0\n",
        p_csv=table("station,elevation,length_in,length_out", points),
        stakes_csv=table("id,station,offset", [(f"{each:g}", each, 0) for each in stations]),
        shots_csv="id,northing,easting,elevation\nX,0,0,0\n",
    )
    found = run(tmp_path)
    assert len(wanted) >= 6
    for key, value in wanted.items():
        kind, station = key.split(".", 1)
        stake = row(found, "S", f"{float(station):g}")
        assert near(stake["design_z" if kind == "elev" else "grade"], value), (key, value, stake)
    turns = [text for text in check(found, "S")["remarks"] if "point at" in text]
    extreme = printed(case).get("extreme_elev")
    if extreme is not None:
        (only,) = turns
        assert near(float(only.split("elevation ")[1].split()[0]), extreme), only


def test_cuts_to_the_invert_of_a_sewer(tmp_path: Path) -> None:
    """Figure 10-19 of the manual: hubs beside a sewer, the cut to its invert marked on the lath."""
    case = case_of("stake-sewer-invert-cuts")
    given, expected = case["inputs"], case["expected"]
    stations = given["stations"]
    fall = given["grade_pct"] / 100 * (stations[0] - stations[1])
    job = head("ft") + '[alignment.A]\nelements = "a.csv"\nstart = "8+00"\nprofile = "p.csv"\n'
    low, high = given["invert_upstream"] - 2 * fall, given["invert_upstream"]
    section = STAKES.replace('design = { stakes = "stakes.csv" }\n', "").replace(
        '"t"', "{ vertical = 10 }"
    )
    write(
        tmp_path,
        job + section,
        a_csv="type,length,northing,easting,azimuth\nline,200,0,0,0\n",
        p_csv=table("station,elevation", [(800, low), (900, high)]),
        shots_csv=table(
            "id,northing,easting,elevation",
            [
                (f"{station:g}", station - 800, 0, hub)
                for station, hub in zip(stations, given["hub_tops"], strict=True)
            ],
        ),
    )
    found = run(tmp_path)
    for station, invert, mark in zip(stations, expected["inverts"], expected["marks"], strict=True):
        stake = row(found, "S", f"{station:g}")
        assert abs(stake["design_z"] - invert) <= case["tolerance"]["abs"]
        assert stake["cut_fill"] == mark


# ---------------------------------------------------------------- curves in plan


def azimuth(start: list[float], end: list[float]) -> float:
    return math.degrees(math.atan2(end[1] - start[1], end[0] - start[0])) % 360


@pytest.mark.parametrize("name", ["spiral-cn-jd1", "spiral-cn-jd4"])
def test_a_curve_with_spirals(tmp_path: Path, name: str) -> None:
    """From the printed lengths the elements must come back to the forward tangent.

    The PI lies beside the middle of the curve, the external distance away from it; a point T along
    the forward tangent is the end of the curve, at its printed station.
    """
    case = case_of(name)
    given, wanted = case["inputs"], printed(case)
    prev, pi, following = given["prev"], given["pi"], given["next"]
    tangent, arc, spiral = wanted["T"][0], wanted["Ly"][0], given["Ls"]
    start = wanted["st.TS"][0]
    into, out = azimuth(prev, pi), math.radians(azimuth(pi, following))
    begin = [pi[i] - tangent * f(math.radians(into)) for i, f in enumerate((math.cos, math.sin))]
    end = [pi[i] + tangent * f(out) for i, f in enumerate((math.cos, math.sin))]
    turn = given["turn"]
    elements = (
        "type,length,radius,turn,northing,easting,azimuth\n"
        f"spiral,{spiral},,,{begin[0]!r},{begin[1]!r},{into!r}\n"
        f"arc,{arc},{given['R']},{turn},,,\nspiral,{spiral},,,,,\nline,100,,,,,\n"
    )
    section = '[[stakeout]]\nname = "S"\nalignment = "A"\nmatch = "line"\ntolerance = "t"\n'
    write(
        tmp_path,
        head("m") + f'[alignment.A]\nelements = "a.csv"\nstart = {start}\n' + section,
        a_csv=elements,
        shots_csv=table("id,northing,easting", [("PI", *pi), ("ST", *end)]),
    )
    found = run(tmp_path)
    side = -1.0 if turn == "right" else 1.0
    middle = row(found, "S", "PI")
    assert abs(middle["offset"] - side * wanted["E"][0]) <= 0.0012
    # The printed lengths are whole millimetres, and so the stations.
    assert abs(middle["station"] - wanted["st.MID"][0]) <= 0.0016
    last = row(found, "S", "ST")
    assert abs(last["station"] - wanted["st.ST"][0]) <= 0.0016
    assert abs(last["offset"]) <= 0.0016


def test_deflections_of_a_circular_curve(tmp_path: Path) -> None:
    """R = 200 m, 30 degrees: stakes every 20 m, the angle at the BC from the tangent to each."""
    case = case_of("hcurve-200-30")
    given, wanted = case["inputs"], printed(case)
    begin = given["pi_station"] - 200 * math.tan(math.radians(15))
    stations = [2220.0, 2240.0, 2300.0]
    job = head("m") + f'[alignment.A]\nelements = "a.csv"\nstart = {begin!r}\n'
    write(
        tmp_path,
        job + STAKES,
        a_csv=(
            "type,length,radius,northing,easting,azimuth\n"
            f"arc,{200 * math.radians(30)!r},200,0,0,0\n"
        ),
        stakes_csv=table("id,station,offset", [(f"{each:g}", each, 0) for each in stations]),
        shots_csv="id,northing,easting,elevation\nX,0,0,0\n",
    )
    found = run(tmp_path)
    seen = {}
    for station in stations:
        stake = row(found, "S", f"{station:g}")
        seen[station] = math.degrees(math.atan2(stake["design_e"], stake["design_n"]))
    assert near(seen[2220.0], wanted["d_first"])
    # 14 m and 20 m; the source rounds each part to a second.
    assert abs(seen[2240.0] - wanted["d_first"][0] - wanted["d_std"][0]) <= 1 / 3600
    assert abs(15.0 - seen[2300.0] - wanted["d_last"][0]) <= 1 / 3600
    (course,) = [text for text in check(found, "S")["remarks"] if text.startswith("Alignment")]
    assert "2+206.000 at N 0.000, E 0.000 to 2+310.720" in course
    assert abs(200 * math.radians(30) - wanted["L"][0]) <= wanted["L"][1]


def test_the_tangents_of_a_road_by_its_points_of_intersection(tmp_path: Path) -> None:
    """Distances become stations, deflections the breaks of the tangent that are remarked."""
    case = case_of("align-cn-tangents")
    given = case["inputs"]
    places = {name: [n, e] for name, n, e in given["pis"]}
    places["JD5"][1] = given["corrected"]["JD5_E"]
    write(
        tmp_path,
        head("m")
        + '[design]\npoints = "pis.csv"\n[alignment.A]\nlayer = "CL"\n'
        + '[[stakeout]]\nname = "S"\nalignment = "A"\ntolerance = "t"\n',
        pis_csv=table("id,northing,easting", [(key, *place) for key, place in places.items()]),
        shots_csv="id,northing,easting,elevation\nBP,0,0,0\n",
    )
    course = figure("CL", [(e, n) for n, e in places.values()])
    found = run(tmp_path, [course])
    legs = {key.split(".")[1]: value for key, value in printed(case, "dist.").items()}
    stations = {name: row(found, "S", name)["design_station"] for name in places}
    for leg, value in legs.items():
        start, end = leg.split("-")
        assert near(stations[end] - stations[start], value), leg
    (text,) = [each for each in check(found, "S")["remarks"] if "breaks at" in each]
    deflections = printed(case, "defl.")
    assert len(deflections) == 3
    for degrees, tolerance in deflections.values():
        seconds = round(degrees * 3600)
        near_it = range(seconds - 1, seconds + 2)
        words = [f"by {s // 3600}°{s // 60 % 60:02d}′{s % 60:02d}″ to" for s in near_it]
        assert any(each in text for each in words), (degrees, tolerance, text)


def test_distances_out_of_slope_stakes(tmp_path: Path) -> None:
    """Cross-section notes: the cut at each stake, and how far out it was set from the centre."""
    case = case_of("slopestake-wheatley-a")
    given = case["inputs"]
    half = given["base"] / 2
    shots, wanted = [], printed(case)
    for each in given["cuts"]:
        for side, sign in (("left", 1.0), ("right", -1.0)):
            out = wanted[f"{side}.{each['st']}"][0]
            n, e = sign * out, 100.0 * float(each["st"])
            shots.append((f"{side}.{each['st']}", n, e, 500.0 + each[side]))
    section = (
        f'[[slope_stake]]\nname = "S"\nalignment = "A"\nhinge = {half}\n'
        f'cut = "{given["slope"]}:1"\nfill = "2:1"\ntolerance = {{ across = 0.06 }}\n'
    )
    write(
        tmp_path,
        head("ft") + '[alignment.A]\nelements = "a.csv"\nprofile = "p.csv"\n' + section,
        a_csv="type,length,northing,easting,azimuth\nline,200,0,0,90\n",
        p_csv="station,elevation\n0,500\n200,500\n",
        shots_csv=table("id,northing,easting,elevation", shots),
    )
    found = run(tmp_path)
    assert len(wanted) == 6
    for name, value in wanted.items():
        stake = row(found, "S", name)
        assert near(abs(stake["catch_offset"]), value), (name, stake)
        assert stake["verdict"] == "within"
