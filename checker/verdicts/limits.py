"""Which limits a tolerance sets to what was measured, and the guard against binary fractions."""

from dataclasses import dataclass

import numpy as np

from checker.errors import InputError, Problem
from checker.model.arrays import FloatArray
from checker.model.job import Tolerance
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.units import ARCSEC, Formula, UnitError
from checker.verdicts.probability import GUARD_M

GUARD_RAD = 1e-6 * ARCSEC
"""Radians: the same guard for angles, a millionth of an arc second."""
GUARD_RATIO = 1e-9
"""Relative: the same guard for closure ratios."""

GUARD_SLOPE = 1e-9
"""Rise per length: the same guard for slopes, a micrometre in a kilometre."""
SLOPES = frozenset({"slope", "grade", "crossfall"})
"""What is a rise per length."""
ANGLES = frozenset({"angular", "set_angle"})
"""What is an angle."""
AREAS = frozenset({"area"})
"""What is an area; the guard of a length does for it too."""
RANGES = {
    "grade": ("minimum_grade", "maximum_grade"),
    "crossfall": ("", "maximum_crossfall"),
    "drop": ("minimum_drop", ""),
}
"""What is limited itself instead of its difference from design: at least, at most."""

_SIDES = {
    "vertical": ("vertical", "below", "above"),
    "across": ("across", "left", "right"),
    "distance": ("distance", "shorter", "longer"),
}
"""The keys that limit a comparison: both sides, the negative side, the positive side."""
_ONE_SIDED = frozenset({"horizontal", "plumb", "ratio"})
"""What is never negative, so that only its size is limited."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Signed limits shaped as the comparison's value; a side without a limit is infinite.

    Not to be written to: one that all values share takes no room. guard: what binary fractions may
    add before a value counts as over its limit.
    """

    lower: FloatArray
    upper: FloatArray
    guard: FloatArray


def limits(comparison: Comparison, measure: Measure) -> Limits | None:
    """Return the limits that the measure's tolerance sets to the comparison; None: not limited.

    Where both sides and one side are limited, the tighter governs. Raises InputError at the
    section where a limit depends on a count or length that the check does not have.
    """
    tolerance = measure.tolerance
    if tolerance is None:
        return None
    key = comparison.limit
    shape = comparison.value.shape
    if key == "ratio":
        if tolerance.ratio is None:
            return None
        upper = np.full(shape, 1.0 / tolerance.ratio)
        return Limits(lower=np.full(shape, -np.inf), upper=upper, guard=GUARD_RATIO * upper)
    if key in RANGES:
        return _range(comparison, tolerance, measure)
    both, negative, positive = (
        _at(name, tolerance, comparison, measure) for name in _SIDES.get(key, (key, "", ""))
    )
    if both is None and negative is None and positive is None:
        return None
    upper, lower = _tighter(both, positive), -_tighter(both, negative)
    # The distance from a line is horizontal too, but has no vector: both sides of it are limited.
    from_line = key == "horizontal" and comparison.vector is None
    if comparison.vector is not None or (key in _ONE_SIDED and not from_line):
        lower = np.array(-np.inf)
    return Limits(
        lower=np.broadcast_to(lower, shape),
        upper=np.broadcast_to(upper, shape),
        guard=_guard(key, shape),
    )


def _range(comparison: Comparison, tolerance: Tolerance, measure: Measure) -> Limits | None:
    """Return the least and the most that a value itself may be; None: not limited."""
    shape = comparison.value.shape
    least, most = (_at(name, tolerance, comparison, measure) for name in RANGES[comparison.limit])
    if least is None and most is None:
        return None
    return Limits(
        lower=np.broadcast_to(np.float64(-np.inf) if least is None else least, shape),
        upper=np.broadcast_to(np.float64(np.inf) if most is None else most, shape),
        guard=_guard(comparison.limit, shape),
    )


def _guard(key: str, shape: tuple[int, ...]) -> FloatArray:
    """Return what binary fractions may add to what that key limits."""
    size = GUARD_SLOPE if key in SLOPES else GUARD_RAD if key in ANGLES else GUARD_M
    return np.broadcast_to(np.float64(size), shape)


def limit_items(
    measure: Measure, found: tuple[tuple[Comparison, Limits | None], ...]
) -> tuple[Item, ...]:
    """Return the limits as numbers of the summary, positive; those that differ by row are left out.

    For a check that is judged as one the allowable closures are there in any case, None where the
    tolerance does not limit them. A key that the check's own summary has is not repeated.
    """
    items: dict[str, Item] = {}
    for comparison, limit in found:
        key = comparison.limit
        if key in _CLOSURES:
            name, label, quantity = _CLOSURES[key]
            if limit is not None or not measure.judged_by_row:
                value = None if limit is None else _single(limit.upper)
                if key == "ratio" and value is not None:
                    value = 1.0 / value
                items[name] = Item(key=name, label=label, quantity=quantity, value=value)
        elif limit is not None and key in RANGES:
            least, most = RANGES[key]
            quantity = Quantity.GRADE if key in SLOPES else Quantity.LENGTH
            for name, value in ((least, _single(limit.lower)), (most, _single(limit.upper))):
                if name and value is not None:
                    label = name.replace("_", " ").capitalize()
                    items[name] = Item(key=name, label=label, quantity=quantity, value=value)
        elif limit is not None:
            below, above = _single(-limit.lower), _single(limit.upper)
            _, negative, positive = _SIDES.get(key, (key, "", ""))
            sides = {key: above} if not negative or below == above else {}
            for side, value in sides.items() or {negative: below, positive: above}.items():
                if value is not None:
                    name = f"allowed_{side}{'_arcsec' if key in ANGLES else ''}"
                    items[name] = Item(
                        key=name,
                        label=f"Allowed {_WORDS.get(side, side)}",
                        quantity=_quantity(key),
                        value=value,
                    )
    own = {item.key for item in measure.summary}
    return tuple(item for key, item in items.items() if key not in own)


def _quantity(key: str) -> Quantity:
    if key in ANGLES:
        return Quantity.SMALL_ANGLE
    if key in AREAS:
        return Quantity.AREA
    return Quantity.GRADE if key in SLOPES else Quantity.LENGTH


_CLOSURES = {
    "angular": ("angular_allowable_arcsec", "Angular allowable", Quantity.SMALL_ANGLE),
    "ratio": ("ratio_required", "Ratio required", Quantity.RATIO),
    "misclosure": ("allowable", "Allowable misclosure", Quantity.LENGTH),
}
_WORDS = {
    "above": "above design",
    "below": "below design",
    "left": "to the left",
    "right": "to the right",
    "longer": "longer than design",
    "shorter": "shorter than design",
    "section": "between the runnings of a section",
    "set_angle": "off the mean of an angle's sets",
    "set_distance": "off the mean of a distance's sets",
    "area": "off the stated area",
}


def _single(values: FloatArray) -> float | None:
    """Return the one finite value that all rows share, else None."""
    if not values.size:
        return None
    first = float(values.flat[0])
    return first if np.isfinite(first) and bool(np.all(values == first)) else None


def _at(
    name: str, tolerance: Tolerance, comparison: Comparison, measure: Measure
) -> FloatArray | None:
    """Return one limit of the tolerance, None where it has none of that name.

    Shape () where it is the same for all values, else that of the comparison's value.
    """
    formula: Formula | None = getattr(tolerance, name) if name else None
    if formula is None:
        return None
    try:
        value = formula.at(comparison.n, comparison.length_m)
    except UnitError as fault:
        raise InputError(
            [
                Problem(
                    slug="tolerance-unusable",
                    where=measure.where,
                    message=f'tolerance "{tolerance.name}", {name}: {fault}',
                    hint=fault.hint,
                )
            ]
        ) from None
    return np.asarray(value, dtype=np.float64)


def _tighter(first: FloatArray | None, second: FloatArray | None) -> FloatArray:
    """Return the smaller of the limits that are there, infinity where there is none."""
    tighter = np.array(np.inf)
    for limit in (first, second):
        if limit is not None:
            tighter = np.asarray(np.minimum(tighter, limit))
    return tighter
