"""The probability that a true value lies within its limits, given what was measured.

The measured value is taken as normally distributed about the true one, as in JCGM 106:2012,
section 7 (formula recalled, and a plain normal probability): with no other knowledge of the stake
the true value is as likely to lie to one side of the measured one as the measured to the other.
"""

from functools import cache

import numpy as np

from checker.model.arrays import FloatArray, same_number

GUARD_M = 1e-6
"""Metres: what binary fractions may add to a length before it counts as over its limit."""

_NODES = 128
_FEW_NODES = 64
"""Enough where the sigmas are not much smaller than the radius nor than each other."""
_UNEQUAL = 4.0
"""Ratio of the sigmas above which the strips follow the smaller one."""
_REACH = 9.0
"""Standard deviations: beyond them less than 1e-18 is left."""
_LEAST_SIGMA_M = 1e-9
_BEYOND = 38.0
"""Standard deviations that stand for infinitely many."""
_LEAST = 1e-150
"""Stands for 0, of which Owen's function knows no ratio; its square is no 0 yet."""
_NEARLY_ONE = 1.0 - 1e-12
_CHUNK = 2048


def within_interval(
    value: FloatArray, sigma: FloatArray, lower: FloatArray, upper: FloatArray
) -> FloatArray:
    """Return P(lower <= true value <= upper), true value normal about `value`; all shape (rows,).

    NaN where value or sigma is NaN. Sigma 0 is certainty: 1 within the limits, `GUARD_M` included,
    else 0. Infinite limits are no limits.
    """
    if np.isnan(sigma).all():
        return same_number(np.nan, len(value))
    from scipy.special import ndtr

    sure = sigma == 0.0
    spread = np.where(sure, 1.0, sigma)
    # Both tails are taken from the nearer side, so that a small probability keeps its digits.
    high, low = (upper - value) / spread, (lower - value) / spread
    flip = low > 0.0
    spread_out = ndtr(np.where(flip, -low, high)) - ndtr(np.where(flip, -high, low))
    step = (value <= upper + GUARD_M) & (value >= lower - GUARD_M)
    result: FloatArray = np.where(sure, step.astype(np.float64), spread_out)
    return np.where(np.isnan(value) | np.isnan(sigma), np.nan, result)


def within_circle(
    offset: FloatArray,
    sigma: FloatArray,
    radius: FloatArray,
    correlation: FloatArray | None = None,
) -> FloatArray:
    """Return P(|true offset| <= radius), true offset normal about `offset`; shape (rows,).

    offset, sigma: shape (rows, 2), north and east. correlation: shape (rows,), of the two; None:
    they are independent. radius: shape (rows,). NaN where any of them is NaN. Both sigmas 0 is
    certainty, as in `within_interval`. With equal sigmas this is the noncentral chi-square
    distribution of two degrees of freedom; unequal ones have no closed form, so all are integrated
    alike, to better than 1e-9.
    """
    if correlation is not None and np.any(correlation != 0.0):
        offset, sigma = principal(offset, sigma, correlation)
    distance = np.hypot(offset[:, 0], offset[:, 1])
    larger = sigma.max(axis=1)
    missing = np.isnan(distance) | np.isnan(larger) | np.isnan(radius)
    sure = larger == 0.0
    inside = distance <= np.where(sure, radius + GUARD_M, radius - _REACH * larger)
    result = np.where(inside, 1.0, 0.0)
    near = ~sure & ~missing & ~inside & (distance < radius + _REACH * larger) & (radius > 0.0)
    smooth = sigma.min(axis=1) >= np.maximum(0.03 * radius, larger / 3.0)
    for nodes, rows in (
        (_FEW_NODES, np.flatnonzero(near & smooth)),
        (_NODES, np.flatnonzero(near & ~smooth)),
    ):
        for first in range(0, len(rows), _CHUNK):
            part = rows[first : first + _CHUNK]
            result[part] = _integrated(offset[part], sigma[part], radius[part], nodes)
    return np.where(missing, np.nan, result)


def within_rectangle(
    value: FloatArray,
    sigma: FloatArray,
    correlation: FloatArray,
    lower: FloatArray,
    upper: FloatArray,
) -> FloatArray:
    """Return P(lower <= true values <= upper) of two correlated values; shape (rows,).

    value, sigma, lower, upper: shape (rows, 2). correlation: shape (rows,). NaN where one of value,
    sigma or correlation is NaN; where a sigma is 0 its value is certain, as in `within_interval`.
    The bivariate normal distribution by Owen's function T (Owen 1956; formula from memory).
    """
    sides = [
        within_interval(value[:, axis], sigma[:, axis], lower[:, axis], upper[:, axis])
        for axis in (0, 1)
    ]
    result: FloatArray = sides[0] * sides[1]
    rows = np.flatnonzero((sigma > 0.0).all(axis=1) & (correlation != 0.0) & ~np.isnan(result))
    if not rows.size:
        return np.where(np.isnan(correlation), np.nan, result)
    ends = [
        np.clip((bound[rows] - value[rows]) / sigma[rows], -_BEYOND, _BEYOND)
        for bound in (lower, upper)
    ]
    rho = np.clip(correlation[rows], -_NEARLY_ONE, _NEARLY_ONE)
    total = sum(
        sign * _both_below(ends[i][:, 0], ends[j][:, 1], rho)
        for i, j, sign in ((1, 1, 1.0), (0, 1, -1.0), (1, 0, -1.0), (0, 0, 1.0))
    )
    result[rows] = np.clip(total, 0.0, 1.0)
    return np.where(np.isnan(correlation), np.nan, result)


def _both_below(h: FloatArray, k: FloatArray, rho: FloatArray) -> FloatArray:
    """Return P(X <= h and Y <= k) of standard normal X and Y with that correlation."""
    from scipy.special import ndtr, owens_t

    h, k = (np.where(end == 0.0, _LEAST, end) for end in (h, k))
    root = np.sqrt((1.0 - rho) * (1.0 + rho))
    with np.errstate(over="ignore"):
        one, other = (k / h - rho) / root, (h / k - rho) / root
    half = np.where(h * k < 0.0, 0.5, 0.0)
    both = 0.5 * (ndtr(h) + ndtr(k)) - owens_t(h, one) - owens_t(k, other) - half
    return np.asarray(both)


def principal(
    offset: FloatArray, sigma: FloatArray, correlation: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return offset and sigma along the axes of the error ellipse, where nothing is correlated.

    A circle looks the same from all axes. The ellipse's azimuth is half the angle whose tangent is
    2 cov / (sn^2 - se^2) (textbook formula of the error ellipse).
    """
    n, e = sigma[:, 0], sigma[:, 1]
    covariance = correlation * n * e
    half = 0.5 * np.arctan2(2.0 * covariance, n**2 - e**2)
    cosine, sine = np.cos(half), np.sin(half)
    turned = np.column_stack(
        (
            offset[:, 0] * cosine + offset[:, 1] * sine,
            offset[:, 1] * cosine - offset[:, 0] * sine,
        )
    )
    middle, reach = 0.5 * (n**2 + e**2), np.hypot(0.5 * (n**2 - e**2), covariance)
    axes = np.sqrt(np.maximum(np.column_stack((middle + reach, middle - reach)), 0.0))
    return turned, axes


@cache
def _rule(count: int) -> tuple[FloatArray, FloatArray]:
    """Return nodes and weights of the Gauss-Legendre rule on -1 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def _integrated(
    offset: FloatArray, sigma: FloatArray, radius: FloatArray, count: int
) -> FloatArray:
    """Return the integral of the density over the circle, strip by strip.

    The strips stand on the axis along which the offset is smaller, so that they end on the flat
    part of the circle; with very unequal sigmas on that of the smaller one. x = radius sin(t) makes
    the ends of the strips smooth in t, so that a Gauss-Legendre rule converges quickly.
    """
    from scipy.special import ndtr

    rows = np.arange(len(radius))
    spread = np.maximum(sigma, _LEAST_SIGMA_M)
    flat = np.abs(offset[:, 1]) < np.abs(offset[:, 0])
    unequal = spread.max(axis=1) > _UNEQUAL * spread.min(axis=1)
    narrow = np.where(unequal, spread[:, 1] < spread[:, 0], flat).astype(np.int64)
    x0, y0 = offset[rows, narrow][:, None], offset[rows, 1 - narrow][:, None]
    sx, sy = spread[rows, narrow][:, None], spread[rows, 1 - narrow][:, None]
    reach = radius[:, None]
    start = np.arcsin(np.clip((x0 - _REACH * sx) / reach, -1.0, 1.0))
    stop = np.arcsin(np.clip((x0 + _REACH * sx) / reach, -1.0, 1.0))
    nodes, weights = _rule(count)
    half = 0.5 * (stop - start)
    angle = start + half * (1.0 + nodes)
    top = reach * np.cos(angle)
    # By symmetry the strip's middle may be taken above the axis: the far end keeps its digits.
    chord = ndtr((top - np.abs(y0)) / sy) - ndtr((-top - np.abs(y0)) / sy)
    density = np.exp(-0.5 * ((reach * np.sin(angle) - x0) / sx) ** 2) / (np.sqrt(2.0 * np.pi) * sx)
    total: FloatArray = (half * weights * density * top * chord).sum(axis=1)
    clipped: FloatArray = np.clip(total, 0.0, 1.0)
    return clipped
