import numpy as np
import pytest
from scipy.optimize import least_squares

from checker.geometry.arrays import FloatArray
from checker.geometry.fit import (
    FitError,
    fit_circle,
    fit_level,
    fit_plane,
    fit_rigid,
    fit_shift,
    fit_similarity,
)

RNG = np.random.default_rng(12)


def site(count: int = 9) -> tuple[FloatArray, FloatArray]:
    xy = RNG.uniform(0.0, 300.0, (count, 2)) + np.array([600_000.0, 4_000_000.0])
    turn = -np.radians(2.0)  # clockwise
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    centre = xy.mean(axis=0)
    return xy, 1.0003 * (xy - centre) @ matrix.T + centre + np.array([5.0, -7.0])


def noisy() -> tuple[FloatArray, FloatArray]:
    xy, target = site()
    return xy, target + RNG.normal(0.0, 0.01, target.shape)


def test_similarity_finds_a_known_move() -> None:
    xy, target = site()
    move = fit_similarity(xy, target)
    assert move.scale == pytest.approx(1.0003, abs=1e-12)
    assert np.degrees(move.rotation_rad) == pytest.approx(2.0, abs=1e-10)
    np.testing.assert_allclose(move.apply(xy), target, atol=1e-8)
    assert move.redundancy == 14
    # North turned clockwise by 2 degrees points east of north.
    north = move.apply([(6e5, 4e6), (6e5, 4e6 + 100.0)])
    assert north[1, 0] - north[0, 0] == pytest.approx(100.03 * np.sin(np.radians(2.0)), abs=1e-6)


def parameters(xy: FloatArray, target: FloatArray, free: int) -> FloatArray:
    """The same by a general optimiser: (shift e, shift n, rotation, scale - 1), first `free`."""
    middle, goal = xy - xy.mean(axis=0), target - target.mean(axis=0)

    def miss(p: FloatArray) -> FloatArray:
        turn = -p[2] if free > 2 else 0.0
        scale = 1.0 + (p[3] if free > 3 else 0.0)
        matrix = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        return np.asarray((middle @ matrix.T + p[:2] - goal).ravel())

    return np.asarray(least_squares(miss, np.zeros(free), xtol=1e-15, ftol=1e-15, gtol=1e-15).x)


@pytest.mark.parametrize(("fit", "free"), [(fit_similarity, 4), (fit_rigid, 3), (fit_shift, 2)])
def test_scipy_agrees(fit: object, free: int) -> None:
    assert callable(fit)
    xy, target = noisy()
    move = fit(xy, target)
    found = parameters(xy, target, free)
    if free > 2:
        assert move.rotation_rad == pytest.approx(found[2], abs=1e-9)
    assert move.scale - 1.0 == pytest.approx(found[3] if free > 3 else 0.0, abs=1e-9)
    np.testing.assert_allclose(move.residual_m, move.apply(xy) - target, atol=1e-8)
    assert move.redundancy == 18 - free
    assert move.sigma_m == pytest.approx(
        np.sqrt(np.sum(move.residual_m**2) / move.redundancy), rel=1e-12
    )


@pytest.mark.parametrize("fit", [fit_similarity, fit_rigid, fit_shift])
def test_leaving_out_is_fitting_without(fit: object) -> None:
    assert callable(fit)
    xy, target = noisy()
    move = fit(xy, target)
    for index in range(len(xy)):
        others = np.arange(len(xy)) != index
        without = fit(xy[others], target[others])
        np.testing.assert_allclose(
            move.left_out_m[index], (without.apply(xy[[index]]) - target[[index]])[0], atol=1e-8
        )


def test_a_bust_shows_when_left_out() -> None:
    xy, target = noisy()
    target[3] += (0.4, 0.0)
    move = fit_similarity(xy, target)
    size = np.hypot(*move.left_out_m.T)
    assert int(np.argmax(size)) == 3
    assert size[3] == pytest.approx(0.4, abs=0.05)


def test_uncertainty_grows_away_from_the_points() -> None:
    xy, target = noisy()
    move = fit_similarity(xy, target)
    near = move.sigma_at(move.centre_from_m[None, :])
    far = move.sigma_at(move.centre_from_m[None, :] + 2000.0)
    np.testing.assert_allclose(near, move.sigma_m / 3.0)
    assert (far > 5.0 * near).all()
    # By simulation: the scatter of a far point over many fits.
    clean, goal = site()
    place = clean.mean(axis=0)[None, :] + 500.0
    moved = np.array(
        [
            fit_similarity(clean, goal + RNG.normal(0, 0.01, goal.shape)).apply(place)[0]
            for _ in range(800)
        ]
    )
    expected = fit_similarity(clean, goal)
    scale = 0.01 * np.sqrt(1.0 / 9.0 + 500_000.0 / expected.spread_m2)
    np.testing.assert_allclose(moved.std(axis=0), scale, rtol=0.1)


def test_few_points() -> None:
    two = fit_similarity([(0, 0), (10, 0)], [(5, 5), (5, 15)])
    assert two.redundancy == 0
    assert np.isnan(two.sigma_m)
    assert np.isnan(two.left_out_m).all()
    assert two.rotation_rad == pytest.approx(-np.pi / 2)
    np.testing.assert_allclose(fit_shift([(1, 2)], [(4, 6)]).apply([(0, 0)]), [[3, 4]])
    with pytest.raises(FitError, match="do not fix"):
        fit_similarity([(0, 0)], [(1, 1)])
    with pytest.raises(FitError, match="one place"):
        fit_rigid([(1, 1), (1, 1)], [(0, 0), (1, 1)])
    with pytest.raises(FitError, match="lacks a coordinate"):
        fit_shift([(np.nan, 1)], [(0, 0)])
    with pytest.raises(ValueError, match="targets"):
        fit_shift([(0, 1)], [(0, 0), (1, 1)])


def test_plane() -> None:
    xy = RNG.uniform(0.0, 50.0, (30, 2))
    z = 12.0 + 0.02 * (xy[:, 0] - 20.0) - 0.01 * xy[:, 1]
    plane = fit_plane(xy, z)
    assert (plane.rise_east, plane.rise_north) == pytest.approx((0.02, -0.01), abs=1e-13)
    np.testing.assert_allclose(plane.at(xy), z, atol=1e-12)
    # Looking north-east: along (0.02 - 0.01) / sqrt 2, to the right 0.03 / sqrt 2.
    assert plane.fall(np.radians(45.0)) == pytest.approx(
        (0.01 / np.sqrt(2.0), 0.03 / np.sqrt(2.0)), abs=1e-13
    )
    assert np.degrees(plane.aspect_rad) == pytest.approx(360.0 - np.degrees(np.arctan(2.0)))


def test_plane_and_level_left_out_and_covariance() -> None:
    xy = RNG.uniform(0.0, 50.0, (8, 2))
    z = 12.0 + 0.02 * xy[:, 0] + RNG.normal(0.0, 0.01, 8)
    for fit in (fit_plane, fit_level):
        height = fit(xy, z)
        for index in range(8):
            others = np.arange(8) != index
            without = fit(xy[others], z[others]).at(xy[[index]])[0] - z[index]
            assert height.fit.left_out[index] == pytest.approx(without, abs=1e-10)
        assert height.fit.redundancy_number.sum() == pytest.approx(height.fit.redundancy)
    plane = fit_plane(xy, z)
    _, covariance = np.polyfit(np.arange(8.0), z, 1, cov="unscaled")
    assert covariance.shape == (2, 2)
    design = np.column_stack((np.ones(8), xy - xy.mean(axis=0)))
    expected = plane.fit.sigma**2 * np.linalg.inv(design.T @ design)
    np.testing.assert_allclose(plane.fit.covariance, expected, rtol=1e-9, atol=1e-16)
    assert plane.sigma_at(xy.mean(axis=0)[None, :])[0] == pytest.approx(
        plane.fit.sigma / np.sqrt(8)
    )
    with pytest.raises(FitError, match="in a line"):
        fit_plane([(0, 0), (1, 1), (2, 2)], [1, 2, 3])
    with pytest.raises(FitError, match="2 points"):
        fit_plane([(0, 0), (1, 1)], [1, 2])


def test_three_marks_check_nothing() -> None:
    plane = fit_plane([(0, 0), (100, 0), (0, 100)], [1.0, 2.0, 9.0])
    assert plane.fit.redundancy == 0
    np.testing.assert_allclose(plane.fit.residual, 0.0, atol=1e-12)
    assert np.isnan(plane.fit.left_out).all()


def test_circle_through_three_points() -> None:
    circle = fit_circle([(4_000_005.0, 5.0), (4_000_000.0, 10.0), (3_999_995.0, 5.0)])
    np.testing.assert_allclose(circle.centre_m, [4_000_000.0, 5.0], atol=1e-8)
    assert circle.radius_m == pytest.approx(5.0, abs=1e-9)
    assert np.isnan(circle.sigma_radius_m)
    assert circle.turn_rad == pytest.approx(np.pi)


def test_circle_agrees_with_scipy() -> None:
    angle = np.linspace(0.2, 1.7, 12)
    xy = np.column_stack((100.0 + 25.0 * np.cos(angle), 50.0 + 25.0 * np.sin(angle)))
    xy += RNG.normal(0.0, 0.02, xy.shape)
    circle = fit_circle(xy)

    def miss(p: FloatArray) -> FloatArray:
        return np.asarray(np.hypot(*(xy - p[:2]).T) - p[2])

    found = least_squares(miss, [100.0, 50.0, 25.0], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    np.testing.assert_allclose([*circle.centre_m, circle.radius_m], found.x, atol=1e-7)
    np.testing.assert_allclose(circle.residual_m, miss(found.x), atol=1e-7)
    slopes = np.asarray(found.jac)
    cofactor = np.linalg.inv(slopes.T @ slopes) * circle.sigma_m**2
    # The fit works in units of its own size; variances scale as the residuals do.
    np.testing.assert_allclose(circle.covariance, cofactor, rtol=1e-5)
    assert circle.turn_rad == pytest.approx(1.5, abs=0.01)


def test_no_circle() -> None:
    with pytest.raises(FitError, match="in a line"):
        fit_circle([(0, 0), (1, 1), (2, 2), (5, 5)])
    with pytest.raises(FitError, match="2 points"):
        fit_circle([(0, 0), (1, 1)])
