"""Tests of residuals: when an observation stands out, and how large a blunder must be to be found.

W. Baarda, A testing procedure for use in geodetic networks, 1968 (formulas from memory); the level
of one test follows from that of the whole net by Sidak's inequality (from memory), so that a
clean net names something no more often than stated.
"""

import numpy as np

from checker.geometry.statistics import normal_quantile
from checker.model.arrays import FloatArray

POWER = 0.8
"""Probability with which the minimal detectable blunder is found."""


def critical_value(confidence: float, tested: int) -> float:
    """Return what a standardized residual may be: two-sided normal, for a whole net of tests.

    confidence: of the net, 0 to 1. tested: number of observations tested.
    """
    # 1 - c^(1/n), without losing the digits of a small difference.
    one = -np.expm1(np.log(confidence) / max(tested, 1))
    return -normal_quantile(one / 2.0)


def detectable(critical: float, power: float = POWER) -> float:
    """Return the non-centrality with which a test of that critical value finds a blunder."""
    return critical + normal_quantile(power)


def minimal_blunder(critical: float, strength: FloatArray, power: float = POWER) -> FloatArray:
    """Return the smallest blunder that is found with that probability; shape (rows,).

    strength: by how much the standardized residual grows per unit of a blunder, sqrt(r) / sigma
    where an observation is not correlated with others; infinite where nothing checks it.
    """
    with np.errstate(divide="ignore"):
        return np.asarray(detectable(critical, power) / strength)
