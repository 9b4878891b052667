"""Field books: what their tables have in common."""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from checker.errors import InputError, Where
from checker.model.arrays import BoolArray, FloatArray, TextArray
from checker.model.drawing import Notice
from checker.read.cells import Cells, Faults, held, is_blank
from checker.read.files import Source
from checker.read.headings import Assignment, Vocabulary
from checker.read.tables import SHORT_ROW_HINT, read_table
from checker.units import LengthUnit, UnitError

DISTANCE_WORDS: Final = (
    "distance dist horizontaldistance horizdistance horizontaldist horizdist hdist hdistance hd "
    "length leglength"
)
ROLES: Final = {
    "at": "station occupied (at)",
    "to": "station sighted (to)",
    "angle": "angle",
    "azimuth": "azimuth",
    "bearing": "bearing",
    "distance": "distance",
    "point": "point",
    "bs": "backsight (bs)",
    "fs": "foresight (fs)",
    "from": "beginning of the section (from)",
    "rise": "difference of elevation (rise)",
    "dx": "component x of the vector (dx)",
    "dy": "component y of the vector (dy)",
    "dz": "component z of the vector (dz)",
}


def other_kind_hint(source: Source, vocabulary: Vocabulary) -> str:
    """Return what to do where a table looks like one of another kind than is wanted, else ""."""
    from checker.read.look import other_kind

    found = other_kind(source, vocabulary)
    if found is None:
        return ""
    return (
        f"by its headings this looks like {found[0]}, and {found[1]} is wanted here: name the "
        "right file, or name this one in a section of its own kind; if it is the right one, say "
        "with columns = { ... } which of its columns are which"
    )


def of_its_kind(fault: InputError, source: Source, vocabulary: Vocabulary) -> InputError:
    """Return the fault of a table, with another hint where it looks like one of another kind."""
    if all(problem.slug != "no-header" for problem in fault.problems):
        return fault
    hint = other_kind_hint(source, vocabulary)
    if not hint:
        return fault
    return InputError(
        replace(problem, hint=hint) if problem.slug == "no-header" else problem
        for problem in fault.problems
    )


class BookTable:
    """A table with its columns recognised and its faults collected; shared by all books."""

    def __init__(
        self,
        source: Source,
        vocabulary: Vocabulary,
        unit: LengthUnit,
        columns: Mapping[str, str],
        *,
        tail: str | None = None,
    ) -> None:
        self._source = source
        self._vocabulary = vocabulary
        try:
            self.table = read_table(source, vocabulary, columns, tail=tail)
        except InputError as fault:
            raise of_its_kind(fault, source, vocabulary) from None
        self.where = Where(file=source.path, line=self.table.header_line or None)
        self.faults = Faults(source.path)
        self.faults.take(self.table)
        self.assigned = Assignment(self.table.header, vocabulary, columns, self.where)
        self.cells = Cells(self.table, self.assigned.columns, unit, self.faults)
        self.cells.compare_stated_units()

    def __len__(self) -> int:
        return len(self.table)

    def require(self, names: tuple[str, ...]) -> None:
        """Go on only where all of these columns are there, and a row that could be split."""
        self.look_for(names, ROLES)
        if self.assigned.problems or not len(self):
            raise InputError(self.faults.listed())

    def look_for(self, names: tuple[str, ...], usual: Mapping[str, str]) -> None:
        """Report those of the columns that are not there; usual: field -> words for the message."""
        self.assigned.require(
            names,
            usual,
            held=held(self.table),
            other=lambda: other_kind_hint(self._source, self._vocabulary),
        )
        self.faults.problems.extend(self.assigned.problems)

    def fault(self, row: int, part: str | None, slug: str, message: str, hint: str) -> None:
        """Add a fault of one row; part: the field whose heading is named."""
        heading = self.cells.heading(part) if part is not None and part in self.cells else None
        self.faults.add(slug, self.table.where(row, heading), message, hint)

    def each(self, name: str, read: Callable[[str], float], slug: str) -> FloatArray:
        """Return a column read cell by cell, NaN where it is empty; slug: of a cell at fault."""
        values = np.full(len(self), np.nan)
        if name not in self.cells:
            return values
        comma = self.table.dialect.decimal_comma
        for row, cell in enumerate(self.cells.raw(name)):
            if is_blank(cell):
                continue
            try:
                values[row] = read(cell.replace(",", ".") if comma else cell)
            except UnitError as fault:
                self.fault(row, name, slug, str(fault), fault.hint)
        return values

    def faults_where(
        self, bad: BoolArray, part: str | None, say: Callable[[int], tuple[str, str, str]]
    ) -> None:
        """Add a fault for every row that is bad."""
        heading = self.cells.heading(part) if part is not None and part in self.cells else None
        self.faults.of_rows(self.table, np.flatnonzero(bad), heading, say)

    def names(self, name: str, *, last_may_lack: bool = False) -> TextArray:
        """Return a column of stations or points; an empty cell is a fault."""
        texts = self.cells.text(name)
        blank = np.array([is_blank(text) for text in texts], dtype=np.bool_)
        if last_may_lack and len(blank):
            blank[-1] = False
        self.faults_where(
            blank,
            name,
            lambda _row: (
                "missing-value",
                f"this row has no {ROLES.get(name, name)}",
                "fill it in, or take the row out of the file",
            ),
        )
        return texts

    def refuse_short_rows(
        self,
        accepted: Callable[[int], bool] = lambda _row: False,
        *,
        may_lack: tuple[str, ...] = (),
    ) -> None:
        """Report rows in which nobody can tell what is missing, and go on only where there is none.

        accepted: the rows that may end early. may_lack: fields that any row may leave out at its
        end where signs part the columns; in a table of blanks nobody could tell.
        """
        self.faults.of_rows(
            self.table,
            [row for row in self.table.short if not accepted(row)],
            None,
            lambda row: (
                "row-width",
                self.table.short_row(row),
                SHORT_ROW_HINT,
            ),
        )
        read = {
            column.index for name, column in self.assigned.columns.items() if name not in may_lack
        }
        scant = [row for row in self.table.lacking(read) if not accepted(row)]
        self.faults.of_rows(self.table, scant, None, self.table.scant_row)
        if scant:  # a cell too few shifts the others: what follows from them is no fault of theirs
            raise InputError(self.faults.listed())

    def leave(self, names: tuple[str, ...]) -> None:
        """Leave these fields unread; they are then said to be unused."""
        for name in names:
            self.assigned.columns.pop(name, None)

    def finish(self, notices: list[Notice] | None) -> None:
        """Raise the faults, where there are any; else add what must be said."""
        if self.faults.problems:
            raise InputError(self.faults.listed())
        if notices is not None:
            notices += [*self.table.notices, *self.cells.notices, *self.assigned.notices()]

    def filled(self, name: str) -> BoolArray:
        """Return which rows have something in a column; none where there is no such column."""
        if name not in self.cells:
            return np.zeros(len(self), dtype=np.bool_)
        return np.array([not is_blank(cell) for cell in self.cells.raw(name)], dtype=np.bool_)

    def steps(self, name: str) -> FloatArray:
        """Return one unit of the last digit written in every cell, metres; NaN where empty."""
        found = np.full(len(self), np.nan)
        if name not in self.cells:
            return found
        for row, cell in enumerate(self.cells.raw(name)):
            digits = re.search(r"\d*[.,]?(\d*)", cell)
            if not is_blank(cell) and digits is not None:
                found[row] = self.cells.unit.metres * 10.0 ** -len(digits[1])
        return found

    def blank(self, name: str) -> BoolArray:
        """Return which rows have nothing in a column."""
        return ~self.filled(name)
