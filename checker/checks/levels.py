"""Level runs: elevations by height of instrument or from differences, and how they close.

Misclosure is the elevation computed for the closing bench mark minus the known one. Common
practice; tests/published/closures names worked examples.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from checker.adjust.shares import along_run
from checker.checks.closing import (
    column,
    compared,
    item,
    known_points,
    length_text,
    once,
    refuse,
    whole_measure,
)
from checker.checks.level_ends import close_of, start_of
from checker.checks.level_lines import is_net, measure_level_net
from checker.checks.level_page import page_contradictions, page_tables
from checker.checks.level_runs import TURNING_POINT, LevelRun, run_of, run_twice
from checker.checks.level_twice import both_comparisons, both_items, both_tables
from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs
from checker.model.job import Adjust, Job, Levels
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.units import LengthUnit


def measure_levels(section: Levels, inputs: Inputs, _job: Job | None = None) -> Measure:
    """Return how a level run closes, and its elevations before and after the rule.

    One row a point of the book, the start first. Comparisons: misclosure (metres, signed; n
    set-ups, length_m the distance levelled), section (the worst disagreement of a section run
    twice). A page whose booked reductions do not follow from its readings is undecided. Raises
    InputError where book and job do not fit each other.
    """
    if is_net(section, inputs):
        return measure_level_net(section, inputs)
    run = run_of(section, inputs)
    start_m = start_of(section, run, inputs)
    close_m, closes = close_of(section, run, start_m, inputs)
    elevation = start_m + run.rise_m
    misclosure = float(run.rise_m[-1] - (close_m - start_m))
    adjusted, says = _adjusted(section, run, elevation, misclosure)
    setups = float(np.sum(run.setups))
    distance = float(np.sum(run.length_m))
    contradictions = page_contradictions(section, inputs, start_m)
    both = run_twice(run)
    cannot = closes if np.isnan(close_m) else _cannot_limit(section, setups, distance)
    undecided = cannot
    if contradictions:
        more = f" (and {len(contradictions) - 1} more)" if len(contradictions) > 1 else ""
        undecided = f"the page contradicts itself: {contradictions[0]}{more}"
    remarks = [*run.remarks, *_partial(run), *_growing(run, section.unit)]
    if not np.isnan(close_m):
        remarks.insert(
            0,
            f"The run closes {closes}: computed minus known "
            f"{length_text(misclosure, section.unit)}.",
        )
    remarks += says
    remarks += _again(section, run, elevation)
    passed = _on_the_way(run, elevation, inputs, closed=not np.isnan(close_m))
    remarks += [
        f"Bench mark {name} on the way: computed minus known {length_text(miss, section.unit)}."
        for name, miss in passed
    ]
    quantity = Quantity.COORDINATE
    instrument = (
        ()
        if run.instrument_m is None
        else (column("hi", "Height of instrument", quantity, start_m + run.instrument_m),)
    )
    return whole_measure(
        "levels",
        section,
        row_id=np.array(run.point, dtype=object),
        columns=(
            *run.columns,
            *instrument,
            column("elevation", "Elevation", quantity, elevation),
            column("correction", "Correction", Quantity.LENGTH, adjusted - elevation),
            column("adjusted_elevation", "Adjusted elevation", quantity, adjusted),
        ),
        summary=(*_summary(misclosure, distance, setups), *both_items(both)),
        comparisons=(
            _comparison(misclosure, setups, distance, cannot),
            *_passing(passed, setups, distance, cannot),
            *compared(section.tolerance, both_comparisons(section, both), remarks),
        ),
        remarks=[*(f"{text[:1].upper()}{text[1:]}." for text in contradictions), *remarks],
        undecided=undecided,
        supplements=(
            *page_tables(section, inputs, run),
            *both_tables(section, both),
        ),
    )


# ---------------------------------------------------------------- the rule


def _adjusted(
    section: Levels, run: LevelRun, elevation: FloatArray, misclosure: float
) -> tuple[FloatArray, list[str]]:
    """Return adjusted elevations, NaN where no rule was asked for or nothing closes."""
    nothing = np.full(elevation.size, np.nan)
    if section.adjust is Adjust.NONE:
        return nothing, []
    if section.adjust is Adjust.DISTANCE:
        weight, what = run.length_m, "distance"
    elif section.adjust is Adjust.SETUPS:
        weight, what = run.setups, "number of set-ups"
    elif section.adjust is Adjust.LEAST_SQUARES:
        # One line between two known ends: least squares with variances in proportion to length
        # (or to set-ups) shares by them.
        by_length = not np.any(np.isnan(run.length_m))
        weight = run.length_m if by_length else run.setups
        what = "distance" if by_length else "number of set-ups"
    else:
        refuse(
            "adjust",
            section.where,
            f'adjust = "{section.adjust}" is not a rule for a level run',
            'use "none", "distance", "setups" or "least-squares"',
        )
    column_name = "setups" if what == "number of set-ups" else "distance"
    if np.any(np.isnan(weight)):
        refuse(
            "adjust",
            section.where,
            f'adjust = "{section.adjust}" needs the {what} of every section, and {run.path} '
            f"does not give it for {np.count_nonzero(np.isnan(weight))} of {weight.size}",
            f"fill the column {column_name}, or use another rule",
        )
    if np.isnan(misclosure):
        return nothing, ["An open run leaves nothing to share out: no rule was applied."]
    at_end = np.concatenate([[0.0], along_run(misclosure, weight)])
    says = (
        f"The misclosure was shared out in proportion to the {what} so far; an intermediate sight "
        "takes the correction of the foresight of its set-up."
    )
    return np.asarray(elevation + at_end[run.section]), [says]


# ---------------------------------------------------------------- what is handed on


def _cannot_limit(section: Levels, setups: float, distance: float) -> str:
    """Why the tolerance has no value for this book, or ""."""
    limit = section.tolerance.misclosure if section.tolerance is not None else None
    if limit is None:
        return ""
    if limit.needs_length and np.isnan(distance):
        return f'the book has no distances, and the tolerance "{limit.text}" needs them'
    if limit.needs_n and np.isnan(setups):
        return f'the book has no number of set-ups, and the tolerance "{limit.text}" needs it'
    return ""


def _comparison(misclosure: float, setups: float, distance: float, undecided: str) -> Comparison:
    return once(
        "misclosure",
        "Misclosure",
        float("nan") if undecided else misclosure,
        # NaN where the book does not say: a limit that needs it is then NaN too.
        n=setups,
        length_m=distance,
        absent=undecided,
    )


def _summary(misclosure: float, distance: float, setups: float) -> tuple[Item, ...]:
    return (
        item("misclosure", "Misclosure", Quantity.LENGTH, misclosure),
        item("distance", "Distance levelled", Quantity.DISTANCE, distance),
        item("setups", "Set-ups", Quantity.COUNT, setups),
    )


_GROWING = 4
"""So many sections in a row that grow are worth a word: by chance one run in 24 has them so."""


def _growing(run: LevelRun, unit: LengthUnit) -> list[str]:
    """Say so where distances look as if they counted from the start: that widens the limit."""
    length = run.length_m
    if len(length) < _GROWING or np.isnan(length).any() or not np.all(np.diff(length) > 0.0):
        return []
    ends = (float(length.sum()), float(length[-1]))
    whole, last = (length_text(each, unit, plus=False) for each in ends)
    text = f"If they count from the start, the run is {last} long and not {whole}, and a limit by"
    return [f"The distances grow from section to section. {text} distance is tighter than this."]


def _partial(run: LevelRun) -> list[str]:
    """Say so where only some sections have a distance or a number of set-ups."""
    says = []
    for values, what in ((run.length_m, "distance"), (run.setups, "number of set-ups")):
        lacking = int(np.count_nonzero(np.isnan(values)))
        if 0 < lacking < values.size:
            says.append(
                f"{lacking} of {values.size} sections have no {what}: the total is not known."
            )
    return says


def _on_the_way(
    run: LevelRun, elevation: FloatArray, inputs: Inputs, *, closed: bool
) -> list[tuple[str, float]]:
    """Return the bench marks between the ends of the run, with computed minus known elevation."""
    control, known = inputs.control, known_points(inputs)
    found = []
    last = len(run.point) - 1 if closed else len(run.point)
    for row in range(1, last):
        index = known.get(run.point[row])
        if control is None or index is None or np.isnan(control.elevation_m[index]):
            continue
        found.append((run.point[row], float(elevation[row] - control.elevation_m[index])))
    return found


def _passing(
    passed: Sequence[tuple[str, float]], setups: float, distance: float, cannot: str
) -> tuple[Comparison, ...]:
    """Return how the bench mark on the way that is missed by most is missed; a hint, no closure.

    The mark may have moved, or be another one; or the run is wrong up to it and back.
    """
    known = [each for each in passed if np.isfinite(each[1])]
    if not known or cannot:
        return ()
    name, miss = max(known, key=lambda each: abs(each[1]))
    label = f"bench mark {name} on the way is missed by"
    return (replace(once("misclosure", label, miss, n=setups, length_m=distance), hint=True),)


def _again(section: Levels, run: LevelRun, elevation: FloatArray) -> list[str]:
    """Say how marks agree that the run carried more than once, its two ends left aside."""
    last = len(run.point) - 1
    ends = {run.point[0]} if run.point[0] == run.point[last] else set()
    first: dict[str, int] = {}
    says = []
    for row, name in enumerate(run.point):
        between = run.between is not None and bool(run.between[row])
        if between or name in ends or TURNING_POINT.fullmatch(name):
            continue
        if name in first:
            difference = float(elevation[row] - elevation[first[name]])
            says.append(
                f"{name} was reached again: later minus earlier "
                f"{length_text(difference, section.unit)}."
            )
        first.setdefault(name, row)
    return says
