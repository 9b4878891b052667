"""What one blunder would explain of a traverse's misclosure, in words and as tables."""

import numpy as np

from checker.checks.blunders import Search, Suspect, search, settled
from checker.checks.closing import column, length_text
from checker.checks.traverse_directions import sense
from checker.checks.traverse_line import Line, is_observed
from checker.checks.traverse_run import Run
from checker.geometry.plane import wrap_azimuth
from checker.model.measure import Quantity, Supplement
from checker.text import angle_words, signed
from checker.units import ARCSEC

_MOST = 8


def _searched(line: Line, raw: Run, angular: float) -> Search:
    turning = np.isfinite(line.angle_rad)
    return search(
        latitude_m=raw.latitude_m,
        departure_m=raw.departure_m,
        misclosure_m=(raw.misclosure_n_m, raw.misclosure_e_m),
        turned=np.zeros_like(turning) if is_observed(line.section) else turning,
        sense=sense(line.section),
        angular_rad=angular,
    )


def suspected(line: Line, raw: Run, angular: float) -> list[str]:
    """Name the one leg or angle that would explain the misclosure, or say that several would."""
    if line.close is None:
        return []
    found = _searched(line, raw, angular).suspects()
    if not found:
        return []
    size = float(np.hypot(raw.misclosure_n_m, raw.misclosure_e_m))
    if settled(found, size):
        rest = length_text(found[0].left_m, line.section.unit, plus=False)
        says = (
            f"One blunder would explain the misclosure: {_cause(line, found[0])}; "
            f"{rest} would be left. Look at it first; nothing was changed."
        )
        return [says]
    listed = "; ".join(_cause(line, each) for each in found[:4])
    more = f"; and {len(found) - 4} more" if len(found) > 4 else ""
    return [f"Each of these alone would explain the misclosure: {listed}{more}."]


def _cause(line: Line, each: Suspect) -> str:
    at, to = line.at[each.row], line.to[each.row]
    if each.is_angle:
        seconds = each.error / ARCSEC
        size = f"{signed(seconds, 0)}″" if abs(seconds) < 600.0 else angle_words(each.error, 0)
        return f"the angle at {at} (to {to}), observed minus right {size}"
    size = length_text(each.error, line.section.unit)
    return f"the distance {at} to {to}, observed minus right {size}"


def blunder_tables(line: Line, raw: Run, angular: float) -> tuple[Supplement, ...]:
    """Return how plainly each leg and angle would explain the misclosure, the plainest first.

    () where the misclosure is none of a blunder, or nothing explains it.
    """
    if line.close is None:
        return ()
    found = _searched(line, raw, angular)
    if not found.suspects():
        return ()
    shown = found.tried[:_MOST]
    left = np.array([each.left_m for each in shown])
    error = np.array([each.error for each in shown])
    angle = np.array([each.is_angle for each in shown], dtype=np.bool_)
    names = [
        f"angle at {line.at[each.row]} (to {line.to[each.row]})"
        if each.is_angle
        else f"distance {line.at[each.row]} to {line.to[each.row]}"
        for each in shown
    ]
    tried = Supplement(
        key="blunders",
        title="If one measurement were the blunder",
        head="Measurement",
        id=np.array(names, dtype=object),
        columns=(
            column(
                "error", "Observed minus right", Quantity.LENGTH, np.where(angle, np.nan, error)
            ),
            column(
                "error_deg",
                "Observed minus right, angle",
                Quantity.ANGLE,
                np.where(angle, error, np.nan),
            ),
            column("left", "Misclosure left", Quantity.LENGTH, left),
            column(
                "explained",
                "Share explained",
                Quantity.SHARE,
                np.maximum(1.0 - left / found.reach_m, 0.0),
            ),
        ),
        note="Each alone, the plainest first. Nothing was changed by it.",
    )
    return (tried, *_both_ways(line, raw, angular, wide=found.wide))


def _both_ways(line: Line, raw: Run, angular: float, *, wide: bool) -> tuple[Supplement, ...]:
    """Return the stations run from both ends: where one angle is wrong they agree there alone.

    Running back begins with the known closing direction, so every azimuth differs from the one
    forward by the angular misclosure.
    """
    if not wide or np.isnan(angular) or line.close is None:
        return ()
    back = wrap_azimuth(raw.azimuth_rad - sense(line.section) * angular)
    step_n, step_e = line.leg_m * np.cos(back), line.leg_m * np.sin(back)
    # Coordinates of the stations, the start first, from the known end.
    n = line.close[0] - np.concatenate((np.cumsum(step_n[::-1])[::-1], [0.0]))
    e = line.close[1] - np.concatenate((np.cumsum(step_e[::-1])[::-1], [0.0]))
    forward_n = np.concatenate(([line.start[0]], raw.n_m))
    forward_e = np.concatenate(([line.start[1]], raw.e_m))
    coordinate = Quantity.COORDINATE
    return (
        Supplement(
            key="both_ways",
            title="Run forward and backward",
            head="Station",
            id=np.array([line.at[0], *line.to[: line.legs]], dtype=object),
            columns=(
                column("forward_n", "Forward N", coordinate, forward_n),
                column("forward_e", "Forward E", coordinate, forward_e),
                column("backward_n", "Backward N", coordinate, n),
                column("backward_e", "Backward E", coordinate, e),
                column("apart", "Apart", Quantity.LENGTH, np.hypot(n - forward_n, e - forward_e)),
            ),
            note="With one wrong angle the two runs meet at its station alone.",
        ),
    )
