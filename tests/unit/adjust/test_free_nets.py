"""Free nets, vectors with covariances, and elements of the inverse outside the plain pattern."""

import numpy as np
import pytest

from checker.adjust.least_squares import (
    Adjustment,
    Kind,
    Observations,
    RankDefectError,
    adjust,
)
from checker.model.arrays import FloatArray
from tests.support.nets import Row, braced, computed, observations, run


def numbers(rows: list[Row], at: FloatArray, axes: str = "ne") -> FloatArray:
    """Return the whitened design at positions, all coordinates of the axes unknown."""
    step, columns = 1e-3, []
    for station in range(len(at)):
        for axis in axes:
            ahead, behind = at.copy(), at.copy()
            ahead[station, "nez".index(axis)] += step
            behind[station, "nez".index(axis)] -= step
            change = [
                np.angle(np.exp(1j * (computed(row, ahead) - computed(row, behind))))
                if row[0] in (Kind.ANGLE, Kind.AZIMUTH)
                else computed(row, ahead) - computed(row, behind)
                for row in rows
            ]
            columns.append(
                [one / (2 * step * row[3]) for one, row in zip(change, rows, strict=True)]
            )
    return np.array(columns).T


def test_cofactors_are_those_of_the_pseudoinverse() -> None:
    """The solution of least norm: numpy's pseudoinverse of a design by differences."""
    place, _, rows = braced(np.random.default_rng(21), side=3)
    found = run(rows, place, {}, free=True)
    design = numbers(rows, place)
    _, singular, right = np.linalg.svd(design, full_matrices=False)
    kept = right[: len(singular) - 3] / singular[: len(singular) - 3, None]
    whole = kept.T @ kept
    for station in range(9):
        block = whole[2 * station : 2 * station + 2, 2 * station : 2 * station + 2]
        assert found.cofactor_m2[station, :2, :2] == pytest.approx(block, rel=1e-3, abs=1e-10)
    pick = np.zeros((2, 18))
    pick[[0, 1], [0, 1]], pick[[0, 1], [2, 3]] = -1.0, 1.0
    relative = found.relative_plan_cofactors(np.array([0]), np.array([1]))[0]
    assert relative == pytest.approx(pick @ whole @ pick.T, rel=1e-3, abs=1e-10)


def test_residuals_and_tests_do_not_depend_on_the_datum() -> None:
    place, _, rows = braced(np.random.default_rng(22), side=3)
    found = run(rows, place, {}, free=True)
    held = run(rows, place, {4: "ne", 7: "e"})
    assert found.standardized == pytest.approx(held.standardized, abs=1e-6)
    assert found.redundancy == pytest.approx(held.redundancy, abs=1e-8)
    assert found.strength == pytest.approx(held.strength, rel=1e-8)
    assert found.degrees_of_freedom == held.degrees_of_freedom


def test_a_net_of_angles_alone_keeps_its_scale_too() -> None:
    place, _, rows = braced(np.random.default_rng(23), side=3)
    angles = [row for row in rows if row[0] is Kind.ANGLE]
    found = run(angles, place, {}, free=True)
    assert found.degrees_of_freedom == len(angles) - 18 + 4
    shift = (found.position_m - place)[:, :2]
    outward = place[:, :2] - place[:, :2].mean(axis=0)
    assert np.sum(shift * outward) == pytest.approx(0.0, abs=1e-6)
    assert shift.sum(axis=0) == pytest.approx([0.0, 0.0], abs=1e-8)


def test_directions_turn_with_the_net() -> None:
    place, _, _ = braced(np.random.default_rng(24), side=3)
    rng = np.random.default_rng(24)
    rows: list[Row] = [
        (
            Kind.DIRECTION,
            (i, j, i),
            computed((Kind.AZIMUTH, (i, j), 0.0, 1.0), place) + 0.3 * i + 1e-5 * rng.normal(),
            1e-5,
        )
        for i in range(9)
        for j in range(9)
        if i != j
    ]
    rows.append((Kind.DISTANCE, (0, 8), computed((Kind.DISTANCE, (0, 8), 0, 1), place), 0.001))
    found = run(rows, place, {}, free=True)
    assert found.degrees_of_freedom == len(rows) - 18 - 9 + 3
    shift = (found.position_m - place)[:, :2]
    around = (place[:, :2] - place[:, :2].mean(axis=0)) @ np.array([[0.0, 1.0], [-1.0, 0.0]])
    assert np.sum(shift * around) == pytest.approx(0.0, abs=1e-6)
    assert np.abs(shift).max() < 0.05


def test_two_free_nets_beside_each_other_each_keep_their_middle() -> None:
    rows: list[Row] = [
        (Kind.RISE, (0, 1), 1.0, 0.001),
        (Kind.RISE, (1, 0), -1.02, 0.001),
        (Kind.RISE, (2, 3), 5.0, 0.001),
    ]
    place = np.array([[0, 0, 10.0], [0, 0, 11.0], [0, 0, 20.0], [0, 0, 25.3]])
    found = run(rows, place, {}, free=True)
    assert found.position_m[:, 2] == pytest.approx([9.995, 11.005, 20.15, 25.15])
    assert found.degrees_of_freedom == 1


def test_a_station_that_hangs_in_a_free_net_is_named_alone() -> None:
    place, _, rows = braced(np.random.default_rng(25), side=3)
    place = np.vstack((place, [[500.0, 500.0, 0.0]]))
    with pytest.raises(RankDefectError) as caught:
        run([*rows, (Kind.DISTANCE, (8, 9), 300.0, 0.003)], place, {}, free=True)
    size = np.abs(caught.value.moving).max(axis=(0, 2))
    assert size.argmax() == 9
    assert size[:9].max() == 0.0


# ---------------------------------------------------------------- vectors


def vector_net(
    rows: list[tuple[int, int, FloatArray]], covariance: FloatArray, size: int = 3
) -> Observations:
    count = len(rows)
    whole = np.eye(3)
    whole[:size, :size] = covariance
    return Observations(
        kind=np.tile([Kind.NORTH, Kind.EAST, Kind.UP][:size], count),
        i=np.repeat([row[0] for row in rows], size),
        j=np.repeat([row[1] for row in rows], size),
        k=np.full(size * count, -1),
        value=np.array([row[2][:size] for row in rows]).reshape(-1),
        sigma=np.tile(np.sqrt(np.diag(covariance)), count),
        block=np.repeat(np.arange(count), size),
        covariance_m2=np.repeat(whole[None], count, axis=0),
    )


def net_of_vectors(rng: np.random.Generator, covariance: FloatArray, size: int = 3) -> Adjustment:
    place = rng.uniform(0, 500, (5, 3))
    pairs = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 0), (0, 2), (1, 3)]
    lower = np.linalg.cholesky(covariance)
    rows = []
    for i, j in pairs:
        step = place[j] - place[i]
        step[:size] += lower @ rng.standard_normal(size)
        rows.append((i, j, step))
    fixed = np.zeros((5, 3), dtype=np.bool_)
    fixed[0] = True
    start = place.copy()
    if size == 2:
        start[:, 2] = np.nan
    return adjust(vector_net(rows, covariance, size), start, fixed)


FULL = np.array([[4.0, 1.5, -0.8], [1.5, 3.0, 0.9], [-0.8, 0.9, 9.0]]) * 1e-6


@pytest.mark.parametrize("size", [3, 2])
def test_redundancies_of_correlated_rows_add_up_to_the_degrees_of_freedom(size: int) -> None:
    found = net_of_vectors(np.random.default_rng(31), FULL[:size, :size], size)
    assert found.degrees_of_freedom == 7 * size - 4 * size
    assert found.redundancy.sum() == pytest.approx(found.degrees_of_freedom, abs=1e-9)


def test_the_test_of_correlated_rows_is_that_of_a_shift_in_one_of_them() -> None:
    """Baarda's w squared is the fall of chi-square when the row may have a blunder of its own."""
    rng = np.random.default_rng(32)
    found = net_of_vectors(rng, FULL)
    # A rebuilt model in full: design of the five stations, the first held.
    pairs = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 0), (0, 2), (1, 3)]
    design = np.zeros((21, 12))
    for number, (i, j) in enumerate(pairs):
        for axis in range(3):
            for station, sign in ((i, -1.0), (j, 1.0)):
                if station:
                    design[3 * number + axis, 3 * (station - 1) + axis] = sign
    weight = np.kron(np.eye(7), np.linalg.inv(FULL))
    residual = found.residual

    def chi2(extra: FloatArray | None) -> float:
        columns = design if extra is None else np.column_stack((design, extra))
        right = -residual
        solved = np.linalg.solve(columns.T @ weight @ columns, columns.T @ weight @ right)
        left = right - columns @ solved
        return float(left @ weight @ left)

    plain = chi2(None)
    assert plain == pytest.approx(found.chi2, rel=1e-9)
    for row in range(21):
        own = np.zeros(21)
        own[row] = 1.0
        assert found.standardized[row] ** 2 == pytest.approx(plain - chi2(own), rel=1e-6, abs=1e-9)


def test_vectors_without_correlation_give_the_cross_cofactors_that_distances_make() -> None:
    """A diagonal covariance and a distance: the inverse needs elements beyond the plain pattern."""
    covariance = np.diag([1.0, 2.0, 4.0]) * 1e-6
    vectors = vector_net([(1, 2, np.array([10.0, 5.0, 1.0]))], covariance)
    plain = observations(
        [
            (Kind.DISTANCE, (0, 1), 50.0, 0.002),
            (Kind.AZIMUTH, (0, 1), 0.6435, 1e-4),
        ]
    )
    both = Observations(
        kind=np.concatenate((plain.kind, vectors.kind)),
        i=np.concatenate((plain.i, vectors.i)),
        j=np.concatenate((plain.j, vectors.j)),
        k=np.concatenate((plain.k, vectors.k)),
        value=np.concatenate((plain.value, vectors.value)),
        sigma=np.concatenate((plain.sigma, vectors.sigma)),
        block=np.concatenate((plain.block, vectors.block)),
        covariance_m2=vectors.covariance_m2,
    )
    fixed = np.zeros((3, 3), dtype=np.bool_)
    fixed[0] = True
    fixed[1, 2] = True
    found = adjust(both, np.array([[0, 0, 0], [40, 30, 0], [50, 35, 1.0]]), fixed)
    one, other = found.cofactor_m2[1, :2, :2], found.cofactor_m2[2, :2, :2]
    assert abs(one[0, 1]) > 1e-7
    # What hangs on a station by a vector has its cofactors and the vector's.
    assert other == pytest.approx(one + covariance[:2, :2], rel=1e-9)
    relative = found.relative_plan_cofactors(np.array([1]), np.array([2]))[0]
    assert relative == pytest.approx(covariance[:2, :2], rel=1e-9, abs=1e-18)


def test_covariances_of_vectors_are_those_of_many_draws() -> None:
    """Monte Carlo: 10,000 draws of a net of correlated vectors, solved by numpy alone."""
    found = net_of_vectors(np.random.default_rng(33), FULL)
    pairs = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 0), (0, 2), (1, 3)]
    design = np.zeros((21, 12))
    for number, (i, j) in enumerate(pairs):
        for axis in range(3):
            for station, sign in ((i, -1.0), (j, 1.0)):
                if station:
                    design[3 * number + axis, 3 * (station - 1) + axis] = sign
    rng = np.random.default_rng(34)
    white = np.kron(np.eye(7), np.linalg.inv(np.linalg.cholesky(FULL)))
    draws = rng.standard_normal((10_000, 21))
    solved = np.linalg.lstsq(white @ design, draws.T, rcond=None)[0].T
    spread = np.cov(solved, rowvar=False)
    for station in range(1, 5):
        block = spread[3 * station - 3 : 3 * station, 3 * station - 3 : 3 * station]
        ours = found.cofactor_m2[station]
        assert np.diag(block) == pytest.approx(np.diag(ours), rel=0.06)
        size = np.sqrt(np.outer(np.diag(ours), np.diag(ours)))
        assert np.abs(block - ours).max() < 0.05 * size.max()
