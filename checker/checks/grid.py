"""What the job's grid does at the site: scale, convergence, combined factor; grid against ground.

The projection is PROJ's. Elevation factor R / (R + h) with the mean radius of the ellipsoid at the
site's latitude, sqrt(M N); checked against printed values in tests/published.
"""

from collections.abc import Sequence

import numpy as np

from checker.model.frame import SiteFrame
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.points import Points
from checker.text import fixed
from checker.units import exact_metres

_TELLING_M = 1e-3
"""A stated factor is remarked on where it moves something on the site by more than a millimetre."""
_TELLING = 5e-6
"""And where it is further from what was found than a geoid height of 30 m makes it."""


def elevation_factor(height_m: float, radius_m: float) -> float:
    """Return distance on the ellipsoid over distance at a height above it: R / (R + h)."""
    return radius_m / (radius_m + height_m)


def mean_radius_m(latitude_rad: float, a_m: float, b_m: float) -> float:
    """Return the mean radius of an ellipsoid at a latitude, sqrt(M N); a, b: its half axes.

    With the meridian's radius M and that of the prime vertical N this is
    a^2 b / (a^2 cos^2 + b^2 sin^2) (textbook formula, common practice).
    """
    cosine, sine = np.cos(latitude_rad), np.sin(latitude_rad)
    return float(a_m**2 * b_m / ((a_m * cosine) ** 2 + (b_m * sine) ** 2))


def site_frame(job: Job, inputs: Inputs) -> SiteFrame | None:
    """Return the named grid at the site; None where no projected grid that is known is named.

    inputs: with the design on the grid. The site is where the as-measured points are, without them
    where the design or the control is.
    """
    name = job.reference.crs
    points = next(
        (each for each in (inputs.measured, inputs.design, inputs.control) if each is not None),
        None,
    )
    if name is None or points is None or not len(points):
        return None
    from pyproj import CRS, Proj
    from pyproj.exceptions import CRSError, ProjError

    try:
        crs = CRS.from_user_input(name).to_2d()
        ellipsoid = crs.ellipsoid
        if not crs.is_projected or ellipsoid is None:
            return None
        projection = Proj(crs)
        metres = exact_metres(crs.axis_info[0].unit_conversion_factor)
        e, n = _corners(points)
        longitude, latitude = projection(e / metres, n / metres, inverse=True, errcheck=True)
        factors = projection.get_factors(longitude, latitude, errcheck=True)
    except (CRSError, ProjError):
        return None
    scale = np.asarray(factors.meridional_scale)
    convergence = np.asarray(factors.meridian_convergence)
    heights = points.elevation_m[np.isfinite(points.elevation_m)]
    elevation = float(heights.mean()) if heights.size else np.nan
    middle = float(np.radians(latitude[0]))
    radius = mean_radius_m(middle, ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre)
    of_height = elevation_factor(elevation, radius) if heights.size else 1.0
    combined = float(scale[0]) * of_height
    extent = float(np.hypot(e.max() - e.min(), n.max() - n.min()))
    ground = job.reference.ground
    stated = None if ground is None else ground.combined_factor
    area = crs.area_of_use
    operation = crs.coordinate_operation
    off = np.nan if stated is None else extent * (stated - combined)
    return SiteFrame(
        crs=name,
        title=crs.name,
        datum="" if crs.datum is None else crs.datum.name,
        projection="" if operation is None else f"{operation.name}, {operation.method_name}",
        area="" if area is None else area.name,
        unit=crs.axis_info[0].unit_name,
        latitude_rad=middle,
        longitude_rad=float(np.radians(longitude[0])),
        scale=float(scale[0]),
        scale_low=float(scale.min()),
        scale_high=float(scale.max()),
        convergence_rad=float(np.radians(convergence[0])),
        elevation_m=elevation,
        elevation_factor=of_height,
        combined_factor=combined,
        extent_m=extent,
        ground_less_grid_m=extent * (1.0 / combined - 1.0),
        stated_factor=stated,
        stated_less_found_m=off,
        remarks=(
            *_other_axes([axis.direction for axis in crs.axis_info]),
            *_outside(
                float(longitude[0]), float(latitude[0]), None if area is None else area.bounds
            ),
            *_about_stated(stated, combined, off),
        ),
    )


def _other_axes(directions: Sequence[str]) -> tuple[str, ...]:
    """Return what to say of a grid whose axes do not count to the north and the east."""
    if not {"west", "south"} & set(directions):
        return ()
    text = (
        f"The axes of this grid count {' and '.join(directions)}: what the files call northing and"
        " easting are taken on them as they stand, so + of ΔN and ΔE points that way, and azimuths"
        " and the convergence count from that direction."
    )
    return (text,)


def _corners(points: Points) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], ...]:
    """Return eastings and northings of the middle of the points' box and of its four corners."""
    e0, e1 = float(points.easting_m.min()), float(points.easting_m.max())
    n0, n1 = float(points.northing_m.min()), float(points.northing_m.max())
    return (
        np.array([0.5 * (e0 + e1), e0, e1, e1, e0]),
        np.array([0.5 * (n0 + n1), n0, n0, n1, n1]),
    )


def _outside(
    longitude: float, latitude: float, bounds: tuple[float, float, float, float] | None
) -> tuple[str, ...]:
    """Return what to say of points that lie outside the grid's area; degrees."""
    if bounds is None:
        return ()
    west, south, east, north = bounds
    if south <= latitude <= north and (west <= longitude <= east or west > east):
        return ()
    text = (
        f"On this grid the points lie at latitude {fixed(latitude, 3)}°, longitude"
        f" {fixed(longitude, 3)}°, outside the area that it is made for: is it the right zone and"
        " the right unit?"
    )
    return (text,)


def _about_stated(stated: float | None, found: float, off_m: float) -> tuple[str, ...]:
    """Return what to say of the job's own combined factor."""
    if stated is None:
        return ()
    if abs(stated - found) <= _TELLING or abs(off_m) < _TELLING_M:
        return ()
    inverse = abs(1.0 / stated - found) <= _TELLING and abs(stated - 1.0) > 2.0 * _TELLING
    ppm = fixed((stated - found) * 1e6, 1)
    text = f"The job's combined factor differs from the one found here by {ppm} ppm"
    if inverse:
        return (
            f"{text}: it looks like its inverse, ground over grid instead of grid over ground.",
        )
    return (f"{text}; find out what it was meant for before anything is set by it.",)
