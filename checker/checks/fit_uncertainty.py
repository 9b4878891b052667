"""What a site fit adds to the standard deviations of the points that it moves.

A moved point rests on the fitted parameters, whose errors come from the marks. With equal weights
and one standard deviation s0 of a mark's coordinate the variance that they give to a point is
s0^2 (1 / n + d^2 / S) on either axis for a similarity, d being the distance from the centroid of
the n marks and S the sum of the squares of theirs; s0^2 / n for a shift; s0^2 a' (A'A)^-1 a for a
plane of heights (law of propagation through the normal equations, a textbook formula). It grows
with the distance from the marks, which is what makes extrapolation dangerous.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import length_text
from checker.checks.deltas import sigmas_of
from checker.geometry.fit import HeightFit, PlaneMove
from checker.model.arrays import FloatArray, IntArray
from checker.model.points import Points, SigmaBudget
from checker.units import LengthUnit, SigmaLevel


@dataclass(frozen=True, slots=True, kw_only=True)
class FitSigmas:
    """What the fit adds at every as-measured point, metres; None where nothing is fitted or known.

    h_m (radial), z_m: shape (points,). from_residuals_*: whether the residuals of the marks said
    more than their stored standard deviations.
    """

    h_m: FloatArray | None
    z_m: FloatArray | None
    from_residuals_h: bool = False
    from_residuals_z: bool = False


def fit_sigmas(
    measured: Points,
    marks: tuple[IntArray, ...],
    heights: tuple[IntArray, ...],
    plan: PlaneMove | None,
    height: HeightFit | None,
    level: SigmaLevel | None,
) -> FitSigmas:
    """Return what a fit adds to the standard deviations of the points that it moves.

    marks, heights: indices of the shots of each mark that plan and height rest on. level: what
    stored sigmas are multiples of; None: they are single. s0 is the larger of what the residuals
    show and what the stored standard deviations of the marks say: few residuals may be small by
    chance, and without redundancy there are none.
    """
    xy = np.column_stack((measured.easting_m, measured.northing_m))
    h_m = z_m = None
    shown_h = shown_z = False
    if plan is not None:
        own = _stored(measured, marks, level)
        s0, shown_h = _larger(plan.sigma_m, own[0])
        if np.isfinite(s0):
            h_m = s0 * np.sqrt(2.0 * _plan_cofactor(plan, xy))
    if height is not None:
        own = _stored(measured, heights, level)
        s0, shown_z = _larger(height.fit.sigma, own[1])
        if np.isfinite(s0):
            z_m = s0 * np.sqrt(_height_cofactor(measured, heights, height, xy))
    return FitSigmas(h_m=h_m, z_m=z_m, from_residuals_h=shown_h, from_residuals_z=shown_z)


def with_fit(measured: Points, found: FitSigmas, plan: PlaneMove | None) -> Points:
    """Return points that carry what the fit adds, and whose stored axes it has turned."""
    budget = replace(
        measured.budget or SigmaBudget(),
        fit_h_m=found.h_m,
        fit_z_m=found.z_m,
        turn_rad=0.0 if plan is None else plan.rotation_rad,
    )
    return replace(measured, budget=budget)


def about_fit_sigmas(found: FitSigmas, fit: tuple[bool, bool], unit: LengthUnit) -> Iterator[str]:
    """Say how well the fit itself is known at the shots; fit: whether plan and height are fitted.

    Only of a fit that was applied.
    """
    for part, fitted, values, shown in (
        ("plan", fit[0], found.h_m, found.from_residuals_h),
        ("height", fit[1], found.z_m, found.from_residuals_z),
    ):
        if not fitted:
            continue
        if values is None:
            yield (
                f"How well the fit is known in {part} cannot be said: it has no redundancy, and its"
                " marks show no standard deviations. Those of the moved shots leave it out."
            )
            continue
        low, high = (length_text(float(f(values)), unit, plus=False) for f in (np.min, np.max))
        source = "the marks' residuals" if shown else "the marks' stored standard deviations"
        size = f"{low} at every shot" if low == high else f"{low} to {high}, by where the shot is"
        yield (
            f"The fit's own uncertainty in {part}, from {source}, is in the standard deviation of"
            f" every moved shot: {size}."
        )


def _stored(
    measured: Points, marks: tuple[IntArray, ...], level: SigmaLevel | None
) -> tuple[float, float]:
    """Return the standard deviation of a mark's coordinate and height, by what is stored.

    Root mean square over the marks, each the mean of its shots; NaN where one is silent.
    """
    known = measured.budget or SigmaBudget()
    plan, height = [], []
    for shots in marks:
        each = sigmas_of(measured, shots, level, control=False)
        count = len(shots)
        # the error of the known coordinates is common to the shots of a mark: it does not average
        plan.append(0.5 * (float(np.mean(each.h**2)) / count + known.control_h_m**2))
        height.append(float(np.mean(each.z**2)) / count + known.control_z_m**2)
    return float(np.sqrt(np.mean(plan))), float(np.sqrt(np.mean(height)))


def _larger(residual: float, stored: float) -> tuple[float, bool]:
    """Return the larger of two standard deviations that are there, and whether it is the first."""
    first = np.isfinite(residual) and not residual <= stored
    return (residual, True) if first else (stored if np.isfinite(stored) else residual, False)


def _plan_cofactor(plan: PlaneMove, xy_m: FloatArray) -> FloatArray:
    """Return the variance on an axis that the fit gives to points, in s0^2; shape (points,)."""
    count = len(plan.residual_m)
    fixed = np.full(len(xy_m), 1.0 / count)
    if 2 * count - plan.redundancy <= 2:
        return fixed
    away = xy_m - plan.centre_from_m
    return np.asarray(fixed + np.sum(away * away, axis=1) / plan.spread_m2)


def _height_cofactor(
    measured: Points, marks: tuple[IntArray, ...], height: HeightFit, xy_m: FloatArray
) -> FloatArray:
    """Return the variance that the fit gives to heights, in s0^2; shape (points,)."""
    fixed = np.full(len(xy_m), 1.0 / len(marks))
    if len(height.fit.parameter) < 3:
        return fixed
    at = np.array([[measured.easting_m[s].mean(), measured.northing_m[s].mean()] for s in marks])
    centred = at - height.centre_m
    inverse = np.linalg.inv(centred.T @ centred)
    away = xy_m - height.centre_m
    return np.asarray(fixed + np.sum((away @ inverse) * away, axis=1))
