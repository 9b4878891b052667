"""Circular and spiraled curves of a layout: their elements from what a plan gives, and areas.

Lengths in metres, angles in radians. Every formula is that of the simple curve (common practice, no
source): T = R tan(D/2), L = R D, C = 2 R sin(D/2), M = R (1 - cos(D/2)), E = R (sec(D/2) - 1).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, GeometryError
from checker.geometry.elements import Elements, place

STATION_M = 30.48
"""A full station of 100 ft, on which the degree of curve is founded."""


class CurveError(GeometryError):
    """Elements of a curve that do not make a curve."""


# What each element is on a circle of radius 1, as a function of the central angle.
_UNIT: dict[str, Callable[[float], float]] = {
    "tangent_m": lambda delta: float(np.tan(delta / 2.0)),
    "length_m": lambda delta: delta,
    "chord_m": lambda delta: float(2.0 * np.sin(delta / 2.0)),
    # Written without 1 - cos, which loses the digits of flat curves.
    "middle_m": lambda delta: float(2.0 * np.sin(delta / 4.0) ** 2),
    "external_m": lambda delta: float(np.tan(delta / 2.0) * np.tan(delta / 4.0)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CircularCurve:
    """A simple curve: radius and central angle (the deflection at the PI), both positive."""

    radius_m: float
    delta_rad: float

    @property
    def length_m(self) -> float:
        """Length of the arc, L."""
        return self.radius_m * self.delta_rad

    @property
    def tangent_m(self) -> float:
        """Length from PC, or PT, to the PI, T; infinite at half a circle, negative beyond."""
        return self.radius_m * _UNIT["tangent_m"](self.delta_rad)

    @property
    def chord_m(self) -> float:
        """Long chord from PC to PT, C."""
        return self.radius_m * _UNIT["chord_m"](self.delta_rad)

    @property
    def middle_m(self) -> float:
        """Middle ordinate, from the chord's middle to the arc's, M."""
        return self.radius_m * _UNIT["middle_m"](self.delta_rad)

    @property
    def external_m(self) -> float:
        """External distance, from the arc's middle to the PI, E."""
        return self.radius_m * _UNIT["external_m"](self.delta_rad)

    def degree_of_arc_rad(self, station_m: float = STATION_M) -> float:
        """Return the degree of curve by the arc definition: the angle of an arc of one station."""
        return station_m / self.radius_m

    def degree_of_chord_rad(self, station_m: float = STATION_M) -> float:
        """Return the degree of curve by the chord definition: the angle of a station's chord."""
        return float(2.0 * np.arcsin(station_m / (2.0 * self.radius_m)))


def solve_curve(
    *,
    radius_m: float | None = None,
    delta_rad: float | None = None,
    length_m: float | None = None,
    tangent_m: float | None = None,
    chord_m: float | None = None,
    middle_m: float | None = None,
    external_m: float | None = None,
) -> CircularCurve:
    """Return the curve that two of its elements fix.

    A radius and a chord, tangent, middle ordinate or external give the curve of less than half a
    circle. Two lengths without radius or angle are solved for the angle on (0, pi), where their
    ratio fixes it; it does badly for flat curves, where they hardly differ. CurveError where the
    two do not make a curve, or make two (tangent with middle ordinate).
    """
    given = {
        "radius_m": radius_m,
        "delta_rad": delta_rad,
        "length_m": length_m,
        "tangent_m": tangent_m,
        "chord_m": chord_m,
        "middle_m": middle_m,
        "external_m": external_m,
    }
    known = {name: float(value) for name, value in given.items() if value is not None}
    if len(known) != 2:
        raise CurveError(
            f"a curve is fixed by two of its elements, not by {len(known)}",
            "give two of radius, central angle, arc, tangent, chord, middle ordinate, external",
        )
    for name, value in known.items():
        if not (np.isfinite(value) and value > 0.0):
            raise CurveError(f"{_word(name)} of a curve is {value:g}, expected more than 0")
    radius, delta = known.pop("radius_m", None), known.pop("delta_rad", None)
    if delta is not None and not delta < 2.0 * np.pi:
        raise CurveError(f"a central angle of {np.degrees(delta):g} degrees goes round the circle")
    if radius is not None and delta is not None:
        return CircularCurve(radius_m=radius, delta_rad=delta)
    if delta is not None:
        (name, value), *_ = known.items()
        unit = _UNIT[name](delta)
        if not unit > 0.0:
            raise CurveError(
                f"{_word(name)} of a curve of {np.degrees(delta):g} degrees is not finite"
            )
        return CircularCurve(radius_m=value / unit, delta_rad=delta)
    if radius is not None:
        (name, value), *_ = known.items()
        return CircularCurve(radius_m=radius, delta_rad=_angle(name, value / radius))
    return _from_two_lengths(known)


def _word(name: str) -> str:
    """Return the trade's word for an element."""
    words = {
        "radius_m": "the radius",
        "delta_rad": "the central angle",
        "length_m": "the arc",
        "tangent_m": "the tangent",
        "chord_m": "the long chord",
        "middle_m": "the middle ordinate",
        "external_m": "the external distance",
    }
    return words[name]


def _angle(name: str, unit: float) -> float:
    """Return the central angle at which an element of the circle of radius 1 has this length."""
    if name == "length_m":
        if unit >= 2.0 * np.pi:
            raise CurveError(f"an arc of {unit:g} radii goes round the circle")
        return unit
    if name == "tangent_m":
        return float(2.0 * np.arctan(unit))
    if name == "external_m":
        # sec(D/2) - 1 = u, so tan(D/4)^2 = u / (2 + u).
        return float(4.0 * np.arctan(np.sqrt(unit / (2.0 + unit))))
    if name == "chord_m":
        if unit > 2.0:
            raise CurveError(f"a chord of {unit:g} radii is longer than the diameter")
        return float(2.0 * np.arcsin(unit / 2.0))
    if unit > 1.0:
        raise CurveError(f"a middle ordinate of {unit:g} radii goes past the centre")
    return float(4.0 * np.arcsin(np.sqrt(unit / 2.0)))


def _from_two_lengths(known: dict[str, float]) -> CircularCurve:
    """Return the curve of two lengths, by halving the angle's interval."""
    (one, value), (two, other) = known.items()
    if set(known) == {"tangent_m", "middle_m"}:
        raise CurveError(
            "a tangent and a middle ordinate fit two curves", "give the radius or the angle as well"
        )

    def miss(delta: float) -> float:
        return value * _UNIT[two](delta) - other * _UNIT[one](delta)

    # The ends are left out: there every element is zero, or one is infinite.
    low, high = 1e-6, np.pi - 1e-9
    begin = miss(low)
    if begin * miss(high) > 0.0:
        raise CurveError(
            f"no curve has {_word(one)} of {value:g} m and {_word(two)} of {other:g} m",
            "look for a misread figure",
        )
    for _ in range(80):
        middle = (low + high) / 2.0
        if (miss(middle) > 0.0) == (begin > 0.0):
            low = middle
        else:
            high = middle
    delta = (low + high) / 2.0
    return CircularCurve(radius_m=value / _UNIT[one](delta), delta_rad=delta)


def segment_area(radius_m: npt.ArrayLike, delta_rad: npt.ArrayLike) -> FloatArray:
    """Return the area between an arc and its chord, R^2 (D - sin D) / 2, square metres.

    Small angles by the series of D - sin D, whose digits the difference would lose.
    """
    radius = np.asarray(radius_m, dtype=np.float64)
    delta = np.asarray(delta_rad, dtype=np.float64)
    square = delta * delta
    series = (
        delta
        * square
        / 6.0
        * (
            1.0
            - square / 20.0 * (1.0 - square / 42.0 * (1.0 - square / 72.0 * (1.0 - square / 110.0)))
        )
    )
    return np.asarray(
        radius * radius / 2.0 * np.where(np.abs(delta) < 0.3, series, delta - np.sin(delta))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SpiraledCurve:
    """An arc between two clothoids, that may differ in length; lengths in metres.

    tangent_in_m: from TS to the PI; tangent_out_m: from the PI to ST. spiral_in_m, spiral_out_m,
    arc_m: lengths of the parts. shift_in_m, abscissa_in_m (p and q) and the same out: by how much
    the spiral moves the arc off its tangent, and where the moved PC stands on it.
    """

    delta_rad: float
    radius_m: float
    spiral_in_m: float
    spiral_out_m: float
    arc_m: float
    tangent_in_m: float
    tangent_out_m: float
    shift_in_m: float
    abscissa_in_m: float
    shift_out_m: float
    abscissa_out_m: float

    @property
    def length_m(self) -> float:
        """Length from TS to ST."""
        return self.spiral_in_m + self.arc_m + self.spiral_out_m

    @property
    def external_m(self) -> float:
        """From the PI to the curve where the line from the PI to the arc's centre meets it."""
        away = self.radius_m + self.shift_in_m
        along = self.tangent_in_m - self.abscissa_in_m
        return float(np.hypot(away, along)) - self.radius_m


def spiraled_curve(
    delta_rad: float, radius_m: float, spiral_in_m: float = 0.0, spiral_out_m: float = 0.0
) -> SpiraledCurve:
    """Return the elements of a curve with clothoids at its ends; a length of 0 means none.

    With the shifts p and abscissas q of the spirals, exactly integrated, and D the deflection:
    T_in = q_in + (R + p_out - (R + p_in) cos D) / sin D, and the same out with in and out
    exchanged; for equal spirals (R + p) tan(D/2) + q. Common practice, no source. CurveError where
    the spirals use up the deflection.
    """
    if not 0.0 < delta_rad < np.pi:
        raise CurveError(f"a deflection of {np.degrees(delta_rad):g} degrees cannot be rounded off")
    if not radius_m > 0.0:
        raise CurveError(f"the radius of a curve is {radius_m:g}, expected more than 0")
    if min(spiral_in_m, spiral_out_m) < 0.0:
        raise CurveError("the length of a spiral is negative")
    arc_rad = delta_rad - (spiral_in_m + spiral_out_m) / (2.0 * radius_m)
    if arc_rad < -1e-9:
        raise CurveError(
            f"spirals of {spiral_in_m:g} and {spiral_out_m:g} m turn by more than the "
            f"{np.degrees(delta_rad):.4f} degrees of the PI",
            "look at the radius and the spirals' lengths",
        )
    p_in, q_in = _shift(radius_m, spiral_in_m)
    p_out, q_out = _shift(radius_m, spiral_out_m)
    near, far = radius_m + p_in, radius_m + p_out
    sine, cosine = np.sin(delta_rad), np.cos(delta_rad)
    return SpiraledCurve(
        delta_rad=delta_rad,
        radius_m=radius_m,
        spiral_in_m=spiral_in_m,
        spiral_out_m=spiral_out_m,
        arc_m=max(arc_rad, 0.0) * radius_m,
        tangent_in_m=float(q_in + (far - near * cosine) / sine),
        tangent_out_m=float(q_out + (near - far * cosine) / sine),
        shift_in_m=p_in,
        abscissa_in_m=q_in,
        shift_out_m=p_out,
        abscissa_out_m=q_out,
    )


def _shift(radius_m: float, spiral_m: float) -> tuple[float, float]:
    """Return shift p and abscissa q of a spiral from a line to a radius."""
    if spiral_m == 0.0:
        return 0.0, 0.0
    # Northward along the tangent, eastward off it.
    one = Elements(
        xy_m=np.zeros((1, 2)),
        azimuth_rad=np.zeros(1),
        length_m=np.array([spiral_m]),
        curvature_in=np.zeros(1),
        curvature_out=np.array([1.0 / radius_m]),
    )
    off, along = place(one, np.zeros(1, dtype=np.int64), one.length_m)[0]
    turn = spiral_m / (2.0 * radius_m)
    versine = 2.0 * np.sin(turn / 2.0) ** 2
    return float(off - radius_m * versine), float(along - radius_m * np.sin(turn))
