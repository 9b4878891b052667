"""Rules that bring a traverse to its known end, side by side.

Every rule starts from the same latitudes and departures, with the angular misclosure shared out
before; least squares starts from what was observed.
"""

from collections.abc import Mapping

import numpy as np

from checker.adjust.shares import compass_rule, crandall_rule, transit_rule
from checker.checks.closing import column, refuse
from checker.checks.traverse_line import Line
from checker.checks.traverse_net import by_least_squares
from checker.checks.traverse_run import Run, area_of, moved_to
from checker.geometry.plane import wrap_signed
from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs
from checker.model.job import Adjust
from checker.model.measure import Quantity, Supplement

RULES = {
    Adjust.COMPASS: "Compass rule: latitudes and departures were corrected in proportion to the "
    "lengths of the legs.",
    Adjust.TRANSIT: "Transit rule: latitudes were corrected in proportion to their size, and "
    "departures likewise.",
    Adjust.CRANDALL: "Crandall's rule: directions were held and the lengths corrected by least "
    "squares, their variances in proportion to the lengths.",
}
NAMES = {
    Adjust.COMPASS: "compass",
    Adjust.TRANSIT: "transit",
    Adjust.CRANDALL: "Crandall",
    Adjust.LEAST_SQUARES: "least squares",
}
_ALIKE = (
    "All start from the same latitudes and departures, angles shared out before; least squares "
    "from what was observed. The rows below are those of the rule that is used."
)
_MOST_LEGS = 2000
"""Longer traverses are compared by the classic rules alone, unless least squares is the one."""


def adjusted_runs(
    line: Line, run: Run, inputs: Inputs, remarks: list[str], aside: list[str]
) -> Mapping[Adjust, Run | None]:
    """Return the run after every rule, in the order of `NAMES`; None: it cannot be applied.

    Empty where no rule was asked for, or where nothing closes. remarks takes what must be said of
    the rule that was asked for, aside what of the others.
    """
    chosen = line.section.adjust
    if chosen is Adjust.NONE or line.close is None:
        return {}
    if chosen not in NAMES:
        refuse(
            "adjust",
            line.section.where,
            f'adjust = "{chosen}" is not a rule for a traverse',
            'use "none", "compass", "transit", "crandall" or "least-squares"',
        )
    found: dict[Adjust, Run | None] = {}
    for rule in NAMES:
        if rule is Adjust.LEAST_SQUARES:
            if chosen is not rule and line.legs > _MOST_LEGS:
                continue
            courses = by_least_squares(line, inputs, remarks if chosen is rule else aside)
            found[rule] = None if courses is None else moved_to(line, *courses)
            continue
        corrections = _corrections(rule, line, run)
        if corrections is None:
            (remarks if chosen is rule else aside).append(
                "Crandall's rule cannot be applied: the legs run in one direction, and no lengths "
                "of them would close it."
            )
            found[rule] = None
            continue
        found[rule] = moved_to(
            line, run.latitude_m + corrections[0], run.departure_m + corrections[1]
        )
    return found


def _corrections(rule: Adjust, line: Line, run: Run) -> tuple[FloatArray, FloatArray] | None:
    miss = run.misclosure_n_m, run.misclosure_e_m
    if rule is Adjust.COMPASS:
        return compass_rule(line.leg_m, *miss)
    by_size = transit_rule if rule is Adjust.TRANSIT else crandall_rule
    return by_size(run.latitude_m, run.departure_m, line.leg_m, *miss)


def by_rule(
    line: Line, run: Run, runs: Mapping[Adjust, Run | None], aside: list[str]
) -> tuple[Supplement, ...]:
    """Return what every rule changes, and the coordinates that each gives; () without a rule."""
    there = {rule: found for rule, found in runs.items() if found is not None}
    if not there:
        return ()
    length, angle = Quantity.LENGTH, Quantity.SMALL_ANGLE
    rows = []
    for found in there.values():
        moved = np.hypot(found.n_m - run.n_m, found.e_m - run.e_m)
        turned = wrap_signed(found.azimuth_rad - run.azimuth_rad)
        stretched = np.hypot(found.latitude_m, found.departure_m) - line.leg_m
        rows.append(
            (
                float(np.max(moved[:-1], initial=0.0)),
                float(np.nanmax(np.abs(turned), initial=0.0)),
                float(np.max(np.abs(stretched), initial=0.0)),
                area_of(line, found),
            )
        )
    shift, turn, stretch, area = np.array(rows, dtype=np.float64).T
    used = np.array(
        ["this rule" if rule is line.section.adjust else "" for rule in there], dtype=object
    )
    changes = Supplement(
        key="rules",
        title="What each rule changes",
        head="Rule",
        id=np.array([NAMES[rule] for rule in there], dtype=object),
        columns=(
            column("used", "Shown below", Quantity.TEXT, used),
            column("largest_shift", "Largest move of a station", length, shift),
            column("largest_turn_arcsec", "Largest turn of a course", angle, turn),
            column("largest_stretch", "Largest change of a length", length, stretch),
            column("area", "Area", Quantity.AREA, area),
        ),
        note=" ".join((_ALIKE, *aside)),
    )
    coordinates = Supplement(
        key="coordinates_by_rule",
        title="Coordinates by each rule",
        head="Station",
        id=np.array(line.to[: line.legs], dtype=object),
        columns=tuple(
            column(
                f"{rule.value.replace('-', '_')}_{axis}",
                f"{axis.upper()}, {NAMES[rule]}",
                Quantity.COORDINATE,
                found.n_m if axis == "n" else found.e_m,
            )
            for rule, found in there.items()
            for axis in ("n", "e")
        ),
        detail=True,
    )
    return changes, coordinates
