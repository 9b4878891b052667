"""Faces of four corners that do not lie in one plane: another surface on either diagonal."""

import numpy as np

from checker.geometry.arrays import FloatArray


def split_heights(quad_m: FloatArray, xy_m: FloatArray) -> FloatArray:
    """Return the elevations over two splits of quads; shape (n, 2).

    quad_m: shape (n, 4, 3), easting, northing, elevation, convex in plan, in their order round.
    xy_m: shape (n, 2), a place in each. The first column is that of the split from the first corner
    to the third, the second that from the second to the fourth. Metres.
    """
    return np.column_stack([_along(quad_m, xy_m, first) for first in (0, 1)])


def _along(quad_m: FloatArray, xy_m: FloatArray, first: int) -> FloatArray:
    """Return elevations over the split whose diagonal begins at that corner; shape (n,)."""
    # From the diagonal's begin: seven-digit coordinates would eat the digits of the products.
    begin = quad_m[:, first]
    diagonal, one, other = (quad_m[:, (first + step) % 4] - begin for step in (2, 1, 3))
    place = xy_m - begin[:, :2]
    beside_one = _cross(diagonal, place) * _cross(diagonal, one) >= 0.0
    tip = np.where(beside_one[:, None], one, other)
    # place = a diagonal + b tip, in plan.
    area = _cross(diagonal, tip)
    a = _cross(place, tip) / area
    b = _cross(diagonal, place) / area
    return np.asarray(begin[:, 2] + a * diagonal[:, 2] + b * tip[:, 2])


def _cross(one: FloatArray, other: FloatArray) -> FloatArray:
    return np.asarray(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
