"""Trigonometric heights along a traverse: from slope distances, zenith angles, hi and ht.

dz = slope cos(zenith) + hi - ht, or distance / tan(zenith) + hi - ht; with a coefficient of
refraction k also + (1 - k) D^2 / (2 R), D the horizontal distance (common practice, no source).
"""

from dataclasses import dataclass

import numpy as np

from checker.adjust.shares import along_run
from checker.checks.closing import column, item
from checker.model.arrays import FloatArray
from checker.model.books import TraverseBook
from checker.model.measure import Column, Item, Quantity

EARTH_M = 6_371_000.0
"""Mean radius of the earth; what it is off by does not show in a leg."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """Heights of a traverse; shape (legs,), metres, NaN where not observed.

    misclosure_m: computed minus known elevation at the end, NaN where nothing closes them.
    """

    dz_m: FloatArray
    elevation_m: FloatArray
    adjusted_m: FloatArray
    misclosure_m: float

    def columns(self) -> tuple[Column, ...]:
        """Return dz, elevation and adjusted elevation."""
        found = [
            column("dz", "Difference of elevation", Quantity.DISTANCE, self.dz_m),
            column("elevation", "Elevation", Quantity.COORDINATE, self.elevation_m),
        ]
        if np.isfinite(self.adjusted_m).any():
            found.append(
                column(
                    "adjusted_elevation",
                    "Adjusted elevation",
                    Quantity.COORDINATE,
                    self.adjusted_m,
                )
            )
        return tuple(found)

    def items(self) -> tuple[Item, ...]:
        """Return the misclosure in elevation."""
        return (
            item("misclosure_z", "Misclosure in elevation", Quantity.LENGTH, self.misclosure_m),
        )


def heights(
    book: TraverseBook,
    legs: int,
    ground_m: FloatArray,
    *,
    start_m: float,
    rise_m: float,
    refraction: float | None,
    share: bool,
) -> Heights | None:
    """Return the heights of a traverse's legs; None where no leg has what they need.

    ground_m: horizontal distances as measured, shape (legs,). start_m: known elevation of the
    start, rise_m: known rise from start to close; NaN where not known. share: bring the
    misclosure in by distance.
    """
    zenith, slope = book.zenith_rad[:legs], book.slope_m[:legs]
    with np.errstate(invalid="ignore", divide="ignore"):
        rise = np.where(np.isnan(slope), ground_m / np.tan(zenith), slope * np.cos(zenith))
    dz = rise + book.hi_m[:legs] - book.ht_m[:legs]
    if refraction is not None:
        dz = dz + (1.0 - refraction) * ground_m**2 / (2.0 * EARTH_M)
    if not np.isfinite(dz).any():
        return None
    misclosure = float(np.sum(dz)) - rise_m
    elevation = start_m + np.cumsum(dz)
    adjusted = np.full(legs, np.nan)
    if share and np.isfinite(misclosure):
        adjusted = elevation + along_run(misclosure, ground_m)
    return Heights(dz_m=dz, elevation_m=elevation, adjusted_m=adjusted, misclosure_m=misclosure)
