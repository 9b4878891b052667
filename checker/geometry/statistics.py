"""Quantiles, outlier tests and sampling: the statistics behind statements of accuracy.

Distributions are scipy's. Every function names its source; the printed values that they are held
to stand in tests/published/accuracy.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from checker.geometry.arrays import BoolArray, FloatArray, IntArray

NSSDA_LEAST_RATIO = 0.6
"""Below this ratio of the smaller to the larger RMSE the standard has no formula for the radius."""


def normal_quantile(probability: float) -> float:
    """Return z with P(Z <= z) = probability, Z standard normal."""
    from scipy.special import ndtri

    return float(ndtri(probability))


def chi_square_quantile(probability: float, freedom: int) -> float:
    """Return the value below which chi-square of so many degrees of freedom lies."""
    from scipy.special import chdtri

    return float(chdtri(freedom, 1.0 - probability))


def f_quantile(probability: float, freedom_1: int, freedom_2: int) -> float:
    """Return the value below which F of these degrees of freedom lies with that probability."""
    from scipy.special import fdtri

    return float(fdtri(freedom_1, freedom_2, probability))


def t_quantile(probability: float, freedom: int) -> float:
    """Return the value below which Student's t lies with that probability."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, probability))


# ---------------------------------------------------------------- standard deviations


def sigma_interval(s: float, freedom: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the confidence interval of a standard deviation, s sqrt(nu / chi-square), two-sided.

    Textbook formula. NaN without a degree of freedom.
    """
    if freedom < 1:
        return math.nan, math.nan
    tail = 0.5 * (1.0 - confidence)
    high, low = (chi_square_quantile(p, freedom) for p in (1.0 - tail, tail))
    return s * math.sqrt(freedom / high), s * math.sqrt(freedom / low)


def sigma_factor(freedom: int, confidence: float = 0.95) -> float:
    """Return by how much a sample's s may exceed sigma: sqrt(chi-square / nu), one-sided."""
    return math.sqrt(chi_square_quantile(confidence, freedom) / freedom)


# ---------------------------------------------------------------- accuracy statements


def radial_factor(confidence: float) -> float:
    """Return the radius that holds that share of a circular normal distribution, in axis sigmas.

    sqrt(-2 ln(1 - p)): 2.1460 at 90 %, 2.4477 at 95 % (NSSDA, FGDC-STD-007.3-1998, appendix 3-A).
    """
    return math.sqrt(-2.0 * math.log1p(-confidence))


def linear_factor(confidence: float) -> float:
    """Return the half width that holds that share of a normal distribution, in sigma."""
    return normal_quantile(0.5 * (1.0 + confidence))


def rmse(values: FloatArray) -> float:
    """Return the root mean square about zero, the divisor being n; NaN of nothing."""
    return float(np.sqrt(np.mean(np.square(values)))) if values.size else math.nan


def nssda_horizontal(rmse_n: float, rmse_e: float) -> float:
    """Return the horizontal accuracy at 95 % of FGDC-STD-007.3-1998, in the unit given.

    2.4477 times the mean of both RMSEs, which is 1.7308 times the radial one where they are equal.
    NaN where the smaller is less than 0.6 of the larger: there the standard has no formula.
    """
    small, large = sorted((rmse_n, rmse_e))
    if not large:
        return 0.0
    if math.isnan(large) or small / large < NSSDA_LEAST_RATIO:
        return math.nan
    return radial_factor(0.95) * 0.5 * (rmse_n + rmse_e)


# ---------------------------------------------------------------- outliers


def grubbs_critical(count: int, alpha: float, *, two_sided: bool = True) -> float:
    """Return the critical value of Grubbs' test of the largest deviation from the mean over s.

    (n - 1) / sqrt(n) * sqrt(t^2 / (n - 2 + t^2)), t of n - 2 degrees of freedom at alpha / n, or at
    alpha / 2n two-sided (Grubbs 1950, 1969). NaN for less than three.
    """
    if count < 3:
        return math.nan
    t = t_quantile(1.0 - alpha / (2.0 * count if two_sided else count), count - 2)
    return (count - 1.0) / math.sqrt(count) * math.sqrt(t * t / (count - 2.0 + t * t))


def pope_critical(freedom: int, tail: float) -> float:
    """Return tau of Pope's test of standardised residuals where sigma comes from the same data.

    t sqrt(nu) / sqrt(nu - 1 + t^2), t of nu - 1 degrees of freedom with `tail` above it (Pope 1976,
    NOAA TR NOS 65 NGS 1; formula from memory, it reproduces Grubbs' printed table).
    """
    t = t_quantile(1.0 - tail, freedom - 1)
    return t * math.sqrt(freedom) / math.sqrt(freedom - 1.0 + t * t)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outliers:
    """Grubbs' test applied again and again, one value at a time; arrays of shape (n,).

    g, critical: the statistic and its limit when the value was tested; NaN where it never was the
    farthest. rejected: in the order of rejection from 1, 0 where kept.
    """

    g: FloatArray
    critical: FloatArray
    rejected: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Dixon:
    """Dixon's test in groups; arrays of shape (n,), NaN for values that are not the suspect.

    ratio: gap over range; critical: its limit for as many values as the group has.
    """

    ratio: FloatArray
    critical: FloatArray

    @property
    def rejected(self) -> BoolArray:
        """Whether a value is an outlier of its group."""
        return np.asarray(self.ratio > self.critical)


def grubbs(values: FloatArray, alpha: float = 0.05) -> Outliers:
    """Test the value farthest from the mean, two-sided, and go on without it as long as one fails.

    Never more than a third of the values (common practice, no source): more outliers than that are
    no outliers. NaN values are passed over.
    """
    count = len(values)
    g, critical, rejected = np.full(count, np.nan), np.full(count, np.nan), np.zeros(count)
    live = np.isfinite(values)
    for order in range(1, int(live.sum()) // 3 + 1):
        kept = values[live]
        s = float(kept.std(ddof=1))
        if len(kept) < 3 or s == 0.0:
            break
        away = np.where(live, np.abs(values - kept.mean()), -1.0)
        worst = int(np.argmax(away))
        g[worst], critical[worst] = away[worst] / s, grubbs_critical(len(kept), alpha)
        if g[worst] <= critical[worst]:
            break
        rejected[worst] = order
        live[worst] = False
    return Outliers(g=g, critical=critical, rejected=rejected)


_DIXON_LEAST, _DIXON_MOST = 3, 10
"""Dixon's ratio r10 is tabulated, and of use, for so many values."""


@cache
def dixon_critical(count: int, alpha: float) -> float:
    """Return the critical value of Dixon's ratio r10, gap over range, two-sided; 3 to 10 values.

    The value that the ratio of the smallest value, or that of the largest, exceeds with a
    probability of alpha / 2 each. With the smallest at x and the range r all others lie above the
    gap q r with probability [F(x + r) - F(x + q r)]^(n - 2), so P(ratio > q) is the integral of
    n (n - 1) f(x) f(x + r) [...]^(n - 2) over x and r (Dixon 1950; the integral is order
    statistics of any textbook). By Gauss-Legendre rules. NaN outside 3 to 10.
    """
    if not _DIXON_LEAST <= count <= _DIXON_MOST:
        return math.nan
    from scipy.optimize import brentq
    from scipy.special import ndtr

    nodes, weights = np.polynomial.legendre.leggauss(120)
    x, of_x = 9.0 * nodes[:, None], 9.0 * weights[:, None]
    span, of_span = 8.0 * (1.0 + nodes)[None, :], 8.0 * weights[None, :]
    density = np.exp(-0.5 * (x**2 + (x + span) ** 2)) / (2.0 * math.pi)
    ends = count * (count - 1) * of_x * of_span * density
    top = ndtr(x + span)

    def beyond(q: float) -> float:
        return float(np.sum(ends * (top - ndtr(x + q * span)) ** (count - 2))) - 0.5 * alpha

    return float(brentq(beyond, 0.0, 1.0, xtol=1e-10))


def dixon(
    values: FloatArray, group: IntArray, alpha: float = 0.05, least: int = _DIXON_LEAST
) -> Dixon:
    """Test in each group of 3 (or `least`) to 10 values the one farthest from its neighbour.

    values: shape (n,), NaN ones are passed over; group: shape (n,), whole numbers. The ratio is the
    gap between the suspect and the value nearest to it over the range of its group, two-sided.
    """
    count = len(values)
    ratio, critical = np.full(count, np.nan), np.full(count, np.nan)
    there = np.flatnonzero(np.isfinite(values))
    order = there[np.lexsort((values[there], group[there]))]
    first = np.flatnonzero(np.append(True, group[order][1:] != group[order][:-1])[: len(order)])
    size = np.diff(np.append(first, len(order)))
    for many in range(max(least, _DIXON_LEAST), _DIXON_MOST + 1):
        of_size = first[size == many]
        if not of_size.size:
            continue
        at = order[of_size[:, None] + np.arange(many)]
        sorted_ = values[at]
        low, high = sorted_[:, 1] - sorted_[:, 0], sorted_[:, -1] - sorted_[:, -2]
        span = sorted_[:, -1] - sorted_[:, 0]
        suspect = np.where(high >= low, at[:, -1], at[:, 0])
        ratio[suspect] = np.where(span > 0.0, np.maximum(low, high) / np.where(span, span, 1), 0.0)
        critical[suspect] = dixon_critical(many, alpha)
    return Dixon(ratio=ratio, critical=critical)


# ---------------------------------------------------------------- sampling


def sample_size(lot: int, share: float, confidence: float) -> int:
    """Return how many of a lot must be looked at, and all be good, to be that sure of the rest.

    The smallest n for which a lot with more than `share` bad ones would show none of them with a
    probability of at most 1 - confidence: drawing without replacement, product of
    (good - i) / (lot - i) (hypergeometric distribution, textbook formula). All where even one bad
    one is too many to miss.
    """
    bad = math.floor(share * lot + 1e-9) + 1
    missed = 1.0
    for drawn in range(lot):
        if missed <= 1.0 - confidence + 1e-12:
            return drawn
        missed *= max(lot - bad - drawn, 0) / (lot - drawn)
    return lot
