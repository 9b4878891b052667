"""A program whose children build one report over and over, so that a test can kill them.

    python -m tests.support.kills SITE JOB JOB... [--renaming]

builds the jobs once, so that no child spends its life with what happens once, and writes how many
seconds the last one took; then forks a child for every line that it reads, and writes the child's
number. The child builds the jobs in turn into SITE until it is killed. --renaming: as on a system
that cannot exchange two folders.
"""

import contextlib
import itertools
import os
import sys
import time
from collections.abc import Iterable
from pathlib import Path

from checker import cli
from checker.report import publish


def _build(site: str, jobs: Iterable[str]) -> None:
    with Path(os.devnull).open("w") as nowhere, contextlib.redirect_stdout(nowhere):
        for job in jobs:
            cli.main(["build", job, "--out", site, "--quiet"])


def main() -> None:
    """Fork a child a line."""
    jobs = sys.argv[2:]
    if "--renaming" in jobs:
        jobs.remove("--renaming")
        vars(publish)["exchange"] = lambda *_: False
    for job in jobs:
        began = time.monotonic()
        _build(sys.argv[1], [job])
    sys.stdout.write(f"{time.monotonic() - began}\n")
    sys.stdout.flush()
    for _ in sys.stdin:
        jobs.reverse()
        child = os.fork()
        if child == 0:
            _build(sys.argv[1], itertools.cycle(jobs))
        sys.stdout.write(f"{child}\n")
        sys.stdout.flush()
        os.waitpid(child, 0)
        sys.stdout.write("gone\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
