"""What an applied site fit adds to the standard deviations: against counting, and by its laws."""

import math
from dataclasses import replace

import numpy as np
import pytest

from checker.checks.deltas import sigmas_of
from checker.checks.fit_uncertainty import fit_sigmas
from checker.checks.site_fit import fit_site
from checker.geometry.fit import fit_level, fit_plane, fit_shift, fit_similarity
from checker.model.job import HeightFitKind, PlanFit, SiteFit
from checker.model.points import SigmaBudget
from tests.support.points import HERE, Shot, inputs, job, points

MARKS = [(0.0, 0.0), (0.0, 300.0), (200.0, 310.0), (210.0, -20.0), (100.0, 120.0)]
PLACES = [(100.0, 150.0), (0.0, 0.0), (600.0, -400.0)]
N0, E0 = 512000.0, 618000.0
TRIALS = 4000


def rows(places: list[tuple[float, float]], first: str = "M") -> list[Shot]:
    return [(f"{first}{k}", N0 + n, E0 + e, 10.0) for k, (n, e) in enumerate(places)]


@pytest.mark.parametrize("plan", [PlanFit.SIMILARITY, PlanFit.SHIFT])
@pytest.mark.parametrize("height", [HeightFitKind.PLANE, HeightFitKind.SHIFT])
def test_counted_scatter_of_moved_points(plan: PlanFit, height: HeightFitKind) -> None:
    """Refit noisy marks many times: the moved places scatter as the formula says."""
    rng = np.random.default_rng(31)
    s_xy, s_z = 0.008, 0.012
    xy = np.array([[e, n] for n, e in MARKS])
    at = np.array([[e, n] for n, e in PLACES])
    origin = np.array([E0, N0])
    moved, rises = [], []
    for _ in range(TRIALS):
        noisy = xy + rng.normal(0.0, s_xy, xy.shape)
        fit = fit_similarity if plan is PlanFit.SIMILARITY else fit_shift
        moved.append(fit(noisy, xy).apply(at))
        level = fit_plane if height is HeightFitKind.PLANE else fit_level
        rises.append(level(xy, rng.normal(0.0, s_z, len(xy))).at(at))
    shots = points(rows(MARKS) + rows(PLACES, "P"), sigma=(s_xy, s_xy, s_z))
    marks = tuple(np.array([k]) for k in range(len(MARKS)))
    plan_fit = (fit_similarity if plan is PlanFit.SIMILARITY else fit_shift)(
        xy + origin, xy + origin
    )
    height_fit = (fit_plane if height is HeightFitKind.PLANE else fit_level)(
        xy + origin, np.zeros(len(xy))
    )
    found = fit_sigmas(shots, marks, marks, plan_fit, height_fit, None)
    assert not found.from_residuals_h  # perfect residuals: the stored ones say more
    assert found.h_m is not None
    assert found.z_m is not None
    counted_h = np.sqrt(np.var(np.array(moved), axis=0).sum(axis=1))
    counted_z = np.std(np.array(rises), axis=0)
    slack = 5.0 / math.sqrt(2.0 * TRIALS)
    np.testing.assert_allclose(found.h_m[len(MARKS) :], counted_h, rtol=slack)
    np.testing.assert_allclose(found.z_m[len(MARKS) :], counted_z, rtol=slack)


def test_an_applied_fit_is_in_the_standard_deviations_of_what_it_moved() -> None:
    rng = np.random.default_rng(5)
    known = points(rows(MARKS))
    noisy: list[Shot] = [
        (name, n + rng.normal(0.0, 0.01), e + rng.normal(0.0, 0.01), z + rng.normal(0.0, 0.02))
        for name, n, e, z in rows(MARKS)
    ]
    shots = points(noisy + rows(PLACES, "P"), sigma=(0.004, 0.004, 0.006))
    section = SiteFit(where=HERE, name="site_fit", apply=True)
    site = fit_site(section, inputs(measured=shots, control=known), job())
    assert site.moved is not None
    index = np.arange(len(MARKS), len(shots))
    found = sigmas_of(site.moved, index, None)
    between = sigmas_of(site.moved, index, None, control=False)
    np.testing.assert_allclose(between.h, 0.004 * math.sqrt(2.0))
    added = np.sqrt(found.h**2 - between.h**2)
    assert added[2] > 2.0 * added[0]  # far away the turn counts
    assert np.all(found.z > between.z)
    assert any("from the marks' residuals" in text for text in site.measure.remarks)
    # a fit that is only shown adds nothing
    shown = fit_site(replace(section, apply=False), inputs(measured=shots, control=known), job())
    assert shown.moved is None
    assert not any("own uncertainty" in text for text in shown.measure.remarks)


def test_without_redundancy_the_stored_deviations_of_the_marks_stand_in() -> None:
    two = rows(MARKS[:2])
    section = SiteFit(where=HERE, name="site_fit", apply=True)
    known = points(two)
    shots = points(two + rows(PLACES, "P"), sigma=(0.004, 0.004, 0.006))
    site = fit_site(section, inputs(measured=shots, control=known), job())
    assert site.moved is not None
    assert site.moved.budget is not None
    assert site.moved.budget.fit_h_m is not None
    # at the middle of two marks 300 m apart: s / sqrt 2 on an axis
    away = 2.0 * (100.0**2 + 0.0**2) / 300.0**2
    expected = 0.004 * math.sqrt(2.0 * (0.5 + away))
    assert site.moved.budget.fit_h_m[2] == pytest.approx(expected, rel=1e-6)
    silent = points(two + rows(PLACES, "P"))
    site = fit_site(section, inputs(measured=silent, control=known), job())
    assert site.moved is not None
    assert site.moved.budget is not None
    assert site.moved.budget.fit_h_m is None
    assert sum("cannot be said" in text for text in site.measure.remarks) == 1


def test_more_shots_of_a_mark_average_and_the_control_does_not() -> None:
    once = points(rows(MARKS), sigma=(0.006, 0.006, 0.009))
    twice = points(rows(MARKS) * 2, sigma=(0.006, 0.006, 0.009))
    xy = np.column_stack((once.easting_m, once.northing_m))
    shift, level = fit_shift(xy, xy), fit_level(xy, np.zeros(len(xy)))
    one = tuple(np.array([k]) for k in range(5))
    two = tuple(np.array([k, k + 5]) for k in range(5))
    first = fit_sigmas(once, one, one, shift, level, None)
    both = fit_sigmas(twice, two, two, shift, level, None)
    assert first.h_m is not None
    assert both.h_m is not None
    assert first.h_m[0] == pytest.approx(math.sqrt(2.0) * both.h_m[0])
    assert first.h_m[0] == pytest.approx(0.006 * math.sqrt(2.0 / 5.0))
    known = replace(twice, budget=SigmaBudget(control_h_m=0.02))
    with_control = fit_sigmas(known, two, two, shift, level, None)
    assert with_control.h_m is not None
    assert with_control.h_m[0] ** 2 == pytest.approx(both.h_m[0] ** 2 + 0.02**2 / 5.0)


@pytest.mark.parametrize("turn_deg", [30.0, 90.0, 200.0])
def test_stored_axes_turn_with_the_points(turn_deg: float) -> None:
    """Against the matrix R C R' of a rotation that lets azimuths grow."""
    turn = math.radians(turn_deg)
    shots = points(
        rows(PLACES), sigma=(0.004, 0.009, 0.01), correlation_ne=np.array([0.0, 0.5, -0.9])
    )
    turned = replace(shots, budget=SigmaBudget(turn_rad=turn))
    found = sigmas_of(turned, np.arange(3), None)
    assert found.correlation is not None
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    for k, r in enumerate((0.0, 0.5, -0.9)):
        between = r * 0.004 * 0.009
        covariance = np.array([[0.004**2, between], [between, 0.009**2]])
        expected = matrix @ covariance @ matrix.T
        assert found.n[k] ** 2 == pytest.approx(expected[0, 0], rel=1e-9)
        assert found.e[k] ** 2 == pytest.approx(expected[1, 1], rel=1e-9)
        ours = found.correlation[k] * found.n[k] * found.e[k]
        assert ours == pytest.approx(expected[0, 1], abs=1e-15)
        # along a direction that turned with the points nothing changes
        ahead = sigmas_of(shots, np.array([k]), None).along(np.array([0.7]))
        after = sigmas_of(turned, np.array([k]), None).along(np.array([0.7 + turn]))
        assert after[0] == pytest.approx(ahead[0], rel=1e-9)
