"""Courses of a closed figure of which a bearing or a length is not known: what would close it.

What is known sums to a vector, and the missing courses must bring it back to nothing. Two unknowns
can be solved for: both of one course, two lengths, two bearings, or a bearing and a length (plane
trigonometry, common practice). With one unknown the figure is closed as nearly as it can be.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from checker.geometry.arrays import FloatArray

_PARALLEL = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """A course with a bearing or a length missing; None: not known. Radians, metres."""

    azimuth_rad: float | None
    distance_m: float | None

    @property
    def count(self) -> int:
        """How many of the two are missing."""
        return (self.azimuth_rad is None) + (self.distance_m is None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Azimuth and length of every missing course, in their order. left_m: misclosure left."""

    courses: tuple[tuple[float, float], ...]
    left_m: float


def solve_missing(needed: Sequence[float], unknown: Sequence[Unknown]) -> tuple[Solution, ...]:
    """Return the ways in which the missing courses close a figure; () where there is none.

    needed: (north, east) that they must add up to, metres. unknown: one course or two, with one or
    two unknowns between them. Of two solutions that with the first course further clockwise is
    second. ValueError for more unknowns.
    """
    total = sum(each.count for each in unknown)
    if not 1 <= total <= 2 or any(each.count == 0 for each in unknown):
        raise ValueError(total)
    vector = complex(*needed)
    ways: list[tuple[complex, ...]] = []
    if len(unknown) == 1:
        ways = [(_alone(vector, unknown[0]),)]
    else:
        ways = [tuple(way) for way in _pair(vector, unknown[0], unknown[1])]
    found = []
    for way in ways:
        if any(abs(step) <= 0.0 for step in way):
            continue
        found.append(
            Solution(
                courses=tuple((_azimuth(step), abs(step)) for step in way),
                left_m=abs(vector - sum(way)),
            )
        )
    return tuple(sorted(found, key=lambda each: each.courses[0]))


def _azimuth(step: complex) -> float:
    """Return the azimuth of a step; due north a rounding error west of it is 0, not 360 degrees."""
    azimuth = float(np.angle(step)) % (2.0 * np.pi)
    return 0.0 if 2.0 * np.pi - azimuth < _PARALLEL else azimuth


def _unit(azimuth_rad: float) -> complex:
    """Return the direction of an azimuth, north real and east imaginary."""
    return complex(np.cos(azimuth_rad), np.sin(azimuth_rad))


def _alone(vector: complex, course: Unknown) -> complex:
    if course.azimuth_rad is None and course.distance_m is None:
        return vector
    if course.azimuth_rad is None:
        assert course.distance_m is not None  # noqa: S101  (one of them is known)
        return vector / abs(vector) * course.distance_m if abs(vector) > 0.0 else 0j
    direction = _unit(course.azimuth_rad)
    along = (vector * direction.conjugate()).real
    return direction * max(along, 0.0)


def _pair(vector: complex, first: Unknown, second: Unknown) -> list[tuple[complex, complex]]:
    """Return both courses of every way that closes exactly."""
    if first.azimuth_rad is not None and second.azimuth_rad is not None:
        u, v = _unit(first.azimuth_rad), _unit(second.azimuth_rad)
        cross = (u.conjugate() * v).imag
        if abs(cross) < _PARALLEL:
            return []
        a = (vector.conjugate() * v).imag / cross
        b = (u.conjugate() * vector).imag / cross
        return [(a * u, b * v)] if a > 0.0 and b > 0.0 else []
    if first.azimuth_rad is None and second.azimuth_rad is None:
        assert first.distance_m is not None and second.distance_m is not None  # noqa: S101, PT018
        return _two_bearings(vector, first.distance_m, second.distance_m)
    swapped = first.azimuth_rad is not None
    lost, short = (second, first) if swapped else (first, second)
    assert lost.distance_m is not None and short.azimuth_rad is not None  # noqa: S101, PT018
    direction = _unit(short.azimuth_rad)
    along = (vector * direction.conjugate()).real
    across = (vector * direction.conjugate()).imag
    square = lost.distance_m**2 - across**2
    if square < 0.0:
        return []
    lengths = {along - np.sqrt(square), along + np.sqrt(square)}
    ways = [(vector - length * direction, length * direction) for length in lengths if length > 0]
    return [(b, a) for a, b in ways] if swapped else ways


def _two_bearings(vector: complex, a: float, b: float) -> list[tuple[complex, complex]]:
    """Return the two triangles of sides a, b over a third: mirror images."""
    size = abs(vector)
    if size == 0.0 or size > a + b or size < abs(a - b):
        return []
    along = (size**2 + a**2 - b**2) / (2.0 * size)
    across = np.sqrt(max(a**2 - along**2, 0.0))
    direction = vector / size
    steps = [complex(along, side) * direction for side in {across, -across}]
    return [(step, vector - step) for step in steps]


def what_each_would_be(
    azimuth_rad: FloatArray, distance_m: FloatArray, misclosure_m: Sequence[float]
) -> Mapping[str, FloatArray]:
    """Return what every straight course would have to be to close the figure by itself.

    azimuth_rad, distance_m: shape (courses,). misclosure_m: (north, east), computed minus known.
    Keys: azimuth_rad, distance_m of the course that closes it; left_length_m, left_bearing_m: what
    is left where only its length, or only its bearing, is changed.
    """
    miss = complex(*misclosure_m)
    step = distance_m * np.exp(1j * azimuth_rad)
    needed = step - miss
    along = (needed * np.exp(-1j * azimuth_rad)).real
    return {
        "azimuth_rad": np.mod(np.angle(needed), 2.0 * np.pi),
        "distance_m": np.abs(needed),
        "length_m": np.maximum(along, 0.0),
        "left_length_m": np.abs(needed - np.maximum(along, 0.0) * np.exp(1j * azimuth_rad)),
        "left_bearing_m": np.abs(np.abs(needed) - distance_m),
    }
