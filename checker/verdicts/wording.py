"""What a verdict says, in a crew chief's words and the job's unit."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from checker.lengths import is_fine, small_scale, spoken_scale
from checker.model.finding import Judgement, Verdict
from checker.text import ARCSEC, decimals_apart, fixed, ratio, show_failure, stated_decimals
from checker.units import ARCSEC as RAD_PER_ARCSEC
from checker.units import LengthUnit
from checker.verdicts.limits import ANGLES, AREAS, RANGES, SLOPES

_OUTSIDE = int(Verdict.OUTSIDE)
_SIDES = {
    "vertical": ("low", "high"),
    "across": ("left", "right"),
    "along": ("short", "long"),
}
"""How the negative and the positive side of a comparison are called."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wording:
    """Writes numbers of one kind: lengths in the job's unit or millimetres, or arc seconds.

    scale: metres or radians in one unit shown. unit: with its leading blank, if it has one.
    length: the job's unit where the numbers are lengths, so that their size settles the scale.
    """

    scale: float
    unit: str
    decimals: int
    length: LengthUnit | None = None

    @classmethod
    @cache
    def of(cls, limit: str, unit: LengthUnit) -> "Wording":
        """Return the wording of what that key of a tolerance limits."""
        if limit in ANGLES:
            return cls(scale=RAD_PER_ARCSEC, unit=ARCSEC, decimals=1)
        if limit in SLOPES:
            return cls(scale=0.01, unit=" %", decimals=2)
        if limit in AREAS:
            metric = unit is LengthUnit.METRE
            word, decimals = (" m²", 2) if metric else (" sq ft", 0)
            return cls(scale=unit.metres**2, unit=word, decimals=decimals)
        small = small_scale(unit)
        return cls(scale=small.metres, unit=f" {small.unit}", decimals=small.decimals, length=unit)

    def _suited(self, value: float, limit: float, guard: float = 0.0) -> "Wording":
        """Return the wording for such values: one unit, and the digits of the limit as stated."""
        if self.length is None:
            return replace(self, decimals=stated_decimals(limit / self.scale, self.decimals))
        sizes = [abs(number) for number in (value, limit, guard) if np.isfinite(number)]
        finest = min(limit, guard, key=lambda size: size if is_fine(size) else np.inf)
        shown = spoken_scale(self.length, max(sizes, default=0.0), fine_m=finest)
        enough = stated_decimals(limit / shown.metres, shown.decimals)
        return replace(self, scale=shown.metres, unit=f" {shown.unit}", decimals=enough)

    def failure(self, value: float, limit: float) -> tuple[str, str]:
        """Return a number and the limit that it fails, told apart."""
        own = self._suited(value, limit)
        shown, bound = show_failure(value / own.scale, limit / own.scale, own.decimals)
        return f"{shown}{own.unit}", f"{bound}{own.unit}"

    def spread(self, value: float, guard: float, limit: float) -> tuple[str, str]:
        """Return ``0.012 ± 0.009 ft`` and the limit, with digits that show guard and difference."""
        own = self._suited(value, limit, guard)
        enough = max(
            decimals_apart(guard / own.scale, 0.0, own.decimals),
            decimals_apart(value / own.scale, limit / own.scale, own.decimals),
        )
        shown = (fixed(number / own.scale, enough) for number in (value, guard, limit))
        first, plus_minus, bound = shown
        return f"{first} ± {plus_minus}{own.unit}", f"{bound}{own.unit}"


def component_reason(judgement: Judgement, index: int, unit: LengthUnit) -> str:
    """Return why one value of a judgement is not within; it is a number that was compared."""
    value = float(judgement.value[index])
    lower, upper = float(judgement.lower[index]), float(judgement.upper[index])
    guard = float(judgement.guard[index])
    if np.isnan(lower) or np.isnan(upper):
        return f"{judgement.label}: its limit cannot be worked out"
    if judgement.limit == "ratio":
        return _ratio_reason(judgement, index)
    if judgement.limit in RANGES:
        return _range_reason(judgement, index, unit)
    limit = _governing(value, lower, upper, guard)
    size, side = _size_and_side(judgement, value)
    if judgement.limit == "distance" and lower != -upper and value != 0.0:
        side = " too long" if value > 0.0 else " too short"
    wording = Wording.of(judgement.limit, unit)
    if np.isnan(guard):
        shown, bound = wording.failure(size, limit)
        return f"{judgement.label} {shown}{side}, limit {bound}, but no standard deviation is shown"
    # Without a guard nothing lies between the limits: then it is over, if only as a hint.
    if judgement.verdict[index] == _OUTSIDE or guard == 0.0:
        if guard > 0.0:
            shown, bound = wording.spread(size, guard, limit)
        else:
            shown, bound = wording.failure(size, limit)
        return f"{judgement.label} {shown}{side}, limit {bound}"
    shown, bound = wording.spread(size, guard, limit)
    # what prints as nothing has no side
    if not any(digit in "123456789" for digit in shown.partition(" ±")[0]):
        side = ""
    text = f"{judgement.label} {shown}{side}, limit {bound}"
    if _hopeless(judgement, lower, upper, guard):
        return f"{text}: too uncertain to prove it"
    return f"{text}: too close to say"


def _ratio_reason(judgement: Judgement, index: int) -> str:
    """Return the reason for a closure ratio: only a failure has one, nothing guards it."""
    value, upper = float(judgement.value[index]), float(judgement.upper[index])
    found, required = 1.0 / value, 1.0 / upper
    text = ratio(found)
    if text == ratio(required):
        text = ratio(found, decimals_apart(found, required, 0))
    if np.isnan(float(judgement.guard[index])):
        return f"{judgement.label} {text}, but no standard deviation is shown"
    # Without a guard it is short of it, if only as a hint.
    if judgement.verdict[index] == Verdict.OUTSIDE or not float(judgement.guard[index]):
        return f"{judgement.label} {text}, short of {ratio(required)}"
    return f"{judgement.label} {text} for {ratio(required)}: too uncertain to prove it"


_BACKWARDS = {"grade": "falls backwards", "drop": "rises instead of falling"}


def _range_reason(judgement: Judgement, index: int, unit: LengthUnit) -> str:
    """Return the reason for a value that is itself limited, such as a grade: it has its sign."""
    value, guard = float(judgement.value[index]), float(judgement.guard[index])
    lower, upper = float(judgement.lower[index]), float(judgement.upper[index])
    reach = 0.0 if np.isnan(guard) else guard
    short = lower - (value - reach) >= value + reach - upper
    limit = lower if short else upper
    wording = Wording.of(judgement.limit, unit)
    back = _BACKWARDS.get(judgement.limit, "") if value < 0.0 <= limit and short else ""
    label = f"{judgement.label} {back}:" if back else judgement.label
    if judgement.verdict[index] == Verdict.OUTSIDE and not np.isnan(guard):
        shown, bound = (
            wording.spread(value, guard, limit) if guard > 0.0 else wording.failure(value, limit)
        )
        if back and limit == 0.0:
            return f"{label} {shown}"
        return f"{label} {shown}, {'short of' if short else 'over'} {bound}"
    if np.isnan(guard):
        shown, bound = wording.failure(value, limit)
        return (
            f"{label} {shown}, {'at least' if short else 'at most'} {bound},"
            " but no standard deviation is shown"
        )
    shown, bound = wording.spread(value, guard, limit)
    return f"{label} {shown}, {'at least' if short else 'at most'} {bound}: too close to say"


def _governing(value: float, lower: float, upper: float, guard: float) -> float:
    """Return the size of the limit that the value comes nearest to breaking, or breaks."""
    reach = 0.0 if np.isnan(guard) else guard
    over, under = value + reach - upper, lower - (value - reach)
    return abs(upper) if over >= under else abs(lower)


def _size_and_side(judgement: Judgement, value: float) -> tuple[float, str]:
    """Return how large a value is and on which side, in words; no side for what has none."""
    names = _SIDES.get(judgement.limit)
    if names is None or value == 0.0:
        return abs(value), ""
    return abs(value), f" {names[1] if value > 0.0 else names[0]}"


def _hopeless(judgement: Judgement, lower: float, upper: float, guard: float) -> bool:
    """Return whether even a perfect value could not be proven within so uncertainly."""
    if judgement.limit == "horizontal":
        return guard > upper
    return guard > 0.5 * (upper - lower)
