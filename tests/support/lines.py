"""Job folders with alignments and drawn lines, and figures without a drawing."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from ezdxf.filemanagement import new

from checker.errors import InputError
from checker.model.drawing import Drawing, Figure
from checker.read.inputs import open_job
from checker.run import document, evaluate

Document = dict[str, Any]
Vertex = Sequence[float]


def figure(
    layer: str,
    vertices: Sequence[Vertex],
    bulge: Sequence[float] = (),
    *,
    closed: bool = False,
    handle: str = "1A",
    kind: str = "LWPOLYLINE",
) -> Figure:
    """Return a figure from vertices (easting, northing) or (easting, northing, elevation)."""
    xyz = np.array([(*vertex, 0.0)[:3] for vertex in vertices], dtype=np.float64)
    return Figure(
        layer=layer,
        kind=kind,
        handle=handle,
        xyz_m=xyz,
        bulge=np.array([*bulge, *[0.0] * (len(xyz) - len(bulge))], dtype=np.float64),
        closed=closed,
    )


def drawing_of(figures: Sequence[Figure]) -> Drawing:
    """Return a drawing that holds nothing but figures."""
    from tests.support.points import points

    return Drawing(
        path="design.dxf",
        version="AC1024",
        header_unit="metre",
        points=points([]),
        figures=tuple(figures),
        linework=(),
        counts=(),
        notices=(),
    )


def dxf(
    polylines: Sequence[tuple[str, Sequence[Vertex], bool]] = (),
    lines: Sequence[tuple[str, Vertex, Vertex]] = (),
    arcs: Sequence[tuple[str, Vertex, float, float, float]] = (),
    insunits: int = 6,
) -> str:
    """Return a drawing: polylines (layer, vertices with bulges, closed), lines and arcs.

    An arc is its layer, centre, radius, and the angles at which it begins and ends, degrees.
    """
    document_ = new("R2010")
    document_.header["$INSUNITS"] = insunits
    space = document_.modelspace()
    for layer, vertices, closed in polylines:
        space.add_lwpolyline(
            [(*vertex, 0.0)[:3] for vertex in vertices],
            format="xyb",
            close=closed,
            dxfattribs={"layer": layer},
        )
    for layer, start, end in lines:
        space.add_line(start, end, dxfattribs={"layer": layer})
    for layer, centre, radius, begin, end_angle in arcs:
        space.add_arc(centre, radius, begin, end_angle, dxfattribs={"layer": layer})
    stream = io.StringIO()
    document_.write(stream)
    return stream.getvalue()


def write(folder: Path, job: str, **files: str) -> Path:
    """Write a job folder; files by name, an underscore standing for the dot before the suffix."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(job)
    for name, text in files.items():
        (folder / ".".join(name.rsplit("_", 1))).write_text(text)
    return folder


def run(folder: Path, figures: Sequence[Figure] | None = None) -> Document:
    """Return results.json of a job; figures take the place of what its drawings hold."""
    job, inputs = open_job(folder / "job.toml")
    if figures is not None:
        inputs = replace(inputs, drawings=(drawing_of(figures),))
    found: Document = json.loads(json.dumps(document(evaluate(job, inputs)), allow_nan=False))
    return found


def faults(folder: Path, figures: Sequence[Figure] | None = None) -> list[tuple[str, str, str]]:
    """Return slug, place and message of what is wrong with a job; [] where nothing is."""
    try:
        run(folder, figures)
    except InputError as fault:
        return [(each.slug, str(each.where), each.message) for each in fault.problems]
    return []


def check(found: Document, name: str) -> Document:
    """Return one check of results.json."""
    return next(each for each in found["checks"] if each["name"] == name)


def row(found: Document, name: str, point: str) -> Document:
    """Return the governing row of a check."""
    rows = check(found, name)["rows"]
    (one,) = [each for each in rows if each["id"] == point and not each.get("superseded")]
    return dict(one)


def table(heading: str, rows: Sequence[Sequence[object]]) -> str:
    """Return a CSV; floats in full."""
    lines = [
        ",".join(repr(each) if isinstance(each, float) else str(each) for each in row_)
        for row_ in rows
    ]
    return "\n".join([heading, *lines, ""])


HEAD = """[job]
title = "Invented road"
unit = "metre"
[measured]
files = ["shots.csv"]
[tolerance.t]
along = "0.03 m"
across = "0.02 m"
vertical = "0.02 m"
[tolerance.line]
horizontal = "0.02 m"
"""
DRAWN = '[design]\ndrawing = "design.dxf"\n'
CL = '[alignment.CL]\nelements = "cl.csv"\nstart = "0+100"\nprofile = "profile.csv"\n'
ELEMENTS = """type,length,radius,turn,northing,easting,azimuth
line,100,,,5000,2000,90
spiral,40,,,,,
arc,80,200,right,,,
spiral,40,,,,,
line,60,,,,,
"""
PROFILE = "station,elevation,length\n0+100,50,\n0+250,56,120\n0+420,52.6,\n"
