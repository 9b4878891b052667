"""Whether plane coordinates look like longitude and latitude in degrees."""

import numpy as np

from checker.geometry.arrays import FloatArray

_WIDEST_DEG = 0.5
"""A site is not wider: half a degree is some fifty kilometres."""
_ROUNDED = 1e-4
"""Degrees of a survey have more digits than this; small plans in metres have not."""


def look_geographic(xy: FloatArray) -> bool:
    """Return whether coordinates, in the unit of their file, are those of a site in degrees.

    xy: shape (points, 2), longitude and latitude in either order, or easting and northing. True
    where they lie within the bounds of degrees, away from zero, close together, and are written to
    more digits than a plan has. Common practice, no source: a hint, no proof.
    """
    xy = xy[np.isfinite(xy).all(axis=1)]
    if len(xy) < 2:
        return False
    low, high = xy.min(axis=0), xy.max(axis=0)
    largest = np.abs(xy).max(axis=0)
    within = bool(largest.max() <= 180.0 and largest.min() <= 90.0)
    close = bool(0.0 < (high - low).max() <= _WIDEST_DEG)
    away = bool(largest.min() > 1.0)
    fine = np.abs(xy - np.round(xy / _ROUNDED) * _ROUNDED) > 1e-3 * _ROUNDED
    return within and close and away and bool(np.mean(fine) > 0.5)
