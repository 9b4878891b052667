"""Bring the design from ground to the grid of the as-measured points.

Points are brought over once, by `on_one_grid`. Figures of a drawing stay as drawn: along a line the
stations of the plan count, so what is compared with one is brought to ground by `to_ground_m`.
One law for every check: coordinates and the differences dN, dE and horizontal are on the grid;
stations, offsets, along, across, radii, lengths, slopes, areas and volumes are on ground.
"""

from dataclasses import replace

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs
from checker.model.job import Ground
from checker.model.points import Points


def to_grid(points: Points, ground: Ground) -> Points:
    """Return points with grid = origin + combined factor x (ground - origin); heights unchanged.

    Coordinates in metres. Common practice, no source; DESIGN of the job file states the direction.
    """
    factor = ground.combined_factor
    return replace(
        points,
        northing_m=ground.origin_n_m + factor * (points.northing_m - ground.origin_n_m),
        easting_m=ground.origin_e_m + factor * (points.easting_m - ground.origin_e_m),
    )


def on_one_grid(inputs: Inputs, ground: Ground | None) -> Inputs:
    """Return the inputs with the design on the grid; unchanged where the job states no ground."""
    if ground is None or inputs.design is None:
        return inputs
    older = tuple(replace(each, points=to_grid(each.points, ground)) for each in inputs.older)
    return replace(inputs, design=to_grid(inputs.design, ground), older=older)


def to_ground_m(xy_m: FloatArray, ground: Ground | None) -> FloatArray:
    """Return grid positions, shape (n, 2), easting and northing, in the axes of the design."""
    if ground is None:
        return xy_m
    origin = np.array([ground.origin_e_m, ground.origin_n_m])
    return np.asarray(origin + (xy_m - origin) / ground.combined_factor)


def to_grid_m(xy_m: FloatArray, ground: Ground | None) -> FloatArray:
    """Return positions of the design, shape (n, 2), easting and northing, on the grid."""
    if ground is None:
        return xy_m
    origin = np.array([ground.origin_e_m, ground.origin_n_m])
    return np.asarray(origin + (xy_m - origin) * ground.combined_factor)


def ground_scale(ground: Ground | None) -> FloatArray:
    """Return what differences of grid coordinates are multiplied by to be on ground.

    Shape (3,), for northing, easting and elevation; heights are the same on both.
    """
    scale = 1.0 if ground is None else 1.0 / ground.combined_factor
    return np.array([scale, scale, 1.0])
