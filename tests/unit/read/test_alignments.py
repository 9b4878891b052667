import math

import numpy as np
import pytest

from checker.errors import InputError
from checker.read.alignments import (
    parse_station_text,
    read_elements,
    read_profile,
    read_stakes,
    read_superelevation,
)
from checker.read.files import Source
from checker.units import LengthUnit, UnitError

FT = LengthUnit.US_SURVEY_FOOT
M = LengthUnit.METRE


def source(text: str, path: str = "t.csv") -> Source:
    return Source(path=path, data=text.encode())


def slugs(read: object, text: str) -> list[tuple[str, int | None]]:
    with pytest.raises(InputError) as found:
        read(source(text), unit=M, columns={})  # type: ignore[operator]
    return [(each.slug, each.where.line) for each in found.value.problems]


@pytest.mark.parametrize(
    ("text", "unit", "metres", "side"),
    [
        ("10+00", FT, 1000 * 1200 / 3937, ""),
        ("0+100.5", M, 100.5, ""),
        ("1 + 50.25", M, 150.25, ""),
        ("12+60 ahead", M, 1260.0, "ahead"),
        ("12+60BK", M, 1260.0, "back"),
        ("12+60 Back", M, 1260.0, "back"),
        ("12+60 AH.", M, 1260.0, "ahead"),
        (125.0, M, 125.0, ""),
    ],
)
def test_stations(text: str | float, unit: LengthUnit, metres: float, side: str) -> None:
    found, which = parse_station_text(text, unit)
    assert found == pytest.approx(metres, abs=1e-12)
    assert which == side


@pytest.mark.parametrize("text", ["", "10+0", "ten", "10+00+00", "back"])
def test_what_is_no_station(text: str) -> None:
    with pytest.raises(UnitError):
        parse_station_text(text, M)


def test_elements_with_signs_and_with_turns() -> None:
    signed = read_elements(
        source("Type;Length;R\ntangent;100;\ncurve;50;-200\nclothoid;40;200\n"), unit=M, columns={}
    )
    assert signed.kind.tolist() == ["line", "arc", "spiral"]
    assert signed.radius_m[1:].tolist() == [-200.0, 200.0]
    turned = read_elements(
        source("type,length (ft),radius,turn,start n,start e,azimuth\nARC,50,200,LT,1,2,N 45 E\n"),
        unit=FT,
        columns={},
    )
    foot = 1200 / 3937
    assert turned.radius_m[0] == pytest.approx(-200 * foot)
    assert turned.length_m[0] == pytest.approx(50 * foot)
    assert (turned.northing_m[0], turned.easting_m[0]) == (
        pytest.approx(foot),
        pytest.approx(2 * foot),
    )
    assert turned.azimuth_rad[0] == pytest.approx(math.pi / 4)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("type,length\nwiggle,10\n", [("unknown-element", 2)]),
        ("type,length\nline,\n", [("missing-value", 2)]),
        ("type,length\nline,-5\n", [("negative", 2)]),
        ("type,length,radius\narc,10,\n", [("element-radius", 2)]),
        ("type,length,radius\narc,10,0\n", [("element-radius", 2)]),
        ("type,length,radius,turn\narc,10,50,up\n", [("unknown-side", 2)]),
        ("type,length,radius,turn\narc,10,-50,right\n", [("unknown-side", 2)]),
        ("type,length,azimuth\nline,10,400\n", [("bad-angle", 2)]),
        ("type,radius\nline,10\n", [("missing-column", 1)]),
    ],
)
def test_elements_at_fault(text: str, expected: list[tuple[str, int]]) -> None:
    assert slugs(read_elements, text) == expected


def test_a_profile_by_whole_lengths_and_by_parts() -> None:
    whole = read_profile(
        source("PVI Station,Elevation,LVC\n10+00,50,\n12+00,56,200\n16+00,52,0\n"),
        unit=M,
        columns={},
    )
    assert whole.station_m.tolist() == [1000, 1200, 1600]
    assert whole.length_in_m.tolist() == whole.length_out_m.tolist() == [0, 100, 0]
    parts = read_profile(
        source("station,elevation,length_in,length_out\n0,50,,\n200,56,60,90\n500,52,,\n"),
        unit=M,
        columns={},
    )
    assert parts.length_in_m[1:2].tolist() == [60]
    assert parts.length_out_m[1:2].tolist() == [90]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("station,elevation\n1+0,50\n", [("bad-station", 2)]),
        ("station,elevation\n0+100,\n", [("missing-value", 2)]),
        ("station,elevation,length,l1,l2\n0,1,10,5,5\n", [("conflicting-lengths", 2)]),
        ("station,elevation,l1,l2\n0,1,5,\n", [("conflicting-lengths", 2)]),
        ("station,length\n0,1\n", [("missing-column", 1)]),
    ],
)
def test_profiles_at_fault(text: str, expected: list[tuple[str, int]]) -> None:
    assert slugs(read_profile, text) == expected


def test_stakes_have_their_side_in_the_cell_in_a_column_or_as_a_sign() -> None:
    text = (
        "id,station,offset,side,elev,desc\n"
        "1,0+100,5,L,10,hub\n2,0+100,5,R,,\n3,0+100,-5,,,\n4,0+100,5 L,,,\n"
        "5,0+100,R 5,,,\n6,0+100,CL,,,\n7,0+100,,,,\n8,0+100,5 ft,left,,\n"
    )
    found = read_stakes(source(text), unit=M, columns={})
    assert found.offset_m == pytest.approx([-5, 5, -5, -5, 5, 0, 0, -5 * 0.3048])
    assert found.elevation_m[0] == 10
    assert np.isnan(found.elevation_m[1])
    assert found.description[0] == "hub"


def test_stakes_by_coordinates_and_both_in_one_table() -> None:
    found = read_stakes(
        source("id,station,offset,n,e\n1,0+100,5,,\n2,,,10,20\n"), unit=M, columns={}
    )
    assert np.isnan(found.station_m[1])
    assert (found.northing_m[1], found.easting_m[1]) == (10, 20)
    assert np.isnan(found.offset_m[1])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("id,station,offset\n,0+100,5\n", [("missing-value", 2)]),
        ("id,station,offset\nA,,5\n", [("missing-value", 2)]),
        ("id,station,offset,side\nA,0+100,-5,L\n", [("unknown-side", 2)]),
        ("id,station,offset,side\nA,0+100,5,up\n", [("unknown-side", 2)]),
        ("id,station,offset,side\nA,0+100,5,CL\n", [("unknown-side", 2)]),
        ("id,station,offset\nA,0+100,-5 L\n", [("not-a-number", 2)]),
        ("id,station,offset\nA,0+100,wide\n", [("not-a-number", 2)]),
        ("id,station,offset,n,e\nA,0+100,5,1,2\n", [("conflicting-places", 2)]),
        ("id,northing,easting\nA,1,\n", [("missing-value", 2)]),
        ("station,offset\n0+100,5\n", [("missing-column", 1)]),
    ],
)
def test_stakes_at_fault(text: str, expected: list[tuple[str, int]]) -> None:
    assert slugs(read_stakes, text) == expected


def test_superelevation_says_its_unit_in_the_cell_or_the_heading() -> None:
    cells = read_superelevation(
        source("station,left,right\n0+000,-2 %,-1:50\n0+100,-2 %,4%\n"), unit=M, columns={}
    )
    assert cells.left == pytest.approx([-0.02, -0.02])
    assert cells.right == pytest.approx([-0.02, 0.04])
    headed = read_superelevation(
        source("station,left (%),right (%)\n0+000,-2,-2\n0+100,-2,4.5\n"), unit=M, columns={}
    )
    assert headed.right == pytest.approx([-0.02, 0.045])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("station,left,right\n0+000,-2,-2 %\n", [("bad-slope", 2)]),
        ("station,left,right\n0+000,-2 %,\n", [("missing-value", 2)]),
        ("station,left\n0+000,-2 %\n", [("missing-column", 1)]),
    ],
)
def test_superelevation_at_fault(text: str, expected: list[tuple[str, int]]) -> None:
    assert slugs(read_superelevation, text) == expected


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("id,station,offset\n(m),(m),(m)\nA,1+00,1.0\n", ["station", "offset"]),
        ("id,station,offset (m)\nA,1+00,1.0\n", ["offset (m)"]),
        ("# units: metres\nid,station,offset\nA,1+00,1.0\n", [""]),
    ],
)
def test_stakes_in_another_unit_than_the_job_are_refused(text: str, named: list[str]) -> None:
    # They were read in the job's feet without a word: 1 m at 1 ft from the line.
    with pytest.raises(InputError) as caught:
        read_stakes(
            Source(path="stakes.csv", data=text.encode()),
            unit=LengthUnit.FOOT,
            columns={},
            notices=[],
        )
    assert [problem.slug for problem in caught.value.problems] == ["unit-contradiction"] * len(
        named
    )
    assert [problem.where.part or "" for problem in caught.value.problems] == named


def test_a_profile_whose_first_lines_name_another_unit_is_refused() -> None:
    text = "# units: metres\nstation,elevation,length\n0+00,10.0,0\n5+00,12.0,0\n"
    with pytest.raises(InputError, match="unit-contradiction"):
        read_profile(
            Source(path="profile.csv", data=text.encode()),
            unit=LengthUnit.FOOT,
            columns={},
            notices=[],
        )


@pytest.mark.parametrize(
    "head",
    ["Sta,PVI Elev,VC Length", "PVI Station,PVI Elevation,LVC", "VPI,VPI Elev,Curve Length"],
)
def test_usual_headings_of_a_profile(head: str) -> None:
    found = read_profile(source(f"{head}\n10+00,100,\n12+00,104,80\n"), unit=FT, columns={})
    assert found.length_in_m.tolist() == pytest.approx([0.0, 40.0 * 1200 / 3937])


def test_a_heading_of_a_profile_is_mapped_by_profile_columns() -> None:
    with pytest.raises(InputError) as found:
        read_profile(source("station,elevatn,length\n10+00,100,\n"), unit=FT, columns={})
    (problem,) = found.value.problems
    assert 'profile_columns = { elevation = "elevatn" }' in problem.hint


def test_offsets_under_a_slash() -> None:
    found = read_stakes(source("Pt,Sta,O/S,Side\n1,11+00,10,L\n"), unit=M, columns={})
    assert found.offset_m.tolist() == [-10.0]
