import numpy as np
import pytest
import shapely

from checker.geometry.arrays import FloatArray
from checker.geometry.surface import Surface, surface
from checker.geometry.volume import (
    volume_between,
)
from tests.unit.geometry.test_surface import mesh


def flat(z: float, low: float = -50.0, high: float = 50.0) -> Surface:
    a, b, c, d = (low, low, z), (high, low, z), (high, high, z), (low, high, z)
    return surface([[a, b, c], [a, c, d]])


def pyramid(half_top: float, half_base: float, height: float) -> Surface:
    """Truncated pyramid: a flat top and four sides, each two triangles."""
    top = [(x * half_top, y * half_top, height) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    base = [(x * half_base, y * half_base, 0.0) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    faces = [[top[0], top[1], top[2]], [top[0], top[2], top[3]]]
    for i in range(4):
        j = (i + 1) % 4
        faces += [[base[i], base[j], top[j]], [base[i], top[j], top[i]]]
    return surface(faces)


def test_a_prism() -> None:
    volume = volume_between(flat(2.0), flat(1.25))
    assert volume.cut_m3 == pytest.approx(7500.0, rel=1e-14)
    assert (volume.fill_m3, volume.fill_area_m2) == (0.0, 0.0)
    assert volume.area_m2 == pytest.approx(10_000.0, rel=1e-14)


def test_a_truncated_pyramid() -> None:
    # h (A + a + sqrt(A a)) / 3, half sides 10 and 4: A = 400, a = 64.
    volume = volume_between(pyramid(4.0, 10.0, 6.0), flat(0.0))
    assert volume.cut_m3 == pytest.approx(6.0 * (400.0 + 64.0 + 160.0) / 3.0, rel=1e-13)
    assert volume.area_m2 == pytest.approx(400.0, rel=1e-13)


def test_cut_and_fill_are_kept_apart() -> None:
    # Cut by a plane at height 2 of 6: above it half sides 4 to 8, below it a ring.
    volume = volume_between(pyramid(4.0, 10.0, 6.0), flat(2.0))
    cut = 4.0 * (256.0 + 64.0 + 128.0) / 3.0
    whole = 6.0 * (400.0 + 64.0 + 160.0) / 3.0
    assert volume.cut_m3 == pytest.approx(cut, rel=1e-13)
    assert volume.fill_m3 == pytest.approx(cut - (whole - 2.0 * 400.0), rel=1e-12)
    assert volume.net_m3 == pytest.approx(whole - 800.0, rel=1e-12)
    assert volume.cut_area_m2 == pytest.approx(256.0, rel=1e-12)
    assert volume.fill_area_m2 == pytest.approx(144.0, rel=1e-12)


def test_surfaces_that_coincide_have_no_volume() -> None:
    volume = volume_between(flat(3.0), flat(3.0))
    assert (volume.cut_m3, volume.fill_m3, volume.cut_area_m2) == (0.0, 0.0, 0.0)
    assert volume.area_m2 == pytest.approx(10_000.0)


def test_within_a_boundary_with_a_hole() -> None:
    outer = np.array([(-20, -10), (20, -10), (25, 5), (0, 22), (-18, 11)], dtype=float)
    hole = np.array([(-3, -3), (6, -2), (2, 5)], dtype=float)
    polygon = shapely.Polygon(outer, [hole])
    for rings in ([outer, hole], [outer[::-1], hole], [hole[::-1], outer]):
        volume = volume_between(flat(1.5), flat(1.0), rings)
        assert volume.area_m2 == pytest.approx(polygon.area, rel=1e-13)
        assert volume.cut_m3 == pytest.approx(polygon.area / 2.0, rel=1e-13)


def plain(ours: FloatArray, theirs: FloatArray, polygon: shapely.Polygon) -> FloatArray:
    """Cut and fill by shapely's overlay, piece by piece."""
    total = np.zeros(2)
    for one in ours:
        for two in theirs:
            piece = shapely.Polygon(one[:, :2]).intersection(shapely.Polygon(two[:, :2]))
            piece = piece.intersection(polygon)
            if piece.is_empty or piece.area == 0.0:
                continue
            planes = [
                np.linalg.solve(np.column_stack((t[:, :2], np.ones(3))), t[:, 2])
                for t in (one, two)
            ]
            e, n, c = planes[0] - planes[1]
            # The half plane where the first lies above, as a large square.
            if np.hypot(e, n) < 1e-12:
                above = piece if c > 0 else shapely.Polygon()
            else:
                unit = np.array([e, n]) / np.hypot(e, n)
                foot = -c / np.hypot(e, n) * unit
                across = np.array([-unit[1], unit[0]])
                far = 1e4
                above = piece.intersection(
                    shapely.Polygon(
                        [
                            foot - far * across,
                            foot + far * across,
                            foot + far * (across + unit),
                            foot + far * (unit - across),
                        ]
                    )
                )
            whole = piece.area * (np.dot([e, n], shapely.get_coordinates(piece.centroid)[0]) + c)
            cut = 0.0
            if above.area > 0.0:
                cut = above.area * (np.dot([e, n], shapely.get_coordinates(above.centroid)[0]) + c)
            total += (cut, cut - whole)
    return total


def test_shapely_agrees_on_rough_ground() -> None:
    rng = np.random.default_rng(6)
    ours = mesh(rng.normal(0.0, 1.0, (7, 7)), 3.0)
    theirs = mesh(rng.normal(0.0, 1.0, (6, 6)), 3.7)
    angle = 0.3
    theirs[:, :, :2] = theirs[:, :, :2] @ [
        [np.cos(angle), np.sin(angle)],
        [-np.sin(angle), np.cos(angle)],
    ]
    # A star: concave, and its edges cross many triangles.
    turn = np.linspace(0.0, 2.0 * np.pi, 14, endpoint=False)
    radius = np.where(np.arange(14) % 2, 3.0, 8.0)
    star = np.column_stack((8.0 + radius * np.cos(turn), 9.0 + radius * np.sin(turn)))
    volume = volume_between(surface(ours), surface(theirs), [star])
    cut, fill = plain(ours, theirs, shapely.Polygon(star))
    assert volume.cut_m3 == pytest.approx(cut, abs=1e-9)
    assert volume.fill_m3 == pytest.approx(fill, abs=1e-9)
    everywhere = shapely.box(-100, -100, 100, 100)
    volume = volume_between(surface(ours), surface(theirs))
    cut, fill = plain(ours, theirs, everywhere)
    assert volume.cut_m3 == pytest.approx(cut, abs=1e-9)
    assert volume.fill_m3 == pytest.approx(fill, abs=1e-9)


def test_large_coordinates_keep_their_digits() -> None:
    move = np.array([600_000.0, 4_500_000.0, 0.0])
    here = volume_between(pyramid(4.0, 10.0, 6.0), flat(2.0))
    there = volume_between(
        surface(pyramid(4.0, 10.0, 6.0).triangles_m + move), surface(flat(2.0).triangles_m + move)
    )
    assert there.cut_m3 == pytest.approx(here.cut_m3, rel=1e-9)
    assert there.fill_m3 == pytest.approx(here.fill_m3, rel=1e-8)


def test_no_common_ground() -> None:
    volume = volume_between(flat(1.0, 0.0, 1.0), flat(1.0, 5.0, 6.0))
    assert volume.area_m2 == 0.0
    assert volume_between(flat(2.0), flat(1.0), [[(60, 60), (70, 60), (65, 70)]]).cut_m3 == 0.0
