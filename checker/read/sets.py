"""Legs measured in several sets: consecutive rows from the same station to the same station.

They become one row with the means. Angles are meaned about the first, so that 359-59-58 and
0-00-02 give 0; a slope distance with its zenith angle is meaned as the horizontal and the vertical
between the marks that it gives, so that sets with another target height count right.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.geometry.plane import wrap_signed
from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.books import RepeatedSets

FACE_ONE: Final = frozenset(
    (
        "1",
        "i",
        "one",
        "l",
        "left",
        "fl",
        "face left",
        "d",
        "direct",
        "dir",
        "cl",
        "circle left",
        "f1",
    )
)
FACE_TWO: Final = frozenset(
    (
        *("2", "ii", "two", "r", "right", "fr", "face right", "reverse", "reversed"),
        *("rev", "cr", "circle right", "f2"),
    )
)
APART_RAD: Final = np.radians(10.0 / 60.0)
"""Sets of one angle that differ by more are no sets of one angle (our choice, no source)."""
APART: Final = 0.005
"""And distances that differ by more than this share and `APART_M` (our choice, no source)."""
APART_M: Final = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Columns of a traverse book, row by row as it stands in the file; shape (rows,)."""

    line: IntArray
    face: IntArray
    angle_rad: FloatArray
    distance_m: FloatArray
    slope_m: FloatArray
    zenith_rad: FloatArray
    hi_m: FloatArray
    ht_m: FloatArray

    @property
    def horizontal_m(self) -> FloatArray:
        """Horizontal distances, NaN where none was measured."""
        return np.where(
            np.isnan(self.distance_m), self.slope_m * np.sin(self.zenith_rad), self.distance_m
        )


def groups_of(at: list[str], to: list[str]) -> IntArray:
    """Return the number of the leg that every row belongs to; shape (rows,)."""
    new = [
        index == 0 or not at[index] or (at[index], to[index]) != (at[index - 1], to[index - 1])
        for index in range(len(at))
    ]
    return np.asarray(np.cumsum(new) - 1, dtype=np.int64)


def apart(rows: Rows, group: IntArray) -> list[tuple[int, str]]:
    """Return the rows that can be no further set of their leg, each with the part at fault."""
    first = _first_with(group, np.isfinite(rows.angle_rad))
    with np.errstate(invalid="ignore"):
        turned = np.abs(wrap_signed(rows.angle_rad - rows.angle_rad[first])) > APART_RAD
        length = rows.horizontal_m
        lead = length[_first_with(group, np.isfinite(length))]
        longer = np.abs(length - lead) > np.maximum(APART * lead, APART_M)
    found = [(row, "angle") for row in np.flatnonzero(turned).tolist()]
    return found + [(row, "distance") for row in np.flatnonzero(longer).tolist()]


def _first_with(group: IntArray, there: BoolArray) -> IntArray:
    """Return for every row the first row of its leg that has a value; the first of all if none."""
    first: dict[int, int] = {}
    for row, leg in enumerate(group.tolist()):
        if there[row] or leg not in first:
            held = first.get(leg)
            if held is None or (there[row] and not there[held]):
                first[leg] = row
    return np.array([first[leg] for leg in group.tolist()], dtype=np.int64)


def meaned(rows: Rows, group: IntArray) -> tuple[Rows, RepeatedSets | None]:
    """Return one row a leg, and the single sets of legs that have several."""
    count = int(group[-1]) + 1 if group.size else 0
    if count == group.size:
        return rows, None
    start = np.searchsorted(group, np.arange(count))
    size = np.bincount(group, minlength=count)
    first = _first_with(group, np.isfinite(rows.angle_rad))
    off = wrap_signed(rows.angle_rad - rows.angle_rad[first])
    angle = rows.angle_rad[first[start]] + _mean(off, group, count)
    single = size == 1
    angle[single] = rows.angle_rad[start[single]]
    whole = np.isfinite(angle) & ~np.any(rows.angle_rad < 0.0)  # no deflections
    angle[whole] = np.mod(angle[whole], 2.0 * np.pi)
    sloped = np.isfinite(rows.slope_m)
    any_slope = np.bincount(group, weights=sloped, minlength=count) > 0
    hi, ht = rows.hi_m[start], rows.ht_m[start]
    horizontal = _mean(rows.horizontal_m, group, count)
    # The vertical between the marks, as if all sets had the heights of the first.
    set_up = np.nan_to_num(rows.hi_m - rows.ht_m) - np.nan_to_num((hi - ht)[group])
    vertical = _mean(rows.slope_m * np.cos(rows.zenith_rad) + set_up, group, count)
    zenith = np.where(
        any_slope, np.arctan2(horizontal, vertical), _mean(rows.zenith_rad, group, count)
    )
    slope = np.where(any_slope, np.hypot(horizontal, vertical), np.nan)
    for meaned_, plain in ((zenith, rows.zenith_rad), (slope, rows.slope_m)):
        meaned_[single] = plain[start[single]]
    one = Rows(
        line=rows.line[start],
        face=rows.face[start],
        angle_rad=angle,
        distance_m=np.where(
            single, rows.distance_m[start], np.where(any_slope, np.nan, horizontal)
        ),
        slope_m=slope,
        zenith_rad=zenith,
        hi_m=hi,
        ht_m=ht,
    )
    repeated = np.flatnonzero(size[group] > 1)
    return one, RepeatedSets(
        row=group[repeated],
        line=rows.line[repeated],
        face=rows.face[repeated],
        angle_rad=rows.angle_rad[repeated],
        distance_m=rows.horizontal_m[repeated],
    )


def _mean(values: FloatArray, group: IntArray, count: int) -> FloatArray:
    """Return the mean of every leg's values that are there, NaN where none is."""
    there = np.isfinite(values)
    total = np.bincount(group, weights=np.where(there, values, 0.0), minlength=count)
    number = np.bincount(group, weights=there, minlength=count)
    return np.asarray(
        np.divide(total, number, out=np.full(count, np.nan), where=number > 0), dtype=np.float64
    )
