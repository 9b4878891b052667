"""The cut sheet and the figure by station, from whole jobs."""

import csv
import io
import re
from pathlib import Path

import pytest

from checker.read.inputs import open_job
from checker.report.numbers import station_texts
from checker.report.render import render
from checker.run import evaluate
from checker.units import LengthUnit
from tests.support.lines import CL, ELEMENTS, HEAD, PROFILE, table, write

GRADES = (
    '[[stakeout]]\nname = "Grade"\nalignment = "CL"\nmatch = "station"\n'
    "tolerance = { vertical = 0.02 }\n"
)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    shots = table(
        "id,northing,easting,elevation",
        [("a", 5003.0, 2050.0, 52.123), ("b", 4996.0, 2060.0, 52.3), ("c", 5000.0, 2070.0, 52.8)],
    )
    folder = write(
        tmp_path_factory.mktemp("road"),
        HEAD + CL + GRADES,
        cl_csv=ELEMENTS,
        profile_csv=PROFILE,
        shots_csv=shots,
    )
    job, inputs = open_job(folder / "job.toml")
    return render(evaluate(job, inputs))


def test_the_file_has_what_goes_on_the_lath(files: dict[str, bytes]) -> None:
    rows = list(csv.DictReader(io.StringIO(files["cut-sheet.csv"].decode())))
    assert [row["station"] for row in rows] == ["0+150.000", "0+160.000", "0+170.000"]
    assert [row["offset"] for row in rows] == ["L 3.000", "R 4.000", "0.000"]
    assert [row["offset_m"] for row in rows] == ["-3.000", "4.000", "0.000"]
    assert [row["cut_fill_m"] for row in rows] == ["C 0.123", "F 0.100", "0.000"]
    # outside: nothing is to be built from these two
    assert [row["verdict"] for row in rows] == ["outside", "outside", "within"]
    assert [row["lath"] for row in rows] == ["HOLD", "HOLD", "0+170.000  0.000  0.000"]
    assert [row["as_built"] for row in rows] == ["", "", ""]
    assert (rows[0]["design_elevation_m"], rows[0]["measured_elevation_m"]) == ("52.000", "52.123")
    assert rows[0]["horizontal_m"] == ""


def test_the_page_has_the_same_in_large_print(files: dict[str, bytes]) -> None:
    page = files["cut-sheet.html"].decode()
    cells = re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", page)
    first = cells.index("a")
    assert cells[first : first + 6] == ["a", "HOLD", "0+150.000", "L 3.000", "52.123", "52.000"]
    first = cells.index("c")
    assert cells[first : first + 4] == ["c", "0.000", "0+170.000", "0.000"]
    assert re.search(r'<th scope="row">a</th><td><span class="tag[^>]*>Outside', page)
    assert 'href="cut-sheet.html"' in files["index.html"].decode()


def test_the_check_has_its_figure_by_station(files: dict[str, bytes]) -> None:
    page = files["check-grade.html"].decode()
    assert "stakes by station: at most 123\N{NARROW NO-BREAK SPACE}mm" in page
    assert "cut, above design (mm)" in page
    assert "RIGHT of design" not in page  # nothing was compared across
    assert ">0+150.000<" in page


def test_what_was_built_stands_apart_and_goes_on_no_lath(tmp_path: Path) -> None:
    section = GRADES.replace('"Grade"', '"Curb"').replace("tolerance", "as_built = true\ntolerance")
    folder = write(
        tmp_path,
        HEAD + CL + GRADES + section,
        cl_csv=ELEMENTS,
        profile_csv=PROFILE,
        shots_csv=table(
            "id,northing,easting,elevation",
            [("a", 5003.0, 2050.0, 52.3), ("b", 5000.0, 2070.0, 52.8)],
        ),
    )
    job, inputs = open_job(folder / "job.toml")
    results = evaluate(job, inputs)
    files = render(results)
    page = files["cut-sheet.html"].decode()
    stakes, built = page.split("As-built heights", 1)
    assert ">HOLD<" in stakes
    assert ">HOLD<" not in built
    assert "C 0.300" in built
    assert ">Measured <" in built
    rows = list(csv.DictReader(io.StringIO(files["cut-sheet.csv"].decode())))
    assert [(row["check"], row["lath"], row["as_built"]) for row in rows] == [
        ("Grade", "HOLD", ""),
        ("Grade", "0+170.000  0.000  0.000", ""),
        ("Curb", "", "yes"),
        ("Curb", "", "yes"),
    ]
    # a stake is re-marked, a curb is not
    to_do = re.findall(r"<td>(Hold[^<]*)</td>", files["index.html"].decode())
    assert len(to_do) == 2
    assert sum("re-mark cut or fill" in text for text in to_do) == 1
    assert sum("ask the engineer whether it stays or is rebuilt" in text for text in to_do) == 1


def test_shots_along_a_line_are_as_built_unless_the_job_says_otherwise(tmp_path: Path) -> None:
    section = '[[stakeout]]\nname = "L"\nalignment = "CL"\nmatch = "line"\ntolerance = "line"\n'
    shots = table("id,northing,easting,elevation", [("a", 5000.0, 2050.0, 52.0)])
    for number, (more, built) in enumerate((("", True), ("as_built = false\n", False))):
        folder = tmp_path / str(number)
        folder.mkdir()
        text = HEAD + CL + section + more
        write(folder, text, cl_csv=ELEMENTS, profile_csv=PROFILE, shots_csv=shots)
        job, inputs = open_job(folder / "job.toml")
        (finding,) = evaluate(job, inputs).findings
        assert finding.measure.as_built is built


def test_a_job_without_elevations_has_no_cut_sheet(tmp_path: Path) -> None:
    section = '[[stakeout]]\nname = "L"\nalignment = "CL"\nmatch = "line"\ntolerance = "line"\n'
    folder = write(
        tmp_path,
        HEAD + CL.replace('profile = "profile.csv"\n', "") + section,
        cl_csv=ELEMENTS,
        shots_csv=table("id,northing,easting,elevation", [("a", 5000.0, 2050.0, 52.0)]),
    )
    job, inputs = open_job(folder / "job.toml")
    files = render(evaluate(job, inputs))
    assert "cut-sheet.html" not in files
    assert len(files["cut-sheet.csv"].decode().splitlines()) == 1


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.0, LengthUnit.METRE, "0+000.000"),
        (999.9996, LengthUnit.METRE, "1+000.000"),
        (-12.5, LengthUnit.METRE, "-0+012.500"),
        (1234567.5, LengthUnit.METRE, "1234+567.500"),
        (1000 * 0.3048, LengthUnit.FOOT, "10+00.00"),
        (99.999 * 0.3048, LengthUnit.FOOT, "1+00.00"),
        (0.125 * 0.3048, LengthUnit.FOOT, "0+00.13"),
        (float("nan"), LengthUnit.FOOT, "–"),
    ],
)
def test_stations_are_rounded_before_they_are_cut_up(
    value: float, unit: LengthUnit, text: str
) -> None:
    import numpy as np

    assert station_texts(np.array([value]), unit) == [text]
