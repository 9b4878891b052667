"""Figures, triangles and dimensions of a drawing, against shapely and the reference library.

All drawings here are invented.
"""

import io
import math

import numpy as np
import pytest
import shapely
from ezdxf.document import Drawing as Document
from ezdxf.entities.solid import Face3d
from ezdxf.filemanagement import new
from ezdxf.path import make_path

from checker.geometry.layout import from_vertices
from checker.geometry.surface import surface
from checker.model.drawing import Drawing, Figure
from checker.model.job import Labels
from checker.read.drawing import FIGURE_SAGITTA_M, read_drawing
from checker.read.files import Source
from checker.units import M_PER_US_SURVEY_FOOT, LengthUnit


def read(document: Document, unit: LengthUnit = LengthUnit.METRE) -> Drawing:
    stream = io.StringIO()
    document.write(stream)
    data = stream.getvalue().encode(document.output_encoding)
    return read_drawing(Source(path="d.dxf", data=data), unit=unit, labels=Labels())


def said(result: Drawing, slug: str) -> str:
    return "\n".join(f"{n.where}: {n.message}" for n in result.notices if n.slug == slug)


def outline(figure: Figure, step: float = 1e-3) -> shapely.Polygon:
    """Return a closed figure as a fine polygon, by stepping round each arc's own centre."""
    places = []
    xy = figure.xyz_m[:, :2]
    for a, b, bulge in zip(xy, np.roll(xy, -1, axis=0), figure.bulge, strict=True):
        places.append(a)
        if bulge:
            chord = b - a
            middle = (a + b) / 2 + np.array((-chord[1], chord[0])) * (1 - bulge**2) / (4 * bulge)
            angle = 4 * math.atan(bulge)
            for t in np.arange(step, 1, step):
                c, s = math.cos(angle * t), math.sin(angle * t)
                places.append(middle + np.array(((c, -s), (s, c))) @ (a - middle))
    return shapely.Polygon(places)


def test_a_circle_is_two_half_turns() -> None:
    document = new()
    document.modelspace().add_circle((500_000, 4_000_000, 7), 12.5)
    (figure,) = read(document).figures
    assert figure.kind == "CIRCLE"
    assert figure.closed
    assert figure.exact
    assert figure.bulge.tolist() == [1.0, 1.0]
    assert figure.xyz_m.tolist() == [[500_012.5, 4_000_000, 7], [499_987.5, 4_000_000, 7]]


@pytest.mark.parametrize(("begin", "end"), [(0, 90), (350, 10), (0, 269), (0, 271), (10, 9.9)])
@pytest.mark.parametrize("extrusion", [(0, 0, 1), (0, 0, -1)])
def test_an_arc_keeps_its_length_and_sense(
    begin: float, end: float, extrusion: tuple[float, float, float]
) -> None:
    document = new()
    arc = document.modelspace().add_arc(
        (40, 30), 100, begin, end, dxfattribs={"extrusion": extrusion}
    )
    (figure,) = read(document).figures
    course = from_vertices(figure.xyz_m[:, :2], figure.bulge, closed=False)
    assert course.length_m == pytest.approx(100 * math.radians((end - begin) % 360), abs=1e-9)
    assert np.allclose(figure.xyz_m[0], arc.start_point, rtol=0, atol=1e-9)
    assert np.allclose(figure.xyz_m[-1], arc.end_point, rtol=0, atol=1e-9)
    assert np.all(np.sign(figure.bulge[:-1]) == extrusion[2])


@pytest.mark.parametrize(
    ("scale", "sign"), [((1, 1), 1), ((-2, 2), -1), ((2, -2), -1), ((-3, -3), 1)]
)
def test_a_bulge_turns_the_other_way_in_a_mirror(scale: tuple[float, float], sign: int) -> None:
    document = new()
    block = document.blocks.new("B")
    block.add_lwpolyline([(0, 0, 0.5), (10, 0, 0), (10, 8, -0.25)], format="xyb", close=True)
    place = {"xscale": scale[0], "yscale": scale[1], "rotation": 33.0}
    document.modelspace().add_blockref("B", (200, 100), dxfattribs=place)
    (figure,) = read(document).figures
    assert figure.exact
    assert np.allclose(figure.bulge, np.array((0.5, 0, -0.25)) * sign, rtol=0, atol=1e-12)
    document.modelspace().add_lwpolyline(
        [(0, 0, 0.5), (10, 0, 0), (10, 8, -0.25)], format="xyb", close=True
    )
    flat, placed = read(document).figures[-2:]
    flat, placed = (flat, placed) if "/" in placed.handle else (placed, flat)
    assert outline(placed).area == pytest.approx(outline(flat).area * scale[0] ** 2, rel=1e-6)


def test_a_circle_seen_aslant_or_stretched_comes_as_chords_and_says_so() -> None:
    document = new()
    block = document.blocks.new("B")
    block.add_circle((0, 0), 5)
    space = document.modelspace()
    space.add_blockref("B", (0, 0), dxfattribs={"xscale": 2, "yscale": 1})
    space.add_circle((0, 0), 5, dxfattribs={"extrusion": (0, 1, 1)})
    space.add_ellipse((3, 4, 1), (30, 0), 0.5)
    slanted = read(document).figures
    assert [figure.exact for figure in slanted] == [False] * 3
    for figure in slanted:
        assert 0 < figure.sagitta_m <= FIGURE_SAGITTA_M * 1.0001
        assert not figure.bulge.any()
        assert figure.closed
    areas: dict[str, list[float]] = {figure.kind: [] for figure in slanted}
    for figure in slanted:
        areas[figure.kind].append(shapely.Polygon(figure.xyz_m[:, :2]).area)
    circle = math.pi * 25
    expected = {"CIRCLE": sorted((circle * 2, circle / math.sqrt(2))), "ELLIPSE": [450 * math.pi]}
    for kind, values in areas.items():
        assert np.allclose(sorted(values), expected[kind], rtol=1e-3)


def test_a_spline_keeps_to_its_sagitta() -> None:
    document = new()
    spline = document.modelspace().add_spline([(0, 0, 0), (30, 40, 5), (80, 20, 2), (90, 90, 1)])
    (figure,) = read(document).figures
    assert not figure.exact
    fine = np.array([tuple(p) for p in make_path(spline).flattening(1e-5)])
    line = shapely.LineString(figure.xyz_m[:, :2])
    off = shapely.distance(line, shapely.points(fine[:, :2]))
    assert off.max() <= figure.sagitta_m <= FIGURE_SAGITTA_M * 1.0001


def test_repeats_are_dropped_and_a_return_to_the_start_closes() -> None:
    document = new()
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (0, 0), (5, 0), (5, 0), (5, 5), (0, 0)])
    space.add_lwpolyline([(0, 0, 0.3), (0, 0, 0.7), (5, 0, 0), (5, 5, 0)], format="xyb")
    space.add_polyline3d([(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 0, 2)])
    space.add_lwpolyline([(0, 0), (5, 0), (0, 0)])
    space.add_line((1, 1, 1), (1, 1, 1))
    space.add_line((1, 1, 1), (1, 1, 4))
    result = read(document)
    ring, arc, step, back, post = result.figures
    assert ring.closed
    assert ring.xyz_m[:, :2].tolist() == [[0, 0], [5, 0], [5, 5]]
    assert np.allclose(arc.bulge, (0.7, 0, 0))
    assert not step.closed
    assert len(step.xyz_m) == 4
    assert not back.closed
    assert len(back.xyz_m) == 3
    assert post.xyz_m[:, 2].tolist() == [1, 4]
    assert "1 line has no length" in said(result, "no-length")


def test_figures_are_in_metres() -> None:
    document = new()
    document.modelspace().add_line((1000, 2000, 3), (1100, 2000, 4))
    (figure,) = read(document, LengthUnit.US_SURVEY_FOOT).figures
    assert np.allclose(
        figure.xyz_m,
        np.array(((1000, 2000, 3), (1100, 2000, 4))) * M_PER_US_SURVEY_FOOT,
        rtol=1e-15,
    )


# ---------------------------------------------------------------- triangles


def corners(result: Drawing) -> set[frozenset[tuple[float, ...]]]:
    assert result.triangles is not None
    return {frozenset(map(tuple, three)) for three in result.triangles.corner_m.tolist()}


def test_a_triangle_may_repeat_its_last_or_its_first_corner() -> None:
    document = new()
    a, b, c = (0, 0, 1), (4, 0, 2), (0, 3, 3)
    for four in ([a, b, c, c], [a, b, c, a], [a, a, b, c], [a, b, b, c]):
        document.modelspace().add_3dface(four)
    result = read(document)
    assert corners(result) == {frozenset({a, b, c})}
    assert result.triangles is not None
    assert len(result.triangles.corner_m) == 4
    assert not result.triangles.dropped


def test_a_quad_is_split_along_its_shorter_diagonal_and_says_how_much_that_matters() -> None:
    document = new()
    # Diagonals: (0,0)-(10,10) rises 2, (10,0)-(0,10) is level; they pass 1 m apart in the middle.
    a, b, c, d = (0, 0, 0), (10, 0, 0), (10, 10, 2), (0, 10, 0)
    document.modelspace().add_3dface([a, b, c, d], dxfattribs={"layer": "TIN"})
    result = read(document)
    assert corners(result) == {frozenset({a, b, d}), frozenset({b, c, d})}
    text = said(result, "warped-faces")
    assert "1 of 1 faces" in text
    assert "1.000 m" in text
    document = new()
    document.modelspace().add_3dface([(0, 0, 0), (10, 0, 1), (10, 10, 2), (0, 10, 1)])
    plane = read(document)
    assert not said(plane, "warped-faces")
    document = new()
    document.modelspace().add_3dface([(0.1, 0), (10.1, 0), (10.1, 10), (0.1, 10)])
    # Alike diagonals: from the first corner to the third.
    assert frozenset({(0.1, 0, 0), (10.1, 0, 0), (10.1, 10, 0)}) in corners(read(document))


def test_a_hollow_quad_is_split_inside_and_a_crossed_one_is_left_out() -> None:
    document = new()
    # The corner (2, 2) lies inside the triangle of the others, next to the shorter diagonal.
    hollow = [(0, 0), (6, 1), (2, 2), (1, 6)]
    document.modelspace().add_3dface(hollow)
    result = read(document)
    assert result.triangles is not None
    area = sum(shapely.Polygon(three[:, :2]).area for three in result.triangles.corner_m)
    assert area == pytest.approx(shapely.Polygon(hollow).area, rel=1e-12)
    document = new()
    document.modelspace().add_3dface([(0, 0), (4, 0), (0, 4), (4, 4)], dxfattribs={"layer": "BOW"})
    result = read(document)
    assert result.triangles is not None
    assert not len(result.triangles.corner_m)
    assert "layer BOW" in said(result, "crossed-face")
    assert "face without area: left out" in {count.used_as for count in result.counts}


def test_upright_faces_are_dropped_and_counted() -> None:
    document = new()
    space = document.modelspace()
    wall = [(500_000, 4_000_000, 0), (500_010.1, 4_000_007.3, 0)]
    space.add_3dface([*wall, (*wall[1][:2], 3), (*wall[0][:2], 3)], dxfattribs={"layer": "WALL"})
    space.add_3dface([(0, 0), (1, 0), (2, 0)], dxfattribs={"layer": "WALL"})
    space.add_3dface([(0, 0), (1, 0), (1, 1)], dxfattribs={"layer": "TIN"})
    result = read(document)
    assert result.triangles is not None
    assert result.triangles.layer.tolist() == ["TIN"]
    assert dict(result.triangles.dropped) == {"WALL": 2}
    assert "2 faces have no area in plan" in said(result, "flat-faces")


def test_meshes_of_all_kinds_come_to_the_same_surface() -> None:
    places = [[(float(x), float(y), x * 1.0 + y / 2) for x in range(4)] for y in range(3)]
    quads = [
        (places[y][x], places[y][x + 1], places[y + 1][x + 1], places[y + 1][x])
        for y in range(2)
        for x in range(3)
    ]
    areas = []
    for kind in ("face", "polyface", "polymesh", "mesh"):
        document = new()
        space = document.modelspace()
        if kind == "face":
            for quad in quads:
                space.add_3dface(quad)
        elif kind == "polyface":
            space.add_polyface().append_faces(quads)
        elif kind == "polymesh":
            grid = space.add_polymesh((3, 4))
            for y in range(3):
                for x in range(4):
                    grid.set_mesh_vertex((y, x), places[y][x])
        else:
            with space.add_mesh().edit_data() as data:
                data.vertices = [place for row in places for place in row]
                data.faces = [tuple(data.vertices.index(place) for place in quad) for quad in quads]
        result = read(document)
        assert result.triangles is not None
        assert len(result.triangles.corner_m) == 12
        found = surface(result.triangles.corner_m)
        areas.append(float(found.area_m2.sum()))
        height = found.look_up([(0.3, 0.4), (2.9, 1.7)]).elevation_m
        assert np.allclose(height, (0.5, 3.75))
    assert np.allclose(areas, 6.0)


def test_faces_in_blocks_stand_where_the_reference_library_puts_them() -> None:
    document = new()
    block = document.blocks.new("B", base_point=(1, 2, 3))
    block.add_3dface([(0, 0, 0), (5, 0, 1), (5, 5, 2)], dxfattribs={"layer": "TIN"})
    place = {"xscale": -2, "yscale": 3, "zscale": 0.5, "rotation": 20.0, "layer": "GROUND"}
    reference = document.modelspace().add_blockref("B", (100, 50, 7), dxfattribs=place)
    result = read(document)
    assert result.triangles is not None
    (virtual,) = reference.virtual_entities()
    assert isinstance(virtual, Face3d)
    expected = [tuple(p) for p in virtual.wcs_vertices()][:3]
    assert np.allclose(result.triangles.corner_m[0], expected, rtol=0, atol=1e-9)
    assert result.triangles.layer.tolist() == ["TIN"]


# ---------------------------------------------------------------- dimensions


def test_a_dimension_says_when_its_text_was_typed() -> None:
    document = new()
    space = document.modelspace()
    space.add_linear_dim((0, -2), (0, 0), (10, 0), dxfattribs={"layer": "DIM"}).render()
    space.add_aligned_dim((0, 0), (3, 4), 1, text="5.20").render()
    result = read(document, LengthUnit.FOOT)
    assert said(result, "dimension-text").count("typed by hand") == 1
    assert '"5.20", typed by hand, but measures 5' in said(result, "dimension-text")


# ---------------------------------------------------------------- elevations from elsewhere


def test_elevations_beside_the_points_count_where_the_job_asks() -> None:
    document = new()
    space = document.modelspace()
    for number, (x, z) in enumerate(((0, 12.25), (10, 12.5), (20, 13.0)), 1):
        space.add_point((x, 0))
        space.add_text(str(number), dxfattribs={"insert": (x + 0.2, 0.2)})
        space.add_text(f"{z:.2f}", dxfattribs={"insert": (x + 0.2, -0.3)})
    stream = io.StringIO()
    document.write(stream)
    source = Source(path="d.dxf", data=stream.getvalue().encode())
    plain = read_drawing(source, unit=LengthUnit.FOOT, labels=Labels())
    assert np.isnan(plain.points.elevation_m).all()
    asked = read_drawing(source, unit=LengthUnit.FOOT, labels=Labels(elevation_text=True))
    assert asked.points.id.tolist() == ["1", "2", "3"]
    assert np.allclose(asked.points.elevation_m / 0.3048, (12.25, 12.5, 13.0))
    assert "3 points at height 0" in said(asked, "elevation-from-text")


def test_an_elevation_under_the_number_counts_and_a_drawn_height_goes_before_it() -> None:
    document = new()
    space = document.modelspace()
    for number, (x, z) in enumerate(((0, 0.0), (10, 4.0)), 1):
        space.add_point((x, 0, z))
        space.add_mtext(f"{number}\\P9,75", dxfattribs={"insert": (x + 0.2, 0.2)})
    stream = io.StringIO()
    document.write(stream)
    source = Source(path="d.dxf", data=stream.getvalue().encode())
    result = read_drawing(source, unit=LengthUnit.METRE, labels=Labels(elevation_text=True))
    assert result.points.elevation_m.tolist() == [9.75, 4.0]
    assert "2 (9.75, placed at 4)" in said(result, "elevation-differs")


def test_the_job_may_name_the_attribute_of_the_elevation() -> None:
    document = new()
    document.blocks.new("PEG").add_point((0, 0))
    reference = document.modelspace().add_blockref("PEG", (5, 5))
    for tag, text in (("NUMBER", "7"), ("FINISHED", "21.40"), ("ELEV", "20.10")):
        reference.add_attrib(tag, text, (5, 5))
    stream = io.StringIO()
    document.write(stream)
    source = Source(path="d.dxf", data=stream.getvalue().encode())
    for labels, expected in ((Labels(), 20.1), (Labels(elevation_attribute="finished"), 21.4)):
        result = read_drawing(source, unit=LengthUnit.METRE, labels=labels)
        assert result.points.elevation_m.tolist() == [expected]


def test_a_header_without_unit_is_told_with_both_sizes() -> None:
    document = new()
    document.header["$INSUNITS"] = 0
    document.modelspace().add_line((0, 0), (100, 50))
    text = said(read(document, LengthUnit.FOOT), "no-header-unit")
    assert "30.48 m by 15.24 m in feet; it would be 100 m by 50 m in metres" in text
