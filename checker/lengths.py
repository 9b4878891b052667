"""Small lengths as text: differences, sigmas, residuals, tolerances and misclosures.

Who works in metres reads them in millimetres; who works in feet reads them in feet like everything
else (common practice, no source). Coordinates, elevations, distances and stations stay in the job's
unit, and so does every number in a file for machines. This is the one place of that rule.
"""

from dataclasses import dataclass

import numpy as np

from checker.text import fixed, signed
from checker.units import LengthUnit

DECIMALS = 3
"""Decimals of a length in the job's unit: a millimetre, or a thousandth of a foot."""
FINE_M = 0.005
"""Sigmas and tolerances below this get a tenth of a millimetre."""
LARGE_M = 1.0
"""From here on a sentence says a difference in metres: it is a blunder, not a misfit."""
_NOTHING_M = 0.00005
"""What prints as zero to a tenth of a millimetre is zero, and asks for no further digit."""
_MM_DECIMALS = 3
"""By how many places the point moves from metres to millimetres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How a small length is shown: metres in one unit shown, the unit's symbol, and decimals."""

    metres: float
    unit: str
    decimals: int


def small_scale(unit: LengthUnit, *, fine: bool = False, decimals: int = DECIMALS) -> Scale:
    """Return how a column of small lengths is shown.

    fine: sigmas or the tolerance are below `FINE_M`, so that a whole millimetre says too little.
    decimals: of the same length in the job's unit.
    """
    if unit is not LengthUnit.METRE:
        return Scale(metres=unit.metres, unit=unit.short, decimals=decimals)
    shown = max(decimals - _MM_DECIMALS, 1 if fine else 0)
    return Scale(metres=0.001, unit="mm", decimals=shown)


def spoken_scale(
    unit: LengthUnit, size_m: float, *, fine_m: float | None = None, decimals: int = DECIMALS
) -> Scale:
    """Return how a sentence shows lengths of which `size_m` is the largest in size.

    fine_m: the length that asks for a tenth of a millimetre, `size_m` where left out.
    """
    if unit is not LengthUnit.METRE or not abs(size_m) < LARGE_M:
        return Scale(metres=unit.metres, unit=unit.short, decimals=decimals)
    finest = size_m if fine_m is None else fine_m
    return small_scale(unit, fine=is_fine(finest), decimals=decimals)


def is_fine(*sizes_m: float) -> bool:
    """Tell whether any of some lengths asks for a tenth of a millimetre; zero and NaN do not."""
    return any(_NOTHING_M <= abs(size) < FINE_M * (1.0 - 1e-9) for size in sizes_m)


def small_text(
    value_m: float, unit: LengthUnit, *, decimals: int = DECIMALS, plus: bool = False
) -> str:
    """Return a small length with its unit for a sentence, ``12 mm`` or ``0.039 ft``.

    plus: with a plus sign before what prints above zero.
    """
    scale = spoken_scale(unit, float(np.abs(value_m)), decimals=decimals)
    write = signed if plus else fixed
    value = unit.from_metres(value_m) if scale.unit == unit.short else value_m / scale.metres
    return f"{write(value, scale.decimals)} {scale.unit}"
