"""What the command line says to somebody who is new to it, on whatever console."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from checker.cli import COMMANDS, main
from tests.support.damage import command
from tests.support.small_jobs import small_jobs

ROOT = Path(__file__).resolve().parents[2]


def said(*arguments: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    with pytest.raises(SystemExit) as stop:
        main(list(arguments))
    captured = capsys.readouterr()
    assert isinstance(stop.value.code, int)
    return stop.value.code, captured.out + captured.err


@pytest.mark.parametrize("word", COMMANDS)
def test_help_of_every_command_shows_an_example(
    word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, text = said(word, "--help", capsys=capsys)
    assert status == 0
    assert re.search(rf"^  checker {word} \S", text, re.MULTILINE)
    assert all(len(line) <= 110 for line in text.splitlines())


@pytest.mark.parametrize(
    ("mistyped", "nearest"),
    [
        (["biuld", "x"], 'did you mean "build"?'),
        (["chek", "x"], 'did you mean "check"?'),
        (["verfy", "x"], 'did you mean "verify"?'),
        (["build", "x", "--singel-file"], 'did you mean "--single-file"?'),
        (["build", "x", "--alow-outside"], 'did you mean "--allow-outside"?'),
        (["check", "x", "--jsno"], 'did you mean "--json"?'),
        (["check", "x", "--pdf"], "--pdf belongs to build"),
        (["check", "x", "--out=y"], "--out=y belongs to build"),
        (["show", "x", "--quiet"], "--quiet belongs to build and check and verify"),
        ([], "say what to do: build, check, compare, new, show, verify"),
        (["check", "x", "y"], '"y" means nothing here'),
        (["zzz"], "commands: build"),
        (["tests"], 'did you mean "checker build tests"?'),
        (["\x1b[2J"], "there is no command"),
    ],
)
def test_a_mistyped_word_names_the_nearest(
    mistyped: list[str],
    nearest: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(ROOT)
    status, text = said(*mistyped, capsys=capsys)
    assert status == 2
    assert nearest in text
    assert "\x1b" not in text


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("design.dxf", "checker new <folder> --drawing {path} --points <your shots>"),
        ("rover.csv", "checker new <folder> --drawing <the design> --points {path}"),
        ("rover.CSV", "this is a table, not a job"),
    ],
)
def test_a_file_that_is_no_job_is_told_what_it_is_for(
    name: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / name).write_text("0\nSECTION\n")
    assert main(["build", str(tmp_path / name)]) == 2
    text = capsys.readouterr().err
    assert told.replace("{path}", str(tmp_path / name)) in text
    assert "[no-job]" in text


@pytest.mark.parametrize(
    ("called", "typed", "shown"),
    [
        (["{folder}/checker"], [], "{folder}/checker build"),
        (
            ["{folder}/checker/__main__.py"],
            ["python3", "-m", "checker"],
            "python3 -m checker build",
        ),
        (["/usr/lib/pytest"], [], " checker build"),
    ],
)
def test_what_comes_next_is_typed_as_the_command_was(
    called: list[str],
    typed: list[str],
    shown: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    for name, data in small_jobs()["points"].items():
        (tmp_path / name).write_bytes(data)
    monkeypatch.setattr(sys, "argv", [each.format(folder=tmp_path) for each in called])
    monkeypatch.setattr(sys, "orig_argv", typed)
    files = ["--drawing", str(tmp_path / "design.csv"), "--points", str(tmp_path / "shots.csv")]
    assert main(["new", str(tmp_path / "site"), *files]) == 0
    assert f"then: {shown.format(folder=tmp_path).strip()}" in capsys.readouterr().out


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "Grabenstraße 12 Δ"
    folder.mkdir()
    for name, data in small_jobs()["points"].items():
        text = data.decode().replace("Invented corners", "Übung Δ “quoted” 日本 👷")
        (folder / name).write_text(text.replace("CP4", "CP4ß"), encoding="utf-8")
    return folder


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_every_command_speaks_on_an_old_console(job: Path, tmp_path: Path, encoding: str) -> None:
    site, other = tmp_path / "site", tmp_path / "öther"
    for line, status in (
        (("build", job, "--out", site), 1),
        (("build", job, "--out", other), 1),
        (("check", job), 1),
        (("check", job, "--json"), 1),
        (("show", job / "shots.csv"), 0),
        (("compare", site, other), 0),
        (("verify", other), 0),
        (
            (
                "new",
                tmp_path / "nü",
                "--drawing",
                job / "design.csv",
                "--points",
                job / "shots.csv",
            ),
            0,
        ),
        (("check", tmp_path / "日本"), 2),
    ):
        done = subprocess.run(
            [sys.executable, "-m", "checker", *line],
            cwd=ROOT,
            env={**os.environ, "PYTHONIOENCODING": encoding},
            capture_output=True,
            check=False,
        )
        assert done.returncode == status, (line, done.stderr)
        assert b"Traceback" not in done.stderr
        done.stdout.decode(encoding)


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-", "<&-"])
def test_a_closed_stream_is_no_fault(job: Path, closed: str) -> None:
    for line in ("check", "show"):
        path = job if line == "check" else job / "shots.csv"
        done = subprocess.run(
            ["sh", "-c", f'"$0" -m checker {line} "$1" {closed}', sys.executable, path],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == (1 if line == "check" else 0), done.stderr


def test_windows_line_ends_and_paths(job: Path) -> None:
    before = command("check", str(job), "--json")
    for path in job.iterdir():
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    (job / "data").mkdir()
    (job / "shots.csv").rename(job / "data" / "shots.csv")
    text = (job / "job.toml").read_text(encoding="utf-8")
    text = text.replace('"shots.csv"', "'data\\shots.csv'")
    (job / "job.toml").write_text(text, encoding="utf-8", newline="\r\n")
    after = command("check", str(job), "--json")
    assert after[0] == before[0] == 1
    inputs = r'"inputs": \[.*?\]'
    names = r'"path": "data/shots.csv"'
    assert re.search(names, after[1])

    def bare(text: str) -> str:
        return re.sub(inputs, "", text, flags=re.DOTALL).replace("data/", "")

    assert bare(after[1]) == bare(before[1])


def test_two_jobs_of_one_name_are_refused_in_either_case(tmp_path: Path) -> None:
    for name in ("a/site", "b/SITE"):
        (tmp_path / name).mkdir(parents=True)
    line = ("build", str(tmp_path / "a/site"), str(tmp_path / "b/SITE"), "--out", str(tmp_path))
    status, _, err = command(*line)
    assert status == 2
    assert "one at a time" in err


def test_the_terminal_names_what_is_no_pass_and_says_no_word_twice(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["check", str(ROOT / "demo_job")]) == 1
    text = capsys.readouterr().out
    assert re.search(r"^  within +Control check$", text, re.MULTILINE)
    assert "site_fit" not in text
    assert "    unchecked: 124 (Structure hubs): not staked\n" in text
    # a check says how many of its rows stand how, and each row its reason, once
    assert re.search(
        r"^  outside +Stakeout +Structure hubs +2 outside, .* of 25$", text, re.MULTILINE
    )
    assert text.count("vertical 0.240 ± 0.040 ft low, limit 0.100 ft") == 1
    assert text.splitlines()[-1].startswith("  Hold the work at what is outside")
    said = re.findall(r"^    (outside|undecided|unchecked): ", text, re.MULTILINE)
    assert said == sorted(said, key=["outside", "undecided", "unchecked"].index)
    assert set(said) == {"outside", "undecided", "unchecked"}
