"""Which causes a job's data could have shown, and to which they are blind."""

import numpy as np

from checker.diagnose.causes import Setting
from checker.diagnose.evidence import Evidence
from checker.diagnose.noise import BIAS_M
from checker.model.diagnosis import Power
from checker.text import fixed
from checker.units import LengthUnit

_SURE = 4.0
"""Standard deviations that an effect must reach before it counts as clearly visible."""


def power(evidence: Evidence, setting: Setting, unit: LengthUnit) -> tuple[Power, ...]:
    """Return for the causes that depend on the site whether this data could have shown them."""
    count = len(evidence)
    sigma = float(np.median(evidence.sigma[:, 0]))
    tall = float(np.median(evidence.sigma[:, 1]))
    mean = _SURE * float(np.hypot(sigma / np.sqrt(count), BIAS_M[0]))
    mean_z = _SURE * float(np.hypot(tall / np.sqrt(count), BIAS_M[1]))
    plan = evidence.known[:, :2]
    centre = plan.mean(axis=0)
    arm = float(np.sqrt(np.sum((plan - centre) ** 2)))
    size = 2e-6 * float(np.hypot(*centre))
    heights = int(np.isfinite(evidence.measured[:, 2] - evidence.known[:, 2]).sum())
    control = bool(evidence.control.any())
    named = bool(setting.shifts_m) or setting.zones is not None

    def length(value_m: float) -> str:
        return f"{fixed(unit.from_metres(value_m), 3)} {unit.short}"

    small = _SURE * sigma / arm if arm > 0 else np.inf
    lines = [
        Power(
            blunder="foot-definition",
            could_show=size > mean,
            says=f"It would shift every point here by {length(size)}; from {length(mean)} on a "
            "common shift is clear.",
        ),
        Power(
            blunder="grid-ground",
            could_show=bool(small < 1e-4),
            says="A scale shows by the site's own size from "
            + (f"{fixed(small * 1e6, 0)} ppm on." if np.isfinite(small) else "two points on."),
        ),
        Power(
            blunder="rotation",
            could_show=bool(small < 1e-3),
            says="A turn shows from "
            + (
                f"{fixed(np.degrees(small) * 3600.0, 0)} seconds on."
                if np.isfinite(small)
                else "two points on."
            ),
        ),
        Power(
            blunder="pole-height",
            could_show=heights > 0,
            says=f"{heights} points compare heights; a step of {length(mean_z)} or more is clear."
            if heights
            else "No height is compared.",
        ),
        Power(
            blunder="wrong-zone",
            could_show=named,
            says="The grid is named, so others could be tried."
            if named
            else "No grid that is known is named in [reference], so none could be tried.",
        ),
        Power(
            blunder="frame-shift",
            could_show=bool(setting.shifts_m),
            says="The grid is named, so realizations could be tried."
            if setting.shifts_m
            else "No grid with a known datum is named in [reference], so none could be tried.",
        ),
        Power(
            blunder="wrong-line",
            could_show=bool(np.isfinite(evidence.right[:, 0]).any()),
            says="Stakes along an alignment show it."
            if np.isfinite(evidence.right[:, 0]).any()
            else "No stakeout names an alignment, so across is not known.",
        ),
        Power(
            blunder="disturbed-mark",
            could_show=len(set(evidence.id[evidence.control].tolist())) >= 3,
            says="Three marks or more have check shots."
            if len(set(evidence.id[evidence.control].tolist())) >= 3
            else "It takes check shots on three marks or more.",
        ),
        Power(
            blunder="base-moved",
            could_show=any(
                group.by in ("session", "base", "day", "file") for group in evidence.groups()
            ),
            says="Sessions, bases, days or files split the shots."
            if any(group.by in ("session", "base", "day", "file") for group in evidence.groups())
            else "Nothing in the files splits the shots into sessions or bases.",
        ),
    ]
    if not control:
        lines.append(
            Power(
                blunder="shift",
                could_show=False,
                says="Without check shots a fault of measuring and one of the design look alike.",
            )
        )
    return tuple(lines)
