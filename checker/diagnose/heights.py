"""Causes of heights alone: a pole, a constant, another unit, ellipsoid heights."""

from collections.abc import Iterator

import numpy as np

from checker.diagnose.fits import robust_linear, robust_mean
from checker.diagnose.hypothesis import (
    LEAST_HEIGHT_M,
    STEPS,
    TWO_PI,
    Apply,
    Hypothesis,
    View,
    item,
    length,
    ratios,
    shifted,
)
from checker.diagnose.noise import BIAS_M
from checker.model.arrays import FloatArray
from checker.model.measure import Quantity
from checker.units import M_PER_FOOT


def height_shift(view: View, apply: Apply | None = None) -> tuple[float, float, float] | None:
    """Return a robust dz of the rows, its standard deviation and its charge."""
    rows = view.tall
    if not rows.any():
        return None
    predicted = view.predicted[rows]
    if apply is not None:
        predicted = apply(predicted)
    gap = view.evidence.measured[rows, 2] - predicted[:, 2]
    dz, sigma = robust_mean(gap, view.evidence.sigma[rows, 1] * view.coarse)
    sigma = float(np.hypot(sigma, view.coarse * BIAS_M[1] / np.sqrt(view.sessions)))
    return dz, sigma, height_charge(dz, sigma)


def height_charge(dz: float, sigma: float) -> float:
    """Return the charge of a free step in height; beyond three metres ever less likely."""
    beyond = max(0.0, float(np.log(max(abs(dz), 1e-9) / 3.0)))
    return float(
        np.log(2.0 * (abs(dz) + BIAS_M[1]) * 6.5) + beyond - 0.5 * np.log(TWO_PI * sigma**2)
    )


def pole_pairs(settings_m: tuple[float, ...]) -> list[tuple[float, float]]:
    """Return (entered, actual) lengths of a pole that are mistaken for each other, metres.

    Two settings exchanged, and metres keyed as feet (2 m as 2 ft: 1.390 m).
    """
    pairs = [(a, b) for a in settings_m for b in settings_m if abs(a - b) > 1e-6]
    return pairs + [(length_m * M_PER_FOOT, length_m) for length_m in settings_m]


def of_heights(view: View) -> Iterator[Hypothesis]:
    """Yield every cause of heights alone that the rows of a part could show."""
    found = height_shift(view)
    if found is None:
        return
    dz, sigma, charge = found
    if not view.part.drawn and view.part.value != "control":
        pairs = pole_pairs(view.setting.poles_m)
        for entered, actual in pairs:
            step = actual - entered
            if abs(step - dz) < 6.0 * sigma + 0.03:
                yield view.make(
                    "pole-height",
                    shifted(0.0, 0.0, step),
                    np.log(len(pairs)) - 1.0,
                    length("dz", step),
                    length("entered", entered),
                    length("actual", actual),
                )
    if abs(dz) >= LEAST_HEIGHT_M * view.coarse:
        half = (length("dz_95", 1.96 * sigma),)
        raised = shifted(0.0, 0.0, dz)
        yield view.make("height-constant", raised, charge, length("dz", dz), halves=half)
        if view.part.by in STEPS or view.evidence.again:
            vector = (length("dn", 0.0), length("de", 0.0), length("dz", dz))
            likelier = 1.0 if view.part.by == "base" else -0.5
            yield view.make("base-moved", raised, charge - likelier, *vector, halves=half)
    if abs(dz) > 1.0:
        yield from _height_units(view)
    if abs(dz) > 5.0 and view.part.by not in ("layer", "check"):
        yield from _geoid(view, dz, sigma)


def _height_units(view: View) -> Iterator[Hypothesis]:
    """Yield heights alone in another unit."""
    rows = view.tall
    here, there = view.predicted[rows, 2], view.evidence.measured[rows, 2]
    if not len(here) or not np.all(np.abs(here) > 1.0):
        return
    ratio = float(np.median(there / here))
    for factor, true, taken in ratios(view, ratio):

        def apply(points: FloatArray, by: float = factor) -> FloatArray:
            return points * (1.0, 1.0, by)

        yield view.make(
            "unit-factor",
            apply,
            np.log(112.0),
            item("factor", Quantity.NUMBER, factor),
            item("from", Quantity.TEXT, true),
            item("to", Quantity.TEXT, taken),
            item("axis", Quantity.TEXT, "z"),
        )


def _geoid(view: View, dz: float, sigma: float) -> Iterator[Hypothesis]:
    """Yield ellipsoid heights taken for elevations: tens of metres, and hardly a slope."""
    base = np.log(200.0) - 0.5 * np.log(TWO_PI * sigma**2)
    half = (length("dz_95", 1.96 * sigma),)
    if abs(dz) > 110.0:
        return
    yield view.make(
        "geoid-missing",
        shifted(0.0, 0.0, dz),
        base,
        length("dz", dz),
        item("slope", Quantity.NUMBER, 0.0),
        halves=half,
    )
    rows = view.tall
    if rows.sum() < 5:
        return
    plan = view.predicted[rows, :2]
    # What lies on a surface has no other place than its own.
    plan = np.where(np.isfinite(plan), plan, view.evidence.measured[rows, :2])
    centre = plan.mean(axis=0)
    design = np.column_stack((np.ones(int(rows.sum())), plan - centre))
    gap = view.evidence.measured[rows, 2] - view.predicted[rows, 2]
    fitted = robust_linear(design, gap, view.evidence.sigma[rows, 1])
    if fitted is None:
        return
    (at, north, east), covariance = fitted
    slope = float(np.hypot(north, east))
    if slope > 3e-4:
        return
    charge = base + np.log(2.0 * np.pi * 1e-4**2)
    charge -= np.log(TWO_PI) + 0.5 * np.log(np.linalg.det(covariance[1:, 1:]))
    charge += 0.5 * (slope / 1e-4) ** 2

    def apply(points: FloatArray) -> FloatArray:
        moved = points.copy()
        moved[:, 2] += at + np.nan_to_num(points[:, :2] - centre) @ np.array((north, east))
        return moved

    yield view.make(
        "geoid-missing",
        apply,
        charge,
        length("dz", at),
        item("slope", Quantity.NUMBER, slope),
        halves=half,
    )
