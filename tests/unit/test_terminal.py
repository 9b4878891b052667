"""No name and no text of a user's files moves the cursor, or writes a line of its own."""

import json
import re
import shutil
import unicodedata
from pathlib import Path

import pytest

from checker import cli
from tests.support.small_jobs import small_jobs

BAD = "x\x1b[2J\x1b]0;t\x07\nWITHIN: all\nUNALTERED: all\r\u202ey\x9b1m"
"""Clears a screen, names a window, begins lines that look like ours, turns the reading."""


@pytest.fixture
def root(tmp_path: Path) -> Path:
    try:
        (tmp_path / BAD).mkdir()
    except OSError:
        pytest.skip("this file system takes no such name")
    return tmp_path / BAD


@pytest.fixture
def job(root: Path) -> Path:
    folder = root / f"job{BAD}"
    folder.mkdir()
    for name, data in small_jobs()["points"].items():
        (folder / name).write_bytes(data.replace(b"HUB", "H\u202eUB".encode()))
    return folder


class Speaker:
    """Runs a command and returns its status, once nothing odd was found in what it printed."""

    def __init__(self, capfd: pytest.CaptureFixture[str]) -> None:
        self._capfd = capfd
        self.said = ""

    def __call__(self, *arguments: str | Path) -> int:
        try:
            status = cli.main([str(each) for each in arguments])
        except SystemExit as stop:
            status = int(stop.code or 0)
        captured = self._capfd.readouterr()
        self.said = captured.out + captured.err
        odd = {c for c in self.said if unicodedata.category(c) in {"Cc", "Cf", "Cs"}} - {"\n"}
        assert not odd, self.said
        starts = [line for line in self.said.splitlines() if re.match("WITHIN|UNALTERED", line)]
        assert len(starts) == (1 if starts and status == 0 else 0), self.said
        assert "Traceback" not in self.said
        return status


@pytest.fixture
def say(capfd: pytest.CaptureFixture[str]) -> Speaker:
    return Speaker(capfd)


def test_building_and_checking(root: Path, job: Path, say: Speaker) -> None:
    site = root / f"out{BAD}"
    assert say("build", job, "--out", site) == 1
    assert say("build", job, "--out", site, "--single-file") == 1
    assert say("check", job) == 1
    assert say("check", job, "--json") == 1
    assert json.loads(say.said)["job"]["title"] == "Invented corners"
    other = root / "other"
    shutil.copytree(job, other)
    (job / "shots.csv").unlink()
    assert say("build", job, other, "--out", root / "many") == 2
    assert "missing-file" in say.said
    assert say("check", job) == 2


def test_job_files_that_hold_such_text(root: Path, say: Speaker) -> None:
    text = json.dumps(BAD).replace("\x9b", "\\u009b")
    for number, written in enumerate(
        (
            f"[job]\ntitle = {text}\nunit = {text}\n{text} = 1\n[{text}]\n",
            f'[job]\ntitle = "x"\nunit = "metre"\n[measured]\nfiles = [{text}]\n',
            f"[job]\n# {BAD}\ntitle = 1 2 {BAD}",
            f'[job]\ntitle = "x"\nunit = "metre"\n[tolerance.{text}]\nwrong = 1\n',
        )
    ):
        folder = root / str(number)
        folder.mkdir()
        (folder / "job.toml").write_text(written, encoding="utf-8", newline="")
        assert say("check", folder) == 2
        assert "hint:" in say.said


@pytest.mark.parametrize("out", ["", "job.toml", "job.toml/below"])
def test_where_no_report_can_be(job: Path, say: Speaker, out: str) -> None:
    assert say("build", job, "--out", job / out) == 2
    assert say.said.count("\n    hint: ") == 1


def test_reports_compared_and_verified(root: Path, job: Path, say: Speaker) -> None:
    old, new = root / f"old{BAD}", root / f"new{BAD}"
    assert say("build", job, "--out", old) == 1
    (job / "job.toml").write_bytes((job / "job.toml").read_bytes().replace(b"20 mm", b"30 mm"))
    assert say("build", job, "--out", new) == 1
    assert say("compare", old, new, "--page", root / f"p{BAD}.html") in {0, 1}
    assert say("compare", old, new, "--page", job / "job.toml") == 2
    assert say("compare", old, job) == 2
    assert say("verify", job) == 2
    assert say("verify", new) == 0
    (new / f"f{BAD}").write_text("x")
    (new / "index.html").write_text("x")
    assert say("verify", new) == 1
    assert "altered: index.html" in say.said
    assert say("build", job, "--out", new) == 2
    assert "did not write" in say.said
    for name in ("results.json", "manifest.json"):
        for text in (json.dumps({BAD: 1}), json.dumps({"schema": BAD}), BAD):
            kept = (old / name).read_bytes()
            (old / name).write_text(text)
            assert say("compare", old, old) == 2
            assert say("verify", old) in {1, 2}
            (old / name).write_bytes(kept)


def test_showing_and_beginning(root: Path, job: Path, say: Speaker) -> None:
    table = root / f"t{BAD}.csv"
    shutil.copy(job / "shots.csv", table)
    assert say("show", table) == 0
    folder, design, shots = root / f"n{BAD}", job / "design.csv", job / "shots.csv"
    for status in (0, 2):  # the second finds it there
        assert say("new", folder, "--drawing", design, "--points", shots) == status
    # a job names its files as text, and control characters are refused in texts
    assert say("new", root / f"o{BAD}", "--drawing", design, "--points", table) == 2
    assert "with control characters in it" in say.said
    table.write_text(f'id,northing,easting,"{BAD}"\n"{BAD}",1,x,"{BAD}"\n', encoding="utf-8")
    assert say("show", table) in {0, 2}
    assert say("show", root / f"no{BAD}") == 2
    assert say("new", root / "m", "--drawing", table, "--points", table) == 2


@pytest.mark.parametrize(
    "line",
    [
        (BAD,),
        ("build", f"--{BAD}"),
        ("build", BAD),
        ("show", "x", "--unit", BAD),
        ("check", "x", BAD),
        ("compare", BAD, BAD),
        ("verify", BAD),
        ("new", BAD, "--drawing", BAD, "--points", BAD),
    ],
)
def test_words_of_the_command_line(say: Speaker, line: tuple[str, ...]) -> None:
    assert say(*line) == 2
