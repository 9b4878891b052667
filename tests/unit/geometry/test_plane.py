import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pyproj import Geod
from shapely.geometry import Polygon

from checker.geometry.plane import (
    along_across,
    azimuth_rad,
    polar,
    polygon_area,
    wrap_azimuth,
    wrap_signed,
)

# A sphere so large that a site on its equator is a plane to one part in 1e12: pyproj's geodesics
# are then an independent check of plane azimuths and distances.
RADIUS_M = 1e9
PLANE = Geod(a=RADIUS_M, b=RADIUS_M)
coordinate = st.floats(-1000.0, 1000.0)


@pytest.mark.parametrize(
    ("dn", "de", "degrees"),
    [
        *[(1.0, 0.0, 0.0), (1.0, 1.0, 45.0), (0.0, 2.0, 90.0), (-1.0, 1.0, 135.0)],
        *[(-3.0, 0.0, 180.0), (-1.0, -1.0, 225.0), (0.0, -1.0, 270.0), (1.0, -1.0, 315.0)],
    ],
)
def test_azimuth_of_the_eight_winds(dn: float, de: float, degrees: float) -> None:
    assert math.degrees(azimuth_rad(dn, de)) == pytest.approx(degrees, abs=1e-12)


def test_no_length_has_no_azimuth() -> None:
    assert math.isnan(azimuth_rad(0.0, 0.0))
    assert math.isnan(azimuth_rad(math.nan, 1.0))


def test_azimuth_is_never_a_whole_turn() -> None:
    assert float(azimuth_rad(1.0, -1e-300)) == 0.0
    assert float(wrap_azimuth(-1e-20)) == 0.0
    assert float(wrap_azimuth(2 * math.pi)) == 0.0


@given(coordinate, coordinate)
def test_against_geodesics_of_a_huge_sphere(dn: float, de: float) -> None:
    assume(math.hypot(dn, de) > 1.0)
    degrees = math.degrees(1.0 / RADIUS_M)
    azimuth, _, distance = PLANE.inv(0.0, 0.0, de * degrees, dn * degrees)
    assert math.hypot(dn, de) == pytest.approx(distance, rel=1e-9)
    difference = wrap_signed(azimuth_rad(dn, de) - math.radians(azimuth))
    assert float(difference) == pytest.approx(0.0, abs=1e-9)
    n, e = polar(math.radians(azimuth), distance)
    assert float(n) == pytest.approx(dn, abs=1e-6)
    assert float(e) == pytest.approx(de, abs=1e-6)


@given(st.floats(-100.0, 100.0))
def test_wrapped_angles_differ_by_whole_turns(angle: float) -> None:
    for wrapped, low, high in (
        (float(wrap_azimuth(angle)), 0.0, 2 * math.pi),
        (float(wrap_signed(angle)), -math.pi, math.pi),
    ):
        assert low <= wrapped <= high
        turns = (angle - wrapped) / (2 * math.pi)
        assert turns == pytest.approx(round(turns), abs=1e-12)


def test_half_a_turn_is_positive() -> None:
    assert float(wrap_signed(-math.pi)) == math.pi
    assert float(wrap_signed(3 * math.pi)) == pytest.approx(math.pi)


def test_arrays_give_what_numbers_give() -> None:
    dn, de = np.array([1.0, -2.0, 0.0]), np.array([2.0, 5.0, 0.0])
    each = [float(azimuth_rad(n, e)) for n, e in zip(dn, de, strict=True)]
    np.testing.assert_array_equal(azimuth_rad(dn, de), each)
    assert azimuth_rad(1.0, 1.0).shape == ()


def test_along_and_across_of_a_line_to_the_east() -> None:
    # North of a line that runs east is left of it, and left is negative.
    along, across = along_across(2.0, 3.0, math.radians(90.0))
    assert float(along) == pytest.approx(3.0)
    assert float(across) == pytest.approx(-2.0)


@given(st.lists(st.tuples(coordinate, coordinate), min_size=3, max_size=12, unique=True))
def test_area_against_shapely(places: list[tuple[float, float]]) -> None:
    # shapely's x is easting and its y northing; its ring may cross itself, as ours may.
    n, e = np.array(places).T
    ring = Polygon([(east, north) for north, east in places]).exterior
    signed = ring.is_ccw
    area = polygon_area(n, e)
    twice = sum(e[i] * n[(i + 1) % len(n)] - e[(i + 1) % len(n)] * n[i] for i in range(len(n)))
    assert area == pytest.approx(twice / 2, abs=1e-6)
    polygon = Polygon([(east, north) for north, east in places])
    if polygon.is_valid and polygon.area > 1e-3:
        assert abs(area) == pytest.approx(polygon.area, rel=1e-9)
        assert (area > 0) == signed


def test_area_keeps_its_digits_at_state_plane_coordinates() -> None:
    n = np.array([0.0, 0.0, 1.0, 1.0]) + 3_000_000.0
    e = np.array([0.0, 1.0, 1.0, 0.0]) + 6_000_000.0
    assert polygon_area(n, e) == 1.0
    assert polygon_area(n[::-1], e[::-1]) == -1.0
    assert polygon_area(np.append(n, n[0]), np.append(e, e[0])) == 1.0


def test_fewer_than_three_corners_enclose_nothing() -> None:
    assert polygon_area(np.array([1.0, 2.0]), np.array([3.0, 4.0])) == 0.0
