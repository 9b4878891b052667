"""What the entities of model space or of one block hold, in the coordinates they were drawn in.

Entities are asked for their data here and nowhere else. An entity that cannot answer is kept with
its place, so that nothing is lost in silence. Entity facts (which coordinates are world, which are
the entity's own, where an aligned text stands): the open DXF reference.
"""

import itertools
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple, cast

import numpy as np

from checker.model.arrays import FloatArray
from checker.read.dxf_geometry import MAX_CHORDS, Curve, Straight, conic, entity_axes, polyline
from checker.read.dxf_open import library_faults
from checker.read.dxf_text import clean, plain_line, plain_lines

if TYPE_CHECKING:
    from ezdxf.entities.dimension import Dimension
    from ezdxf.entities.dxfgfx import DXFGraphic
    from ezdxf.entities.insert import Insert
    from ezdxf.entities.lwpolyline import LWPolyline
    from ezdxf.entities.mesh import Mesh
    from ezdxf.entities.mtext import MText
    from ezdxf.entities.polyline import Polyline
    from ezdxf.entities.spline import Spline

Xyz = tuple[float, float, float]
Quad = tuple[Xyz, Xyz, Xyz, Xyz]

COORDINATE_LIMIT: Final = 1e12
"""A coordinate beyond this, in whatever unit, is no place on Earth."""
SURFACES: Final = frozenset(("3DFACE", "MESH"))
LINEWORK: Final = frozenset(
    ("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE")
)
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_LENGTH_DIMENSIONS: Final = frozenset((0, 1, 3, 4))
"""Dimension types that measure a length: linear, aligned, diameter, radius."""
_SURFACE_FLAGS = 16 | 64
_FRAME_VERTEX = 16
_FITTED_VERTEX = 8
_UP: Xyz = (0.0, 0.0, 1.0)


class Tag(NamedTuple):
    """Which entity. A named tuple like `Text`, because there are as many as entities."""

    kind: str
    layer: str
    handle: str

    def __str__(self) -> str:
        """Return the place as a draughtsman would look for it."""
        return f"layer {self.layer}, {self.kind} handle {self.handle}"


class Text(NamedTuple):
    """A TEXT or MTEXT: its lines without formatting, and where it stands."""

    tag: Tag
    place: Xyz
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reference:
    """An INSERT: a block's name and how it is placed, in the coordinates of where it stands.

    first: shape (4, 4), from the block's coordinates (without its base point) to where the INSERT
    stands. column, row: steps of an array, shape (3,). attributes: tag and value, as drawn.
    """

    tag: Tag
    block: str
    first: FloatArray
    columns: int
    rows: int
    column: FloatArray
    row: FloatArray
    attributes: tuple[tuple[str, str], ...]
    clipped: bool

    @property
    def cells(self) -> int:
        """How often the block stands there."""
        return self.columns * self.rows


@dataclass(slots=True)
class Space:
    """The content of model space or of one block.

    quads: four corners for every face of `surfaces`, a triangle repeats one; with a tag each.
    plain: likewise of plain 3D faces, shape (faces, 4, 3), with a tag each before those of quads.
    smoothed: meshes that are shown rounder than their faces are.
    broken: what could not be read, with the complaint. typed: dimensions (also among others) whose
    text was typed by hand, with what they measure; the number in the text says something else.
    """

    points: list[Xyz] = field(default_factory=list)
    point_tags: list[Tag] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    curves: list[tuple[Tag, Curve | Straight]] = field(default_factory=list)
    references: list[Reference] = field(default_factory=list)
    surfaces: list[Tag] = field(default_factory=list)
    quads: list[Quad] = field(default_factory=list)
    quad_tags: list[Tag] = field(default_factory=list)
    plain: FloatArray | None = None
    smoothed: list[Tag] = field(default_factory=list)
    others: list[Tag] = field(default_factory=list)
    broken: list[tuple[Tag, str]] = field(default_factory=list)
    typed: list[tuple[Tag, str, float]] = field(default_factory=list)

    @property
    def size(self) -> int:
        """How many entities it holds."""
        return sum(
            len(part)
            for part in (
                self.points,
                self.texts,
                self.curves,
                self.references,
                self.surfaces,
                self.others,
                self.broken,
            )
        )

    @property
    def vertices(self) -> int:
        """How many vertices its lines and faces have."""
        lines = (
            len(curve) if isinstance(curve, Curve) else len(curve.points)
            for _, curve in self.curves
        )
        return sum(lines) + 4 * len(self.quads)


def gather(entities: "Iterable[DXFGraphic]", sagitta: float) -> Space:
    """Return what the entities hold, in their order.

    sagitta: how far chords may stand off a spline, in the drawing's unit; other curves stay exact.
    """
    space = Space()
    # Coordinates may overflow or be no number; `_sound` and `_curve` look at what comes out.
    with np.errstate(all="ignore"):
        _gather(entities, space, sagitta)
    return space


def _gather(entities: "Iterable[DXFGraphic]", space: Space, sagitta: float) -> None:
    faults = library_faults()
    names: dict[str, str] = {}
    axes: dict[Xyz, FloatArray] = {}
    for entity in entities:
        kind = entity.dxftype()
        tag = _tag(entity, kind, names, faults)
        try:
            if kind == "POINT":
                place = _stated(entity, "location")
                space.points.append(_sound(place))
                space.point_tags.append(tag)
            elif kind in {"TEXT", "MTEXT"}:
                space.texts.append(_text(entity, tag, axes))
            elif kind == "INSERT":
                space.references.append(_reference(cast("Insert", entity), tag, axes))
            elif kind in SURFACES or (
                kind == "POLYLINE" and entity.dxf.get("flags", 0) & _SURFACE_FLAGS
            ):
                quads = _faces(entity, kind)
                space.quads += quads
                space.quad_tags += [tag] * len(quads)
                space.surfaces.append(tag)
                if kind == "MESH" and entity.dxf.get("levels", 0):
                    space.smoothed.append(tag)
            elif kind in LINEWORK:
                space.curves.append((tag, _curve(entity, kind, axes, sagitta)))
            else:
                space.others.append(tag)
                if "DIMENSION" in kind:
                    _dimension(cast("Dimension", entity), tag, space)
        except faults as fault:
            space.broken.append((tag, clean(str(fault)).strip()[:120]))


def _tag(
    entity: "DXFGraphic", kind: str, names: dict[str, str], faults: tuple[type[Exception], ...]
) -> Tag:
    try:
        layer, handle = entity.dxf.get("layer", "0"), entity.dxf.get("handle")
    except faults:  # entities of unknown type may have neither
        layer, handle = "0", None
    name = names.get(layer)
    if name is None:
        name = names[layer] = clean(str(layer)).strip() or "0"
    return Tag(clean(kind), name, str(handle or ""))


def _xyz(place: object) -> Xyz:
    # Coordinates come with two or three members, as they were written.
    x, y, *rest = cast("Iterable[float]", place)
    return (x, y, rest[0] if rest else 0.0)


def _stated(entity: "DXFGraphic", name: str) -> Xyz:
    """Return a place that the file states; the library would put (0, 0, 0) for a missing one."""
    if not entity.dxf.hasattr(name):
        raise ValueError("it has no coordinates")
    return _xyz(entity.dxf.get(name))


def _sound(place: Xyz) -> Xyz:
    x, y, z = place
    if abs(x) < COORDINATE_LIMIT and abs(y) < COORDINATE_LIMIT and abs(z) < COORDINATE_LIMIT:
        return place  # NaN compares false
    raise ValueError(f"the coordinates {place} are no place on Earth")


def _axes(entity: "DXFGraphic", known: dict[Xyz, FloatArray]) -> FloatArray | None:
    """Return the entity's axes, None where they are the world's."""
    if not entity.dxf.hasattr("extrusion"):
        return None
    extrusion = _xyz(entity.dxf.extrusion)
    if extrusion == _UP:
        return None
    if extrusion not in known:
        known[extrusion] = entity_axes(extrusion)
    return known[extrusion]


def _world(place: Xyz, axes: FloatArray | None) -> Xyz:
    if axes is None:
        return place
    x, y, z = (axes @ np.array(place)).tolist()
    return (x, y, z)


def _text(entity: "DXFGraphic", tag: Tag, axes: dict[Xyz, FloatArray]) -> Text:
    dxf = entity.dxf
    if tag.kind == "MTEXT":
        # An MTEXT stands in world coordinates, whatever its extrusion.
        lines = plain_lines(cast("MText", entity).text)
        return Text(tag, _sound(_stated(entity, "insert")), tuple(lines))
    place = _stated(entity, "insert")
    halign = dxf.get("halign", 0)
    if (halign or dxf.get("valign", 0)) and dxf.hasattr("align_point"):
        # Aligned text stands at its alignment point; only text fitted between two points (aligned,
        # fit) has both, and then stands midway.
        second = _xyz(dxf.align_point)
        if halign in {3, 5}:
            x, y, z = place
            place = ((x + second[0]) / 2.0, (y + second[1]) / 2.0, (z + second[2]) / 2.0)
        else:
            place = second
    line = plain_line(dxf.get("text", ""))
    return Text(tag, _sound(_world(place, _axes(entity, axes))), (line,) if line else ())


def _reference(entity: "Insert", tag: Tag, known: dict[Xyz, FloatArray]) -> Reference:
    dxf = entity.dxf
    axes = _axes(entity, known)
    own = np.eye(3) if axes is None else axes
    angle = math.radians(dxf.get("rotation", 0.0))
    cos, sin = math.cos(angle), math.sin(angle)
    # Quarter turns are exact in a drawing; rounding of the sine must not move a far corner.
    cos, sin = (
        round(value) if abs(value - round(value)) < 1e-15 else value for value in (cos, sin)
    )
    turn = np.array(((cos, -sin, 0.0), (sin, cos, 0.0), (0.0, 0.0, 1.0)))
    scale = [dxf.get(name, 1.0) or 1.0 for name in ("xscale", "yscale", "zscale")]
    first = np.eye(4)
    first[:3, :3] = own @ turn * np.array(scale)
    first[:3, 3] = own @ np.array(_sound(_stated(entity, "insert")))
    if not np.all(np.isfinite(first)):
        raise ValueError(f"scale {scale} and rotation {dxf.get('rotation')} place nothing")
    columns, rows = max(dxf.get("column_count", 1), 1), max(dxf.get("row_count", 1), 1)
    along, up = dxf.get("column_spacing", 0.0), dxf.get("row_spacing", 0.0)
    # The steps of an array follow its rotation but not its scale; no step, no repetition.
    return Reference(
        tag=tag,
        block=clean(str(dxf.name)).strip(),
        first=first,
        columns=int(columns) if along else 1,
        rows=int(rows) if up else 1,
        column=own @ turn @ np.array((float(along), 0.0, 0.0)),
        row=own @ turn @ np.array((0.0, float(up), 0.0)),
        attributes=_attributes(entity),
        clipped=_clipped(entity),
    )


def _attributes(entity: "Insert") -> tuple[tuple[str, str], ...]:
    found = []
    for attribute in entity.attribs:
        name = clean(str(attribute.dxf.get("tag", ""))).strip()
        if attribute.has_embedded_mtext_entity:
            value = " ".join(plain_lines(str(attribute.plain_mtext())))
        else:
            value = plain_line(str(attribute.dxf.get("text", "")))
        if name:
            found.append((name, value))
    return tuple(found)


def _clipped(entity: "Insert") -> bool:
    if not entity.has_extension_dict:
        return False
    try:
        return "ACAD_FILTER" in entity.get_extension_dict()
    except library_faults():  # what is attached went lost with the end of the file
        return False


def _dimension(entity: "Dimension", tag: Tag, space: Space) -> None:
    """Note a dimension of a length whose typed text is another number than it measures."""
    if entity.dimtype not in _LENGTH_DIMENSIONS:
        return
    text = " ".join(plain_lines(str(entity.dxf.get("text", ""))))
    measured = entity.get_measurement()
    if not isinstance(measured, float) or not math.isfinite(measured):
        return
    typed = "" if "<>" in text else text
    numbers = _NUMBER.findall(typed)
    if len(numbers) != 1:
        return
    decimals = len(numbers[0].partition(".")[2])
    factor = abs(float(entity.override().get("dimlfac", 1.0) or 1.0))
    half = 0.5000001 * 10.0**-decimals
    if min(abs(float(numbers[0]) - measured * by) for by in (1.0, factor)) > half:
        space.typed.append((tag, text, measured))


def _faces(entity: "DXFGraphic", kind: str) -> list[Quad]:
    """Return the faces of a surface entity; their corners are world coordinates."""
    if kind == "3DFACE":
        # A triangle may lack its fourth corner; then the third counts twice.
        corners = [_sound(_stated(entity, name)) for name in ("vtx0", "vtx1", "vtx2")]
        last = entity.dxf.get("vtx3")
        return [(*corners, corners[2] if last is None else _sound(_xyz(last)))]  # type: ignore[list-item]
    if kind == "MESH":
        mesh = cast("Mesh", entity)
        places = [_sound(_xyz(place)) for place in mesh.vertices]
        return [
            quad
            for face in mesh.faces
            for quad in _fan([_corner(places, int(index)) for index in face])
        ]
    lines = cast("Polyline", entity)
    return _polyface(lines) if lines.is_poly_face_mesh else _polymesh(lines)


def _corner(places: list[Xyz], index: int) -> Xyz:
    if not 0 <= index < len(places):
        raise ValueError(f"a face names vertex {index + 1} of {len(places)}")
    return places[index]


def _fan(corners: list[Xyz]) -> list[Quad]:
    """Return a face of any number of corners as quads and triangles from its first corner."""
    if len(corners) < 3:
        raise ValueError(f"a face has {len(corners)} corners")
    if len(corners) == 4:
        return [(corners[0], corners[1], corners[2], corners[3])]
    return [(corners[0], b, c, c) for b, c in itertools.pairwise(corners[1:])]


def _polyface(entity: "Polyline") -> list[Quad]:
    quads: list[Quad] = []
    places = [
        _sound(_stated(vertex, "location"))
        for vertex in entity.vertices
        if vertex.is_poly_face_mesh_vertex
    ]
    for vertex in entity.vertices:
        if vertex.is_face_record:
            # A minus sign hides an edge; 0 stands for a corner that is not there.
            numbers = [abs(vertex.dxf.get(f"vtx{place}", 0)) for place in range(4)]
            corners = [_corner(places, number - 1) for number in numbers if number]
            if len(corners) > 2:
                quads += _fan(corners)
    return quads


def _polymesh(entity: "Polyline") -> list[Quad]:
    dxf = entity.dxf
    # Where the mesh was smoothed, the vertices it was smoothed from are only its frame.
    fitted = [v for v in entity.vertices if v.dxf.get("flags", 0) & _FITTED_VERTEX]
    names = ("m_smooth_density", "n_smooth_density") if fitted else ("m_count", "n_count")
    rows, columns = (int(dxf.get(name, 0)) for name in names)
    places = [_sound(_stated(vertex, "location")) for vertex in fitted or entity.vertices]
    if rows < 2 or columns < 2 or rows * columns != len(places):
        raise ValueError(f"the mesh says {rows} by {columns} vertices but holds {len(places)}")
    down = range(rows if entity.is_m_closed else rows - 1)
    along = range(columns if entity.is_n_closed else columns - 1)
    return [
        (
            places[row * columns + column],
            places[row * columns + (column + 1) % columns],
            places[(row + 1) % rows * columns + (column + 1) % columns],
            places[(row + 1) % rows * columns + column],
        )
        for row in down
        for column in along
    ]


def _curve(
    entity: "DXFGraphic", kind: str, known: dict[Xyz, FloatArray], sagitta: float
) -> Curve | Straight:
    curve = _drawn(entity, kind, known, sagitta)
    if isinstance(curve, Straight):
        sound = bool((np.abs(curve.points) < COORDINATE_LIMIT).all())
    else:
        sound = all(
            bool((np.abs(part) < COORDINATE_LIMIT).all())
            for part in (curve.start, curve.end, curve.u, curve.v, curve.sweep_rad)
        )
    if not sound:
        raise ValueError("some of its coordinates are no place on Earth")
    return curve


def _drawn(
    entity: "DXFGraphic", kind: str, known: dict[Xyz, FloatArray], sagitta: float
) -> Curve | Straight:
    dxf = entity.dxf
    if kind == "LINE":
        return Straight(points=np.array((_xyz(dxf.start), _xyz(dxf.end))), closed=False)
    if kind == "LWPOLYLINE":
        return _light_polyline(cast("LWPolyline", entity), _axes(entity, known))
    if kind == "POLYLINE":
        return _polyline(cast("Polyline", entity), _axes(entity, known))
    if kind == "SPLINE":
        return _spline(cast("Spline", entity), sagitta)
    if kind == "ELLIPSE":
        centre, major = np.array(_xyz(dxf.center)), np.array(_xyz(dxf.major_axis))
        normal = np.array(_xyz(dxf.get("extrusion", _UP)))
        normal = normal / np.sqrt(normal @ normal) if np.any(normal) else np.array(_UP)
        minor = np.cross(normal, major) * float(dxf.get("ratio", 1.0))
        span = (float(dxf.get("start_param", 0.0)), float(dxf.get("end_param", 2.0 * math.pi)))
        return conic(centre, major, minor, span)
    axes = _axes(entity, known)
    own = np.eye(3) if axes is None else axes
    radius = float(dxf.radius)
    span = (0.0, 2.0 * math.pi)
    if kind == "ARC":
        span = (math.radians(dxf.start_angle), math.radians(dxf.end_angle))
    return conic(own @ np.array(_xyz(dxf.center)), own[:, 0] * radius, own[:, 1] * radius, span)


def _light_polyline(entity: "LWPolyline", axes: FloatArray | None) -> Curve | Straight:
    values = np.array(entity.lwpoints.values, dtype=np.float64).reshape(-1, 5)
    points = np.empty((len(values), 3))
    points[:, :2] = values[:, :2]
    points[:, 2] = float(entity.dxf.get("elevation", 0.0))
    if values[:, 4].any():
        return polyline(points, values[:, 4], closed=entity.closed, axes=axes)
    return _straight(points, axes, closed=entity.closed)


def _polyline(entity: "Polyline", axes: FloatArray | None) -> Curve | Straight:
    # The control frame of a fitted polyline is not part of its line.
    vertices = [
        vertex for vertex in entity.vertices if not vertex.dxf.get("flags", 0) & _FRAME_VERTEX
    ]
    points = np.array([_xyz(vertex.dxf.location) for vertex in vertices]).reshape(-1, 3)
    if entity.is_3d_polyline:
        return Straight(points=points, closed=entity.is_closed)
    points[:, 2] = _xyz(entity.dxf.get("elevation", (0.0, 0.0, 0.0)))[2]
    bulges = np.array([float(vertex.dxf.get("bulge", 0.0)) for vertex in vertices])
    if not bulges.any():
        return _straight(points, axes, closed=entity.is_closed)
    return polyline(points, bulges, closed=entity.is_closed, axes=axes)


def _straight(points: FloatArray, axes: FloatArray | None, *, closed: bool) -> Straight:
    return Straight(points=points if axes is None else points @ axes.T, closed=closed)


def _spline(entity: "Spline", sagitta: float) -> Straight:
    tool = entity.construction_tool()
    knots = np.unique(np.array(tool.knots(), dtype=np.float64))
    knots = knots[(knots >= 0.0) & (knots <= tool.max_t)]
    if len(knots) < 2 or len(knots) > MAX_CHORDS:
        knots = np.linspace(0.0, tool.max_t, MAX_CHORDS + 1)
    frame = np.array([_xyz(place) for place in tool.control_points])
    length = float(np.sum(np.sqrt(np.sum(np.diff(frame, axis=0) ** 2, axis=1))))
    # Blocks may enlarge what is small here, so a thousandth of the length will do in any case.
    # Half the sagitta, since a chord may stand off farther than at the middle of its parameter.
    bound = min(sagitta / 2.0, length / 1000.0)
    pieces = 4
    while True:
        share = np.arange(2 * pieces) / (2 * pieces)
        t = (knots[:-1, None] + share[None, :] * np.diff(knots)[:, None]).ravel()
        places = np.array([_xyz(place) for place in tool.points([*t.tolist(), float(knots[-1])])])
        # Every second place is between the ends of a chord, and shows how far the chord stands off.
        off = places[1::2] - (places[:-1:2] + places[2::2]) / 2.0
        worst = float(np.max(np.sum(off * off, axis=1)))
        if worst <= bound * bound or 4 * pieces * len(knots) > 2 * MAX_CHORDS:
            reached = 2.0 * max(bound, math.sqrt(worst))
            return Straight(points=places, closed=bool(entity.closed), sagitta=reached)
        pieces *= 2
