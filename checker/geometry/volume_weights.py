"""How cut and fill depend on each as-measured height.

The volume between two surfaces is linear in the heights of the corners wherever the signs of the
differences stay: its derivative by one corner's height is the integral, over the cut (or the fill),
of that corner's share in the elevation, which is 1 at the corner and 0 at the others. The line
where the surfaces meet moves with the heights, but the difference is 0 on it. With independent
heights the variance of the volume is the sum of (derivative x sigma)^2 (propagation of variances,
common practice, no source).
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, positions
from checker.geometry.surface import Surface
from checker.geometry.volume import clip, cut_to_rings, height_on, integrate, planes_of, touching

_PAIRS_AT_ONCE = 50_000


def corner_weights(
    measured: Surface, design: Surface, rings_m: Sequence[npt.ArrayLike] | None = None
) -> FloatArray:
    """Return the derivatives of cut and of net volume by corner heights, m3 per m.

    Shape (2, t, 3): cut, then cut less fill, for the corners of each triangle of `measured` in its
    own order. Takes the same surfaces and rings as `volume.volume_between`.
    """
    origin = design.origin_m
    ours = measured.triangles_m
    ours[:, :, :2] -= origin
    theirs = design.corner_m
    rings = None if rings_m is None else [positions(ring) - origin for ring in rings_m]
    weights = np.zeros((2, len(ours), 3))
    first, second = touching(ours[:, :, :2], theirs[:, :, :2])
    for start in range(0, first.size, _PAIRS_AT_ONCE):
        chunk = slice(start, start + _PAIRS_AT_ONCE)
        _add(weights, first[chunk], ours[first[chunk]], theirs[second[chunk]], rings)
    return weights


def _add(
    weights: FloatArray,
    triangle: npt.NDArray[np.int64],
    ours: FloatArray,
    theirs: FloatArray,
    rings: list[FloatArray] | None,
) -> None:
    """Add what pairs of triangles contribute.

    A polygon travels as (n, vertices, 6): easting, northing, difference of elevation, and the
    shares of the three corners.
    """
    base = theirs[:, :1, :2].copy()
    theirs = theirs.copy()
    theirs[:, :, :2] -= base
    polygon = np.zeros((len(ours), 3, 6))
    polygon[:, :, :3] = ours
    polygon[:, :, :2] -= base
    polygon[:, :, 2] -= height_on(planes_of(theirs), polygon)
    polygon[:, :, 3:] = np.eye(3)
    count = np.full(len(polygon), 3, dtype=np.int64)
    for side in range(3):
        a, b = theirs[:, side, :2], theirs[:, (side + 1) % 3, :2]
        run = b - a
        normal = np.column_stack((-run[:, 1], run[:, 0])) / np.hypot(run[:, 0], run[:, 1])[:, None]
        away = np.einsum("nvk,nk->nv", polygon[:, :, :2] - a[:, None], normal)
        polygon, count = clip(polygon, count, away)
        keep = count > 2
        polygon, count, theirs = polygon[keep], count[keep], theirs[keep]
        base, triangle = base[keep], triangle[keep]
    sign = np.ones(len(polygon))
    if rings is not None and len(polygon):
        # The pieces' own triangle travels along as a further coordinate.
        carried = np.empty((*polygon.shape[:2], 7))
        carried[:, :, :6] = polygon
        carried[:, :, 6] = triangle[:, None]
        carried, count, sign = cut_to_rings(carried, count, base[:, 0], rings)
        keep = count > 2
        carried, count, sign = carried[keep], count[keep], sign[keep]
        polygon, triangle = carried[:, :, :6], np.rint(carried[:, 0, 6]).astype(np.int64)
    cut, _ = clip(polygon, count, polygon[:, :, 2])
    for which, part in ((0, cut), (1, polygon)):
        for corner in range(3):
            _, value = integrate(part[:, :, [0, 1, 3 + corner]])
            np.add.at(weights[which, :, corner], triangle, sign * value)
