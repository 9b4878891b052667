"""Blocks taken apart: what stands in them, in world coordinates.

Every INSERT is followed, nested ones too, with the exact affine map; nothing is sampled. Before a
single block is taken apart it is known how much there is, so that a drawing whose blocks hold each
other, or multiply without end, is refused by the name of the block.

A block reference becomes design points in one of two ways. With an attribute that holds a point
number it is a point symbol, and its insertion point is the design point. Otherwise every POINT in
it is a design point where it comes to lie.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from checker.errors import Problem, Where
from checker.model.arrays import FloatArray
from checker.model.job import Labels
from checker.read.dxf_entities import COORDINATE_LIMIT, Reference, Space, Tag, Text, Xyz
from checker.read.dxf_geometry import Curve, Straight, moved

MAX_DEPTH: Final = 40
MAX_REFERENCES: Final = 200_000
MAX_ENTITIES: Final = 2_000_000
MAX_VERTICES: Final = 20_000_000
_OFF: Final = "are no place on Earth"

_LIMITS: Final = (MAX_REFERENCES, MAX_ENTITIES, MAX_VERTICES)
_ITSELF: Final = np.array((1.0, 0.0, 0.0))
_WHAT: Final = ("block references", "entities in blocks", "vertices in blocks")

NUMBER_TAGS: Final = (
    "POINTNUMBER", "POINTNO", "POINTNR", "POINTNUM", "POINTID", "PTNUMBER", "PTNO", "PTNUM",
    "PTID", "PNO", "PNTNO", "PNT", "PT", "POINT", "NUMBER", "NUM", "NO", "NR", "ID", "NAME",
    "POINTNAME", "PTNAME", "STAKE", "STAKENO", "STAKEID",
)  # fmt: skip
"""Attribute tags that usually hold a point's number, without blanks and marks; common practice."""
ELEVATION_TAGS: Final = frozenset(("ELEV", "ELEVATION", "EL", "Z", "HEIGHT", "LEVEL", "RL"))
DESCRIPTION_TAGS: Final = (
    "DESC", "DESCRIPTION", "CODE", "REMARK", "REMARKS", "NOTE", "POINTCODE",
)  # fmt: skip
_NUMBER_RANK: Final = {name: rank for rank, name in enumerate(NUMBER_TAGS)}
_MARKS = re.compile(r"[\s_.#:-]+")
_NUMERIC = re.compile(r"[+-]?\d+(?:\.\d*)?|[+-]?\.\d+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A block's definition. base: shape (3,). external: the file that it only refers to, or ""."""

    name: str
    base: FloatArray
    space: Space
    external: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedPoint:
    """A design point from a block. id is "" where no attribute gave one.

    root: which reference of model space it comes from. symbol: the block's name where the
    reference itself is the point. stated_elevation: the elevation attribute's number, or NaN.
    """

    place: Xyz
    id: str
    description: str
    layer: str
    handle: str
    root: int
    symbol: str = ""
    stated_elevation: float = float("nan")


@dataclass(slots=True)
class Exploded:
    """Everything that stands in the blocks of model space, in world coordinates.

    texts, curves and quads come with the index of the reference of model space that brought them;
    quads are of whole blocks, shape (faces, 4, 3), with the tag of every face.
    """

    points: list[PlacedPoint] = field(default_factory=list)
    texts: list[tuple[int, Text]] = field(default_factory=list)
    curves: list[tuple[int, Tag, Curve | Straight]] = field(default_factory=list)
    quads: list[tuple[int, list[Tag], FloatArray]] = field(default_factory=list)
    unused: dict[tuple[str, str], int] = field(default_factory=dict)
    broken: list[tuple[str, Tag, str]] = field(default_factory=list)
    missing: dict[str, int] = field(default_factory=dict)
    external: dict[str, str] = field(default_factory=dict)
    clipped: dict[str, int] = field(default_factory=dict)
    groups: dict[str, int] = field(default_factory=dict)
    mirrored: dict[str, int] = field(default_factory=dict)
    scaled: dict[str, float] = field(default_factory=dict)
    reversed_: dict[str, int] = field(default_factory=dict)
    stretched: dict[str, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def normal_tag(tag: str) -> str:
    """Return an attribute's tag as the lists here spell it."""
    return _MARKS.sub("", tag).upper()


def number(text: str) -> float:
    """Return a plain decimal number, NaN for any other text."""
    return float(text) if _NUMERIC.fullmatch(text) else float("nan")


def explode(
    model: Space, find: Callable[[str], Block | None], file: str, labels: Labels
) -> Exploded:
    """Take all references of model space apart.

    find: returns the block of a name, or None. labels: names the attributes that hold the number
    and the elevation, else any usual one. The outcome's problems say what cannot be taken apart.
    """
    worker = _Worker(find, file, labels)
    for reference in model.references:
        worker.weigh(reference)
    if not worker.out.problems:
        for root, reference in enumerate(model.references):
            worker.place(reference, np.eye(4), reference.tag.layer, reference.tag.handle, root)
    return worker.out


class _Worker:
    def __init__(self, find: Callable[[str], Block | None], file: str, labels: Labels) -> None:
        self._find = find
        self._file = file
        self._attribute = normal_tag(labels.attribute) if labels.attribute else None
        named = labels.elevation_attribute
        self._elevation = frozenset((normal_tag(named),)) if named else ELEVATION_TAGS
        self._weights: dict[str, FloatArray] = {}
        self._refused: set[str] = set()
        self._faces: dict[str, FloatArray] = {}
        self._total = np.zeros(3)
        self.out = Exploded()

    def weigh(self, reference: Reference) -> None:
        """Add what the reference will come to; refuse what has no end or is too much."""
        held = self._weight(reference.block, ())
        self._total += reference.cells * (held + _ITSELF)
        for count, each, limit, what in zip(
            self._total.tolist(), held.tolist(), _LIMITS, _WHAT, strict=True
        ):
            if count > limit and not self.out.problems:
                self._refuse(
                    "block-count",
                    reference.tag,
                    f'with block "{reference.block}" ({reference.cells:,} times, each holding '
                    f"{each:,.0f} {what}) the drawing comes to {count:,.0f} {what}; at most "
                    f"{limit:,} are read",
                    f'erase or thin out what block "{reference.block}" repeats, or export only the '
                    "layers that are staked",
                )

    def _weight(self, name: str, trail: tuple[str, ...]) -> FloatArray:
        """Return how many references, entities and vertices a block comes to."""
        key = name.casefold()
        if key in self._weights:
            return self._weights[key]
        block = self._find(name)
        if block is None or key in self._refused:
            return np.zeros(3)
        inside = (*trail, name)
        if len(inside) > MAX_DEPTH:
            self._refused.add(key)
            self._refuse(
                "block-depth",
                None,
                f'blocks are nested more than {MAX_DEPTH} deep, at block "{name}"',
                f'explode block "{name}" once where it was drawn, and export again',
            )
            return np.zeros(3)
        # As floating numbers, which do not overflow however much blocks multiply each other.
        held = np.array((0.0, block.space.size, block.space.vertices))
        for reference in block.space.references:
            above = [link.casefold() for link in inside]
            if reference.block.casefold() in above:
                chain = [*inside[above.index(reference.block.casefold()) :], reference.block]
                if key in self._refused:
                    continue
                self._refused.add(key)
                self._refuse(
                    "block-recursion",
                    reference.tag,
                    f'block "{reference.block}" holds itself: '
                    + " holds ".join(f'"{link}"' for link in chain),
                    f'redefine block "{block.name}" without the reference to '
                    f'"{reference.block}", and export again',
                )
                continue
            held = held + reference.cells * (self._weight(reference.block, inside) + _ITSELF)
        self._weights[key] = held
        return held

    def _refuse(self, slug: str, tag: Tag | None, message: str, hint: str) -> None:
        where = Where(file=self._file, part=str(tag) if tag else None)
        self.out.problems.append(Problem(slug=slug, where=where, message=message, hint=hint))

    def place(
        self, reference: Reference, outer: FloatArray, layer: str, handle: str, root: int
    ) -> None:
        """Place every cell of a reference; outer: shape (4, 4), where it stands, to world."""
        out, name = self.out, reference.block
        if reference.clipped:
            out.clipped[name] = out.clipped.get(name, 0) + 1
        block = self._find(name)
        if block is None:
            out.missing[name] = out.missing.get(name, 0) + 1
        elif block.external:
            out.external[name] = block.external
        rank, given = self._numbered(reference)
        if rank is not None and block is not None and _count_points(block) > 1:
            # More than one POINT: a group of points under one name, not the symbol of one point.
            out.groups[name] = out.groups.get(name, 0) + 1
            rank = None
        cell = 0
        for row in range(reference.rows):
            for column in range(reference.columns):
                own = reference.first.copy()
                own[:3, 3] += row * reference.row + column * reference.column
                with np.errstate(all="ignore"):
                    matrix = outer @ own
                if not (np.abs(matrix) < COORDINATE_LIMIT).all():
                    tag = Tag("INSERT", layer, handle)
                    out.broken.append(("", tag, f"its scale and place {_OFF}"))
                    return
                mark = handle if cell == 0 else f"{handle}[{cell + 1}]"
                cell += 1
                if rank is not None:
                    out.points.append(
                        _symbol(
                            reference,
                            matrix,
                            Tag(reference.block, layer, mark),
                            root,
                            given if cell == 1 else "",
                            self._elevation,
                        )
                    )
                if block is not None:
                    self._content(block, matrix, layer, mark, root, symbol=rank is not None)

    def _numbered(self, reference: Reference) -> tuple[int | None, str]:
        """Return the rank of the attribute that holds the point's number, and the number."""
        best: tuple[int, str] | None = None
        for tag, value in reference.attributes:
            name = normal_tag(tag)
            if self._attribute is None:
                rank = _NUMBER_RANK.get(name)
            else:
                rank = 0 if name == self._attribute else None
            # A filled attribute goes before an empty one, then the more usual tag.
            if rank is not None:
                rank += 0 if value else len(NUMBER_TAGS)
                if best is None or rank < best[0]:
                    best = (rank, value)
        return (None, "") if best is None else best

    def _content(
        self, block: Block, placed: FloatArray, layer: str, handle: str, root: int, *, symbol: bool
    ) -> None:
        out, space = self.out, block.space
        matrix = placed.copy()
        matrix[:3, 3] -= matrix[:3, :3] @ block.base
        if not symbol and space.points:
            plan = float(np.linalg.det(matrix[:2, :2]))
            if plan < 0.0:
                out.mirrored[block.name] = out.mirrored.get(block.name, 0) + 1
            if abs(abs(plan) - 1.0) > 1e-9:
                out.scaled[block.name] = math.sqrt(abs(plan))
            for inner_place, tag in zip(space.points, space.point_tags, strict=True):
                place = mapped(matrix, inner_place)
                if max(map(abs, place)) >= COORDINATE_LIMIT:
                    out.broken.append((block.name, tag, f"the coordinates {place} {_OFF}"))
                    continue
                out.points.append(
                    PlacedPoint(
                        place=place,
                        id="",
                        description="",
                        layer=_layer(tag, layer),
                        handle=f"{handle}/{tag.handle}",
                        root=root,
                    )
                )
        if space.curves or space.quads:
            _note_shape(out, block.name, matrix)
        for text in space.texts:
            tag = Tag(text.tag.kind, _layer(text.tag, layer), f"{handle}/{text.tag.handle}")
            out.texts.append((root, Text(tag, mapped(matrix, text.place), text.lines)))
        for tag, curve in space.curves:
            own = Tag(tag.kind, _layer(tag, layer), f"{handle}/{tag.handle}")
            out.curves.append((root, own, moved(curve, matrix)))
        if space.quads:
            tags = [Tag(t.kind, _layer(t, layer), f"{handle}/{t.handle}") for t in space.quad_tags]
            quads = self._quads(block) @ matrix[:3, :3].T + matrix[:3, 3]
            out.quads.append((root, tags, quads))
        for tag in space.others:
            key = (block.name, tag.kind)
            out.unused[key] = out.unused.get(key, 0) + 1
        out.broken.extend((block.name, tag, said) for tag, said in space.broken)
        for inner in space.references:
            self.place(
                inner, matrix, _layer(inner.tag, layer), f"{handle}/{inner.tag.handle}", root
            )

    def _quads(self, block: Block) -> FloatArray:
        key = block.name.casefold()
        if key not in self._faces:
            self._faces[key] = np.array(block.space.quads, dtype=np.float64).reshape(-1, 4, 3)
        return self._faces[key]


def _note_shape(out: Exploded, name: str, matrix: FloatArray) -> None:
    (a, b), (c, d) = matrix[:2, :2].tolist()
    if a * d - b * c < 0.0:
        out.reversed_[name] = out.reversed_.get(name, 0) + 1
    along, across = math.hypot(a, c), math.hypot(b, d)
    if abs(along - across) > 1e-6 * max(along, across):
        out.stretched[name] = out.stretched.get(name, 0) + 1


def mapped(matrix: FloatArray, place: Xyz) -> Xyz:
    """Return a place under an affine map; heights that are zero but for rounding are zero."""
    x, y, z = (matrix[:3, :3] @ np.array(place) + matrix[:3, 3]).tolist()
    return (x, y, 0.0 if abs(z) < 1e-9 else z)


def _layer(tag: Tag, outer: str) -> str:
    """Layer 0 inside a block is the layer of the reference."""
    return outer if tag.layer == "0" else tag.layer


def _count_points(block: Block) -> int:
    return len(block.space.points)


def _symbol(
    reference: Reference,
    matrix: FloatArray,
    tag: Tag,
    root: int,
    given: str,
    elevation: frozenset[str],
) -> PlacedPoint:
    values = {normal_tag(tag): value for tag, value in reversed(reference.attributes)}
    descriptions = [values[name] for name in DESCRIPTION_TAGS if values.get(name)]
    stated = [
        number(values[name].replace(",", ".", 1)) for name in sorted(elevation & values.keys())
    ]
    stated = [value for value in stated if not math.isnan(value)]
    x, y, z = matrix[:3, 3].tolist()
    return PlacedPoint(
        place=(x, y, 0.0 if abs(z) < 1e-9 else z),
        id=given,
        description=descriptions[0] if descriptions else "",
        layer=tag.layer,
        handle=tag.handle,
        root=root,
        symbol=reference.block,
        stated_elevation=stated[0] if stated else float("nan"),
    )
