"""Alignments that cannot be: each is refused by name, at its place."""

import math
from pathlib import Path

import pytest

from checker.model.drawing import Figure
from tests.support.lines import (
    CL,
    DRAWN,
    ELEMENTS,
    HEAD,
    PROFILE,
    dxf,
    faults,
    figure,
    table,
    write,
)

SHOTS = table("id,northing,easting,elevation", [("A", 5000.0, 2050.0, 52.0)])
SECTION = '[[stakeout]]\nname = "S"\nalignment = "CL"\nmatch = "line"\ntolerance = "line"\n'
LAYER = '[alignment.CL]\nlayer = "CL"\n'
QUARTER = math.tan(math.pi / 8)


def road(folder: Path, alignment: str = CL, section: str = SECTION, **files: str) -> Path:
    tables = {"cl_csv": ELEMENTS, "profile_csv": PROFILE, "shots_csv": SHOTS} | files
    return write(folder, HEAD + alignment + section, **tables)


def drawn(folder: Path, figures: list[Figure]) -> list[tuple[str, str, str]]:
    write(folder, HEAD + DRAWN + LAYER + SECTION, shots_csv=SHOTS, design_dxf=dxf())
    return faults(folder, figures)


FIRST = figure("CL", [(0, 0), (100, 0)], handle="A", kind="LINE")


def test_a_gap_names_both_ends_and_its_size(tmp_path: Path) -> None:
    second = figure("CL", [(100.35, 0), (200, 0)], handle="B", kind="LINE")
    ((slug, where, message),) = drawn(tmp_path, [FIRST, second])
    assert (slug, where) == ("alignment-gap", "job.toml:14")
    assert "make 2 courses, not one; the least gap is 350.0 mm" in message
    assert "LINE A at N 0.000, E 100.000" in message
    assert "LINE B at N 0.000, E 100.350" in message


def test_a_branch_names_what_meets(tmp_path: Path) -> None:
    left = figure("CL", [(100, 0), (150, 50)], [QUARTER], handle="B", kind="ARC")
    right = figure("CL", [(100, 0), (200, 0)], handle="C", kind="LINE")
    ((slug, _, message),) = drawn(tmp_path, [FIRST, left, right])
    assert slug == "alignment-branch"
    assert all(
        f"{name} {handle}" in message
        for name, handle in [("LINE", "A"), ("ARC", "B"), ("LINE", "C")]
    )


def test_a_ring_beside_the_course_is_a_second_one(tmp_path: Path) -> None:
    ring = figure("CL", [(300, 0), (310, 0), (310, 10)], handle="B", closed=True)
    ((slug, _, message),) = drawn(tmp_path, [FIRST, ring])
    assert slug == "alignment-gap"
    assert "the least gap is 200.0000 m" in message


def test_a_layer_without_lines_names_those_that_have_some(tmp_path: Path) -> None:
    other = figure("ROAD-CL", [(0, 0), (100, 0)])
    found = drawn(tmp_path, [other])
    assert {slug for slug, _, _ in found} == {"layer-unknown"}
    assert 'no line is drawn on a layer "CL"' in found[0][2]


def test_a_course_without_length(tmp_path: Path) -> None:
    ((slug, _, _),) = drawn(tmp_path, [figure("CL", [(5, 5), (5, 5)])])
    assert slug == "alignment-empty"


@pytest.mark.parametrize(
    ("line", "expected", "words"),
    [
        (
            'equations = [{ back = "0+050", ahead = "0+100" }]',
            "station-equation",
            "0+050.000 not ahead of 0+100.000",
        ),
        (
            'equations = [{ back = 300, ahead = 250 }, { back = "0+240", ahead = "0+300" }]',
            "station-equation",
            "station equation 2 has its back station 0+240.000 not ahead of 0+250.000",
        ),
        (
            'equations = [{ back = "0+900", ahead = "1+000" }]',
            "station-equation",
            "lies beyond its end",
        ),
        ('equations = [{ back = "0+200" }]', "missing-key", "no ahead"),
        ('equations = "0+200 = 0+300"', "wrong-type", "equations is"),
        ('layer = "CL"', "conflicting-keys", "has both layer and elements"),
        ('crossfall = "2"', "bad-value", "crossfall"),
        ("crossfall = { left = '-2 %' }", "missing-key", "no right"),
        ("reversed = 1", "wrong-type", "reversed is 1"),
        ("start_point = { n = 1 }", "missing-key", "no e"),
        ("start_azimuth = 400", "bad-value", "400"),
        ("side = 'left'", "unknown-key", 'unknown key "side"'),
    ],
)
def test_keys_of_an_alignment(tmp_path: Path, line: str, expected: str, words: str) -> None:
    found = faults(road(tmp_path, CL + line + "\n"))
    assert any(slug == expected and words in message for slug, _, message in found), found


def test_a_start_that_is_no_station(tmp_path: Path) -> None:
    ((slug, where, message),) = faults(road(tmp_path, CL.replace('"0+100"', '"1+0"')))
    assert (slug, where) == ("bad-value", "job.toml:14")
    assert "'1+0' is not understood" in message


def test_an_alignment_needs_a_course(tmp_path: Path) -> None:
    found = faults(road(tmp_path, '[alignment.CL]\nstart = "0+100"\n'))
    assert [(slug, "no layer" in message) for slug, _, message in found] == [("missing-key", True)]


def test_a_layer_needs_a_drawing_and_takes_no_start_point(tmp_path: Path) -> None:
    found = faults(road(tmp_path, LAYER + "start_point = { n = 0, e = 0 }\n"))
    assert {slug for slug, _, _ in found} == {"missing-section", "conflicting-keys"}


def test_a_crossfall_needs_a_profile(tmp_path: Path) -> None:
    alignment = CL.replace('profile = "profile.csv"\n', "") + 'crossfall = "-2 %"\n'
    assert [slug for slug, _, _ in faults(road(tmp_path, alignment))] == ["missing-key"]


def test_an_unknown_alignment_names_the_known(tmp_path: Path) -> None:
    found = faults(road(tmp_path, section=SECTION.replace('"CL"', '"CI"')))
    ((slug, where, message),) = found
    assert (slug, where) == ("unknown-alignment", "job.toml:18")
    assert "no [alignment.CI]" in message


@pytest.mark.parametrize(
    ("profile", "slug", "line", "words"),
    [
        (
            "0+100,50,\n0+180,52,100\n0+250,51,80\n0+420,55,\n",
            "profile-curve",
            4,
            "overlap by 20.0000 m",
        ),
        (
            "0+100,50,\n0+250,51,80\n0+180,52,10\n0+420,55,\n",
            "profile-order",
            4,
            "0+180.000 does not lie ahead",
        ),
        ("0+100,50,20\n0+420,55,\n", "profile-curve", 2, "first or the last PVI has a curve"),
        ("0+100,50,\n0+120,55,60\n0+420,55,\n", "profile-curve", 3, "overlap"),
        ("0+100,50,\n", "profile-curve", 2, "two PVIs"),
    ],
)
def test_profiles_that_cannot_be(
    tmp_path: Path, profile: str, slug: str, line: int, words: str
) -> None:
    ((found, where, message),) = faults(
        road(tmp_path, profile_csv="station,elevation,length\n" + profile)
    )
    assert (found, where) == (slug, f"profile.csv:{line}"), message
    assert words in message


def test_a_pvi_in_the_gap_of_an_equation(tmp_path: Path) -> None:
    alignment = CL + 'equations = [{ back = "0+200", ahead = "0+300" }]\n'
    ((slug, where, message),) = faults(road(tmp_path, alignment))
    assert (slug, where) == ("station-unknown", "profile.csv:3")
    assert "0+250.000 lies in the gap" in message


@pytest.mark.parametrize(
    ("elements", "slug", "line", "words"),
    [
        # the start of the second row is 0.5 m off
        (
            "line,100,,,0,0,90\nline,50,,,0.5,100,90\n",
            "alignment-gap",
            3,
            "500.0 mm from where the line of line 2 ends",
        ),
        # a curve turned the wrong way: what follows does not start there
        (
            "line,100,,,0,0,90\narc,62.832,40,left,,,\nline,50,,,-40,140,180\n",
            "alignment-gap",
            4,
            "from where the arc of line 3 ends",
        ),
        ("line,100,,,0,0,90\nline,50,,,,,270\n", "alignment-reversal", 3, "runs back"),
        ("line,100,,,0,0,90\nspiral,40,,,,,\nline,9,,,,,\n", "element-radius", 3, "same curvature"),
        (
            "line,100,,,0,0,90\nspiral,40,200,left,,,\narc,30,200,right,,,\n",
            "element-radius",
            4,
            "another radius or turn",
        ),
        ("line,100,,,,,\n", "alignment-start", 2, "where the course starts"),
        ("line,0,,,0,0,90\n", "alignment-element", 2, "without any element"),
        ("line,100,,,0,0,90\nspiral,9000,20,left,,,\n", "alignment-element", 2, "a spiral of"),
    ],
)
def test_tables_of_elements_that_cannot_be(
    tmp_path: Path, elements: str, slug: str, line: int, words: str
) -> None:
    head = "type,length,radius,turn,northing,easting,azimuth\n"
    alignment = CL.replace('profile = "profile.csv"\n', "")
    found = faults(road(tmp_path, alignment, cl_csv=head + elements))
    assert (slug, f"cl.csv:{line}") in [each[:2] for each in found], found
    assert any(words in message for _, _, message in found), found


@pytest.mark.parametrize(
    ("rows", "slug", "line", "words"),
    [
        ("0,0,,,\n", "alignment-element", 2, "two points or more"),
        ("0,0,50,,\n0,100,,,\n", "element-radius", 2, "an end has no curve"),
        ("0,0,,,\n0,100,,20,\n100,100,,,\n", "element-radius", 3, "spirals and no radius"),
        ("0,0,,,\n0,100,,,\n,100,,,\n", "missing-value", 4, "no northing"),
        ("0,0,,,\n0,100,50,,\n100,100,60,,\n100,0,,,\n", "alignment-element", 2, "overlap"),
        ("0,0,,,\n0,100,20,,\n0,100,20,,\n100,100,,,\n", "alignment-element", 2, "at one place"),
        ("0,0,,,\n0,100,20,40,\n100,100,,,\n", "alignment-element", 2, "point of intersection 2: "),
        ("0,0,,,\n0,100,20,5,6\n100,100,,,\n", "conflicting-lengths", 3, "for both sides"),
    ],
)
def test_points_of_intersection_that_cannot_be(
    tmp_path: Path, rows: str, slug: str, line: int, words: str
) -> None:
    head = "northing,easting,radius,spiral,spiral_in\n"
    alignment = '[alignment.CL]\nintersections = "pis.csv"\n'
    found = faults(road(tmp_path, alignment, pis_csv=head + rows))
    assert [(each[0], each[1].split(" ")[0]) for each in found] == [(slug, f"pis.csv:{line}")]
    assert words in found[0][2], found


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ('elements = "cl.csv"', "has both elements and intersections"),
        ('layer = "CL"', "has both layer and intersections"),
        ("start_azimuth = 90", "belongs to a table of elements, not to intersections"),
    ],
)
def test_one_course_is_stated_once(tmp_path: Path, keys: str, words: str) -> None:
    alignment = f'[alignment.CL]\nintersections = "pis.csv"\n{keys}\n'
    pis = "northing,easting\n0,0\n0,100\n"
    found = faults(road(tmp_path, alignment, pis_csv=pis))
    assert any(slug == "conflicting-keys" and words in text for slug, _, text in found), found


def test_an_alignment_that_nobody_uses_is_checked_all_the_same(tmp_path: Path) -> None:
    other = '[alignment.SPARE]\nelements = "cl.csv"\nequations = [{ back = -100, ahead = 1000 }]\n'
    found = faults(road(tmp_path, CL + other))
    assert [slug for slug, _, _ in found] == ["station-equation"]


@pytest.mark.parametrize(
    ("section", "slug", "words"),
    [
        ('match = "line"', "missing-key", "no design"),
        ('match = "line"\ndesign = { id = "7" }', "conflicting-keys", "its design names id"),
        ('match = "station"', "missing-key", "no alignment"),
        ('stake_offset = { offset = "3 m", side = "left" }', "missing-key", "no line from which"),
        ('alignment = "CL"\nstake_offset = { offset = "3 m" }', "missing-key", "no side"),
        (
            'alignment = "CL"\nstake_offset = { offset = "-3 m", side = "left" }',
            "bad-value",
            "-3 m",
        ),
        ('alignment = "CL"\nstake_offset = { offset = 3, side = "up" }', "wrong-choice", '"up"'),
        ('design = { stakes = "s.csv", layer = "X" }', "conflicting-keys", "has stakes and layer"),
        ('alignment = "CL"\nmatch = "station"\nwithin = 1', "conflicting-keys", "has within"),
    ],
)
def test_keys_of_a_stakeout(tmp_path: Path, section: str, slug: str, words: str) -> None:
    text = f'[[stakeout]]\nname = "S"\ntolerance = "line"\n{section}\n'
    found = faults(road(tmp_path, section=text, s_csv="id,northing,easting\nA,1,2\n"))
    assert any(each[0] == slug and words in each[2] for each in found), found


def test_stakes_by_station_need_an_alignment(tmp_path: Path) -> None:
    text = '[[stakeout]]\nname = "S"\ntolerance = "line"\ndesign = { stakes = "s.csv" }\n'
    found = faults(road(tmp_path, section=text, s_csv="id,station,offset\nA,0+100,2\n"))
    assert [slug for slug, _, _ in found] == ["stakes-without-alignment"]
