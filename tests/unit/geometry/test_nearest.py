import numpy as np
import pytest
import shapely

from checker.geometry.arrays import FloatArray, GeometryError
from checker.geometry.layout import from_vertices
from checker.geometry.nearest import NearestIndex, Primitives, primitives


def drawn(count: int, seed: int = 1) -> Primitives:
    rng = np.random.default_rng(seed)
    start = rng.uniform(0.0, 200.0, (count, 2))
    bulge = np.where(rng.random(count) < 0.5, 0.0, rng.uniform(-3.0, 3.0, count))
    return primitives(start, start + rng.normal(0.0, 8.0, (count, 2)), bulge)


def one_by_one(parts: Primitives, xy: FloatArray) -> FloatArray:
    """Distances to every primitive, by the alignment: shape (primitives, points)."""
    return np.array(
        [
            from_vertices([parts.start_m[index], parts.end_m[index]], parts.bulge[index])
            .station_offset(xy)
            .away_m
            for index in range(len(parts))
        ]
    )


def test_agrees_with_every_primitive_tried() -> None:
    parts = drawn(150)
    xy = np.random.default_rng(2).uniform(-20.0, 220.0, (800, 2))
    near = NearestIndex(parts).look_up(xy)
    away = one_by_one(parts, xy)
    np.testing.assert_allclose(np.abs(near.offset_m), away.min(axis=0), atol=1e-9)
    np.testing.assert_allclose(
        away[near.primitive, np.arange(len(xy))], away.min(axis=0), atol=1e-9
    )


def test_all_that_is_nearly_as_near_is_found() -> None:
    # From a metre to a kilometre: the marks by which candidates are looked for stand unevenly.
    few = drawn(120, seed=6)
    parts = Primitives(
        start_m=np.concatenate((few.start_m, [(-400.0, 30.0), (90.0, -500.0)])),
        end_m=np.concatenate((few.end_m, [(600.0, 80.0), (120.0, 700.0)])),
        bulge=np.concatenate((few.bulge, [0.0, 0.02])),
    )
    xy = np.random.default_rng(7).uniform(-20.0, 220.0, (500, 2))
    nearest, close = NearestIndex(parts).look_around(xy, 2.0)
    away = one_by_one(parts, xy).T
    wanted = np.argwhere(away <= away.min(axis=1)[:, None] + 2.0)
    assert np.array_equal(np.column_stack((close.point, close.primitive)), wanted)
    np.testing.assert_allclose(
        np.abs(close.offset_m), away[close.point, close.primitive], atol=1e-8
    )
    assert np.array_equal(nearest.rivals, np.bincount(close.point) - 1)


def test_no_points_have_no_nearest() -> None:
    assert not len(NearestIndex(drawn(3)).look_up(np.empty((0, 2))).primitive)


def test_place_and_side() -> None:
    parts = drawn(60, seed=4)
    xy = np.random.default_rng(3).uniform(0.0, 200.0, (400, 2))
    near = NearestIndex(parts).look_up(xy)
    for index, primitive in enumerate(near.primitive):
        line = from_vertices(
            [parts.start_m[primitive], parts.end_m[primitive]], parts.bulge[primitive]
        )
        foot = line.station_offset(xy[[index]])
        inside = np.clip(foot.distance_m[0], 0.0, line.length_m)
        assert near.along_m[index] == pytest.approx(inside, abs=1e-8)
        assert np.sign(near.offset_m[index]) == np.sign(foot.offset_m[0])
        assert near.at_end[index] == (foot.kind[0] != 0)


def test_arcs_are_not_chords() -> None:
    # Flattened to 10 mm, 5 mm would be lost here.
    parts = primitives([(0, 0), (0, 60)], [(100, 0), (100, 60)], [0.4, 0.0])
    arc = from_vertices([(0, 0), (100, 0)], 0.4)
    s = np.linspace(1.0, arc.length_m - 1.0, 1001)
    near = NearestIndex(parts).look_up(arc.point_at(s, 0.004))
    np.testing.assert_allclose(near.offset_m, 0.004, atol=1e-11)
    np.testing.assert_allclose(near.along_m, s, atol=1e-10)


def test_rivals() -> None:
    # Two lines that share an end, and a point off it; two parallels, and a point half-way.
    parts = primitives([(0, 0), (10, 0), (0, 4)], [(10, 0), (10, -9), (9, 4)])
    near = NearestIndex(parts).look_up([(11.0, 1.0), (3.0, 2.0), (3.0, 0.5)])
    assert near.rivals.tolist() == [1, 1, 0]
    assert near.primitive.tolist() == [0, 0, 0]
    assert near.at_end.tolist() == [True, False, False]


def test_shapely_agrees_at_large_coordinates() -> None:
    rng = np.random.default_rng(5)
    move = np.array([600_000.0, 4_500_000.0])
    start = rng.uniform(0.0, 500.0, (300, 2)) + move
    end = start + rng.normal(0.0, 20.0, (300, 2))
    xy = rng.uniform(0.0, 500.0, (1000, 2)) + move
    near = NearestIndex(primitives(start, end)).look_up(xy)
    lines = shapely.linestrings(np.stack((start, end), axis=1))
    tree = shapely.STRtree(np.asarray(lines))
    _, away = tree.query_nearest(shapely.points(xy), return_distance=True, all_matches=False)
    np.testing.assert_allclose(np.abs(near.offset_m), away, atol=1e-8)


def test_refuses() -> None:
    with pytest.raises(GeometryError, match="no length"):
        primitives([(0, 0)], [(0, 0)])
    with pytest.raises(GeometryError, match="not finite"):
        primitives([(0, 0)], [(0, np.inf)])
    with pytest.raises(GeometryError, match="no line"):
        NearestIndex(primitives(np.empty((0, 2)), np.empty((0, 2))))
    with pytest.raises(ValueError, match="not finite"):
        NearestIndex(drawn(3)).look_up([(np.nan, 0.0)])
