"""How an adjusted network is tested, and how precise it is.

The variance factor is tested two-sided by chi-square; every observation by its standardized
residual at a level that keeps the whole net's at 1 - confidence, one at a time: the largest is set
aside, the net adjusted again, and so on. Where the standard deviations are stated that is Baarda's
test (normal, level of one test by Sidak); where one is assumed it is Pope's (tau, with the standard
deviation of unit weight from the same residuals, level by Bonferroni). The smallest blunder that
the test finds with 80 % probability is (z(1 - a/2) + z(0.8)) sigma / sqrt(r) (W. Baarda, 1968; A.
Pope, NOAA TR NOS 65 NGS 1, 1976; both from memory). Ellipses are scaled by
sqrt(2 F(confidence; 2, degrees of freedom)) and the a posteriori standard deviation of unit weight,
or by sqrt(chi-square(confidence, 2)) a priori.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checker.adjust.observations import AXES, Kind
from checker.adjust.reliability import critical_value, minimal_blunder
from checker.checks.net import Net, Solved
from checker.checks.network_parts import Assembled
from checker.errors import InputError
from checker.geometry.statistics import chi_square_quantile, f_quantile, pope_critical
from checker.model.arrays import FloatArray, IntArray
from checker.model.job import Network, ResidualTest

MOST_NAMED = 8
"""So many observations at most are set aside one after another."""
SAME = 1e-3
"""Standardized residuals that differ by less cannot be told apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tests:
    """Tests at the stated confidence.

    low, high: bounds of chi-square. test: of residuals. critical: of its statistic, which is the
    standardized residual over `unit`. normal: two-sided normal quantile of one test. scale: of
    standard ellipses. passes: chi-square lies within its bounds.
    """

    low: float
    high: float
    test: ResidualTest
    critical: float
    unit: float
    normal: float
    scale: float
    passes: bool

    def detectable(self, solved: Solved) -> FloatArray:
        """Return what a blunder must be to be found with 80 %; shape (rows,), NaN: untestable."""
        found = solved.adjustment
        size = np.full(len(found.residual), np.nan)
        known = np.isfinite(found.standardized)
        size[known] = self.unit * minimal_blunder(self.normal, found.strength[known])
        return size


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """Stations joined by an observation of plan, with their relative ellipses; shape (pairs,).

    one, other: indices of stations. length_m: their distance. semi_major_m, semi_minor_m: at the
    confidence; azimuth_rad: of the major axis.
    """

    one: IntArray
    other: IntArray
    length_m: FloatArray
    semi_major_m: FloatArray
    semi_minor_m: FloatArray
    azimuth_rad: FloatArray

    def worst(self, section: Network) -> int:
        """Return the pair that uses most of its limit; the largest where there is none; -1."""
        if not len(self.one):
            return -1
        limit = None if section.tolerance is None else section.tolerance.distance
        allowed = 1.0 if limit is None else np.asarray(limit.at(length_m=self.length_m))
        return int(np.argmax(self.semi_major_m / allowed))


def tests_of(section: Network, solved: Solved) -> Tests:
    """Return the tests of an adjusted network."""
    alpha = 1.0 - section.confidence
    found = solved.adjustment
    freedom = found.degrees_of_freedom
    tested = int(np.count_nonzero(np.isfinite(found.standardized)))
    low = high = float("nan")
    if freedom > 0:
        low, high = (chi_square_quantile(p, freedom) for p in (alpha / 2.0, 1.0 - alpha / 2.0))
    if section.a_priori or freedom < 1:
        scale = math.sqrt(chi_square_quantile(section.confidence, 2))
    else:
        scale = found.sigma0 * math.sqrt(2.0 * f_quantile(section.confidence, 2, freedom))
    test = section.test
    if test is None:
        assumed = any(each.assumed for each in solved.sightings)
        test = ResidualTest.POPE if assumed else ResidualTest.BAARDA
    normal = critical_value(section.confidence, tested)
    critical, unit = normal, 1.0
    if test is ResidualTest.POPE:
        # With one degree of freedom every residual has the same tau: nothing can be told.
        critical, unit = float("inf"), found.sigma0
        if freedom > 1:
            critical = pope_critical(freedom, alpha / (2.0 * max(tested, 1)))
    return Tests(
        low=low,
        high=high,
        test=test,
        critical=critical,
        unit=unit,
        normal=normal,
        scale=scale,
        passes=freedom < 1 or bool(low <= found.chi2 <= high),
    )


def snooped(
    section: Network, made: Assembled, solved: Solved, tests: Tests
) -> list[tuple[list[int], float]]:
    """Return the sightings that stand out, one after another, with their statistics.

    Several in one entry cannot be told apart. After each the net is adjusted again without it; the
    adjustment that is shown keeps them all.
    """
    named: list[tuple[list[int], float]] = []
    index = list(range(len(solved.sightings)))
    now, by = solved, tests
    while len(named) < MOST_NAMED:
        size = np.abs(np.nan_to_num(now.adjustment.standardized))
        if by.unit > 0.0 and np.isfinite(by.unit):
            size = size / by.unit
        if not size.size or size.max() <= by.critical:
            break
        rows = np.flatnonzero(size >= size.max() - SAME)
        alike = list(dict.fromkeys(now.row[row] for row in rows.tolist()))
        named.append(([index[each] for each in alike], float(size.max())))
        if len(alike) > 1:
            break
        index.pop(alike[0])
        rest = Assembled(
            net=Net(
                sightings=[solved.sightings[each] for each in index],
                approximate=made.net.approximate,
                known=made.net.known,
            ),
            free=made.free,
            grid=made.grid,
            geoid_m=made.geoid_m,
        )
        try:
            now = rest.solved(section.where)
        except InputError:  # without it the net no longer settles: nothing more can be told
            break
        by = tests_of(section, now)
    return named


# ---------------------------------------------------------------- ellipses


def ellipse(cofactor: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return semi-axes and azimuth of the major one of standard ellipses; shape (stations,).

    cofactor: shape (stations, 2 or 3, 2 or 3), north first.
    """
    nn, ee, ne = cofactor[:, 0, 0], cofactor[:, 1, 1], cofactor[:, 0, 1]
    half = np.hypot((nn - ee) / 2.0, ne)
    mean = (nn + ee) / 2.0
    major = np.sqrt(np.maximum(mean + half, 0.0))
    minor = np.sqrt(np.maximum(mean - half, 0.0))
    azimuth = np.mod(0.5 * np.arctan2(2.0 * ne, nn - ee), np.pi)
    return major, minor, np.asarray(azimuth)


def pairs_of(solved: Solved, tests: Tests) -> Pairs:
    """Return the pairs of stations joined by an observation of plan, with their precision.

    An angle joins its station with both others. Two points that are held have none.
    """
    found, seen = solved.adjustment, solved.observations
    joins = [Kind.DISTANCE, Kind.AZIMUTH, Kind.DIRECTION, AXES[0][0]]
    rows = np.isin(seen.kind, joins)
    angles = np.flatnonzero(seen.kind == Kind.ANGLE)
    booked = np.column_stack(
        (
            np.concatenate((seen.i[rows], seen.i[angles], seen.i[angles])),
            np.concatenate((seen.j[rows], seen.j[angles], seen.k[angles])),
        )
    )
    _, first = np.unique(np.sort(booked, axis=1), axis=0, return_index=True)
    ends = booked[np.sort(first)].reshape(-1, 2)
    held = np.asarray(solved.fixed[:, :2].all(axis=1))
    ends = ends[~(held[ends].all(axis=1))]
    one, other = ends[:, 0], ends[:, 1]
    major, minor, azimuth = ellipse(found.relative_plan_cofactors(one, other))
    step = found.position_m[other, :2] - found.position_m[one, :2]
    return Pairs(
        one=one,
        other=other,
        length_m=np.hypot(*step.T),
        semi_major_m=major * tests.scale,
        semi_minor_m=minor * tests.scale,
        azimuth_rad=azimuth,
    )


def names_of(solved: Solved, pairs: Pairs, at: Sequence[int]) -> list[str]:
    """Return pairs as "A-B"."""
    return [f"{solved.names[pairs.one[k]]}-{solved.names[pairs.other[k]]}" for k in at]
