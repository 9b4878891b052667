"""What the pages say of provable tolerances, of the survey, and of instruments."""

import datetime
from dataclasses import replace
from pathlib import Path

import pytest

from checker.model.finding import Results
from checker.report.links import Links
from checker.report.metadata_view import metadata_lines
from checker.report.proof_view import proof_views, unproven_views
from checker.report.render import render
from checker.report.show import THIN
from checker.run import check
from tests.support.jobs import JobFolder

STAKES = [(f"P{k}", 5000.0 + 9.0 * k, 3000.0, 10.0) for k in range(4)]
CONTROL = [("CP1", 4990.0, 2990.0, 9.0)]


def results(folder: Path, *, sigma: float = 0.012, tolerance: str = "", more: str = "") -> Results:
    job = JobFolder(
        design=STAKES,
        shots=[*((name, n + 0.004, e, z + 0.012) for name, n, e, z in STAKES), CONTROL[0]],
        control=CONTROL,
        sigma_h=sigma,
        sigma_z=sigma,
        tolerance=tolerance or 'horizontal = "40 mm"\nvertical = "20 mm"\nrule = "guarded"\n',
        more=more,
    )
    return check(job.write(folder))


def test_each_class_says_what_can_be_proven(tmp_path: Path) -> None:
    rows = {(row.tolerance, row.part): row for row in proof_views(results(tmp_path / "a"))}
    plan, height = rows["t", "plan"], rows["t", "height"]
    assert (plan.limit, plan.provable, plan.word) == (f"40{THIN}mm", f"24{THIN}mm", "yes")
    assert height.word == "no: measure again with a level"
    assert (height.limit, height.provable) == (f"20{THIN}mm", f"24{THIN}mm")
    assert height.perfect.startswith(">")
    assert rows["c", "plan"].perfect == "—"  # control is not set out: nothing is perfect or off


def test_limits_of_both_sides_and_a_method_too_coarse_in_plan(tmp_path: Path) -> None:
    tolerance = 'horizontal = "20 mm"\nabove = "10 mm"\nbelow = "50 mm"\n'
    rows = {row.part: row for row in proof_views(results(tmp_path / "b", tolerance=tolerance))}
    assert rows["plan"].word.startswith("no: measure again with a total station")
    assert "above" in rows["height"].limit
    assert "below" in rows["height"].limit


def test_the_first_page_explains_what_the_bare_number_would_pass(tmp_path: Path) -> None:
    found = results(tmp_path / "c")
    (each,) = unproven_views(found, Links(found, single_file=False))
    assert each.check == "All stakes"
    assert each.text.startswith(
        "By the bare number P0 (and 3 more like it) is inside its tolerance"
    )
    assert each.text.endswith("first measure again with a level.")
    assert each.text.count(". ") == 1  # two sentences
    page = render(found)["index.html"].decode()
    assert "Inside by the bare number, and yet not proven" in page
    assert each.text in page.replace("\N{NO-BREAK SPACE}", " ")


def test_without_standard_deviations_the_page_says_so(tmp_path: Path) -> None:
    found = results(tmp_path / "d", sigma=0.0, tolerance='horizontal = "30 mm"\n')
    assert proof_views(found) == ()
    assert unproven_views(found, Links(found, single_file=False)) == ()
    page = render(found)["measurements.html"].decode()
    assert "what these measurements can prove cannot be said" in page


def test_the_statement_says_what_is_stated_and_what_is_not(tmp_path: Path) -> None:
    lines = {line.name: line.text for line in metadata_lines(results(tmp_path / "e"))}
    for name in ("Class of survey", "Procedure", "Epoch", "Geoid model", "Horizontal datum"):
        assert lines[name] == "not stated in the job"
    assert lines["Positional accuracy"].startswith("not tested in this job")
    assert lines["Unit of length"] == "metre"
    assert lines["Combined factor"].startswith("none:")
    assert lines["Fixed control"] == "CP1, from control.csv"
    assert lines["Dates of the work"] == "not stated in the job"


def test_the_statement_of_a_whole_job() -> None:
    demo = check(Path(__file__).parents[3] / "demo_job")
    lines = {line.name: line.text for line in metadata_lines(demo)}
    assert lines["Dates of the work"] == "2031-04-14 to 2031-04-17, as the shots show"
    assert lines["Unit of length"] == "US survey foot, 1200/3937 m exactly"
    assert lines["Combined factor"].startswith("0.99992, grid distance over ground distance, about")
    assert "grid = origin + factor" in lines["Combined factor"]
    assert lines["Grid and zone"].startswith("EPSG:6527, NAD83(2011) / New Jersey")
    assert lines["Epoch"] == "2010.00"
    accuracy = lines["Positional accuracy, Ground shots against check points"]
    assert accuracy.startswith("Tested 0.0")


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("due = 2031-04-15", "OVERDUE: it was due 2031-04-15, 2 days before the last measurement"),
        ("due = 2032-01-01", "; due 2032-01-01"),
        ("calibrated = 2031-04-16", "2031-04-16, 1 day before the job"),
    ],
)
def test_calibrations_stand_with_their_age(keys: str, words: str, tmp_path: Path) -> None:
    found = results(tmp_path / "f", more=f'[[instrument]]\nname = "rover"\n{keys}\n')
    dated = replace(found, job=replace(found.job, date=datetime.date(2031, 4, 17)))
    assert words in render(dated)["measurements.html"].decode()


def test_each_limit_of_the_gate_may_name_its_source(tmp_path: Path) -> None:
    gate = '[gate]\nsigma_h = "30 mm"\nsigma_z = "40 mm"\ncheck_within = "90 min"\n'
    gate += 'sources = { sigma_h = "office rule 7", check_within = "office rule 8" }\n'
    page = render(results(tmp_path / "g", more=gate))["inputs.html"].decode()
    assert "(office rule 7)" in page
    assert "1.5\N{NARROW NO-BREAK SPACE}h (office rule 8)" in page
