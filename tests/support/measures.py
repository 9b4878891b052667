"""Measures made of bare comparisons, for the tests of verdicts."""

from typing import Any

import numpy as np

from checker.model.job import Tolerance
from checker.model.measure import Comparison, Measure
from tests.support.points import HERE, texts


def measure_of(
    *comparisons: Comparison,
    limit: Tolerance | None,
    by_shots: bool = True,
    rows: int | None = None,
    **fields: Any,
) -> Measure:
    """Return a measure of one row a value, or of so many rows; fields replace what is made up.

    by_shots: row i rests on shot i; else no row rests on a shot, and there are no doubts about any.
    """
    rows = len(comparisons[0].value) if rows is None else rows
    given: dict[str, Any] = {
        "kind": "stakeout",
        "name": "stakes",
        "where": HERE,
        "id": texts([str(101 + row) for row in range(rows)]),
        "columns": (),
        "summary": (),
        "judged_by_row": True,
        "shots": np.arange(rows)[:, None] if by_shots else np.full((rows, 1), -1),
        "used": np.arange(rows if by_shots else 0),
        "unchecked": texts([""] * rows),
        "undecided": texts([""] * rows),
        "said": texts([""] * rows),
        "counted": np.ones(rows, dtype=np.bool_),
    }
    return Measure(**{**given, **fields, "tolerance": limit, "comparisons": comparisons})
