"""Earth-centred coordinates and vectors against PROJ, an independent general library."""

from itertools import pairwise

import numpy as np
import pytest
from pyproj import Transformer

from checker.checks.geocentric import (
    Grid,
    carried,
    geocentric_by_control,
    grid_of,
    on_grid,
    to_earth,
    to_geodetic,
    turn_to_local,
)

A, B = 6378137.0, 6356752.314140356  # GRS 80
GRID = "EPSG:32613"
RNG = np.random.default_rng(5)


def grid() -> Grid:
    found = grid_of(GRID)
    assert found is not None
    return found


def test_to_earth_and_back() -> None:
    geodetic = np.column_stack(
        (RNG.uniform(-1.57, 1.57, 200), RNG.uniform(-3.1, 3.1, 200), RNG.uniform(-500, 9000, 200))
    )
    earth = to_earth(geodetic, A, B)
    proj = Transformer.from_pipeline("+proj=cart +ellps=GRS80")
    x, y, z = proj.transform(geodetic[:, 1], geodetic[:, 0], geodetic[:, 2], radians=True)
    assert earth == pytest.approx(np.column_stack((x, y, z)), abs=1e-6, rel=0)
    back = to_geodetic(earth, A, B)
    assert back[:, :2] == pytest.approx(geodetic[:, :2], abs=1e-14, rel=0)
    assert back[:, 2] == pytest.approx(geodetic[:, 2], abs=2e-8, rel=0)


def test_poles_have_a_latitude_and_a_height() -> None:
    found = to_geodetic(np.array([[0.0, 0.0, B + 12.0], [0.0, 0.0, -B]]), A, B)
    assert found[:, 0] == pytest.approx([np.pi / 2, -np.pi / 2])
    assert found[:, 2] == pytest.approx([12.0, 0.0], abs=1e-6)


def test_the_local_axes_are_those_of_a_topocentric_frame() -> None:
    latitude, longitude = np.radians(40.2), np.radians(-105.1)
    proj = Transformer.from_pipeline(
        "+proj=pipeline +step +proj=topocentric +ellps=GRS80 +lat_0=40.2 +lon_0=-105.1 +h_0=0"
    )
    start = to_earth(np.array([[latitude, longitude, 0.0]]), A, B)[0]
    step = np.array([120.0, -340.0, 55.0])
    east, north, up = proj.transform(*(start + step))
    turned = turn_to_local(latitude, longitude) @ step
    assert turned == pytest.approx([north, east, up], abs=1e-6)


def on_earth(places: np.ndarray) -> np.ndarray:
    """Return earth-centred coordinates of places on the grid, by PROJ alone."""
    to_degrees = Transformer.from_crs(GRID, "EPSG:4326", always_xy=True)
    cart = Transformer.from_pipeline("+proj=cart +ellps=WGS84")
    longitude, latitude = to_degrees.transform(places[:, 1], places[:, 0])
    x, y, z = cart.transform(
        np.radians(longitude), np.radians(latitude), places[:, 2], radians=True
    )
    return np.column_stack((x, y, z))


PLACES = np.array(
    [
        [4450000.0, 520000.0, 1600.0],
        [4450800.0, 521500.0, 1650.0],
        [4449300.0, 522300.0, 1580.0],
        [4448900.0, 520700.0, 1610.0],
    ]
)


def test_vectors_on_the_grid_are_differences_of_grid_coordinates() -> None:
    earth = on_earth(PLACES)
    vector, _ = on_grid(grid(), PLACES[:-1], np.diff(earth, axis=0), np.zeros((3, 3, 3)))
    assert vector == pytest.approx(np.diff(PLACES, axis=0), abs=1e-5, rel=0)


def test_covariances_go_through_the_same_way() -> None:
    """Monte Carlo: 10,000 draws of one vector brought to the grid each by itself."""
    covariance = np.array([[4.0, 1.0, -2.0], [1.0, 5.0, 0.5], [-2.0, 0.5, 9.0]]) * 1e-2
    step = np.diff(on_earth(PLACES[:2]), axis=0)
    _, ours = on_grid(grid(), PLACES[:1], step, covariance[None])
    rng = np.random.default_rng(6)
    draws = step + rng.multivariate_normal(np.zeros(3), covariance, 10_000)
    start = np.repeat(PLACES[:1], len(draws), axis=0)
    moved, _ = on_grid(grid(), start, draws, np.zeros((len(draws), 3, 3)))
    assert np.cov(moved, rowvar=False) == pytest.approx(ours[0], abs=0.05 * ours[0].max())


def test_control_tells_which_axes_a_book_has() -> None:
    names = ["A", "B", "C", "D"]
    ends = list(pairwise(names))
    known = {name: PLACES[row] for row, name in enumerate(names) if name in "AD"}
    earth, local = np.diff(on_earth(PLACES), axis=0), np.diff(PLACES, axis=0)[:, [1, 0, 2]]
    assert geocentric_by_control(ends, earth, known, grid(), 0.0) is True
    assert geocentric_by_control(ends, local, known, grid(), 0.0) is False
    # Nothing fits, or nothing is known: not told.
    assert geocentric_by_control(ends, earth * 0.3048, known, grid(), 0.0) is None
    assert geocentric_by_control(ends, earth, {"A": PLACES[0]}, grid(), 0.0) is None


def test_places_are_carried_both_ways_and_no_farther_than_vectors_lead() -> None:
    known = {"B": np.array([10.0, 20.0, 1.0])}
    steps = np.array([[1.0, 2.0, 3.0], [4.0, 4.0, 4.0], [9.0, 9.0, 9.0]])
    found = carried([("A", "B"), ("B", "C"), ("X", "Y")], steps, known)
    assert set(found) == {"A", "B", "C"}
    assert found["A"] == pytest.approx([9.0, 18.0, -2.0])
    assert found["C"] == pytest.approx([14.0, 24.0, 5.0])


@pytest.mark.parametrize("name", [None, "EPSG:4326", "a local grid"])
def test_no_grid_is_made_of_what_is_none(name: str | None) -> None:
    assert grid_of(name) is None
