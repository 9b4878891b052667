"""Names for the arrays of this room.

Positions travel as `xy_m`, shape (n, 2), easting then northing, metres: the order of drawings.
"""

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]


class GeometryError(ValueError):
    """Something that cannot be built: what was found, what was expected, and a remedy as `hint`."""

    def __init__(self, message: str, hint: str = "") -> None:
        """Keep the message and the hint apart, for the caller's Problem."""
        self.hint = hint
        super().__init__(message)


def positions(xy_m: npt.ArrayLike) -> FloatArray:
    """Return positions as an array of shape (n, 2); ValueError for any other shape."""
    xy = np.asarray(xy_m, dtype=np.float64)
    if xy.ndim == 1 and xy.size == 2:
        xy = xy[None, :]
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise ValueError(f"positions have shape {xy.shape}, expected (n, 2)")
    return xy


def ragged(counts: IntArray) -> tuple[IntArray, IntArray]:
    """Return for ragged rows of these lengths, laid end to end, each cell's row and place in it.

    counts: shape (rows,). Both answers have shape (sum of counts,).
    """
    counts = np.asarray(counts, dtype=np.int64)
    row = np.repeat(np.arange(counts.size, dtype=np.int64), counts)
    first = np.cumsum(counts) - counts
    return row, np.arange(row.size, dtype=np.int64) - first[row]
