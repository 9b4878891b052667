"""What a good engineer would write in an afternoon: the same work as a plain script, no report.

    python -m tests.bench.plain stakes|surface|lines FOLDER

ezdxf reads the drawing, csv the shots, shapely finds what is near, numpy computes; a CSV with
deltas and verdicts is written. Nothing is checked on the way: no units, no doubts, no messages.
"""

import csv
import itertools
import sys
from pathlib import Path

import ezdxf.filemanagement
import numpy as np
import shapely
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.entities.solid import Face3d

from tests.bench.geometry import plain_nearest, plain_surface


def shots(folder: Path) -> tuple[list[str], np.ndarray]:
    """Return ids and northing, easting, elevation of the shots."""
    with (folder / "shots.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))[1:]
    return [row[0] for row in rows], np.array([[float(v) for v in row[1:]] for row in rows])


def write(folder: Path, ids: list[str], *columns: np.ndarray) -> None:
    """Write the outcome beside the job."""
    with (folder / "plain.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerows(zip(ids, *(column.tolist() for column in columns), strict=True))


def stakes(folder: Path) -> None:
    """Compare stakes by number, each point named by the text nearest to it."""
    space = ezdxf.filemanagement.readfile(folder / "design.dxf").modelspace()
    place = np.array([point.dxf.location.xyz for point in space.query("POINT")])
    texts = list(space.query("TEXT"))
    at = np.array([text.dxf.insert.xyz for text in texts])
    tree = shapely.STRtree(np.asarray(shapely.points(at[:, :2])))
    near = tree.query_nearest(shapely.points(place[:, :2]), all_matches=False)[1]
    index = {texts[label].dxf.text: row for row, label in enumerate(near.tolist())}
    ids, nez = shots(folder)
    design = place[[index[name] for name in ids]][:, [1, 0, 2]]
    delta = nez - design
    plan = np.hypot(delta[:, 0], delta[:, 1])
    good = (plan <= 0.03) & (np.abs(delta[:, 2]) <= 0.03)
    write(folder, ids, *delta.T, plan, np.where(good, "within", "outside"))


def surface(folder: Path) -> None:
    """Compare heights with the drawing's triangles."""
    space = ezdxf.filemanagement.readfile(folder / "design.dxf").modelspace()
    faces = [
        [corner.xyz for corner in face.wcs_vertices()[:3]]
        for face in space.query("3DFACE")
        if isinstance(face, Face3d)
    ]
    ids, nez = shots(folder)
    z = plain_surface(np.array(faces), np.ascontiguousarray(nez[:, [1, 0]]))
    dz = nez[:, 2] - z
    write(folder, ids, z, dz, np.where(np.abs(dz) <= 0.05, "within", "outside"))


def lines(folder: Path) -> None:
    """Compare shots with the nearest line or arc: coarse chords to find it, then exact."""
    space = ezdxf.filemanagement.readfile(folder / "design.dxf").modelspace()
    start, end, bulge = [], [], []
    for line in space.query("LWPOLYLINE"):
        if not isinstance(line, LWPolyline):
            continue
        vertices = list(line.get_points("xyb"))
        for (x, y, b), (next_x, next_y, _) in itertools.pairwise(vertices):
            start.append((x, y))
            end.append((next_x, next_y))
            bulge.append(b)
    ids, nez = shots(folder)
    xy = np.ascontiguousarray(nez[:, [1, 0]])
    away = plain_nearest(np.array(start), np.array(end), np.array(bulge), xy)
    write(folder, ids, away, np.where(away <= 0.05, "within", "outside"))


if __name__ == "__main__":
    {"stakes": stakes, "surface": surface, "lines": lines}[sys.argv[1]](Path(sys.argv[2]))
