"""Laws of drawings: turned, mirrored, scaled or nested in blocks, points stay where they are."""

import io
import math

import numpy as np
import pytest
from ezdxf.filemanagement import new
from ezdxf.math import Matrix44
from ezdxf.path import make_path
from hypothesis import given
from hypothesis import strategies as st

from checker.model.arrays import FloatArray
from checker.model.drawing import Drawing
from checker.model.job import Labels
from checker.read.drawing import read_drawing
from checker.read.dxf_geometry import (
    Curve,
    conic,
    flattened,
    polyline,
    transformed,
)
from checker.read.dxf_text import clean, plain_line, plain_lines
from checker.read.files import Source
from checker.units import LengthUnit

pytestmark = pytest.mark.property

number = st.floats(-1000, 1000).map(lambda value: round(value, 4))
factor = st.sampled_from([1.0, -1.0, 2.0, -0.5, 0.3048, 3.7])
angle = st.floats(-360, 360).map(lambda value: round(value, 3))
normal = st.sampled_from([(0, 0, 1), (0, 0, -1), (0, 1, 0), (1, 0.5, 0.25), (0.01, 0, 1)])
placing = st.tuples(st.tuples(number, number, number), factor, factor, factor, angle, normal)
places = st.lists(st.tuples(number, number, number), min_size=1, max_size=5, unique=True)

Placing = tuple[tuple[float, float, float], float, float, float, float, tuple[float, float, float]]


def own_axes(extrusion: tuple[float, float, float]) -> FloatArray:
    """The arbitrary axis rule of the DXF reference, written out on its own."""
    z = np.array(extrusion, dtype=float)
    z /= np.linalg.norm(z)
    world = np.array((0.0, 1.0, 0.0)) if max(abs(z[:2])) < 1 / 64 else np.array((0.0, 0.0, 1.0))
    x = np.cross(world, z)
    x /= np.linalg.norm(x)
    return np.column_stack((x, np.cross(z, x), z))


def placed(points: FloatArray, how: Placing) -> FloatArray:
    """Where the points of a block come to lie, one step after the other."""
    insert, sx, sy, sz, degrees, extrusion = how
    turn = math.radians(degrees)
    rotation = np.array(
        ((math.cos(turn), -math.sin(turn), 0), (math.sin(turn), math.cos(turn), 0), (0, 0, 1))
    )
    scaled = points * (sx, sy, sz)
    return np.asarray(
        (rotation @ scaled.T).T @ own_axes(extrusion).T + (own_axes(extrusion) @ insert)
    )


def attributes(how: Placing) -> dict[str, object]:
    _, sx, sy, sz, degrees, extrusion = how
    return {
        "xscale": sx,
        "yscale": sy,
        "zscale": sz,
        "rotation": degrees,
        "extrusion": extrusion,
    }


def read(document: object) -> Drawing:
    stream = io.StringIO()
    document.write(stream)  # type: ignore[attr-defined]
    source = Source(path="d.dxf", data=stream.getvalue().encode())
    return read_drawing(source, unit=LengthUnit.METRE, labels=Labels())


@given(places, placing, placing)
def test_nested_blocks_keep_their_points(
    points: list[tuple[float, float, float]], inner: Placing, outer: Placing
) -> None:
    document = new("R2010")
    core, shell = document.blocks.new("CORE"), document.blocks.new("SHELL")
    for place in points:
        core.add_point(place)
    shell.add_blockref("CORE", inner[0], dxfattribs=attributes(inner))
    document.modelspace().add_blockref("SHELL", outer[0], dxfattribs=attributes(outer))
    result = read(document).points
    expected = placed(placed(np.array(points), inner), outer)
    assert np.allclose(result.easting_m, expected[:, 0], rtol=0, atol=1e-8)
    assert np.allclose(result.northing_m, expected[:, 1], rtol=0, atol=1e-8)
    if not np.all(np.abs(expected[:, 2]) < 1e-8):
        assert np.allclose(result.elevation_m, expected[:, 2], rtol=0, atol=1e-8)


@given(places, placing)
def test_the_base_point_is_taken_off_first(
    points: list[tuple[float, float, float]], how: Placing
) -> None:
    document = new("R2010")
    base = np.array((12.5, -7.25, 3.0))
    block = document.blocks.new("CORE", base_point=tuple(base))
    for place in points:
        block.add_point(place)
    document.modelspace().add_blockref("CORE", how[0], dxfattribs=attributes(how))
    result = read(document).points
    expected = placed(np.array(points) - base, how)
    assert np.allclose(result.easting_m, expected[:, 0], rtol=0, atol=1e-8)
    assert np.allclose(result.northing_m, expected[:, 1], rtol=0, atol=1e-8)


@given(placing)
def test_virtual_entities_of_the_reference_library_are_the_same_lines(how: Placing) -> None:
    document = new("R2010")
    block = document.blocks.new("CORE")
    block.add_line((1, 2, 3), (4, 6, 8))
    block.add_lwpolyline([(0, 0, 0, 0, 0.5), (10, 0, 0, 0, -0.3), (10, 10, 0, 0, 0)], close=True)
    block.add_arc((3, 4), 5, 20, 140)
    space = document.modelspace()
    reference = space.add_blockref("CORE", how[0], dxfattribs=attributes(how))
    ours = read(document).linework
    if abs(how[5][2]) < 1e-9:
        return  # seen from the side nothing is left to compare in plan
    line = next(e for e in reference.virtual_entities() if e.dxftype() == "LINE")
    ends = np.array([(p.x, p.y) for p in (line.dxf.start, line.dxf.end)])
    assert np.allclose(ours[0].xy_m, ends, rtol=0, atol=1e-8)
    # The library may turn an arc into an ellipse; in plan its path is the same within chords.
    *_, arc = (e for e in reference.virtual_entities() if e.dxftype() in {"ARC", "ELLIPSE"})
    vertices = [(p.x, p.y) for p in make_path(arc).flattening(1e-4)]
    ends = np.array((vertices[0], vertices[-1]))
    got = ours[-1].xy_m[[0, -1]]
    assert np.allclose(np.sort(got, axis=0), np.sort(ends, axis=0), rtol=0, atol=1e-6)


alike = st.tuples(
    st.tuples(number, number, number), st.sampled_from([1.0, 2.0, -0.5, 0.3048]), angle,
    st.sampled_from([(0, 0, 1), (0, 0, -1)]), st.booleans(),
).map(
    lambda how: (how[0], -how[1] if how[4] else how[1], how[1], how[1], how[2], how[3])
)  # fmt: skip


def along(xyz: FloatArray, bulge: FloatArray, *, closed: bool) -> FloatArray:
    """The vertices of a figure and the tops of its arcs, worked out from the bulge alone."""
    ends = np.roll(xyz, -1, axis=0) if closed else xyz[1:]
    begins, turn = (xyz, bulge) if closed else (xyz[:-1], bulge[:-1])
    chord = ends - begins
    # Seen along the chord a + bulge lies to its right.
    right = np.column_stack((chord[:, 1], -chord[:, 0], np.zeros(len(chord))))
    return np.concatenate((xyz, (begins + ends) / 2 + right * turn[:, None] / 2))


bulged = st.lists(
    st.tuples(number, number, st.floats(-3, 3)),
    min_size=3,
    max_size=6,
    unique_by=lambda vertex: vertex[:2],
)


@given(drawn=bulged, inner=alike, outer=alike, closed=st.booleans())
def test_figures_stay_exact_in_nested_blocks(
    drawn: list[tuple[float, float, float]], inner: Placing, outer: Placing, *, closed: bool
) -> None:
    document = new("R2010")
    core, shell = document.blocks.new("CORE"), document.blocks.new("SHELL")
    core.add_lwpolyline(drawn, format="xyb", close=closed)
    shell.add_blockref("CORE", inner[0], dxfattribs=attributes(inner))
    document.modelspace().add_blockref("SHELL", outer[0], dxfattribs=attributes(outer))
    (figure,) = read(document).figures
    assert figure.exact
    assert figure.closed == closed
    flat = np.array([(x, y, 0.0) for x, y, _ in drawn])
    bulge = np.array([value if abs(value) > 1e-8 else 0.0 for _, _, value in drawn])
    if len(figure.xyz_m) != len(flat):
        return  # an arc of more than three quarters of a turn comes as two
    expected = placed(placed(along(flat, bulge, closed=closed), inner), outer)
    got = along(figure.xyz_m, figure.bulge, closed=closed)
    assert np.allclose(got, expected, rtol=0, atol=1e-6)


matrices = st.tuples(placing, st.booleans()).map(
    lambda pair: np.array(
        Matrix44.chain(
            Matrix44.scale(pair[0][1], pair[0][2] if pair[1] else pair[0][1], 1),
            Matrix44.z_rotate(math.radians(pair[0][4])),
            Matrix44.translate(*pair[0][0]),
        ).get_2d_transformation()
    )
)


@st.composite
def curves(draw: st.DrawFn) -> Curve:
    if draw(st.booleans()):
        begin, sweep = draw(st.floats(0, 6.2)), draw(st.floats(0.01, 6.28))
        radius = draw(st.floats(0.1, 100))
        x, y = np.array((radius, 0, 0.0)), np.array((0, radius, 0.0))
        return conic(
            np.array((*draw(st.tuples(number, number)), 0.0)), x, y, (begin, begin + sweep)
        )
    points = draw(st.lists(st.tuples(number, number), min_size=2, max_size=6, unique=True))
    bulges = draw(st.lists(st.floats(-2, 2), min_size=len(points), max_size=len(points)))
    flat = np.array([(x, y, 0.0) for x, y in points])
    return polyline(flat, np.array(bulges), closed=draw(st.booleans()))


@given(curves(), matrices)
def test_exact_and_flattened_agree_before_and_after_any_map(curve: Curve, plan: FloatArray) -> None:
    matrix = np.eye(4)
    values = np.asarray(plan, dtype=float).reshape(3, 3)
    matrix[:2, :2] = values[:2, :2].T
    matrix[:2, 3] = values[2, :2]
    moved = transformed(curve, matrix)
    # Flattened and then moved is the same as moved and then flattened, where the counts agree.
    before = flattened(curve, 1e-3)[:, :2]
    after = flattened(moved, 1e-3)[:, :2]
    for end in (0, -1):
        assert np.allclose(after[end], matrix[:2, :2] @ before[end] + matrix[:2, 3], atol=1e-6)
    for t, place in ((np.zeros_like(moved.sweep_rad), moved.start), (moved.sweep_rad, moved.end)):
        spoke = moved.u * np.cos(t)[:, None] + moved.v * np.sin(t)[:, None]
        arcs = moved.sweep_rad != 0.0
        assert np.allclose((moved.centre + spoke)[arcs], place[arcs], rtol=1e-9, atol=1e-6)
    assert np.allclose(moved.start[1:], moved.end[:-1], rtol=0, atol=1e-6)


@given(st.text(max_size=60))
def test_any_text_becomes_text_that_can_be_written(text: str) -> None:
    for line in (clean(text), plain_line(text), *plain_lines(text)):
        line.encode("utf-8")
        assert line.isprintable() or not any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 for c in line)


@given(st.text(alphabet="\\{}PSfHC;^%/ a1~LU+0x.", max_size=200))
def test_any_format_code_comes_to_an_end(text: str) -> None:
    assert all(line == line.strip() and line for line in plain_lines(text))


@given(st.binary(max_size=300))
def test_no_bytes_bring_a_traceback(data: bytes) -> None:
    from checker.errors import InputError

    source = Source(path="x.dxf", data=b"  0\nSECTION\n  2\nENTITIES\n" + data)
    for candidate in (source, Source(path="x.dxf", data=data)):
        with pytest.raises(InputError) as caught:
            read_drawing(candidate, unit=LengthUnit.METRE, labels=Labels())
        assert all(problem.hint for problem in caught.value.problems)
