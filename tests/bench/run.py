"""How long a large job takes: ``python tests/bench/run.py [--repeat N]``.

Makes a job of 1,000 and one of 10,000 stakes (a drawing of points with labels, a table of shots),
and times, each in a process of its own, the median of several runs:

- the bare reading of the drawing by the drawing library, with its import: the floor that nobody who
  opens the drawing with it can beat,
- ``checker build`` of the whole job, from start-up to the finished report.

Prints both, their ratio, and the growth from 1,000 to 10,000. It asserts nothing: a machine that is
busy would fail it. The ratio is what to compare between two states of the code.
"""

import argparse
import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

JOB = """\
[job]
title = "Bench"
unit = "metre"

[design]
drawing = "design.dxf"

[measured]
files = ["shots.csv"]

[tolerance.stakes]
horizontal = 0.03
vertical = 0.03

[[stakeout]]
name = "All stakes"
tolerance = "stakes"
"""


def make_job(folder: Path, stakes: int) -> None:
    """Write a job of that many stakes on a five-metre grid, with noise of a centimetre."""
    from ezdxf.filemanagement import new

    folder.mkdir()
    dice = random.Random(stakes)
    drawing = new("R2010")
    drawing.header["$INSUNITS"] = 6
    drawing.layers.add("STAKES")
    space = drawing.modelspace()
    on = {"layer": "STAKES"}
    rows = ["id,northing,easting,elevation"]
    for i in range(stakes):
        e, n, z = 5000.0 + 5 * (i % 100), 8000.0 + 5 * (i // 100), 100 + dice.uniform(-2, 2)
        space.add_point((e, n, z), dxfattribs=on)
        space.add_text(str(i + 1), height=0.5, dxfattribs=on).set_placement((e + 0.3, n + 0.3))
        n, e, z = (v + dice.gauss(0, 0.01) for v in (n, e, z))
        rows.append(f"{i + 1},{n:.4f},{e:.4f},{z:.4f}")
    drawing.saveas(folder / "design.dxf")
    (folder / "shots.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")


def seconds(command: list[str], repeat: int, accept: tuple[int, ...]) -> float:
    """Return the median time of a command; stops where it fails."""
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        times.append(time.perf_counter() - start)
        if done.returncode not in accept:
            sys.exit(f"{' '.join(command)} ended with {done.returncode}:\n{done.stderr}")
    return statistics.median(times)


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description="Time large jobs.")
    options.add_argument("--repeat", type=int, default=3, help="runs, of which the median counts")
    repeat = options.parse_args().repeat
    print(f"median of {repeat} runs, each in a process of its own")
    print(f"{'stakes':>7} {'drawing alone':>14} {'whole build':>12} {'ratio':>6}")
    whole = {}
    with tempfile.TemporaryDirectory() as place:
        for stakes in (1_000, 10_000):
            folder = Path(place) / f"job-{stakes}"
            make_job(folder, stakes)
            read = "import sys, ezdxf; ezdxf.readfile(sys.argv[1])"
            drawing = str(folder / "design.dxf")
            alone = seconds([sys.executable, "-c", read, drawing], repeat, (0,))
            build = [sys.executable, "-m", "checker", "build", str(folder)]
            target = ["--out", str(Path(place) / f"report-{stakes}")]
            whole[stakes] = seconds([*build, *target], repeat, (0, 1))
            ratio = whole[stakes] / alone
            print(f"{stakes:>7,} {alone:>12.2f} s {whole[stakes]:>10.2f} s {ratio:>6.2f}")
    print(f"ten times the stakes take {whole[10_000] / whole[1_000]:.1f} times as long")


if __name__ == "__main__":
    main()
