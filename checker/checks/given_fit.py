"""A site fit that the job states instead of having it computed, as moves that marks can test."""

import numpy as np

from checker.geometry.fit import HeightFit, LinearFit, PlaneMove
from checker.model.arrays import FloatArray
from checker.model.job import GivenFit


def given_plan(given: GivenFit, xy_m: FloatArray, known_xy_m: FloatArray) -> PlaneMove:
    """Return the stated move in plan; marks, shape (n, 2), (easting, northing), only test it.

    Nothing was estimated: every coordinate of a mark is redundant, what it misses by when left out
    is what it misses by, and how well the parameters are known is not known (NaN).
    """
    about = np.array([given.about_e_m, given.about_n_m])
    nothing = np.full((len(xy_m), 2), np.nan)
    bare = PlaneMove(
        scale=given.scale,
        rotation_rad=given.rotation_rad,
        centre_from_m=about,
        centre_to_m=about + np.array([given.shift_e_m, given.shift_n_m]),
        residual_m=nothing,
        left_out_m=nothing,
        redundancy=2 * len(xy_m),
        sigma_m=np.nan,
        sigma_scale=np.nan,
        sigma_rotation_rad=np.nan,
        spread_m2=np.nan,
    )
    residual = bare.apply(xy_m) - known_xy_m
    return PlaneMove(
        scale=bare.scale,
        rotation_rad=bare.rotation_rad,
        centre_from_m=bare.centre_from_m,
        centre_to_m=bare.centre_to_m,
        residual_m=residual,
        left_out_m=residual,
        redundancy=bare.redundancy,
        sigma_m=float(np.sqrt(np.mean(residual**2))) if len(residual) else np.nan,
        sigma_scale=np.nan,
        sigma_rotation_rad=np.nan,
        spread_m2=np.nan,
    )


def given_height(given: GivenFit, xy_m: FloatArray, rise_m: FloatArray) -> HeightFit:
    """Return the stated correction of heights; rise_m, shape (n,), is what the marks ask for."""
    about = np.array([given.about_e_m, given.about_n_m])
    slope = np.array([given.rise_e, given.rise_n])
    inclined = bool(np.any(slope != 0.0))
    level = 0.0 if given.shift_z_m is None else given.shift_z_m
    residual = level + (xy_m - about) @ slope - rise_m
    size = 3 if inclined else 1
    return HeightFit(
        centre_m=about,
        level_m=level,
        rise_east=given.rise_e,
        rise_north=given.rise_n,
        fit=LinearFit(
            parameter=np.array([0.0, *slope])[:size],
            covariance=np.full((size, size), np.nan),
            residual=residual,
            left_out=residual,
            redundancy_number=np.ones(len(residual)),
            redundancy=len(residual),
            sigma=float(np.sqrt(np.mean(residual**2))) if len(residual) else np.nan,
        ),
    )
