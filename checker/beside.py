"""Several jobs side by side, each in a run of the program of its own.

What goes wrong in one cannot touch another, and what is told comes out in the order of the jobs,
whichever ends first.
"""

import os
import subprocess
import sys
import threading
from collections.abc import Generator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

INSIDE = "CHECKER_BESIDE"
"""Set in the environment of such a run, which then tells no progress of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """What a run printed on its two streams, and its exit status."""

    out: str
    err: str
    status: int


def at_once(jobs: int) -> int:
    """Return how many of so many jobs are worth running at a time: one a processor."""
    try:
        processors = len(os.sched_getaffinity(0))
    except AttributeError:  # not everywhere
        processors = os.cpu_count() or 1
    return min(jobs, processors)


def run_beside(commands: Sequence[Sequence[str]], workers: int) -> Generator[Ended, None, None]:
    """Run the program with each of the argument lists; yield what came of them, in their order.

    workers: how many at a time. Left early, for an interrupt above all, it ends those that run, as
    the system ends a program, waits until they have tidied up, and begins no more.
    """
    runs = _Runs()
    with ThreadPoolExecutor(max_workers=workers) as pool:
        waiting = [pool.submit(runs.run, command) for command in commands]
        try:
            for each in waiting:
                yield each.result()
        finally:
            runs.stop()


class _Runs:
    """The runs that go on at the moment."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._alive: set[subprocess.Popen[str]] = set()
        self._stopped = False

    def run(self, arguments: Sequence[str]) -> Ended:
        with self._lock:
            if self._stopped:
                return Ended(out="", err="", status=0)
            run = _started(arguments)
            self._alive.add(run)
        try:
            out, err = run.communicate()
        finally:
            with self._lock:
                self._alive.discard(run)
        return Ended(out=out, err=err, status=run.returncode)

    def stop(self) -> None:
        with self._lock:
            self._stopped = True
            for run in self._alive:
                run.terminate()


def _started(arguments: Sequence[str]) -> "subprocess.Popen[str]":
    """Begin a run of this very program, wherever the user stands."""
    root = str(Path(__file__).resolve().parent.parent)
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    return subprocess.Popen(  # noqa: S603  (ourselves, without a shell)
        [sys.executable, "-P", "-m", "checker", *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        errors="replace",
        env={
            **os.environ,
            INSIDE: "1",
            "PYTHONPATH": os.pathsep.join(paths),
            "PYTHONIOENCODING": "utf-8:replace",
        },
    )
