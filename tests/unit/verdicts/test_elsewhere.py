"""A stake that is within in its own check, and held by another."""

import csv
import io
import re
from pathlib import Path

import pytest

from checker.model.finding import Results, Verdict
from checker.read.inputs import open_job
from checker.report.render import render
from checker.run import evaluate

HEAD = """\
[job]
title = "Invented hubs"
unit = "metre"
[design]
points = "design.csv"
[measured]
files = ["shots.csv"]
[tolerance.hub]
horizontal = "30 mm"
vertical = "30 mm"
source = "common practice, no source"
[[stakeout]]
name = "Hubs"
tolerance = "hub"
"""
REPEATS = """\
[[repeats]]
name = "Again"
tolerance = { horizontal = "15 mm", source = "common practice, no source" }
"""
SIDES = """\
[[relative]]
name = "Sides"
pairs = [["1", "2"]]
tolerance = { distance = "10 mm", source = "common practice, no source" }
"""
DESIGN = "id,northing,easting,elevation\n1,0,0,10\n2,0,50,10\n3,40,0,10\n4,40,50,10\n"
SHOTS = """\
id,northing,easting,elevation,time
1,0.004,0.000,10.002,2031-04-15T08:00:00Z
2,0.000,50.012,10.001,2031-04-15T08:05:00Z
3,40.000,0.000,10.001,2031-04-15T08:10:00Z
4,40.200,50.000,10.001,2031-04-15T08:15:00Z
3,40.000,0.020,10.000,2031-04-16T08:10:00Z
"""


def run(folder: Path, job: str, shots: str = SHOTS) -> Results:
    folder.mkdir(exist_ok=True)
    for name, text in (("job.toml", job), ("design.csv", DESIGN), ("shots.csv", shots)):
        (folder / name).write_text(text, "utf-8")
    return evaluate(*open_job(folder / "job.toml"))


def hubs(results: Results) -> dict[str, tuple[str, str]]:
    (finding,) = (each for each in results.findings if each.measure.name == "Hubs")
    return {
        str(finding.measure.id[row]): (
            Verdict(int(finding.row_verdict[row])).word,
            str(finding.row_reason[row]),
        )
        for row in range(len(finding.measure.id))
        if finding.measure.counted[row]
    }


def test_a_stake_says_which_check_holds_it_and_keeps_its_verdict(tmp_path: Path) -> None:
    alone = hubs(run(tmp_path, HEAD))
    found = hubs(run(tmp_path, HEAD + REPEATS + SIDES))
    assert {name: verdict for name, (verdict, _) in alone.items()} == {
        name: verdict for name, (verdict, _) in found.items()
    }
    assert found["1"] == ("within", "outside in Sides")
    assert found["2"] == ("within", "outside in Sides")
    assert found["3"] == ("within", "outside in Again")
    # outside already, and nothing else holds it
    assert found["4"] == alone["4"]
    assert found["4"][0] == "outside"


def test_the_lath_holds_it_wherever_it_is_held(tmp_path: Path) -> None:
    files = render(run(tmp_path, HEAD + REPEATS))
    rows = {row["id"]: row for row in csv.DictReader(io.StringIO(files["cut-sheet.csv"].decode()))}
    assert {name: row["lath"] for name, row in rows.items()} == {
        "1": "C 0.002",
        "2": "C 0.001",
        "3": "HOLD",
        "4": "HOLD",
    }
    assert (rows["3"]["verdict"], rows["3"]["reason"]) == ("within", "outside in Again")
    page = files["cut-sheet.html"].decode()
    line = page[page.index('<th scope="row">3</th>') :].split("</tr>", 1)[0]
    assert "Outside" in line
    assert re.search(r">HOLD <small[^>]*>outside in Again<", line)


def test_the_order_of_checks_and_shots_does_not_matter(tmp_path: Path) -> None:
    head, *lines = SHOTS.splitlines(keepends=True)
    shots = head + "".join(reversed(lines))
    first = hubs(run(tmp_path / "a", HEAD + REPEATS + SIDES))
    cut = HEAD.index("[[stakeout]]")
    second = hubs(run(tmp_path / "b", HEAD[:cut] + SIDES + REPEATS + HEAD[cut:], shots))
    assert first == second


@pytest.mark.parametrize("more", ["", SIDES.replace('"10 mm"', '"20 mm"')])
def test_what_nothing_else_holds_stays_as_it_is(tmp_path: Path, more: str) -> None:
    results = run(tmp_path, HEAD + more)
    assert hubs(results)["1"] == ("within", "")
    assert all(not len(finding.row_elsewhere) for finding in results.findings)


def test_as_built_rows_say_it_and_have_no_lath(tmp_path: Path) -> None:
    results = run(tmp_path, HEAD + "as_built = true\n" + SIDES)
    assert hubs(results)["1"] == ("within", "outside in Sides")
    assert "HOLD" not in render(results)["cut-sheet.csv"].decode()
