import math

import numpy as np
import pytest

from checker.errors import InputError, Problem
from checker.model.books import LevelBook, RiseBook, TraverseBook
from checker.model.drawing import Notice
from checker.model.job import AngleKind
from checker.read.files import Source
from checker.read.level_book import read_level_book
from checker.read.traverse_book import read_traverse_book
from checker.units import AngleFormat, LengthUnit

M = LengthUnit.METRE


def traverse(
    text: str,
    angles: str = "right",
    *,
    unit: LengthUnit = M,
    fmt: AngleFormat = AngleFormat.SEXAGESIMAL,
    columns: dict[str, str] | None = None,
    notices: list[Notice] | None = None,
) -> TraverseBook:
    return read_traverse_book(
        Source(path="t.csv", data=text.encode()),
        unit=unit,
        angles=AngleKind(angles),
        angle_format=fmt,
        columns=columns or {},
        notices=notices,
    )


def levels(
    text: str,
    *,
    unit: LengthUnit = M,
    columns: dict[str, str] | None = None,
    notices: list[Notice] | None = None,
) -> LevelBook | RiseBook:
    return read_level_book(
        Source(path="l.csv", data=text.encode()), unit=unit, columns=columns or {}, notices=notices
    )


def traverse_faults(text: str, angles: str = "right", **options: object) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        traverse(text, angles, **options)  # type: ignore[arg-type]
    return caught.value.problems


def level_faults(text: str, **options: object) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        levels(text, **options)  # type: ignore[arg-type]
    return caught.value.problems


HEAD = "at,to,angle,distance\n"
BOOK = HEAD + "A,B,90-00-00,100.5\nB,C,180 30 30.5,200\nC,A,45°15'00\",300.25\nA,B,44.5,\n"


def deg(d: float, m: float = 0, s: float = 0) -> float:
    return math.radians(d + m / 60 + s / 3600)


def test_a_traverse_book() -> None:
    book = traverse(BOOK)
    assert book.path == "t.csv"
    assert list(book.at) == ["A", "B", "C", "A"]
    assert list(book.to) == ["B", "C", "A", "B"]
    assert book.angle_rad == pytest.approx(
        [deg(90), deg(180, 30, 30.5), deg(45, 15), deg(44.5)], abs=1e-14
    )
    assert list(book.distance_m[:3]) == [100.5, 200.0, 300.25]
    assert np.isnan(book.distance_m[3])
    assert np.isnan(book.slope_m).all()
    assert np.isnan(book.hi_m).all()
    assert list(book.line) == [2, 3, 4, 5]


def test_distances_in_feet() -> None:
    book = traverse(BOOK, unit=LengthUnit.US_SURVEY_FOOT)
    assert book.distance_m[1] == pytest.approx(200 * 1200 / 3937, rel=1e-15)


@pytest.mark.parametrize(
    "head",
    [
        "Station,Foresight,Angle Right,Dist.",
        "FROM,TO,Horizontal Angle,Horiz. Dist (m)",
        "Occupied,Sighted,HA,HD",
        "At Station,To Station,Angle (dms),Distance [m]",
    ],
)
def test_usual_headings(head: str) -> None:
    assert np.array_equal(
        traverse(BOOK.replace(HEAD.strip(), head)).angle_rad, traverse(BOOK).angle_rad
    )


def test_blanks_part_columns_and_the_closing_row_is_short() -> None:
    book = traverse("at to angle distance\nA B 90-00-00 100\nB A 90-00-00 100\nA B 180-00-00\n")
    assert len(book) == 3
    assert np.isnan(book.distance_m[2])


def test_other_short_rows_of_blanks_are_faults() -> None:
    found = traverse_faults("at to angle distance\nA B 90-00-00\nB A 90-00-00 100\n")
    assert "row-width" in [p.slug for p in found]


def test_the_first_row_may_lack_its_angle() -> None:
    book = traverse(HEAD + "A,B,,100\nB,A,180-00-00,100\n")
    assert np.isnan(book.angle_rad[0])


def test_slope_distances() -> None:
    book = traverse(
        "at,to,angle,slope distance,zenith,hi,ht\nA,B,90,100,88-30-00,1.5,2\nB,A,90,100,92,1.6,2\n"
    )
    assert list(book.slope_m) == [100.0, 100.0]
    assert np.isnan(book.distance_m).all()
    assert book.zenith_rad == pytest.approx([deg(88, 30), deg(92)])
    assert list(book.hi_m) == [1.5, 1.6]
    assert list(book.ht_m) == [2.0, 2.0]


def test_slope_and_horizontal_distances_by_row() -> None:
    book = traverse("at,to,angle,distance,sd,za\nA,B,90,,100,88\nB,A,90,100,,\n")
    assert list(np.isnan(book.slope_m)) == [False, True]
    assert list(np.isnan(book.distance_m)) == [True, False]


@pytest.mark.parametrize(
    ("cell", "degrees"),
    [
        ("12-30-00 L", -12.5),
        ("12-30-00L", -12.5),
        ("12-30-00 R", 12.5),
        ("R 12-30-00", 12.5),
        ("12-30-00 left", -12.5),
        ("12°30'00\" Rt", 12.5),
        ("-12.5", -12.5),
        ("12.5", 12.5),
        ("-0-30-00", -0.5),
        ("180", 180.0),
    ],
)
def test_deflections(cell: str, degrees: float) -> None:
    quoted = '"' + cell.replace('"', '""') + '"'
    book = traverse(f"at,to,deflection,distance\nA,B,{quoted},100\nB,A,1,100\n", "deflection")
    assert book.angle_rad[0] == pytest.approx(math.radians(degrees), abs=1e-15)


@pytest.mark.parametrize("cell", ["-12 L", "181", "12 30 L x", "200 R"])
def test_what_is_no_deflection(cell: str) -> None:
    found = traverse_faults(f"at,to,angle,distance\nA,B,{cell},100\nB,A,1,100\n", "deflection")
    assert [(p.slug, p.where.line) for p in found] == [("bad-angle", 2)]


def test_bearings_and_azimuths() -> None:
    book = traverse(
        "at,to,bearing,distance\nA,B,N 45-30-15 E,100\nB,C,S45W,1\nC,A,due west,1\n", "bearing"
    )
    assert book.angle_rad == pytest.approx([deg(45, 30, 15), deg(225), deg(270)])
    book = traverse("at,to,azimuth,distance\nA,B,0,100\nB,C,359-59-59,1\n", "azimuth")
    assert book.angle_rad == pytest.approx([0, deg(359, 59, 59)])
    assert traverse("at,to,bearing,dist\nA,B,200-30,1\nB,A,20-30,1\n", "azimuth").angle_rad[
        0
    ] == pytest.approx(deg(200, 30))


@pytest.mark.parametrize(
    ("fmt", "cell", "radians"),
    [
        (AngleFormat.PACKED, "123.4556", deg(123, 45, 56)),
        (AngleFormat.GON, "100", math.pi / 2),
        (AngleFormat.RADIANS, "1.5", 1.5),
    ],
)
def test_angle_formats(fmt: AngleFormat, cell: str, radians: float) -> None:
    book = traverse(HEAD + f"A,B,{cell},100\nB,A,{cell},100\n", fmt=fmt)
    assert book.angle_rad[0] == pytest.approx(radians)


def test_decimal_commas_in_angles() -> None:
    book = traverse("at;to;angle;distance\nA;B;90-00-00,5;100,5\nB;A;90,25;100,5\n")
    assert book.angle_rad == pytest.approx([deg(90, 0, 0.5), deg(90.25)])


@pytest.mark.parametrize(
    ("rows", "slug", "line"),
    [
        ("A,B,361,100\nB,A,1,100\n", "bad-angle", 2),
        ("A,B,-1,100\nB,A,1,100\n", "bad-angle", 2),
        ("A,B,12-60-00,100\nB,A,1,100\n", "bad-angle", 2),
        ("A,B,N 12 E,100\nB,A,1,100\n", "bad-angle", 2),
        ("A,B,1,100\nB,A,,100\n", "missing-value", 3),
        ("A,B,1,\nB,A,1,100\n", "missing-value", 2),
        ("A,B,1,0\nB,A,1,100\n", "not-positive", 2),
        ("A,B,1,-5\nB,A,1,100\n", "not-positive", 2),
        ("A,B,1,abc\nB,A,1,100\n", "not-a-number", 2),
        ("A,,1,100\n,A,1,100\n", "missing-value", 2),
        ("A,B,1,100\nC,A,1,100\n", "broken-chain", 3),
        ("A,A,1,100\nA,B,1,100\n", "same-station", 2),
        ("A,B,1,\n", "missing-value", 2),
    ],
)
def test_faults_of_a_traverse(rows: str, slug: str, line: int) -> None:
    found = traverse_faults(HEAD + rows)
    assert (slug, line) in [(p.slug, p.where.line) for p in found]


def test_a_broken_chain_names_both() -> None:
    found = traverse_faults(HEAD + "A,B,1,100\nC,A,1,100\n")
    assert '"C"' in found[0].message
    assert '"B"' in found[0].message


@pytest.mark.parametrize(
    ("row", "slug"),
    [
        ("A,B,1,,100,", "missing-value"),
        ("A,B,1,100,100,88", "two-distances"),
        ("A,B,1,,100,272", "face-two"),
        ("A,B,1,,100,0", "bad-angle"),
        ("A,B,1,,100,180", "bad-angle"),
        ("A,B,1,,100,-2", "bad-angle"),
        ("A,B,1,,100,360", "bad-angle"),
    ],
)
def test_faults_of_slopes(row: str, slug: str) -> None:
    found = traverse_faults(f"at,to,angle,distance,slope,zenith\n{row}\nB,A,1,100,,\n")
    assert [(p.slug, p.where.line) for p in found] == [(slug, 2)]


def test_azimuths_need_every_direction() -> None:
    found = traverse_faults("at,to,azimuth,distance\nA,B,,100\nB,A,1,100\n", "azimuth")
    assert [(p.slug, p.where.line) for p in found] == [("missing-value", 2)]


@pytest.mark.parametrize(
    ("head", "angles", "slug"),
    [
        ("at,to,azimuth,distance", "right", "other-direction"),
        ("at,to,angle", "right", "missing-column"),
        ("at,to,distance", "right", "missing-column"),
        ("at,to,angle,slope", "right", "missing-column"),
        ("at,to,angle (gon),distance", "right", "unit-contradiction"),
        ("at,to,angle,distance (ft)", "right", "unit-contradiction"),
        ("at,to,angle,distance,hd", "right", "ambiguous-column"),
    ],
)
def test_headings_at_fault(head: str, angles: str, slug: str) -> None:
    rows = "A,B,1,100\nB,A,1,100\n"
    assert slug in [p.slug for p in traverse_faults(f"{head}\n{rows}", angles)] or slug in [
        p.slug for p in traverse_faults(f"{head}\nA,B,1\nB,A,1\n", angles)
    ]


def test_what_is_not_read_of_a_traverse_is_said() -> None:
    notices: list[Notice] = []
    book = traverse(
        "at,to,angle,azimuth,distance,remark\nA,B,1,50,100,x\nB,A,1,60,100,y\nTotal,,,,200,\n",
        notices=notices,
    )
    assert len(book) == 2
    assert [n.slug for n in notices] == ["totals-row", "unused-columns"]
    assert '"azimuth", "remark"' in notices[1].message


LEVELS = "point,bs,is,fs,distance\nBM1,1.234,,,\nTP1,2.5,,1.1,120\nP5,,0.75,,\nBM2,,,2.25,80\n"


def level_book(text: str, **options: object) -> LevelBook:
    book = levels(text, **options)  # type: ignore[arg-type]
    assert isinstance(book, LevelBook)
    return book


def test_a_level_book() -> None:
    book = level_book(LEVELS)
    nan = math.nan
    assert list(book.point) == ["BM1", "TP1", "P5", "BM2"]
    assert np.array_equal(book.bs_m, [1.234, 2.5, nan, nan], equal_nan=True)
    assert np.array_equal(book.is_m, [nan, nan, 0.75, nan], equal_nan=True)
    assert np.array_equal(book.fs_m, [nan, 1.1, nan, 2.25], equal_nan=True)
    assert np.array_equal(book.distance_m, [nan, 120, nan, 80], equal_nan=True)
    assert list(book.line) == [2, 3, 4, 5]


def test_a_turning_point_on_two_rows() -> None:
    two = LEVELS.replace("TP1,2.5,,1.1,120\n", "TP1,,,1.1,120\nTP1,2.5,,,\n")
    one, other = level_book(LEVELS), level_book(two)
    for name in ("bs_m", "is_m", "fs_m", "distance_m"):
        assert np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)
    assert list(other.line) == [2, 3, 5, 6]


def test_a_rise_and_fall_page_is_read_by_its_readings() -> None:
    notices: list[Notice] = []
    book = level_book(
        "station,bs,is,fs,rise,fall,rl\nBM1,1.2,,,,,10\nBM2,,,1.0,0.2,,10.2\n", notices=notices
    )
    assert list(book.point) == ["BM1", "BM2"]
    assert notices == []
    assert isinstance(book, LevelBook)
    assert book.booked is not None
    assert book.booked.rise_m.tolist()[1] == pytest.approx(0.2)
    assert book.booked.elevation_m.tolist() == pytest.approx([10.0, 10.2])
    assert book.booked.elevation_step_m.tolist() == pytest.approx([1.0, 0.1])


def test_distances_in_kilometres_and_cells_with_units() -> None:
    notices: list[Notice] = []
    book = level_book(
        "point,bs,fs,dist (km)\nBM1,4.00,,\nBM2,,3.00,0.12\n",
        unit=LengthUnit.FOOT,
        notices=notices,
    )
    assert book.distance_m[1] == pytest.approx(120.0)
    assert book.bs_m[0] == pytest.approx(1.2192)
    assert [n.slug for n in notices] == ["heading-unit"]
    book = level_book("point,bs,fs,distance\nBM1,4.00,,\nBM2,,3.00,0.12 km\n")
    assert book.distance_m[1] == pytest.approx(120.0)


def test_negative_readings_are_said() -> None:
    notices: list[Notice] = []
    book = level_book("point,bs,fs\nBM1,-2.1,\nBM2,,1.0\n", notices=notices)
    assert book.bs_m[0] == -2.1
    assert [(n.slug, n.where.line) for n in notices] == [("negative-reading", 2)]


@pytest.mark.parametrize(
    ("rows", "slug", "line"),
    [
        ("BM1,1,,\nBM2,,,\n", "level-order", 3),
        ("BM1,,,1\nBM2,,,1\n", "level-order", 2),
        ("BM1,1,,2\nBM2,,,1\n", "level-order", 2),
        ("BM1,,1,\nBM2,,,1\n", "level-order", 2),
        ("BM1,1,,\nTP,1,,1\n", "level-order", 3),
        ("BM1,1,,\nTP,,1,\n", "level-order", 3),
        ("BM1,1,,\nTP,,,1\nTQ,1,,\nBM2,,,1\n", "level-order", 3),
        ("BM1,1,,\nTP,1,,\nBM2,,,1\n", "level-order", 3),
        ("BM1,1,,\nTP,1,1,1\nBM2,,,1\n", "level-order", 3),
        ("BM1,1,,\n,,,1\n", "missing-value", 3),
        ("BM1,1,,\nBM2,,,x\n", "not-a-number", 3),
        ("BM1,11,,\nBM2,,,1\n", "too-large", 2),
        ("BM1,1,,\n", "level-order", 2),
    ],
)
def test_faults_of_a_level_book(rows: str, slug: str, line: int) -> None:
    found = level_faults("point,bs,is,fs\n" + rows)
    assert (slug, line) in [(p.slug, p.where.line) for p in found]


@pytest.mark.parametrize(("row", "slug"), [("TP,1,1,-5", "negative"), ("TP,1,1,0", "not-positive")])
def test_distances_of_sections(row: str, slug: str) -> None:
    found = level_faults(f"point,bs,fs,distance\nBM1,1,,\n{row}\nBM2,,1,10\n")
    assert [(p.slug, p.where.line) for p in found] == [(slug, 3)]


def test_a_distance_beside_a_backsight_alone() -> None:
    found = level_faults("point,bs,fs,distance\nBM1,1,,50\nBM2,,1,\n")
    assert [(p.slug, p.where.line) for p in found] == [("stray-distance", 2)]


def test_differences_of_elevation() -> None:
    book = levels("from,to,dh,km,setups\nA,B,-0.749,1.1,4\nB,C,0.5,,\n", columns={})
    assert isinstance(book, RiseBook)
    assert list(book.rise_m) == [-0.749, 0.5]
    assert np.isnan(book.distance_m).all()
    book = levels("from,to,rise,distance,setups\nA,B,-0.749,110,4\nB,C,0.5,,\n")
    assert isinstance(book, RiseBook)
    assert list(book.from_) == ["A", "B"]
    assert list(book.to) == ["B", "C"]
    assert np.array_equal(book.distance_m, [110, math.nan], equal_nan=True)
    assert np.array_equal(book.setups, [4, math.nan], equal_nan=True)


@pytest.mark.parametrize(
    ("row", "slug"),
    [
        ("A,B,,1,1", "missing-value"),
        ("A,A,1,1,1", "same-station"),
        (",B,1,1,1", "missing-value"),
        ("A,B,1,1,0", "not-positive"),
        ("A,B,1,1,1.5", "not-a-count"),
        ("A,B,up,1,1", "not-a-number"),
        ("A,B,1,0,1", "not-positive"),
    ],
)
def test_faults_of_differences(row: str, slug: str) -> None:
    found = level_faults(f"from,to,rise,distance,setups\n{row}\n")
    assert [(p.slug, p.where.line) for p in found] == [(slug, 2)]


@pytest.mark.parametrize("rows", ["1,2,3,4,5,6\n", '"open\n'])
def test_books_in_which_no_row_can_be_split(rows: str) -> None:
    slugs = {"row-width", "open-quote"}
    assert {p.slug for p in level_faults("point,bs,is,fs\n" + rows)} <= slugs
    assert {p.slug for p in level_faults("from,to,rise\n" + rows)} <= slugs
    assert {p.slug for p in traverse_faults(HEAD + rows)} <= slugs


def test_mapped_columns_of_books() -> None:
    columns = {"at": "Stn1", "to": "Stn2", "angle": "W", "distance": "L"}
    book = traverse("Stn1,Stn2,W,L\nA,B,1,100\nB,A,1,100\n", columns=columns)
    assert list(book.to) == ["B", "A"]
    places = {"from": "1", "to": "2", "rise": "3", "distance": "4"}
    rises = levels("0 1 -0.749 1.1\n1 2 -0.530 1.5\n", columns=places)
    assert isinstance(rises, RiseBook)
    assert list(rises.rise_m) == [-0.749, -0.53]


# ---------------------------------------------------------------- the wrong book, short rows


def test_a_book_of_another_kind_is_named_for_what_it_is() -> None:
    walked = Source(path="w.csv", data=b"Occ,FS,Angle right,HD\nA,B,90-00-00,20\n")
    levelled = Source(path="l.csv", data=b"Pt,BS,IS,FS,Dist\nA,1.2,,,\nB,,,1.3,\n")
    with pytest.raises(InputError) as caught:
        read_level_book(walked, unit=M, columns={})
    (problem,) = caught.value.problems
    assert "looks like a traverse book, and a level book is wanted here" in problem.hint
    assert '"Occ"' not in problem.hint
    with pytest.raises(InputError) as caught:
        read_traverse_book(
            levelled,
            unit=M,
            angles=AngleKind.RIGHT,
            angle_format=AngleFormat.SEXAGESIMAL,
            columns={},
        )
    (problem,) = caught.value.problems
    assert "looks like a level book, and a traverse book is wanted here" in problem.hint
    assert '"IS"' not in problem.hint


def test_a_leg_that_lacks_its_angle_is_no_leg_of_other_values() -> None:
    head = b"at,to,angle,distance\nA,B,90-00-00,20\n"

    def book(rows: bytes) -> Source:
        return Source(path="t.csv", data=head + rows)

    with pytest.raises(InputError) as caught:
        read_traverse_book(
            book(b"B,C,31.25\nC,D,80-00-00,12\n"),
            unit=M, angles=AngleKind.RIGHT, angle_format=AngleFormat.SEXAGESIMAL, columns={},
        )  # fmt: skip
    (problem,) = caught.value.problems
    assert (problem.slug, problem.where.line) == ("row-width", 3)
    # The last row needs no distance, nor the comma before it.
    for last in (b"B,C,80-00-00\n", b"B,C,80-00-00,\n"):
        found = read_traverse_book(
            book(last),
            unit=M,
            angles=AngleKind.RIGHT,
            angle_format=AngleFormat.SEXAGESIMAL,
            columns={},
        )
        assert np.isnan(found.distance_m[1])


def test_sights_that_a_row_of_levels_does_not_have_need_no_commas() -> None:
    rows = b"point,bs,is,fs\nA,1.2\nB,1.5,,1.1\nC,,1.4\nD,,,1.0\n"
    found = read_level_book(Source(path="l.csv", data=rows), unit=M, columns={})
    assert isinstance(found, LevelBook)
    assert found.fs_m[1:].tolist()[::2] == [1.1, 1.0]
    rises = b"from,to,distance,rise\nA,B,20,1.5\nB,C,1.25\n"
    with pytest.raises(InputError) as caught:
        read_level_book(Source(path="r.csv", data=rises), unit=M, columns={})
    (problem,) = caught.value.problems
    assert (problem.slug, problem.where.line) == ("row-width", 3)


def test_a_foresight_that_slid_into_the_backsights_is_a_fault() -> None:
    for rows in (b"A,1.2\nB,1.5,1.1\nC,1.0\n", b"A,1.2\nB,1.1\nB,1.5\nC,,1.0\n"):
        with pytest.raises(InputError):
            read_level_book(Source(path="l.csv", data=b"point,bs,fs\n" + rows), unit=M, columns={})
