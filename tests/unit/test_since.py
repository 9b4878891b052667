"""A rebuild over an earlier report says what changed; the page of `checker compare`."""

import json
import re
from html import unescape
from pathlib import Path

import pytest

from checker.cli import main
from checker.read.report import read_report, read_since
from checker.report.past import made_from, past_of
from checker.report.publish import publish
from checker.report.render import render
from tests.support.jobs import JobFolder
from tests.unit.report import factory

ROWS = [("1", 10.0, 20.0, 3.0), ("2", 30.0, 20.0, 3.0), ("3", 30.0, 60.0, 3.5)]


def job(folder: Path, shots: list[tuple[str, float, float, float]], **limits: str) -> Path:
    return JobFolder(design=ROWS, shots=shots, **limits).write(folder)  # type: ignore[arg-type]


def tree(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def said(folder: Path) -> str:
    page = (folder / "index.html").read_text(encoding="utf-8")
    return unescape(re.sub(r"<[^>]*>", " ", page))


def build(path: Path, out: Path) -> None:
    assert main(["build", str(path), "--out", str(out)]) in (0, 1)


def test_a_report_that_is_made_is_read_back_the_same(tmp_path: Path) -> None:
    results = factory.make()
    publish(render(results), tmp_path / "report")
    made, read = past_of(results), read_report(tmp_path / "report")
    assert (made.title, made.number, made.unit, made.version, made.verdict) == (
        *(read.title, read.number, read.unit, read.version, read.verdict),
    )
    assert made.counts == read.counts
    assert made.inputs == read.inputs
    for one, other in zip(made.checks, read.checks, strict=True):
        assert (one.kind, one.name, one.verdict) == (other.kind, other.name, other.verdict)
        assert one.tolerance == other.tolerance
        for mine, theirs in zip(one.rows, other.rows, strict=True):
            assert (mine.id, mine.verdict, mine.reason, mine.superseded) == (
                *(theirs.id, theirs.verdict, theirs.reason, theirs.superseded),
            )
            for a, b in zip(
                (*mine.design, *mine.measured), (*theirs.design, *theirs.measured), strict=True
            ):
                assert (a is None) == (b is None)
                assert a is None or b is None or a == pytest.approx(b, abs=1e-6)


def test_the_first_report_says_nothing_of_an_earlier_one(tmp_path: Path) -> None:
    build(job(tmp_path / "job", ROWS), tmp_path / "out")
    document = json.loads((tmp_path / "out" / "changes.json").read_text("utf-8"))
    assert document["since"] is None
    assert {each["role"] for each in document["made_from"]["inputs"]} >= {"job"}
    assert "Since the report before" not in said(tmp_path / "out")
    kept = read_since(tmp_path / "out")
    assert kept is not None
    assert kept[0] == made_from_of(tmp_path / "job")


def made_from_of(path: Path) -> object:
    from checker.run import check

    return made_from(check(path))


def test_a_rebuild_says_what_changed_and_repeats_byte_for_byte(tmp_path: Path) -> None:
    out = tmp_path / "out"
    path = job(tmp_path / "job", ROWS)
    build(path, out)
    first = tree(out)
    build(path, out)
    assert tree(out) == first
    before = first["results.json"]
    moved = [(ROWS[0][0], ROWS[0][1] + 5.0, *ROWS[0][2:]), *ROWS[1:]]
    job(tmp_path / "job", moved)
    build(path, out)
    text = said(out)
    assert "Since the report before this one:" in text
    assert re.search(r"Newly outside 1, measured again 1, input files changed 1", text)
    assert "1 newly outside (was within): 1" in text
    import hashlib

    assert hashlib.sha256(before).hexdigest() in text
    second = tree(out)
    build(path, out)
    assert tree(out) == second
    job(tmp_path / "job", ROWS)
    build(path, out)
    assert "1 newly within (was outside): 1" in said(out)


def test_an_earlier_report_that_was_tampered_with_is_named_and_replaced(tmp_path: Path) -> None:
    out = tmp_path / "out"
    path = job(tmp_path / "job", ROWS)
    build(path, out)
    (out / "results.json").write_bytes((out / "results.json").read_bytes() + b" ")
    job(tmp_path / "job", [(ROWS[0][0], ROWS[0][1] + 5.0, *ROWS[0][2:]), *ROWS[1:]])
    build(path, out)
    assert "cannot be compared with this one" in said(out)
    build(path, out)
    assert "cannot be compared with this one" in said(out)


def pair(tmp_path: Path) -> tuple[Path, Path]:
    build(job(tmp_path / "job", ROWS), tmp_path / "week1")
    job(tmp_path / "job", [(ROWS[0][0], ROWS[0][1] + 5.0, *ROWS[0][2:]), *ROWS[1:]])
    build(tmp_path / "job", tmp_path / "week2")
    return tmp_path / "week1", tmp_path / "week2"


def test_compare_writes_a_page_that_needs_nothing_else(tmp_path: Path) -> None:
    old, new = pair(tmp_path)
    page = tmp_path / "changed.html"
    assert main(["compare", str(old), str(new), "--page", str(page)]) == 1
    data = page.read_bytes()
    text = data.decode()
    assert "Was within, now outside" in text
    assert "1 newly outside (was within): 1" in text
    assert str(tmp_path) not in text
    assert not re.search(r'(?:src|href)="(?!#)', text)
    assert "<script" not in text
    assert "script-src 'none'" in unescape(text)
    assert main(["compare", str(old), str(new), "--page", str(page)]) == 1
    assert page.read_bytes() == data
    assert main(["compare", str(old), str(old), "--page", str(page)]) == 0
    assert "Nothing changed between the two." in page.read_text(encoding="utf-8")


def test_compare_never_overwrites_what_is_not_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = pair(tmp_path)
    foreign = tmp_path / "notes.html"
    foreign.write_text("<p>mine</p>", encoding="utf-8")
    assert main(["compare", str(old), str(new), "--page", str(foreign)]) == 2
    assert foreign.read_text(encoding="utf-8") == "<p>mine</p>"
    assert "left alone" in capsys.readouterr().err
    assert main(["compare", str(old), str(new), "--page", str(tmp_path / "no" / "x.html")]) == 2
    assert "cannot be written" in capsys.readouterr().err
    assert not list(tmp_path.glob(".*"))


def test_names_of_the_users_never_become_markup_on_the_page(tmp_path: Path) -> None:
    evil = '<img src=x onerror="alert(1)">'
    rows = [(evil, 10.0, 20.0, 3.0), *ROWS[1:]]
    for name, north in (("a", 10.0), ("b", 15.0)):
        shots = [(evil, north, 20.0, 3.0), *ROWS[1:]]
        JobFolder(design=rows, shots=shots).write(tmp_path / "job")
        build(tmp_path / "job", tmp_path / name)
    page = tmp_path / "page.html"
    main(["compare", str(tmp_path / "a"), str(tmp_path / "b"), "--page", str(page)])
    text = page.read_text(encoding="utf-8")
    assert "<img" not in text
    assert "&lt;img" in text
