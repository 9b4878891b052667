"""Figures of a drawing joined end to end: a curb drawn as lines and arcs is one line.

Ends closer than `JOINED_M` are one place. Where more than two ends meet, a line ends: nobody can
tell which way it goes on.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from checker.geometry.alignment import Alignment
from checker.geometry.layout import from_vertices
from checker.model.arrays import FloatArray, IntArray
from checker.model.drawing import Figure

JOINED_M = 1e-3
"""Ends of figures that are nearer than this are joined."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """Figures joined end to end, in order, run in the direction in which its longest was drawn.

    xyz_m, bulge, closed: as of a `Figure`. figures: its parts in order.
    """

    figures: tuple[Figure, ...]
    xyz_m: FloatArray
    bulge: FloatArray
    closed: bool

    @property
    def name(self) -> str:
        """What messages call it: layer, kind and handle of its first figure."""
        more = len(self.figures) - 1
        text = figure_name(self.figures[0])
        return f"{text} and {more} more" if more else text

    def course(self) -> Alignment:
        """Return it as lines and arcs; GeometryError where it has no length."""
        return from_vertices(self.xyz_m[:, :2], self.bulge, closed=self.closed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """The chains of some figures, and the places where more than two ends meet.

    branches: indices into `figures` of those that meet at a place, one tuple a place.
    """

    chains: tuple[Chain, ...]
    branches: tuple[tuple[int, ...], ...]


def figure_name(figure: Figure) -> str:
    """Return what a message calls a figure."""
    return f"layer {figure.layer}, {figure.kind} {figure.handle}".rstrip()


def reversed_figure(figure: Figure) -> Figure:
    """Return the same course drawn the other way."""
    bulge = -figure.bulge[::-1]
    # The bulge stands at the vertex where its segment begins.
    return replace(figure, xyz_m=figure.xyz_m[::-1], bulge=np.roll(bulge, -1))


def has_length(figure: Figure) -> bool:
    """Tell whether a figure has two vertices that differ in plan."""
    plan = figure.xyz_m[:, :2]
    return len(plan) > 1 and bool(np.any(np.hypot(*(plan - plan[0]).T) > 1e-9))


def join_figures(figures: Sequence[Figure]) -> Joined:
    """Return the figures joined end to end; those without a length are left out."""
    real = [index for index, figure in enumerate(figures) if has_length(figure)]
    loose = [index for index in real if not figures[index].closed]
    node = _nodes(np.array([_ends(figures[index]) for index in loose]).reshape(-1, 2))
    at: dict[int, list[tuple[int, int]]] = {}
    for place, where in enumerate(node.tolist()):
        at.setdefault(where, []).append((loose[place // 2], place % 2))
    node_of = {index: (int(node[2 * i]), int(node[2 * i + 1])) for i, index in enumerate(loose)}
    found = {index: _chain([figures[index]]) for index in real if figures[index].closed}
    used: set[int] = set()
    for index in loose:
        if index not in used:
            found[index] = _walk(figures, index, node_of, at, used)
    branches = tuple(
        tuple(dict.fromkeys(index for index, _ in meeting))
        for meeting in at.values()
        if len(meeting) > 2
    )
    return Joined(chains=tuple(found[index] for index in sorted(found)), branches=branches)


def _ends(figure: Figure) -> FloatArray:
    return figure.xyz_m[[0, -1], :2]


def _nodes(ends_m: FloatArray) -> IntArray:
    """Return for every end which place it stands at; shape (ends,)."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import KDTree

    count = len(ends_m)
    if not count:
        return np.empty(0, dtype=np.int64)
    pairs = KDTree(ends_m).query_pairs(JOINED_M, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    return np.asarray(label, dtype=np.int64)


def _walk(
    figures: Sequence[Figure],
    start: int,
    node_of: dict[int, tuple[int, int]],
    at: dict[int, list[tuple[int, int]]],
    used: set[int],
) -> Chain:
    """Return the chain through a figure: forwards from its end, then backwards from its start."""
    used.add(start)
    ahead = _follow(start, node_of[start][1], node_of, at, used)
    behind = _follow(start, node_of[start][0], node_of, at, used)
    parts = [(index, not forwards) for index, forwards in reversed(behind)]
    parts += [(start, True), *ahead]
    longest = max(parts, key=lambda part: _length(figures[part[0]]))
    if not longest[1]:
        parts = [(index, not forwards) for index, forwards in reversed(parts)]
    return _chain(
        [
            figures[index] if forwards else reversed_figure(figures[index])
            for index, forwards in parts
        ]
    )


def _follow(
    index: int,
    place: int,
    node_of: dict[int, tuple[int, int]],
    at: dict[int, list[tuple[int, int]]],
    used: set[int],
) -> list[tuple[int, bool]]:
    """Return the figures met from a place onwards, and whether each is met at its start."""
    found: list[tuple[int, bool]] = []
    while len(at[place]) == 2:
        others = [each for each in at[place] if each[0] != index]
        if not others or others[0][0] in used:
            break
        index, end = others[0]
        used.add(index)
        found.append((index, end == 0))
        place = node_of[index][1 - end]
    return found


def _length(figure: Figure) -> float:
    chord = np.hypot(*np.diff(figure.xyz_m[:, :2], axis=0).T)
    half = 2.0 * np.arctan(np.abs(figure.bulge[: len(chord)]))
    return float(np.sum(chord / np.sinc(half / np.pi)))


def _chain(parts: list[Figure]) -> Chain:
    """Return a chain of figures that already run one way."""
    if parts[0].closed:
        only = parts[0]
        return Chain(figures=(only,), xyz_m=only.xyz_m, bulge=only.bulge, closed=True)
    xyz = [part.xyz_m[:-1] for part in parts]
    bulge = [part.bulge[: len(part.xyz_m) - 1] for part in parts]
    last = parts[-1].xyz_m[-1:]
    closed = bool(np.hypot(*(last[0, :2] - parts[0].xyz_m[0, :2])) <= JOINED_M)
    closed &= sum(map(len, xyz)) > 1
    if not closed:
        xyz.append(last)
        bulge.append(np.zeros(1))
    return Chain(
        figures=tuple(parts),
        xyz_m=np.concatenate(xyz),
        bulge=np.concatenate(bulge),
        closed=closed,
    )
