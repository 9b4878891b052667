import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from checker.beside import at_once, run_beside
from checker.cli import EXIT_INTERRUPTED, EXIT_TERMINATED, main

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo_job"
JOB = """\
[job]
title = "{title}"
unit = "metre"

[design]
points = "design.csv"

[measured]
files = ["shots.csv"]

[[stakeout]]
name = "All"
tolerance = {{ horizontal = 0.03 }}
"""


def job(folder: Path, rows: int = 3) -> Path:
    folder.mkdir(parents=True)
    head = "id,northing,easting,elevation\n"
    design = "".join(f"{i},{1000 + i},{2000 + 2 * i},10\n" for i in range(rows))
    (folder / "design.csv").write_text(head + design)
    (folder / "shots.csv").write_text(head + design)
    (folder / "job.toml").write_text(JOB.format(title=folder.name))
    return folder


def test_what_is_told_comes_in_the_order_of_the_jobs(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("checker.beside.at_once", lambda jobs: min(jobs, 2))
    jobs = [job(tmp_path / "slow", 4000), job(tmp_path / "quick"), job(tmp_path / "third")]
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "job.toml").write_text("[job]\n")
    out = tmp_path / "out"
    status = main(["build", *map(str, (jobs[0], broken, *jobs[1:])), "--out", str(out), "--quiet"])
    told = capfd.readouterr()
    assert status == 2
    assert told.out.splitlines() == [
        line
        for each in jobs
        for line in (f"WITHIN: {each.name}", f"report: {out / each.name / 'index.html'}")
    ]
    assert f"{broken / 'job.toml'}:1: " in told.err
    assert "[missing-key]" in told.err
    assert f"{broken}: " in told.err.splitlines()[-1]
    assert not (out / "broken").exists()
    alone = tmp_path / "alone"
    assert main(["build", str(jobs[0]), "--out", str(alone)]) == 0
    assert {p.name: p.read_bytes() for p in alone.iterdir()} == {
        p.name: p.read_bytes() for p in (out / "slow").iterdir()
    }


def test_the_status_is_the_worst_of_all(tmp_path: Path) -> None:
    good = ["check", str(job(tmp_path / "good"))]
    runs = list(run_beside([good, ["check", str(tmp_path / "nowhere")], good], 2))
    assert [run.status for run in runs] == [0, 2, 0]
    assert "no such job" in runs[1].err
    assert runs[0].out == runs[2].out


def test_no_more_runs_at_a_time_than_jobs() -> None:
    assert at_once(1) == 1
    assert 1 <= at_once(1000) <= 1000


@pytest.mark.skipif(os.name != "posix", reason="needs signals")
@pytest.mark.parametrize(
    ("number", "status"),
    [(signal.SIGINT, EXIT_INTERRUPTED), (signal.SIGTERM, EXIT_TERMINATED)],
)
def test_an_end_from_outside_ends_all_and_leaves_no_litter(
    tmp_path: Path, number: int, status: int
) -> None:
    jobs = [job(tmp_path / name, 20_000) for name in ("one", "two", "three", "four")]
    out = tmp_path / "out"
    run = subprocess.Popen(
        [sys.executable, "-m", "checker", "build", *map(str, jobs), "--out", str(out)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": ""},
        # as from another program: the runs beside are not told by a terminal
        start_new_session=True,
    )
    while run.poll() is None and not (out.is_dir() and any(out.iterdir())):
        time.sleep(0.01)
    run.send_signal(number)
    _, err = run.communicate(timeout=120)
    if at_once(len(jobs)) == 1:
        pytest.skip("one processor: nothing runs beside")
    assert run.returncode == status
    assert b"whole" in err
    assert not [path.name for path in out.iterdir() if path.name.startswith(".")]
    with pytest.raises(ProcessLookupError):
        os.killpg(run.pid, 0)
    shutil.rmtree(out)
