"""What a long run tells, and to whom."""

import io
import os
import pty
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from checker import progress
from checker.progress import told
from tests.support.small_jobs import small_jobs

ROOT = Path(__file__).resolve().parents[2]


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "AFTER_S", 0.05)


@pytest.mark.parametrize("stream", [io.StringIO(), Terminal()])
def test_what_is_quick_tells_nothing(stream: io.StringIO) -> None:
    with told(stream, quiet=False) as tell:
        tell("reading a.csv")
        tell("checking stakes", 0.5)
    assert stream.getvalue() == ""


@pytest.mark.usefixtures("soon")
def test_lines_for_a_log_stand_apart() -> None:
    stream = io.StringIO()
    with told(stream, quiet=False) as tell:
        tell("too soon")
        time.sleep(0.06)
        tell("reading\x1b[2J a.csv\nWITHIN")
        tell("too soon after that")
        time.sleep(0.06)
        tell("checking stakes", 0.25)
    assert stream.getvalue() == "reading [2J a.csv WITHIN\nchecking stakes (25% done)\n"


@pytest.mark.usefixtures("soon")
@pytest.mark.parametrize("stream", [io.StringIO(), Terminal(), None])
def test_quiet_and_a_closed_stream_are_silent(stream: io.StringIO | None) -> None:
    with told(stream, quiet=stream is not None) as tell:
        time.sleep(0.1)
        tell("reading a.csv")
    assert stream is None or stream.getvalue() == ""


@pytest.mark.usefixtures("soon")
def test_a_bar_on_a_terminal_goes_when_the_work_ends() -> None:
    stream, before = Terminal(), threading.active_count()
    with told(stream, quiet=False) as tell:
        tell("reading a.csv")
        until = time.monotonic() + 20
        while "reading a.csv" not in stream.getvalue() and time.monotonic() < until:
            time.sleep(0.02)
        tell("checking [bold]stakes[/bold]", 0.5)
        while "[bold]stakes" not in stream.getvalue() and time.monotonic() < until:
            time.sleep(0.02)
    said = stream.getvalue()
    assert "reading a.csv" in said
    assert "[bold]stakes[/bold]" in said
    assert said.rstrip().endswith(("\x1b[?25h", "\x1b[2K"))  # cursor shown again, line wiped
    until = time.monotonic() + 20
    while threading.active_count() > before and time.monotonic() < until:
        time.sleep(0.02)
    assert threading.active_count() == before


@pytest.mark.usefixtures("soon")
def test_a_fault_ends_the_bar_too() -> None:
    stream = Terminal()
    interrupted = False
    try:
        with told(stream, quiet=False):
            time.sleep(0.3)
            raise KeyboardInterrupt  # noqa: TRY301
    except KeyboardInterrupt:
        interrupted = True
    assert interrupted
    shown = stream.getvalue()
    assert shown.count("\x1b[?25l") == shown.count("\x1b[?25h")


def test_a_build_on_a_real_terminal(tmp_path: Path) -> None:
    """The verdict goes to standard output whole, whatever the bar does on the terminal."""
    for name, data in small_jobs()["points"].items():
        (tmp_path / name).write_bytes(data)
    ours, theirs = pty.openpty()
    program = subprocess.Popen(
        [sys.executable, "-m", "checker", "build", tmp_path, "--out", tmp_path / "site"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=theirs,
        text=True,
    )
    out, _ = program.communicate(timeout=60)
    os.close(theirs)
    os.close(ours)
    assert program.returncode == 1
    assert out.splitlines()[-1].startswith("report: ")
    assert "\x1b" not in out
