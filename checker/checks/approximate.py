"""Rough positions of a network's stations, from which the adjustment begins.

Each new station is reached from known ones by a direction and a distance, by two directions, by
two distances (the side that a third observation fits), by sights from it to known stations
(resection), or by its whole set of directions and distances laid on known stations. Textbook
geometry (common practice); what is found is only where the adjustment starts, and where nothing
leads is refused.
"""

from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from itertools import combinations
from typing import Protocol

import numpy as np

from checker.adjust.observations import Kind

Plan = complex
"""A place in plan: northing + i easting, so that azimuths are arguments."""
_SHARP = 0.1
"""Sine of the flattest angle at which two lines are brought to meet, as long as there is better."""
_ROUGH = 0.02
"""Two sides fit alike where they miss a third observation alike, within this share of its size."""
_FLATTEST = 0.005
_BRANCHED = 400
"""In nets of up to so many stations both sides of two distances are followed up."""
_RESECTIONS = 12
"""So many combinations of three targets are tried."""


class Sighted(Protocol):
    """What is needed of an observation: as `net.Sighting`."""

    @property
    def kind(self) -> Kind: ...  # noqa: D102
    @property
    def i(self) -> str: ...  # noqa: D102
    @property
    def j(self) -> str: ...  # noqa: D102
    @property
    def k(self) -> str: ...  # noqa: D102
    @property
    def value(self) -> float: ...  # noqa: D102


@dataclass(slots=True, kw_only=True)
class _Fan:
    """Directions that share their zero, clockwise: of a circle, or the two legs of an angle."""

    at: str
    reading: dict[str, float]
    turned: bool = False


@dataclass(slots=True, kw_only=True)
class _Seen:
    """What was seen: distances between two stations, azimuths, fans; and who touches whom."""

    distance: dict[tuple[str, str], float] = field(default_factory=dict)
    azimuth: dict[tuple[str, str], float] = field(default_factory=dict)
    fans: list[_Fan] = field(default_factory=list)
    around: dict[str, dict[str, None]] = field(default_factory=dict)
    fans_of: dict[str, list[_Fan]] = field(default_factory=dict)

    def joined(self, one: str, other: str) -> None:
        """Keep that two stations have something to do with each other."""
        self.around.setdefault(one, {})[other] = None
        self.around.setdefault(other, {})[one] = None

    def add_fan(self, fan: _Fan) -> None:
        """Keep a fan."""
        self.fans.append(fan)
        for name in (fan.at, *fan.reading):
            self.fans_of.setdefault(name, []).append(fan)
            if name != fan.at:
                self.joined(fan.at, name)

    def length(self, one: str, other: str) -> float | None:
        """Return the distance between two stations, None where it was not measured."""
        return self.distance.get((one, other), self.distance.get((other, one)))

    def towards(self, one: str, other: str) -> float | None:
        """Return the azimuth of one to other, also from the one seen the other way."""
        found = self.azimuth.get((one, other))
        if found is None and (other, one) in self.azimuth:
            return self.azimuth[other, one] + np.pi
        return found


def rough_places(sightings: Sequence[Sighted], known: Mapping[str, Plan]) -> dict[str, Plan]:
    """Return rough positions of the stations that plan observations lead to from known ones."""
    seen = _gathered(sightings)
    place = {name: known[name] for name in seen.around if name in known}
    _orient(seen, place, list(seen.fans))
    for least in (_SHARP, _FLATTEST):
        _spread(seen, place, least)
    while len(place) < len(seen.around) <= _BRANCHED and _branched(seen, place):
        _spread(seen, place, _FLATTEST)
    return place


def _spread(seen: _Seen, place: dict[str, Plan], least: float) -> None:
    """Add every station that can be placed, as long as there is one."""
    before = -1
    while before < len(place) < len(seen.around):
        before = len(place)
        for name in seen.around:
            found = None if name in place else _placed(name, seen, place, least)
            if found is not None:
                place[name] = found
                _orient(seen, place, list(seen.fans_of.get(name, ())))


def _branched(seen: _Seen, place: dict[str, Plan]) -> bool:
    """Place a station that two distances leave on either side, by what follows from each.

    The side is taken from which the rest of the net fits its distances better by far; False where
    no station is told so.
    """
    for name in seen.around:
        rings = [
            (place[other], length)
            for other in seen.around[name]
            if other in place and (length := seen.length(other, name)) is not None
        ]
        if name in place or len(rings) < 2:
            continue
        sides = _two_sides(rings[0], rings[-1], _FLATTEST)
        tried = []
        for side in sides:
            after = dict(place)
            after[name] = side
            trial = deepcopy(seen)
            _spread(trial, after, _FLATTEST)
            off = [
                abs(abs(after[a] - after[b]) - length)
                for (a, b), length in seen.distance.items()
                if a in after and b in after
            ]
            tried.append((max(off), side))
        if len(tried) == 2:
            tried.sort(key=lambda each: each[0])
            if tried[0][0] * 10.0 < tried[1][0]:
                place[name] = tried[0][1]
                return True
    return False


def _two_sides(
    one: tuple[Plan, float], other: tuple[Plan, float], least: float
) -> tuple[Plan, ...]:
    """Return the two places at these distances from two known ones; none where they are flat."""
    (p, a), (q, b) = one, other
    base = abs(q - p)
    if not base:
        return ()
    along = (a * a - b * b + base * base) / (2.0 * base)
    across = float(np.sqrt(max(a * a - along * along, 0.0)))
    if across < least * min(a, b):
        return ()
    unit = (q - p) / base
    return p + unit * (along + 1j * across), p + unit * (along - 1j * across)


def _gathered(sightings: Sequence[Sighted]) -> _Seen:
    seen = _Seen()
    circles: dict[str, _Fan] = {}
    for each in sightings:
        if each.kind is Kind.DISTANCE:
            seen.distance.setdefault((each.i, each.j), each.value)
            seen.joined(each.i, each.j)
        elif each.kind is Kind.AZIMUTH:
            seen.azimuth.setdefault((each.i, each.j), each.value)
            seen.joined(each.i, each.j)
        elif each.kind is Kind.ANGLE:
            seen.add_fan(_Fan(at=each.i, reading={each.j: 0.0, each.k: each.value}))
        elif each.kind is Kind.DIRECTION:
            fan = circles.setdefault(each.k, _Fan(at=each.i, reading={}))
            fan.reading.setdefault(each.j, each.value)
    for fan in circles.values():
        seen.add_fan(fan)
    return seen


def _orient(seen: _Seen, place: Mapping[str, Plan], waiting: list[_Fan]) -> None:
    """Turn fans whose station and one target are known, or one azimuth, into azimuths."""
    while waiting:
        fan = waiting.pop()
        if fan.turned:
            continue
        zero = None
        for target, reading in fan.reading.items():
            azimuth = seen.towards(fan.at, target)
            if fan.at in place and target in place and place[fan.at] != place[target]:
                azimuth = float(np.angle(place[target] - place[fan.at]))
            if azimuth is not None:
                zero = azimuth - reading
                break
        if zero is None:
            continue
        fan.turned = True
        for target, reading in fan.reading.items():
            if (fan.at, target) not in seen.azimuth:
                seen.azimuth[fan.at, target] = zero + reading
                waiting += [other for other in seen.fans_of[target] if not other.turned]
        waiting += [other for other in seen.fans_of[fan.at] if not other.turned]


def _placed(name: str, seen: _Seen, place: Mapping[str, Plan], least: float) -> Plan | None:
    """Return where a station is, by the first way that leads there; None: none does yet."""
    rays: list[tuple[Plan, float]] = []
    rings: list[tuple[Plan, float]] = []
    for other in seen.around[name]:
        if other not in place:
            continue
        azimuth, length = seen.towards(other, name), seen.length(other, name)
        if azimuth is not None and length is not None:
            return complex(place[other] + length * np.exp(1j * azimuth))
        if azimuth is not None:
            rays.append((place[other], azimuth))
        if length is not None:
            rings.append((place[other], length))
    best: tuple[float, Plan] | None = None
    for (p, a), (q, b) in combinations(rays[:_RESECTIONS], 2):
        crossing = abs(float(np.sin(b - a)))
        if crossing > least and (best is None or crossing > best[0]):
            along = float(np.imag((q - p) * np.exp(-1j * b)) / np.sin(a - b))
            best = (crossing, complex(p + along * np.exp(1j * a)))
    if best is not None:
        return best[1]
    found = _by_two_distances(name, rings, rays, seen, place, least)
    return found if found is not None else _by_fans(name, seen, place, least)


def _by_two_distances(
    name: str,
    rings: list[tuple[Plan, float]],
    rays: list[tuple[Plan, float]],
    seen: _Seen,
    place: Mapping[str, Plan],
    least: float,
) -> Plan | None:
    """Return where two distances meet, on the side that another observation fits."""
    best: tuple[float, Plan] | None = None
    for (p, a), (q, b) in combinations(rings[:_RESECTIONS], 2):
        sides = _two_sides((p, a), (q, b), least)
        if not sides:
            continue
        misses = []
        for side in sides:
            miss = [abs(abs(side - r) - c) for r, c in rings if r not in (p, q)]
            miss += [
                abs(float(np.angle(np.exp(1j * (np.angle(side - r) - azimuth))))) * abs(side - r)
                for r, azimuth in rays
            ]
            miss += _fan_misses(name, side, seen, place)
            misses.append(max(miss, default=0.0))
        if abs(misses[0] - misses[1]) <= _ROUGH * min(a, b):
            continue
        better = int(misses[1] < misses[0])
        if best is None or misses[better] < best[0]:
            best = (misses[better], sides[better])
    return None if best is None else best[1]


def _fan_misses(name: str, side: Plan, seen: _Seen, place: Mapping[str, Plan]) -> list[float]:
    """Return how far a place misses angles at it, or at known stations towards it, in metres."""
    found = []
    for fan in seen.fans_of.get(name, ()):
        origin = side if fan.at == name else place.get(fan.at)
        if origin is None:
            continue
        there = [
            (reading, side if target == name else place.get(target))
            for target, reading in fan.reading.items()
        ]
        zeros = [
            (np.angle(target - origin) - reading, abs(target - origin))
            for reading, target in there
            if target is not None
        ]
        for zero, reach in zeros[1:]:
            found.append(abs(float(np.angle(np.exp(1j * (zero - zeros[0][0]))))) * reach)
    return found


def _by_fans(name: str, seen: _Seen, place: Mapping[str, Plan], least: float) -> Plan | None:
    """Return a station from what was seen at it: laid on two known stations, or resected."""
    for fan in seen.fans_of.get(name, ()):
        if fan.at != name:
            continue
        readings = fan.reading.items()
        there = [(place[target], reading) for target, reading in readings if target in place]
        with_length = [
            (place[target], length * np.exp(1j * reading))
            for target, reading in readings
            if target in place and (length := seen.length(name, target)) is not None
        ]
        if len(with_length) >= 2:
            (p, u), (q, v) = with_length[0], with_length[-1]
            if u != v and p != q:
                turn = (q - p) / (v - u)
                return complex(p - u * turn / abs(turn))
        found = _resected(there, least)
        if found is not None:
            return found
    return None


def _resected(there: list[tuple[Plan, float]], least: float) -> Plan | None:
    """Return the point from which three known stations are seen at the observed angles.

    Two circles through the point, each over a chord of known ends and the angle that it is seen
    at, meet in the common end and in the point.
    """
    best: tuple[float, Plan] | None = None
    for (a, ra), (b, rb), (c, rc) in list(combinations(there, 3))[:_RESECTIONS]:
        first, second = rb - ra, rc - rb
        if min(abs(np.sin(first)), abs(np.sin(second))) < least:
            continue
        # A chord seen at the angle t (clockwise from one end to the other) has its centre at
        # the middle + half the chord turned, over tan t.
        one = 0.5 * (a + b) + 0.5j * (a - b) * -1.0 / np.tan(first)
        other = 0.5 * (b + c) + 0.5j * (b - c) * -1.0 / np.tan(second)
        axis = other - one
        if not abs(axis):
            continue
        unit = axis / abs(axis)
        point = one + unit * unit * np.conj(b - one)
        sharp = abs(point - b) / max(abs(a - b), abs(c - b))
        seen = [float(np.angle(end - point)) for end in (a, b, c)]
        off = abs(np.angle(np.exp(1j * (seen[1] - seen[0] - first)))) + abs(
            np.angle(np.exp(1j * (seen[2] - seen[1] - second)))
        )
        if off < 1e-6 and (best is None or sharp > best[0]):
            best = (sharp, complex(point))
    return None if best is None else best[1]
