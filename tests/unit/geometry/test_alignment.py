import numpy as np
import pytest
import shapely
from scipy.integrate import quad
from scipy.special import fresnel

from checker.geometry.alignment import Alignment, AlignmentError, reversed_alignment
from checker.geometry.arrays import FloatArray
from checker.geometry.elements import place
from checker.geometry.feet import Foot
from checker.geometry.layout import (
    Part,
    arc,
    from_intersections,
    from_parts,
    from_vertices,
    line,
    spiral,
)
from checker.geometry.stations import stationing


def road() -> Alignment:
    """Line, spiral, arc, spiral between radii, arc, spiral out, line, and all that to the left."""
    return from_parts(
        [
            line(120.0),
            spiral(60.0, radius_out_m=180.0),
            arc(180.0, 90.0),
            spiral(40.0, radius_in_m=180.0, radius_out_m=90.0),
            arc(90.0, 30.0),
            spiral(50.0, radius_in_m=90.0, radius_out_m=-140.0),
            arc(-140.0, 110.0),
            spiral(70.0, radius_in_m=-140.0),
            line(80.0),
        ],
        start_xy_m=(5000.0, 8000.0),
        start_azimuth_rad=0.7,
        stationing=stationing(1000.0),
    )


def cloud(alignment: Alignment, count: int, margin: float, seed: int = 5) -> FloatArray:
    along = alignment.point_at(np.linspace(0.0, alignment.length_m, 400))
    low, high = along.min(axis=0) - margin, along.max(axis=0) + margin
    return np.random.default_rng(seed).uniform(low, high, (count, 2))


def brute(alignment: Alignment, xy: FloatArray, step: float = 0.02) -> FloatArray:
    """Distance to a polyline: the sagitta of 0.02 m at R 90 is 0.6 micrometres."""
    count = int(alignment.length_m / step)
    line_ = shapely.LineString(alignment.point_at(np.linspace(0.0, alignment.length_m, count)))
    return np.asarray(shapely.distance(line_, shapely.points(xy)))


def test_a_line_to_the_north() -> None:
    alignment = from_vertices([(0.0, 0.0), (0.0, 100.0)], stationing=stationing(500.0))
    feet = alignment.station_offset([(3.0, 40.0), (-2.0, 0.0), (1.0, -5.0), (0.0, 107.0)])
    assert feet.station_m.tolist() == [540.0, 500.0, 495.0, 607.0]
    assert feet.offset_m.tolist() == [3.0, -2.0, 1.0, 0.0]
    assert feet.kind.tolist() == [Foot.ON, Foot.ON, Foot.BEFORE, Foot.PAST]
    assert feet.away_m[2] == pytest.approx(np.hypot(1.0, 5.0), abs=1e-12)
    assert feet.rivals.tolist() == [0, 0, 0, 0]


def test_bulge_plus_one_is_a_left_turn_through_the_south() -> None:
    # shared/DXF.md: +1 from (0,0) to (10,0) passes through (5,-5).
    alignment = from_vertices([(0.0, 0.0), (10.0, 0.0)], 1.0)
    assert alignment.length_m == pytest.approx(5.0 * np.pi, abs=1e-12)
    np.testing.assert_allclose(
        alignment.point_at(alignment.length_m / 2), [[5.0, -5.0]], atol=1e-12
    )
    assert alignment.elements.curvature_in[0] == pytest.approx(-0.2, abs=1e-15)
    assert alignment.azimuth_at(0.0)[0] == pytest.approx(np.pi, abs=1e-12)
    # The centre lies to the left, and everything is equally near to it.
    feet = alignment.station_offset([(5.0, 0.0), (5.0, -3.0)])
    assert feet.offset_m == pytest.approx([-5.0, -2.0], abs=1e-12)
    assert feet.rivals.tolist()[1] == 0
    assert feet.rivals[0] >= 1


def test_a_full_circle() -> None:
    alignment = from_vertices([(0.0, 0.0), (10.0, 0.0)], [1.0, 1.0], closed=True)
    feet = alignment.station_offset([(5.0, 7.0), (-2.0, 0.0), (0.0, 0.0), (12.0, 0.0)])
    assert feet.offset_m == pytest.approx([2.0, 2.0, 0.0, 2.0], abs=1e-12)
    assert (feet.kind == Foot.ON).all()
    assert feet.distance_m == pytest.approx([7.5 * np.pi, 0.0, 0.0, 5.0 * np.pi], abs=1e-9)


def test_an_arc_of_more_than_half_a_circle() -> None:
    alignment = from_parts([arc(10.0, 10.0 * 1.75 * np.pi)])
    # Centre east of the start; three quarters of a turn and a half on from west.
    angle = np.linspace(0.01, 1.74 * np.pi, 50)
    xy = np.column_stack((10.0 - 12.0 * np.cos(angle), 12.0 * np.sin(angle)))
    feet = alignment.station_offset(xy)
    np.testing.assert_allclose(feet.distance_m, 10.0 * angle, atol=1e-9)
    np.testing.assert_allclose(feet.offset_m, -2.0, atol=1e-9)


def test_outside_a_kink_the_vertex_is_nearest() -> None:
    alignment = from_vertices([(0.0, 0.0), (0.0, 100.0), (100.0, 100.0)])
    feet = alignment.station_offset([(-3.0, 104.0), (30.0, 60.0), (40.0, 60.0)])
    assert feet.kind.tolist() == [Foot.VERTEX, Foot.ON, Foot.ON]
    assert feet.station_m.tolist() == [100.0, 60.0, 60.0]
    assert feet.offset_m.tolist() == [-5.0, 30.0, 40.0]
    # On the bisector both legs are as near.
    assert feet.rivals.tolist() == [0, 0, 1]
    every = alignment.all_station_offsets([(30.0, 60.0), (500.0, 500.0)], 100.0)
    assert every.point.tolist() == [0, 0]
    assert every.station_m.tolist() == [60.0, 130.0]
    assert every.rivals.tolist() == [1, 1]


def test_a_line_that_runs_back_upon_itself() -> None:
    alignment = from_vertices([(0.0, 0.0), (0.0, 10.0), (0.0, 4.0)])
    (defect,) = alignment.defects()
    assert defect.kind == "reversal"
    feet = alignment.station_offset([(1.0, 7.0), (1.0, 12.0)])
    assert feet.rivals[0] == 1
    assert feet.kind[1] == Foot.VERTEX
    assert feet.offset_m[1] == pytest.approx(np.hypot(1.0, 2.0))


def test_vertices_that_repeat_are_dropped() -> None:
    alignment = from_vertices([(0, 0), (0, 0), (0, 5), (0, 5), (5, 5), (0, 0)], closed=True)
    assert len(alignment.elements) == 3
    assert alignment.dropped == 3
    with pytest.raises(AlignmentError, match="no length"):
        from_vertices([(1, 1), (1, 1)])
    with pytest.raises(AlignmentError, match="finite"):
        from_vertices([(1, 1), (1, np.nan)])


def test_a_closed_line_has_no_ends() -> None:
    square = from_vertices([(0, 0), (0, 10), (10, 10), (10, 0)], closed=True)
    feet = square.station_offset([(-1.0, -1.0), (5.0, -2.0), (3.0, 5.0), (-0.5, 0.0)])
    assert feet.kind.tolist() == [Foot.VERTEX, Foot.ON, Foot.ON, Foot.ON]
    assert feet.offset_m == pytest.approx([-np.sqrt(2.0), -2.0, 3.0, -0.5])
    assert feet.distance_m == pytest.approx([0.0, 35.0, 5.0, 0.0])


def test_spirals_agree_with_quadrature_and_fresnel() -> None:
    alignment = road()
    for number in range(len(alignment.elements)):
        one = {
            name: float(getattr(alignment.elements, name)[number])
            for name in ("azimuth_rad", "length_m", "curvature_in", "curvature_out")
        }
        rate = (one["curvature_out"] - one["curvature_in"]) / one["length_m"]

        def direction(s: float, one: dict[str, float] = one, rate: float = rate) -> float:
            return one["azimuth_rad"] + one["curvature_in"] * s + rate * s * s / 2.0

        end = place(alignment.elements, np.array([number]), np.array([one["length_m"]]))[0]
        east = quad(lambda s: np.sin(direction(s)), 0.0, one["length_m"], epsabs=1e-12)[0]
        north = quad(lambda s: np.cos(direction(s)), 0.0, one["length_m"], epsabs=1e-12)[0]
        np.testing.assert_allclose(end - alignment.elements.xy_m[number], [east, north], atol=2e-11)
    # From a line: the Fresnel integrals of scipy, A = sqrt(R L).
    length, radius = 85.0, 60.0
    one_spiral = from_parts([spiral(length, radius_out_m=radius)])
    scale = np.sqrt(np.pi * radius * length)
    t = np.linspace(0.0, length, 30)
    sine, cosine = fresnel(t / scale)
    np.testing.assert_allclose(
        one_spiral.point_at(t), scale * np.column_stack((sine, cosine)), atol=1e-11
    )


def test_even_a_spiral_that_turns_twice_round_is_exact() -> None:
    length = 100.0
    alignment = from_parts([spiral(length, radius_out_m=length / (4.0 * np.pi) * 1.0001)])
    scale = np.sqrt(np.pi * length * length / (4.0 * np.pi) * 1.0001)
    t = np.linspace(0.0, length, 50)
    sine, cosine = fresnel(t / scale)
    np.testing.assert_allclose(
        alignment.point_at(t), scale * np.column_stack((sine, cosine)), atol=1e-10
    )
    with pytest.raises(AlignmentError, match="turns"):
        from_parts([spiral(length, radius_out_m=2.0)])


def test_offsets_are_the_least_distances() -> None:
    alignment = road()
    xy = cloud(alignment, 3000, 150.0)
    feet = alignment.station_offset(xy)
    np.testing.assert_allclose(feet.away_m, brute(alignment, xy), atol=2e-6)
    assert set(feet.kind.tolist()) == {Foot.ON, Foot.BEFORE, Foot.PAST}
    # The place found is that far away, and the offset leads back to the point.
    np.testing.assert_allclose(alignment.point_at(feet.distance_m, feet.offset_m), xy, atol=1e-9)


def test_every_local_least_distance_is_found() -> None:
    alignment = road()
    xy = cloud(alignment, 400, 60.0, seed=8)
    every = alignment.all_station_offsets(xy, 1e6)
    assert len(every) > len(xy)
    s = np.linspace(0.0, alignment.length_m, 60_001)
    along = alignment.point_at(s)
    for index in range(len(xy)):
        away = np.hypot(*(along - xy[index]).T)
        least = np.flatnonzero((away[1:-1] < away[:-2]) & (away[1:-1] <= away[2:])) + 1
        dips = [float(s[each]) for each in least]
        if away[0] < away[1]:
            dips.insert(0, 0.0)
        if away[-1] < away[-2]:
            dips.append(alignment.length_m)
        mine = every.point == index
        found = np.sort(np.clip(every.distance_m[mine], 0.0, alignment.length_m))
        np.testing.assert_allclose(found, dips, atol=0.02)


def test_feet_near_the_evolute_of_a_spiral() -> None:
    # There two feet of one spiral come together; a coarse look would miss both.
    alignment = from_parts([spiral(100.0, radius_in_m=60.0, radius_out_m=20.0)])
    s = np.linspace(5.0, 95.0, 200)
    radius = 1.0 / alignment.curvature_at(s)
    noise = np.random.default_rng(1).normal(0.0, 1e-3, s.size)
    xy = alignment.point_at(s, radius + noise)
    feet = alignment.station_offset(xy)
    np.testing.assert_allclose(feet.away_m, brute(alignment, xy, 0.01), atol=2e-6)


def test_shapely_agrees_on_lines() -> None:
    rng = np.random.default_rng(3)
    vertices = np.cumsum(rng.normal(0.0, 30.0, (40, 2)), axis=0)
    vertices += (600_000.0, 4_000_000.0)
    alignment = from_vertices(vertices)
    xy = rng.uniform(vertices.min(axis=0) - 20, vertices.max(axis=0) + 20, (2000, 2))
    feet = alignment.station_offset(xy)
    drawn = shapely.LineString(vertices)
    points = shapely.points(xy)
    np.testing.assert_allclose(feet.away_m, shapely.distance(drawn, points), atol=1e-8)
    inside = np.isin(feet.kind, [Foot.ON, Foot.VERTEX]) & (feet.rivals == 0)
    along = np.asarray(shapely.line_locate_point(drawn, points))
    np.testing.assert_allclose(feet.distance_m[inside], along[inside], atol=1e-7)
    # Side of the line, by the sign of the cross product at the nearest place.
    chord = alignment.point_at(feet.distance_m + 1e-4) - alignment.point_at(feet.distance_m - 1e-4)
    away = xy - alignment.point_at(feet.distance_m)
    right = chord[:, 1] * away[:, 0] - chord[:, 0] * away[:, 1] > 0.0
    clear = (feet.kind == Foot.ON) & (np.abs(feet.offset_m) > 1e-2)
    assert (right[clear] == (feet.offset_m[clear] > 0.0)).all()


def test_tangents_and_curvature() -> None:
    alignment = road()
    s = np.linspace(1.0, alignment.length_m - 1.0, 300)
    step = (alignment.point_at(s + 1e-4) - alignment.point_at(s - 1e-4)) / 2e-4
    azimuth = np.mod(np.arctan2(step[:, 0], step[:, 1]), 2 * np.pi)
    np.testing.assert_allclose(alignment.azimuth_at(s), azimuth, atol=1e-6)
    assert alignment.curvature_at([-1.0, 130.0, 200.0, 1e6]) == pytest.approx(
        [0.0, 10.0 / 60.0 / 180.0, 1.0 / 180.0, 0.0]
    )
    assert alignment.defects() == ()


def test_defects_of_a_table() -> None:
    alignment = from_parts(
        [
            line(100.0),
            Part(length_m=50.0, xy_m=(0.0, 100.3), azimuth_rad=0.02),
            spiral(30.0, radius_out_m=100.0),
            arc(50.0, 20.0),
            line(0.0),
        ]
    )
    found = [(each.kind, each.element) for each in alignment.defects()]
    assert found == [("gap", 0), ("kink", 0), ("radius", 2)]
    gap, kink, radius = alignment.defects()
    assert gap.amount == pytest.approx(0.3)
    assert kink.amount == pytest.approx(0.02)
    assert radius.amount == pytest.approx(0.01)
    assert alignment.dropped == 1
    # Beside the gap both ends count.
    feet = alignment.station_offset([(1.0, 100.1), (1.0, 100.25)])
    assert feet.element.tolist() == [0, 1]


def test_refuses_tables_that_cannot_be() -> None:
    with pytest.raises(AlignmentError, match="element 2: length -3 m is negative"):
        from_parts([line(1.0), line(-3.0)])
    with pytest.raises(AlignmentError, match="element 1"):
        from_parts([line(float("nan"))])
    with pytest.raises(AlignmentError, match="without any element"):
        from_parts([line(0.0)])
    with pytest.raises(AlignmentError, match="overlap by"):
        from_intersections([(0, 0), (0, 100), (100, 100), (100, 0)], 90.0)
    with pytest.raises(AlignmentError, match="two points"):
        from_intersections([(0, 0)])


def test_points_of_intersection_with_unequal_spirals() -> None:
    pis = np.array([(0.0, 0.0), (0.0, 400.0), (500.0, 700.0), (900.0, 650.0)])
    alignment = from_intersections(pis, [200.0, 300.0], [50.0, 0.0], [80.0, 60.0])
    assert alignment.defects() == ()
    np.testing.assert_allclose(alignment.point_at(0.0), [pis[0]], atol=1e-9)
    np.testing.assert_allclose(alignment.point_at(alignment.length_m), [pis[-1]], atol=1e-8)
    assert alignment.elements.is_spiral.tolist().count(True) == 3


def test_a_kink_is_left_where_a_pi_has_no_radius() -> None:
    alignment = from_intersections([(0, 0), (0, 100), (100, 100)], 0.0)
    assert [each.kind for each in alignment.defects()] == ["kink"]
    assert alignment.defects()[0].amount == pytest.approx(np.pi / 2)


def test_run_the_other_way() -> None:
    alignment = road()
    back = reversed_alignment(alignment)
    xy = cloud(alignment, 500, 30.0)
    forth_feet, back_feet = alignment.station_offset(xy), back.station_offset(xy)
    same = forth_feet.rivals == 0
    np.testing.assert_allclose(
        forth_feet.distance_m[same], alignment.length_m - back_feet.distance_m[same], atol=1e-7
    )
    np.testing.assert_allclose(forth_feet.offset_m, -back_feet.offset_m, atol=1e-8)


def test_points_without_a_position() -> None:
    alignment = road()
    feet = alignment.station_offset([(np.nan, 1.0), (5000.0, 8000.0)])
    assert np.isnan(feet.station_m[0])
    assert feet.kind.tolist() == [Foot.NOWHERE, Foot.ON]
    assert feet.point.tolist() == [0, 1]
    assert len(alignment.station_offset(np.empty((0, 2)))) == 0
    every = alignment.all_station_offsets([(np.nan, 1.0), (5000.0, 8000.0)], np.inf)
    assert (every.point == 1).all()
    assert every.away_m[0] == pytest.approx(0.0, abs=1e-9)
    assert len(alignment.all_station_offsets(np.empty((0, 2)), 5.0)) == 0
    with pytest.raises(ValueError, match="shape"):
        alignment.station_offset(np.zeros((3, 3)))
