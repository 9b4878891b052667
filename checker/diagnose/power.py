"""Which causes a job's data could have shown, and to which they are blind."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from checker.diagnose.evidence import Evidence
from checker.diagnose.hypothesis import LEAST_FOOT_M, Setting
from checker.diagnose.noise import BIAS_M
from checker.lengths import small_text
from checker.model.diagnosis import Power
from checker.model.finding import Finding
from checker.text import fixed
from checker.units import LengthUnit

_SURE = 4.0
"""Standard deviations that an effect must reach before it counts as clearly visible."""
_STEPS = ("session", "base", "day", "file")
_FAR_M = 10_000.0
"""Coordinates below this have no leading digits to lose."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """What the residuals can show. *_m: the least that is clear, metres; small: as a ratio."""

    stakes: int
    marks: int
    heights: int
    middle: tuple[float, float]
    mean_m: float
    mean_z_m: float
    one_z_m: float
    small: float
    spread_m: float
    steps: bool
    on_line: bool
    set_off: bool
    by_number: bool
    zones: bool
    frames: bool


def power(
    evidence: Evidence, setting: Setting, unit: LengthUnit, *, lines: bool
) -> tuple[Power, ...]:
    """Return for every cause of the list whether this data could have shown it, and why.

    lines: some stakeout compares shots with drawn lines.
    """
    seen = _seen(evidence, setting, lines=lines)

    def text(value_m: float) -> str:
        return small_text(value_m, unit)

    return tuple(
        Power(blunder=blunder, could_show=could, says=says)
        for blunder, (could, says) in (
            (blunder, judge(seen, text)) for blunder, judge in _CAUSES.items()
        )
    )


def _seen(evidence: Evidence, setting: Setting, *, lines: bool) -> _Seen:
    flat = np.isfinite(evidence.known[:, 0])
    count = max(int(flat.sum()), 1)
    sigma, tall = (float(np.median(evidence.sigma[:, axis])) for axis in (0, 1))
    plan = evidence.known[flat, :2] if flat.any() else np.zeros((1, 2))
    centre = plan.mean(axis=0)
    arm = float(np.sqrt(np.sum((plan - centre) ** 2)))
    heights = int(np.isfinite(evidence.measured[:, 2] - evidence.known[:, 2]).sum())
    right = np.isfinite(evidence.right[:, 0])
    return _Seen(
        stakes=int((~evidence.control & flat).sum()),
        marks=len(set(evidence.id[evidence.control].tolist())),
        heights=heights,
        middle=(float(centre[0]), float(centre[1])),
        mean_m=_SURE * float(np.hypot(sigma / np.sqrt(count), BIAS_M[0])),
        mean_z_m=_SURE * float(np.hypot(tall / np.sqrt(max(heights, 1)), BIAS_M[1])),
        one_z_m=_SURE * tall,
        small=_SURE * sigma / arm if arm > 0 else np.inf,
        spread_m=arm / np.sqrt(count),
        steps=any(group.by in _STEPS for group in evidence.groups()),
        on_line=lines or bool(right.any()),
        set_off=bool((right & np.isfinite(evidence.set_off_m)).any()),
        by_number=bool(evidence.by_id[~evidence.control & flat].any()),
        zones=setting.zones is not None,
        frames=setting.frames,
    )


_Text = Callable[[float], str]
_Judged = tuple[bool, str]


def _foot(seen: _Seen, text: _Text) -> _Judged:
    size = 2e-6 * float(np.hypot(*seen.middle))
    return size > max(seen.mean_m, LEAST_FOOT_M), (
        f"It would shift every point here by {text(size)}; from {text(seen.mean_m)} on a common "
        "shift is clear."
    )


def _plan(seen: _Seen, _text: _Text) -> _Judged:
    if seen.stakes:
        return True, "Every compared point shows it."
    return False, "No stake is compared with its design."


def _height(seen: _Seen, text: _Text) -> _Judged:
    if not seen.heights:
        return False, "No height is compared."
    return True, (
        f"{seen.heights} points compare heights; a step of {text(seen.mean_z_m)} or more is clear."
    )


def _swapped(seen: _Seen, text: _Text) -> _Judged:
    apart = abs(seen.middle[0] - seen.middle[1])
    if apart > seen.mean_m or seen.spread_m > seen.mean_m:
        return True, f"Northings and eastings here are {text(apart)} apart."
    return False, "Northings and eastings are the same here."


def _mirrored(seen: _Seen, text: _Text) -> _Judged:
    if seen.stakes >= 3 and seen.spread_m > seen.mean_m:
        return True, f"{seen.stakes} stakes with a spread of {text(seen.spread_m)} show it."
    return False, "It takes three stakes or more, spread out."


def _scale(seen: _Seen, _text: _Text) -> _Judged:
    if not np.isfinite(seen.small):
        return False, "A scale shows by the site's own size, from two points on."
    least = f"A scale shows by the site's own size from {fixed(seen.small * 1e6, 0)} ppm on"
    return bool(seen.small < 1e-4), f"{least}."


def _turn(seen: _Seen, _text: _Text) -> _Judged:
    if not np.isfinite(seen.small):
        return False, "A turn shows from two points on."
    seconds = fixed(np.degrees(seen.small) * 3600.0, 0)
    return bool(seen.small < 1e-3), f"A turn shows from {seconds} seconds on."


def _zone(seen: _Seen, _text: _Text) -> _Judged:
    if seen.zones:
        return True, "The grid is named, so others could be tried."
    return False, "No grid that is known is named in [reference], so none could be tried."


def _frame(seen: _Seen, _text: _Text) -> _Judged:
    if seen.frames:
        return True, "The grid is named, so realizations could be tried."
    return False, "No grid with a known datum is named in [reference], so none could be tried."


def _shift(seen: _Seen, text: _Text) -> _Judged:
    if not seen.marks:
        return False, ("Without check shots a fault of measuring and one of the design look alike.")
    return True, f"Stakes and check shots show it from {text(seen.mean_m)} on."


def _digits(seen: _Seen, _text: _Text) -> _Judged:
    if max(abs(value) for value in seen.middle) > _FAR_M:
        return True, "The coordinates have leading digits to lose."
    return False, "The coordinates here are small: they have no leading digits to lose."


def _numbers(seen: _Seen, _text: _Text) -> _Judged:
    if seen.by_number and seen.stakes >= 2:
        return True, "The stakes are matched by number."
    return False, "No two stakes are matched by number: what is matched by place has no number."


def _older(seen: _Seen, text: _Text) -> _Judged:
    if seen.stakes > 4:
        return True, f"Some stakes with one vector show from {text(2.0 * seen.mean_m)} on."
    return False, "It takes five stakes or more: some that share a vector, and some that do not."


def _line(seen: _Seen, text: _Text) -> _Judged:
    if seen.on_line:
        return True, f"Stakes along an alignment or a line show it from {text(seen.mean_m)} on."
    return False, "No stakeout follows an alignment or a line, so across is not known."


def _side(seen: _Seen, _text: _Text) -> _Judged:
    if seen.set_off:
        return True, "The stakes' offset is stated."
    return False, "No stakeout states an offset with a side."


def _base(seen: _Seen, text: _Text) -> _Judged:
    if seen.steps:
        return True, (
            f"Sessions, bases, days or files split the shots; a step of {text(seen.mean_m)} or "
            "more is clear in a large group."
        )
    return False, "Nothing in the files splits the shots into sessions or bases."


def _mark(seen: _Seen, _text: _Text) -> _Judged:
    if seen.marks >= 3:
        return True, "Three marks or more have check shots."
    return False, "It takes check shots on three marks or more."


_CAUSES: dict[str, Callable[[_Seen, _Text], _Judged]] = {
    "foot-definition": _foot,
    "unit-factor": _plan,
    "pole-height": _height,
    "height-constant": _height,
    "geoid-missing": _height,
    "axes-swapped": _swapped,
    "mirrored": _mirrored,
    "grid-ground": _scale,
    "wrong-zone": _zone,
    "rotation": _turn,
    "frame-shift": _frame,
    "shift": _shift,
    "dropped-digits": _digits,
    "transposed-digits": _plan,
    "ids-exchanged": _numbers,
    "stale-revision": _older,
    "wrong-line": _line,
    "wrong-side": _side,
    "base-moved": _base,
    "disturbed-mark": _mark,
    "no-elevation": _height,
}


def closure_power(findings: Sequence[Finding]) -> tuple[Power, ...]:
    """Return what the closures of a job without compared points could have shown."""
    closed = [f for f in findings if f.measure.kind in ("traverse", "levels") and _closes(f)]
    lines = []
    if closed:
        reading = "One reading whose difference fits shows in a misclosure."
        lines += [
            Power(blunder=blunder, could_show=True, says=reading)
            for blunder in ("transposed-digits", "unit-factor")
        ]
    if any(f.measure.kind == "traverse" for f in closed):
        linked = any(f.measure.kind == "traverse" and not _returns(f) for f in closed)
        blind = "A traverse that returns to its start closes whatever {} was."
        for blunder, what in (
            ("rotation", "the start azimuth"),
            ("grid-ground", "the scale of its distances"),
        ):
            says = "A traverse between two known marks shows it." if linked else blind.format(what)
            lines.append(Power(blunder=blunder, could_show=linked, says=says))
    return tuple(lines)


def _closes(finding: Finding) -> bool:
    return bool(np.isfinite(_summary(finding, "misclosure")))


def _returns(finding: Finding) -> bool:
    """Tell whether a traverse ends where it began: only then it has an area."""
    return bool(np.isfinite(_summary(finding, "area")))


def _summary(finding: Finding, key: str) -> float:
    for item in finding.measure.summary:
        if item.key == key and isinstance(item.value, float | int):
            return float(item.value)
    return np.nan
