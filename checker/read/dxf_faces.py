"""A drawing's faces as triangles: 3D faces and meshes in world coordinates.

A face of four corners is split along its shorter diagonal in space (alike: from the first corner to
the third), unless only the other one lies inside it. Common practice, no source; a quad whose
corners are not in one plane is another surface when it is split the other way, so their number and
how much it matters are told.
"""

from collections import Counter
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from checker.geometry.surface import NO_HEIGHT_M
from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.drawing import Triangles
from checker.read.dxf_entities import Tag

PLANE_M: Final = 1e-3
"""Quads whose diagonals pass each other by no more than this are taken as plane."""
_SHORTER: Final = 1.0 - 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Faces:
    """The triangles of a drawing and what must be said of them.

    warped: how many quads are not plane, the worst of them by `worst_m`, the height between its
    diagonals where they cross in plan, at `worst`. crossed: quads whose outline crosses itself in
    plan, which are left out, by entity. bare: entities of which no triangle is left.
    """

    triangles: Triangles
    warped: int = 0
    worst_m: float = 0.0
    worst: Tag | None = None
    quads: int = 0
    crossed: tuple[Tag, ...] = field(default_factory=tuple)
    bare: frozenset[Tag] = frozenset()


def faces_of(quads: FloatArray, tags: list[Tag], metres: float) -> Faces | None:
    """Return the triangles of faces, None where there are no faces.

    quads: shape (faces, 4, 3), in the drawing's unit; a triangle repeats one of its corners. tags:
    the entity of every face. metres: of one unit of the drawing.
    """
    if not tags:
        return None
    corner = quads * metres
    three = _three(corner)
    plain, crossed, second = _split(corner)
    is_quad = three < 0
    number = np.arange(len(tags))
    # Which three of the four corners make the first triangle, and the second one of a quad.
    one = _WITHOUT[np.where(is_quad, np.where(second, 2, 3), three)]
    two = _WITHOUT[np.where(second, 0, 1)]
    good = ~(is_quad & crossed)
    first = np.flatnonzero(good)
    other = np.flatnonzero(good & is_quad)
    owner = np.concatenate((first, other))
    made = np.concatenate((corner[first[:, None], one[first]], corner[other[:, None], two[other]]))
    keep = _has_area(made)
    order = np.argsort(owner[keep], kind="stable")
    made, owner = made[keep][order], owner[keep][order]
    left = np.zeros(len(tags), dtype=np.bool_)
    left[owner] = True
    gone = np.flatnonzero(good & ~left)
    dropped = Counter(tags[index].layer for index in gone.tolist())
    kept = {tags[index] for index in number[left].tolist()} if len(gone) or crossed.any() else set()
    off = np.where(is_quad & good & left, plain, 0.0)
    worst = int(np.argmax(off))
    bent = off > PLANE_M
    quad = quad_m = None
    if bent.any():
        quad = np.where(bent, np.cumsum(bent) - 1, -1)[owner]
        quad_m = corner[bent]
    return Faces(
        triangles=Triangles(
            corner_m=made,
            layer=_of(tags, owner, "layer"),
            handle=_of(tags, owner, "handle"),
            dropped=dict(sorted(dropped.items())),
            quad=quad,
            quad_m=quad_m,
        ),
        warped=int(np.count_nonzero(bent)),
        worst_m=float(off[worst]),
        worst=tags[worst] if off[worst] > PLANE_M else None,
        quads=int(np.count_nonzero(is_quad)),
        crossed=tuple(tags[index] for index in np.flatnonzero(is_quad & crossed).tolist()),
        bare=frozenset(tags[index] for index in np.flatnonzero(~left).tolist()) - kept,
    )


_WITHOUT: Final = np.array(((1, 2, 3), (0, 2, 3), (0, 1, 3), (0, 1, 2)))
"""Three corners in their order, by which one is left out."""


def _three(corner: FloatArray) -> IntArray:
    """Return which corner of every face may go because it repeats another, -1 for a quad."""
    spare = np.full(len(corner), -1, dtype=np.int64)
    for a, b in ((1, 0), (2, 1), (3, 0), (3, 2)):
        spare[np.all(corner[:, a] == corner[:, b], axis=1)] = a
    return spare


def _split(corner: FloatArray) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Return how faces are split, as quads; shape (faces,) each.

    The height between the diagonals where they cross in plan; whether the outline crosses itself in
    plan; whether the diagonal from the second corner to the fourth splits it.
    """
    xy = corner[:, :, :2] - corner[:, :1, :2]

    def twice(a: int, b: int, c: int) -> FloatArray:
        p, q = xy[:, b] - xy[:, a], xy[:, c] - xy[:, a]
        return np.asarray(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])

    # A diagonal lies inside where it parts two triangles that turn the same way.
    t012, t023, t013, t123 = twice(0, 1, 2), twice(0, 2, 3), twice(0, 1, 3), twice(1, 2, 3)
    # Nothing turns that has no area to speak of; a quad without any does not cross itself.
    size = NO_HEIGHT_M * np.max(np.hypot(xy[:, :, 0], xy[:, :, 1]), axis=1, initial=0.0)
    first_fits = (np.minimum(t012, t023) >= -size) | (np.maximum(t012, t023) <= size)
    second_fits = (np.minimum(t013, t123) >= -size) | (np.maximum(t013, t123) <= size)
    length = [
        np.sqrt(np.sum((corner[:, a] - corner[:, b]) ** 2, axis=1)) for a, b in ((0, 2), (1, 3))
    ]
    second = second_fits & (~first_fits | (length[1] < _SHORTER * length[0]))
    with np.errstate(all="ignore"):
        # Where the diagonals cross: at share s from corner 0 to 2, r from 1 to 3.
        total = t012 + t023
        s = t013 / (t013 + t123)
        r = t012 / total
        z = corner[:, :, 2]
        off = np.abs(z[:, 0] + s * (z[:, 2] - z[:, 0]) - z[:, 1] - r * (z[:, 3] - z[:, 1]))
    off = np.where(first_fits & second_fits, np.nan_to_num(off, nan=0.0, posinf=0.0), 0.0)
    return off, ~first_fits & ~second_fits, second


def _has_area(made: FloatArray) -> BoolArray:
    """Return which triangles have a height in plan worth the name."""
    side = (made - made[:, [1, 2, 0]])[:, :, :2]
    area = side[:, 0, 0] * side[:, 1, 1] - side[:, 0, 1] * side[:, 1, 0]
    longest = np.sqrt(np.max(np.sum(side * side, axis=2), axis=1, initial=0.0))
    return np.asarray(np.abs(area) > NO_HEIGHT_M * longest)


def _of(
    tags: list[Tag], owner: IntArray, name: str
) -> "np.ndarray[tuple[int], np.dtype[np.object_]]":
    values = np.empty(len(tags), dtype=np.object_)
    values[:] = [getattr(tag, name) for tag in tags]
    return values[owner]
