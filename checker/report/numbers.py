"""Model numbers as the outputs give them: in the job's unit, in degrees, and as columns of text.

The only place where metres and radians are converted on the way out. Rounding is `checker.text`'s.
"""

from dataclasses import dataclass

import numpy as np

from checker.lengths import DECIMALS, Scale, is_fine, small_scale
from checker.model.arrays import FloatArray
from checker.model.measure import Item, Quantity
from checker.report.settled import settled
from checker.text import MISSING, fixed, stated_decimals
from checker.units import LengthUnit

LENGTH_DECIMALS = DECIMALS
"""Decimals of coordinates, and of what a file gives as a length."""

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
_SMALL = frozenset({Quantity.LENGTH, Quantity.FINE})
"""What a page shows as `checker.lengths` has it, but for `_LONG`."""
_LONG = frozenset(
    {"offset", "design_offset", "feature_offset", "catch_offset", "hinge_offset", "out"}
    | {"bs", "is", "fs", "rise", "adjusted_rise", "first", "second", "mean", "value"}
    | {"fall", "fall_design", "length", "radius", "design_radius", "tangent", "chord", "ordinate"}
    | {"thickness", "entered", "actual", "external"}
)
"""Keys of lengths that are places, readings or sizes, not differences: pages show them in the
job's unit."""
_SPREADS = ("sigma", "sd_", "s_", "semi_", "relative_semi", "predicted", "rmse", "check_sigma")
"""How the keys of standard deviations begin."""
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
    station_digits: behind the plus of a station; 0: as the unit has it. fine: a tolerance is so
    small that pages show its lengths with one more decimal of a millimetre. large: keys of columns
    that for the most part hold no small differences, and stay in the job's unit.
    """

    unit: LengthUnit
    station_digits: int = 0
    fine: bool = False
    large: frozenset[str] = frozenset()

    @property
    def lath_decimals(self) -> int:
        """Decimals on the lath: hundredths of a foot, millimetres."""
        return 3 if self.unit is LengthUnit.METRE else 2

    @property
    def small(self) -> Scale:
        """How a page shows differences and limits, as `rows.Rows.smalls` gives them."""
        return small_scale(self.unit, fine=self.fine)

    @property
    def words(self) -> str:
        """What the lengths of a page's table are in, in plain words."""
        if self.unit is LengthUnit.METRE:
            return "metres, differences in millimetres"
        return self.unit.words

    def smalls(self, values_m: FloatArray) -> FloatArray:
        """Return metres as a page shows them where they are differences; shape as given."""
        return self.in_small(self.unit.from_metres(values_m))

    def in_small(self, values: FloatArray) -> FloatArray:
        """Return lengths in the job's unit as a page shows differences; shape as given."""
        return values * 1000.0 if self.unit is LengthUnit.METRE else values

    def limit_text(self, value: float) -> str:
        """Return a limit as a page shows differences, with the digits that it was stated with."""
        return fixed(value, stated_decimals(value, self.small.decimals))

    def on_page(self, quantity: Quantity, key: str) -> Scale | None:
        """Return how a page shows a column of differences; None for any other number."""
        if quantity not in _SMALL or key in _LONG or key in self.large:
            return None
        decimals = self.decimals(quantity, key) or 0
        return small_scale(self.unit, fine=self.fine, decimals=decimals)

    def finer(self, key: str, scale: Scale, values_m: FloatArray) -> int:
        """Return the decimals of differences that a page shows by `scale`: small sigmas get one."""
        if scale.unit == self.unit.short or scale.decimals or not key.startswith(_SPREADS):
            return scale.decimals
        sizes = np.abs(values_m)
        least = np.min(sizes, where=np.isfinite(sizes) & (sizes > 0.0), initial=np.inf)
        return int(is_fine(float(least)))

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
        """Return `convert` of one value, without the digits that are noise (`settled`)."""
        given = np.asarray([value], dtype=np.float64)
        return float(settled(self.convert(quantity, key, given))[0])

    def item(self, item: Item) -> str | bool | int | float | None:
        """Return one number of a summary for a file; None where there is none."""
        value = item.value
        if value is None or isinstance(value, str | bool):
            return value
        if not np.isfinite(value):
            return None
        if item.quantity is Quantity.COUNT:
            return int(value)
        return self.one(item.quantity, item.key, float(value))

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
