"""Whether the limits that the job states are agreed, and meant as they were read.

Every function returns notices; none of them changes a number or a verdict.
"""

from collections.abc import Iterator

import numpy as np

from checker.checks.selecting import select_points
from checker.errors import InputError, Where
from checker.geometry.neighbours import nearest_other
from checker.model.drawing import Notice
from checker.model.inputs import Inputs
from checker.model.job import Job, Stakeout, Tolerance
from checker.units import Formula, LengthUnit

_PLAN = ("horizontal", "along", "across", "left", "right")
_LENGTHS = (
    *_PLAN,
    *("vertical", "above", "below", "distance", "longer", "shorter", "elevation", "plumb"),
)
_LARGE_M = 0.3048
"""A bare limit from here on may have been meant in a smaller unit: common practice, no source."""
_ENOUGH = 4
"""So many design points are needed to say how far apart they stand."""
_SHOWN = 3


def limit_notices(inputs: Inputs, job: Job) -> list[Notice]:
    """Return what is doubtful about the limits by which the job's checks are judged."""
    used = list(_used(job))
    return [*_unagreed(used), *_large(used, job.unit), *_crowded(inputs, job)]


def _used(job: Job) -> Iterator[tuple[str, Where, Tolerance]]:
    """Yield every check that is judged, by its name, with its place and its tolerance."""
    for name, section in (("control", job.control), ("site fit", job.site_fit)):
        if section is not None and section.tolerance is not None:
            yield name, section.where, section.tolerance
    for check in job.checks:
        if check.tolerance is not None:
            yield check.name, check.where, check.tolerance


def _unagreed(used: list[tuple[str, Where, Tolerance]]) -> list[Notice]:
    placeholders = [each for each in used if each[2].is_placeholder]
    sourceless = [each for each in used if not (each[2].source or "").strip()]
    notices = []
    if placeholders:
        notices.append(
            Notice(
                slug="placeholder-limits",
                where=placeholders[0][1],
                message=f"judged by limits that nobody has agreed to: {_listed(placeholders)}; "
                "put in what your contract says, with its source",
            )
        )
    if sourceless:
        notices.append(
            Notice(
                slug="limits-without-source",
                where=sourceless[0][1],
                message=f"the job does not say where these limits come from: {_listed(sourceless)}",
            )
        )
    return notices


def _listed(used: list[tuple[str, Where, Tolerance]]) -> str:
    names = list(dict.fromkeys(name for name, _, _ in used))
    text = ", ".join(names[:_SHOWN])
    more = len(names) - _SHOWN
    return f"{text} and {more} more" if more > 0 else text


def _large(used: list[tuple[str, Where, Tolerance]], unit: LengthUnit) -> list[Notice]:
    """Return limits of a foot or more that were written without a unit."""
    notices: dict[tuple[str, str], Notice] = {}
    for name, where, tolerance in used:
        for key in _LENGTHS:
            formula = getattr(tolerance, key)
            if formula is None or not _is_large(formula):
                continue
            written = f"{unit.from_metres(formula.constant):.10g}"
            owner = f'tolerance "{tolerance.name}"' if tolerance.name else f'check "{name}"'
            notices.setdefault(
                (owner, key),
                Notice(
                    slug="large-limit",
                    where=where,
                    message=f"{owner}: {key} = {written} was read as {written} {unit.short}; was "
                    f"{written} mm meant? A limit may carry its unit: {key} = "
                    f'"{written} {unit.short}"',
                ),
            )
    return list(notices.values())


def _is_large(formula: Formula) -> bool:
    """Tell whether a limit is a plain number without a unit, and large for staking."""
    plain = formula.bare and not (formula.needs_n or formula.needs_length)
    return plain and formula.constant > _LARGE_M


def _crowded(inputs: Inputs, job: Job) -> list[Notice]:
    """Return limits in plan beside which the design points of their check stand close together."""
    notices = []
    for check in job.checks:
        tolerance = check.tolerance
        if not isinstance(check, Stakeout) or tolerance is None or inputs.design is None:
            continue
        if tolerance.horizontal is None or tolerance.horizontal.needs_length:
            continue
        if tolerance.horizontal.needs_n or check.alignment is not None:
            continue
        try:
            chosen = select_points(inputs.design, check.design, "design", check.where)
        except InputError:
            continue  # the check itself says so
        places = np.column_stack(
            (inputs.design.northing_m[chosen], inputs.design.easting_m[chosen])
        )
        places = np.unique(places, axis=0)
        if len(places) < _ENOUGH:
            continue
        apart = float(np.median(nearest_other(places)[0]))
        limit = tolerance.horizontal.at()
        if limit > 0.25 * apart:
            shown = (job.unit.from_metres(value) for value in (limit, apart))
            texts = [f"{value:.3g} {job.unit.short}" for value in shown]
            notices.append(
                Notice(
                    slug="large-limit",
                    where=check.where,
                    message=f'check "{check.name}": its limit in plan is {texts[0]}, and half of '
                    f"its design points stand within {texts[1]} of another: a shot of the "
                    "neighbour could pass; is the limit meant in this unit?",
                )
            )
    return notices
