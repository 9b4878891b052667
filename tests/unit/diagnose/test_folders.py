"""Job folders of the second maker: what is said of them through files."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import checker.report
from checker.run import build
from tests.bench.diagnose_folders import amiss, diagnosed, held
from tests.support.site_faults import FAULTS, SILENT, write_trial

SEED = 90_000


@pytest.mark.parametrize("hard", [False, True], ids=["plain", "hard"])
@pytest.mark.parametrize("fault", FAULTS)
def test_a_cause_is_named_from_files(fault: str, hard: bool) -> None:
    done, found = diagnosed(SEED, fault, hard=hard)
    own = next((each for each in found if each["blunder"] == fault), None)
    beside = [other["blunder"] for each in found for other in each["also"]]
    assert own is not None or fault in beside, [each["blunder"] for each in found]
    if own is not None and not hard:
        assert amiss(done, own) == []


@pytest.mark.parametrize("hard", [False, True], ids=["plain", "hard"])
def test_silence_from_files(hard: bool) -> None:
    for fault in SILENT:
        for seed in range(SEED, SEED + 6):
            assert diagnosed(seed, fault, hard=hard)[1] == [], f"{fault} {seed}"


def test_intervals_hold_what_was_done() -> None:
    said: list[bool] = []
    for seed in range(SEED, SEED + 8):
        for fault in ("shift", "height-constant"):
            done, found = diagnosed(seed, fault, hard=False)
            said += [ok for each in found if each["blunder"] == fault for ok in held(done, each)]
    # Fewer than 80 % of some 24 would hold less than once in a hundred samples.
    assert len(said) > 18
    assert sum(said) / len(said) > 0.8


def test_the_report_shows_it(tmp_path: Path) -> None:
    write_trial(SEED, "pole-height", tmp_path / "job", hard=False)
    build(tmp_path / "job", tmp_path / "out")
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "The residuals without and with this cause" in page
    assert 'id="cause-1"' in page
    checks = [p.read_text(encoding="utf-8") for p in (tmp_path / "out").glob("check-*.html")]
    assert any("What may have gone wrong: Pole height" in text for text in checks)
    document: Any = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    schema = Path(checker.report.__file__).parent / "results.schema.json"
    jsonschema.validate(document, json.loads(schema.read_text(encoding="utf-8")))
    assert {each["blunder"] for each in document["power"]} == set(FAULTS)


def test_one_page_has_no_name_twice(tmp_path: Path) -> None:
    write_trial(SEED, "rotation", tmp_path / "job", hard=False)
    build(tmp_path / "job", tmp_path / "out", single_file=True)
    page = next((tmp_path / "out").glob("*.html")).read_text(encoding="utf-8")
    names = [part.split('"', 1)[0] for part in page.split(' id="')[1:]]
    assert len(names) == len(set(names))
