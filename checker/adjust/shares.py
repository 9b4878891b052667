"""The classic rules that share a misclosure out, each a few lines of arithmetic.

A correction has the sign opposite to the misclosure, and the corrections of one rule always add up
to all of it. Metres and radians. The rules are common practice; tests/published/closures holds
worked examples of each from several textbooks and courses.
"""

import numpy as np

from checker.model.arrays import FloatArray

NOTHING = 1e-9
"""Share of the length below which latitudes (or departures) are rounding noise, not lengths."""
PARALLEL = 1e-6
"""Legs whose directions spread by less (sine squared) close only along one line (our choice)."""


def by_weight(misclosure: float, weight: FloatArray) -> FloatArray:
    """Return corrections in proportion to weight; shape as weight, unit of misclosure.

    weight: not negative, with a sum above zero; all zero shares equally.
    """
    total = float(np.sum(weight))
    if total <= 0.0:
        return equally(misclosure, weight.size)
    return np.asarray(-misclosure * (weight / total))


def equally(misclosure: float, count: int) -> FloatArray:
    """Return `count` equal corrections: the angles of a traverse, observed alike."""
    return np.full(count, -misclosure / count if count else 0.0)


def along_run(misclosure: float, weight: FloatArray) -> FloatArray:
    """Return the correction at the end of every section of a level run, metres.

    weight: shape (sections,), length or number of set-ups; the last correction is all of it.
    """
    return np.asarray(np.cumsum(by_weight(misclosure, weight)))


def compass_rule(
    leg_m: FloatArray, misclosure_n_m: float, misclosure_e_m: float
) -> tuple[FloatArray, FloatArray]:
    """Return corrections of latitudes and departures in proportion to the legs' lengths, metres.

    leg_m: shape (legs,). The rule that Bowditch published: directions and distances equally good.
    """
    return by_weight(misclosure_n_m, leg_m), by_weight(misclosure_e_m, leg_m)


def transit_rule(
    latitude_m: FloatArray,
    departure_m: FloatArray,
    leg_m: FloatArray,
    misclosure_n_m: float,
    misclosure_e_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Return corrections in proportion to the size of the latitudes, and of the departures, metres.

    All arrays shape (legs,). Where every leg runs east and west there is no latitude to share by:
    the northing is then shared by the legs' lengths, and likewise for departures.
    """
    return (
        by_weight(misclosure_n_m, _size_or_length(latitude_m, leg_m)),
        by_weight(misclosure_e_m, _size_or_length(departure_m, leg_m)),
    )


def crandall_rule(
    latitude_m: FloatArray,
    departure_m: FloatArray,
    leg_m: FloatArray,
    misclosure_n_m: float,
    misclosure_e_m: float,
) -> tuple[FloatArray, FloatArray] | None:
    """Return corrections of latitudes and departures along the legs: directions are held, metres.

    The lengths' corrections are those of least squares with variances in proportion to the lengths
    (C. L. Crandall, 1901; as J. Mahun, Open Access surveying library, Traverse Computations ch. K,
    describes it: angles held, distances by least squares). All arrays shape (legs,). None where
    the legs run so nearly in one direction that no lengths close them.
    """
    north, east = latitude_m / leg_m, departure_m / leg_m
    nn = float(np.sum(latitude_m * north))
    ee = float(np.sum(departure_m * east))
    ne = float(np.sum(latitude_m * east))
    determinant = nn * ee - ne * ne
    if determinant <= PARALLEL * (nn + ee) ** 2:
        return None
    k_n = (-misclosure_n_m * ee + misclosure_e_m * ne) / determinant
    k_e = (misclosure_n_m * ne - misclosure_e_m * nn) / determinant
    stretch = latitude_m * k_n + departure_m * k_e  # correction of each length
    return np.asarray(stretch * north), np.asarray(stretch * east)


def _size_or_length(part_m: FloatArray, leg_m: FloatArray) -> FloatArray:
    size = np.abs(part_m)
    return size if float(np.sum(size)) > NOTHING * float(np.sum(leg_m)) else leg_m
