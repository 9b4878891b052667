"""Moves in the plane fitted robustly, as factor and shift of complex numbers east + i north.

measured = factor * (known - about) + about + shift. A rotation by +t (clockwise) is exp(-i t).
Iteratively reweighted least squares, first towards the smallest sum of distances, then with
weights that vanish for far outliers (textbook robust statistics, common practice, no source).
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from checker.model.arrays import FloatArray

ComplexArray = npt.NDArray[np.complex128]


class Freedom(StrEnum):
    """What of the factor is free."""

    NONE = "none"
    SCALE = "scale"
    TURN = "turn"
    BOTH = "both"


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A fitted move. sigma_factor, sigma_shift: standard deviations (the shift's at the centroid).

    centre: weighted centroid of the known points. moved: shape (rows,), known points after it.
    """

    factor: complex
    shift: complex
    centre: complex
    sigma_factor: float
    sigma_shift: float
    moved: ComplexArray


def fit_move(
    known: ComplexArray,
    measured: ComplexArray,
    sigma: FloatArray,
    freedom: Freedom,
    about: complex | None = None,
) -> Move | None:
    """Return the move that takes known to measured; about: a fixed point (no shift is fitted).

    sigma: shape (rows,), metres per axis. None where the points do not determine it.
    """
    needs = 1 if freedom is Freedom.NONE or about is not None else 2
    if len(known) < needs:
        return None
    weight = 1.0 / sigma**2
    rest = np.zeros(len(known))
    factor, centre, to = 1.0 + 0j, 0j, 0j
    for step in range(22):
        total = weight.sum()
        if about is None:
            centre, to = (weight * known).sum() / total, (weight * measured).sum() / total
        else:
            centre = to = about
        z, w = known - centre, measured - to
        spread = float((weight * np.abs(z) ** 2).sum())
        if freedom is not Freedom.NONE:
            if spread <= 1e-9 * total:
                return None
            factor = _factor(complex((weight * np.conj(z) * w).sum()), spread, freedom)
        size = np.abs(w - factor * z)
        if step < 14:
            weight = 1.0 / (sigma * np.maximum(size, sigma))
        else:
            rest = np.maximum(sigma, _median(size) / 1.177)
            weight = 1.0 / (rest**2 * (1.0 + (size / (3.0 * rest)) ** 2) ** 2)
    total = float(weight.sum())
    spread = float((weight * np.abs(known - centre) ** 2).sum())
    return Move(
        factor=factor,
        shift=to - centre,
        centre=centre,
        sigma_factor=1.0 / np.sqrt(max(spread, 1e-30)),
        sigma_shift=0.0 if about is not None else 1.0 / np.sqrt(total),
        moved=factor * (known - centre) + to,
    )


def _median(sizes: FloatArray) -> float:
    """Return the median as numpy does, which checks so much first that short rows wait for it."""
    half = len(sizes) // 2
    if len(sizes) % 2:
        return float(np.partition(sizes, half)[half])
    parted = np.partition(sizes, (half - 1, half))
    return float((parted[half - 1] + parted[half]) / 2.0)


def _factor(product: complex, spread: float, freedom: Freedom) -> complex:
    if freedom is Freedom.BOTH:
        return product / spread
    if freedom is Freedom.SCALE:
        return complex(product.real / spread)
    return product / abs(product) if product else 1.0 + 0j


def robust_mean(values: FloatArray, sigma: FloatArray) -> tuple[float, float]:
    """Return a robust mean and its standard deviation; shape (n,)."""
    move = fit_move(
        np.zeros(len(values), dtype=np.complex128), values.astype(complex), sigma, Freedom.NONE
    )
    if move is None:
        return np.nan, np.nan
    return move.shift.real, move.sigma_shift


def robust_linear(
    design: FloatArray, values: FloatArray, sigma: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Return coefficients and their covariance; design: shape (n, p). None if not determined."""
    rows, free = design.shape
    if rows <= free:
        return None
    weight = np.asarray(1.0 / sigma**2)
    found: FloatArray = np.zeros(free)
    normal: FloatArray = np.eye(free)
    for step in range(22):
        normal = design.T @ (weight[:, None] * design)
        if np.linalg.cond(normal) > 1e14:
            return None
        found = np.asarray(np.linalg.solve(normal, design.T @ (weight * values)))
        size = np.abs(values - design @ found)
        if step < 14:
            weight = 1.0 / (sigma * np.maximum(size, sigma))
        else:
            rest = np.maximum(sigma, _median(size) / 0.6745)
            weight = 1.0 / (rest**2 * (1.0 + (size / (3.0 * rest)) ** 2) ** 2)
    return found, np.asarray(np.linalg.inv(normal))
