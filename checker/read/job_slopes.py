"""[[slope_stake]]: stakes where the side slopes meet the ground."""

import re

from checker.model.job import SlopeStakes
from checker.read.job_alignment import alignment_of
from checker.read.job_draft import Draft, positive
from checker.read.job_parts import measured_of, needs_measured, needs_tolerance, section_name
from checker.read.job_tolerances import tolerance_of
from checker.read.toml_tables import Table, quoted
from checker.units import UnitError

_RUN_TO_RISE = re.compile(r"(\d+\.?\d*|\.\d+)\s*:\s*1(?:\.0*)?")


def read_slope_stake(draft: Draft, table: Table) -> None:
    """Read [[slope_stake]]: the hinges beside an alignment, and the slopes from there."""
    name = section_name(draft, table, "Slope stakes")
    needs_measured(draft, table)
    alignment = alignment_of(draft, table)
    if not table.has("alignment"):
        table.missing("alignment", "the alignment from which the hinges lie off")
    left, right = _hinges(draft, table)
    slopes = {}
    for key in ("cut", "fill"):
        slopes[key] = table.parsed(key, parse_side_slope, 'a side slope, run to rise: "2:1"')
        if not table.has(key):
            table.missing(key, 'the side slope, run to rise: "2:1"')
    tolerance = tolerance_of(draft, table)
    needs_tolerance(table, tolerance)
    draft.checks.append(
        SlopeStakes(
            where=table.where,
            name=name,
            tolerance=tolerance,
            alignment=alignment or "",
            measured=measured_of(table),
            hinge_left_m=left,
            hinge_right_m=right,
            cut=slopes["cut"] or 1.0,
            fill=slopes["fill"] or 1.0,
        )
    )


def _hinges(draft: Draft, table: Table) -> tuple[float, float]:
    """Return how far the hinges lie off, left and right: one length, or one for each side."""
    expected = "a length greater than 0, how far the hinge lies from the alignment"
    if not table.has("hinge"):
        table.missing("hinge", "how far the hinge lies from the alignment")
        return 0.0, 0.0
    if not isinstance(table.data["hinge"], dict):
        both = table.parsed("hinge", draft.length, expected, accept=positive)
        return both or 0.0, both or 0.0
    inner = table.table("hinge", "")
    assert inner is not None  # noqa: S101 - it is a dict
    sides = []
    for key in ("left", "right"):
        sides.append(inner.parsed(key, draft.length, expected, accept=positive))
        if not inner.has(key):
            inner.missing(key, expected)
    inner.done()
    return sides[0] or 0.0, sides[1] or 0.0


def parse_side_slope(value: str | float) -> float:
    """Return the run of a side slope for a rise of 1: "2:1" is 2. Raises UnitError."""
    match = _RUN_TO_RISE.fullmatch(str(value).strip())
    if match is None or not float(match[1]) > 0.0:
        raise UnitError(
            f"{quoted(value)} is not a side slope", 'write run to rise, such as "2:1" or "1.5:1"'
        )
    return float(match[1])
