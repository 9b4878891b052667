"""The figure that encloses points, and how far others lie outside it."""

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, positions


def hull(xy_m: npt.ArrayLike) -> FloatArray:
    """Return the corners of the convex figure around points, counter-clockwise, shape (k, 2).

    xy_m: shape (n, 2). One corner where all points are in one place, the two ends where they lie in
    a line. By the monotone chain (common practice, no source).
    """
    xy = np.unique(positions(xy_m), axis=0)
    if len(xy) < 3:
        return xy

    def chain(points: FloatArray) -> list[FloatArray]:
        kept: list[FloatArray] = []
        for point in points:
            while len(kept) > 1 and _turn(kept[-2], kept[-1], point) <= 0.0:
                kept.pop()
            kept.append(point)
        return kept

    return np.array(chain(xy)[:-1] + chain(xy[::-1])[:-1])


def _turn(a: FloatArray, b: FloatArray, c: FloatArray) -> float:
    """Return twice the area of the triangle a b c, + counter-clockwise."""
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def outside_by(corner_m: npt.ArrayLike, xy_m: npt.ArrayLike) -> FloatArray:
    """Return how far points lie outside a convex figure, 0 on or inside it; shape (n,), metres.

    corner_m: its corners counter-clockwise, as `hull` gives them; one corner or two are a point or
    a line, outside which all else lies. xy_m: shape (n, 2).
    """
    corner, xy = positions(corner_m), positions(xy_m)
    start, end = corner, np.roll(corner, -1, axis=0)
    distance = np.full(len(xy), np.inf)
    inside = np.full(len(xy), len(corner) > 2)
    for a, b in zip(start, end, strict=True):
        edge, away = b - a, xy - a
        inside &= edge[0] * away[:, 1] - edge[1] * away[:, 0] >= 0.0
        size = float(edge @ edge)
        along = np.clip(away @ edge / size, 0.0, 1.0) if size else np.zeros(len(xy))
        gap = away - along[:, None] * edge
        distance = np.minimum(distance, np.hypot(gap[:, 0], gap[:, 1]))
    return np.where(inside, 0.0, distance)
