"""Invented jobs of any size: stakes by number, shots on a surface, shots beside lines and arcs."""

import random
from collections.abc import Iterator
from pathlib import Path

_HEAD = (
    "  0\nSECTION\n  2\nHEADER\n  9\n$ACADVER\n  1\nAC1015\n  9\n$INSUNITS\n 70\n6\n  0\nENDSEC\n"
)
_ENTITIES, _FOOT = "  0\nSECTION\n  2\nENTITIES\n", "  0\nENDSEC\n  0\nEOF\n"
_JOB = """\
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

"""
STAKES = '[[stakeout]]\nname = "All stakes"\ntolerance = "stakes"\n'
SURFACE = (
    '[[surface]]\nname = "Subgrade"\ndesign = { layer = "TIN" }\ntolerance = { vertical = 0.05 }\n'
)
LINES = (
    '[[stakeout]]\nname = "Kerbs"\nmatch = "line"\ndesign = { layer = "KERB" }\n'
    "tolerance = { across = 0.05 }\n"
)


def stakes(folder: Path, count: int) -> Path:
    """Write a job of that many stakes on a five-metre grid, with noise of a centimetre."""
    from ezdxf.filemanagement import new

    folder.mkdir()
    dice = random.Random(count)
    drawing = new("R2010")
    drawing.header["$INSUNITS"] = 6
    drawing.layers.add("STAKES")
    space = drawing.modelspace()
    on = {"layer": "STAKES"}
    rows = []
    for i in range(count):
        e, n, z = 5000.0 + 5 * (i % 100), 8000.0 + 5 * (i // 100), 100 + dice.uniform(-2, 2)
        space.add_point((e, n, z), dxfattribs=on)
        space.add_text(str(i + 1), height=0.5, dxfattribs=on).set_placement((e + 0.3, n + 0.3))
        rows.append((n, e, z))
    drawing.saveas(folder / "design.dxf")
    noisy = (tuple(v + dice.gauss(0, 0.01) for v in row) for row in rows)
    return _finish(folder, noisy, STAKES)


def surface(folder: Path, faces: int, shots: int) -> Path:
    """Write a job of shots on a waving ground of so many triangles."""
    folder.mkdir()
    dice = random.Random(faces)
    side = int((faces / 2) ** 0.5)
    z = [[dice.uniform(0, 1) for _ in range(side + 1)] for _ in range(side + 1)]
    with (folder / "design.dxf").open("w", encoding="ascii") as file:
        file.write(_HEAD + _ENTITIES)
        handle = 0x100
        for i in range(side):
            for j in range(side):
                corner = [(3.0 * (j + b), 3.0 * (i + a), z[i + a][j + b])
                          for a, b in ((0, 0), (0, 1), (1, 1), (1, 0))]  # fmt: skip
                for three in ((0, 1, 2), (0, 2, 3)):
                    file.write(_face(handle, [corner[k] for k in (*three, three[2])]))
                    handle += 1
        file.write(_FOOT)
    inside = 3.0 * side - 1.0

    def shots_of() -> Iterator[tuple[float, ...]]:
        for _ in range(shots):
            n, e = dice.uniform(1.0, inside), dice.uniform(1.0, inside)
            i, j, a, b = int(n / 3), int(e / 3), n / 3 % 1, e / 3 % 1
            low, right, top, left = z[i][j], z[i][j + 1], z[i + 1][j + 1], z[i + 1][j]
            here = low + b * (right - low) + a * (top - right)
            if a > b:
                here = low + a * (left - low) + b * (top - left)
            yield n, e, here + dice.gauss(0, 0.01)

    return _finish(folder, shots_of(), SURFACE)


def _face(handle: int, places: list[tuple[float, float, float]]) -> str:
    pairs = "".join(
        f"{10 * (axis + 1) + k:>3}\n{place[axis]:.4f}\n"
        for k, place in enumerate(places)
        for axis in range(3)
    )
    return f"  0\n3DFACE\n  5\n{handle:X}\n100\nAcDbEntity\n  8\nTIN\n100\nAcDbFace\n{pairs}"


def lines(folder: Path, parts: int, shots: int) -> Path:
    """Write a job of shots beside polylines that have so many lines and arcs together."""
    from ezdxf.filemanagement import new

    folder.mkdir()
    dice = random.Random(parts)
    drawing = new("R2010")
    drawing.header["$INSUNITS"] = 6
    drawing.layers.add("KERB")
    space = drawing.modelspace()
    starts = []
    each = 33
    across = max(int((parts / each) ** 0.5), 1)
    for row in range(parts // each):
        e, n = 400.0 * (row % across), 60.0 * (row // across)
        vertices = []
        for _ in range(each + 1):
            bulge = dice.choice((0.0, dice.uniform(-0.4, 0.4)))
            vertices.append((e, n, bulge))
            starts.append((n, e))
            e, n = e + dice.uniform(8, 12), n + dice.uniform(-2, 2)
        space.add_lwpolyline(vertices, format="xyb", dxfattribs={"layer": "KERB"})
    drawing.saveas(folder / "design.dxf")
    noisy = (
        (n + dice.gauss(0, 0.03), e + dice.gauss(0, 0.03), 100.0)
        for n, e in (dice.choice(starts) for _ in range(shots))
    )
    return _finish(folder, noisy, LINES)


def _finish(folder: Path, places: Iterator[tuple[float, ...]], check: str) -> Path:
    with (folder / "shots.csv").open("w", encoding="utf-8") as file:
        file.write("id,northing,easting,elevation\n")
        for i, (n, e, z) in enumerate(places, 1):
            file.write(f"{i},{n:.4f},{e:.4f},{z:.4f}\n")
    (folder / "job.toml").write_text(_JOB + check, encoding="utf-8")
    return folder
