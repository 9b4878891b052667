"""What a single file is, before any job says what it is for."""

from dataclasses import dataclass

from checker.errors import Problem
from checker.model.drawing import Drawing, Notice
from checker.model.points import Points
from checker.units import LengthUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnOverview:
    """A column of a table. place: from 1. field: what it is read as, "" where nothing reads it.

    how: by what it was recognised: its heading, a lesser word (taken where no plainer one stands
    beside it), the letter x or y. unit: as the table names it, else "". filled: how many rows have
    it. first: the first cell that is not blank. low, high: the range of a column of plain numbers,
    as they stand; None for another.
    """

    place: int
    heading: str
    field: str
    how: str
    unit: str
    filled: int
    first: str
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TableOverview:
    """A table. kind: what it seems to be, in words; "" where no kind fits.

    dialect: in words. header_line: 0 where there is none. unit: what lengths were read in; said:
    whether the table itself names it. points: None where they cannot be read (or it has none).
    problems: what a job that reads the file would refuse; everything else stands all the same.
    """

    path: str
    kind: str
    dialect: str
    header_line: int
    rows: int
    columns: tuple[ColumnOverview, ...]
    unit: LengthUnit
    unit_said: bool
    points: Points | None
    notices: tuple[Notice, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingOverview:
    """A drawing. unit: what its coordinates were read in; stated: whether the user said so.

    header_m: metres in the unit that the header names, None where it names none. label_layer: the
    layer whose texts would number the points, where their own layers do not; "": none.
    """

    drawing: Drawing
    unit: LengthUnit
    stated: bool
    header_m: float | None
    label_layer: str = ""


Overview = TableOverview | DrawingOverview
