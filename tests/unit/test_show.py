"""What a drawing or a table holds, before any job exists."""

import io
import re
from pathlib import Path

import pytest

from checker.cli import main
from checker.errors import InputError
from checker.report.terminal import Section, plain, styled
from checker.run import show
from checker.units import LengthUnit
from tests.support.drawings import labelled_drawing, points_drawing

SHARED = Path(__file__).resolve().parents[3] / "shared"
DEMO = Path(__file__).resolve().parents[2] / "demo_job"

ROVER = """\
Rover export, units: feet
Pt,Grid Northing,Grid Easting,Elev,Code,Fix,Sats,Crew
101,5000.10,6000.20,100.5,HUB,fixed,14,A
102,5010.10,6020.20,,HUB,float,9,A
101,5000.11,6000.21,100.6,HUB,fixed,15,A
"""


def shown(
    tmp_path: Path, name: str, content: str | bytes, unit: LengthUnit | None = None
) -> tuple[str, list[str]]:
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    text, problems = show(path, unit)
    return text, [problem.slug for problem in problems]


def row(text: str, first: str) -> list[str]:
    """Return the cells of the row that begins so."""
    for line in text.splitlines():
        cells = re.split(r"\s{2,}", line.strip())
        if cells[0] == first:
            return cells
    raise AssertionError(f"no row {first} in\n{text}")


def test_numbers_on_another_layer_are_pointed_out(tmp_path: Path) -> None:
    stakes = [(str(101 + i), 10.0 * i, 20.0, 5.0) for i in range(6)]
    text, _ = shown(tmp_path, "design.dxf", labelled_drawing({"STAKE": stakes}, label_layer="TXT"))
    assert 'labels = { layer = ["TXT"] }' in text
    assert row(text, "STAKE")[:3] == ["STAKE", "6", "6"]
    beside, _ = shown(tmp_path, "other.dxf", labelled_drawing({"STAKE": stakes}))
    assert "labels =" not in beside


def test_a_table_of_points(tmp_path: Path) -> None:
    text, problems = shown(tmp_path, "rover.csv", ROVER)
    assert not problems
    assert text.startswith("rover.csv: points\n")
    assert "UTF-8, columns parted by commas; headings on line 2; 3 rows" in text
    assert "lengths are in feet, as the file says" in text
    assert row(text, "2")[1:4] == ["Grid Northing", "northing", "heading"]
    assert row(text, "8")[1:3] == ["Crew", "not read"]
    assert row(text, "northing") == ["northing", "5000.100", "5010.100", "10.000", "0"]
    assert row(text, "elevation") == ["elevation", "100.500", "100.600", "0.100", "1"]
    assert row(text, "solution") == ["solution", "3", "fixed 2, float 1"]
    assert row(text, "satellites") == ["satellites", "3", "9 to 15"]
    assert '"101" 2 times' in text
    assert "not shown by this file: hdop" in text


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_every_dialect_is_named_and_read_the_same(
    tmp_path: Path, separator: str, encoding: str
) -> None:
    words = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "vertical bars"}
    names = {"utf-8": "UTF-8", "utf-8-sig": "UTF-8", "utf-16": "UTF-16", "cp1252": "Windows-1252"}
    text = ROVER.replace(",", separator).replace("Crew", "Güte")
    said, problems = shown(tmp_path, "rover.txt", text.encode(encoding))
    assert not problems
    assert f"{names[encoding]}, columns parted by {words[separator]}" in said
    assert row(said, "northing") == ["northing", "5000.100", "5010.100", "10.000", "0"]


@pytest.mark.parametrize(
    ("name", "content", "kind"),
    [
        ("t.csv", "at,to,angle,distance\nA,B,90-00-00,100\nB,A,90-00-00,100\n", "traverse book"),
        ("t.csv", "at,to,azimuth,distance\nA,B,90-00-00,100\n", "traverse book"),
        ("l.csv", "point,bs,is,fs,distance\nBM1,1.2,,,\nTP,,,1.1,50\n", "level book"),
        ("l.csv", "from,to,rise,distance\nA,B,0.5,100\n", "differences of elevation"),
        (
            "w.csv",
            (
                "point,bs top,bs mid,bs bottom,fs top,fs mid,fs bottom\n"
                "A,1.6,1.5,1.4,,,\nB,,,,1.6,1.5,1.4\n"
            ),
            "level book",
        ),
        ("f.csv", "course,bearing,distance\n1,N 10 E,20\n2,S 10 W,20\n", "courses of a figure"),
        (
            "f.csv",
            "azimuth;distance;radius;turn;arc\n10;20;;;\n;;5;left;3\n",
            "courses of a figure",
        ),
        ("s.csv", "id,station,offset\n1,10+00,5\n", "stakes by station and offset"),
        ("p.csv", "station,elevation,length\n10+00,50,0\n12+00,52,100\n", "profile"),
        ("e.csv", "type,length,radius\nline,100,\narc,50,200\n", "alignment elements"),
        (
            "i.csv",
            "northing,easting,radius,spiral\n0,0,,\n0,900,200,40\n900,900,,\n",
            "points of intersection",
        ),
        ("v.csv", "from,to,dx,dy,dz\nA,B,1.5,2.5,0.5\nB,A,-1.5,-2.5,-0.5\n", "vectors"),
        ("c.csv", "a;b;c\n1;2;3\n1;3;4\n", "faces of a surface"),
        ("b.csv", "station,left,right\n0+000,-2 %,-2 %\n0+050,2 %,-4 %\n", "superelevation"),
        (
            "n.csv",
            "at,to,azimuth,distance\nA,B,90-00-00,100\nA,C,0-00-00,100\n",
            "observations of a network",
        ),
        (
            "e.csv",
            "type,length,radius,northing,easting,azimuth\nline,100,,10,20,0\narc,50,200,,,\n",
            "alignment elements",
        ),
        ("g.csv", "id,latitude,longitude\n1,40-10-00N,74-20-00W\n", "points"),
        ("x.csv", "id,x,y,z\n1,100.5,200.5,3\n2,110.5,205.5,3\n", "points"),
    ],
)
def test_kinds_of_tables(tmp_path: Path, name: str, content: str, kind: str) -> None:
    text, problems = shown(tmp_path, name, content)
    assert text.startswith(f"{name}: {kind}\n")
    assert not problems


def test_longitude_and_latitude_are_shown_in_degrees(tmp_path: Path) -> None:
    text, problems = shown(tmp_path, "g.csv", "id,lat,lon\n1,40-30-00N,74-20-00W\n2,40.6,-74.4\n")
    assert not problems
    assert row(text, "2")[-1] == "40.5 to 40.6"
    assert row(text, "3")[-1] == "-74.4 to -74.333333"
    assert "[no-frame]" in text


def test_a_table_without_headings_is_shown_and_said_to_need_them(tmp_path: Path) -> None:
    text, problems = shown(tmp_path, "bare.txt", "101 5000.1 6000.2 100.5\n102 5001.1 6000 101\n")
    assert problems == ["no-header"]
    assert "no headings; 2 rows" in text
    assert row(text, "2")[1:] == ["?", "2", "5000.1 to 5001.1"]


def test_faults_of_rows_are_the_readers_own(tmp_path: Path) -> None:
    text, problems = shown(tmp_path, "rover.csv", "id,n,e\n1,12,13\n2,x,14\n3,5,\n")
    assert problems == ["not-a-number", "missing-value"]
    assert row(text, "3")[-1] == "13 to 14"


def test_oddities_of_a_table(tmp_path: Path) -> None:
    rows = "".join(f"{i},{512000 + 5 * i},{618000 + 7 * i},0\n" for i in range(9))
    text, _ = shown(tmp_path, "rover.csv", f"id,n,e,z\n{rows}9,12045.5,618063,0\n")
    assert "[lost-digits]" in text
    assert "512045.500 with its leading digits" in text
    assert "[zero-heights]" in text


def test_a_stated_unit_that_the_table_denies(tmp_path: Path) -> None:
    _, problems = shown(tmp_path, "rover.csv", ROVER, LengthUnit.METRE)
    assert problems == ["unit-contradiction"]


def test_geojson(tmp_path: Path) -> None:
    feature = (
        '{"type": "Feature", "properties": {"name": "A1"}, "geometry": {"type": "Point", '
        '"coordinates": [500000.5, 4000000.25, 12.5]}}'
    )
    member = '"crs": {"type": "name", "properties": {"name": "EPSG:32617"}}, '
    text, problems = shown(
        tmp_path,
        "marks.geojson",
        f'{{"type": "FeatureCollection", {member}"features": [{feature}]}}',
    )
    assert not problems
    assert "marks.geojson: GeoJSON points" in text
    assert '"EPSG:32617"' in text
    assert row(text, "northing")[1] == "4000000.250"


def test_a_drawing(tmp_path: Path) -> None:
    points = [(str(i), 5000.0 + i, 6000.0 + 2 * i, 50.0) for i in range(8)]
    text, problems = shown(
        tmp_path,
        "d.dxf",
        labelled_drawing({"STAKE": points, "FLAT": [("F1", 1, 2, 0)]}, insunits=0),
    )
    assert not problems
    assert text.startswith("d.dxf: a drawing\n")
    assert "the header names no unit; 18 entities in model space" in text
    assert row(text, "northing (y)") == ["northing (y)", "1.000", "5007.000"]
    assert row(text, "metres")[1] == "6,012 by 5,006 m"
    assert row(text, "feet")[2] == "6,012 by 5,006 ft"
    assert row(text, "STAKE")[1:3] == ["16", "8"]
    assert "0, 1, 2, 3, 4 and 3 more" in text
    assert "the one point has height 0" in text


@pytest.mark.parametrize(
    ("insunits", "words"), [(2, "feet"), (6, "metres"), (21, "US survey feet"), (4, "millimetres")]
)
def test_the_header_of_a_drawing_is_shown_as_one_reading_of_several(
    tmp_path: Path, insunits: int, words: str
) -> None:
    data = points_drawing([("1", 0.0, 0.0, 1.0), ("2", 100.0, 50.0, 1.0)], layer="S",
                          insunits=insunits)  # fmt: skip
    text, _ = shown(tmp_path, "d.dxf", data)
    assert row(text, f"{words} (as the header says)")
    assert "[header-unit]" not in text
    stated, _ = shown(tmp_path, "d.dxf", data, LengthUnit.METRE)
    assert ("[header-unit]" in stated) == (insunits in (2, 4, 21))


def test_a_drawing_in_degrees_is_said_to_look_so(tmp_path: Path) -> None:
    rows = [(str(i), 33.0297713 + i * 7e-6, -99.9637411 + i * 9e-6, 231.4) for i in range(5)]
    text, _ = shown(tmp_path, "d.dxf", points_drawing(rows, layer="S"))
    assert "[drawing-in-degrees]" in text
    assert "around -99.963" in text
    plan = [(str(i), 33.0 + i * 0.1, 99.0 + i * 0.05, 231.4) for i in range(5)]
    text, _ = shown(tmp_path, "d.dxf", points_drawing(plan, layer="S"))
    assert "[drawing-in-degrees]" not in text


def test_the_unit_matters_for_sizes_alone(tmp_path: Path) -> None:
    data = points_drawing([("1", 10.0, 20.0, 1.0), ("2", 30.0, 50.0, 1.0)], layer="S", insunits=0)
    extents = set()
    for unit in LengthUnit:
        text, _ = shown(tmp_path, "d.dxf", data, unit)
        extents.add(row(text, "easting (x)")[1])
        assert row(text, "metres")[1] == "30.0 by 20.0 m"
    assert extents == {"20.000"}


def test_a_file_is_known_by_its_content(tmp_path: Path) -> None:
    data = points_drawing([("1", 0.0, 0.0, 1.0)], layer="S")
    assert "a drawing" in shown(tmp_path, "drawing.txt", data)[0]
    with pytest.raises(InputError, match="not-a-drawing"):
        shown(tmp_path, "table.dxf", b"%PDF-1.7 nothing")
    with pytest.raises(InputError, match="not-text"):
        shown(tmp_path, "book.csv", b"PK\x03\x04 workbook")
    with pytest.raises(InputError, match="missing-file"):
        show(tmp_path / "nothing.csv")
    with pytest.raises(InputError, match="not-a-file"):
        show(tmp_path)
    with pytest.raises(InputError, match="job-file"):
        show(DEMO / "job.toml")
    with pytest.raises(InputError, match=r"folder of a job.*\n.*checker check"):
        show(DEMO)


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "rover.csv"
    path.write_text(ROVER)
    assert main(["show", str(path)]) == 0
    assert "rover.csv: points" in capsys.readouterr().out
    path.write_text("1 2 3\n4 5 6\n")
    assert main(["show", str(path)]) == 2
    seen = capsys.readouterr()
    assert "no headings" in seen.out
    assert "[no-header]" in seen.err
    assert main(["show", str(tmp_path / "none.dxf")]) == 2


@pytest.mark.parametrize("name", ["design.dxf", "rover-day1.csv", "levels.csv", "traverse.csv"])
def test_the_demonstrations_files(name: str) -> None:
    text, problems = show(DEMO / name)
    assert not problems
    assert name in text


# ---------------------------------------------------------------- the terminal


def test_a_terminal_gets_the_same_words_within_its_width() -> None:
    sections = [
        Section(
            title="Layers",
            lines=("a line that is rather long for a narrow terminal, so that it must be broken",),
            headings=("layer", "count"),
            rows=(("STAKE", "12"), ("A [bold]layer[/bold] :smile:", "3")),
            numbers=frozenset((1,)),
        )
    ]
    narrow = styled(sections, 50, colour=False)
    assert max(map(len, narrow.splitlines())) <= 50
    assert "A [bold]layer[/bold] :smile:" in narrow
    assert "\x1b[" not in narrow
    assert "\x1b[1m" in styled(sections, 80, colour=True)


def test_found_texts_cannot_move_the_cursor() -> None:
    sections = [Section(title="a\x1b[2Jb", lines=("c\rd",), headings=("e\nf",), rows=(("g\tg",),))]
    for text in (plain(sections), styled(sections, 60, colour=False)):
        assert "\x1b" not in text
        assert "\r" not in text
        assert "\t" not in text


def test_a_terminal_is_used_as_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    path = tmp_path / "rover.csv"
    path.write_text(ROVER)
    out = Terminal()
    monkeypatch.setattr("sys.stdout", out)
    monkeypatch.setenv("COLUMNS", "90")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert main(["show", str(path)]) == 0
    assert "\x1b[1m" in out.getvalue()
    monkeypatch.setenv("NO_COLOR", "1")
    quiet = Terminal()
    monkeypatch.setattr("sys.stdout", quiet)
    assert main(["show", str(path)]) == 0
    assert "\x1b" not in quiet.getvalue()
    assert max(map(len, quiet.getvalue().splitlines())) <= 90


# ---------------------------------------------------------------- files nobody here wrote


def shared_files() -> list[Path]:
    folders = (SHARED / "tables", SHARED / "corpus")
    return sorted(path for folder in folders if folder.is_dir() for path in folder.iterdir())


@pytest.mark.skipif(not shared_files(), reason="shared/tables is not beside the repository")
@pytest.mark.parametrize("path", shared_files(), ids=lambda path: path.name)
def test_every_shared_file_is_shown_or_refused_with_what_to_do(path: Path) -> None:
    try:
        text, problems = show(path)
    except InputError as fault:
        problems = fault.problems
        text = str(fault)
    assert path.name in text
    assert all(problem.message and problem.hint for problem in problems)
