"""The nearest of many places: by square cells, and by a tree of boxes where these do not tell.

Positions have shape (n, 2), in any one unit and order of axes; distances are in that unit.
"""

from typing import Final

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, IntArray

_CROWDED: Final = 100
"""So many places for each query in the cells about it are too many: then they are heaped."""


def nearest(places: FloatArray, queries: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return for every query how far the nearest place is, and which; shape (queries,).

    places must hold at least one. Of places equally near one is taken.
    """
    return _nearest(places, queries, exclusive=False)


def nearest_other(places: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return for every place how far the nearest other one is, and which; shape (places,).

    places must hold at least two, no two of them the same.
    """
    return _nearest(places, places, exclusive=True)


def _nearest(
    places: FloatArray, queries: FloatArray, *, exclusive: bool
) -> tuple[FloatArray, IntArray]:
    distance, near = _in_cells(places, queries, exclusive=exclusive)
    left = np.flatnonzero(near < 0)
    if left.size:
        import shapely

        pair, distance[left] = shapely.STRtree(_points(places)).query_nearest(
            _points(queries[left]), return_distance=True, all_matches=False, exclusive=exclusive
        )
        near[left] = pair[1]
    return distance, near


def _in_cells(
    places: FloatArray, queries: FloatArray, *, exclusive: bool
) -> tuple[FloatArray, IntArray]:
    """Return the nearest place and its distance as far as the nine cells about a query tell.

    -1 where they do not: where none of them holds a place as near as one side of a cell, beyond
    which a nearer one might stand. exclusive: a place is not its own neighbour.
    """
    count = len(queries)
    distance, near = np.full(count, np.inf), np.full(count, -1, dtype=np.int64)
    low = places.min(axis=0)
    span = places.max(axis=0) - low
    # a little more than one place in every cell, and no more cells than a few for every place
    side = float(max(1.25 * np.sqrt(span[0] * span[1] / len(places)), span.max() / len(places)))
    if not 0.0 < side < np.inf:
        return distance, near
    last = np.floor(span / side).astype(np.int64)
    # A rim of two empty cells lets every query look at all nine.
    wide = int(last[1]) + 5
    cell = np.clip(np.floor((places - low) / side), 0, last).astype(np.int64)
    key = (cell[:, 0] + 2) * wide + cell[:, 1] + 2
    order = np.argsort(key, kind="stable")
    begin = np.zeros((int(last[0]) + 5) * wide + 1, dtype=np.int64)
    np.cumsum(np.bincount(key, minlength=len(begin) - 1), out=begin[1:])
    exact = np.floor((queries - low) / side)
    own = np.clip(exact, -1, last + 1).astype(np.int64)
    middle = (own[:, 0] + 2) * wide + own[:, 1] + 2
    rows = [middle + step * wide for step in (-1, 0, 1)]
    spans = [(begin[row - 1], begin[row + 2]) for row in rows]
    if sum(int((end - first).sum()) for first, end in spans) > _CROWDED * count:
        return distance, near
    best = np.full(count, np.inf)
    for first, end in spans:
        many = end - first
        query = np.repeat(np.arange(count), many)
        step = np.arange(len(query)) - np.repeat(np.cumsum(many) - many, many)
        place = order[step + np.repeat(first, many)]
        away = places[place] - queries[query]
        square = away[:, 0] * away[:, 0] + away[:, 1] * away[:, 1]
        if exclusive:
            square[place == query] = np.inf
        before = best.copy()
        np.minimum.at(best, query, square)
        nearer = (square == best[query]) & (square < before[query])
        near[query[nearer]] = place[nearer]
    distance[:] = np.sqrt(best)
    inside = (exact == own).all(axis=1)
    near[~inside | ~(distance <= side * (1.0 - 1e-9))] = -1
    return distance, near


def neighbours_within(places: FloatArray, reach: float) -> IntArray:
    """Return for every place how many places stand within `reach`, itself included; (places,)."""
    import shapely

    points = _points(places)
    pair = shapely.STRtree(points).query(points, predicate="dwithin", distance=reach)
    return np.bincount(pair[0], minlength=len(places))


def _points(places: FloatArray) -> npt.NDArray[np.object_]:
    import shapely

    return np.asarray(shapely.points(places), dtype=np.object_)
