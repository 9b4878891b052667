"""Rows of comparisons beside stakeouts and control: relative checks, accuracy tests, heights alone.

Shots that a stakeout or the control has used count there and are left out here.
"""

from typing import Final

import numpy as np

from checker.diagnose.rematch import Table, stored_of
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.inputs import Inputs
from checker.model.measure import Measure
from checker.model.points import Points

_MOST_HEIGHTS: Final = 50_000
_FARTHEST: Final = 500
"""Of more heights than the first so many and these: what all have in common shows in them."""
_ALL: Final = slice(None)


def tested_points(measure: Measure, inputs: Inputs) -> Table:
    """Return the rows of an accuracy test: check points and what was measured there."""
    assert inputs.measured is not None  # noqa: S101  (a test has shots)
    shot = measure.shots[:, 0]
    return _table(
        _stack(measure, _ALL, "check_n", "check_e", "check_z"),
        _stack(measure, _ALL, "tested_n", "tested_e", "tested_z"),
        stored_of(inputs.measured, shot),
        shot,
        measure.id,
    )


def related_points(measure: Measure, inputs: Inputs) -> Table:
    """Return the points of a relative check, each against its own design."""
    shots, design = inputs.measured, inputs.design
    assert shots is not None  # noqa: S101  (a check has shots)
    assert design is not None  # noqa: S101  (and a design)
    place = {str(name).strip(): row for row, name in enumerate(design.id.tolist())}
    names = [str(name).strip() for name in shots.id[measure.used].tolist()]
    here = np.array([name in place for name in names], dtype=np.bool_)
    shot = measure.used[here]
    at = np.array([place[name] for name in names if name in place], dtype=np.int64)
    table = _table(
        _places(design, at), _places(shots, shot), stored_of(shots, shot), shot, shots.id[shot]
    )
    both: BoolArray = np.asarray(np.isfinite(table.measured - table.known)[:, :2].all(axis=1))
    return table.picked(both)


def heights_alone(measure: Measure) -> Table:
    """Return the heights of shots on a surface or a line, whose place is the shot's own.

    What is known in plan is NaN there: it was found from the shot, and says nothing of it. Of very
    many an even choice, and those that are farthest off.
    """
    shot = measure.shots[:, 0]
    dz = measure.numbers("measured_z") - measure.numbers("design_z")
    here: BoolArray = np.asarray(np.isfinite(dz))
    here &= (shot >= 0) & (measure.unchecked == "")
    here &= ~np.asarray(measure.column("superseded").values, dtype=np.bool_)
    rows = _choice(np.flatnonzero(here), dz)
    known = _stack(measure, rows, "measured_n", "measured_e", "design_z")
    known[:, :2] = np.nan
    stored = _stack(measure, rows, "sigma_z", "sigma_z")
    stored[:, 0] = np.nan
    measured = _stack(measure, rows, "measured_n", "measured_e", "measured_z")
    return _table(known, measured, stored, shot[rows], measure.id[rows])


def _choice(rows: IntArray, dz: FloatArray) -> IntArray:
    """Return rows that stand for all; dz: shape (all rows,)."""
    if len(rows) <= _MOST_HEIGHTS:
        return rows
    away = np.abs(dz[rows] - np.median(dz[rows]))
    farthest = rows[np.argpartition(away, len(rows) - _FARTHEST)[-_FARTHEST:]]
    return np.union1d(rows[:: -(-len(rows) // _MOST_HEIGHTS)], farthest)


def _table(
    known: FloatArray, measured: FloatArray, stored: FloatArray, shot: IntArray, ids: TextArray
) -> Table:
    rows = len(shot)
    return Table(
        known=known,
        measured=measured,
        lines=np.full((rows, 2), np.nan),
        stored=stored,
        shot=shot,
        id=np.array([str(name).strip() for name in ids.tolist()], dtype=object),
        layer=np.full(rows, "", dtype=object),
        set_off=np.full(rows, np.nan),
    )


def _stack(measure: Measure, rows: IntArray | slice, *keys: str) -> FloatArray:
    return np.column_stack([measure.numbers(key)[rows] for key in keys])


def _places(points: Points, rows: IntArray) -> FloatArray:
    axes = (points.northing_m, points.easting_m, points.elevation_m)
    return np.column_stack([axis[rows] for axis in axes])
