"""Rows of comparisons; and those that were never matched, because all lies too far off.

Where stakes are matched by place, a blunder of kilometres leaves nothing to compare. Then design
and shots are paired by their numbers, where both have the same; else by what exchanged axes,
another unit, a mirror, lost digits, another zone or a plain shift would make of the design.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.inputs import Inputs
from checker.model.measure import Measure
from checker.model.points import Points
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT

_MATCHED = 0.5
"""Where more than this share found its design by place, the match stands."""
_FEW = 3
_NEAR_M = 0.5
"""How near a changed design must come to the shots to be taken for theirs."""
_RATIOS = (
    *(M_PER_FOOT, 1.0 / M_PER_FOOT, M_PER_US_SURVEY_FOOT, 1.0 / M_PER_US_SURVEY_FOOT),
    *(12.0, 1.0 / 12.0, 0.0254, 1.0 / 0.0254, 1000.0, 0.001, 100.0, 0.01),
    *(304.8, 1.0 / 304.8),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of known and as-measured points. known, measured: shape (rows, 3), metres.

    lines: shape (rows, 2), along and across; stored: shape (rows, 2), standard deviations of a plan
    axis and of the height; NaN where there are none. set_off: shape (rows,), how far right of the
    alignment the design lies, NaN without one. by_id: paired by number.
    """

    known: FloatArray
    measured: FloatArray
    lines: FloatArray
    stored: FloatArray
    shot: IntArray
    id: TextArray
    layer: TextArray
    set_off: FloatArray
    by_id: bool = True

    def picked(self, rows: BoolArray) -> "Table":
        """Return some of the rows."""
        return Table(
            known=self.known[rows],
            measured=self.measured[rows],
            lines=self.lines[rows],
            stored=self.stored[rows],
            shot=self.shot[rows],
            id=self.id[rows],
            layer=self.layer[rows],
            set_off=self.set_off[rows],
            by_id=self.by_id,
        )


def table_of(measure: Measure, rows: IntArray) -> Table:
    """Return these rows of a stakeout or of the control."""

    def stack(*keys: str) -> FloatArray:
        return np.column_stack([measure.numbers(key)[rows] for key in keys])

    return Table(
        known=stack("design_n", "design_e", "design_z"),
        measured=stack("measured_n", "measured_e", "measured_z"),
        lines=stack("along", "across"),
        stored=stack("sigma_h", "sigma_z") / (np.sqrt(2.0), 1.0),
        shot=measure.shots[rows, 0],
        id=measure.id[rows],
        layer=_layers(measure, rows),
        set_off=measure.numbers("design_offset")[rows],
    )


def repeats_of(measure: Measure) -> Table:
    """Return the later shots of marks against their first ones."""

    def stack(*keys: str) -> FloatArray:
        return np.column_stack([measure.numbers(key) for key in keys])

    table = Table(
        known=stack("first_n", "first_e", "first_z"),
        measured=stack("later_n", "later_e", "later_z"),
        lines=np.full((len(measure.id), 2), np.nan),
        stored=stack("sigma_h", "sigma_z") / (np.sqrt(2.0), 1.0),
        shot=measure.shots[:, 0],
        id=measure.id,
        layer=np.full(len(measure.id), "", dtype=object),
        set_off=np.full(len(measure.id), np.nan),
    )
    there: BoolArray = np.asarray(np.isfinite(table.measured - table.known)[:, :2].all(axis=1))
    return table.picked(there)


def _layers(measure: Measure, rows: IntArray) -> TextArray:
    for column in measure.columns:
        if column.key == "layer":
            return column.values[rows].astype(object)
    return np.full(len(rows), "", dtype=object)


def rematched(
    measure: Measure, rows: IntArray, inputs: Inputs, free: IntArray, crs: str | None
) -> Table | None:
    """Return a stakeout's rows paired anew; None where the match by place stands, or none is found.

    rows: those that were matched. free: shots that may belong to it.
    """
    shots = inputs.measured
    design = np.flatnonzero(np.isfinite(measure.numbers("design_n")))
    if shots is None or len(rows) > _MATCHED * min(len(design), len(free)):
        return None
    if min(len(design), len(free)) < _FEW:
        return None
    known = np.column_stack([measure.numbers(f"design_{axis}")[design] for axis in "nez"])
    there = np.column_stack((shots.northing_m, shots.easting_m, shots.elevation_m))[free]
    names = [str(name).strip() for name in measure.id[design].tolist()]
    by_id = _by_number(names, [str(x).strip() for x in shots.id[free].tolist()])
    pairs = by_id if by_id is not None else _by_shape(known, there, crs)
    if pairs is None:
        return None
    target, at = pairs
    return Table(
        known=known[target],
        measured=there[at],
        lines=np.full((len(target), 2), np.nan),
        stored=stored_of(shots, free[at]),
        shot=free[at],
        id=measure.id[design[target]],
        layer=_layers(measure, design[target]),
        set_off=np.full(len(target), np.nan),
        by_id=by_id is not None,
    )


def stored_of(shots: Points, rows: IntArray) -> FloatArray:
    """Return the standard deviations of a plan axis and of the height, NaN where none are shown."""
    quality = shots.quality
    flat = np.full(len(rows), np.nan)
    if quality.sigma_h_m is not None:
        flat = quality.sigma_h_m[rows] / np.sqrt(2.0)
    elif quality.sigma_n_m is not None and quality.sigma_e_m is not None:
        flat = np.hypot(quality.sigma_n_m[rows], quality.sigma_e_m[rows]) / np.sqrt(2.0)
    tall = np.full(len(rows), np.nan) if quality.sigma_z_m is None else quality.sigma_z_m[rows]
    return np.column_stack((flat, tall))


def _by_number(design: list[str], shots: list[str]) -> tuple[IntArray, IntArray] | None:
    """Return pairs of equal numbers, the last shot of each; None where few shots have one."""
    last = {name: place for place, name in enumerate(shots) if name}
    pairs = [(row, last[name]) for row, name in enumerate(design) if name in last]
    if len(pairs) < _FEW or len(pairs) < _MATCHED * min(len(design), len(last)):
        return None
    found = np.array(pairs, dtype=np.int64)
    return found[:, 0], found[:, 1]


def _by_shape(
    known: FloatArray, there: FloatArray, crs: str | None
) -> tuple[IntArray, IntArray] | None:
    """Return pairs by what would bring the design to the shots; None where nothing does."""
    from scipy.spatial import KDTree

    for change in _changes(known, there, crs):
        moved = change(known)[:, :2]
        if not np.isfinite(moved).all():
            continue
        apart, near = KDTree(moved).query(there[:, :2])
        size = max(1.0, float(np.ptp(moved, axis=0).max() / max(np.ptp(known, axis=0).max(), 1e-9)))
        close = np.flatnonzero(np.asarray(apart) < _NEAR_M * min(size, 50.0))
        target, first = np.unique(np.asarray(near)[close], return_index=True)
        if len(target) >= max(_FEW, 0.6 * min(len(known), len(there))):
            return target.astype(np.int64), close[first]
    return None


_Change = Callable[[FloatArray], FloatArray]


def _changes(known: FloatArray, there: FloatArray, crs: str | None) -> Iterator[_Change]:
    """Yield what may have been done to all points, the simplest first."""
    yield lambda p: p[:, [1, 0, 2]]
    for factor in _RATIOS:
        yield lambda p, f=factor: p * f  # type: ignore[misc]
    for flip in ((-1.0, 1.0, 1.0), (1.0, -1.0, 1.0)):
        yield lambda p, f=flip: p * f  # type: ignore[misc]
    gap = np.median(there, axis=0) - np.median(known, axis=0)
    for unit in (1.0, M_PER_FOOT, M_PER_US_SURVEY_FOOT):
        whole = np.array((*np.round(gap[:2] / unit / 1000.0) * 1000.0 * unit, 0.0))
        yield lambda p, by=whole: p + by  # type: ignore[misc]
    if float(np.hypot(*gap[:2])) > 1000.0 and crs is not None:
        from checker.diagnose.frames import zones_of

        zones = zones_of(crs)
        for zone in () if zones is None else zones(known, there):
            yield zone.apply
    yield lambda p: p + np.array((gap[0], gap[1], 0.0))
