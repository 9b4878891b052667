"""Curb returns: the arc that rounds off two lines, and how a circle meets the lines beside it.

Positions (easting, northing) in metres, angles in radians; turns are positive to the right.
Formulas of the simple curve (common practice, no source): T = R tan(D/2) from the PI to either end.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, GeometryError
from checker.geometry.plane import wrap_signed

_PARALLEL_RAD = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounded:
    """Two lines rounded off by an arc.

    begin_m, end_m, corner_m: shape (2,), where the arc begins and ends, and where the lines meet.
    turn_rad: by how much the direction changes, + right.
    """

    begin_m: FloatArray
    end_m: FloatArray
    corner_m: FloatArray
    turn_rad: float

    @property
    def bulge(self) -> float:
        """Tangent of a quarter of the arc's angle, + counter-clockwise, as in a polyline."""
        return float(-np.tan(self.turn_rad / 4.0))


def rounded_corner(back_m: npt.ArrayLike, ahead_m: npt.ArrayLike, radius_m: float) -> Rounded:
    """Return the arc of that radius which touches two lines, in the order in which they are run.

    back_m, ahead_m: shape (2, 2), two points of each line, in its direction. GeometryError where
    the lines do not meet.
    """
    back = np.asarray(back_m, dtype=np.float64)
    ahead = np.asarray(ahead_m, dtype=np.float64)
    u, v = back[1] - back[0], ahead[1] - ahead[0]
    lengths = np.hypot(*u), np.hypot(*v)
    if not min(lengths) > 0.0:
        raise GeometryError("a line is given by one point twice", "give two points of each line")
    u, v = u / lengths[0], v / lengths[1]
    turn = float(np.arctan2(u[1] * v[0] - u[0] * v[1], u @ v))
    if abs(turn) < _PARALLEL_RAD or np.pi - abs(turn) < _PARALLEL_RAD:
        raise GeometryError(
            "the two lines are parallel, and no arc rounds them off",
            "give the points of each line in the direction in which the return is run",
        )
    # Reckoned from the end of the line back, so that large coordinates lose nothing.
    gap = ahead[0] - back[1]
    along = float((gap[0] * v[1] - gap[1] * v[0]) / (u[0] * v[1] - u[1] * v[0]))
    corner = back[1] + along * u
    tangent = radius_m * float(np.tan(abs(turn) / 2.0))
    return Rounded(
        begin_m=corner - tangent * u, end_m=corner + tangent * v, corner_m=corner, turn_rad=turn
    )


def kink_rad(centre_m: FloatArray, at_m: FloatArray, azimuth_rad: float, turn: float) -> float:
    """Return by how much a circle's direction beside a point differs from a line's there; + right.

    centre_m, at_m: shape (2,). turn: the sense of the circle, + right.
    """
    away = at_m - centre_m
    outward = float(np.arctan2(away[0], away[1]))
    direction = outward + np.copysign(np.pi / 2.0, turn)
    return float(wrap_signed(np.array([direction - azimuth_rad]))[0])


def radius_covariance(xy_m: FloatArray, centre_m: FloatArray, sigma_m: FloatArray) -> FloatArray:
    """Return the covariance of easting, northing and radius of a circle fitted by least squares.

    xy_m: shape (n, 2). sigma_m: shape (n,), standard deviation of each point across the circle. All
    points weigh the same in the fit, whatever their sigma.
    """
    away = xy_m - centre_m
    distance = np.hypot(away[:, 0], away[:, 1])
    rows = np.column_stack((-away / distance[:, None], -np.ones(len(away))))
    # Solved in units of the radius, in which the three columns are alike.
    gain = np.linalg.pinv(rows)
    return np.asarray((gain * sigma_m**2) @ gain.T)


def radius_per_shot(xy_m: FloatArray, centre_m: FloatArray) -> float:
    """Return the standard deviation of a fitted radius for shots of standard deviation 1."""
    cofactor = radius_covariance(xy_m, centre_m, np.ones(len(xy_m)))
    return float(np.sqrt(cofactor[2, 2]))
