"""Directions, polar coordinates and areas in the plane of northing and easting.

Azimuths run clockwise from grid north. Every function takes numbers or arrays that broadcast, and
returns an array (shape () for numbers); NaN in gives NaN out. The formulas are plain trigonometry
of the plane (common practice, no source).
"""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

TURN_RAD = 2.0 * np.pi


def wrap_azimuth(angle_rad: npt.ArrayLike) -> FloatArray:
    """Return the angle brought into [0, 2 pi), radians."""
    angle = np.asarray(angle_rad, dtype=np.float64)
    turned = np.mod(angle, TURN_RAD)
    # The remainder of a tiny negative angle rounds up to the whole turn.
    return np.asarray(np.where(turned >= TURN_RAD, 0.0, turned))


def wrap_signed(angle_rad: npt.ArrayLike) -> FloatArray:
    """Return the angle brought into (-pi, pi], radians: a difference of directions."""
    angle = np.asarray(angle_rad, dtype=np.float64)
    turned = np.asarray(angle - TURN_RAD * np.round(angle / TURN_RAD))
    return np.asarray(np.where(turned <= -np.pi, turned + TURN_RAD, turned))


def azimuth_rad(dn_m: npt.ArrayLike, de_m: npt.ArrayLike) -> FloatArray:
    """Return the azimuth of a difference of coordinates, radians in [0, 2 pi).

    dn_m, de_m: northing and easting of the end minus those of the start. A difference of zero
    length has no azimuth: NaN.
    """
    dn = np.asarray(dn_m, dtype=np.float64)
    de = np.asarray(de_m, dtype=np.float64)
    azimuth = wrap_azimuth(np.arctan2(de, dn))
    return np.asarray(np.where((dn == 0.0) & (de == 0.0), np.nan, azimuth))


def polar(azimuth_rad: npt.ArrayLike, distance_m: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return latitude and departure (dN, dE) of a course, metres; north and east positive."""
    azimuth = np.asarray(azimuth_rad, dtype=np.float64)
    distance = np.asarray(distance_m, dtype=np.float64)
    return np.asarray(distance * np.cos(azimuth)), np.asarray(distance * np.sin(azimuth))


def along_across(
    dn_m: npt.ArrayLike, de_m: npt.ArrayLike, azimuth_rad: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return the parts of a difference along a direction and across it, metres.

    Along is positive in the direction of the azimuth, across is positive to the right of it.
    """
    dn = np.asarray(dn_m, dtype=np.float64)
    de = np.asarray(de_m, dtype=np.float64)
    azimuth = np.asarray(azimuth_rad, dtype=np.float64)
    cosine, sine = np.cos(azimuth), np.sin(azimuth)
    return np.asarray(dn * cosine + de * sine), np.asarray(de * cosine - dn * sine)


def double_meridian_distances(departure_m: npt.ArrayLike) -> FloatArray:
    """Return the double meridian distance of every course, metres; the first is its departure.

    The products with the latitudes add up to twice the area of a closed figure, negative where the
    courses run counter-clockwise (common practice, no source).
    """
    departure = np.asarray(departure_m, dtype=np.float64)
    before = np.cumsum(departure) - departure
    return np.asarray(2.0 * before + departure)


def polygon_area(northing_m: npt.ArrayLike, easting_m: npt.ArrayLike) -> float:
    """Return the signed area of a polygon, square metres; counter-clockwise on the map positive.

    northing_m, easting_m: shape (vertices,); the last vertex joins the first, which may or may not
    be repeated at the end. Fewer than three vertices enclose nothing: 0. A polygon whose sides
    cross gives the algebraic sum of its parts.
    """
    northing = np.asarray(northing_m, dtype=np.float64)
    easting = np.asarray(easting_m, dtype=np.float64)
    if northing.size < 3:
        return 0.0
    # State-plane coordinates have seven digits before the point: their products would eat the area.
    n = northing - northing[0]
    e = easting - easting[0]
    return float(0.5 * np.sum(e * np.roll(n, -1) - n * np.roll(e, -1)))
