"""Shots against lines and profiles, through whole job folders."""

import math
from pathlib import Path

import numpy as np
import pytest

from checker.model.drawing import Figure
from tests.support.jobs import Document
from tests.support.lines import (
    CL,
    DRAWN,
    ELEMENTS,
    HEAD,
    PROFILE,
    check,
    dxf,
    faults,
    figure,
    row,
    run,
    table,
    write,
)

QUARTER = math.tan(math.pi / 8)
CURB = figure("CURB", [(0, 0), (100, 0), (150, 50), (150, 110)], [0, QUARTER, 0, 0], handle="2F")
LINE = (
    '[[stakeout]]\nname = "Curb"\nmatch = "line"\ndesign = { layer = "CURB" }\ntolerance = "line"\n'
)


def job(
    folder: Path,
    shots: list[tuple[object, ...]],
    figures: list[Figure] | None = None,
    section: str = LINE,
    heading: str = "id,northing,easting,elevation",
) -> Document:
    write(
        folder,
        HEAD + DRAWN + section,
        shots_csv=table(heading, shots),
        design_dxf=dxf([("CURB", [(0, 0), (1, 0)], False)]),
    )
    return run(folder, figures or [CURB])


def test_offset_is_right_of_the_way_it_was_drawn_and_along_counts_from_its_start(
    tmp_path: Path,
) -> None:
    quarter = 25 * math.pi
    found = job(
        tmp_path,
        [
            ("L", 0.013, 40.0, 1.0),
            ("R", -0.015, 70.0, 1.0),
            # on the arc about (100, 50), at 45 degrees, 12 mm outside: right of a left turn
            ("A", 50 - 50.012 * math.sqrt(0.5), 100 + 50.012 * math.sqrt(0.5), 1.0),
            ("E", 80.0, 149.97, 1.0),
        ],
    )
    assert row(found, "Curb", "L")["across"] == pytest.approx(-0.013, abs=1e-12)
    assert row(found, "Curb", "L")["along"] == pytest.approx(40.0, abs=1e-12)
    assert row(found, "Curb", "L")["dn"] == pytest.approx(0.013, abs=1e-12)
    assert row(found, "Curb", "R")["across"] == pytest.approx(0.015, abs=1e-12)
    arc = row(found, "Curb", "A")
    assert arc["across"] == pytest.approx(0.012, abs=1e-12)
    assert arc["along"] == arc["station"] == pytest.approx(100 + quarter / 2, abs=1e-9)
    assert arc["bearing"] == pytest.approx(135.0, abs=1e-6)
    end = row(found, "Curb", "E")
    assert (end["verdict"], end["horizontal"]) == ("outside", pytest.approx(0.03, abs=1e-12))
    assert end["along"] == pytest.approx(100 + quarter + 30, abs=1e-9)
    assert end["across"] == pytest.approx(-0.03, abs=1e-12)


def test_every_selected_shot_is_a_row_and_the_lines_are_not_to_be_complete(tmp_path: Path) -> None:
    found = job(tmp_path, [("1", 0.0, 5.0, 1.0), ("2", 0.001, 6.0, 1.0)])
    assert [each["id"] for each in check(found, "Curb")["rows"]] == ["1", "2"]
    assert check(found, "Curb")["verdict"] == "within"
    assert found["measured"]["unused"] == []


def test_a_shot_beyond_an_end_is_undecided_by_more_than_the_tolerance(tmp_path: Path) -> None:
    found = job(
        tmp_path,
        [("P", 111.2, 150.0, 1.0), ("B", 0.01, -0.5, 1.0), ("N", 110.015, 150.0, 1.0)],
    )
    past = row(found, "Curb", "P")
    assert (past["verdict"], past["across"]) == ("undecided", 0.0)
    assert "beyond the end of the line by 1.2000 m" in past["reason"]
    assert past["along"] == pytest.approx(160 + 25 * math.pi + 1.2, abs=1e-9)
    before = row(found, "Curb", "B")
    assert "beyond the start of the line by 500.0 mm" in before["reason"]
    assert before["across"] == pytest.approx(-0.01, abs=1e-12)
    assert before["along"] == pytest.approx(-0.5, abs=1e-12)
    assert row(found, "Curb", "N")["verdict"] == "within"


def test_a_limit_along_judges_what_lies_beyond_an_end(tmp_path: Path) -> None:
    section = LINE.replace('"line"\n', '{ across = "20 mm", along = "0.6 m" }\n').replace(
        'match = { across = "20 mm", along = "0.6 m" }', 'match = "line"'
    )
    found = job(tmp_path, [("P", 111.2, 150.0, 1.0), ("B", 0.01, -0.5, 1.0)], section=section)
    assert row(found, "Curb", "P")["verdict"] == "outside"
    assert row(found, "Curb", "B")["verdict"] == "within"


def test_two_lines_as_near_leave_it_undecided(tmp_path: Path) -> None:
    back = figure("CURB", [(0, 0.05), (100, 0.05)], handle="30")
    found = job(tmp_path, [("M", 0.02, 50.0, 1.0), ("F", -0.01, 50.0, 1.0)], [CURB, back])
    middle = row(found, "Curb", "M")
    assert middle["verdict"] == "undecided"
    assert (
        "as near to layer CURB, LWPOLYLINE 2F as to layer CURB, LWPOLYLINE 30" in middle["reason"]
    )
    assert row(found, "Curb", "F")["verdict"] == "within"


def test_in_the_centre_of_an_arc_no_place_is_nearest(tmp_path: Path) -> None:
    section = LINE + 'stake_offset = { offset = "50 m", side = "left" }\n'
    found = row(job(tmp_path, [("C", 50.0, 100.0, 1.0)], section=section), "Curb", "C")
    assert found["verdict"] == "undecided"
    assert "as near to every place of an arc" in found["reason"]


def test_at_a_corner_and_where_lines_meet_it_does_not_matter_which(tmp_path: Path) -> None:
    corner = figure("CURB", [(0, 0), (50, 0), (50, 50)], handle="1")
    branch = figure("CURB", [(50, 0), (90, -5)], handle="2")
    found = job(
        tmp_path,
        [("C", 0.005, 49.995, 1.0), ("O", -0.005, 50.005, 1.0)],
        [corner, branch],
    )
    assert row(found, "Curb", "C")["verdict"] == "within"
    assert row(found, "Curb", "O")["verdict"] == "within"


def test_outside_a_corner_the_vertex_is_nearest(tmp_path: Path) -> None:
    corner = figure("CURB", [(0, 0), (50, 0), (50, 50)], handle="1")
    out = row(job(tmp_path, [("O", -0.03, 50.04, 1.0)], [corner]), "Curb", "O")
    assert out["across"] == pytest.approx(0.05, abs=1e-12)
    assert (out["dn"], out["de"]) == (pytest.approx(-0.03), pytest.approx(0.04))
    assert out["along"] == pytest.approx(50.0)


def test_a_line_drawn_with_elevations_gives_them_between_its_vertices(tmp_path: Path) -> None:
    wall = figure("CURB", [(0, 0, 10.0), (100, 0, 12.0)], handle="1")
    section = LINE.replace(
        'tolerance = "line"', "tolerance = { horizontal = 0.02, vertical = 0.02 }"
    )
    found = job(tmp_path, [("1", 0.0, 25.0, 10.53), ("2", 0.0, 75.0, "")], [wall], section)
    first = row(found, "Curb", "1")
    assert first["design_z"] == pytest.approx(10.5)
    assert (first["dz"], first["cut_fill"]) == (pytest.approx(0.03), "C 0.030")
    assert first["verdict"] == "outside"
    assert row(found, "Curb", "2")["verdict"] == "undecided"  # no elevation was measured


def test_a_line_drawn_in_plan_has_no_elevation(tmp_path: Path) -> None:
    section = LINE.replace(
        'tolerance = "line"', "tolerance = { horizontal = 0.02, vertical = 0.02 }"
    )
    found = row(job(tmp_path, [("1", 0.0, 25.0, 10.53)], section=section), "Curb", "1")
    assert found["design_z"] is None
    assert (found["verdict"], "gives no elevation" in found["reason"]) == ("unchecked", True)


def test_stakes_off_the_line_are_compared_with_the_place_beside_it(tmp_path: Path) -> None:
    section = LINE + 'stake_offset = { offset = "3 m", side = "left" }\n'
    found = job(
        tmp_path,
        [
            ("OK", 3.01, 40.0, 1.0),
            ("WRONG", -3.0, 60.0, 1.0),
            ("FAR", 4.0, 70.0, 1.0),
        ],
        section=section,
    )
    good = row(found, "Curb", "OK")
    assert good["verdict"] == "within"
    assert good["across"] == pytest.approx(-0.01, abs=1e-12)
    assert good["offset"] == good["feature_offset"] == pytest.approx(-3.01, abs=1e-12)
    assert (good["design_n"], good["feature_n"]) == (pytest.approx(3.0), pytest.approx(0.0))
    assert good["side"] == "left"
    wrong = row(found, "Curb", "WRONG")
    assert wrong["verdict"] == "outside"
    assert (
        "set on the other side: right of what it stands for, the design says left"
        in wrong["reason"]
    )
    assert wrong["across"] == pytest.approx(6.0, abs=1e-12)
    assert "other side" not in row(found, "Curb", "FAR")["reason"]


def test_a_number_shot_again_replaces_the_first_and_exclusions_stay_visible(tmp_path: Path) -> None:
    section = LINE + 'measured = { id = "*" }\n'
    head = HEAD.replace(
        'files = ["shots.csv"]',
        'files = ["shots.csv"]\nexclude = [{ id = "X", reason = "bumped" }]',
    )
    write(
        tmp_path,
        head + DRAWN + section,
        shots_csv=table(
            "id,northing,easting,elevation",
            [("1", 0.5, 5.0, 1.0), ("1", 0.001, 5.0, 1.0), ("X", 9.0, 9.0, 1.0)],
        ),
        design_dxf=dxf(),
    )
    found = run(tmp_path, [CURB])
    rows = check(found, "Curb")["rows"]
    assert [(each["id"], each["superseded"]) for each in rows] == [
        ("1", True),
        ("1", False),
        ("X", False),
    ]
    assert rows[2]["reason"] == "excluded: bumped"
    assert check(found, "Curb")["verdict"] == "within"


def test_within_leaves_far_shots_out_or_lists_them_where_they_were_asked_for(
    tmp_path: Path,
) -> None:
    shots: list[tuple[object, ...]] = [("1", 0.0, 5.0, 1.0), ("far", 30.0, 20.0, 1.0)]
    found = job(tmp_path, shots, section=LINE + 'within = "1 m"\n')
    assert [each["id"] for each in check(found, "Curb")["rows"]] == ["1"]
    assert found["measured"]["unused"] == ["far"]
    asked = job(tmp_path, shots, section=LINE + 'within = "1 m"\nmeasured = { id = "*" }\n')
    far = row(asked, "Curb", "far")
    assert far["verdict"] == "unchecked"
    assert "no line near enough" in far["reason"]


def test_the_uncertainty_across_is_that_of_its_own_direction(tmp_path: Path) -> None:
    """North is 4 mm, east 30 mm: across an east-west line it is 4 mm, so 2 k is within 20 mm."""
    section = LINE.replace('"line"\n', '{ across = "20 mm", rule = "guarded" }\n').replace(
        'match = { across = "20 mm", rule = "guarded" }', 'match = "line"'
    )
    heading = "id,northing,easting,elevation,sigma_n,sigma_e"
    shots: list[tuple[object, ...]] = [
        ("EW", 0.011, 50.0, 1.0, 0.004, 0.03),
        ("NS", 80.0, 150.011, 1.0, 0.004, 0.03),
    ]
    found = job(tmp_path, shots, section=section, heading=heading)
    assert row(found, "Curb", "EW")["verdict"] == "within"
    assert row(found, "Curb", "NS")["verdict"] == "undecided"
    assert row(found, "Curb", "EW")["p_within"] == pytest.approx(
        0.5 * (math.erf(9 / 4 / math.sqrt(2)) + math.erf(31 / 4 / math.sqrt(2))), abs=1e-9
    )


def test_a_horizontal_limit_of_a_line_has_two_sides_in_the_probability(tmp_path: Path) -> None:
    heading = "id,northing,easting,elevation,sigma_n,sigma_e"
    found = job(tmp_path, [("1", 0.0, 50.0, 1.0, 0.02, 0.02)], heading=heading)
    assert row(found, "Curb", "1")["p_within"] == pytest.approx(math.erf(math.sqrt(0.5)), abs=1e-9)


# ---------------------------------------------------------------- alignment and profile

GRADES = (
    '[[stakeout]]\nname = "Grade"\nalignment = "CL"\nmatch = "station"\n'
    "tolerance = { vertical = 0.02 }\n"
)


def road(folder: Path, section: str, shots: str, alignment: str = CL, **files: str) -> Path:
    return write(
        folder,
        HEAD + alignment + section,
        **{"cl_csv": ELEMENTS, "profile_csv": PROFILE, "shots_csv": shots} | files,
    )


def test_without_stakes_every_shot_is_compared_with_the_profile_at_its_station(
    tmp_path: Path,
) -> None:
    shots = table(
        "id,northing,easting,elevation",
        [("a", 5003.0, 2050.0, 51.95), ("b", 4996.0, 2060.0, 52.35), ("off", 5000.0, 1999.0, 50.0)],
    )
    alignment = CL + 'crossfall = { left = "-2 %", right = "-1 %" }\n'
    found = run(road(tmp_path, GRADES, shots, alignment))
    a = row(found, "Grade", "a")
    assert a["station"] == pytest.approx(150.0)
    assert a["offset"] == pytest.approx(-3.0)
    assert a["grade"] == pytest.approx(4.0)
    assert a["design_z"] == pytest.approx(52.0 - 0.06)
    assert (a["dz"], a["verdict"]) == (pytest.approx(0.01), "within")
    b = row(found, "Grade", "b")
    assert b["design_z"] == pytest.approx(52.4 - 0.04)
    off = row(found, "Grade", "off")
    assert (off["verdict"], "1.0000 m before the start of CL" in off["reason"]) == (
        "unchecked",
        True,
    )
    assert any("high point" in text for text in check(found, "Grade")["remarks"])


def test_a_plan_limit_is_not_passed_over_where_only_heights_are_compared(tmp_path: Path) -> None:
    shots = table("id,northing,easting,elevation", [("a", 5000.0, 2050.0, 52.0)])
    section = GRADES.replace("{ vertical = 0.02 }", '"t"')
    found = row(run(road(tmp_path, section, shots)), "Grade", "a")
    assert found["verdict"] == "unchecked"
    assert "along is limited, but a grade has no place in plan" in found["reason"]


def test_an_alignment_is_a_line_too_spirals_included(tmp_path: Path) -> None:
    section = (
        '[[stakeout]]\nname = "CL"\nalignment = "CL"\nmatch = "line"\n'
        "tolerance = { across = 0.02, vertical = 0.05 }\n"
    )
    shots = table(
        "id,northing,easting,elevation",
        [("a", 5000.01, 2050.0, 52.03), ("end", 5000.0, 1998.0, 50.0)],
    )
    found = run(road(tmp_path, section, shots))
    a = row(found, "CL", "a")
    assert (a["across"], a["station"]) == (pytest.approx(-0.01), pytest.approx(150.0))
    assert (a["design_z"], a["verdict"]) == (pytest.approx(52.0), "within")
    assert "beyond the start of the line by 2.0000 m" in row(found, "CL", "end")["reason"]


def test_a_profile_is_needed_for_grades(tmp_path: Path) -> None:
    shots = table("id,northing,easting,elevation", [("a", 5000.0, 2050.0, 52.0)])
    alignment = CL.replace('profile = "profile.csv"\n', "")
    found = faults(road(tmp_path, GRADES, shots, alignment))
    assert [slug for slug, _, _ in found] == ["no-profile"]


SUPER = "station,left,right\n0+100,-2 %,-2 %\n0+200,-2 %,-2 %\n0+300,-2 %,4 %\n"


def test_a_superelevation_changes_evenly_along_the_line(tmp_path: Path) -> None:
    shots = table(
        "id,northing,easting,elevation",
        [("l", 5010.0, 2050.0, 52.0), ("r", 4990.0, 2050.0, 52.0)],
    )
    alignment = CL + 'superelevation = "super.csv"\n'
    table_ = SUPER.replace("0+200,-2 %,-2 %\n", "")
    found = run(road(tmp_path, GRADES, shots, alignment, super_csv=table_))
    said = next(text for text in check(found, "Grade")["remarks"] if "superelevation" in text)
    assert "stated from 0+100.000 to 0+300.000; before and beyond it the nearest row holds" in said
    # A quarter of the way from -2 % to 4 % on the right: -0.5 %.
    assert row(found, "Grade", "l")["design_z"] == pytest.approx(52.0 - 0.2)
    assert row(found, "Grade", "r")["design_z"] == pytest.approx(52.0 - 0.05)


@pytest.mark.parametrize(
    ("alignment", "table_", "slug", "where"),
    [
        (
            'superelevation = "super.csv"\n',
            SUPER + "0+250,1 %,1 %\n",
            "superelevation-order",
            "super.csv:5",
        ),
        (
            'superelevation = "super.csv"\ncrossfall = "-2 %"\n',
            SUPER,
            "conflicting-keys",
            "job.toml:17",
        ),
    ],
)
def test_superelevations_that_cannot_be(
    tmp_path: Path, alignment: str, table_: str, slug: str, where: str
) -> None:
    shots = table("id,northing,easting,elevation", [("a", 5000.0, 2050.0, 52.0)])
    (found,) = faults(road(tmp_path, GRADES, shots, CL + alignment, super_csv=table_))
    assert found[:2] == (slug, where)


def test_on_a_slope_the_place_of_a_shot_counts_in_its_height(tmp_path: Path) -> None:
    """Against draws: shots about one place, each compared with the design where it came to lie."""
    sigma, rho, each = (0.03, 0.01), 0.6, 0.004
    shots = (
        "id,northing,easting,elevation,sigma_n,sigma_e,sigma_z,correlation_ne\n"
        f"p,4990,2050,52,{sigma[0]},{sigma[1]},{each},{rho}\n"
    )
    # 4 % up-station, eastwards; 25 % down to the right, southwards
    alignment = CL + 'crossfall = "-25 %"\n'
    found = run(road(tmp_path, GRADES, shots, alignment))
    rng = np.random.default_rng(20310417)
    covariance = [
        [sigma[0] ** 2, rho * sigma[0] * sigma[1]],
        [rho * sigma[0] * sigma[1], sigma[1] ** 2],
    ]
    n, e = rng.multivariate_normal([0.0, 0.0], covariance, 200_000).T
    dz = rng.normal(0.0, each, len(n)) - (0.04 * e + 0.25 * n)
    assert row(found, "Grade", "p")["sigma_dz"] == pytest.approx(dz.std(), rel=0.01)
    assert row(found, "Grade", "p")["sigma_z"] == pytest.approx(each)


@pytest.mark.parametrize("order", [(10.0, 11.0), (11.0, 10.0)])
@pytest.mark.parametrize("level", [10.0, 11.0, 12.0])
def test_a_height_between_two_lines_is_undecided_whichever_was_drawn_first(
    tmp_path: Path, order: tuple[float, float], level: float
) -> None:
    """Two lines 30 mm apart, one a metre higher; the shot midway."""
    lines = [
        ("W", (2000.0, 5000.0, order[0]), (2100.0, 5000.0, order[0])),
        ("W", (2000.0, 5000.03, order[1]), (2100.0, 5000.03, order[1])),
    ]
    folder = write(
        tmp_path,
        HEAD.replace("[measured]", '[design]\ndrawing = "d.dxf"\n[measured]')
        + '[[stakeout]]\nname = "Walls"\nmatch = "line"\ndesign = { layer = "W" }\n'
        "tolerance = { across = 0.02, vertical = 0.01 }\n",
        d_dxf=dxf(lines=lines),
        shots_csv=table("id,northing,easting,elevation", [("p", 5000.015, 2050.0, level)]),
    )
    found = row(run(folder), "Walls", "p")
    assert found["verdict"] == "undecided"
    assert "as near to" in found["reason"]
