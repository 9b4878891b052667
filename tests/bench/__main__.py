"""How quick the checker is beside what else would do the work: ``python -m tests.bench [what]``.

what: stakes, surface, lines, start, jobs, page; left out, all of them. ``--small`` takes a tenth of
the sizes, ``--repeat N`` the median of N runs. Every run is a process of its own, ours and the
baselines in turn, so that a busy machine slows them alike: compare the ratios. Nothing is asserted.

- stakes: a whole build of up to 100,000 stakes by number, against (a) the bare reading of the
  drawing by the library that reads DXF, and (b) `tests.bench.plain`, a script with ezdxf, shapely,
  numpy and csv that does the arithmetic and writes no report; and how it grows with the stakes.
- surface: a million shots on 200,000 triangles, read and judged.
- lines: 100,000 shots beside 33,000 lines and arcs, read and judged.
- start: the demonstration's build against (c) the bare import of the libraries that it needs.
- jobs: two heavy jobs in one run, beside each other, against one after the other; the clock counts.
- page: the first page of the report of 100,000 stakes in Chromium, see `tests.bench.page`.

The rest by themselves: ``python -m tests.bench.geometry``, ``.drawing``, ``.networks``,
``.diagnose``.
"""

import argparse
import itertools
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MAKE = """
import sys
from pathlib import Path
from tests.bench import sites
getattr(sites, sys.argv[1])(Path(sys.argv[2]), *map(int, sys.argv[3:]))
"""
READ = "import sys, ezdxf; ezdxf.readfile(sys.argv[1])"
IMPORT = "import numpy, ezdxf, jinja2, markdown, shapely, pyproj, scipy.spatial, scipy.special"


@dataclass(frozen=True, slots=True)
class Cost:
    """What a run took: processor seconds, seconds on the clock, megabytes at the peak."""

    cpu: float
    wall: float
    memory: float

    def __str__(self) -> str:
        """Return it as one line shows it."""
        return f"{self.cpu:7.2f} s  ({self.wall:6.2f} s on the clock)  {self.memory:5.0f} MB"


def once(command: Sequence[str]) -> Cost:
    """Run a command and return what it took; stops where it fails."""
    begun = time.perf_counter()
    with tempfile.TemporaryFile() as said:
        environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        run = subprocess.Popen(
            command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=said, env=environment
        )
        _, status, usage = os.wait4(run.pid, 0)
        run.returncode = os.waitstatus_to_exitcode(status)
        if run.returncode not in (0, 1):
            said.seek(0)
            sys.exit(f"{' '.join(command)}: {said.read().decode()}")
    wall = time.perf_counter() - begun
    return Cost(usage.ru_utime + usage.ru_stime, wall, usage.ru_maxrss / 1024)


def medians(repeat: int, commands: dict[str, Sequence[str]]) -> dict[str, Cost]:
    """Run the commands in turn and return the median of each; the most memory of all runs."""
    runs: dict[str, list[Cost]] = {name: [] for name in commands}
    for _ in range(repeat):
        for name, command in commands.items():
            runs[name].append(once(command))
    return {
        name: Cost(
            statistics.median(each.cpu for each in some),
            statistics.median(each.wall for each in some),
            max(each.memory for each in some),
        )
        for name, some in runs.items()
    }


def python(*arguments: str) -> list[str]:
    """Return a command of this interpreter."""
    return [sys.executable, *arguments]


def made(folder: Path, kind: str, *sizes: int) -> Path:
    """Make a job in a process of its own, for what a run takes is told from what it inherits."""
    once(python("-c", MAKE, kind, str(folder), *map(str, sizes)))
    return folder


def show(title: str, costs: dict[str, Cost], ours: str) -> None:
    """Print what each took, and ours over the others."""
    print(f"\n{title}")
    for name, cost in costs.items():
        print(f"  {name:<34}{cost}")
    for name, cost in costs.items():
        if name != ours:
            print(
                f"  {ours} / {name}: {costs[ours].cpu / cost.cpu:.2f} of its time, "
                f"{costs[ours].memory / cost.memory:.2f} of its memory"
            )
    sys.stdout.flush()


def stakes(place: Path, repeat: int, share: float) -> None:
    """A whole build against reading the drawing, and its growth."""
    took: dict[int, float] = {}
    sizes = [int(size * share) for size in (1_000, 10_000, 100_000)]
    for size in sizes:
        folder = made(place / f"stakes-{size}", "stakes", size)
        out = str(place / f"report-{size}")
        costs = medians(
            repeat,
            {
                "readfile alone": python("-c", READ, str(folder / "design.dxf")),
                "plain script": python("-m", "tests.bench.plain", "stakes", str(folder)),
                "checker build": python("-m", "checker", "build", str(folder), "--out", out),
            },
        )
        show(f"{size:,} stakes, the whole build with its report", costs, "checker build")
        took[size] = costs["checker build"].cpu
    for small, large in itertools.pairwise(sizes):
        grown = math.log(took[large] / took[small]) / math.log(large / small)
        print(f"  from {small:,} to {large:,} stakes it grows as the number to the {grown:.2f}")


def surface(place: Path, repeat: int, share: float) -> None:
    """A surface read and judged."""
    faces, shots = int(200_000 * share), int(1_000_000 * share)
    folder = made(place / "surface", "surface", faces, shots)
    costs = medians(
        repeat,
        {
            "readfile alone": python("-c", READ, str(folder / "design.dxf")),
            "plain script": python("-m", "tests.bench.plain", "surface", str(folder)),
            "checker check": python("-m", "checker", "check", str(folder)),
        },
    )
    show(f"{shots:,} shots on {faces:,} triangles, read and judged", costs, "checker check")


def lines(place: Path, repeat: int, share: float) -> None:
    """Lines and arcs read and judged."""
    parts, shots = int(33_000 * share), int(100_000 * share)
    folder = made(place / "lines", "lines", parts, shots)
    costs = medians(
        repeat,
        {
            "readfile alone": python("-c", READ, str(folder / "design.dxf")),
            "plain script": python("-m", "tests.bench.plain", "lines", str(folder)),
            "checker check": python("-m", "checker", "check", str(folder)),
        },
    )
    show(
        f"{shots:,} shots beside {parts:,} lines and arcs, read and judged", costs, "checker check"
    )


def start(place: Path, repeat: int, share: float) -> None:
    """The demonstration against the import of its libraries."""
    del share
    demo, out = str(ROOT / "demo_job"), str(place / "demo")
    costs = medians(
        max(repeat, 5),
        {
            "import of the libraries": python("-c", IMPORT),
            "checker --version": python("-m", "checker", "--version"),
            "checker build demo_job": python("-m", "checker", "build", demo, "--out", out),
        },
    )
    show("the demonstration, from start-up to the report", costs, "checker build demo_job")


def jobs(place: Path, repeat: int, share: float) -> None:
    """Two jobs beside each other against one after the other; here the clock counts."""
    count = int(50_000 * share)
    folders = [made(place / f"job-{number}", "stakes", count) for number in (1, 2)]
    build = python("-m", "checker", "build")
    ratios, turns = [], []
    for _ in range(repeat):
        alone = sum(
            once([*build, str(folder), "--out", str(place / "alone" / folder.name)]).wall
            for folder in folders
        )
        beside = once([*build, *map(str, folders), "--out", str(place / "beside")]).wall
        ratios.append(beside / alone)
        turns.append((alone, beside))
    print(f"\ntwo jobs of {count:,} stakes, {os.cpu_count()} processors, load {load():.1f}")
    for alone, beside in turns:
        print(f"  in turn {alone:6.2f} s, beside each other {beside:6.2f} s on the clock")
    print(f"  beside each other / in turn: {statistics.median(ratios):.2f} of the clock time")
    sys.stdout.flush()


def page(place: Path, repeat: int, share: float) -> None:
    """The first page of a large report in a browser."""
    from tests.bench.page import measure

    folder, out = made(place / "page-job", "stakes", int(100_000 * share)), place / "page-report"
    once(python("-m", "checker", "build", str(folder), "--out", str(out)))
    print(f"\nthe report of {int(100_000 * share):,} stakes in Chromium, load {load():.1f}")
    for line in measure(out, max(repeat, 5)):
        print(f"  {line}")
    sys.stdout.flush()


def load() -> float:
    """Return how many programs wanted to run in the last minute; NaN where the system is silent."""
    return os.getloadavg()[0] if hasattr(os, "getloadavg") else math.nan


PARTS: dict[str, Callable[[Path, int, float], None]] = {
    "stakes": stakes,
    "surface": surface,
    "lines": lines,
    "start": start,
    "jobs": jobs,
    "page": page,
}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Time the checker beside plain means.")
    parser.add_argument("what", nargs="*", choices=[*PARTS, []], help="left out: all")
    parser.add_argument("--repeat", type=int, default=3, help="runs, of which the median counts")
    parser.add_argument("--small", action="store_true", help="a tenth of the sizes")
    options = parser.parse_args()
    print(
        f"median of {options.repeat} runs each, in turn; processor seconds, the machine's load "
        f"{load():.1f} at the beginning"
    )
    with tempfile.TemporaryDirectory() as place:
        for name in options.what or PARTS:
            PARTS[name](Path(place), options.repeat, 0.1 if options.small else 1.0)


if __name__ == "__main__":
    main()
