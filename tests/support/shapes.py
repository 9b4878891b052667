"""Job folders for surfaces, shapes, planes and pipes, through the files as a user does."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import pytest
from ezdxf.filemanagement import new

from checker.errors import InputError, Problem
from checker.run import check
from tests.support.jobs import results

Place = tuple[str, float, float, float | None]
"""id, northing, easting, elevation."""


def table(places: Iterable[Place], *, more: Sequence[str] = (), head: str = "") -> str:
    """Return a table of points; `more` are further cells of every row below the heading `head`."""
    rows = [f"id,northing,easting,elevation{',' if head else ''}{head}"]
    for number, (name, n, e, z) in enumerate(places):
        cells = [name, repr(n), repr(e), "" if z is None else repr(z)]
        rows.append(",".join([*cells, *([more[number]] if more else [])]))
    return "\n".join([*rows, ""])


def write_job(folder: Path, sections: str, *, unit: str = "metre", **files: str | bytes) -> Path:
    """Write a job; files by name with the dot of their ending as an underscore, "m_csv"."""
    folder.mkdir(parents=True, exist_ok=True)
    head = f'[job]\ntitle = "Invented test job"\nunit = "{unit}"\n'
    names = {key[::-1].replace("_", ".", 1)[::-1]: text for key, text in files.items()}
    if "d.csv" in names:
        head += '[design]\npoints = "d.csv"\n'
    elif "d.dxf" in names:
        head += '[design]\ndrawing = "d.dxf"\n'
    if "m.csv" in names:
        head += '[measured]\nfiles = ["m.csv"]\n'
    (folder / "job.toml").write_text(head + sections, encoding="utf-8")
    for name, text in names.items():
        data = text.encode() if isinstance(text, str) else text
        (folder / name).write_bytes(data)
    return folder


def only_check(folder: Path) -> dict[str, Any]:
    """Return the only check of a job's results."""
    (found,) = results(folder)["checks"]
    return dict(found)


def by_id(found: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the rows of a check by id; superseded ones left out."""
    return {row["id"]: row for row in found["rows"] if not row.get("superseded")}


def problems_of(folder: Path) -> tuple[Problem, ...]:
    """Return the faults of a job that is refused."""
    with pytest.raises(InputError) as caught:
        check(folder)
    return caught.value.problems


def faces_drawing(
    faces: Iterable[Sequence[tuple[float, float, float]]],
    *,
    layer: str = "FG-TIN",
    rings: Iterable[Sequence[tuple[float, float]]] = (),
    ring_layer: str = "LIMIT",
    closed: bool = True,
) -> bytes:
    """Return a drawing in metres with 3D faces (easting, northing, z) and boundary lines."""
    document = new("R2010")
    document.header["$INSUNITS"] = 6
    space = document.modelspace()
    for face in faces:
        space.add_3dface(list(face), dxfattribs={"layer": layer})
    for ring in rings:
        space.add_lwpolyline(list(ring), close=closed, dxfattribs={"layer": ring_layer})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode("utf-8")
