"""What the terminal shows and what the command returns."""

import json
from pathlib import Path

import pytest

import checker
from checker.cli import main
from tests.support.jobs import JobFolder
from tests.unit.test_run import CHECK, CONTROL, GOOD, SQUARE


@pytest.fixture
def good(tmp_path: Path) -> Path:
    return JobFolder(SQUARE, GOOD + CHECK, CONTROL).write(tmp_path / "fence line")


def test_build_writes_the_report_and_prints_the_verdict(
    good: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "report"
    assert main(["build", str(good), "--out", str(out)]) == 0
    assert "WITHIN" in capsys.readouterr().out
    for name in ("index.html", "results.json", "results.csv", "cut-sheet.csv", "manifest.json"):
        assert (out / name).is_file(), name


def test_the_default_folder_bears_the_jobs_name(
    good: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["build", str(good / "job.toml")]) == 0
    assert (tmp_path / "output" / "fence line" / "index.html").is_file()


def test_check_writes_no_files(good: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = sorted(good.rglob("*"))
    assert main(["check", str(good), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["verdict"] == "within"
    assert sorted(good.rglob("*")) == before


def test_the_worst_of_what_is_outside_come_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # 1 and 3 are as bad as each other: they keep their order. The fifth and further are counted.
    design = [(str(i), 100.0 + 10 * i, 200.0, 50.0) for i in range(1, 9)]
    off = (0.2, 0.004, 0.2, 0.5, 0.1, 0.3, 0.4, 0.003)
    shots = [(name, n + dn, e, z) for (name, n, e, z), dn in zip(design, off, strict=True)]
    job = JobFolder(design, shots + CHECK, CONTROL).write(tmp_path / "job")
    assert main(["check", str(job)]) == 1
    said = capsys.readouterr().out.splitlines()
    lines = [line.split()[1] for line in said if line.startswith("    outside: ")]
    assert lines == ["4", "7", "6", "1", "3"]
    assert any(line.startswith("    and 1 more outside") for line in said)


def test_bad_input_leaves_the_old_report(
    good: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "report"
    assert main(["build", str(good), "--out", str(out)]) == 0
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    (good / "shots.csv").write_text("nothing here\n")
    assert main(["build", str(good), "--out", str(out)]) == 2
    assert "shots.csv" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before


def test_one_bad_job_does_not_stop_the_others(good: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad"
    bad.mkdir()
    out = tmp_path / "out"
    assert main(["build", str(bad), str(good), "--out", str(out)]) == 2
    assert (out / "fence line" / "index.html").is_file()
    assert not (out / "bad").exists()


def test_a_mistyped_command_names_the_nearest(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.argv", ["checker", "biuld", "x"])
    with pytest.raises(SystemExit) as stop:
        main(["biuld", "x"])
    assert stop.value.code == 2
    assert '"build"' in capsys.readouterr().err


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--version"])
    assert checker.__version__ in capsys.readouterr().out


def test_no_job_here(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(tmp_path)]) == 2
    assert "no-job" in capsys.readouterr().err


def test_a_fault_of_ours_is_said_to_be_ours(
    good: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("checker.run.check", broken)
    assert main(["check", str(good)]) == 3
    error = capsys.readouterr().err
    assert "ZeroDivisionError" in error
    assert "fault of the checker" in error


def test_interrupt(good: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("checker.run.check", stopped)
    assert main(["check", str(good)]) == 130
