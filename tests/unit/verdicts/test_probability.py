"""Probabilities against independent integrals, distributions and plain counting."""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.stats import multivariate_normal, ncx2, norm

from checker.model.arrays import FloatArray
from checker.verdicts.probability import within_circle, within_interval, within_rectangle
from tests.support.lines import row, run, write


def one(value: float) -> FloatArray:
    return np.array([value], dtype=np.float64)


def circle(n: float, e: float, sigma_n: float, sigma_e: float, radius: float) -> float:
    return float(within_circle(np.array([[n, e]]), np.array([[sigma_n, sigma_e]]), one(radius))[0])


def slanted(
    n: float, e: float, sigma_n: float, sigma_e: float, radius: float, correlation: float
) -> float:
    offset, sigma = np.array([[n, e]]), np.array([[sigma_n, sigma_e]])
    return float(within_circle(offset, sigma, one(radius), one(correlation))[0])


def interval(value: float, sigma: float, lower: float, upper: float) -> float:
    return float(within_interval(one(value), one(sigma), one(lower), one(upper))[0])


@pytest.mark.parametrize("scale", [1e-4, 1e-3, 1e-2, 0.1, 1.0, 10.0])
def test_equal_sigmas_against_the_noncentral_chi_square_of_scipy(scale: float) -> None:
    rng = np.random.default_rng(20310417)
    radius = 10.0 ** rng.uniform(-3, 0, 400)
    sigma = radius * scale
    distance = np.abs(radius + sigma * rng.normal(0.0, 3.0, 400))
    turn = rng.uniform(0.0, 2 * np.pi, 400)
    offset = np.column_stack((distance * np.cos(turn), distance * np.sin(turn)))
    ours = within_circle(offset, np.column_stack((sigma, sigma)), radius)
    theirs = ncx2.cdf((radius / sigma) ** 2, 2, (distance / sigma) ** 2)
    np.testing.assert_allclose(ours, theirs, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize(
    "case",
    [
        (0.004, 0.010, 0.006, 0.012, 0.015),
        (0.014, 0.002, 0.002, 0.010, 0.015),
        (0.014, 0.000, 0.010, 0.002, 0.015),
        (0.020, 0.020, 0.010, 0.009, 0.015),
        (-0.010, 0.010, 0.004, 0.019, 0.015),
        (0.000, 0.000, 0.030, 0.005, 0.015),
    ],
)
def test_unequal_sigmas_against_a_double_integral(case: tuple[float, ...]) -> None:
    n, e, sigma_n, sigma_e, radius = (1000.0 * value for value in case)
    expected, error = dblquad(
        lambda r, t: r * norm.pdf(r * np.cos(t), n, sigma_n) * norm.pdf(r * np.sin(t), e, sigma_e),
        0.0,
        2 * np.pi,
        0.0,
        radius,
        epsabs=1e-11,
        epsrel=1e-11,
    )
    assert error < 1e-9
    assert circle(*case) == pytest.approx(expected, abs=2e-9)


@pytest.mark.parametrize(
    "case", [(0.012, 0.006, 0.008, 0.004, 0.015), (0.0, 0.014, 0.0005, 0.02, 0.015)]
)
def test_unequal_sigmas_against_counting(case: tuple[float, ...]) -> None:
    n, e, sigma_n, sigma_e, radius = case
    rng = np.random.default_rng(7)
    count = 400_000
    inside = np.hypot(rng.normal(n, sigma_n, count), rng.normal(e, sigma_e, count)) <= radius
    p = circle(*case)
    assert abs(inside.mean() - p) < 4.0 * np.sqrt(p * (1 - p) / count)


@pytest.mark.parametrize("ratio", [1.0, 1.5, 3.9, 4.1, 40.0])
def test_narrow_sigmas_at_the_edge_of_the_circle_all_round(ratio: float) -> None:
    # On the edge of a circle that is wide against the sigmas the limit is nearly a straight line.
    turn = np.linspace(0.0, 2 * np.pi, 73)
    sigma = np.array([1e-5, 1e-5 * ratio])
    offset = np.column_stack((np.cos(turn), np.sin(turn)))
    p = within_circle(offset, np.broadcast_to(sigma, offset.shape), np.ones(73))
    np.testing.assert_allclose(p, 0.5, atol=2e-3 * ratio)


def test_far_tails_are_certain_and_never_nan() -> None:
    assert circle(0.0, 0.0, 1e-6, 1e-6, 0.015) == 1.0
    assert circle(5.0, 0.0, 1e-6, 2e-6, 0.015) == 0.0
    assert circle(1e6, 0.0, 1e-9, 1e-3, 0.015) == 0.0
    assert 0.0 < circle(0.0, 0.0, 10.0, 10.0, 0.015) < 2e-6


def test_sigma_zero_is_certainty() -> None:
    assert circle(0.009, 0.012, 0.0, 0.0, 0.015) == 1.0  # at the limit
    assert circle(0.009, 0.01201, 0.0, 0.0, 0.015) == 0.0
    assert interval(0.02, 0.0, -0.02, 0.02) == 1.0
    assert interval(0.02001, 0.0, -0.02, 0.02) == 0.0


def test_one_sigma_zero_leaves_the_other_axis() -> None:
    half = np.sqrt(0.015**2 - 0.009**2)
    expected = norm.cdf(half, 0.004, 0.01) - norm.cdf(-half, 0.004, 0.01)
    assert circle(0.009, 0.004, 0.0, 0.01, 0.015) == pytest.approx(expected, abs=1e-6)
    assert circle(0.004, 0.009, 0.01, 0.0, 0.015) == pytest.approx(expected, abs=1e-6)


def test_a_circle_of_no_size_holds_nothing() -> None:
    assert circle(0.0, 0.0, 0.01, 0.01, 0.0) == 0.0
    assert circle(0.0, 0.0, 0.0, 0.0, 0.0) == 1.0


def test_missing_is_missing() -> None:
    assert np.isnan(circle(np.nan, 0.0, 0.01, 0.01, 0.015))
    assert np.isnan(circle(0.0, 0.0, np.nan, 0.01, 0.015))
    assert np.isnan(interval(0.0, np.nan, -1.0, 1.0))
    assert np.isnan(interval(np.nan, 1.0, -1.0, 1.0))


def test_interval_keeps_the_digits_of_small_probabilities() -> None:
    assert interval(10.0, 1.0, -1.0, 1.0) == pytest.approx(
        norm.sf(9.0) - norm.sf(11.0), rel=1e-9, abs=0.0
    )
    assert interval(-10.0, 1.0, -1.0, 1.0) == pytest.approx(
        norm.sf(9.0) - norm.sf(11.0), rel=1e-9, abs=0.0
    )


def test_a_side_without_a_limit() -> None:
    assert interval(0.0, 1.0, -np.inf, 1.0) == pytest.approx(norm.cdf(1.0))
    assert interval(0.0, 1.0, -np.inf, np.inf) == 1.0


@pytest.mark.parametrize("correlation", [-0.95, -0.4, 0.3, 0.8])
@pytest.mark.parametrize(
    "case",
    [
        (0.004, 0.010, 0.006, 0.012, 0.015),
        (0.014, 0.002, 0.004, 0.010, 0.015),
        (-0.010, 0.010, 0.008, 0.008, 0.015),
        (0.000, 0.000, 0.020, 0.009, 0.015),
    ],
)
def test_correlated_axes_against_a_double_integral(
    case: tuple[float, ...], correlation: float
) -> None:
    """The density of the bivariate normal distribution itself, in polar coordinates."""
    n, e, sigma_n, sigma_e, radius = (1000.0 * value for value in case)
    between = correlation * sigma_n * sigma_e
    density = multivariate_normal([n, e], [[sigma_n**2, between], [between, sigma_e**2]])
    # Gauss-Legendre along the radius, equal steps round the circle: both converge quickly here
    nodes, weights = np.polynomial.legendre.leggauss(160)
    r = 0.5 * radius * (1.0 + nodes)
    t = 2.0 * np.pi * (np.arange(720) + 0.5) / 720
    place = np.stack((np.outer(r, np.cos(t)), np.outer(r, np.sin(t))), axis=-1)
    each = density.pdf(place).sum(axis=1) * (2.0 * np.pi / 720)
    expected = float(np.sum(0.5 * radius * weights * r * each))
    n, e, sigma_n, sigma_e, radius = case
    assert slanted(n, e, sigma_n, sigma_e, radius, correlation) == pytest.approx(expected, abs=2e-9)


def test_axes_that_are_wholly_correlated_leave_a_line() -> None:
    """Along the diagonal the probability is that of one axis, between the ends of the chord."""
    sigma, radius = 0.006, 0.010
    length = sigma * np.sqrt(2.0)
    expected = norm.cdf(radius / length) - norm.cdf(-radius / length)
    assert slanted(0.0, 0.0, sigma, sigma, radius, 1.0) == pytest.approx(expected, abs=1e-6)


def test_no_correlation_changes_nothing() -> None:
    case = (0.004, 0.010, 0.006, 0.012, 0.015)
    assert slanted(0.004, 0.010, 0.006, 0.012, 0.015, 0.0) == circle(*case)
    both = within_circle(
        np.array([case[:2]] * 2), np.array([case[2:4]] * 2), np.full(2, 0.015), np.array([0.0, 0.5])
    )
    assert both[0] == pytest.approx(circle(*case), abs=1e-12)
    assert both[1] != pytest.approx(circle(*case), abs=1e-3)


def test_a_rectangle_is_the_bivariate_normal_of_a_reference_library() -> None:
    """Against scipy's cumulative distribution, correlations of both signs, ends at 0 too."""
    rng = np.random.default_rng(7)
    rows = 60
    value = rng.normal(0.0, 0.02, (rows, 2))
    value[::7, 0] = 0.0
    sigma = rng.uniform(0.002, 0.03, (rows, 2))
    rho = rng.uniform(-0.99, 0.99, rows)
    rho[:3] = (0.999999, -0.999999, 0.5)
    upper = rng.uniform(0.005, 0.04, (rows, 2))
    lower = -rng.uniform(0.005, 0.04, (rows, 2))
    upper[5], lower[6, 1], upper[8, 0] = (0.0, 0.02), -np.inf, np.inf
    found = within_rectangle(value, sigma, rho, lower, upper)
    for at in range(rows):
        spread = np.diag(sigma[at])
        covariance = spread @ np.array([[1.0, rho[at]], [rho[at], 1.0]]) @ spread
        expected = multivariate_normal.cdf(
            upper[at], value[at], covariance, lower_limit=lower[at], abseps=1e-12, releps=1e-12
        )
        assert found[at] == pytest.approx(expected, abs=1e-7)


def test_a_rectangle_without_correlation_is_the_product_of_its_sides() -> None:
    value = np.array([[0.01, 0.0], [0.0, 0.02], [0.03, 0.0], [np.nan, 0.0]])
    sigma = np.array([[0.01, 0.01], [0.0, 0.01], [0.0, 0.01], [0.01, 0.01]])
    upper = np.full((4, 2), 0.02)
    for rho in (0.0, 0.7):  # with one of them certain there is nothing to correlate
        found = within_rectangle(value, sigma, np.full(4, rho), -upper, upper)
        sides = [
            within_interval(value[:, axis], sigma[:, axis], -upper[:, axis], upper[:, axis])
            for axis in (0, 1)
        ]
        rows = slice(None) if rho == 0.0 else slice(1, None)
        np.testing.assert_allclose(found[rows], (sides[0] * sides[1])[rows])


def test_along_and_across_hang_together_where_the_ellipse_lies_askew(tmp_path: Path) -> None:
    """On azimuth 45 degrees with sigmas of 20 and 4 mm: against scipy over the rectangle."""
    write(
        tmp_path,
        '[job]\ntitle = "Invented"\nunit = "metre"\n[design]\npoints = "d.csv"\n[measured]\n'
        'files = ["m.csv"]\n[alignment.A]\nelements = "e.csv"\nstart_point = { n = -50, e = -50 }\n'
        'start_azimuth = 45\n[[stakeout]]\nname = "S"\nalignment = "A"\n'
        "tolerance = { along = 0.02, across = 0.02 }\n",
        d_csv="id,northing,easting\n1,0,0\n2,10,10\n",
        m_csv="id,northing,easting,sigma_n,sigma_e\n1,0,0,0.02,0.004\n2,10.02,10,0.02,0.004\n",
        e_csv="type,length\nline,200\n",
    )
    half = np.sqrt(0.5)
    turn = np.array([[half, half], [-half, half]])
    covariance = turn @ np.diag([0.02**2, 0.004**2]) @ turn.T
    for name, north in (("1", 0.0), ("2", 0.02)):
        middle = turn @ np.array([north, 0.0])
        expected = multivariate_normal.cdf(
            [0.02, 0.02], middle, covariance, lower_limit=[-0.02, -0.02]
        )
        assert row(run(tmp_path), "S", name)["p_within"] == pytest.approx(expected, abs=1e-6)
