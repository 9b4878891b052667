"""Where a side slope meets a measured section of the ground: what a slope stake should be set at.

Cut positive, fill negative: existing above design is cut (common practice, no source).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


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
    it is fill. ValueError where the section does not reach the hinge, or the slope never meets it.
    """
    offset = np.asarray(ground_offset_m, dtype=np.float64)
    elevation = np.asarray(ground_elevation_m, dtype=np.float64)
    side = -1.0 if hinge_offset_m < 0.0 else 1.0
    out = side * (offset - hinge_offset_m)
    order = np.argsort(out)
    out, ground = out[order], elevation[order] - hinge_elevation_m
    if not out[0] <= 0.0 <= out[-1]:
        raise ValueError("the ground section does not reach the hinge")
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
        raise ValueError("the side slope does not meet the ground section")
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
