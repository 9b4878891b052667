import numpy as np
import pytest
import shapely

from checker.geometry.figure import Course, Figure, FigureError, run_figure
from checker.geometry.layout import from_vertices


def east(distance: float) -> Course:
    return Course(azimuth_rad=np.pi / 2, distance_m=distance)


def north(distance: float) -> Course:
    return Course(azimuth_rad=0.0, distance_m=distance)


def west(distance: float) -> Course:
    return Course(azimuth_rad=1.5 * np.pi, distance_m=distance)


def south(distance: float) -> Course:
    return Course(azimuth_rad=np.pi, distance_m=distance)


def flattened(figure: Figure) -> shapely.Polygon:
    """The figure as a fine polygon, by the alignment room."""
    line = from_vertices(figure.xy_m[:-1], figure.bulge, closed=True)
    return shapely.Polygon(line.point_at(np.linspace(0.0, line.length_m, 200_001)[:-1]))


def test_a_square_closes() -> None:
    figure = run_figure([north(10.0), east(10.0), south(10.0), west(10.0)], (100.0, 200.0))
    assert figure.misclosure_length_m == pytest.approx(0.0, abs=1e-12)
    assert figure.area_m2 == pytest.approx(100.0)
    assert not figure.counter_clockwise
    assert figure.perimeter_m == 40.0
    assert figure.ratio > 1e12
    assert np.degrees(figure.break_rad[1:]) == pytest.approx([90.0, 90.0, 90.0])


def test_a_misclosure_is_computed_minus_known() -> None:
    figure = run_figure([north(10.0), east(10.03), south(10.04), west(10.0)])
    np.testing.assert_allclose(figure.misclosure_m, [0.03, -0.04], atol=1e-12)
    assert figure.misclosure_length_m == pytest.approx(0.05)
    assert figure.ratio == pytest.approx(40.07 / 0.05)


def test_a_lot_with_tangent_curves_both_ways() -> None:
    # A stadium: two lines and two half circles of radius 5 to the left.
    half = Course(turn=-1, radius_m=5.0, delta_rad=np.pi, tangent=True)
    figure = run_figure([east(20.0), half, west(20.0), half])
    assert figure.misclosure_length_m == pytest.approx(0.0, abs=1e-12)
    assert figure.area_m2 == pytest.approx(200.0 + 25.0 * np.pi)
    assert figure.counter_clockwise
    assert figure.tangent.tolist() == [False, True, True, True]
    assert figure.perimeter_m == pytest.approx(40.0 + 10.0 * np.pi)
    assert flattened(figure).area == pytest.approx(figure.area_m2, rel=1e-8)


def test_a_curve_that_bulges_in_takes_area_away() -> None:
    # The square's east side bulges in: its arc turns left while the figure runs clockwise.
    arc = Course(turn=-1, radius_m=8.0, chord_m=10.0, chord_azimuth_rad=np.pi)
    inward = run_figure([north(10.0), east(10.0), arc, west(10.0)])
    assert not inward.counter_clockwise
    delta = 2.0 * np.arcsin(10.0 / 16.0)
    segment = 32.0 * (delta - np.sin(delta))
    assert inward.area_m2 == pytest.approx(100.0 + segment * -1.0)
    assert flattened(inward).area == pytest.approx(inward.area_m2, rel=1e-8)
    outward = run_figure(
        [
            north(10.0),
            east(10.0),
            Course(turn=1, radius_m=8.0, arc_m=8.0 * delta, chord_azimuth_rad=np.pi),
            west(10.0),
        ]
    )
    assert outward.area_m2 == pytest.approx(100.0 + segment)
    assert outward.tangent.tolist() == [False, False, False, False]


def test_a_chord_the_long_way_round() -> None:
    arc = Course(turn=1, radius_m=6.0, chord_m=10.0, chord_azimuth_rad=np.pi, long=True)
    figure = run_figure([north(10.0), east(10.0), arc, west(10.0)])
    assert flattened(figure).area == pytest.approx(figure.area_m2, rel=1e-8)
    assert figure.length_m[2] > np.pi * 6.0


def test_what_is_stated_twice_is_compared() -> None:
    sound = Course(
        turn=1,
        radius_m=100.0,
        arc_m=52.36,
        delta_rad=np.radians(30.0),
        chord_m=51.76,
        chord_azimuth_rad=1.0,
    )
    assert run_figure([sound]).disagreement_m[0] < 0.01
    wrong = Course(
        turn=1, radius_m=100.0, arc_m=52.36, delta_rad=np.radians(31.0), chord_azimuth_rad=1.0
    )
    assert run_figure([wrong]).disagreement_m[0] == pytest.approx(100.0 * np.radians(1.0), abs=0.01)


@pytest.mark.parametrize(
    ("courses", "message"),
    [
        ([], "no courses"),
        ([north(1.0), Course(azimuth_rad=1.0)], "course 2: a straight course needs"),
        ([Course(azimuth_rad=1.0, distance_m=-1.0)], "course 1: the distance is -1"),
        ([Course(radius_m=1.0, arc_m=1.0)], "needs its turn"),
        ([Course(turn=1, radius_m=1.0, tangent=True)], "needs a radius and one of"),
        ([Course(turn=1, radius_m=1.0, arc_m=1.0, tangent=True)], "first curve"),
        ([Course(turn=1, radius_m=1.0, arc_m=1.0)], "needs its chord bearing"),
        ([north(1.0), Course(turn=1, radius_m=1.0, chord_m=3.0)], "course 2: a chord of 3 radii"),
    ],
)
def test_refuses_courses_that_cannot_be_followed(courses: list[Course], message: str) -> None:
    with pytest.raises(FigureError, match=message):
        run_figure(courses)
