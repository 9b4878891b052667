"""What a check hands to the verdicts: numbers with their units, not yet judged."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from checker.errors import Where
from checker.model.arrays import BoolArray, CodeArray, FloatArray, IntArray, TextArray
from checker.model.job import Tolerance


class Quantity(StrEnum):
    """What a number is, so that the report can give it a unit and decimals."""

    COORDINATE = "coordinate"  # metres
    LENGTH = "length"  # metres, shown to the tolerance's decimals
    FINE = "fine length"  # metres, one decimal more: residuals and precisions of an adjustment
    DISTANCE = "distance"  # metres, a long one: legs, perimeters
    STATION = "station"  # metres along an alignment, shown as 10+00.00
    AREA = "area"  # square metres
    VOLUME = "volume"  # cubic metres
    ANGLE = "angle"  # radians, shown in degrees, minutes, seconds
    SMALL_ANGLE = "small angle"  # radians, shown in arc seconds
    RATIO = "ratio"  # the N of 1:N
    GRADE = "grade"  # rise per length, shown in percent
    PROBABILITY = "probability"  # 0 to 1
    SHARE = "share"  # of a whole, 0 to 1
    PPM = "ppm"  # parts per million
    HOURS = "hours"
    NUMBER = "number"  # a plain number without a unit, shown to three decimals
    COUNT = "count"
    TEXT = "text"
    FLAG = "flag"
    CUT_FILL = "cut/fill"  # metres, above design positive; shown as C or F


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of a check's table; values has shape (rows,): float, bool, or str objects.

    key: its name in results.json and results.csv. detail: left out of the page's main table.
    angular: shape (rows,), where a column of lengths holds an angle (radians; outside in decimal
    degrees) instead; such a column is a detail.
    """

    key: str
    label: str
    quantity: Quantity
    values: npt.NDArray[np.generic]
    detail: bool = False
    angular: BoolArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One number of a check's summary; None where it does not exist (shown as a dash)."""

    key: str
    label: str
    quantity: Quantity
    value: float | str | bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Supplement:
    """A further table of a check, which shows what its rows have no place for.

    key: its name in results.json. id: shape (rows,); head: what stands above it. note: a sentence
    that goes with it, or "". comparison: what of its rows a tolerance may limit; the verdicts add
    the limit, its share and a verdict as columns, and leave the check's verdict alone. detail: left
    out of a report of one page, like tables of coordinates.
    """

    key: str
    title: str
    head: str
    id: TextArray
    columns: tuple[Column, ...]
    note: str = ""
    detail: bool = False
    comparison: "Comparison | None" = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Something that a tolerance may limit, for every row or once for the whole check.

    limit: the tolerance's key that limits it (horizontal, vertical, along, across, distance,
    elevation, angular, misclosure, ratio); where the tolerance has no such key it is not judged.
    value: shape (rows,) or (1,); signed, or the radial offset of `vector`. Metres or radians;
    for ratio, misclosure / length. sigma: one standard deviation of value; radial for a vector.
    vector, vector_sigma: shape (rows, 2), north and east, for a two-dimensional offset;
    vector_correlation: shape (rows,), of the two; None: independent.
    n, length_m: what a formula of the tolerance is taken at; shape () or as value.
    pair_correlation: shape (rows,), of along and across: how their errors hang together.
    absent: why a value is NaN, shape as value; absent_verdict: what that makes of the row.
    applies: shape as value, False where the row is of another kind and is not to be compared in
    this way at all; None: all are. hint: a value over its limit is only a reason for doubt, which
    leaves the row undecided and never outside.
    """

    limit: str
    label: str
    value: FloatArray
    sigma: FloatArray | None = None
    vector: FloatArray | None = None
    vector_sigma: FloatArray | None = None
    vector_correlation: FloatArray | None = None
    pair_correlation: FloatArray | None = None
    n: FloatArray | None = None
    length_m: FloatArray | None = None
    absent: TextArray | None = None
    absent_verdict: CodeArray | None = None
    applies: BoolArray | None = None
    hint: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """How the rows lie to an earlier revision of the design.

    words: what the revision is called in a sentence. comparisons: as the measure's own, NaN where
    that revision has no such point or has it in the same place. move_m: shape (rows, 3), its place
    less that of this design, north, east and up; NaN where it has no such point; None: not known.
    """

    words: str
    comparisons: tuple[Comparison, ...]
    move_m: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """The outcome of one check before any tolerance is looked at.

    kind: as in results.json (stakeout, control, traverse, levels, repeats ...).
    id: shape (rows,); what the rows are called. columns: the further cells of the table.
    comparisons: each with one value a row, or all with one value for the check.
    judged_by_row: True: every row gets a verdict and the check's is the worst of those that count;
    False: rows only show, the check gets one verdict.
    shots: shape (rows, s), indices of the as-measured points on which the row rests; -1: none.
    used: indices of the as-measured points that the check compared with something.
    unchecked, undecided: shape (rows,), why the row cannot be judged, or "".
    said: shape (rows,), what must be said of a row without changing its verdict, or "".
    counted: shape (rows,), False for superseded rows and rows that are only listed.
    whole_unchecked, whole_undecided: the same for the check as one, or "".
    supplements: further tables, in the order in which a reviewer reads them. earlier: earlier
    revisions of the design, which change no verdict. station_digits: how many digits stand behind
    the plus of a station; 0: as the unit has it. as_built: the rows are of what was built, not of
    stakes, so nothing of them goes on a lath.
    """

    kind: str
    name: str
    where: Where
    tolerance: Tolerance | None
    id: TextArray
    columns: tuple[Column, ...]
    summary: tuple[Item, ...]
    comparisons: tuple[Comparison, ...]
    judged_by_row: bool
    shots: IntArray
    used: IntArray
    unchecked: TextArray
    undecided: TextArray
    said: TextArray
    counted: BoolArray
    whole_unchecked: str = ""
    whole_undecided: str = ""
    remarks: tuple[str, ...] = ()
    supplements: tuple[Supplement, ...] = ()
    earlier: tuple[Earlier, ...] = ()
    station_digits: int = 0
    as_built: bool = False

    def column(self, key: str) -> Column:
        """Return the column of that key; KeyError where there is none."""
        for column in self.columns:
            if column.key == key:
                return column
        raise KeyError(key)

    def numbers(self, key: str) -> FloatArray:
        """Return the numbers of a column as they are held, not to be written to; shape (rows,).

        NaN throughout where there is no such column, or it is of text.
        """
        for column in self.columns:
            if column.key == key and column.quantity is not Quantity.TEXT:
                return np.asarray(column.values, dtype=np.float64)
        return np.full(len(self.id), np.nan)

    def flags(self, key: str) -> BoolArray:
        """Return a column of flags, all False where there is none; shape (rows,)."""
        for column in self.columns:
            if column.key == key:
                return column.values.astype(np.bool_)
        return np.zeros(len(self.id), dtype=np.bool_)

    def texts(self, key: str) -> list[str]:
        """Return a column of text, all "" where there is none."""
        for column in self.columns:
            if column.key == key:
                return [str(value or "") for value in column.values.tolist()]
        return [""] * len(self.id)
