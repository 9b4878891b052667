import json
import math
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from checker.model.finding import Results, Verdict
from checker.report import results_json
from checker.report.results_json import results_document, results_text
from tests.unit.report import factory

ROW_KEYS = [
    *("id", "verdict", "reason", "close", "design_n", "design_e", "design_z", "measured_n"),
    *("measured_e", "measured_z", "dn", "de", "dz", "horizontal", "bearing", "along", "across"),
    *("cut_fill", "station", "offset", "sigma_h", "sigma_z", "p_within", "superseded"),
]
SCHEMA = json.loads((Path(results_json.__file__).parent / "results.schema.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def results() -> Results:
    return factory.make()


def check(document: dict[str, object], name: str) -> dict[str, object]:
    checks = document["checks"]
    assert isinstance(checks, list)
    found: dict[str, object] = next(each for each in checks if each["name"] == name)
    return found


def test_document_has_the_shape_of_the_contract(results: Results) -> None:
    jsonschema.validate(json.loads(results_text(results)), SCHEMA)


def test_text_and_document_are_the_same(results: Results) -> None:
    assert json.loads(results_text(results)) == results_document(results)


def test_text_without_findings_is_json(results: Results) -> None:
    measured = results.inputs.measured
    assert measured is not None
    bare = factory.results_of((), measured, results.doubts)
    assert json.loads(results_text(bare))["checks"] == []


def test_a_stakes_row_has_every_key_of_the_contract_in_order(results: Results) -> None:
    rows = check(results_document(results), "Building corners")["rows"]
    assert isinstance(rows, list)
    assert list(rows[0])[: len(ROW_KEYS)] == ROW_KEYS


def test_no_number_is_nan_and_lengths_are_in_the_jobs_unit(results: Results) -> None:
    text = results_text(results)
    assert "NaN" not in text
    assert "Infinity" not in text
    rows = check(json.loads(text), "Building corners")["rows"]
    assert isinstance(rows, list)
    assert rows[0]["design_n"] == pytest.approx(512060.0, abs=1e-6)
    assert rows[4]["dn"] == pytest.approx(0.032, abs=1e-9)
    assert rows[4]["verdict"] == "outside"
    assert rows[0]["along"] is None
    angle = math.degrees(math.atan2(0.021, 0.032))
    assert rows[4]["bearing"] == pytest.approx(angle, abs=1e-5)


def test_a_fence_without_elevation_has_nulls(results: Results) -> None:
    row = check(results_document(results), "Fence")["rows"]
    assert isinstance(row, list)
    assert row[0]["design_z"] is None
    assert row[0]["dz"] is None
    assert row[0]["cut_fill"] is None


def test_cut_and_fill_are_the_laths_text(results: Results) -> None:
    rows = check(results_document(results), "Force main")["rows"]
    assert isinstance(rows, list)
    assert rows[2]["cut_fill"] == "F 0.07"
    # 0.0504 ft would read as its limit of 0.05: one more digit, and one more where that ties too.
    assert rows[8]["cut_fill"] == "C 0.0504"


def test_closures_are_summed_up_in_the_contracts_keys(results: Results) -> None:
    document = results_document(results)
    summary = check(document, "Control loop")["summary"]
    assert isinstance(summary, dict)
    keys = {"legs", "misclosure_n", "misclosure_e", "misclosure", "length", "ratio", "area"}
    assert set(summary) >= keys | {"ratio_required", "angular_allowable_arcsec"}
    assert summary["angular_misclosure_arcsec"] == pytest.approx(-11.0)
    assert summary["misclosure_n"] == pytest.approx(0.02)
    rows = check(document, "Control loop")["rows"]
    assert isinstance(rows, list)
    assert rows[0]["verdict"] is None
    assert rows[0]["azimuth"] == pytest.approx(math.degrees(math.atan2(60, 200)))
    levels = check(document, "Bench mark run")["summary"]
    assert isinstance(levels, dict)
    assert set(levels) >= {"misclosure", "allowable", "distance", "setups"}


def test_counts_and_unused(results: Results) -> None:
    document = results_document(results)
    assert document["counts"] == {
        each.word: results.counts[each]
        for each in (Verdict.WITHIN, Verdict.OUTSIDE, Verdict.UNDECIDED, Verdict.UNCHECKED)
    }
    assert document["measured"] == {"count": 80, "unused": ["161", "topo-1"]}


def test_texts_that_break_naive_joining_survive() -> None:
    names = ['a,\n"b', "%s %d {x}", "null", 'q"', "ö\u2028", "\\n"]
    results = factory.make(ids=names, descriptions=names, title="100 % {title} %s")
    document = json.loads(results_text(results))
    assert document == results_document(results)
    rows = check(document, "Building corners")["rows"]
    assert isinstance(rows, list)
    assert [row["id"] for row in rows[: len(names)]] == names
    assert document["job"]["title"] == "100 % {title} %s"


def test_integers_of_counts_are_integers(results: Results) -> None:
    rows = check(results_document(results), "Repeats hours apart")["rows"]
    assert isinstance(rows, list)
    assert all(isinstance(row["count"], int) for row in rows)
    assert np.isclose(rows[0]["apart_h"], 5.2)


def test_the_schema_is_a_schema_and_the_demonstration_keeps_to_it() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    golden = Path(__file__).parents[2] / "golden" / "demo" / "results.json"
    document = json.loads(golden.read_text("utf-8"))
    jsonschema.validate(document, SCHEMA)
    assert len({check["kind"] for check in document["checks"]}) > 5
    del document["program"]
    with pytest.raises(jsonschema.ValidationError, match="program"):
        jsonschema.validate(document, SCHEMA)
