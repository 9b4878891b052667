"""The nearest of many places, by a tree of boxes.

Positions have shape (n, 2), in any one unit and order of axes; distances are in that unit.
"""

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, IntArray


def nearest(places: FloatArray, queries: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return for every query how far the nearest place is, and which; shape (queries,).

    places must hold at least one. Of places equally near one is taken.
    """
    import shapely

    pair, distance = shapely.STRtree(_points(places)).query_nearest(
        _points(queries), return_distance=True, all_matches=False
    )
    return distance, pair[1]


def nearest_other(places: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return for every place how far the nearest other one is, and which; shape (places,).

    places must hold at least two, no two of them the same.
    """
    import shapely

    points = _points(places)
    pair, distance = shapely.STRtree(points).query_nearest(
        points, return_distance=True, all_matches=False, exclusive=True
    )
    return distance, pair[1]


def neighbours_within(places: FloatArray, reach: float) -> IntArray:
    """Return for every place how many places stand within `reach`, itself included; (places,)."""
    import shapely

    points = _points(places)
    pair = shapely.STRtree(points).query(points, predicate="dwithin", distance=reach)
    return np.bincount(pair[0], minlength=len(places))


def _points(places: FloatArray) -> npt.NDArray[np.object_]:
    import shapely

    return np.asarray(shapely.points(places), dtype=np.object_)
