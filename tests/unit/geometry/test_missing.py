"""Missing courses: every random figure comes back among the solutions that close it."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.geometry.missing import Solution, Unknown, solve_missing, what_each_would_be


def polygon(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Return azimuths and lengths of a closed figure, none of its courses parallel."""
    dice = np.random.default_rng(seed)
    count = int(dice.integers(4, 9))
    turn = np.sort(dice.uniform(0.0, 2.0 * np.pi, count))
    radius = dice.uniform(60.0, 100.0, count)
    place = radius * np.exp(1j * turn)
    step = np.roll(place, -1) - place
    return np.mod(np.angle(step), 2.0 * np.pi), np.abs(step)


def needed(azimuth: np.ndarray, length: np.ndarray, rows: list[int]) -> tuple[float, float]:
    """Return what the rows add up to, from all the others."""
    known = np.ones(azimuth.size, dtype=bool)
    known[rows] = False
    total = -np.sum(length[known] * np.exp(1j * azimuth[known]))
    return float(total.real), float(total.imag)


def among(found: tuple[Solution, ...], wanted: list[tuple[float, float]]) -> bool:
    """Tell whether one solution is that: 0.01 seconds and a micrometre."""
    for each in found:
        if all(
            abs(math.remainder(a - wa, math.tau)) < 5e-8 and abs(d - wd) < 1e-6 + 1e-8 * wd
            for (a, d), (wa, wd) in zip(each.courses, wanted, strict=True)
        ):
            return True
    return False


PAIRS = ["both", "lengths", "bearings", "bearing and length", "length and bearing"]


@settings(max_examples=150)
@given(st.integers(0, 2**32 - 1), st.sampled_from(PAIRS), st.data())
def test_what_was_taken_out_comes_back(seed: int, kind: str, data: st.DataObject) -> None:
    azimuth, length = polygon(seed)
    i = data.draw(st.integers(0, azimuth.size - 1))
    j = data.draw(st.integers(0, azimuth.size - 1).filter(lambda k: k != i))
    rows = [i] if kind == "both" else [i, j]
    keep_azimuth = {
        "both": [False],
        "lengths": [True, True],
        "bearings": [False, False],
        "bearing and length": [False, True],
        "length and bearing": [True, False],
    }[kind]
    if kind == "lengths" and abs(math.sin(azimuth[i] - azimuth[j])) < 1e-2:
        return  # nearly parallel: the lengths are not determined to a micrometre
    unknown = [
        Unknown(
            azimuth_rad=float(azimuth[row]) if keep else None,
            distance_m=None if keep or kind == "both" else float(length[row]),
        )
        for row, keep in zip(rows, keep_azimuth, strict=True)
    ]
    found = solve_missing(needed(azimuth, length, rows), unknown)
    assert all(each.left_m < 1e-6 for each in found)
    if kind in ("bearings", "bearing and length", "length and bearing"):
        # Where the triangle is nearly flat a rounding error decides whether there is one at all.
        vector = complex(*needed(azimuth, length, rows))
        square = [length[row] * np.exp(1j * azimuth[row]) for row in rows]
        if abs((square[0].conjugate() * square[1]).imag) < 1e-3 * abs(vector) ** 2:
            return
    assert among(found, [(float(azimuth[row]), float(length[row])) for row in rows])


def test_by_hand_a_square_without_its_last_two_bearings() -> None:
    found = solve_missing(
        (100.0, -100.0),
        [Unknown(azimuth_rad=None, distance_m=100.0), Unknown(azimuth_rad=None, distance_m=100.0)],
    )
    degrees = [[round(math.degrees(a), 6) for a, _ in each.courses] for each in found]
    assert degrees == [[0.0, 270.0], [270.0, 0.0]]


def test_one_length_closes_as_nearly_as_it_can() -> None:
    found = solve_missing((3.0, 4.0), [Unknown(azimuth_rad=0.0, distance_m=None)])
    assert found[0].courses == ((0.0, 3.0),)
    assert found[0].left_m == pytest.approx(4.0)


def test_one_bearing_points_where_it_must() -> None:
    found = solve_missing((3.0, 4.0), [Unknown(azimuth_rad=None, distance_m=6.0)])
    assert found[0].courses[0][0] == pytest.approx(math.atan2(4.0, 3.0))
    assert found[0].left_m == pytest.approx(1.0)


@pytest.mark.parametrize(
    "unknown",
    [
        [Unknown(azimuth_rad=0.5, distance_m=None), Unknown(azimuth_rad=0.5, distance_m=None)],
        [Unknown(azimuth_rad=None, distance_m=1.0), Unknown(azimuth_rad=None, distance_m=1.0)],
        [Unknown(azimuth_rad=None, distance_m=1.0), Unknown(azimuth_rad=np.pi, distance_m=None)],
    ],
)
def test_what_cannot_close_has_no_solution(unknown: list[Unknown]) -> None:
    assert solve_missing((30.0, 40.0), unknown) == ()


def test_three_unknowns_are_too_many() -> None:
    with pytest.raises(ValueError, match="3"):
        solve_missing(
            (1.0, 1.0),
            [
                Unknown(azimuth_rad=None, distance_m=None),
                Unknown(azimuth_rad=None, distance_m=1.0),
            ],
        )


@settings(max_examples=60)
@given(st.integers(0, 2**32 - 1), st.data())
def test_a_misread_course_is_the_one_that_closes_by_itself(seed: int, data: st.DataObject) -> None:
    azimuth, length = polygon(seed)
    row = data.draw(st.integers(0, azimuth.size - 1))
    wrong_azimuth, wrong_length = azimuth.copy(), length.copy()
    if data.draw(st.booleans()):
        wrong_length[row] += 10.0
        key = "left_length_m"
    else:
        wrong_azimuth[row] += math.radians(10.0)
        key = "left_bearing_m"
    miss = np.sum(wrong_length * np.exp(1j * wrong_azimuth))
    found = what_each_would_be(wrong_azimuth, wrong_length, (miss.real, miss.imag))
    assert found[key][row] < 1e-6
    assert found["distance_m"][row] == pytest.approx(length[row], abs=1e-6)
    turned = math.remainder(found["azimuth_rad"][row] - azimuth[row], math.tau)
    assert turned == pytest.approx(0.0, abs=1e-7)
