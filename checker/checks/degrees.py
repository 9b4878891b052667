"""A drawing whose coordinates look like longitude and latitude."""

import numpy as np

from checker.errors import Where
from checker.geometry.degrees import look_geographic
from checker.model.drawing import Drawing, Notice
from checker.units import LengthUnit


def in_degrees(drawing: Drawing, drawn: LengthUnit) -> list[Notice]:
    """Return that a drawing seems to be in degrees; drawn: the unit that it was read in."""
    points = drawing.points
    xy = drawn.from_metres(np.column_stack((points.easting_m, points.northing_m)))
    if not look_geographic(xy):
        return []
    return [
        Notice(
            slug="drawing-in-degrees",
            where=Where(file=drawing.path),
            message="the coordinates look like longitude and latitude in degrees: around "
            f"{np.median(xy[:, 0]):.6f}, {np.median(xy[:, 1]):.6f}. They were read as lengths, in "
            f"{drawn.words}; have the drawing exported on the grid that the shots are on",
        )
    ]
