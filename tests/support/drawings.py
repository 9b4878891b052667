"""Small drawings for the tests."""

import io
from collections.abc import Iterable, Mapping

from ezdxf.filemanagement import new


def points_drawing(
    points: Iterable[tuple[str, float, float, float]], *, layer: str, insunits: int = 6
) -> bytes:
    """Return a drawing with a POINT and its TEXT label for each (id, northing, easting, z)."""
    document = new("R2010")
    document.header["$INSUNITS"] = insunits
    document.layers.add(layer)
    space = document.modelspace()
    for name, n, e, z in points:
        space.add_point((e, n, z), dxfattribs={"layer": layer})
        space.add_text(
            name, dxfattribs={"layer": layer, "insert": (e + 0.2, n + 0.2), "height": 0.5}
        )
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode("utf-8")


def labelled_drawing(
    layers: Mapping[str, Iterable[tuple[str, float, float, float]]],
    *,
    label_layer: str | None = None,
    insunits: int = 6,
) -> bytes:
    """Return a drawing with labelled POINTs on several layers, their labels there or on another."""
    document = new("R2010")
    document.header["$INSUNITS"] = insunits
    for name in {*layers, *([label_layer] if label_layer else [])}:
        document.layers.add(name)
    space = document.modelspace()
    for layer, points in layers.items():
        for name, n, e, z in points:
            space.add_point((e, n, z), dxfattribs={"layer": layer})
            space.add_text(
                name,
                dxfattribs={
                    "layer": label_layer or layer,
                    "insert": (e + 0.2, n + 0.2),
                    "height": 0.5,
                },
            )
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode("utf-8")


def zoo(version: str = "R2010", *, binary: bool = False) -> bytes:
    """Return a drawing with every kind of entity that the reader knows, and some it does not."""
    document = new(version)
    document.layers.add("STAKE")
    space = document.modelspace()
    own = {"layer": "STAKE"}
    for number, (x, y, z) in enumerate(((10, 20, 1.5), (30, 25, 1.75), (50, 5, 2)), 101):
        space.add_point((x, y, z), dxfattribs=own)
        space.add_text(str(number), dxfattribs={**own, "insert": (x + 0.2, y + 0.2)})
    space.add_text("A", dxfattribs={"extrusion": (0, 0, -1), "insert": (-5, 1)})
    space.add_line((0, 0, 0), (10, 0, 1))
    space.add_arc((5, 5), 3, 30, 300)
    space.add_circle((5, 5, 1), 2, dxfattribs={"extrusion": (0, 0, -1)})
    space.add_polyline2d([(0, 0, 0, 0, 1), (4, 0, 0, 0, 0)], format="xyseb", close=True)
    space.add_polyline3d([(0, 0, 0), (1, 1, 1), (2, 0, 3)])
    mesh = space.add_polymesh((3, 2))
    for row in range(3):
        for column in range(2):
            mesh.set_mesh_vertex((row, column), (row, column, row * column / 2))
    face = space.add_polyface()
    face.append_faces(
        [[(0, 0, 0), (1, 0, 0), (1, 1, 1), (0, 1, 0)], [(1, 0, 0), (2, 0, 0), (1, 1, 1)]]
    )
    space.add_3dface([(0, 0, 0), (5, 0, 1), (5, 5, 2), (0, 5, 1)], dxfattribs=own)
    space.add_3dface([(5, 0, 1), (9, 0, 1), (5, 5, 2)])
    space.add_solid([(0, 0), (1, 0), (0, 1), (1, 1)])
    block = document.blocks.new("PEG", base_point=(1, 1))
    block.add_point((1, 1))
    block.add_circle((1, 1), 0.3)
    block.add_attdef("NUMBER", (1, 2))
    reference = space.add_blockref("PEG", (70, 30, 4), dxfattribs={**own, "rotation": 30})
    reference.add_attrib("NUMBER", "104", (71, 31))
    ring = document.blocks.new("RING")
    ring.add_blockref("PEG", (2, 0))
    ring.add_line((0, 0), (2, 2))
    ring.add_3dface([(0, 0), (1, 0), (1, 1)])
    space.add_blockref(
        "RING",
        (90, 40),
        dxfattribs={"xscale": -2, "yscale": 2, "column_count": 2, "column_spacing": 5.0},
    )
    space.add_linear_dim((0, -2), (0, 0), (10, 0), text="12.00").render()
    if version != "R12":
        space.add_lwpolyline([(0, 0, 0.5), (4, 0, 0), (4, 4, -1)], format="xyb", close=True)
        space.add_ellipse((20, 20), (5, 1), 0.4, 0.2, 5)
        space.add_spline([(0, 0, 0), (3, 4, 1), (8, 2, 0)])
        space.add_mtext("105\\P{\\fArial|b1;12.50}", dxfattribs={"insert": (50.3, 5.1)})
        space.add_hatch()
        with space.add_mesh().edit_data() as data:
            data.vertices = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0.5, 2, 1)]
            data.faces = [(0, 1, 2, 3), (3, 2, 4)]
        document.layout("Layout1").add_line((0, 0), (1, 1))
    if binary:
        raw = io.BytesIO()
        document.write(raw, fmt="bin")
        return raw.getvalue()
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode(document.output_encoding)


def lines_drawing(lines: Mapping[str, Iterable[Iterable[tuple[float, float]]]]) -> bytes:
    """Return a drawing in metres with open polylines of (easting, northing) by layer."""
    document = new("R2010")
    document.header["$INSUNITS"] = 6
    space = document.modelspace()
    for layer, courses in lines.items():
        document.layers.add(layer)
        for course in courses:
            space.add_lwpolyline(list(course), dxfattribs={"layer": layer})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode("utf-8")
