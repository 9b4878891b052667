"""Earth-centred vectors on the grid: the rotation, the projection, and which axes a book has.

Geodetic to earth-centred coordinates and back are textbook formulas (common practice; the way back
is iterated to a nanometre, tests hold both against PROJ). The projection is PROJ's. A vector
becomes the difference of the grid coordinates and ellipsoidal heights of its ends, so that scale,
convergence and curvature are in it, and its covariances go through the same derivatives.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs
from checker.units import exact_metres

if TYPE_CHECKING:
    from pyproj import Proj

_TELLING = 10.0
"""One reading of the axes must fit the known points so many times better than the other."""
_FITS = 1e-3
"""And miss them by no more than this share of the way, and a metre."""


def turn_to_local(latitude_rad: float, longitude_rad: float) -> FloatArray:
    """Return the rotation from earth-centred axes to north, east, up; shape (3, 3)."""
    sin_lat, cos_lat = np.sin(latitude_rad), np.cos(latitude_rad)
    sin_lon, cos_lon = np.sin(longitude_rad), np.cos(longitude_rad)
    return np.array(
        [
            [-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat],
            [-sin_lon, cos_lon, 0.0],
            [cos_lat * cos_lon, cos_lat * sin_lon, sin_lat],
        ]
    )


def to_earth(geodetic: FloatArray, a_m: float, b_m: float) -> FloatArray:
    """Return earth-centred x, y, z of latitude, longitude (radians) and height; shape (n, 3)."""
    latitude, longitude, height = geodetic.T
    square = 1.0 - (b_m / a_m) ** 2
    vertical = a_m / np.sqrt(1.0 - square * np.sin(latitude) ** 2)
    across = (vertical + height) * np.cos(latitude)
    return np.column_stack(
        (
            across * np.cos(longitude),
            across * np.sin(longitude),
            (vertical * (1.0 - square) + height) * np.sin(latitude),
        )
    )


def to_geodetic(earth_m: FloatArray, a_m: float, b_m: float) -> FloatArray:
    """Return latitude, longitude (radians) and height of earth-centred x, y, z; shape (n, 3)."""
    x, y, z = earth_m.T
    square = 1.0 - (b_m / a_m) ** 2
    across = np.hypot(x, y)
    latitude = np.arctan2(z, across * (1.0 - square))
    for _ in range(8):  # gains three digits a step near the surface
        vertical = a_m / np.sqrt(1.0 - square * np.sin(latitude) ** 2)
        latitude = np.arctan2(z + square * vertical * np.sin(latitude), across)
    vertical = a_m / np.sqrt(1.0 - square * np.sin(latitude) ** 2)
    # Good at the poles too, where the cosine fails.
    height = across * np.cos(latitude) + z * np.sin(latitude) - a_m**2 / vertical
    return np.column_stack((latitude, np.arctan2(y, x), height))


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A projected grid with its ellipsoid. metres: in one unit of the projection's own axes."""

    projection: "Proj"
    metres: float
    a_m: float
    b_m: float

    def earth(self, grid_m: FloatArray) -> FloatArray:
        """Return earth-centred coordinates of northing, easting, ellipsoidal height; (n, 3)."""
        n, e, height = grid_m.T
        longitude, latitude = self.projection(
            e / self.metres, n / self.metres, inverse=True, errcheck=True
        )
        geodetic = np.column_stack((np.radians(latitude), np.radians(longitude), height))
        return to_earth(geodetic, self.a_m, self.b_m)

    def grid(self, earth_m: FloatArray) -> FloatArray:
        """Return northing, easting, ellipsoidal height of earth-centred coordinates; (n, 3)."""
        latitude, longitude, height = to_geodetic(earth_m, self.a_m, self.b_m).T
        e, n = self.projection(np.degrees(longitude), np.degrees(latitude), errcheck=True)
        return np.column_stack((n * self.metres, e * self.metres, height))

    def place(self, grid_m: FloatArray) -> tuple[float, float]:
        """Return latitude and longitude, radians, of the middle of points on the grid; (n, 3)."""
        middle = self.earth(np.mean(grid_m, axis=0)[None])
        latitude, longitude, _ = to_geodetic(middle, self.a_m, self.b_m)[0].tolist()
        return latitude, longitude


def grid_of(crs: str | None) -> Grid | None:
    """Return the grid that a job names; None where it names none that is known."""
    if crs is None:
        return None
    from pyproj import CRS, Proj
    from pyproj.exceptions import CRSError

    try:
        found = CRS.from_user_input(crs).to_2d()
    except CRSError:
        return None
    ellipsoid = found.ellipsoid
    if not found.is_projected or ellipsoid is None:
        return None
    return Grid(
        projection=Proj(found),
        metres=exact_metres(found.axis_info[0].unit_conversion_factor),
        a_m=ellipsoid.semi_major_metre,
        b_m=ellipsoid.semi_minor_metre,
    )


def on_grid(
    grid: Grid, start_m: FloatArray, vector_m: FloatArray, covariance_m2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return vectors as differences of northing, easting, height, and their covariances.

    start_m: where each begins, northing, easting, ellipsoidal height, shape (n, 3). vector_m:
    earth-centred, (n, 3). covariance_m2: (n, 3, 3). An error of a metre in the start changes a
    vector by 0.2 millionths of its length.
    """
    from_m = grid.earth(start_m)

    def difference(vector: FloatArray) -> FloatArray:
        return grid.grid(from_m + vector) - start_m

    columns = []
    for axis in range(3):
        step = np.zeros(3)
        step[axis] = 1.0
        columns.append((difference(vector_m + step) - difference(vector_m - step)) / 2.0)
    derivative = np.stack(columns, axis=2)
    return difference(vector_m), derivative @ covariance_m2 @ derivative.transpose(0, 2, 1)


def control_places(inputs: Inputs) -> dict[str, FloatArray]:
    """Return northing, easting, elevation of every control point by its id; NaN: no elevation."""
    control = inputs.control
    if control is None:
        return {}
    places = np.column_stack((control.northing_m, control.easting_m, control.elevation_m))
    return {str(name).strip(): place for name, place in zip(control.id, places, strict=True)}


def carried(
    ends: Sequence[tuple[str, str]], vector_m: FloatArray, known: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return places of marks carried from the known ones along vectors, shortest ways first."""
    around: dict[str, list[tuple[str, FloatArray]]] = {}
    for (one, other), step in zip(ends, vector_m, strict=True):
        around.setdefault(one, []).append((other, step))
        around.setdefault(other, []).append((one, -step))
    place = {name: known[name] for name in around if name in known}
    waiting = list(place)
    for here in waiting:
        for there, step in around[here]:
            if there not in place:
                place[there] = place[here] + step
                waiting.append(there)
    return place


def geocentric_by_control(
    ends: Sequence[tuple[str, str]],
    vector_m: FloatArray,
    known: Mapping[str, FloatArray],
    grid: Grid,
    geoid_m: float,
) -> bool | None:
    """Tell whether a book's axes are earth-centred, by what lies between known points.

    known: northing, easting, elevation by mark. None: too few known points to tell, or neither
    reading of the axes fits.
    """
    there = {mark for pair in ends for mark in pair}
    inside = {name: place for name, place in known.items() if name in there}
    whole = {name: place for name, place in inside.items() if np.isfinite(place).all()}
    if len(whole) < 2:
        return None
    first, *others = whole
    raised = {name: place + np.array([0.0, 0.0, geoid_m]) for name, place in whole.items()}
    earth = dict(zip(raised, grid.earth(np.array(list(raised.values()))), strict=True))
    local = {name: place[[1, 0, 2]] for name, place in whole.items()}
    misses = []
    for place in (local, earth):
        way = carried(ends, vector_m, {first: place[first]})
        reached = [name for name in others if name in way]
        if not reached:
            return None
        off = [float(np.linalg.norm(way[name] - place[name])) for name in reached]
        far = [float(np.linalg.norm(place[name] - place[first])) for name in reached]
        misses.append(
            (max(off), max(each - _FITS * length for each, length in zip(off, far, strict=True)))
        )
    (as_local, over_local), (as_earth, over_earth) = misses
    if over_earth < 1.0 and as_earth * _TELLING < as_local:
        return True
    if over_local < 1.0 and as_local * _TELLING < as_earth:
        return False
    return None
