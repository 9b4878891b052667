"""What the quick way through large drawings gains: ``python tests/bench/drawing.py [--repeat N]``.

Makes a drawing of 100,000 triangles and one of 50,000 points with labels, and times the reading of
each, in a process of its own: by ezdxf alone (the floor of whoever opens it with that), on the long
way and on the quick way. Prints the medians, the quick way's share of each, and the memory. It
asserts nothing.
"""

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HEAD = "  0\nSECTION\n  2\nHEADER\n  9\n$ACADVER\n  1\nAC1015\n  0\nENDSEC\n"
RUN = """
import json, resource, sys, time
path, way = sys.argv[1:]
begin = time.process_time()
if way == "ezdxf":
    import ezdxf
    ezdxf.readfile(path)
else:
    from checker.model.job import Labels
    from checker.read.drawing import read_drawing
    from checker.read.files import Source
    from checker.units import LengthUnit
    with open(path, "rb") as file:
        source = Source(path="d.dxf", data=file.read())
    read_drawing(source, unit=LengthUnit.METRE, labels=Labels(), quick=way == "quick")
used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps([time.process_time() - begin, used]))
"""


def record(*pairs: tuple[int, object]) -> str:
    """Return a record of group codes and values."""
    return "".join(f"{code:>3}\n{value}\n" for code, value in pairs)


def faces(count: int) -> Iterator[str]:
    """Return so many triangles on a waving ground."""
    for i in range(count):
        x, y = 5000.0 + 5 * (i % 400), 8000.0 + 5 * (i // 400)
        corner = ((x, y, i % 7), (x + 5, y, (i + 1) % 7), (x + 5, y + 5, i % 5))
        places = [(10 * (axis + 1) + k, f"{place[axis]:.4f}")
                  for k, place in enumerate((*corner, corner[2])) for axis in range(3)]  # fmt: skip
        head = (0, "3DFACE"), (5, f"{i + 256:X}"), (100, "AcDbEntity"), (8, "TIN")
        yield record(*head, (100, "AcDbFace"), *places)


def points(count: int) -> Iterator[str]:
    """Return so many points with a text beside each."""
    for i in range(count):
        place = (10, 5000.0 + 5 * (i % 400)), (20, 8000.0 + 5 * (i // 400)), (30, 50.25)
        for k, (kind, marker) in enumerate((("POINT", "AcDbPoint"), ("TEXT", "AcDbText"))):
            yield record((0, kind), (5, f"{2 * i + k + 256:X}"), (100, "AcDbEntity"), (8, "STAKES"))
            yield record((100, marker), *place)
        yield record((40, 1.0), (1, i + 1), (100, "AcDbText"))


def main() -> None:
    """Time and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--repeat", type=int, default=3, help="runs of each, median told")
    repeat = parser.parse_args().repeat
    with tempfile.TemporaryDirectory() as folder:
        for name, body in (("100,000 faces", faces(100_000)), ("50,000 points", points(50_000))):
            path = Path(folder) / "d.dxf"
            path.write_text(
                HEAD
                + record((0, "SECTION"), (2, "ENTITIES"))
                + "".join(body)
                + record((0, "ENDSEC"), (0, "EOF"))
            )
            size = path.stat().st_size / 1e6
            took = {}
            for way in ("ezdxf", "long", "quick"):
                runs = [
                    json.loads(
                        subprocess.run(
                            [sys.executable, "-c", RUN, str(path), way],
                            cwd=ROOT, check=True, capture_output=True, text=True,
                        ).stdout
                    )
                    for _ in range(repeat)
                ]  # fmt: skip
                took[way] = statistics.median(run[0] for run in runs)
                memory = max(run[1] for run in runs)
                print(f"{name}, {size:.0f} MB, {way:>5}: {took[way]:6.2f} s, {memory:4.0f} MB")
            print(f"  quick / ezdxf alone {took['quick'] / took['ezdxf']:.2f}, "
                  f"quick / long {took['quick'] / took['long']:.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
