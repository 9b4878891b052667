"""Names for the arrays that travel between the rooms.

All arrays of one table have the same length. Missing numbers are NaN inside and null outside;
missing text is the empty string.
"""

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
