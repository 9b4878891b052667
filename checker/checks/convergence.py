"""Convergence of the meridians on the job's grid: grid azimuth = geodetic azimuth - convergence.

The projection is PROJ's; tests compare with its geodesics and with printed values.
"""

import numpy as np

from checker.checks.closing import refuse
from checker.errors import Where
from checker.model.arrays import FloatArray
from checker.units import exact_metres


def convergence_rad(crs: str, n_m: FloatArray, e_m: FloatArray, where: Where) -> FloatArray:
    """Return the convergence at places on a projected grid, radians; shape as n_m.

    Raises InputError at `where` if the frame is no projected grid or the places are not on it.
    """
    found = convergence_on(crs, n_m, e_m)
    if found is None:
        refuse(
            "no-convergence",
            where,
            f'azimuths are not those of the grid, and "{crs}" is no grid on which their '
            "convergence can be worked out at these coordinates",
            "name the projected grid of the control under [reference] crs, or state grid azimuths "
            "and leave azimuths out",
        )
    return found


def convergence_on(crs: str, n_m: FloatArray, e_m: FloatArray) -> FloatArray | None:
    """Return the convergence at places, radians; None where the frame is no grid there."""
    from pyproj import CRS, Proj
    from pyproj.exceptions import CRSError, ProjError

    try:
        frame = CRS.from_user_input(crs).to_2d()
        if not frame.is_projected:
            return None
        projection = Proj(frame)
        metres = exact_metres(frame.axis_info[0].unit_conversion_factor)
        longitude, latitude = projection(e_m / metres, n_m / metres, inverse=True, errcheck=True)
        factors = projection.get_factors(longitude, latitude, errcheck=True)
    except (CRSError, ProjError):
        return None
    found = np.radians(np.asarray(factors.meridian_convergence, dtype=np.float64))
    return found if np.isfinite(found).all() else None
