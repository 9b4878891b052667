"""Stations: how they are written, and how they count along an alignment through equations.

A station is a number in metres (or in whatever unit the caller uses throughout); the text puts a
plus before the last two whole digits (hundreds) or the last three (thousands). Common practice, no
source.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, GeometryError, IntArray

_STATION = re.compile(r"(?P<sign>[+-]?)(?P<major>\d+)\+(?P<minor>\d+)(?P<part>\.\d*)?")
_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")


class StationError(GeometryError):
    """A station, or a station equation, that cannot be read or cannot be."""


def parse_station(text: str | float) -> float:
    """Return a station as a number, in the unit in which it was written.

    ``10+00.00`` is 1000 (two digits behind the plus count from hundreds), ``0+100.000`` is 100
    (three count from thousands), a plain number is itself. StationError for anything else.
    """
    if isinstance(text, int | float) and not isinstance(text, bool):
        try:
            number = float(text)
        except OverflowError:  # a whole number of hundreds of digits
            number = math.inf
        if not math.isfinite(number):
            raise StationError(
                f"station {str(text)[:40]} is not a finite number",
                'write it as "10+00" or as a length',
            )
        return number
    found = str(text).strip().replace("\N{MINUS SIGN}", "-")
    compact = re.sub(r"\s*\+\s*", "+", found[1:]) if found else ""
    compact = found[:1] + compact
    if _PLAIN.fullmatch(compact):
        return float(compact)
    match = _STATION.fullmatch(compact)
    if match is None or len(match["minor"]) not in {2, 3}:
        raise StationError(
            f"station {found!r} is not understood",
            "write 10+00.00 (two digits behind the plus), 0+100.000 (three), or a plain number",
        )
    digits = match["major"] + match["minor"] + (match["part"] or "")
    value = float(digits)
    return -value if match["sign"] == "-" else value


def format_station(value: float, *, digits: int = 2, decimals: int = 2) -> str:
    """Return a station as text; halves are rounded away from zero, as on stakes.

    digits: whole digits behind the plus, 2 or 3. The value is rounded before it is cut up, so
    999.999 to two decimals is ``10+00.00``.
    """
    if digits not in {2, 3}:
        raise ValueError(f"a station has 2 or 3 digits behind the plus, not {digits}")
    if not np.isfinite(value):
        return ""
    # repr gives the shortest decimal text, so that 0.125 is a half and 0.1249999 is not.
    rounded = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    major, minor = divmod(abs(rounded), Decimal(10) ** digits)
    width = digits + (decimals + 1 if decimals else 0)
    sign = "-" if rounded < 0 else ""
    return f"{sign}{int(major)}+{minor:0{width}.{decimals}f}"


@dataclass(frozen=True, slots=True, kw_only=True)
class StationEquation:
    """A place with two stations: `back` counts up to it, `ahead` counts on from it.

    ahead > back leaves a gap (stations that do not exist), ahead < back an overlap (stations that
    occur twice).
    """

    back_m: float
    ahead_m: float

    @property
    def gap_m(self) -> float:
        """How many metres of stations are left out; negative for an overlap."""
        return self.ahead_m - self.back_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Stationing:
    """How stations count along an alignment.

    start_m: the station of distance 0. Equations stand in the order in which they are met; region 0
    lies before the first, region i behind the i-th. The back station is in the region it ends.
    """

    start_m: float = 0.0
    equations: tuple[StationEquation, ...] = ()

    def __post_init__(self) -> None:
        """Refuse an equation that does not lie ahead of the one before it."""
        station = self.start_m
        for number, equation in enumerate(self.equations, start=1):
            if not equation.back_m > station:
                raise StationError(
                    f"station equation {number}: back station {equation.back_m:g} is not ahead of "
                    f"{station:g}, where its region begins",
                    "give the equations in the order in which they are met up-station",
                )
            station = equation.ahead_m

    @property
    def breaks_m(self) -> FloatArray:
        """Distances along the alignment at which the equations stand; shape (equations,)."""
        lengths = []
        station = self.start_m
        for equation in self.equations:
            lengths.append(equation.back_m - station)
            station = equation.ahead_m
        return np.cumsum(np.array(lengths, dtype=np.float64))

    @property
    def _starts(self) -> tuple[FloatArray, FloatArray]:
        """Distance and station at which each region begins."""
        distance = np.concatenate(([0.0], self.breaks_m))
        station = np.array([self.start_m, *(each.ahead_m for each in self.equations)])
        return distance, station

    def region(self, distance_m: npt.ArrayLike) -> IntArray:
        """Return the region of distances along the alignment; an equation's own place is ahead."""
        distance = np.asarray(distance_m, dtype=np.float64)
        return np.searchsorted(self.breaks_m, distance, side="right").astype(np.int64)

    def station(self, distance_m: npt.ArrayLike) -> FloatArray:
        """Return the stations of distances along the alignment (negative: before the start)."""
        distance = np.asarray(distance_m, dtype=np.float64)
        begin, station = self._starts
        region = self.region(distance)
        return np.asarray(station[region] + (distance - begin[region]))

    def distances(self, station_m: float, length_m: float = np.inf) -> tuple[float, ...]:
        """Return every distance along the alignment that has this station, in order.

        None in a gap, two in an overlap. The first and the last region run on without an end,
        unless `length_m` ends the alignment; then only stations on it are found.
        """
        begin, first = self._starts
        end = np.append(begin[1:], np.inf)
        distance = begin + (station_m - first)
        low = begin.copy()
        if np.isinf(length_m):
            low[0] = -np.inf
        at = (distance >= low) & (distance <= np.minimum(end, length_m))
        # An equation without a jump gives the same place from both sides.
        return tuple(dict.fromkeys(float(each) for each in distance[at]))

    def distance(self, station_m: npt.ArrayLike, region: npt.ArrayLike | None = None) -> FloatArray:
        """Return the distance along the alignment of each station.

        region: which region is meant, broadcast; None takes the first region that has the station.
        NaN where the station does not exist (in a gap, or not in that region).
        """
        station = np.asarray(station_m, dtype=np.float64)
        begin, first = self._starts
        low = np.concatenate(([-np.inf], begin[1:]))
        end = np.append(begin[1:], np.inf)
        distance = np.full(station.shape, np.nan)
        for number in range(begin.size - 1, -1, -1):
            here = begin[number] + (station - first[number])
            fits = (here >= low[number]) & (here <= end[number])
            if region is not None:
                fits &= np.asarray(region) == number
            distance = np.where(fits, here, distance)
        return np.asarray(distance)


def stationing(start_m: float, equations: Sequence[tuple[float, float]] = ()) -> Stationing:
    """Return a stationing from (back, ahead) pairs."""
    return Stationing(
        start_m=start_m,
        equations=tuple(StationEquation(back_m=back, ahead_m=ahead) for back, ahead in equations),
    )
