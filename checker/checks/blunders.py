"""Which one leg or one angle of a traverse would explain its misclosure, and how plainly.

One wrong distance moves everything behind it along its leg, so the misclosure has the direction of
the leg. One wrong angle turns everything behind it about its station, so the perpendicular
bisector from the known to the computed end passes through the station; run from both ends, the
two sets of coordinates agree there alone (common practice). Nothing is corrected by it.
"""

from dataclasses import dataclass

import numpy as np

from checker.model.arrays import BoolArray, FloatArray
from checker.units import ARCSEC

WORTH = 1.0 / 5000.0
"""A misclosure below this share of the length is no blunder's (our choice, no source)."""
WORTH_RAD = 60.0 * ARCSEC
"""An angular misclosure below this, times the root of the number of angles, is none (ours)."""
EXPLAINED = 0.1
"""A cause explains a misclosure where less than this share of it would be left (our choice)."""
SETTLED = 3.0
"""A cause stands alone where the next one leaves this many times as much (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """One leg or one angle that would explain the misclosure.

    row: of the book. error: observed minus right, metres (distance) or radians (angle). left_m:
    the misclosure that would be left.
    """

    row: int
    is_angle: bool
    error: float
    left_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """Every leg and angle tried as the only blunder, the plainest first; [] where none is due.

    reach_m: the most that a blunder of that size could move the end by; what would be left is
    small or large against it. wide: the angles do not close, so that an angle is looked for.
    """

    tried: list[Suspect]
    reach_m: float
    wide: bool

    def suspects(self) -> list[Suspect]:
        """Return the causes that explain the misclosure."""
        return [each for each in self.tried if each.left_m <= EXPLAINED * self.reach_m]


def suspects(
    *,
    latitude_m: FloatArray,
    departure_m: FloatArray,
    misclosure_m: tuple[float, float],
    turned: BoolArray,
    sense: float,
    angular_rad: float,
) -> list[Suspect]:
    """Return the causes that explain a raw misclosure, the plainest first; see `search`."""
    return search(
        latitude_m=latitude_m,
        departure_m=departure_m,
        misclosure_m=misclosure_m,
        turned=turned,
        sense=sense,
        angular_rad=angular_rad,
    ).suspects()


def search(
    *,
    latitude_m: FloatArray,
    departure_m: FloatArray,
    misclosure_m: tuple[float, float],
    turned: BoolArray,
    sense: float,
    angular_rad: float,
) -> Search:
    """Return every leg and angle tried as the one blunder behind a raw misclosure.

    latitude_m, departure_m: shape (legs,), before any angle was shared out. misclosure_m: north,
    east. turned: shape (rows,), rows with an angle that turns what follows. sense: +1 where angles
    grow clockwise. angular_rad: angular misclosure, NaN where the angles are not proved: then the
    angle is that which fits best.
    """
    miss = np.array(misclosure_m)
    size = float(np.hypot(*miss))
    legs = latitude_m.size
    length = np.hypot(latitude_m, departure_m)
    angles = int(np.count_nonzero(turned))
    wide = bool(abs(angular_rad) > WORTH_RAD * np.sqrt(max(angles, 1)))
    if not (size > WORTH * float(np.sum(length)) or wide):
        return Search(tried=[], reach_m=size, wide=wide)
    # Everything is seen from the known end: the computed end lies at the misclosure.
    walked = np.column_stack(
        (
            np.concatenate(([0.0], np.cumsum(latitude_m))),
            np.concatenate(([0.0], np.cumsum(departure_m))),
        )
    )
    station = walked - walked[-1] + miss
    found = []
    if not wide:
        unit = np.column_stack((latitude_m, departure_m)) / length[:, None]
        along = unit @ miss
        across = np.abs(unit[:, 0] * miss[1] - unit[:, 1] * miss[0])
        found += [
            Suspect(row=row, is_angle=False, error=float(along[row]), left_m=float(across[row]))
            for row in range(legs)
        ]
    if wide or np.isnan(angular_rad):
        rows = np.flatnonzero(turned)
        places = station[np.minimum(rows, legs)]
        to_computed, to_known = miss - places, -places
        if np.isnan(angular_rad):
            cross = to_known[:, 0] * to_computed[:, 1] - to_known[:, 1] * to_computed[:, 0]
            turn = np.arctan2(cross, np.sum(to_known * to_computed, axis=1))
        else:
            turn = np.full(rows.size, sense * angular_rad)
        cosine, sine = np.cos(turn), np.sin(turn)
        # Turned back, clockwise azimuths: north' = n cos + e sin, east' = e cos - n sin.
        north = to_computed[:, 0] * cosine + to_computed[:, 1] * sine
        east = to_computed[:, 1] * cosine - to_computed[:, 0] * sine
        left = np.hypot(north - to_known[:, 0], east - to_known[:, 1])
        found += [
            Suspect(
                row=int(row), is_angle=True, error=float(sense * turn[index]), left_m=float(rest)
            )
            for index, (row, rest) in enumerate(zip(rows, left, strict=True))
        ]
    # What an angle would do to the end: a closing angle leaves the coordinates alone.
    reach = size
    if wide:
        reach = max(size, abs(angular_rad) * float(np.max(np.hypot(*(station - miss).T))))
    return Search(tried=sorted(found, key=lambda each: each.left_m), reach_m=reach, wide=wide)


def settled(found: list[Suspect], misclosure_m: float) -> bool:
    """Tell whether the first suspect stands alone."""
    floor = 1e-3 * misclosure_m
    return len(found) == 1 or found[1].left_m > SETTLED * max(found[0].left_m, floor)
