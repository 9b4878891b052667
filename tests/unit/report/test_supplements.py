"""Further tables of a check: in results.json, on its page, and what the one-page report keeps."""

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from checker.cli import main
from checker.read.inputs import open_job
from checker.report.results_json import results_document, results_text
from checker.run import evaluate

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
