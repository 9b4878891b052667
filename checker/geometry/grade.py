"""How far out a slope stake stands.

Common practice of the trade, no source; the worked examples it is checked against stand in
tests/published/geometry.
"""

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray


def slope_stake_offset(
    half_base_m: npt.ArrayLike, slope: npt.ArrayLike, cut_m: npt.ArrayLike
) -> FloatArray:
    """Return how far out a slope stake stands for the cut or fill found at it: d = b/2 + s |h|.

    The height is that at the stake, not at the centre line: move until both agree.
    """
    height = np.abs(np.asarray(cut_m, dtype=np.float64))
    return np.asarray(np.asarray(half_base_m, dtype=np.float64) + np.asarray(slope) * height)
