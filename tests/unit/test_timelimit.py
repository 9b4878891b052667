"""A job that takes too long ends cleanly, whichever way the system has to stop it."""

import signal
import sys
import threading
import time
from collections.abc import Generator, Sequence
from pathlib import Path

import pytest

from checker import timelimit
from checker.beside import Ended
from checker.cli import EXIT_INPUT, main
from checker.model.progress import silent
from checker.timelimit import TimeLimitError, span, within_time

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


@pytest.fixture(params=["alarm", "thread"])
def clock(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.param == "thread":
        monkeypatch.delattr(signal, "setitimer")


def _spin(seconds: float) -> None:
    begun = time.monotonic()
    while time.monotonic() < begun + seconds:
        pass


def job(folder: Path, rows: int) -> Path:
    folder.mkdir(parents=True)
    table = "id,northing,easting,elevation\n"
    table += "".join(f"{i},{1000 + i % 300},{2000 + 2 * i},10\n" for i in range(rows))
    (folder / "design.csv").write_text(table)
    (folder / "shots.csv").write_text(table)
    (folder / "job.toml").write_text(JOB.format(title=folder.name))
    return folder


@pytest.mark.usefixtures("clock")
def test_what_takes_longer_is_given_up_and_the_last_step_named() -> None:
    told = []
    begun = time.monotonic()

    def work() -> None:
        with within_time(0.2, "site", lambda what, _=None: told.append(what)) as tell:
            tell("looking")
            tell("reading a.csv", 0.5)
            while time.monotonic() < begun + 30.0:
                pass

    with pytest.raises(TimeLimitError, match=r"^site: given up after 0.2 s, while reading a\.csv;"):
        work()
    assert told == ["looking", "reading a.csv"]
    assert time.monotonic() < begun + 30.0


@pytest.mark.usefixtures("clock")
def test_the_end_is_not_lost_in_a_destructor() -> None:
    """What is raised while the interpreter collects is dropped: it must be raised again."""
    lost = []

    class Slow:
        def __del__(self) -> None:
            _spin(0.3)
            lost.append(1)  # pragma: no cover - the end comes before

    def work() -> None:
        with within_time(0.1, "site", silent):
            Slow()
            _spin(30.0)

    with pytest.raises(TimeLimitError):
        work()
    assert lost == []


@pytest.mark.usefixtures("clock")
@pytest.mark.parametrize("handler", [signal.SIG_IGN, signal.default_int_handler])
def test_it_ends_where_interrupts_are_ignored_too(handler: signal.Handlers) -> None:
    before = signal.signal(signal.SIGINT, handler)
    try:
        with pytest.raises(TimeLimitError), within_time(0.05, "site", silent):
            _spin(30.0)
        assert signal.getsignal(signal.SIGINT) is handler
    finally:
        signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("clock")
def test_what_ends_in_time_is_left_alone() -> None:
    before = [signal.getsignal(each) for each in (signal.SIGALRM, signal.SIGINT)]
    hook = sys.unraisablehook
    with within_time(0.2, "site", silent):
        pass
    time.sleep(0.3)
    assert [signal.getsignal(each) for each in (signal.SIGALRM, signal.SIGINT)] == before
    assert sys.unraisablehook is hook


@pytest.mark.usefixtures("clock")
def test_an_interrupt_by_the_user_stays_one() -> None:
    with pytest.raises(KeyboardInterrupt), within_time(60.0, "site", silent):
        raise KeyboardInterrupt


def test_only_the_main_thread_is_stopped() -> None:
    ended = []

    def work() -> None:
        with within_time(0.01, "site", silent):
            time.sleep(0.1)
            ended.append(1)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert ended == [1]


@pytest.mark.usefixtures("clock")
def test_the_old_report_stands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    assert main(["build", str(job(tmp_path / "first", 3)), "--out", str(out)]) == 0
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    slow = job(tmp_path / "slow", 30_000)
    capsys.readouterr()
    assert main(["build", str(slow), "--out", str(out), "--time-limit", "0.3 s"]) == EXIT_INPUT
    said = capsys.readouterr().err
    assert f"{slow}: given up after 0.3 s, while " in said
    assert "--time-limit" in said
    assert "Traceback" not in said
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["first", "out", "slow"]


def test_one_job_given_up_keeps_no_other_from_its_report(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("checker.beside.at_once", lambda _: 1)
    jobs = [job(tmp_path / "slow", 100_000), job(tmp_path / "quick", 3)]
    out = tmp_path / "out"
    arguments = ["build", *map(str, jobs), "--out", str(out), "--time-limit", "1"]
    assert main(arguments) == EXIT_INPUT
    assert [path.name for path in out.iterdir()] == ["quick"]
    assert f"{jobs[0]}: given up after 1 s" in capfd.readouterr().err


def test_jobs_side_by_side_have_the_same_limit_each(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[Sequence[str]] = []

    def started(commands: Sequence[Sequence[str]], _: int) -> Generator[Ended, None, None]:
        begun.extend(commands)
        yield from (Ended(out="", err="", status=0) for _ in commands)

    monkeypatch.setattr("checker.beside.at_once", lambda _: 2)
    monkeypatch.setattr("checker.beside.run_beside", started)
    main(["build", "a", "b", "--out", str(tmp_path), "--time-limit", "2 min"])  # neither is there
    assert [("--time-limit=120.0" in command) for command in begun] == [True, True]


@pytest.mark.parametrize("text", ["0", "-3 s", "soon", "5 parsec", "1e9 d", "nan"])
def test_what_is_no_time(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["check", "job", f"--time-limit={text}"])
    assert ended.value.code == EXIT_INPUT
    assert "--time-limit" in capsys.readouterr().err


def test_spans_of_time() -> None:
    spans = {0.3: "0.3 s", 90.0: "90 s", 600.0: "10 min", 5400.0: "90 min", 7200.0: "2 h"}
    assert {seconds: span(seconds) for seconds in spans} == spans
    assert timelimit.DEFAULT_S == 3600.0
