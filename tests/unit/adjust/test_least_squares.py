import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from checker.adjust.least_squares import (
    Kind,
    NotConvergedError,
    Observations,
    RankDefectError,
    adjust,
)
from checker.adjust.shares import compass_rule
from checker.model.arrays import FloatArray
from tests.support.nets import Row, braced, computed, observations, run

HELD = {0: "ne", 15: "ne"}


def wrapped(kind: Kind, value: float) -> float:
    if kind in (Kind.ANGLE, Kind.AZIMUTH):
        return math.remainder(value, math.tau)
    return value


def test_scipys_optimizer_finds_the_same_net() -> None:
    """Against scipy.optimize.least_squares on a model of its own, to 1e-8 m."""
    place, _, rows = braced(np.random.default_rng(1))
    found = run(
        rows, place + np.array([[0.05, -0.05, 0.0]]) * (np.arange(16)[:, None] % 15 > 0), HELD
    )
    free = [station for station in range(16) if station not in HELD]

    def residuals(unknown: FloatArray) -> FloatArray:
        at = place.copy()
        at[free, :2] = unknown.reshape(-1, 2)
        return np.array([wrapped(row[0], computed(row, at) - row[2]) / row[3] for row in rows])

    start = place[free, :2].reshape(-1)
    other = least_squares(residuals, start, xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac")
    assert found.position_m[free, :2].reshape(-1) == pytest.approx(other.x, abs=1e-8)
    assert found.chi2 == pytest.approx(2 * other.cost, rel=1e-8)
    jacobian = np.asarray(other.jac)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    ours = [found.cofactor_m2[station, 0, 0] for station in free]
    assert ours == pytest.approx(np.diag(covariance)[::2], rel=1e-4)


def test_redundancies_add_up_to_the_degrees_of_freedom() -> None:
    place, _, rows = braced(np.random.default_rng(2))
    found = run(rows, place, HELD)
    assert found.degrees_of_freedom == len(rows) - 28
    assert found.redundancy.sum() == pytest.approx(found.degrees_of_freedom, abs=1e-8)


def test_selected_elements_of_the_inverse_are_those_of_the_whole() -> None:
    place, _, rows = braced(np.random.default_rng(3), side=6)
    found = run(rows, place, {0: "ne", 35: "ne"})
    step = 1e-4
    free = [station for station in range(36) if station not in (0, 35)]
    jacobian = []
    for station in free:
        for axis in range(2):
            ahead, behind = place.copy(), place.copy()
            at = found.position_m
            ahead[:], behind[:] = at, at
            ahead[station, axis] += step
            behind[station, axis] -= step
            jacobian.append(
                [
                    wrapped(row[0], computed(row, ahead) - computed(row, behind))
                    / (2 * step * row[3])
                    for row in rows
                ]
            )
    design = np.array(jacobian).T
    whole = np.linalg.inv(design.T @ design)
    for number, station in enumerate(free):
        block = whole[2 * number : 2 * number + 2, 2 * number : 2 * number + 2]
        assert found.cofactor_m2[station, :2, :2] == pytest.approx(block, rel=1e-5, abs=1e-12)
    one, other = free.index(7), free.index(8)
    pick = np.zeros((2, len(whole)))
    pick[[0, 1], [2 * one, 2 * one + 1]] = -1.0
    pick[[0, 1], [2 * other, 2 * other + 1]] = 1.0
    relative = found.relative_plan_cofactors(np.array([7]), np.array([8]))[0]
    assert relative == pytest.approx(pick @ whole @ pick.T, rel=1e-5, abs=1e-12)


def test_covariances_are_those_of_many_draws() -> None:
    """Monte Carlo: 10,000 draws of a braced figure, its adjustment repeated on each."""
    rng = np.random.default_rng(4)
    place, clean, _ = braced(rng, side=3)
    held = {0: "ne", 8: "ne"}
    found = run(clean, place, held)
    free = [station for station in range(9) if station not in held]
    # One Gauss-Newton step from the truth is linear in the errors: draws go through it at once.
    step, columns = 1e-4, []
    for station in free:
        for axis in range(2):
            ahead, behind = place.copy(), place.copy()
            ahead[station, axis] += step
            behind[station, axis] -= step
            columns.append(
                [
                    wrapped(row[0], computed(row, ahead) - computed(row, behind)) / (2 * step)
                    for row in clean
                ]
            )
    design = np.array(columns).T
    sigma = np.array([row[3] for row in clean])
    errors = rng.standard_normal((10_000, len(clean)))
    solved = np.linalg.lstsq(design / sigma[:, None], errors.T, rcond=None)[0].T
    spread = np.cov(solved, rowvar=False)
    for number, station in enumerate(free):
        block = spread[2 * number : 2 * number + 2, 2 * number : 2 * number + 2]
        ours = found.cofactor_m2[station, :2, :2]
        assert np.diag(block) == pytest.approx(np.diag(ours), rel=0.06)


def test_the_compass_rule_is_a_least_squares() -> None:
    """Where every leg is equally good in all directions, with a variance as its length."""
    corners = [(0.0, 0.0), (120.0, 60.0), (200.0, -40.0), (320.0, 10.0), (410.0, 90.0)]
    errors = np.array([[0.01, 0.02], [0, 0.03], [-0.02, 0], [0.01, 0.01]])
    legs = np.diff(np.array(corners), axis=0) + errors
    length = np.hypot(*legs.T)
    rows: list[Row] = []
    for leg, (dn, de) in enumerate(legs):
        size = 1e-3 * math.sqrt(length[leg])
        rows.append((Kind.DISTANCE, (leg, leg + 1), float(length[leg]), size))
        rows.append((Kind.AZIMUTH, (leg, leg + 1), math.atan2(de, dn), size / float(length[leg])))
    place = np.column_stack((np.array(corners), np.zeros(5)))
    found = run(rows, place, {0: "ne", 4: "ne"})
    miss = legs.sum(axis=0) - np.subtract(corners[4], corners[0])
    north, east = compass_rule(length, float(miss[0]), float(miss[1]))
    ruled = np.cumsum(legs + np.column_stack((north, east)), axis=0)[:-1]
    # The rule is linear, the adjustment is not: they differ by misclosure squared over length.
    assert found.position_m[1:4, :2] == pytest.approx(ruled, abs=2e-5)


def test_a_level_line_is_shared_by_length() -> None:
    rows: list[Row] = [
        (Kind.RISE, (0, 1), 1.0, math.sqrt(200)),
        (Kind.RISE, (1, 2), 2.0, math.sqrt(300)),
        (Kind.RISE, (2, 3), 3.05, math.sqrt(500)),
    ]
    place = np.array([[0, 0, 10.0], [0, 0, 11], [0, 0, 13], [0, 0, 16.0]])
    found = run(rows, place, {0: "nez", 3: "nez"})
    assert found.position_m[:, 2] == pytest.approx([10, 10.99, 12.975, 16.0])


def vectors(rows: list[tuple[int, int, list[float]]], covariance: FloatArray) -> Observations:
    count = len(rows)
    return Observations(
        kind=np.tile([Kind.NORTH, Kind.EAST, Kind.UP], count),
        i=np.repeat([row[0] for row in rows], 3),
        j=np.repeat([row[1] for row in rows], 3),
        k=np.full(3 * count, -1),
        value=np.array([row[2] for row in rows]).reshape(-1),
        sigma=np.tile(np.sqrt(np.diag(covariance)), count),
        block=np.repeat(np.arange(count), 3),
        covariance_m2=np.repeat(covariance[None], count, axis=0),
    )


def test_vectors_go_in_with_their_covariances() -> None:
    covariance = np.array([[4.0, 1.0, 0.5], [1.0, 3.0, -0.4], [0.5, -0.4, 9.0]]) * 1e-6
    rows = [(0, 1, [10.0, 20.0, 1.0]), (1, 2, [5.0, -3.0, 2.0]), (2, 0, [-15.01, -17.0, -3.02])]
    fixed = np.zeros((3, 3), dtype=np.bool_)
    fixed[0] = True
    found = adjust(vectors(rows, covariance), np.zeros((3, 3)), fixed)
    # A loop of three alike: a third of the misclosure goes to each, whatever the covariance.
    assert found.position_m[1] == pytest.approx(
        [10.01 / 1 - 0.02 / 3, 20.0, 1.0 + 0.02 / 3], abs=0.02
    )
    miss = np.array([-0.01, 0.0, -0.02])
    assert found.residual.reshape(3, 3) == pytest.approx(np.tile(-miss / 3, (3, 1)), abs=1e-9)
    chi2 = miss @ np.linalg.inv(3 * covariance) @ miss
    assert found.chi2 == pytest.approx(chi2)
    assert found.cofactor_m2[1] == pytest.approx(covariance * 2 / 3)


def test_directions_share_the_zero_of_their_circle() -> None:
    place, _, _ = braced(np.random.default_rng(5), side=3)
    rows: list[Row] = []
    for station in range(9):
        for other in range(9):
            if other != station and math.dist(place[station, :2], place[other, :2]) < 170:
                azimuth = computed((Kind.AZIMUTH, (station, other), 0, 1), place)
                rows.append(
                    (Kind.DIRECTION, (station, other, station), azimuth - 0.1 * station, 1e-5)
                )
    found = run(rows, place + np.array([[0.02, 0, 0]] * 9), {0: "ne", 8: "ne"})
    far = np.delete(np.arange(9), [0, 8])
    truth = run(rows, place, {0: "ne", 8: "ne"})
    assert truth.position_m[far, :2] == pytest.approx(place[far, :2], abs=1e-8)
    assert found.degrees_of_freedom == len(rows) - 14 - 9


# ---------------------------------------------------------------- what is not determined


def test_a_station_on_one_distance_is_named() -> None:
    place, _, rows = braced(np.random.default_rng(6), side=3)
    place = np.vstack((place, [[500.0, 500.0, 0.0]]))
    with pytest.raises(RankDefectError) as caught:
        run([*rows, (Kind.DISTANCE, (8, 9), 300.0, 0.003)], place, {0: "ne", 8: "ne"})
    moving = caught.value.moving
    assert moving.shape[0] == 1
    size = np.sqrt((moving[0] ** 2).sum(axis=1))
    assert size.argmax() == 9
    assert size[:9].max() < 1e-6


@pytest.mark.parametrize(("held", "defects"), [({}, 3), ({0: "ne"}, 1), ({0: "n"}, 2)])
def test_a_net_without_a_datum_can_move_as_a_whole(held: dict[int, str], defects: int) -> None:
    place, _, rows = braced(np.random.default_rng(7), side=3)
    with pytest.raises(RankDefectError) as caught:
        run(rows, place, held)
    assert len(caught.value.moving) == defects


def test_a_free_net_keeps_its_middle() -> None:
    place, _, rows = braced(np.random.default_rng(8), side=3)
    found = run(rows, place, {}, free=True)
    held = run(rows, place, {0: "ne", 1: "n"})
    assert found.degrees_of_freedom == len(rows) - 18 + 3
    assert found.chi2 == pytest.approx(held.chi2, rel=1e-6)
    assert found.residual == pytest.approx(held.residual, abs=1e-8)
    assert (found.position_m - place)[:, :2].sum(axis=0) == pytest.approx([0.0, 0.0], abs=1e-8)


def test_a_hopeless_net_does_not_settle() -> None:
    place, _, rows = braced(np.random.default_rng(9), side=3)
    far = place.copy()
    far[1:8, :2] = np.random.default_rng(9).uniform(-1e5, 1e5, (7, 2))
    with pytest.raises((NotConvergedError, RankDefectError)):
        run(rows, far, {0: "ne", 8: "ne"})


def test_nothing_to_move_is_an_adjustment_too() -> None:
    rows: list[Row] = [(Kind.RISE, (0, 1), 1.01, 0.01)]
    found = run(rows, np.array([[0, 0, 0.0], [0, 0, 1.0]]), {0: "nez", 1: "nez"})
    assert found.degrees_of_freedom == 1
    assert found.residual == pytest.approx([-0.01])
    assert found.standardized == pytest.approx([-1.0])
    assert len(observations(rows)) == 1


@pytest.mark.parametrize("away", [(0.0, 0.0), (4_512_000.0, 618_000.0)])
def test_large_coordinates_cost_no_digits(away: tuple[float, float]) -> None:
    place, clean, _ = braced(np.random.default_rng(10), side=3)
    moved = place + np.array([[*away, 0.0]])
    start = moved + np.array([[0.05, -0.04, 0.0]]) * (np.arange(9)[:, None] % 8 > 0)
    found = run(clean, start, {0: "ne", 8: "ne"})
    assert found.position_m[:, :2] == pytest.approx(moved[:, :2], abs=1e-8, rel=0)
    assert found.steps < 8


def test_weighted_control_gives_way_by_its_weight() -> None:
    rows: list[Row] = [
        (Kind.Z, (0,), 100.0, 0.01),
        (Kind.Z, (1,), 101.03, 0.01),
        (Kind.RISE, (0, 1), 1.0, 0.01),
    ]
    found = run(rows, np.array([[0, 0, 100.0], [0, 0, 101.0]]), {})
    assert found.position_m[:, 2] == pytest.approx([100.01, 101.02])
    assert found.degrees_of_freedom == 1
