"""The grid at the site: what the named projection does to distances and directions there."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFrame:
    """The named grid at the middle of the points; lengths in metres, angles in radians.

    crs, title, datum, projection, area, unit: the frame as named, and in the words of its register.
    scale: grid distance over that on the ellipsoid at the middle; scale_low, scale_high: over the
    site. convergence_rad: grid azimuth = geodetic azimuth - convergence. elevation_m: mean of the
    points, NaN without any; elevation_factor: distance on the ellipsoid over that at this height;
    combined_factor: grid distance over ground distance (scale alone without elevations).
    extent_m: from corner to corner of the site; ground_less_grid_m: how much longer it is on the
    ground. stated_factor: the job's own combined factor, None without one; stated_less_found_m:
    what its difference from the found one comes to over the extent, NaN without one. remarks: what
    stands out.
    """

    crs: str
    title: str
    datum: str
    projection: str
    area: str
    unit: str
    latitude_rad: float
    longitude_rad: float
    scale: float
    scale_low: float
    scale_high: float
    convergence_rad: float
    elevation_m: float
    elevation_factor: float
    combined_factor: float
    extent_m: float
    ground_less_grid_m: float
    stated_factor: float | None
    stated_less_found_m: float
    remarks: tuple[str, ...] = ()
