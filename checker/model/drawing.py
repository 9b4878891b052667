"""What was read from a drawing."""

from collections.abc import Mapping
from dataclasses import dataclass

from checker.errors import Where
from checker.model.arrays import FloatArray, IntArray, TextArray
from checker.model.points import Points


@dataclass(frozen=True, slots=True, kw_only=True)
class Polyline:
    """Linework for the plan: world coordinates, arcs flattened for drawing only.

    xy_m: shape (vertices, 2), easting and northing in metres.
    """

    layer: str
    xy_m: FloatArray
    closed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """The exact course of a drawn line in world coordinates, metres.

    kind: the entity's type. xyz_m: shape (vertices, 3), easting, northing, elevation. bulge: shape
    (vertices,), tangent of a quarter of the arc's angle from this vertex to the next, + counter-
    clockwise, 0 straight; the last one matters only where closed. A circle is two vertices with
    bulge 1, closed. exact: False where the course was flattened (ellipse, spline, tilted arc) to
    `sagitta_m`. No vertex repeats the one before it; closed figures do not repeat the first.
    """

    layer: str
    kind: str
    handle: str
    xyz_m: FloatArray
    bulge: FloatArray
    closed: bool
    exact: bool = True
    sagitta_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Triangles:
    """The drawing's own triangles, world coordinates; arrays of shape (triangles, ...).

    corner_m: shape (triangles, 3, 3), easting, northing, elevation. layer, handle: of the entity.
    dropped: how many faces without area were left out, by layer. quad: of a triangle that is half
    of a face whose four corners are not in one plane and that might be split either way, the number
    of that face in quad_m, shape (faces, 4, 3); -1 of the others. None where there are none.
    """

    corner_m: FloatArray
    layer: TextArray
    handle: TextArray
    dropped: Mapping[str, int]
    quad: IntArray | None = None
    quad_m: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """Something a reader saw that is not a fault but must be said."""

    slug: str
    where: Where
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EntityCount:
    """How many entities of one type stand on one layer, and what became of them."""

    layer: str
    kind: str
    count: int
    used_as: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """One drawing. header_unit: the unit that its header names, in words; "" where it names none.

    version: the format's own version name. counts: every entity of model space is in one of them.
    """

    path: str
    version: str
    header_unit: str
    points: Points
    figures: tuple[Figure, ...] = ()
    triangles: Triangles | None = None
    linework: tuple[Polyline, ...]
    counts: tuple[EntityCount, ...]
    notices: tuple[Notice, ...]
