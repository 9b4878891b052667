import itertools

import numpy as np
import pytest
import shapely

from checker.geometry import boundary as outline
from checker.geometry.arrays import FloatArray
from checker.geometry.boundary import boundary, inside, weld
from checker.geometry.surface import Surface, SurfaceError, surface


def mesh(z: FloatArray, spacing: float = 1.0) -> FloatArray:
    """Triangles of a square mesh; z: shape (rows, columns)."""
    rows, columns = z.shape
    north, east = np.mgrid[0:rows, 0:columns] * spacing
    corner = np.dstack((east, north, z))
    a, b = corner[:-1, :-1], corner[:-1, 1:]
    c, d = corner[1:, 1:], corner[1:, :-1]
    return np.concatenate(
        (
            np.stack((a, b, c), axis=2).reshape(-1, 3, 3),
            np.stack((a, c, d), axis=2).reshape(-1, 3, 3),
        )
    )


def plane(tilt_e: float, tilt_n: float, size: int = 6) -> Surface:
    north, east = np.mgrid[0:size, 0:size].astype(float)
    return surface(mesh(10.0 + tilt_e * east + tilt_n * north))


def test_a_plane_is_a_plane() -> None:
    tilted = plane(0.3, -0.4)
    rng = np.random.default_rng(1)
    xy = rng.uniform(0.0, 5.0, (500, 2))
    heights = tilted.look_up(xy)
    np.testing.assert_allclose(heights.elevation_m, 10.0 + xy @ [0.3, -0.4], atol=1e-12)
    np.testing.assert_allclose(heights.gradient, np.tile([0.3, -0.4], (500, 1)), atol=1e-12)
    np.testing.assert_allclose(tilted.slope, 0.5, atol=1e-12)
    # Falls west and north: 3-4-5, azimuth 360 - atan(3/4).
    np.testing.assert_allclose(np.degrees(tilted.aspect_rad), 360.0 - 36.86989764584402, atol=1e-9)
    np.testing.assert_allclose(heights.normal(np.full(500, 0.1)), 0.1 / np.sqrt(1.25), atol=1e-12)
    assert not heights.overlaps.any()


def test_outside_is_nothing() -> None:
    heights = plane(0.0, 0.0).look_up([(-0.01, 2.0), (7.0, 2.0), (2.0, 1e9), (np.nan, 1.0)])
    assert np.isnan(heights.elevation_m).all()
    assert heights.source.tolist() == [-1, -1, -1, -1]
    assert heights.hits.tolist() == [0, 0, 0, 0]


def test_edges_and_corners_give_one_answer() -> None:
    z = np.random.default_rng(4).normal(0.0, 3.0, (5, 5))
    move = np.array([500_000.0, 4_100_000.0, 100.0])
    triangles = mesh(z) + move
    corners = np.array(list(itertools.product(range(5), range(5))), dtype=float)
    diagonals = corners[:16] * 0.75 + 0.5
    xy = np.concatenate((corners, diagonals)) + move[:2]
    expected = None
    for order in (slice(None), slice(None, None, -1)):
        for turn in (0, 1, 2):
            drawn = np.roll(triangles[order], turn, axis=1)
            heights = surface(drawn).look_up(xy)
            assert heights.on_edge[:25].all()
            assert not heights.overlaps.any()
            assert (heights.hits[:25] >= 1).all()
            if expected is None:
                expected = heights.elevation_m
            np.testing.assert_allclose(heights.elevation_m, expected, atol=1e-8)
            # The triangle drawn first of those that meet there.
            assert heights.source[6] == min(
                index
                for index, triangle in enumerate(drawn)
                if (np.abs(triangle[:, :2] - xy[6]).max(axis=1) < 1e-6).any()
            )
    assert expected is not None
    np.testing.assert_allclose(expected[:25], z.T.reshape(-1) + 100.0, atol=1e-8)


def test_many_positions_are_looked_up_as_few_are() -> None:
    rng = np.random.default_rng(11)
    built = surface(mesh(rng.uniform(0.0, 1.0, (5, 5))))
    xy = rng.uniform(-0.5, 4.5, (70_000, 2))
    xy[[5, 60_000]] = [(np.nan, 1.0), (1e12, -1e12)]
    many = built.look_up(xy)
    for begin in range(0, len(xy), 10_000):
        few = built.look_up(xy[begin : begin + 10_000])
        for name in ("elevation_m", "source", "low_m", "high_m", "on_edge", "hits"):
            np.testing.assert_array_equal(
                getattr(many, name)[begin : begin + 10_000], getattr(few, name)
            )


def test_vertical_and_degenerate_faces_are_counted() -> None:
    good: list[list[float]] = [[0, 0, 1], [4, 0, 1], [0, 4, 1]]
    wall: list[list[float]] = [[0, 0, 1], [4, 0, 1], [4, 0, 5]]
    line: list[list[float]] = [[0, 0, 1], [2, 2, 1], [4, 4, 1]]
    point: list[list[float]] = [[1, 1, 1], [1, 1, 1], [1, 1, 1]]
    upright: list[list[float]] = [[1, 1, 1], [1, 1, 2], [1, 1, 3]]
    built = surface([wall, good, line, point, upright])
    assert len(built) == 1
    assert built.source.tolist() == [1]
    assert (built.dropped_vertical, built.dropped_degenerate) == (1, 3)
    with pytest.raises(SurfaceError, match="none of the 2"):
        surface([wall, line])
    with pytest.raises(SurfaceError, match="lack a coordinate"):
        surface(np.array([good, [[0, 0, np.nan], [4, 0, 1], [0, 4, 1]]]))
    with pytest.raises(SurfaceError, match="without triangles"):
        surface(np.empty((0, 3, 3)))
    with pytest.raises(ValueError, match="shape"):
        surface([[1.0, 2.0]])


def test_overlapping_surfaces_tell_both_elevations() -> None:
    low: list[list[float]] = [[0, 0, 1], [4, 0, 1], [0, 4, 1]]
    high: list[list[float]] = [[0, 0, 3], [0, 4, 3], [4, 0, 3]]
    heights = surface([high, low]).look_up([(1.0, 1.0)])
    assert heights.elevation_m.tolist() == [3.0]
    assert (heights.low_m[0], heights.high_m[0], heights.hits[0]) == (1.0, 3.0, 2)
    assert heights.overlaps.tolist() == [True]
    twice = surface([low, low]).look_up([(1.0, 1.0)])
    assert not twice.overlaps[0]
    assert twice.hits[0] == 2


def test_triangles_of_very_different_sizes_agree_with_the_plain_way() -> None:
    rng = np.random.default_rng(9)
    centre = rng.uniform(0.0, 1000.0, (600, 2))
    size = 10.0 ** rng.uniform(-2.0, 2.7, 600)
    flat = centre[:, None, :] + rng.normal(0.0, 1.0, (600, 3, 2)) * size[:, None, None]
    triangles = np.dstack((flat, rng.normal(0.0, 5.0, (600, 3))))
    xy = np.concatenate((rng.uniform(-100.0, 1100.0, (2000, 2)), centre))
    heights = surface(triangles).look_up(xy)
    polygons = shapely.polygons(flat)
    for index, place in enumerate(xy[::13]):
        hit = np.flatnonzero(shapely.intersects(polygons, shapely.Point(place)))
        at = index * 13
        assert heights.hits[at] == len(hit)
        if len(hit):
            assert heights.source[at] == hit[0]
            a, b, c = triangles[hit[0]]
            share = np.linalg.solve(np.column_stack((b - a, c - a))[:2], place - a[:2])
            expected = a[2] + share @ [b[2] - a[2], c[2] - a[2]]
            assert heights.elevation_m[at] == pytest.approx(expected, abs=1e-7)


def test_boundary_with_a_hole() -> None:
    triangles = mesh(np.zeros((6, 6)))
    middle = triangles[:, :, :2].mean(axis=1)
    gone = (np.abs(middle - 2.5) < 0.5).all(axis=1)
    built = surface(triangles[~gone] + [1000.0, 2000.0, 0.0])
    around = boundary(built)
    assert [loop.kind for loop in around.loops] == ["outer", "hole"]
    assert [loop.area_m2 for loop in around.loops] == pytest.approx([25.0, -1.0])
    assert around.loops[1].xyz_m[:, :2].min(axis=0).tolist() == [1002.0, 2002.0]
    assert around.crowded_edges == 0
    rings = [loop.xyz_m[:, :2] for loop in around.loops]
    asked = np.array([(1002.5, 2002.5), (1001.5, 2002.5), (999.0, 2002.5), (1002.5, 2004.9)])
    assert inside(asked, rings).tolist() == [False, True, False, True]


def test_parts_that_touch_in_a_corner_are_two_loops() -> None:
    triangles = mesh(np.zeros((3, 3)))
    middle = triangles[:, :, :2].mean(axis=1)
    kept = (middle < 1.0).all(axis=1) | (middle > 1.0).all(axis=1)
    around = boundary(surface(triangles[kept]))
    assert [loop.area_m2 for loop in around.loops] == pytest.approx([1.0, 1.0])


def test_folds_and_seams_are_seen() -> None:
    square = mesh(np.zeros((2, 2)))
    raised = square[:1] + np.array([0.0, 0.0, 1.0])
    folded = surface(np.concatenate((square, raised)))
    around = boundary(folded)
    assert around.crowded_edges == 3
    assert [loop.area_m2 for loop in around.loops] == pytest.approx([1.0])
    # One triangle beside two that share its side through a corner 1 mm off: a crack.
    cracked: list[list[list[float]]] = [
        [[0, 0, 0], [0, 2, 0], [-1, 1, 0]],
        [[0, 0, 0], [1, 0, 0], [0.001, 1, 0]],
        [[0.001, 1, 0], [1, 0, 0], [0, 2, 0]],
        [[-1, 1, 0], [0, -1, 0], [0, 0, 0]],
        [[0, -1, 0], [1, 0, 0], [0, 0, 0]],
        [[-1, 1, 0], [0, 2, 0], [0, 3, 0]],
        [[0, 2, 0], [1, 0, 0], [0, 3, 0]],
    ]
    kinds = [loop.kind for loop in boundary(surface(cracked)).loops]
    assert kinds == ["outer", "seam"]


def test_weld() -> None:
    xy = [(0, 0), (0, 1e-5), (5, 5), (0, 0), (5, 5.001)]
    number = weld(xy)
    assert number[0] == number[1] == number[3]
    assert len(set(number.tolist())) == 3


@pytest.mark.parametrize("spread", [None, (0, 0)])
def test_corners_at_one_place_get_one_number_in_their_order(
    spread: tuple[int, int] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    if spread is not None:  # every place gets the sum of every other
        monkeypatch.setattr(outline, "_SPREAD", np.array(spread, dtype=np.uint64))
    xy = np.array([(3.0, 1.0), (0.0, 2.0), (-0.0, 2.0), (3.0, 0.0), (3.0, -0.0), (3.0, 1.00001)])
    assert outline.weld(xy).tolist() == [2, 0, 0, 1, 1, 2]
    rng = np.random.default_rng(5)
    places = rng.uniform(-1e6, 1e6, (400, 2))
    some = rng.integers(0, 400, 2000)
    number = outline.weld(places[some])
    rank = np.argsort(np.lexsort((places[:, 1], places[:, 0])))
    there = np.unique(rank[some])
    np.testing.assert_array_equal(number, np.searchsorted(there, rank[some]))
