"""The drawing audit: every fault is put into an invented drawing and must be told, and no other."""

import io
import itertools
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from checker.checks.audit import against_known, audit_drawing
from checker.model.drawing import Drawing
from checker.model.job import Labels
from checker.model.points import Points, Quality
from checker.read.drawing import read_drawing
from checker.read.files import Source
from checker.run import check, show
from checker.units import LengthUnit

METRE = LengthUnit.METRE
E, N = 512_345.0, 4_187_654.0


def site(space: Modelspace) -> None:
    """A sound site: a grid of numbered points, a closed outline, a surface, some lines."""
    for row in range(4):
        for column in range(5):
            x, y = E + 10.0 * column, N + 10.0 * row
            space.add_point((x, y, 12.0 + row), dxfattribs={"layer": "STAKE"})
            where = {"layer": "STAKE", "insert": (x + 0.3, y + 0.3)}
            space.add_text(f"{row * 5 + column + 1}", dxfattribs=where)
    corners = [(E, N), (E + 40, N), (E + 40, N + 30), (E, N + 30)]
    space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "EDGE"})
    for a, b in itertools.pairwise(corners):
        space.add_line((*a, 12), (*b, 13), dxfattribs={"layer": "CURB"})
    for row in range(3):
        for column in range(4):
            face = [(E + 10.0 * (column + i), N + 10.0 * (row + j), 12.0 + row + j)
                    for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))]  # fmt: skip
            space.add_3dface(face, dxfattribs={"layer": "TIN"})


def drawing(change: Callable[[Modelspace], object] | None = None) -> bytes:
    document = new()
    document.header["$INSUNITS"] = 6
    site(document.modelspace())
    if change is not None:
        change(document.modelspace())
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def read(data: bytes, unit: LengthUnit = METRE) -> Drawing:
    return read_drawing(Source(path="d.dxf", data=data), unit=unit, labels=Labels())


def test_a_sound_drawing_is_left_in_peace() -> None:
    assert audit_drawing(read(drawing()), METRE) == []


def point(name: str, x: float, y: float, z: float) -> Callable[[Modelspace], object]:
    def add(space: Modelspace) -> None:
        space.add_point((E + x, N + y, z), dxfattribs={"layer": "MORE"})
        space.add_text(name, dxfattribs={"layer": "MORE", "insert": (E + x + 0.1, N + y)})

    return add


def line(*places: tuple[float, ...], layer: str = "MORE", **more: object) -> Callable[..., object]:
    moved = [(E + place[0], N + place[1], *place[2:]) for place in places]
    if more.pop("flat", False):
        return lambda space: space.add_lwpolyline(moved, dxfattribs={"layer": layer}, **more)
    return lambda space: space.add_polyline3d(moved, dxfattribs={"layer": layer}, **more)


def face(*places: tuple[float, float, float]) -> Callable[[Modelspace], object]:
    moved = [(E + x, N + y, z) for x, y, z in places]
    return lambda space: space.add_3dface(moved, dxfattribs={"layer": "TIN"})


CASES: list[tuple[str, Callable[[Modelspace], object], list[str]]] = [
    ("duplicate-point", point("1", 0, 0, 12), ['"1"']),
    ("stacked-points", point("1A", 0, 0, 15), ['"1" and "1A"', "heights 3.000 m apart"]),
    ("near-points", point("1A", 0.02, 0, 12), ['"1" and "1A", 0.020 m']),
    ("near-points", point("1A", 0.0006, 0, 12), ['"1" and "1A", 0.001 m']),
    ("duplicate-line", line((40, 0), (0, 0), (0, 30), (40, 30), flat=True, close=True),
     ["1 line is drawn twice", "LWPOLYLINE"]),
    ("duplicate-line", lambda s: s.add_line((E + 40, N, 13), (E, N, 12)), ["LINE handle"]),
    ("nearly-closed", line((1, 1), (9, 1), (9, 9), (1.05, 1.02), flat=True), ["gap 0.054 m"]),
    ("closed-with-step", line((1, 1, 5), (9, 1, 5), (9, 9, 5), (1, 1, 5.4)), ["0.400 m"]),
    ("no-area", line((1, 1), (9, 1), (5, 1), flat=True, close=True), ["1 closed figure"]),
    ("ends-apart", line((40, 0.01, 13), (45, -5, 13), layer="CURB"), ["layer CURB", "0.010 m"]),
    ("zero-vertex", line((1, 1, 12), (2, 2, 0), (3, 3, 12)), ["1 line has heights"]),
    ("mixed-heights", line((1, 1), (2, 2), layer="CURB", flat=True), ["1 line lies at height 0"]),
    ("duplicate-face", face((0, 0, 12), (10, 0, 12), (10, 10, 13), (0, 10, 13)),
     ["2 triangles are drawn more than once"]),
    ("overlapping-faces", face((2, 1, 14), (8, 1, 14), (8, 4, 14)), ["layer TIN", "apart"]),
    ("zero-corner", face((40, 0, 12), (50, 0, 0), (40, 10, 12)), ["1 triangle has a corner"]),
    ("stray-entity", point("99", 90_000, 0, 12), ['point "99"', "89980 m"]),
    ("stray-entity", lambda s: s.add_line((0, 0), (1, 1)), ["LINE handle"]),
]  # fmt: skip


@pytest.mark.parametrize(("slug", "change", "words"), CASES)
def test_each_fault_is_told_alone(
    slug: str, change: Callable[[Modelspace], object], words: list[str]
) -> None:
    found = audit_drawing(read(drawing(change)), METRE)
    assert [notice.slug for notice in found] == [slug]
    text = f"{found[0].where}: {found[0].message}"
    for word in words:
        assert word in text


def test_lists_are_cut_short_and_counted() -> None:
    def heap(space: Modelspace) -> None:
        for number in range(200):
            point(f"X{number}", 10.0 * (number % 20) / 4, 40 + number // 20, 12)(space)
            point(f"Y{number}", 10.0 * (number % 20) / 4, 40 + number // 20, 12)(space)

    (notice,) = audit_drawing(read(drawing(heap)), METRE)
    assert "at 200 places" in notice.message
    assert "and 195 more" in notice.message
    assert len(notice.message) < 400


# ---------------------------------------------------------------- against control


def known(north: float = N, east: float = E) -> Points:
    n, e = np.array((0.0, 50.0, 20.0)), np.array((0.0, 10.0, 60.0))
    empty = np.array(["", "", ""], dtype=object)
    return Points(
        id=np.array(["A", "B", "C"], dtype=object),
        northing_m=north + n,
        easting_m=east + e,
        elevation_m=np.full(3, 12.0),
        description=empty,
        layer=empty,
        handle=empty,
        file=np.zeros(3, dtype=np.int64),
        line=np.arange(3),
        files=("control.csv",),
        quality=Quality(),
    )


def elsewhere(points: Points, unit: LengthUnit = METRE) -> str:
    found = against_known(read(drawing(), unit), points, "control", unit, METRE)
    return found[0].message if found else ""


@pytest.mark.parametrize(
    ("points", "unit", "words"),
    [
        (known(E, N), METRE, "It would fit with northing and easting exchanged"),
        (known(), LengthUnit.FOOT, "It would fit with the drawing read in metres"),
        (known(N * 0.3048, E * 0.3048), METRE, "It would fit with the drawing read in feet"),
        (known(N / 1000, E / 1000), METRE, "the drawing read in millimetres"),
        (known(N + 4e7, E + 3e7), METRE, "left out (40,000,000 north, 30,000,000 east)"),
        (known(N + 61_234.5, E - 200_812.3), METRE, "perhaps another zone or a local grid"),
    ],
)
def test_the_reading_that_would_fit_is_told(points: Points, unit: LengthUnit, words: str) -> None:
    assert words in elsewhere(points, unit)


def test_a_drawing_at_its_control_is_left_in_peace() -> None:
    assert not elsewhere(known())
    assert not elsewhere(known(N + 600.0))


# ---------------------------------------------------------------- in a job, and without one


JOB = """
[job]
title = "Invented site"
unit = "metre"
[control]
file = "control.csv"
[design]
drawing = "d.dxf"
[measured]
files = ["shots.csv"]
[tolerance.t]
horizontal = "30 mm"
[[stakeout]]
name = "Stakes"
tolerance = "t"
design = { layer = "STAKE" }
"""


def test_the_audit_stands_with_the_drawing_and_among_all_notices(tmp_path: Path) -> None:
    (tmp_path / "d.dxf").write_bytes(drawing(point("1A", 0, 0, 15)))
    header = "id,northing,easting,elevation\n"
    (tmp_path / "control.csv").write_text(f"{header}A,{E},{N},12\nB,{E + 30},{N},12\n")
    (tmp_path / "shots.csv").write_text(f"{header}1,{N},{E},12\n")
    (tmp_path / "job.toml").write_text(JOB)
    inputs = check(tmp_path).inputs
    slugs = {notice.slug for notice in inputs.drawings[0].notices}
    assert {"stacked-points", "drawing-elsewhere", "unused-layers"} <= slugs
    told = {notice.slug: notice for notice in inputs.notices}
    assert "exchanged" in told["drawing-elsewhere"].message
    assert "CURB (3); EDGE (1); MORE (1); TIN (12)" in told["unused-layers"].message


def test_a_drawing_is_audited_before_there_is_a_job(tmp_path: Path) -> None:
    (tmp_path / "d.dxf").write_bytes(drawing(point("1A", 0, 0, 15)))
    text, _ = show(tmp_path / "d.dxf")
    assert "[stacked-points]" in text
