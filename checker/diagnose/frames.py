"""What other frames would make of the points: neighbouring zones, other realizations of a datum.

All transformations are PROJ's (pyproj), which names their sources in the EPSG register.
"""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from checker.diagnose.hypothesis import DRIFT_YEARS, Apply, Drift, Zone
from checker.model.arrays import FloatArray
from checker.model.job import Job

if TYPE_CHECKING:
    from pyproj import CRS, Transformer

_REALIZATIONS = {
    "ITRF2020": "EPSG:9989",
    "ITRF2014": "EPSG:7912",
    "ITRF2008": "EPSG:7911",
    "ITRF2000": "EPSG:7909",
    "NAD83(2011)": "EPSG:6319",
    "ETRS89": "EPSG:4937",
    "NAD83(CSRS)": "EPSG:4955",
    "GDA94": "EPSG:4939",
    "GDA2020": "EPSG:7843",
}
_LEAST_DRIFT_M = 0.002
"""Realizations that drift less in a year do not show their epoch."""
_REACH_DEG = 7.0
_NEAR_M = 1500.0
"""How near a candidate zone must bring the middle of the points before it is worth a closer look:
datums may differ by some hundreds of metres."""
_MOST_ZONES = 12
_SAME_M = 0.05
"""Grids that put points so near each other cannot be told apart."""


def epochs(job: Job) -> tuple[float, ...]:
    """Return the epochs at which realizations are compared: the stated one, that of the work."""
    found = []
    if job.reference.epoch is not None:
        with contextlib.suppress(ValueError):
            found.append(float(job.reference.epoch))
    if job.date is not None:
        start = job.date.replace(month=1, day=1).toordinal()
        found.append(job.date.year + (job.date.toordinal() - start) / 365.25)
    return tuple(dict.fromkeys(found)) or (2010.0,)


def realization_shifts(
    job: Job, northing_m: float, easting_m: float, height_m: float
) -> tuple[tuple[str, tuple[float, float, float]], ...]:
    """Return what a point moves by if another realization is taken for the job's, and the reverse.

    Each: a name, and (dn, de, dz) in metres on the job's grid. Empty where no grid is named.
    """
    found: list[tuple[str, float, tuple[float, float, float]]] = []
    for name, epoch, vector in _moves(job, (northing_m, easting_m, height_m), epochs(job)):
        if not 0.05 < np.hypot(vector[0], vector[1]) < 50.0:
            continue
        alike = next(
            (i for i, each in enumerate(found) if np.allclose(vector, each[2], atol=0.002)),
            None,
        )
        if alike is None:
            found.append((name, epoch, vector))
        elif found[alike][1] == epoch:
            found[alike] = (f"{found[alike][0]} or {name}", epoch, found[alike][2])
    own = _own_datum(job)
    shifts: list[tuple[str, tuple[float, float, float]]] = []
    for name, epoch, (dn, de, dz) in found:
        text = f"{name} at {epoch:.1f}"
        shifts.append((f"{text} taken for {own}", (dn, de, dz)))
        shifts.append((f"{own} taken for {text}", (-dn, -de, -dz)))
    return tuple(shifts)


def realization_drifts(
    job: Job, northing_m: float, easting_m: float, height_m: float
) -> tuple[Drift, ...]:
    """Return how another realization lies to the job's grid as the years go by.

    The plates move evenly, so that two epochs give all others. Empty where no grid is named.
    """
    first, last = DRIFT_YEARS
    ends: dict[str, list[FloatArray]] = {}
    for name, _, vector in _moves(job, (northing_m, easting_m, height_m), DRIFT_YEARS):
        ends.setdefault(name, []).append(np.array(vector))
    own = _own_datum(job)
    drifts = []
    for name, both in ends.items():
        if len(both) != len(DRIFT_YEARS):
            continue
        rate = (both[1] - both[0]) / (last - first)
        if np.hypot(rate[0], rate[1]) < _LEAST_DRIFT_M:
            continue
        drifts.append(Drift(text=f"{name} at {{}} taken for {own}", first_m=both[0], rate_m=rate))
        drifts.append(Drift(text=f"{own} taken for {name} at {{}}", first_m=-both[0], rate_m=-rate))
    return tuple(drifts)


def _own_datum(job: Job) -> str:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    with contextlib.suppress(CRSError):
        geodetic = CRS.from_user_input(job.reference.crs).geodetic_crs
        if geodetic is not None:
            return str(geodetic.name)
    return ""


def _moves(
    job: Job, place_m: tuple[float, float, float], at: tuple[float, ...]
) -> Iterator[tuple[str, float, tuple[float, float, float]]]:
    """Yield a realization, an epoch of `at`, and what a place (n, e, h) moves by on the grid."""
    if job.reference.crs is None:
        return
    from pyproj import CRS, Proj
    from pyproj.exceptions import CRSError, ProjError

    northing_m, easting_m, height_m = place_m
    try:
        grid = CRS.from_user_input(job.reference.crs).to_2d()
        if not grid.is_projected or grid.geodetic_crs is None:
            return
        projection = Proj(grid)
        metres = grid.axis_info[0].unit_conversion_factor
        lon, lat = projection(easting_m / metres, northing_m / metres, inverse=True, errcheck=True)
        base = grid.geodetic_crs.to_3d()
    except (CRSError, ProjError):
        return
    height = height_m if np.isfinite(height_m) else 0.0
    for name, transformer in _to_realizations(base, lon, lat):
        for epoch in at:
            try:
                x, y, h, _ = transformer.transform(lon, lat, height, epoch, errcheck=True)
                e, n = projection(x, y, errcheck=True)
            except (CRSError, ProjError):
                continue
            move = (n * metres - northing_m, e * metres - easting_m, h - height)
            yield name, epoch, (float(move[0]), float(move[1]), float(move[2]))


def _to_realizations(base: "CRS", lon: float, lat: float) -> Iterator[tuple[str, "Transformer"]]:
    """Yield PROJ's ways to the realizations that are in use at a place, by name."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError, ProjError

    for name, code in _REALIZATIONS.items():
        with contextlib.suppress(CRSError, ProjError):
            if used_at(CRS.from_user_input(code), lon, lat):
                yield name, _way(base, code)


@lru_cache(maxsize=32)
def _way(base: "CRS", code: str) -> "Transformer":
    """Return PROJ's way from one frame to another; to find it takes tens of milliseconds."""
    from pyproj import Transformer

    return Transformer.from_crs(base, code, always_xy=True)


def used_at(frame: "CRS", lon: float, lat: float) -> bool:
    """Tell whether a frame is in use at a place: nobody takes Australia's for one in Europe."""
    area = frame.area_of_use
    if area is None:
        return True
    west, south, east, north = area.bounds
    # Some areas reach over the 180th meridian: their west is larger than their east.
    across = west <= lon <= east if west <= east else lon >= west or lon <= east
    return across and south <= lat <= north


def zones_of(
    crs: str | None,
) -> Callable[[FloatArray, FloatArray], Iterator[Zone]] | None:
    """Return a function that yields zones which would explain points far off; None without a grid.

    It takes predicted and as-measured points, shape (rows, 3), metres. Both sides are tried:
    as-measured points in another zone, and a design in another zone.
    """
    if crs is None:
        return None
    return lambda predicted, measured: _zones(crs, predicted, measured)


def _zones(crs: str, predicted: FloatArray, measured: FloatArray) -> Iterator[Zone]:
    from pyproj import CRS, Proj
    from pyproj.exceptions import CRSError, ProjError

    try:
        grid = CRS.from_user_input(crs).to_2d()
        if not grid.is_projected:
            return
        projection = Proj(grid)
    except CRSError:
        return
    metres = grid.axis_info[0].unit_conversion_factor
    here, there = np.median(predicted[:, :2], axis=0), np.median(measured[:, :2], axis=0)
    for true, false, of_measured in ((here, there, True), (there, here, False)):
        try:
            lon, lat = projection(true[1] / metres, true[0] / metres, inverse=True, errcheck=True)
        except ProjError:
            continue
        outside = not used_at(grid, lon, lat)
        near = []
        for code in _codes_around(round(float(lon)), round(float(lat))):
            known = _projected(code)
            if known is None:
                continue
            other, unit, datum = known
            try:
                e, n = other(lon, lat, errcheck=True)
            except ProjError:
                continue
            away = float(np.hypot(e * unit - false[1], n * unit - false[0]))
            if away < _NEAR_M:
                like = (datum != _datum(grid), abs(unit - metres) > 1e-9)
                near.append((like, round(away, 3), code))
        yield from _told_apart(
            crs,
            [(code, not like[0]) for like, _, code in sorted(near)[:_MOST_ZONES]],
            predicted[:: max(1, len(predicted) // 20)],
            of_design=not of_measured,
            outside=outside,
        )


def _told_apart(
    crs: str,
    codes: list[tuple[str, bool]],
    points: FloatArray,
    *,
    of_design: bool,
    outside: bool,
) -> Iterator[Zone]:
    """Yield the zones, those that put the points in the same places as one."""
    zones: list[tuple[Zone, FloatArray]] = []
    for code, same_datum in codes:
        if code == crs:
            continue
        apply = _between(code, crs) if of_design else _between(crs, code)
        moved = apply(points)[:, :2]
        place = next(
            (k for k, (_, to) in enumerate(zones) if np.nanmax(np.abs(to - moved)) < _SAME_M), None
        )
        if place is not None:
            zone, to = zones[place]
            zones[place] = (replace(zone, alike=(*zone.alike, code)), to)
            continue
        zone = Zone(
            code=code,
            apply=apply,
            same_datum=same_datum,
            of_design=of_design,
            outside=outside,
        )
        zones.append((zone, moved))
    yield from (zone for zone, _ in zones)


def _datum(crs: "CRS") -> str:
    return crs.datum.name if crs.datum is not None else ""


@lru_cache(maxsize=8)
def _codes_around(lon: int, lat: int) -> tuple[str, ...]:
    from pyproj.aoi import AreaOfInterest
    from pyproj.database import query_crs_info
    from pyproj.enums import PJType

    around = AreaOfInterest(
        max(lon - _REACH_DEG, -180.0),
        max(lat - _REACH_DEG, -90.0),
        min(lon + _REACH_DEG, 180.0),
        min(lat + _REACH_DEG, 90.0),
    )
    infos = query_crs_info(
        auth_name="EPSG", pj_types=[PJType.PROJECTED_CRS], area_of_interest=around
    )
    return tuple(f"EPSG:{info.code}" for info in infos)


@lru_cache(maxsize=4096)
def _projected(code: str) -> "tuple[Callable[..., tuple[float, float]], float, str] | None":
    """Return a grid's projection, the metres in its unit, its datum's name; None if it has none."""
    from pyproj import CRS, Proj
    from pyproj.exceptions import CRSError

    try:
        crs = CRS.from_user_input(code).to_2d()
        unit = crs.axis_info[0].unit_conversion_factor
        return Proj(crs), unit, _datum(crs)
    except CRSError:
        return None


def _between(from_: str, to: str) -> Apply:
    """Return the move of points from one grid to another, metres on both."""

    def apply(points: FloatArray) -> FloatArray:
        a, b = _projected(from_), _projected(to)
        if a is not None and b is not None and a[2] == b[2] and a[2]:
            # On one datum there and back is exact, and quicker than asking PROJ for a way.
            lon, lat = a[0](points[:, 1] / a[1], points[:, 0] / a[1], inverse=True)
            e, n = b[0](lon, lat)
            metres = b[1]
        else:
            transformer, metres_from, metres = _transformer(from_, to)
            e, n = transformer.transform(points[:, 1] / metres_from, points[:, 0] / metres_from)
        return np.column_stack((np.asarray(n) * metres, np.asarray(e) * metres, points[:, 2]))

    return apply


@lru_cache(maxsize=256)
def _transformer(from_: str, to: str) -> "tuple[Transformer, float, float]":
    """Return PROJ's way between two grids, and the metres in the unit of each."""
    from pyproj import CRS, Transformer

    a, b = CRS.from_user_input(from_).to_2d(), CRS.from_user_input(to).to_2d()
    # PROJ's own order of the axes is overridden: eastings come first.
    return (
        Transformer.from_crs(a, b, always_xy=True),
        a.axis_info[0].unit_conversion_factor,
        b.axis_info[0].unit_conversion_factor,
    )
