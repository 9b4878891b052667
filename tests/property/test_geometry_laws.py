"""Laws of the geometry room that hold for every alignment, profile, surface, figure and fit."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

from checker.geometry.alignment import Alignment, reversed_alignment
from checker.geometry.arrays import FloatArray
from checker.geometry.boundary import boundary
from checker.geometry.curves import CircularCurve, solve_curve
from checker.geometry.feet import Foot
from checker.geometry.figure import Course, run_figure
from checker.geometry.fit import fit_plane, fit_rigid, fit_similarity
from checker.geometry.grade import slope_stake_offset
from checker.geometry.layout import Part, from_parts, from_vertices
from checker.geometry.profile import profile
from checker.geometry.stations import format_station, parse_station, stationing
from checker.geometry.surface import surface
from checker.geometry.volume import volume_between
from tests.support.catch import catch_point

pytestmark = pytest.mark.property

SEEDS = st.integers(min_value=0, max_value=2**32 - 1)


@st.composite
def roads(draw: st.DrawFn) -> Alignment:
    """Smooth lines, arcs and spirals in any order, between any radii of 40 m and more."""
    curvature = st.one_of(
        st.just(0.0),
        st.floats(40.0, 2000.0).map(lambda radius: 1.0 / radius),
        st.floats(40.0, 2000.0).map(lambda radius: -1.0 / radius),
    )
    parts = []
    for _ in range(draw(st.integers(1, 6))):
        length = draw(st.floats(0.5, 120.0))
        first = draw(curvature)
        second = draw(st.one_of(st.just(first), curvature))
        parts.append(Part(length_m=length, curvature_in=first, curvature_out=second))
    return from_parts(
        parts,
        start_xy_m=(draw(st.floats(-5000.0, 5000.0)), draw(st.floats(-5000.0, 5000.0))),
        start_azimuth_rad=draw(st.floats(0.0, 6.28)),
        stationing=stationing(draw(st.floats(0.0, 1e4))),
    )


@st.composite
def polylines(draw: st.DrawFn) -> Alignment:
    """Drawn lines and arcs with kinks."""
    coordinate = st.floats(-200.0, 200.0)
    count = draw(st.integers(2, 7))
    vertices = [(draw(coordinate), draw(coordinate)) for _ in range(count)]
    bulge = [draw(st.one_of(st.just(0.0), st.floats(-2.0, 2.0))) for _ in range(count)]
    steps = np.hypot(*np.diff(np.array(vertices), axis=0).T)
    assume(bool(np.all(steps > 0.01)))
    return from_vertices(vertices, bulge)


def cloud(alignment: Alignment, seed: int, count: int = 60) -> FloatArray:
    along = alignment.point_at(np.linspace(0.0, alignment.length_m, 200))
    low, high = along.min(axis=0) - 40.0, along.max(axis=0) + 40.0
    return np.random.default_rng(seed).uniform(low, high, (count, 2))


@given(roads(), SEEDS)
def test_station_and_offset_lead_back_to_the_point(road: Alignment, seed: int) -> None:
    xy = cloud(road, seed)
    feet = road.station_offset(xy)
    back = road.point_at(feet.distance_m, feet.offset_m)
    smooth = feet.kind != Foot.VERTEX
    np.testing.assert_allclose(back[smooth], xy[smooth], atol=1e-9)


@given(roads(), SEEDS)
def test_a_point_at_station_and_offset_is_found_there(road: Alignment, seed: int) -> None:
    rng = np.random.default_rng(seed)
    along = rng.uniform(0.0, road.length_m, 40)
    offset = rng.uniform(-30.0, 30.0, 40)
    feet = road.all_station_offsets(road.point_at(along, offset), 60.0)
    for index in range(40):
        mine = feet.point == index
        miss = np.hypot(feet.distance_m[mine] - along[index], feet.offset_m[mine] - offset[index])
        assert miss.min() < 1e-9 * max(1.0, 40.0 / (40.0 - abs(offset[index])))


@given(st.one_of(roads(), polylines()), SEEDS)
def test_the_offset_is_the_least_distance(line: Alignment, seed: int) -> None:
    xy = cloud(line, seed)
    feet = line.station_offset(xy)
    step = 0.02
    count = max(2, int(line.length_m / step))
    ends = np.concatenate((line.starts_m, np.linspace(0.0, line.length_m, count)))
    drawn = shapely.LineString(line.point_at(np.sort(ends)))
    brute = np.asarray(shapely.distance(drawn, shapely.points(xy)))
    # A chord of 0.02 m is off its arc by step^2 / (8 R).
    bend = np.max(np.abs(np.concatenate((line.elements.curvature_in, line.elements.curvature_out))))
    np.testing.assert_allclose(feet.away_m, brute, atol=step**2 * bend / 4.0 + 1e-7)


@given(polylines(), SEEDS)
def test_all_places_hold_the_nearest_one(line: Alignment, seed: int) -> None:
    xy = cloud(line, seed)
    nearest = line.station_offset(xy)
    every = line.all_station_offsets(xy, 1e5)
    _, first = np.unique(every.point, return_index=True)
    np.testing.assert_allclose(every.away_m[first], nearest.away_m, atol=1e-9)


@given(roads(), SEEDS, st.floats(-1e4, 1e4), st.floats(-1e4, 1e4), st.floats(0.0, 6.28))
def test_moved_and_turned_it_is_the_same(
    road: Alignment, seed: int, east: float, north: float, turn: float
) -> None:
    xy = cloud(road, seed)
    cosine, sine = np.cos(turn), np.sin(turn)
    # Clockwise, as azimuths grow.
    matrix = np.array([[cosine, -sine], [sine, cosine]])
    parts = [
        Part(length_m=float(length), curvature_in=float(k), curvature_out=float(k_out))
        for length, k, k_out in zip(
            road.elements.length_m,
            road.elements.curvature_in,
            road.elements.curvature_out,
            strict=True,
        )
    ]
    start = road.elements.xy_m[0] @ matrix + (east, north)
    moved = from_parts(
        parts,
        start_xy_m=(float(start[0]), float(start[1])),
        start_azimuth_rad=float(road.elements.azimuth_rad[0]) + turn,
    )
    before, after = road.station_offset(xy), moved.station_offset(xy @ matrix + (east, north))
    single = (before.rivals == 0) & (after.rivals == 0)
    np.testing.assert_allclose(before.away_m, after.away_m, atol=1e-7)
    # Near an evolute the place hangs on rounding; the distance does not.
    slack = np.abs(1.0 - before.offset_m * road.curvature_at(before.distance_m))
    firm = single & (slack > 0.05)
    np.testing.assert_allclose(before.distance_m[firm], after.distance_m[firm], atol=1e-6)


@given(roads(), SEEDS)
def test_run_backwards_offsets_change_sides(road: Alignment, seed: int) -> None:
    xy = cloud(road, seed)
    forth, back = road.station_offset(xy), reversed_alignment(road).station_offset(xy)
    np.testing.assert_allclose(forth.away_m, back.away_m, atol=1e-8)
    single = (forth.rivals == 0) & (back.rivals == 0) & (np.abs(forth.offset_m) > 1e-6)
    assert (np.sign(forth.offset_m[single]) == -np.sign(back.offset_m[single])).all()


@given(
    st.floats(-1e6, 1e6).map(lambda value: round(value, 3)),
    st.sampled_from([2, 3]),
)
def test_stations_are_read_as_written(value: float, digits: int) -> None:
    assert parse_station(format_station(value, digits=digits, decimals=3)) == pytest.approx(
        value, abs=1e-9
    )


@given(st.lists(st.floats(1.0, 500.0), min_size=1, max_size=5), SEEDS)
def test_distances_come_back_from_stations(runs: list[float], seed: int) -> None:
    rng = np.random.default_rng(seed)
    station, pairs = 1000.0, []
    for run in runs:
        ahead = station + run + rng.uniform(-300.0, 300.0)
        pairs.append((station + run, ahead))
        station = ahead
    stations = stationing(1000.0, pairs)
    distance = rng.uniform(-50.0, sum(runs) + 100.0, 40)
    back = stations.distance(stations.station(distance), stations.region(distance))
    np.testing.assert_allclose(back, distance, atol=1e-9)
    for each in distance[distance >= 0.0]:
        found = stations.distances(float(stations.station(each)))
        assert min(abs(np.array(found) - each)) < 1e-9


@given(st.integers(3, 8), SEEDS)
def test_a_profile_is_smooth_and_keeps_its_tangents(count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    station = np.cumsum(rng.uniform(100.0, 300.0, count))
    elevation = rng.normal(0.0, 8.0, count)
    before, behind = rng.uniform(1.0, 49.0, (2, count))
    before[[0, -1]] = behind[[0, -1]] = 0.0
    line = profile(station, elevation, before, behind)
    breaks = line.station_m[1:]
    np.testing.assert_allclose(
        line.elevation(breaks - 1e-7), line.elevation(breaks + 1e-7), atol=1e-6
    )
    np.testing.assert_allclose(
        line.grade_at(breaks - 1e-7), line.grade_at(breaks + 1e-7), atol=1e-6
    )
    # Half-way between PVIs all is tangent here.
    middle = (station[1:] + station[:-1]) / 2.0
    np.testing.assert_allclose(
        line.elevation(middle), (elevation[1:] + elevation[:-1]) / 2.0, atol=1e-9
    )
    mirrored = profile(-station[::-1], elevation[::-1], behind[::-1], before[::-1])
    asked = rng.uniform(station[0], station[-1], 50)
    np.testing.assert_allclose(line.elevation(asked), mirrored.elevation(-asked), atol=1e-9)


def ground(seed: int, size: int = 6) -> FloatArray:
    """Triangles of a rough mesh, about 5 m a side."""
    rng = np.random.default_rng(seed)
    north, east = np.mgrid[0:size, 0:size] * 5.0
    corner = np.dstack(
        (
            east + rng.uniform(-1.0, 1.0, east.shape),
            north + rng.uniform(-1.0, 1.0, east.shape),
            rng.normal(0.0, 1.0, east.shape),
        )
    )
    a, b, c, d = corner[:-1, :-1], corner[:-1, 1:], corner[1:, 1:], corner[1:, :-1]
    return np.concatenate(
        (
            np.stack((a, b, c), axis=2).reshape(-1, 3, 3),
            np.stack((a, c, d), axis=2).reshape(-1, 3, 3),
        )
    )


@given(SEEDS, st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
def test_a_surface_does_not_mind_order_or_place(seed: int, east: float, north: float) -> None:
    rng = np.random.default_rng(seed)
    triangles = ground(seed)
    xy = rng.uniform(-3.0, 28.0, (200, 2))
    first = surface(triangles).look_up(xy)
    order = rng.permutation(len(triangles))
    moved = triangles[order][:, rng.permutation(3)] + np.array([east, north, 0.0])
    second = surface(moved).look_up(xy + np.array([east, north]))
    clear = ~first.on_edge & ~second.on_edge
    outside = np.isnan(first.elevation_m)
    assert (outside[clear] == np.isnan(second.elevation_m)[clear]).all()
    np.testing.assert_allclose(first.elevation_m[clear], second.elevation_m[clear], atol=1e-7)
    assert (order[second.source[clear & ~outside]] == first.source[clear & ~outside]).all()


@given(SEEDS)
def test_the_loops_enclose_the_triangles(seed: int) -> None:
    built = surface(ground(seed))
    around = boundary(built)
    assert sum(loop.area_m2 for loop in around.loops) == pytest.approx(built.area_m2.sum())


@given(SEEDS, st.floats(-2.0, 2.0))
def test_volumes_add_up(seed: int, lift: float) -> None:
    ours, theirs = surface(ground(seed)), surface(ground(seed + 1))
    forth, back = volume_between(ours, theirs), volume_between(theirs, ours)
    assert forth.cut_m3 == pytest.approx(back.fill_m3, abs=1e-9)
    assert forth.fill_m3 == pytest.approx(back.cut_m3, abs=1e-9)
    # Lifted, the net volume grows by area times lift.
    lifted = volume_between(surface(ground(seed) + np.array([0.0, 0.0, lift])), theirs)
    assert lifted.net_m3 == pytest.approx(forth.net_m3 + lift * forth.area_m2, abs=1e-8)
    # In two halves the volumes are those of the whole.
    line = float(np.random.default_rng(seed).uniform(5.0, 20.0))
    west = [(-50.0, -50.0), (line, -50.0), (line, 90.0), (-50.0, 90.0)]
    east = [(line, -50.0), (90.0, -50.0), (90.0, 90.0), (line, 90.0)]
    halves = [volume_between(ours, theirs, [ring]) for ring in (west, east)]
    assert sum(half.cut_m3 for half in halves) == pytest.approx(forth.cut_m3, abs=1e-8)
    assert sum(half.fill_m3 for half in halves) == pytest.approx(forth.fill_m3, abs=1e-8)
    assert sum(half.area_m2 for half in halves) == pytest.approx(forth.area_m2, abs=1e-8)


@given(st.floats(1.0, 5000.0), st.floats(0.05, 3.0))
def test_a_curve_comes_back_from_radius_and_any_element(radius: float, delta: float) -> None:
    curve = CircularCurve(radius_m=radius, delta_rad=delta)
    for name in ("length_m", "tangent_m", "chord_m", "middle_m", "external_m"):
        value = getattr(curve, name)
        assert solve_curve(**{"radius_m": radius, name: value}).delta_rad == pytest.approx(delta)
        assert solve_curve(**{"delta_rad": delta, name: value}).radius_m == pytest.approx(radius)


@given(polylines())
def test_a_figure_of_an_outline_closes_and_has_its_area(line: Alignment) -> None:
    vertices = np.concatenate((line.elements.xy_m, line.point_at(line.length_m)))
    bulge = -np.tan(line.elements.turn_rad / 4.0)
    courses = []
    for index in range(len(vertices)):
        step = np.roll(vertices, -1, axis=0)[index] - vertices[index]
        azimuth, chord = float(np.arctan2(*step)), float(np.hypot(*step))
        assume(chord > 0.01)
        turn = bulge[index] if index < len(bulge) else 0.0
        if abs(turn) < 1e-6:
            courses.append(Course(azimuth_rad=azimuth, distance_m=chord))
            continue
        courses.append(
            Course(
                turn=-1 if turn > 0.0 else 1,
                radius_m=chord * (1.0 + turn * turn) / (4.0 * abs(turn)),
                delta_rad=4.0 * abs(float(np.arctan(turn))),
                chord_azimuth_rad=azimuth,
            )
        )
    figure = run_figure(courses)
    assert figure.misclosure_length_m < 1e-9 * max(1.0, figure.perimeter_m)
    np.testing.assert_allclose(figure.bulge, [*bulge, 0.0], atol=1e-6)
    closed = from_vertices(vertices, [*bulge, 0.0], closed=True)
    fine = closed.point_at(np.linspace(0.0, closed.length_m, 40_001)[:-1])
    east, north = (fine - fine[0]).T
    area = abs(np.sum(east * np.roll(north, -1) - np.roll(east, -1) * north)) / 2.0
    assert figure.area_m2 == pytest.approx(area, abs=1e-4 * closed.length_m + 1e-5 * area)


@given(SEEDS, st.floats(0.5, 2.0), st.floats(-3.0, 3.0), st.integers(3, 12))
def test_a_fit_undoes_a_known_move(seed: int, scale: float, turn: float, count: int) -> None:
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0.0, 400.0, (count, 2))
    cosine, sine = np.cos(turn), np.sin(turn)
    matrix = np.array([[cosine, -sine], [sine, cosine]])
    target = scale * xy @ matrix + rng.uniform(-1e5, 1e5, 2)
    similarity = fit_similarity(xy, target)
    assert similarity.scale == pytest.approx(scale, rel=1e-9)
    np.testing.assert_allclose(similarity.apply(xy), target, atol=1e-8)
    assert np.cos(similarity.rotation_rad - turn) == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(similarity.left_out_m, 0.0, atol=1e-6)
    rigid = fit_rigid(xy, xy @ matrix)
    np.testing.assert_allclose(rigid.residual_m, 0.0, atol=1e-9)
    plane = fit_plane(xy, 3.0 + xy @ np.array([0.01, -0.02]))
    assert (plane.rise_east, plane.rise_north) == pytest.approx((0.01, -0.02), abs=1e-9)


@given(SEEDS, st.floats(1.0, 4.0), st.floats(1.0, 4.0))
def test_the_offset_rule_finds_the_catch_point(seed: int, cut: float, fill: float) -> None:
    rng = np.random.default_rng(seed)
    offset = np.cumsum(rng.uniform(1.0, 8.0, 30)) - 70.0
    ground_m = np.cumsum(rng.normal(0.0, 0.3, 30))
    hinge = float(rng.choice([-6.0, 6.0]))
    assume(offset[0] < -6.0 and offset[-1] > 6.0)
    # Far out the ground turns towards the slope, so that there is a catch.
    ends = float(np.interp(hinge, offset, ground_m))
    assume(abs(ends) > 1e-6)
    offset = np.concatenate(([-1000.0], offset, [1000.0]))
    ground_m = np.concatenate(([0.0], ground_m, [0.0]))
    catch = catch_point(hinge, 0.0, offset, ground_m, cut_slope=cut, fill_slope=fill)
    assert catch.elevation_m == pytest.approx(np.interp(catch.offset_m, offset, ground_m), abs=1e-9)
    assert catch.is_cut == (ends > 0.0)
    found = slope_stake_offset(abs(hinge), cut if catch.is_cut else fill, catch.cut_m)
    assert found == pytest.approx(abs(catch.offset_m))
