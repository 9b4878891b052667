"""Numbers for the data files without the digits that are only noise of the arithmetic.

A library of linear algebra adds in another order from one version, or one processor, to the next,
and the sixteenth digit of what it gives moves with that. No instrument and no limit knows such a
digit: a file that held it would differ from the same file made elsewhere, for nothing. Cut off,
what was read as 511956.996 ft is 511956.996 in the files, too.
"""

import math

import numpy as np

from checker.model.arrays import FloatArray

DIGITS = 12
"""Significant digits that are always kept."""
DECIMALS = 9
"""Decimals that are always kept: a nanometre, a millionth of the guard of the judgement."""

_LOWEST, _HIGHEST = -500, 64
"""Binary exponents with a scale of their own; smaller numbers lose digits, larger have no noise."""
_EXACT = 2.0**53
_EXACT_SCALE = 1e22
"""No larger power of ten is a double: dividing by it would itself leave noise."""


def _scale(exponent: int) -> float:
    # 2**(exponent - 1) is the smallest number with it
    leading = math.floor((exponent - 1) * math.log10(2.0))
    return 10.0 ** max(DECIMALS, DIGITS - 1 - leading)


_SCALES = np.array([_scale(exponent) for exponent in range(_LOWEST, _HIGHEST + 1)])


def settled(values: FloatArray) -> FloatArray:
    """Return values with `DIGITS` significant digits or `DECIMALS` decimals, whichever is more.

    Shape as given. What is not finite, has no further digits in a double, or is smaller than any
    size of the trade (1e-11), stays as it is; a zero has no sign.
    """
    scale = _SCALES[np.clip(np.frexp(values)[1], _LOWEST, _HIGHEST) - _LOWEST]
    with np.errstate(over="ignore"):
        scaled = values * scale
    keeps = (np.abs(scaled) < _EXACT) & (scale <= _EXACT_SCALE)
    return np.where(keeps, np.rint(scaled) / scale, values) + 0.0
