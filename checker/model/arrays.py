"""Names for the arrays that travel between the rooms, and large ones in little room.

All arrays of one table have the same length. Missing numbers are NaN inside and null outside;
missing text is the empty string.
"""

from typing import TypeVar

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
CodeArray = npt.NDArray[np.int8]
BoolArray = npt.NDArray[np.bool_]
TextArray = npt.NDArray[np.object_]
"""Array of `str`."""
TimeArray = npt.NDArray[np.datetime64]
"""UTC, dtype datetime64[ms]; NaT where not shown."""


_T = TypeVar("_T", bound=np.generic)


def same_text(text: str, count: int) -> TextArray:
    """Return an array of so many times one text, which takes no room and cannot be written to."""
    texts: TextArray = np.broadcast_to(np.array(text, dtype=object), (count,))
    return texts


def same_number(value: float, count: int) -> FloatArray:
    """Return an array of so many times one number, which takes no room and cannot be written to."""
    return np.broadcast_to(np.float64(value), (count,))


def is_same(values: npt.NDArray[np.generic]) -> bool:
    """Return whether an array is one element many times, as the two above make them."""
    return values.ndim == 1 and values.strides == (0,) and bool(len(values))


def taken(values: npt.NDArray[_T], index: IntArray) -> npt.NDArray[_T]:
    """Return the values at the indices; what needs no room of its own takes none.

    Where the index is every place in its order the answer is the array itself, not to be written
    to; of one element many times it is that, as often as asked for.
    """
    if is_same(values):
        return np.broadcast_to(values[:1], index.shape)
    count = len(index)
    ends = count == len(values) and bool(count) and index[0] == 0 and index[-1] == count - 1
    if ends and (index[1:] > index[:-1]).all():
        itself = values.view()
        itself.flags.writeable = False
        return itself
    return values[index]
