"""Arithmetic of grade stakes: rods, cuts and fills, slope stakes, pipe runs.

Cut positive, fill negative: existing above design is cut. All of it is common practice of the
trade, no source; the worked examples it is checked against stand in tests/published/geometry.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, GeometryError


class GradeError(GeometryError):
    """A slope or a run that cannot be worked out."""


def cut_of_rods(grade_rod_m: npt.ArrayLike, ground_rod_m: npt.ArrayLike) -> FloatArray:
    """Return cut (+) or fill (-) at a point: grade rod less ground rod."""
    return np.asarray(np.asarray(grade_rod_m, dtype=np.float64) - np.asarray(ground_rod_m))


def rod_from_hub(hub_rod_m: npt.ArrayLike, stake_cut_m: npt.ArrayLike) -> FloatArray:
    """Return the rod reading that finds grade, from the reading on a hub marked with its cut.

    A cut of 7.5 below a hub that reads 5.0 is found at 12.5.
    """
    return np.asarray(np.asarray(hub_rod_m, dtype=np.float64) + np.asarray(stake_cut_m))


def slope_stake_offset(
    half_base_m: npt.ArrayLike, slope: npt.ArrayLike, cut_m: npt.ArrayLike
) -> FloatArray:
    """Return how far out a slope stake stands for the cut or fill found at it: d = b/2 + s |h|.

    The height is that at the stake, not at the centre line: move until both agree.
    """
    height = np.abs(np.asarray(cut_m, dtype=np.float64))
    return np.asarray(np.asarray(half_base_m, dtype=np.float64) + np.asarray(slope) * height)


@dataclass(frozen=True, slots=True, kw_only=True)
class PipeRun:
    """One run of pipe between two inverts.

    grade: fall per metre of horizontal length, + falling from the inlet to the outlet; negative is
    a run against the flow. fall_m: inlet less outlet invert.
    """

    invert_in_m: float
    invert_out_m: float
    length_m: float

    def __post_init__(self) -> None:
        """Refuse a run without length."""
        if not self.length_m > 0.0:
            raise GradeError(f"a pipe run has a length of {self.length_m:g}, expected more than 0")

    @property
    def fall_m(self) -> float:
        """By how much the outlet lies lower."""
        return self.invert_in_m - self.invert_out_m

    @property
    def grade(self) -> float:
        """Fall per metre."""
        return self.fall_m / self.length_m

    def invert_at(self, distance_m: npt.ArrayLike) -> FloatArray:
        """Return design inverts at distances from the inlet; NaN beyond the run."""
        distance = np.asarray(distance_m, dtype=np.float64)
        on = (distance >= 0.0) & (distance <= self.length_m)
        return np.where(on, self.invert_in_m - self.grade * distance, np.nan)


def pipe_run(invert_in_m: float, grade: float, length_m: float) -> PipeRun:
    """Return the run that leaves an invert with a grade, + falling."""
    return PipeRun(
        invert_in_m=invert_in_m, invert_out_m=invert_in_m - grade * length_m, length_m=length_m
    )
