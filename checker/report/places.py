"""Where the rows of a check stand, for the files that draw them."""

from dataclasses import dataclass

import numpy as np

from checker.model.arrays import BoolArray, FloatArray
from checker.model.finding import Finding
from checker.model.measure import Measure, Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Rows as places: design_m, measured_m of shape (rows, 3), north, east, elevation in metres.

    NaN where there is none. superseded: shape (rows,), shots that a later one replaces.
    """

    design_m: FloatArray
    measured_m: FloatArray
    superseded: BoolArray


def places_of(finding: Finding) -> Places | None:
    """Return the places of a check's rows, or None where it compares none.

    Where the design gives only a height (a surface), it stands above or below the shot.
    """
    measure = finding.measure
    measured = _three(measure, "measured")
    design = _three(measure, "design")
    above = np.isnan(design[:, 0]) & np.isfinite(design[:, 2])
    design[above, :2] = measured[above, :2]
    if not np.isfinite(np.concatenate([design[:, :2], measured[:, :2]])).all(axis=1).any():
        return None
    return Places(design_m=design, measured_m=measured, superseded=measure.flags("superseded"))


def _three(measure: Measure, what: str) -> FloatArray:
    columns = {column.key: column for column in measure.columns}
    three = np.full((len(measure.id), 3), np.nan)
    for place, letter in enumerate("nez"):
        column = columns.get(f"{what}_{letter}")
        if column is not None and column.quantity is Quantity.COORDINATE:
            three[:, place] = column.values.astype(np.float64)
    return three
