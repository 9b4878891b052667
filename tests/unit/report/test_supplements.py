"""Further tables of a check: in results.json, on its page, and what the one-page report keeps."""

import json
import re
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from checker.cli import main
from checker.model.finding import Verdict
from checker.model.measure import Quantity
from checker.read.inputs import open_job
from checker.report.geojson import map_file
from checker.report.links import Links
from checker.report.pages import render_one
from checker.report.results_json import results_document, results_text
from checker.report.supplements import repeated
from checker.report.view import site_view
from checker.run import check, evaluate

DEMO = Path(__file__).parents[3] / "demo_job"

JOB = """[job]
title = "Invented"
unit = "foot"
[[traverse]]
name = "Loop"
file = "t.csv"
shape = "loop"
angles = "right"
start = { n = 0, e = 0 }
start_azimuth = 90
adjust = "crandall"
tolerance = { ratio = "1:1000" }
"""
BOOK = """at,to,angle,distance
<b>A</b>,B,270-00-04,100.02
<b>A</b>,B,270-00-08,100.03
B,C,270-00-00,149.99
C,D,269-59-58,100.0
D,<b>A</b>,270-00-10,150.0
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    (tmp_path / "t.csv").write_text(BOOK, encoding="utf-8")
    return tmp_path


def document(folder: Path) -> dict[str, Any]:
    results = evaluate(*open_job(folder / "job.toml"))
    text: dict[str, Any] = json.loads(results_text(results))
    assert text == json.loads(json.dumps(results_document(results)))
    return text


def test_tables_stand_beside_the_rows_in_the_jobs_unit(folder: Path) -> None:
    found = document(folder)
    schema = json.loads(files("checker.report").joinpath("results.schema.json").read_text("utf-8"))
    jsonschema.validate(found, schema)
    (check,) = found["checks"]
    tables = {table["key"]: table for table in check["tables"]}
    assert list(tables) == ["sets", "angles", "rules", "coordinates_by_rule", "courses"]
    sets = tables["sets"]["rows"][0]
    assert sets["id"] == "<b>A</b>"
    assert sets["distance_mean"] == pytest.approx(100.025)
    assert sets["angle_range_arcsec"] == pytest.approx(4.0)
    heads = {column["key"]: column["unit"] for column in tables["courses"]["columns"]}
    assert heads["distance"] == "ft"
    assert heads["correction_azimuth_arcsec"] == "arcsec"
    by_rule = [row["crandall_n"] for row in tables["coordinates_by_rule"]["rows"]]
    assert by_rule == pytest.approx([row["adjusted_n"] for row in check["rows"]])


def test_the_page_shows_them_between_figure_and_rows(folder: Path, tmp_path: Path) -> None:
    assert main(["build", str(folder), "--out", str(tmp_path / "out")]) == 0
    (page,) = (tmp_path / "out").glob("check-loop*.html")
    text = page.read_text(encoding="utf-8")
    assert "&lt;b&gt;A&lt;/b&gt;" in text
    assert "<b>A</b>" not in text
    order = [
        text.index(part)
        for part in (
            "<figure",
            ">Sets, their means and spread<",
            ">Angles, observed and balanced<",
            ">What each rule changes<",
            ">Coordinates by each rule<",
            ">Courses, before and after<",
        )
    ]
    assert order == sorted(order)
    assert text.rindex("<table") > order[-1]


def test_one_page_leaves_tables_of_coordinates_out(folder: Path, tmp_path: Path) -> None:
    assert main(["build", str(folder), "--single-file", "--out", str(tmp_path / "one")]) == 0
    text = (tmp_path / "one" / "index.html").read_text(encoding="utf-8")
    assert ">What each rule changes<" in text
    assert ">Coordinates by each rule<" not in text


def test_paper_leaves_out_coordinates_and_what_it_has_had_already() -> None:
    results = check(DEMO)
    links = Links(results, single_file=True)
    html = render_one(site_view(results, links, map_file(results), paper=True), links)
    assert "Left out on paper: the tables of coordinates" in html
    assert "places, in US survey feet" not in html
    tables_of_rows = re.findall(r'<table class="data sortable judged".*?</table>', html, re.DOTALL)
    assert tables_of_rows
    assert not [each for each in tables_of_rows if ">P within<" in each or ">σ plan" in each]
    roads = [
        each
        for each in results.findings
        if any("curves of alignment ROAD" in more.title for more in each.measure.supplements)
    ]
    assert len(roads) > 2
    tables = re.findall(r"<table[^>]*><caption[^>]*><span>[^<]*vertical curves of[^<]*", html)
    assert len(tables) == 1
    said = f"The same table as under {roads[0].measure.name}; it is not repeated here."
    assert html.count(said) >= len(roads) - 1
    whole = render_one(site_view(results, links, map_file(results)), links)
    assert "Left out on paper" not in whole
    assert "it is not repeated here" not in whole
    for finding in results.findings:
        if finding.verdict is Verdict.WITHIN and not finding.close:
            key = f"c{results.findings.index(finding) + 1}-plan"
            assert f'<svg id="{key}"' not in html


def test_tables_that_differ_in_one_number_are_no_repetition() -> None:
    results = check(DEMO)
    again = repeated(results.findings)
    assert again
    (number, table), _ = next(iter(again.items()))
    finding = results.findings[number]
    supplements = list(finding.measure.supplements)
    column = next(
        each
        for each in supplements[table].columns
        if each.quantity not in (Quantity.TEXT, Quantity.FLAG)
    )
    other = replace(column, values=column.values.astype(np.float64) * (1 + 1e-12))
    columns = tuple(other if each is column else each for each in supplements[table].columns)
    supplements[table] = replace(supplements[table], columns=columns)
    changed = replace(finding, measure=replace(finding.measure, supplements=tuple(supplements)))
    findings = [*results.findings[:number], changed, *results.findings[number + 1 :]]
    assert (number, table) not in repeated(findings)
