"""Stakes by station and offset, along and across, stakes set off their feature."""

import math
from pathlib import Path

import pytest

from tests.support.lines import (
    CL,
    ELEMENTS,
    HEAD,
    PROFILE,
    Document,
    check,
    dxf,
    faults,
    row,
    run,
    table,
    write,
)

SHOT = "id,northing,easting,elevation"
STAKES = (
    '[[stakeout]]\nname = "Stakes"\nalignment = "CL"\nmatch = "station"\n'
    'design = { stakes = "stakes.csv" }\ntolerance = "t"\n'
)


def road(
    folder: Path,
    stakes: str,
    shots: list[tuple[object, ...]],
    section: str = STAKES,
    alignment: str = CL,
) -> Path:
    return write(
        folder,
        HEAD + alignment + section,
        cl_csv=ELEMENTS,
        profile_csv=PROFILE,
        stakes_csv=stakes,
        shots_csv=table(SHOT, shots),
    )


def test_stakes_by_station_and_offset_lie_beside_the_line(tmp_path: Path) -> None:
    stakes = "id,station,offset,side\nA,0+150,4,L\nB,0+150,4,R\nC,0+150,0,\n"
    found = run(
        road(
            tmp_path,
            stakes,
            [
                ("A", 5004.01, 2050.02, 52.0),
                ("B", 4996.0, 2049.98, 52.0),
                ("C", 5000.0, 2050.05, 52.0),
            ],
        )
    )
    a = row(found, "Stakes", "A")
    assert (a["design_n"], a["design_e"]) == (pytest.approx(5004.0), pytest.approx(2050.0))
    assert a["design_z"] == pytest.approx(52.0)  # 4 % from 50 at 0+100
    assert (a["along"], a["across"]) == (pytest.approx(0.02), pytest.approx(-0.01))
    assert (a["station"], a["offset"]) == (pytest.approx(150.02), pytest.approx(-4.01))
    assert (a["design_station"], a["design_offset"]) == (pytest.approx(150), pytest.approx(-4))
    assert a["grade"] == pytest.approx(4.0)
    assert a["verdict"] == "within"
    assert row(found, "Stakes", "B")["along"] == pytest.approx(-0.02)
    c = row(found, "Stakes", "C")
    assert (c["verdict"], "along 50 mm long" in c["reason"]) == ("outside", True)


def test_a_stake_a_few_millimetres_past_an_end_keeps_its_station(tmp_path: Path) -> None:
    # the line begins at 0+100, N 5000, E 2000, eastwards; it is drawn on backwards
    stakes = "id,station,offset\nA,0+099.9905,4\n"
    a = row(run(road(tmp_path, stakes, [("A", 4996.0, 2000.0, 50.0)])), "Stakes", "A")
    assert (a["design_n"], a["design_e"]) == (pytest.approx(4996.0), pytest.approx(1999.9905))
    assert a["along"] == pytest.approx(0.0095)
    assert a["design_station"] == pytest.approx(99.9905)
    stakes = "id,station,offset\nA,0+099.9,4\n"
    assert "station-unknown" in str(faults(road(tmp_path / "far", stakes, [("A", 1, 2, 3)])))


def test_the_elevation_of_the_table_stands_before_the_profile(tmp_path: Path) -> None:
    stakes = "id,station,offset,elevation\nA,0+150,0,52.5\nB,0+150,-4,\n"
    alignment = CL + 'crossfall = "-2 %"\n'
    found = run(
        road(
            tmp_path,
            stakes,
            [("A", 5000.0, 2050.0, 52.5), ("B", 5004.0, 2050.0, 51.92)],
            alignment=alignment,
        )
    )
    assert row(found, "Stakes", "A")["design_z"] == 52.5
    assert row(found, "Stakes", "B")["design_z"] == pytest.approx(52.0 - 0.08)


def test_on_a_curve_along_and_across_follow_the_line_at_the_design_point(tmp_path: Path) -> None:
    stakes = "id,station,offset\nA,0+280,6\n"
    shots: list[tuple[object, ...]] = [("A", 4990.0, 2180.0, 50.0)]
    first = row(run(road(tmp_path / "one", stakes, shots)), "Stakes", "A")
    # a spiral of 40 m into radius 200, then 40 m of arc: 90 + 5.7296 + 11.4592 degrees
    azimuth = math.radians(90) + 40 / 400 + 40 / 200
    n, e = first["design_n"], first["design_e"]
    ahead, right = (math.cos(azimuth), math.sin(azimuth)), (-math.sin(azimuth), math.cos(azimuth))
    moved = (n + 0.5 * ahead[0] + 0.25 * right[0], e + 0.5 * ahead[1] + 0.25 * right[1])
    found = row(run(road(tmp_path / "two", stakes, [("A", *moved, 50.0)])), "Stakes", "A")
    assert found["along"] == pytest.approx(0.5, abs=1e-9)
    assert found["across"] == pytest.approx(0.25, abs=1e-9)
    assert found["horizontal"] == pytest.approx(math.hypot(0.5, 0.25), abs=1e-9)


def test_left_and_right_may_have_limits_of_their_own(tmp_path: Path) -> None:
    stakes = "id,station,offset\nA,0+150,0\nB,0+160,0\n"
    section = STAKES.replace('"t"', "{ left = 0.01, right = 0.05 }")
    found = run(
        road(
            tmp_path, stakes, [("A", 5000.02, 2050.0, 52.0), ("B", 4999.98, 2060.0, 52.0)], section
        )
    )
    assert row(found, "Stakes", "A")["reason"] == "across 20 mm left, limit 10 mm"
    assert row(found, "Stakes", "B")["verdict"] == "within"


def test_a_stake_that_was_not_set_is_listed(tmp_path: Path) -> None:
    stakes = "id,station,offset\nA,0+150,0\nB,0+160,0\n"
    found = run(road(tmp_path, stakes, [("A", 5000.0, 2050.0, 52.0)]))
    b = row(found, "Stakes", "B")
    assert (b["verdict"], b["reason"]) == ("unchecked", "not staked")
    assert b["station"] is None
    assert b["design_station"] == 160.0


def test_stakes_by_coordinates_and_by_nearness(tmp_path: Path) -> None:
    stakes = "id,northing,easting\nA,5003,2050\nB,5003,2080\n"
    section = STAKES.replace('"station"', '"nearest"')
    found = run(
        road(
            tmp_path, stakes, [("7", 5003.01, 2050.0, 52.0), ("8", 5003.0, 2080.02, 53.2)], section
        )
    )
    a = row(found, "Stakes", "A")
    assert (a["measured_id"], a["across"]) == ("7", pytest.approx(-0.01))
    assert a["design_offset"] == pytest.approx(-3.0)
    assert a["design_z"] == pytest.approx(52.0)
    assert row(found, "Stakes", "B")["along"] == pytest.approx(0.02)


def test_offset_stakes_stand_for_their_feature_and_the_other_side_is_said(tmp_path: Path) -> None:
    stakes = "id,station,offset\nA,0+150,4\nB,0+160,4\nC,0+170,4\n"
    section = STAKES + 'stake_offset = { offset = "3 m", side = "right" }\n'
    found = run(
        road(
            tmp_path,
            stakes,
            [
                ("A", 4993.0, 2050.0, 52.1),
                ("B", 4999.0, 2060.0, 52.4),
                ("C", 4997.0, 2070.0, 52.8),
            ],
            section,
        )
    )
    a = row(found, "Stakes", "A")
    assert (a["design_n"], a["feature_n"]) == (pytest.approx(4993.0), pytest.approx(4996.0))
    assert (a["design_offset"], a["feature_offset"], a["side"]) == (7.0, 4.0, "right")
    assert a["across"] == pytest.approx(0.0, abs=1e-9)
    assert (a["feature_z"], a["dz"]) == (pytest.approx(52.0), pytest.approx(0.1))
    assert a["cut_fill"] == "C 0.100"
    b = row(found, "Stakes", "B")
    assert b["verdict"] == "outside"
    assert "set on the other side: left of what it stands for, the design says right" in b["reason"]
    assert "other side" not in row(found, "Stakes", "C")["reason"]
    assert any(
        "offset stakes, 3.000 m right of the design points" in r
        for r in check(found, "Stakes")["remarks"]
    )


def test_without_an_alignment_along_is_unchecked_and_said(tmp_path: Path) -> None:
    section = STAKES.replace('alignment = "CL"\nmatch = "station"\n', "")
    stakes = "id,northing,easting,elevation\nA,5003,2050,52\n"
    found = row(run(road(tmp_path, stakes, [("A", 5003.0, 2050.0, 52.0)], section)), "Stakes", "A")
    assert found["verdict"] == "unchecked"
    assert "there is no alignment to measure it from" in found["reason"]


# ---------------------------------------------------------------- station equations

EQUATIONS = (
    CL + 'equations = [{ back = "0+200", ahead = "0+180" }, { back = "0+300", ahead = "0+350" }]\n'
)


def at(found: Document, point: str) -> float:
    return float(row(found, "Stakes", point)["design_e"])


def test_a_station_that_occurs_twice_needs_its_side(tmp_path: Path) -> None:
    shots: list[tuple[object, ...]] = [("A", 5000.0, 2050.0, 52.0)]
    alignment = EQUATIONS.replace('profile = "profile.csv"\n', "")
    section = STAKES.replace('"t"', '"line"')
    found = faults(
        road(tmp_path / "1", "id,station,offset\nA,0+190,0\n", shots, section, alignment)
    )
    assert found == [
        (
            "station-twice",
            "stakes.csv:2",
            "station 0+190.000 occurs twice, before and behind a station equation",
        )
    ]
    both = "id,station,offset\nA,0+190 back,0\nB,0+190 AH,0\nC,0+360,0\n"
    good = run(road(tmp_path / "2", both, shots, section, alignment))
    assert at(good, "A") == pytest.approx(2090.0)
    b = row(good, "Stakes", "B")
    # 110 m along: 10 m into the spiral, which leaves its tangent by t^3 / (6 R L)
    assert b["design_n"] == pytest.approx(5000 - 10**3 / (6 * 200 * 40), abs=1e-5)
    assert row(good, "Stakes", "C")["design_station"] == pytest.approx(360.0)
    remarks = check(good, "Stakes")["remarks"]
    assert any(
        "0+200.000 back = 0+180.000 ahead, a station overlap of 20.0000 m" in r for r in remarks
    )


@pytest.mark.parametrize("station", ["0+320", "0+099", "0+500"])
def test_a_station_that_does_not_exist_is_refused(tmp_path: Path, station: str) -> None:
    alignment = EQUATIONS.replace('profile = "profile.csv"\n', "")
    section = STAKES.replace('"t"', '"line"')
    stakes = f"id,station,offset\nA,{station},0\n"
    (only,) = faults(road(tmp_path, stakes, [("A", 5000.0, 2050.0, 52.0)], section, alignment))
    assert only[:2] == ("station-unknown", "stakes.csv:2")
    assert f"station {station}.000 is not on alignment CL" in only[2]


def test_the_end_is_on_the_line_though_its_station_is_rounded(tmp_path: Path) -> None:
    elements = "type,length,northing,easting,azimuth\nline,100.0034,0,0,90\n"
    folder = write(
        tmp_path,
        HEAD + CL.replace('profile = "profile.csv"\n', "") + STAKES.replace('"t"', '"line"'),
        cl_csv=elements,
        stakes_csv="id,station,offset\nE,0+200.01,0\n",
        shots_csv=table(SHOT, [("E", 0.0, 100.0034, 1.0)]),
    )
    end = row(run(folder), "Stakes", "E")
    # what is written is the design, there as anywhere along the line
    assert (end["along"], end["across"]) == (pytest.approx(-0.0066), pytest.approx(0.0, abs=1e-9))


def test_feet_have_hundreds_behind_the_plus(tmp_path: Path) -> None:
    job = HEAD.replace('"metre"', '"us-survey-foot"').replace(" m", " ft") + CL.replace(
        '"0+100"', '"10+00"'
    ).replace('profile = "profile.csv"\n', "")
    folder = write(
        tmp_path,
        job + STAKES.replace('"t"', '"line"'),
        cl_csv=ELEMENTS,
        stakes_csv="id,station,offset\nA,10+50.00,12 L\n",
        shots_csv=table(SHOT, [("A", 5012.0, 2050.0, 1.0)]),
    )
    a = row(run(folder), "Stakes", "A")
    assert (a["station"], a["offset"]) == (pytest.approx(1050.0), pytest.approx(-12.0))
    assert a["horizontal"] == pytest.approx(0.0, abs=1e-7)


def test_on_ground_stations_and_offsets_are_those_of_the_plan(tmp_path: Path) -> None:
    """The grid is 0.9999 of ground: 100 m of road are 99.99 m of grid, and still 100 stations."""
    ground = "[reference]\nground = { combined_factor = 0.9999, origin = { n = 5000, e = 2000 } }\n"
    stakes = "id,station,offset\nA,0+190,8\n"
    n, e = 5000 - 8 * 0.9999, 2000 + 90 * 0.9999
    section = STAKES.replace('"t"', '"line"')
    found = row(
        run(road(tmp_path, stakes, [("A", n, e, 53.6)], section, ground + CL)), "Stakes", "A"
    )
    assert found["horizontal"] == pytest.approx(0.0, abs=1e-9)
    assert (found["station"], found["offset"]) == (pytest.approx(190.0), pytest.approx(8.0))
    assert (found["design_n"], found["design_e"]) == (pytest.approx(n), pytest.approx(e))


# ---------------------------------------------------------------- where the course comes from


def test_a_layer_of_a_drawing_is_a_course(tmp_path: Path) -> None:
    """Line, arc and line in a DXF, the last drawn against the others; stations in hundreds."""
    drawing = dxf(
        lines=[("CL", (1000, 2000), (1200, 2000)), ("CL", (1250, 2150), (1250, 2050))],
        arcs=[("CL", (1200, 2050), 50, -90, 0)],
        insunits=2,
    )
    job = HEAD.replace('"metre"', '"foot"').replace(" m", " ft")
    job += '[design]\ndrawing = "design.dxf"\n[alignment.CL]\nlayer = "CL"\nstart = "10+00"\n'
    stakes = "id,station,offset\nA,12+00,10 L\nB,13+00,0\n"
    folder = write(
        tmp_path,
        job + STAKES.replace('"t"', '"line"'),
        design_dxf=drawing,
        stakes_csv=stakes,
        shots_csv=table(SHOT, [("A", 2010.0, 1200.0, 1.0), ("B", 2071.46, 1250.0, 1.0)]),
    )
    found = run(folder)
    assert row(found, "Stakes", "A")["horizontal"] == pytest.approx(0.0, abs=1e-7)
    b = row(found, "Stakes", "B")
    assert b["design_n"] == pytest.approx(2050 + 100 - 25 * math.pi, abs=1e-7)
    assert b["design_e"] == pytest.approx(1250.0, abs=1e-7)
    (course,) = [text for text in check(found, "Stakes")["remarks"] if text.startswith("Alignment")]
    assert "10+00.00 at N 2000.000, E 1000.000 to 13+78.54: 2 lines, 1 arc" in course


def test_the_other_way_round(tmp_path: Path) -> None:
    alignment = CL.replace('profile = "profile.csv"\n', "") + "reversed = true\n"
    section = STAKES.replace('"t"', '"line"')
    length = 100 + 40 + 80 + 40 + 60
    stakes = f"id,station,offset\nA,{100 + length - 50},-4\n"
    found = run(road(tmp_path, stakes, [("A", 4996.0, 2050.0, 1.0)], section, alignment))
    a = row(found, "Stakes", "A")
    assert a["horizontal"] == pytest.approx(0.0, abs=1e-8)
    assert a["offset"] == pytest.approx(-4.0, abs=1e-8)


def test_the_job_may_say_where_a_table_starts(tmp_path: Path) -> None:
    alignment = CL.replace('profile = "profile.csv"\n', "") + (
        'start_point = { n = 100, e = 200 }\nstart_azimuth = "N 45 E"\n'
    )
    folder = write(
        tmp_path,
        HEAD + alignment + STAKES.replace('"t"', '"line"'),
        cl_csv="type,length\nline,100\n",
        stakes_csv="id,station,offset\nA,0+150,0\n",
        shots_csv=table(SHOT, [("A", 0.0, 0.0, 1.0)]),
    )
    a = row(run(folder), "Stakes", "A")
    assert a["design_n"] == pytest.approx(100 + 50 * math.sqrt(0.5))
    assert a["design_e"] == pytest.approx(200 + 50 * math.sqrt(0.5))


def test_a_break_of_the_tangent_is_remarked_and_no_fault(tmp_path: Path) -> None:
    elements = "type,length,northing,easting,azimuth\nline,100,5000,2000,90\nline,100,,,92\n"
    folder = write(
        tmp_path,
        HEAD + CL.replace('profile = "profile.csv"\n', "") + STAKES.replace('"t"', '"line"'),
        cl_csv=elements,
        stakes_csv="id,station,offset\nA,0+150,0\n",
        shots_csv=table(SHOT, [("A", 5000.0, 2050.0, 1.0)]),
    )
    remarks = check(run(folder), "Stakes")["remarks"]
    assert "The tangent of CL breaks at 0+200.000 by 2°00′00″ to the right." in remarks


@pytest.mark.parametrize(
    ("text", "side", "northing"),
    [('"3 m left"', "left", 4999.0), ('"right 3"', "right", 4993.0)],
)
def test_an_offset_may_be_a_text(tmp_path: Path, text: str, side: str, northing: float) -> None:
    section = STAKES + f"stake_offset = {text}\n"
    stakes = "id,station,offset\nA,0+150,4\n"
    a = row(run(road(tmp_path, stakes, [("A", northing, 2050.0, 52.0)], section)), "Stakes", "A")
    assert (a["side"], a["across"]) == (side, pytest.approx(0.0, abs=1e-9))
