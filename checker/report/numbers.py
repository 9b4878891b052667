"""Model numbers as the outputs give them: in the job's unit, in degrees, and as columns of text.

The only place where metres and radians are converted on the way out. Rounding is `checker.text`'s.
"""

from dataclasses import dataclass

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.measure import Quantity
from checker.text import MISSING, fixed
from checker.units import LengthUnit

LENGTH_DECIMALS = 3
"""Decimals of coordinates and deltas: a millimetre, or a thousandth of a foot."""

_LENGTHS = frozenset(
    {
        Quantity.COORDINATE,
        Quantity.LENGTH,
        Quantity.FINE,
        Quantity.DISTANCE,
        Quantity.STATION,
        Quantity.CUT_FILL,
    }
)
_ANGLES = frozenset({Quantity.ANGLE, Quantity.SMALL_ANGLE})
_PLAIN_DECIMALS = {
    Quantity.RATIO: 0,
    Quantity.GRADE: 2,
    Quantity.PROBABILITY: 3,
    Quantity.SHARE: 3,
    Quantity.PPM: 1,
    Quantity.HOURS: 2,
    Quantity.NUMBER: 3,
    Quantity.COUNT: 0,
}
_PLAIN_UNITS = {
    Quantity.GRADE: "%",
    Quantity.RATIO: "1:N",
    Quantity.PPM: "ppm",
    Quantity.HOURS: "h",
}


def fixed_column(values: FloatArray, decimals: int, *, missing: str = MISSING) -> list[str]:
    """Return `checker.text.fixed` of every value, for columns of many thousand; shape (rows,)."""
    if not len(values):
        return []
    shown = rounded(values, decimals)
    texts = ((f"%.{decimals}f\n" * len(values)) % tuple(shown.tolist())).split("\n")
    texts.pop()
    for index in np.flatnonzero(~np.isfinite(shown)).tolist():
        texts[index] = fixed(float(values[index]), decimals, missing=missing)
    return texts


def rounded(values: FloatArray, decimals: int) -> FloatArray:
    """Return values as `checker.text.fixed` rounds them, never -0.0; shape as given.

    What has no such digit left, and what is not finite, stays as it is.
    """
    scale = 10.0**decimals
    finite = np.isfinite(values)
    with np.errstate(over="ignore"):
        scaled = np.abs(np.where(finite, values, 0.0)) * scale
    odd = ~finite | (scaled >= 2.0**53)
    scaled[odd] = 0.0
    units = np.floor(scaled + 0.5 + np.maximum(1e-6, 4.0 * np.spacing(scaled)))
    shown: FloatArray = np.where((values < 0) & (units > 0), -units, units) / scale
    return np.where(odd, values, shown) if odd.any() else shown


def station_texts(
    values_m: FloatArray, unit: LengthUnit, digits: int = 0, *, missing: str = MISSING
) -> list[str]:
    """Return stations as they stand on stakes: 10+00.00 in feet, 0+100.000 in metres.

    values_m: shape (rows,). digits: behind the plus, two are hundreds, three are thousands; 0: as
    the unit has it.
    """
    decimals = 3 if unit is LengthUnit.METRE else 2
    digits = digits or decimals
    if np.isnan(values_m).all():
        return [missing] * len(values_m)
    texts = []
    for text in fixed_column(unit.from_metres(values_m), decimals, missing=""):
        if not text:
            texts.append(missing)
            continue
        sign = "-" if text[0] == "-" else ""
        whole, _, part = text.removeprefix("-").partition(".")
        whole = whole.zfill(digits + 1)
        texts.append(f"{sign}{whole[:-digits]}+{whole[-digits:]}.{part}")
    return texts


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """How model numbers are given outside: lengths in `unit`, angles in degrees or arc seconds.

    A key that ends in ``_arcsec`` is in arc seconds; every other angle is in decimal degrees.
    station_digits: behind the plus of a station; 0: as the unit has it.
    """

    unit: LengthUnit
    station_digits: int = 0

    @property
    def lath_decimals(self) -> int:
        """Decimals on the lath: hundredths of a foot, millimetres."""
        return 3 if self.unit is LengthUnit.METRE else 2

    def convert(self, quantity: Quantity, key: str, values: FloatArray) -> FloatArray:
        """Return model values in the unit that `unit_name` names; shape as given."""
        if quantity in _LENGTHS:
            return self.unit.from_metres(values)
        if quantity is Quantity.AREA:
            return self.unit.from_metres(self.unit.from_metres(values))
        if quantity is Quantity.VOLUME:
            return values / self.unit.metres**3
        if quantity is Quantity.GRADE:
            return values * 100.0
        if quantity in _ANGLES:
            degrees: FloatArray = np.degrees(values)
            return degrees * 3600.0 if key.endswith("_arcsec") else degrees
        return values

    def one(self, quantity: Quantity, key: str, value: float) -> float:
        """Return `convert` of one value."""
        return float(self.convert(quantity, key, np.asarray([value], dtype=np.float64))[0])

    def unit_name(self, quantity: Quantity, key: str) -> str | None:
        """Return the unit's short name for files: ft, m, ft², deg, arcsec ...; None where none."""
        if quantity in _LENGTHS:
            return self.unit.short
        if quantity is Quantity.AREA:
            return f"{self.unit.short}²"
        if quantity is Quantity.VOLUME:
            return f"{self.unit.short}³"
        if quantity in _ANGLES:
            return "arcsec" if key.endswith("_arcsec") else "deg"
        return _PLAIN_UNITS.get(quantity)

    def decimals(self, quantity: Quantity, key: str) -> int | None:
        """Return how many decimals a reader should show; None for what is no number."""
        if quantity is Quantity.CUT_FILL:
            return self.lath_decimals
        if quantity in _LENGTHS:
            return LENGTH_DECIMALS + (quantity is Quantity.FINE)
        if quantity is Quantity.AREA:
            return 2 if self.unit is LengthUnit.METRE else 1
        if quantity is Quantity.VOLUME:
            return 2 if self.unit is LengthUnit.METRE else 1
        if quantity in _ANGLES:
            return 1 if key.endswith("_arcsec") else 5
        return _PLAIN_DECIMALS.get(quantity)
