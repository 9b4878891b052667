import itertools

import numpy as np
import pytest
from scipy.integrate import quad

from checker.geometry.curves import (
    CircularCurve,
    CurveError,
    segment_area,
    solve_curve,
    spiraled_curve,
)

NAMES = ["radius_m", "delta_rad", "length_m", "tangent_m", "chord_m", "middle_m", "external_m"]


@pytest.mark.parametrize("pair", list(itertools.combinations(NAMES, 2)))
@pytest.mark.parametrize("degrees", [5.0, 26.0, 90.0, 150.0])
def test_any_two_elements_give_the_curve(pair: tuple[str, str], degrees: float) -> None:
    curve = CircularCurve(radius_m=311.0, delta_rad=np.radians(degrees))
    given = {name: getattr(curve, name) for name in pair}
    if set(pair) == {"tangent_m", "middle_m"}:
        with pytest.raises(CurveError, match="two curves"):
            solve_curve(**given)
        return
    found = solve_curve(**given)
    # Arc and chord of a flat curve differ in their fourth digit: so much of the digits is lost.
    assert found.delta_rad == pytest.approx(curve.delta_rad, rel=1e-9)
    assert found.radius_m == pytest.approx(curve.radius_m, rel=1e-9)


def test_the_middle_ordinate_and_tangent_ratio_really_is_ambiguous() -> None:
    ratios = [
        CircularCurve(radius_m=1.0, delta_rad=delta).middle_m
        / CircularCurve(radius_m=1.0, delta_rad=delta).tangent_m
        for delta in np.linspace(0.1, 3.0, 200)
    ]
    assert 0 < int(np.argmax(ratios)) < 199


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"radius_m": 10.0}, "not by 1"),
        ({"radius_m": 10.0, "delta_rad": 1.0, "length_m": 10.0}, "not by 3"),
        ({"radius_m": -10.0, "delta_rad": 1.0}, "the radius of a curve is -10"),
        ({"radius_m": 10.0, "chord_m": 21.0}, "longer than the diameter"),
        ({"radius_m": 10.0, "middle_m": 11.0}, "past the centre"),
        ({"radius_m": 10.0, "length_m": 70.0}, "round the circle"),
        ({"radius_m": 10.0, "delta_rad": 7.0}, "round the circle"),
        ({"length_m": 10.0, "chord_m": 11.0}, "no curve has"),
        ({"delta_rad": 4.0, "tangent_m": 5.0}, "not finite"),
    ],
)
def test_refuses_what_is_no_curve(given: dict[str, float], message: str) -> None:
    with pytest.raises(CurveError, match=message):
        solve_curve(**given)


def test_degree_of_curve() -> None:
    # 1 degree by the arc definition has R = 18000 / pi ft, by the chord 50 / sin 30' ft.
    foot = 0.3048
    by_arc = CircularCurve(radius_m=18000.0 / np.pi * foot, delta_rad=1.0)
    assert np.degrees(by_arc.degree_of_arc_rad()) == pytest.approx(1.0)
    by_chord = CircularCurve(radius_m=50.0 / np.sin(np.radians(0.5)) * foot, delta_rad=1.0)
    assert np.degrees(by_chord.degree_of_chord_rad()) == pytest.approx(1.0)


def test_areas_agree_with_quadrature() -> None:
    for delta in (0.05, 0.29, 0.31, 1.0, 2.5):
        half = delta / 2.0
        # In polar coordinates about the centre, from the chord out to the arc.
        area, _ = quad(
            lambda a, half=half: 0.5 * (1.0 - (np.cos(half) / np.cos(a)) ** 2),
            -half,
            half,
            epsabs=1e-15,
        )
        assert segment_area(1.0, delta) == pytest.approx(area, rel=1e-9)
    # Small ones by the leading term, R^2 D^3 / 12.
    assert segment_area(1000.0, 1e-5) == pytest.approx(1e6 * 1e-15 / 12.0, rel=1e-10)
    # A half circle, and more than half: circle less the other segment.
    assert segment_area(3.0, np.pi) == pytest.approx(4.5 * np.pi)
    assert segment_area(1.0, 5.0) == pytest.approx(np.pi - segment_area(1.0, 2 * np.pi - 5.0))


def test_spiraled_curve_without_spirals_is_the_simple_curve() -> None:
    simple = CircularCurve(radius_m=200.0, delta_rad=0.6)
    curve = spiraled_curve(0.6, 200.0)
    assert curve.tangent_in_m == pytest.approx(simple.tangent_m)
    assert curve.external_m == pytest.approx(simple.external_m)
    assert curve.length_m == pytest.approx(simple.length_m)
    with pytest.raises(CurveError, match="turn by more"):
        spiraled_curve(0.1, 100.0, 15.0, 15.0)
    with pytest.raises(CurveError, match="deflection"):
        spiraled_curve(np.pi, 100.0)
