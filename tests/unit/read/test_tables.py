import codecs

import pytest

from checker.errors import InputError
from checker.read.files import Source
from checker.read.headings import normal, readings, unit_of
from checker.read.points import VOCABULARY, read_points
from checker.read.tables import Table, read_table
from checker.units import LengthUnit

ROWS = (
    ("id", "northing", "easting", "elevation", "description"),
    ("101", "5000.125", "6000.250", "100.500", "corner"),
    ("102", "5010.125", "6000.250", "", "corner"),
    ("103", "5010.125", "6012.250", "-3.250", "hub"),
)


def table(text: str | bytes, columns: dict[str, str] | None = None) -> Table:
    data = text if isinstance(text, bytes) else text.encode()
    return read_table(
        Source(path="t.csv", data=data), VOCABULARY, columns or {}, tail="description"
    )


def slugs(read: Table) -> list[str]:
    return [notice.slug for notice in read.notices]


def refused(text: str | bytes, columns: dict[str, str] | None = None) -> InputError:
    with pytest.raises(InputError) as caught:
        table(text, columns)
    return caught.value


def by_row(read: Table) -> list[tuple[str, ...]]:
    return list(zip(*read.cells, strict=True))


def joined(separator: str) -> str:
    return "\n".join(separator.join(row) for row in ROWS) + "\n"


@pytest.mark.parametrize("separator", [",", ";", "\t", "|", ", ", " ; "])
def test_every_separator_gives_the_same_cells(separator: str) -> None:
    read = table(joined(separator))
    assert read.header == ROWS[0]
    assert by_row(read) == list(ROWS[1:])
    assert read.dialect.delimiter == separator.strip(" ")
    assert list(read.lines) == [2, 3, 4]
    assert read.notices == ()


def test_runs_of_blanks_and_tabs_part_columns() -> None:
    read = table("id  northing \t easting elevation\n 1   10.5  20.25   -\n2 11 21 3 \n")
    assert by_row(read) == [("1", "10.5", "20.25", "-"), ("2", "11", "21", "3")]
    assert read.dialect.words == "UTF-8, columns parted by blanks"


def test_a_last_description_may_hold_blanks() -> None:
    read = table("id n e z desc\n1 10 20 3 edge of walk\n2 11 21 4 hub\n")
    assert by_row(read)[0] == ("1", "10", "20", "3", "edge of walk")


def test_two_blanks_part_columns_where_headings_hold_one() -> None:
    read = table("Pt No   Northing   Easting\n101     10.5       20.5\n102     11.5       21.5\n")
    assert read.header == ("Pt No", "Northing", "Easting")
    assert by_row(read)[1] == ("102", "11.5", "21.5")


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize(
    ("encoding", "mark", "said"),
    [
        ("utf-8", b"", "UTF-8"),
        ("utf-8", codecs.BOM_UTF8, "UTF-8"),
        ("utf-16-le", codecs.BOM_UTF16_LE, "UTF-16"),
        ("utf-16-be", codecs.BOM_UTF16_BE, "UTF-16"),
        ("cp1252", b"", "Windows-1252"),
    ],
)
def test_encodings_and_line_ends(ending: str, encoding: str, mark: bytes, said: str) -> None:
    text = ending.join(["id,n,e,desc", "1,10,20,café", "2,11,21,hub", ""])
    read = table(mark + text.encode(encoding))
    assert by_row(read) == [("1", "10", "20", "café"), ("2", "11", "21", "hub")]
    assert list(read.lines) == [2, 3]
    assert read.dialect.encoding == said
    assert ("dialect" in slugs(read)) == (said == "Windows-1252")


def test_other_line_separators_stay_in_their_cell() -> None:
    assert by_row(table("id,n,e,desc\n1,1,2,a\u2028b\n"))[0][3] == "a\u2028b"


def test_quoted_cells_keep_commas_and_line_breaks_and_lines_still_count() -> None:
    read = table('id,n,e,desc\n1,10,20,"wall, north\nface"\n2,11,21,"say ""hub"""\n')
    assert by_row(read)[0][3] == "wall, north\nface"
    assert by_row(read)[1][3] == 'say "hub"'
    assert list(read.lines) == [2, 4]


def test_a_heading_may_hold_a_line_break() -> None:
    read = table('id,"Northing\n(m)","Easting\n(m)"\n1,10,20\n')
    assert read.header == ("id", "Northing (m)", "Easting (m)")
    assert list(read.lines) == [4]


@pytest.mark.parametrize(("cell", "comma"), [("12,5", True), ("12.5", False), ("12", False)])
def test_decimal_comma_is_told_by_the_numbers(cell: str, *, comma: bool) -> None:
    read = table(f"id;n;e\n1;{cell};{cell}\n")
    assert read.dialect.decimal_comma is comma
    assert ("dialect" in slugs(read)) is comma


def test_commas_in_descriptions_do_not_make_decimal_commas() -> None:
    read = table("id;n;e;desc\n1;10.5;20.5;row 1,2\n2;11.5;21.5;row 3,4\n")
    assert not read.dialect.decimal_comma


def test_semicolons_win_over_decimal_commas() -> None:
    read = table("id;n;e;z\n1;10,5;20,5;1,0\n2;11,5;21,5;2,0\n")
    assert read.dialect.delimiter == ";"
    assert len(read.header) == 4


def test_lines_above_the_header_are_said() -> None:
    read = table("Job: Fennel Creek\nDate, 2031-04-17\n\nid,n,e\n1,10,20\n")
    assert read.header_line == 4
    assert list(read.lines) == [5]
    assert slugs(read) == ["preamble"]
    assert "lines 1 and 2" in read.notices[0].message
    assert "Fennel Creek" in read.notices[0].message


def test_comment_lines_are_said() -> None:
    read = table("id,n,e\n# first\n1,10,20\n// second\n; third\n2,11,21\n")
    assert len(read) == 2
    assert list(read.lines) == [3, 6]
    assert "lines 2, 4 and 5" in read.notices[0].message


def test_a_semicolon_at_the_start_is_an_empty_cell_where_it_parts_columns() -> None:
    read = table("desc;id;n;e\n;1;10;20\n")
    assert by_row(read) == [("", "1", "10", "20")]


def test_a_commented_header_is_found() -> None:
    read = table("# id,n,e\n1,10,20\n")
    assert read.header == ("id", "n", "e")


def test_number_sign_as_heading_is_the_id() -> None:
    read = table("#,n,e\n1,10,20\n")
    assert VOCABULARY.claim(read.header[0]) == ("id", 2, None)


def test_blank_lines_are_nothing_and_empty_rows_are_said() -> None:
    read = table("id,n,e\n\n1,10,20\n,,\n\n2,11,21\n")
    assert list(read.lines) == [3, 6]
    assert slugs(read) == ["empty-rows"]
    assert "line 4" in read.notices[0].message


@pytest.mark.parametrize("total", ["Total", "SUM:", "Grand total", "Average", "Total length"])
def test_totals_at_the_end_are_said(total: str) -> None:
    read = table(f"id,n,e\n1,10,20\n2,11,21\n{total},21,41\n")
    assert len(read) == 2
    assert slugs(read) == ["totals-row"]
    assert read.notices[0].where.line == 4


@pytest.mark.parametrize("name", ["Total station 1", "Summit", "Meander", "sum-1"])
def test_names_that_begin_like_totals_are_rows(name: str) -> None:
    assert len(table(f"id,n,e\n1,10,20\n{name},21,41\n")) == 2


def test_totals_in_the_middle_stay_rows() -> None:
    assert len(table("id,n,e\nTotal,10,20\n2,11,21\n")) == 2


def test_a_unit_row_is_understood() -> None:
    read = table("id,n,e,z,desc\n,(ft),(ft),US ft,\n1,10,20,3,hub\n")
    assert len(read) == 1
    assert [unit and unit.name for unit in read.units] == [None, "ft", "ft", "usft", None]
    assert read.units_line == 2
    assert slugs(read) == ["unit-row"]


def test_a_unit_row_of_blanks_applies_to_all_columns() -> None:
    read = table("id n e z\n   m m m\n1 10 20 3\n")
    assert [unit and unit.name for unit in read.units] == ["m"] * 4


def test_a_repeated_header_is_said() -> None:
    read = table("id,n,e\n1,10,20\nid,n,e\n2,11,21\n")
    assert len(read) == 2
    assert slugs(read) == ["repeated-header"]


def test_missing_cells_at_the_end_are_empty_where_a_sign_parts_columns() -> None:
    assert by_row(table("id,n,e,z,desc\n1,10,20\n")) == [("1", "10", "20", "", "")]


def test_missing_cells_are_noted_where_blanks_part_columns() -> None:
    assert table("id n e z\n1 10 20\n2 11 21 3\n").short == (0,)


def test_separators_at_the_end_of_lines_are_nothing() -> None:
    read = table("id,n,e,\n1,10,20,\n2,11,21,,\n")
    assert read.header == ("id", "n", "e")
    assert len(read) == 2
    assert read.problems == ()


def test_too_many_cells_are_a_fault_with_line() -> None:
    read = table("id,n,e\n1,10,20\n2,11,21,99\n")
    assert [(p.slug, p.where.line) for p in read.problems] == [("row-width", 3)]
    assert '"2, 11, 21, 99"' in read.problems[0].message


@pytest.mark.parametrize("row", ['2,"open,21', '2,"11"0,21'])
def test_bad_quotes_are_a_fault_where_the_row_begins(row: str) -> None:
    read = table(f"id,n,e\n1,10,20\n\n{row}\n3,12,22\n")
    assert [(p.slug, p.where.line) for p in read.problems] == [("open-quote", 4)]


def test_signs_of_inches_within_a_cell_are_text() -> None:
    assert by_row(table('id,n,e,desc\n1,1,2,pipe 6"\n'))[0][3] == 'pipe 6"'


@pytest.mark.parametrize("data", [b"id,n,e\n1,\0,2\n", b"PK\x03\x04abc", b"%PDF-1.7", b"a\x81b,c"])
def test_what_is_no_text_is_refused(data: bytes) -> None:
    assert [p.slug for p in refused(data).problems] == ["not-text"]


@pytest.mark.parametrize("data", [b"", b" \n\n", codecs.BOM_UTF8, b"id,n,e\n", b"id,n,e\n# none\n"])
def test_what_holds_no_row_is_refused(data: bytes) -> None:
    assert [p.slug for p in refused(data).problems] == ["empty-table"]


def test_a_table_without_header_says_how_to_go_on() -> None:
    problem = refused("1,10.5,20.5\n2,11.5,21.5\n").problems[0]
    assert problem.slug == "no-header"
    assert '"1,10.5,20.5"' in problem.message
    assert 'id = "1"' in problem.hint


def test_places_read_a_table_without_header() -> None:
    read = table("1,10.5,20.5\n2,11.5,21.5,100.5\n", {"id": "1", "northing": "2", "easting": "3"})
    assert read.header == ("id", "northing", "easting", "column 4")
    assert list(read.lines) == [1, 2]
    assert read.header_line == 0


def test_places_skip_a_header_that_says_nothing() -> None:
    read = table("foo,bar,baz\n1,10.5,20.5\n", {"id": "1", "northing": "2", "easting": "3"})
    assert read.header == ("foo", "bar", "baz")
    assert list(read.lines) == [2]


def test_mapped_headings_find_the_header() -> None:
    read = table("note,x\nPeg,Hoch,Rechts\n1,10,20\n", {"id": "Peg", "northing": "hoch"})
    assert read.header == ("Peg", "Hoch", "Rechts")


@pytest.mark.parametrize(
    ("heading", "bare"),
    [("Pt. No.", "ptno"), ("S_N", "sn"), ("σ N", "sigman"), ("Point #", "point"), ("#", "#")],
)
def test_normal_headings(heading: str, bare: str) -> None:
    assert normal(heading) == bare


@pytest.mark.parametrize(
    ("heading", "field", "unit"),
    [
        ("Northing (ft)", "northing", "ft"),
        ("N [m]", "northing", "m"),
        ("Elev.", "elevation", None),
        ("EASTING, US ft", "easting", "usft"),
        ("easting_m", "easting", "m"),
        ("Std Dev N (mm)", "sigma_n", "mm"),
        ("HRMS", "sigma_h", None),
        ("sd_h_m", "sigma_h", "m"),
        ("Age (s)", "age", "s"),
        ("Latitude (deg)", "latitude", "deg"),
        ("Fix Type", "solution", None),
        ("# SVs", "satellites", None),
    ],
)
def test_headings_are_recognised(heading: str, field: str, unit: str | None) -> None:
    claim = VOCABULARY.claim(heading)
    assert claim is not None
    assert claim[0] == field
    assert (claim[2].name if claim[2] else None) == unit


@pytest.mark.parametrize("heading", ["Elevation (2019 survey)", "RMSE", "Epoch", "S/N", "", "H95"])
def test_other_headings_are_left_alone(heading: str) -> None:
    assert VOCABULARY.claim(heading) is None


def test_unit_words() -> None:
    for text in ("US ft", "(US survey feet)", "U.S. ft", "usft", "ftUS", "us_survey_foot"):
        unit = unit_of(text)
        assert unit is not None, text
        assert unit.name == "usft", text
    assert unit_of("hub") is None
    assert [unit for _, unit in readings("plain heading") if unit] == []


# Headings as crews have them; common practice, no source.
@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("Northing(Y)", "northing"),
        ("Easting (X)", "easting"),
        ("Elevation(Z)", "elevation"),
        ("Y (North)", "northing"),
        ("X (E)", "easting"),
        ("Y (Easting)", "easting"),
        ("Y_North", "northing"),
        ("Grid N (usft)", "northing"),
        ("Coord. X", "x"),
        ("Ortho Ht", "elevation"),
        ("Ellip. Height (m)", "height"),
        ("Punktnummer", "id"),
        ("HOCHWERT", "northing"),
        ("Rechtswert", "easting"),
        ("Cota", "elevation"),
    ],
)
def test_headings_with_their_axis_and_of_other_countries(heading: str, field: str) -> None:
    claim = VOCABULARY.claim(heading)
    assert claim is not None
    assert claim[0] == field


@pytest.mark.parametrize("heading", ["Sigma (N)", "Precision (E)", "Angle (X)", "(Y)"])
def test_an_axis_in_brackets_makes_no_coordinate_of_another_column(heading: str) -> None:
    claim = VOCABULARY.claim(heading)
    assert claim is None or claim[0] not in ("northing", "easting", "elevation")


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_its_mark(encoding: str) -> None:
    read = table("id,n,e\n1,10,20\n2,11,21\n".encode(encoding))
    assert len(read) == 2
    assert read.dialect.encoding == "UTF-16 without byte order mark"
    assert [notice.slug for notice in read.notices] == ["dialect"]


def test_a_unit_row_with_a_word_below_the_numbers() -> None:
    read = table("Point,Northing,Easting\nNo.,(m),(m)\n1,10,20\n")
    assert len(read) == 1
    assert [notice.slug for notice in read.notices] == ["unit-row"]


def test_a_count_behind_the_totals() -> None:
    read = table("id,n,e\n1,10,20\n\nTotal points: 1\n")
    assert list(read.lines) == [2]
    assert [notice.slug for notice in read.notices] == ["totals-row"]


def test_a_header_whose_rows_fit_wins_over_one_with_more_words() -> None:
    """Parted by blanks this heading line has more known words, and no row of that many cells."""
    read = table("Pt #,Grid N (usft),Grid E (usft),Elev (usft)\n1,5000,6000,130\n")
    assert read.dialect.delimiter == ","
    assert len(read) == 1


def test_a_column_that_cannot_be_mapped_is_asked_for_in_the_table() -> None:
    with pytest.raises(InputError) as caught:
        read_points(
            [Source(path="t.csv", data=b"x,y,z\n1,2,3\n")],
            unit=LengthUnit.METRE,
            columns={},
            role="design",
            unique=False,
        )
    assert "add such a column" in caught.value.problems[0].hint


def test_a_last_column_without_a_heading_is_a_column() -> None:
    read = table("id;n;e;\n1;10;20;hub\n2;11;21;\n")
    assert read.header == ("id", "n", "e", "")
    assert read.cells[3] == ["hub", ""]
    assert len(table("id;n;e;\n1;10;20;\n2;11;21\n").header) == 3
    assert [p.slug for p in table("id;n;e\n1;10;20;hub\n").problems] == ["row-width"]
