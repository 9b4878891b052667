import csv
import io

import pytest

from checker.report.exports import cut_sheet_csv, harmless, results_csv
from checker.report.results_json import results_document
from tests.unit.report import factory

FORMULAS = [
    "=1+1",
    "+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    " =1",
    "\r=1",
    "\uff1d1",
    "-A",
]


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.parametrize("text", FORMULAS)
def test_formulas_become_text(text: str) -> None:
    assert harmless(text) == "'" + text.replace("\r", " ")


@pytest.mark.parametrize("text", ["104", "-5", "+12.5", "1+00", "a=b", "", "A-1", "10 %"])
def test_plain_text_stays(text: str) -> None:
    assert harmless(text) == text


def test_no_cell_of_any_export_starts_a_formula() -> None:
    results = factory.make(ids=FORMULAS, descriptions=FORMULAS)
    for text in (results_csv(results), cut_sheet_csv(results)):
        for row in read(text):
            for key, value in row.items():
                assert harmless(value) == value or value.startswith("'"), (key, value)
        assert "'=1+1" in text


def test_results_csv_has_a_row_for_every_row_of_json() -> None:
    results = factory.make()
    document = results_document(results)
    rows = read(results_csv(results))
    checks = document["checks"]
    assert isinstance(checks, list)
    expected = [(each["name"], row["id"]) for each in checks for row in each["rows"]]
    assert [(row["check"], row["id"]) for row in rows] == expected
    flat = [row for each in checks for row in each["rows"]]
    for mine, theirs in zip(rows, flat, strict=True):
        assert mine["verdict"] == (theirs["verdict"] or "")
        if theirs.get("dn") is not None:
            assert float(mine["dn"]) == theirs["dn"]
        else:
            assert mine.get("dn", "") == ""
        assert mine["unit"] == "us-survey-foot"


def test_a_line_break_in_a_text_breaks_no_row() -> None:
    assert harmless("a\r\nb\rc\u2028d") == "a b c d"


def test_files_have_plain_line_ends() -> None:
    results = factory.make()
    for text in (results_csv(results), cut_sheet_csv(results)):
        assert "\r" not in text
        assert text.endswith("\n")


def test_cut_sheet_holds_stakes_with_a_design_elevation() -> None:
    rows = read(cut_sheet_csv(factory.make()))
    assert len(rows) == 50  # the fence has none
    assert rows[30]["id"] == "131"
    assert rows[30]["cut_fill_ft"] == "F 0.07"
    assert rows[30]["dz_ft"] == "-0.071"
    assert rows[30]["verdict"] == "outside"
    assert rows[0]["design_elevation_ft"] == "342.500"


def test_cut_sheet_leaves_out_superseded_shots() -> None:
    results = factory.superseded()
    rows = read(cut_sheet_csv(results))
    assert [row["id"] for row in rows] == ["1", "2"]
    assert len(read(results_csv(results))) == 3
