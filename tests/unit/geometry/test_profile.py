import numpy as np
import pytest

from checker.geometry.profile import ProfileError, crossfall, profile


def test_straight_grades_and_a_sharp_crest() -> None:
    line = profile([0.0, 100.0, 300.0], [10.0, 12.0, 8.0])
    assert line.elevation([0.0, 50.0, 100.0, 200.0, 300.0]).tolist() == [
        10.0,
        11.0,
        12.0,
        10.0,
        8.0,
    ]
    assert line.grade_at([50.0, 100.0, 300.0]).tolist() == [0.02, -0.02, -0.02]
    assert np.isnan(line.elevation([-0.001, 300.001, np.nan])).all()
    (turn,) = line.turns()
    assert (turn.kind, turn.station_m, turn.elevation_m, turn.sharp) == ("high", 100.0, 12.0, True)


def test_a_low_point_where_the_parabolas_of_a_sag_meet_is_one() -> None:
    """Grades of -3 and +2 % over 200 and 300: level at the PVI itself, but for the last digit."""
    feet = 0.3048
    line = profile(
        np.array([1000.0, 1500.0, 2000.0]) * feet,
        np.array([115.0, 100.0, 110.0]) * feet,
        np.array([0.0, 200.0, 0.0]) * feet,
        np.array([0.0, 300.0, 0.0]) * feet,
    )
    (turn,) = line.turns()
    assert (turn.kind, turn.sharp) == ("low", False)
    assert turn.station_m == pytest.approx(1500.0 * feet, abs=1e-9)
    assert turn.elevation_m == pytest.approx(103.0 * feet, abs=1e-12)


def test_a_symmetric_sag() -> None:
    line = profile([0.0, 500.0, 1000.0], [20.0, 10.0, 25.0], [0.0, 100.0, 0.0])
    # -2 % to +3 % over 200: lowest 80 behind the BVC at 400.
    (turn,) = line.turns()
    assert turn.kind == "low"
    assert turn.station_m == pytest.approx(480.0, abs=1e-9)
    assert turn.elevation_m == pytest.approx(12.0 - 0.02 * 80 + 0.05 * 80 * 80 / 400, abs=1e-12)
    assert not turn.sharp
    # The middle ordinate at the PVI is A L / 8.
    assert line.elevation(500.0) == pytest.approx(10.0 + 0.05 * 200 / 8, abs=1e-12)


def test_an_unequal_curve_is_smooth() -> None:
    line = profile([0.0, 500.0, 1000.0], [20.0, 10.0, 25.0], [0, 60, 0], [0, 140, 0])
    for station in (440.0, 500.0, 640.0):
        step = line.elevation([station - 1e-6, station + 1e-6])
        assert step[0] == pytest.approx(step[1], abs=1e-6)
        grades = line.grade_at([station - 1e-9, station + 1e-9])
        assert grades[0] == pytest.approx(grades[1], abs=1e-9)
    # L1 L2 A / (2 (L1 + L2)) above the PVI.
    assert line.elevation(500.0) == pytest.approx(10.0 + 60 * 140 * 0.05 / 400, abs=1e-12)


def test_elevation_is_the_integral_of_grade() -> None:
    rng = np.random.default_rng(2)
    station = np.cumsum(rng.uniform(200.0, 300.0, 12))
    line = profile(
        station, rng.normal(0.0, 5.0, 12), [0, *([90.0] * 10), 0], [0, *([70.0] * 10), 0]
    )
    x = np.linspace(station[0], station[-1], 200_001)
    grade = line.grade_at((x[1:] + x[:-1]) / 2)
    climbed = line.elevation(x[0]) + np.concatenate(([0.0], np.cumsum(grade * np.diff(x))))
    np.testing.assert_allclose(line.elevation(x), climbed, atol=1e-6)
    # Every turn is where the elevations turn.
    z = line.elevation(x)
    peaks = x[1:-1][(np.diff(z)[:-1] * np.diff(z)[1:]) < 0]
    np.testing.assert_allclose([turn.station_m for turn in line.turns()], peaks, atol=0.02)


def test_curves_that_touch_make_one_smooth_line() -> None:
    line = profile([0, 100, 200, 300], [0, 5, 5, 0], [0, 50, 50, 0])
    assert line.station_m.tolist() == [0.0, 50.0, 100.0, 150.0, 200.0, 250.0]
    # The curves meet at 150 on a level grade: one high point there, and not a sharp one.
    (turn,) = line.turns()
    assert turn.station_m == pytest.approx(150.0)
    assert not turn.sharp


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([0, 100, 200, 300], [0, 5, 5, 0], [0, 60, 50, 0]), "PVI 2 and PVI 3 overlap by 10.000"),
        (([0, 100, 200], [0, 5, 5], [0, 120, 0]), "PVI 1 and PVI 2 overlap by 20.000"),
        (([0, 100, 100], [0, 5, 5]), "PVI 3 at 100 does not lie ahead of 100"),
        (([0, 100], [0, 5], [10, 0]), "the first or the last PVI has a curve"),
        (([0, 100, 200], [0, np.nan, 5]), "PVI 2 lacks"),
        (([0, 100, 200], [0, 1, 5], [0, -3, 0]), "negative"),
        (([0], [0]), "two PVIs"),
    ],
)
def test_refuses_what_is_no_profile(arguments: tuple[list[float], ...], message: str) -> None:
    with pytest.raises(ProfileError, match=message):
        profile(*arguments)


def test_crossfall() -> None:
    crown = crossfall(-0.02, width_right_m=4.0)
    assert crown.rise(0.0, [-3.0, 0.0, 3.0]) == pytest.approx([-0.06, 0.0, -0.06])
    assert np.isnan(crown.rise(0.0, 4.5))
    banked = crossfall([-0.02, 0.06], [-0.02, -0.06], [100.0, 200.0])
    assert banked.rise([50.0, 150.0, 250.0], -2.0) == pytest.approx([-0.04, 0.04, 0.12])
    assert banked.rise([50.0, 150.0, 250.0], 2.0) == pytest.approx([-0.04, -0.08, -0.12])
    with pytest.raises(ProfileError, match="do not grow"):
        crossfall([0.0, 0.0], None, [1.0, 1.0])


def test_a_curve_of_next_to_no_length_is_none() -> None:
    sharp = profile([0.0, 100.0, 200.0], [10.0, 11.0, 10.0])
    found = profile([0.0, 100.0, 200.0], [10.0, 11.0, 10.0], [0.0, 1e-300, 0.0])
    at = np.linspace(0.0, 200.0, 41)
    np.testing.assert_array_equal(found.elevation(at), sharp.elevation(at))
