"""A net of every kind of observation at once, against scipy.optimize on a model of its own."""

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from checker.adjust.least_squares import Kind, Observations, adjust
from checker.model.arrays import FloatArray

FULL = np.array([[4.0, 1.5, -0.8], [1.5, 3.0, 0.9], [-0.8, 0.9, 9.0]]) * 1e-6
PLACE = np.array(
    [
        [1000.0, 1000.0, 10.0],
        [1010.0, 1400.0, 11.0],
        [1420.0, 1390.0, 13.0],
        [1400.0, 990.0, 12.0],
        [1200.0, 1210.0, 15.0],
    ]
)
Row = tuple[Kind, tuple[int, int, int], float]
ROWS: list[Row] = [
    *((Kind.DISTANCE, (i, j, -1), 0.002) for i, j in ((0, 1), (1, 2), (2, 3), (3, 0), (0, 4))),
    *((Kind.ANGLE, (i, j, k), 2e-5) for i, j, k in ((0, 1, 4), (1, 0, 2), (2, 1, 3), (4, 0, 2))),
    *((Kind.DIRECTION, (4, j, 0), 1e-5) for j in (0, 1, 2, 3)),
    *((Kind.DIRECTION, (2, j, 1), 1e-5) for j in (1, 3, 4)),
    (Kind.AZIMUTH, (0, 2, -1), 1e-5),
    *((Kind.RISE, (i, j, -1), 0.003) for i, j in ((0, 1), (1, 2), (2, 4), (4, 0), (3, 0))),
    *((kind, (0, -1, -1), 0.004) for kind in (Kind.N, Kind.E, Kind.Z)),
    *((kind, (2, -1, -1), 0.006) for kind in (Kind.N, Kind.E, Kind.Z)),
]
VECTORS = [(0, 2), (2, 3), (3, 1), (1, 4)]


def model(unknown: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what the rows and the vectors would be; unknown: positions, then two circles."""
    at, circle = unknown[:15].reshape(5, 3), unknown[15:]
    plan = at[:, 0] + 1j * at[:, 1]
    found = []
    for kind, (i, j, k), _ in ROWS:
        if kind is Kind.DISTANCE:
            found.append(abs(plan[j] - plan[i]))
        elif kind is Kind.AZIMUTH:
            found.append(np.angle(plan[j] - plan[i]))
        elif kind is Kind.ANGLE:
            found.append(np.angle((plan[k] - plan[i]) / (plan[j] - plan[i])))
        elif kind is Kind.DIRECTION:
            found.append(np.angle(plan[j] - plan[i]) - circle[k])
        elif kind is Kind.RISE:
            found.append(at[j, 2] - at[i, 2])
        else:
            found.append(at[i, {Kind.N: 0, Kind.E: 1, Kind.Z: 2}[kind]])
    return np.array(found), np.array([at[j] - at[i] for i, j in VECTORS])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_all_kinds_together_agree_with_scipys_optimizer(seed: int) -> None:
    rng = np.random.default_rng(seed)
    circles = np.array([0.3, 2.0])
    sigma = np.array([size for _, _, size in ROWS])
    angular = np.array([kind in (Kind.AZIMUTH, Kind.ANGLE, Kind.DIRECTION) for kind, _, _ in ROWS])
    value, steps = model(np.concatenate((PLACE.ravel(), circles)))
    value = value + sigma * rng.standard_normal(value.size)
    steps = steps + rng.multivariate_normal(np.zeros(3), FULL, len(VECTORS))
    white = np.linalg.inv(np.linalg.cholesky(FULL))

    def residuals(unknown: FloatArray) -> FloatArray:
        now, vectors = model(unknown)
        off = now - value
        off[angular] = np.angle(np.exp(1j * off[angular]))
        return np.concatenate((off / sigma, ((vectors - steps) @ white.T).ravel()))

    start = np.concatenate((PLACE.ravel(), circles))
    other = least_squares(residuals, start, xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac")
    count = len(VECTORS)
    net = Observations(
        kind=np.array([*(r[0] for r in ROWS), *[Kind.NORTH, Kind.EAST, Kind.UP] * count]),
        i=np.array([*(r[1][0] for r in ROWS), *np.repeat([v[0] for v in VECTORS], 3)]),
        j=np.array([*(r[1][1] for r in ROWS), *np.repeat([v[1] for v in VECTORS], 3)]),
        k=np.array([*(r[1][2] for r in ROWS), *[-1] * (3 * count)]),
        value=np.concatenate((value, steps.ravel())),
        sigma=np.concatenate((sigma, np.tile(np.sqrt(np.diag(FULL)), count))),
        block=np.concatenate((np.full(len(ROWS), -1), np.repeat(np.arange(count), 3))),
        covariance_m2=np.repeat(FULL[None], count, axis=0),
    )
    found = adjust(net, PLACE + 0.02, np.zeros((5, 3), dtype=np.bool_))
    assert found.position_m.ravel() == pytest.approx(other.x[:15], abs=1e-8)
    assert found.chi2 == pytest.approx(2 * other.cost, rel=1e-8)
    assert found.degrees_of_freedom == len(ROWS) + 3 * count - 17
    assert found.redundancy.sum() == pytest.approx(found.degrees_of_freedom, abs=1e-7)
    jacobian = np.asarray(other.jac)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    for station in range(5):
        block = covariance[3 * station : 3 * station + 3, 3 * station : 3 * station + 3]
        assert found.cofactor_m2[station] == pytest.approx(block, rel=1e-4, abs=1e-12)
    assert math.isfinite(found.sigma0)
