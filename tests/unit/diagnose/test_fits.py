import numpy as np
import pytest

from checker.diagnose.fits import Freedom, fit_move, robust_linear, robust_mean

RNG = np.random.default_rng(7)
KNOWN = (600_000 + RNG.uniform(0, 300, 30)) + 1j * (150_000 + RNG.uniform(0, 200, 30))
SIGMA = np.full(30, 0.01)


def noisy(moved: np.ndarray) -> np.ndarray:
    rng = np.random.default_rng(8)
    return moved + rng.normal(0, 0.01, 30) + 1j * rng.normal(0, 0.01, 30)


@pytest.mark.parametrize("bad", [0, 5])
def test_a_clockwise_turn_and_a_scale_are_found_beside_bad_points(bad: int) -> None:
    centre = KNOWN.mean()
    factor = (1 + 400e-6) * np.exp(-1j * 0.003)
    measured = noisy(factor * (KNOWN - centre) + centre + (0.5 - 0.2j))
    measured[:bad] += 3.0 + 2.0j
    move = fit_move(KNOWN, measured, SIGMA, Freedom.BOTH)
    assert move is not None
    assert abs(move.factor - factor) < 4 * move.sigma_factor
    assert move.sigma_factor < 5e-5


def test_only_the_freedom_that_is_asked_for_is_used() -> None:
    measured = noisy(KNOWN * 1.0)
    turn = fit_move(KNOWN, measured, SIGMA, Freedom.TURN)
    scale = fit_move(KNOWN, measured, SIGMA, Freedom.SCALE)
    shift = fit_move(KNOWN, measured, SIGMA, Freedom.NONE)
    assert turn is not None
    assert scale is not None
    assert shift is not None
    assert abs(abs(turn.factor) - 1) < 1e-12
    assert scale.factor.imag == 0
    assert shift.factor == 1


def test_about_a_point_nothing_is_shifted() -> None:
    about = complex(600_100, 150_050)
    measured = np.exp(-0.01j) * (KNOWN - about) + about
    move = fit_move(KNOWN, measured, SIGMA, Freedom.TURN, about)
    assert move is not None
    assert abs(move.shift) == 0
    assert np.angle(move.factor) == pytest.approx(-0.01, abs=1e-9)


def test_too_few_points_determine_no_turn() -> None:
    assert fit_move(KNOWN[:1], KNOWN[:1], SIGMA[:1], Freedom.TURN) is None
    assert fit_move(np.repeat(KNOWN[:1], 3), KNOWN[:3], SIGMA[:3], Freedom.TURN) is None
    assert fit_move(KNOWN[:0], KNOWN[:0], SIGMA[:0], Freedom.NONE) is None


def test_a_third_of_bad_values_does_not_move_the_mean() -> None:
    values = np.random.default_rng(3).normal(0.2, 0.01, 30)
    values[:10] += np.linspace(0.5, 4.0, 10)
    mean, sigma = robust_mean(values, SIGMA)
    assert abs(mean - 0.2) < 4 * sigma
    assert 0.001 < sigma < 0.01


def test_a_plane_is_found_with_its_covariance() -> None:
    rng = np.random.default_rng(5)
    xy = rng.uniform(-100, 100, (40, 2))
    design = np.column_stack((np.ones(40), xy))
    values = design @ (-28.0, 1e-4, -5e-5) + rng.normal(0, 0.01, 40)
    fitted = robust_linear(design, values, np.full(40, 0.01))
    assert fitted is not None
    found, covariance = fitted
    assert np.all(np.abs(found - (-28.0, 1e-4, -5e-5)) < 4 * np.sqrt(np.diag(covariance)))
    assert robust_linear(design[:2], values[:2], np.ones(2)) is None
