"""The map of differences, its bars, and pipes in profile."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from checker.model.finding import Results
from checker.report.numbers import Outside
from checker.report.plots import differences, pipes
from checker.report.render import render
from checker.report.rows import Rows, rows_of
from checker.run import check
from tests.support.shapes import Place, table, write_job

GRID: list[Place] = [
    (f"S{i}", 10.0 * (i // 4), 10.0 * (i % 4), 5.0 + (0.3 if i == 5 else 0.01 * (-1) ** i))
    for i in range(12)
]
CORNERS: list[Place] = [("1", -9.0, -9.0, 5.0), ("2", -9.0, 90.0, 5.0), ("3", 90.0, -9.0, 5.0)]
SECTIONS = """
[[surface]]
name = "Pad <b>"
design = { points = "p.csv", faces = "f.csv" }
measured = { id = "S*" }
tolerance = { vertical = "20 mm" }
volume = true

[[relative]]
name = "Sides"
pairs = [["S0", "S1"], ["S0", "S4"], ["S5", "S6"]]
tolerance = { distance = "5 mm", elevation = "20 mm" }

[[plane]]
name = "Slab"
measured = { id = "S*" }
tolerance = { vertical = "20 mm" }

[[pipe]]
name = "Sewer"
runs = [["S5", "S6", "S7"]]
minimum_grade = "0.4 %"
"""


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Results:
    folder = write_job(
        tmp_path_factory.mktemp("job"),
        SECTIONS,
        d_csv=table([(name, n, e, 5.0) for name, n, e, _ in GRID]),
        m_csv=table(GRID),
        p_csv=table(CORNERS),
        f_csv="a,b,c\n1,2,3\n",
    )
    return check(folder)


@pytest.fixture(scope="module")
def files(results: Results) -> Mapping[str, bytes]:
    return render(results)


def rows(results: Results, number: int) -> Rows:
    return rows_of(results.findings[number], Outside(unit=results.job.unit), f"c{number + 1}")


def test_the_map_has_a_mark_for_every_shot_and_names_what_is_past_its_limit(
    results: Results,
) -> None:
    surface = rows(results, 0)
    edges = differences.surface_edges(surface, results)
    assert [line.shape for line in edges] == [(3, 2)]
    figure = differences.difference_map(surface, differences.SURFACE, edges, "map")
    assert figure is not None
    assert str(figure.svg).count("<title>S") == len(GRID)
    assert "S5 C 300" in str(figure.svg)
    assert figure.title == "1 of 12 is past the limit: 1 cut, 0 fill"


def test_cut_and_fill_differ_by_shape_and_hatch(results: Results) -> None:
    figure = differences.difference_map(rows(results, 0), differences.SURFACE, (), "map")
    assert figure is not None
    text = str(figure.svg)
    assert 'class="cut"' in text
    assert 'fill="url(#map-hatch)"' in text


def test_bars_follow_the_rows(results: Results) -> None:
    figure = differences.difference_bars(rows(results, 1), differences.DISTANCES, "bars")
    assert figure is not None
    assert figure.title.startswith("3 differences")
    assert str(figure.svg).count("<title>") == 3


def test_a_plane_is_shown_above_and_below_itself(results: Results) -> None:
    figure = differences.difference_map(rows(results, 2), differences.PLANE, (), "plane")
    assert figure is not None
    assert "above the plane" in str(figure.svg)
    assert "triangles" not in figure.caption.split("design")[-1]


def test_the_profile_shows_single_pipes_and_their_grades(results: Results) -> None:
    figure = pipes.profile(rows(results, 3), "profile")
    assert figure is not None
    text = str(figure.svg)
    assert "S5-S6" in text
    assert "S6-S7" in text
    assert "S5-S7" not in text
    assert figure.title == "1 of 2 pipes is past a limit"


def test_nothing_to_draw_is_no_figure(tmp_path: Path) -> None:
    folder = write_job(
        tmp_path,
        '[[pipe]]\nname = "x"\nruns = [["A", "B"]]\n',
        d_csv=table([("A", 0.0, 0.0, 1.0), ("B", 0.0, 9.0, 0.9)]),
        m_csv=table([("A", 0.0, 0.0, 1.0)]),
    )
    found = check(folder)
    assert pipes.profile(rows(found, 0), "x") is None
    assert differences.difference_bars(rows(found, 0), differences.DISTANCES, "x") is None


def test_every_page_is_made_and_names_are_escaped(files: Mapping[str, bytes]) -> None:
    pages = [name for name in files if name.startswith("check-")]
    assert len(pages) == 4
    for name in pages:
        page = files[name].decode()
        assert "<svg" in page
        assert "Pad <b>" not in page
    assert "Sewer" in files["results.csv"].decode()


def test_grades_are_in_percent_and_volumes_in_cubic_units(files: Mapping[str, bytes]) -> None:
    import json

    checks = {each["kind"]: each for each in json.loads(files["results.json"])["checks"]}
    (grade,) = [c for c in checks["pipe"]["columns"] if c["key"] == "grade_measured"]
    assert grade["unit"] == "%"
    assert checks["pipe"]["rows"][0]["grade_measured"] == pytest.approx(100 * 0.29 / 10.0)
    assert checks["surface"]["summary"]["cut_volume"] > 0.0
    assert "m³" in files["check-pad-b.html"].decode()
