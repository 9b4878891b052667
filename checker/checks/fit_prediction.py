"""Scale and rotation of a site fit beside what the projection predicts of them."""

from collections.abc import Iterator

import numpy as np

from checker.geometry.fit import PlaneMove
from checker.geometry.statistics import t_quantile
from checker.model.frame import SiteFrame
from checker.text import fixed, signed
from checker.units import ARCSEC

_SURE = 0.99865
"""One tail of the test of scale and rotation: three sigmas of a normal distribution."""


def about_prediction(plan: PlaneMove | None, frame: SiteFrame | None) -> Iterator[str]:
    """Judge scale and rotation against what the projection predicts: grid on grid is 0 and 0.

    By Student's t of the fit's redundancy, for few marks know little of their own scatter.
    """
    if plan is None or not np.isfinite(plan.sigma_scale):
        return
    ground = 0.0 if frame is None else (1.0 / frame.combined_factor - 1.0) * 1e6
    turned = 0.0 if frame is None else frame.convergence_rad / ARCSEC
    scales = {
        "none, as from grid to grid": 0.0,
        "that from grid to ground": ground,
        "that from ground to grid": -ground,
    }
    turns = {
        "none, as from grid to grid": 0.0,
        "the convergence": turned,
        "the convergence the other way": -turned,
    }
    for what, found, sigma, known, unit in (
        ("Scale", (plan.scale - 1.0) * 1e6, plan.sigma_scale * 1e6, scales, " ppm"),
        ("Rotation", plan.rotation_rad / ARCSEC, plan.sigma_rotation_rad / ARCSEC, turns, "″"),
    ):
        if frame is None:
            known = {next(iter(known)): 0.0}  # noqa: PLW2901
        reach = t_quantile(_SURE, plan.redundancy) * sigma
        fits = [name for name, value in known.items() if abs(found - value) <= reach]
        size = f"{what} {signed(found, 1)}{unit} (σ {fixed(sigma, 1)}{unit})"
        if len(fits) > 1:
            yield f"{size}: too uncertain to tell apart {', '.join(fits)}."
        elif fits:
            yield f"{size} agrees with what is predicted: {fits[0]}."
        else:
            yield (
                f"{size} is explained by nothing that the projection predicts: look for a wrong"
                " mark, a wrong zone, or a mix of grid and ground before using it."
            )


def about_given(plan: PlaneMove | None, frame: SiteFrame | None) -> Iterator[str]:
    """Say how a stated scale and rotation stand to what the projection predicts."""
    if plan is None:
        return
    text = (
        f"As stated the fit scales by {signed((plan.scale - 1.0) * 1e6, 1)} ppm and turns by"
        f" {signed(plan.rotation_rad / ARCSEC, 1)}″; from grid to grid none of both is predicted"
    )
    if frame is not None:
        ground = (1.0 / frame.combined_factor - 1.0) * 1e6
        text += (
            f", from grid to ground {signed(ground, 1)} ppm, and where one side counts from true"
            f" north {signed(frame.convergence_rad / ARCSEC, 0)}″ or its opposite"
        )
    yield f"{text}."
