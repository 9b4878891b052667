"""Places of an alignment that belong to points, as columns."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from checker.geometry.arrays import BoolArray, FloatArray, IntArray


class Foot(IntEnum):
    """What kind of place of the alignment is nearest to a point; arrays hold it as int8.

    ON: the foot of a perpendicular. VERTEX: the point stands outside a kink, where no perpendicular
    reaches it; the nearest place is the vertex itself. BEFORE, PAST: the nearest place is the
    start or the end, and the point lies beyond it. NOWHERE: the point has no position.
    """

    NOWHERE = -1
    ON = 0
    VERTEX = 1
    BEFORE = 2
    PAST = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Feet:
    """Places of an alignment that belong to points; every array has shape (feet,).

    point: index of the point. distance_m: along the alignment; for BEFORE and PAST along the end
    tangent drawn on, so negative before the start. station_m, region: the same as a station.
    offset_m: + right; from the end tangent drawn on for BEFORE and PAST, to the vertex for VERTEX.
    away_m: from the point to the alignment itself, never negative. kind: of `Foot`.
    element: index. rivals: how many other places are as near (to the tolerance asked for); a point
    in the centre of an arc has one more, for the arc as a whole.
    """

    point: IntArray
    distance_m: FloatArray
    station_m: FloatArray
    region: IntArray
    offset_m: FloatArray
    away_m: FloatArray
    kind: npt.NDArray[np.int8]
    element: IntArray
    rivals: IntArray

    def __len__(self) -> int:
        """Return the number of feet."""
        return len(self.point)

    def take(self, rows: IntArray | BoolArray) -> "Feet":
        """Return some of the rows, in the order asked for."""
        return Feet(**{each.name: getattr(self, each.name)[rows] for each in fields(self)})


def join(parts: Sequence[Feet]) -> Feet:
    """Return tables of feet laid end to end."""
    return Feet(
        **{
            each.name: np.concatenate([getattr(part, each.name) for part in parts])
            for each in fields(Feet)
        }
    )


def spread(feet: Feet, finite: BoolArray) -> Feet:
    """Return one row a point, in order, from the rows of the points that have a position.

    finite: shape (points,). The other points get NaN, -1 and NOWHERE.
    """
    columns: dict[str, npt.NDArray[np.generic]] = {}
    for each in fields(feet):
        values = getattr(feet, each.name)
        missing = np.nan if values.dtype.kind == "f" else -1
        column = np.full(finite.size, missing, dtype=values.dtype)
        column[finite] = values
        columns[each.name] = column
    columns["point"] = np.arange(finite.size, dtype=np.int64)
    return Feet(**columns)  # type: ignore[arg-type]  # each column keeps its own dtype
