"""Arithmetic of grade stakes: rods, cuts and fills, slope stakes, pipe runs, level tests.

Cut positive, fill negative: existing above design is cut. All of it is common practice of the
trade, no source; the worked examples it is checked against stand in tests/published/geometry.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import FloatArray, GeometryError


class GradeError(GeometryError):
    """A slope or a run that cannot be worked out."""


def grade_rod(instrument_m: npt.ArrayLike, design_m: npt.ArrayLike) -> FloatArray:
    """Return the rod reading that finds design elevation: height of instrument less design."""
    return np.asarray(np.asarray(instrument_m, dtype=np.float64) - np.asarray(design_m))


def cut_of_rods(grade_rod_m: npt.ArrayLike, ground_rod_m: npt.ArrayLike) -> FloatArray:
    """Return cut (+) or fill (-) at a point: grade rod less ground rod."""
    return np.asarray(np.asarray(grade_rod_m, dtype=np.float64) - np.asarray(ground_rod_m))


def rod_from_hub(hub_rod_m: npt.ArrayLike, stake_cut_m: npt.ArrayLike) -> FloatArray:
    """Return the rod reading that finds grade, from the reading on a hub marked with its cut.

    A cut of 7.5 below a hub that reads 5.0 is found at 12.5.
    """
    return np.asarray(np.asarray(hub_rod_m, dtype=np.float64) + np.asarray(stake_cut_m))


@dataclass(frozen=True, slots=True, kw_only=True)
class Catch:
    """Where a side slope meets the ground: offset from the line, + right, and elevation there.

    cut_m: ground less hinge elevation, + cut. out_m: from the hinge, positive.
    """

    offset_m: float
    elevation_m: float
    cut_m: float
    out_m: float
    is_cut: bool


def catch_point(
    hinge_offset_m: float,
    hinge_elevation_m: float,
    ground_offset_m: npt.ArrayLike,
    ground_elevation_m: npt.ArrayLike,
    *,
    cut_slope: float,
    fill_slope: float,
) -> Catch:
    """Return the first place, going outwards, where the side slope from a hinge meets the ground.

    hinge_offset_m: + right, - left; its side is the side of the slope. The ground is a section:
    offsets growing, shape (n,), straight between them. cut_slope, fill_slope: metres out per metre
    up or down (1.5 for 1 1/2 : 1). Ground above the hinge is cut: the slope rises outwards; below
    it is fill. GradeError where the section does not reach the hinge, or the slope never meets it.
    """
    offset = np.asarray(ground_offset_m, dtype=np.float64)
    elevation = np.asarray(ground_elevation_m, dtype=np.float64)
    if offset.ndim != 1 or offset.shape != elevation.shape or offset.size < 2:
        raise GradeError("a ground section needs an offset and an elevation for two shots or more")
    if np.any(np.diff(offset) <= 0.0):
        raise GradeError("the offsets of the ground section do not grow from left to right")
    if not (cut_slope > 0.0 and fill_slope > 0.0):
        raise GradeError("side slopes are metres out per metre up or down, more than 0")
    side = -1.0 if hinge_offset_m < 0.0 else 1.0
    out = side * (offset - hinge_offset_m)
    order = np.argsort(out)
    out, ground = out[order], elevation[order] - hinge_elevation_m
    if not out[0] <= 0.0 <= out[-1]:
        raise GradeError(
            f"the ground section does not reach the hinge at offset {hinge_offset_m:g}",
            "add ground shots",
        )
    at_hinge = float(np.interp(0.0, out, ground))
    is_cut = at_hinge >= 0.0
    rise = 1.0 / cut_slope if is_cut else -1.0 / fill_slope
    beyond = out > 0.0
    out = np.concatenate(([0.0], out[beyond]))
    # How far the ground lies on the far side of the slope line; it is met where this is used up.
    gap = np.concatenate(([at_hinge], ground[beyond])) - rise * out
    gap = gap if is_cut else -gap
    met = np.flatnonzero(gap <= 0.0)
    if not met.size:
        raise GradeError(
            f"the side slope from offset {hinge_offset_m:g} does not meet the ground section",
            "measure the ground farther out",
        )
    last = int(met[0])
    if last == 0:
        reach = 0.0
    else:
        share = gap[last - 1] / (gap[last - 1] - gap[last])
        reach = float(out[last - 1] + share * (out[last] - out[last - 1]))
    cut = rise * reach
    return Catch(
        offset_m=hinge_offset_m + side * reach,
        elevation_m=hinge_elevation_m + cut,
        cut_m=cut,
        out_m=reach,
        is_cut=is_cut,
    )


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


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoPegs:
    """A test of a level's line of sight. error: rise of the line of sight per metre, + upwards."""

    observed_m: float
    true_m: float
    error: float


def two_peg_test(
    reading_a_m: float, reading_b_m: float, to_a_m: float, to_b_m: float, true_m: float
) -> TwoPegs:
    """Return the inclination of the line of sight from readings on two pegs.

    true_m: reading on B less reading on A as it should be, which is elevation of A less that of B
    (known, or from readings in the middle). The error is (observed - true) / (to B - to A).
    """
    if to_b_m == to_a_m:
        raise GradeError(
            "with equal sights the error of the level does not show", "set up nearer to one peg"
        )
    observed = reading_b_m - reading_a_m
    return TwoPegs(
        observed_m=observed, true_m=true_m, error=(observed - true_m) / (to_b_m - to_a_m)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreeWires:
    """A reading of three wires. half_difference_m: upper less lower half interval, near zero."""

    mean_m: float
    interval_m: float
    distance_m: float
    half_difference_m: float


def three_wires(
    upper_m: float, middle_m: float, lower_m: float, stadia: float = 100.0
) -> ThreeWires:
    """Return mean reading and sight length of a three-wire reading, upper being the larger."""
    interval = upper_m - lower_m
    return ThreeWires(
        mean_m=(upper_m + middle_m + lower_m) / 3.0,
        interval_m=interval,
        distance_m=stadia * interval,
        half_difference_m=(upper_m - middle_m) - (middle_m - lower_m),
    )
