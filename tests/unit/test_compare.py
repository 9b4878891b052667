"""checker compare: what changed between two reports."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.cli import main
from checker.errors import InputError
from checker.read.report import read_report
from checker.report.changes import changes
from checker.report.manifest import manifest
from checker.report.publish import publish
from checker.report.render import render
from tests.unit.report import factory


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("compare") / "old"
    publish(render(factory.make()), folder)
    return folder


def rewritten(report: Path, target: Path, change: Callable[[dict[str, Any]], None]) -> Path:
    """Return a copy of a report whose results are changed, with a manifest that fits."""
    shutil.copytree(report, target)
    document = json.loads((target / "results.json").read_text("utf-8"))
    change(document)
    (target / "results.json").write_text(json.dumps(document), "utf-8")
    files = {path.name: path.read_bytes() for path in sorted(target.iterdir())}
    del files["manifest.json"]
    (target / "manifest.json").write_bytes(manifest(files))
    return target


def corners(document: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = next(
        check for check in document["checks"] if check["name"] == "Building corners"
    )
    return found


def topics(old: Path, new: Path) -> dict[str, tuple[str, ...]]:
    return dict(changes(read_report(old), read_report(new)).topics)


def test_a_report_does_not_differ_from_itself(
    report: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", str(report), str(report)]) == 0
    assert "nothing changed" in capsys.readouterr().out


def test_every_change_is_told_and_its_opposite(report: Path, tmp_path: Path) -> None:
    def change(document: dict[str, Any]) -> None:
        rows = {row["id"]: row for row in corners(document)["rows"]}
        rows["101"].update(verdict="outside", reason="moved for the test")
        rows["102"]["design_n"] += 0.25
        rows["103"]["measured_e"] += 0.01
        corners(document)["tolerance"]["limits"]["horizontal"] = "0.01 ft"
        document["program"]["version"] = "9.9"
        document["inputs"][0]["sha256"] = "1" * 64
        gone = document["checks"].pop()
        assert gone["name"] != "Building corners"
        document["counts"]["within"] -= 1
        document["counts"]["outside"] += 1

    new = rewritten(report, tmp_path / "new", change)
    found = topics(report, new)
    assert any("outside" in line and "now" in line for line in found["The verdict"])
    assert any("9.9" in line for line in found["The job"])
    assert any(line.startswith("changed: ") for line in found["Inputs"])
    assert any("now 0.01 ft" in line for line in found["Tolerances"])
    assert any(line.startswith("gone: ") for line in found["Checks"])
    said = found["In Building corners"]
    assert "1 newly outside (was within): 101" in said
    assert "1 design moved: 102 by N +0.250 ft" in said
    assert "1 measured again: 103" in said
    back = topics(new, report)
    assert "1 newly within (was outside): 101" in back["In Building corners"]
    assert "1 design moved: 102 by N -0.250 ft" in back["In Building corners"]
    assert any(line.startswith("added: ") for line in back["Checks"])


def test_rows_that_come_and_go(report: Path, tmp_path: Path) -> None:
    def change(document: dict[str, Any]) -> None:
        rows = corners(document)["rows"]
        rows[0]["id"] = "999"

    said = topics(report, rewritten(report, tmp_path / "new", change))["In Building corners"]
    assert any(line.startswith("1 no longer there: 101") for line in said)
    assert any(line.startswith("1 new, ") and line.endswith("999") for line in said)


def test_another_unit_moves_nothing(report: Path, tmp_path: Path) -> None:
    """The same places in metres are the same places."""

    def change(document: dict[str, Any]) -> None:
        document["job"]["unit"] = "metre"
        for check in document["checks"]:
            for row in check["rows"]:
                for key in row:
                    if key.startswith(("design_", "measured_")) and row[key] is not None:
                        row[key] *= 1200 / 3937

    found = topics(report, rewritten(report, tmp_path / "new", change))
    assert set(found) == {"The job"}


@pytest.mark.parametrize("what", ["nothing", "manifest", "results", "altered", "other", "list"])
def test_what_is_no_report_is_refused(
    report: Path, tmp_path: Path, what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "new"
    shutil.copytree(report, folder)
    slug = "not-a-report"
    if what == "nothing":
        shutil.rmtree(folder)
    elif what == "manifest":
        (folder / "manifest.json").unlink()
    elif what == "results":
        (folder / "results.json").unlink()
    elif what == "altered":
        text = (folder / "results.json").read_text("utf-8").replace("outside", "within", 1)
        (folder / "results.json").write_text(text, "utf-8")
        slug = "report-altered"
    elif what == "other":
        shutil.rmtree(folder)
        rewritten(report, folder, lambda document: document.update(schema=2))
    else:
        shutil.rmtree(folder)
        rewritten(report, folder, lambda document: document.update(checks=[1, 2]))
    with pytest.raises(InputError) as caught:
        read_report(folder)
    assert [problem.slug for problem in caught.value.problems] == [slug]
    assert main(["compare", str(report), str(folder)]) == 2
    assert f"[{slug}]" in capsys.readouterr().err


def test_files_that_were_changed_afterwards_are_named(report: Path, tmp_path: Path) -> None:
    folder = tmp_path / "new"
    shutil.copytree(report, folder)
    (folder / "cut-sheet.csv").write_text("C 9.99\n", "utf-8")
    (folder / "methods.html").unlink()
    assert read_report(report).altered == ()
    assert read_report(folder).altered == ("cut-sheet.csv", "methods.html")
    said = topics(report, folder)["Files changed since they were written"]
    assert len(said) == 1
    assert "cut-sheet.csv, methods.html" in said[0]


def test_a_path_that_leads_out_of_the_report_is_never_opened(report: Path, tmp_path: Path) -> None:
    folder = tmp_path / "new"
    shutil.copytree(report, folder)
    document = json.loads((folder / "manifest.json").read_text("utf-8"))
    document["files"].append({"path": "../secret", "bytes": 1, "sha256": "0" * 64})
    (folder / "manifest.json").write_text(json.dumps(document), "utf-8")
    assert read_report(folder).altered == ("../secret",)


def test_a_large_report_is_read_by_its_places() -> None:
    """Places come back in metres as the model had them."""
    results = factory.make()
    measure = next(f.measure for f in results.findings if f.measure.name == "Building corners")
    from checker.read.report import _check
    from checker.report.results_json import results_document

    document: Any = results_document(results)
    past = _check(corners(document), results.job.unit)
    design = np.array([[np.nan if v is None else v for v in row.design] for row in past.rows])
    for place, key in enumerate(("design_n", "design_e", "design_z")):
        np.testing.assert_allclose(
            design[:, place], measure.column(key).values.astype(float), rtol=1e-15, atol=1e-9
        )
