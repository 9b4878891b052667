"""Profiles: grades between points of vertical intersection, rounded by parabolas; crossfalls.

Grades are dimensionless, + rising up-station. A vertical curve of lengths L1 before and L2 behind
its PVI is two parabolas that meet at the PVI's station, with the grade (g1 L1 + g2 L2) / (L1 + L2)
there; for L1 = L2 they are one: y = y_BVC + g1 x + (g2 - g1) x^2 / (2 L). Common practice, no
source; checked against worked examples in tests/published/geometry/vcurve-*.toml.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, GeometryError

_NO_CURVE_M = 1e-9
"""A curve shorter than that on a side is none."""
_LEVEL = 1e-12
"""A grade nearer to zero is level: what rounding leaves of one that is."""


class ProfileError(GeometryError):
    """Points of vertical intersection that do not make a profile."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """A high or a low point. kind: "high" or "low"; sharp: at a PVI without a curve."""

    kind: str
    station_m: float
    elevation_m: float
    sharp: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """Parabolas end to end, a straight grade being one that does not bend.

    station_m, elevation_m, grade, bend: shape (pieces,), at the start of each; bend is the change
    of grade, 1/m. end_m: the station at which the profile ends. Stations grow; where an alignment
    has station equations, the caller gives distances along it instead.
    """

    station_m: FloatArray
    elevation_m: FloatArray
    grade: FloatArray
    bend: FloatArray
    end_m: float

    def _locate(self, station_m: npt.ArrayLike) -> tuple[npt.NDArray[np.intp], FloatArray]:
        """Return piece and distance in it; NaN outside the profile."""
        station = np.asarray(station_m, dtype=np.float64)
        piece = np.searchsorted(self.station_m[1:], station, side="right")
        inside = (station >= self.station_m[0]) & (station <= self.end_m)
        return np.asarray(piece), np.where(inside, station - self.station_m[piece], np.nan)

    def elevation(self, station_m: npt.ArrayLike) -> FloatArray:
        """Return design elevations, metres; NaN before the first and behind the last PVI."""
        piece, x = self._locate(station_m)
        return np.asarray(
            self.elevation_m[piece] + (self.grade[piece] + self.bend[piece] * x / 2.0) * x
        )

    def grade_at(self, station_m: npt.ArrayLike) -> FloatArray:
        """Return grades, + rising up-station; at a sharp PVI the grade ahead; NaN outside."""
        piece, x = self._locate(station_m)
        return np.asarray(self.grade[piece] + self.bend[piece] * x)

    def turns(self) -> tuple[Turn, ...]:
        """Return the high and low points between the ends, in order.

        A level stretch has none of its own: it is a turn only where the grade goes through zero.
        """
        found = []
        stop = np.append(self.station_m[1:], self.end_m)
        last_sign = 0.0
        for piece in range(self.station_m.size):
            length = float(stop[piece] - self.station_m[piece])
            begin, bend = float(self.grade[piece]), float(self.bend[piece])
            begin, after = (
                0.0 if abs(each) < _LEVEL else each for each in (begin, begin + bend * length)
            )
            sign = np.sign(begin) if begin else np.sign(bend)
            if last_sign and sign and sign != last_sign:
                found.append(self._turn(float(self.station_m[piece]), last_sign, sharp=True))
            last_sign = sign or last_sign
            if begin * after < 0.0:
                at = float(self.station_m[piece]) - begin / bend
                found.append(self._turn(at, last_sign, sharp=False))
                last_sign = -last_sign
        return tuple(self._smooth(found))

    def _turn(self, station_m: float, before: float, *, sharp: bool) -> Turn:
        """Return the turn at a station whose grade before it has this sign."""
        kind = "high" if before > 0.0 else "low"
        elevation = float(self.elevation(station_m))
        return Turn(kind=kind, station_m=station_m, elevation_m=elevation, sharp=sharp)

    def _smooth(self, turns: list[Turn]) -> list[Turn]:
        """Call a turn at the end of a piece sharp only where the grade jumps there."""
        smooth = []
        for turn in turns:
            near = np.flatnonzero(self.station_m == turn.station_m)
            sharp = turn.sharp
            if sharp and near.size and near[0] > 0:
                before = int(near[0]) - 1
                length = float(self.station_m[near[0]] - self.station_m[before])
                arriving = float(self.grade[before] + self.bend[before] * length)
                sharp = abs(arriving - float(self.grade[near[0]])) > 1e-9
            smooth.append(
                Turn(
                    kind=turn.kind,
                    station_m=turn.station_m,
                    elevation_m=turn.elevation_m,
                    sharp=sharp,
                )
            )
        return smooth


def profile(
    station_m: npt.ArrayLike,
    elevation_m: npt.ArrayLike,
    length_in_m: npt.ArrayLike = 0.0,
    length_out_m: npt.ArrayLike | None = None,
    *,
    overlap_m: float = 1e-6,
) -> Profile:
    """Return the profile of points of vertical intersection.

    station_m, elevation_m: shape (pvis,), stations growing. length_in_m, length_out_m: how far the
    curve at each PVI reaches before and behind it, shape (pvis,) or a number; None: as far behind
    as before (a curve of length L has L/2 on either side). The first and the last PVI are ends and
    have no curve. ProfileError where stations do not grow, a number is missing, or curves overlap
    by more than overlap_m or reach past the ends.
    """
    station = np.asarray(station_m, dtype=np.float64)
    elevation = np.asarray(elevation_m, dtype=np.float64)
    if station.ndim != 1 or station.shape != elevation.shape or station.size < 2:
        raise ProfileError(
            "a profile needs a station and an elevation for two PVIs or more",
            "add the PVIs that the line runs between",
        )
    before = np.broadcast_to(np.asarray(length_in_m, dtype=np.float64), station.shape)
    behind = before
    if length_out_m is not None:
        behind = np.broadcast_to(np.asarray(length_out_m, dtype=np.float64), station.shape)
    _refuse(station, elevation, before, behind, overlap_m)
    before, behind = before.copy(), behind.copy()
    before[0] = behind[0] = before[-1] = behind[-1] = 0.0
    for reach_m in (before, behind):
        reach_m[reach_m < _NO_CURVE_M] = 0.0

    run = np.diff(station)
    grade = np.diff(elevation) / run
    begins: list[tuple[float, float, float, float]] = []
    for leg in range(run.size):
        left, right = station[leg] + behind[leg], station[leg + 1] - before[leg + 1]
        if right - left > overlap_m:
            begins.append((left, elevation[leg] + grade[leg] * behind[leg], float(grade[leg]), 0.0))
        reach, follow = float(before[leg + 1]), float(behind[leg + 1])
        if reach + follow > 0.0:
            middle = (grade[leg] * reach + grade[leg + 1] * follow) / (reach + follow)
            bvc = elevation[leg + 1] - grade[leg] * reach
            if reach > 0.0:
                bend = (middle - grade[leg]) / reach
                begins.append((right, bvc, float(grade[leg]), float(bend)))
            if follow > 0.0:
                cvc = bvc + (grade[leg] + middle) / 2.0 * reach
                bend = (grade[leg + 1] - middle) / follow
                begins.append((float(station[leg + 1]), cvc, float(middle), float(bend)))
    table = np.array(begins, dtype=np.float64)
    return Profile(
        station_m=table[:, 0],
        elevation_m=table[:, 1],
        grade=table[:, 2],
        bend=table[:, 3],
        end_m=float(station[-1]),
    )


def _refuse(
    station: FloatArray,
    elevation: FloatArray,
    before: FloatArray,
    behind: FloatArray,
    overlap_m: float,
) -> None:
    """Raise ProfileError for anything that makes no profile; PVIs are counted from 1."""
    for number, values in enumerate(zip(station, elevation, before, behind, strict=True), 1):
        if not np.isfinite(values).all():
            raise ProfileError(
                f"PVI {number} lacks a station, an elevation or a curve length",
                "fill it in, or take the row away",
            )
        if min(values[2:]) < 0.0:
            raise ProfileError(
                f"PVI {number}: a curve length of {min(values[2:]):g} is negative",
                "curve lengths are 0 or more",
            )
    for number in range(1, station.size):
        if not station[number] > station[number - 1]:
            raise ProfileError(
                f"PVI {number + 1} at {station[number]:g} does not lie ahead of "
                f"{station[number - 1]:g}",
                "give the PVIs up-station, each once",
            )
    if max(before[0], behind[0], before[-1], behind[-1]) > 0.0:
        raise ProfileError(
            "the first or the last PVI has a curve, which needs a grade on both sides",
            "add the PVI before or behind it, or take its curve length away",
        )
    free = np.diff(station) - behind[:-1] - before[1:]
    for leg in np.flatnonzero(free < -overlap_m):
        raise ProfileError(
            f"the vertical curves at PVI {leg + 1} and PVI {leg + 2} overlap by {-free[leg]:.3f} m",
            "look at the curve lengths and the stations",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossfall:
    """How a template falls to the two sides of its line, changing linearly between stations.

    station_m: shape (n,), growing. left, right: shape (n,), rise per metre going outwards, so
    -0.02 on both sides is a 2 % crown. width_left_m, width_right_m: as far as it reaches.
    """

    station_m: FloatArray
    left: FloatArray
    right: FloatArray
    width_left_m: float = np.inf
    width_right_m: float = np.inf

    def rise(self, station_m: npt.ArrayLike, offset_m: npt.ArrayLike) -> FloatArray:
        """Return how much higher the template is at an offset (+ right) than at its line, metres.

        Before the first and behind the last station it goes on as there; NaN beyond the widths.
        """
        offset = np.asarray(offset_m, dtype=np.float64)
        station = np.asarray(station_m, dtype=np.float64)
        slope = np.where(
            offset < 0.0,
            np.interp(station, self.station_m, self.left),
            np.interp(station, self.station_m, self.right),
        )
        reaches = (offset >= -self.width_left_m) & (offset <= self.width_right_m)
        return np.where(reaches, np.abs(offset) * slope, np.nan)


def crossfall(
    left: npt.ArrayLike,
    right: npt.ArrayLike | None = None,
    station_m: npt.ArrayLike = 0.0,
    **widths: float,
) -> Crossfall:
    """Return a crossfall from numbers or arrays; right None: as left.

    widths: width_left_m, width_right_m. ProfileError where stations do not grow.
    """
    station = np.atleast_1d(np.asarray(station_m, dtype=np.float64))
    if np.any(np.diff(station) <= 0.0):
        raise ProfileError(
            "the stations of the crossfall do not grow", "give the rows up-station, each once"
        )
    return Crossfall(
        station_m=station,
        left=np.broadcast_to(np.asarray(left, dtype=np.float64), station.shape),
        right=np.broadcast_to(
            np.asarray(left if right is None else right, dtype=np.float64), station.shape
        ),
        **widths,
    )
