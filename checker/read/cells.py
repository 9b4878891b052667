"""Cells of a table as numbers: whole columns at once, and cell by cell only where that fails.

A cell that cannot be read is a `Problem` with its line and heading; an empty one is NaN.
"""

import re
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from checker.errors import Problem, Where
from checker.model.arrays import BoolArray, FloatArray, TextArray, same_text
from checker.model.drawing import Notice
from checker.read.cell_columns import END, joined_lots
from checker.read.headings import Column, HeadingUnit, UnitKind
from checker.read.tables import Table, capped
from checker.text import quoted
from checker.units import LengthUnit, UnitError, parse_length, parse_seconds

LARGEST: Final = 1.5e10
"""No coordinate, length or count of a site is larger, even a grid's northing in millimetres."""

BLANK_WORDS: Final = frozenset(
    ("", "-", "--", "---", "–", "—", "n/a", "na", "none", "null", "nil", "blank", "#n/a")
)
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_WITH_UNIT = re.compile(rf"{_NUMBER.pattern}\s*[A-Za-z°'\"][^0-9]*")
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:[,' \u00a0\u202f]\d{3})+(?:\.\d*)?|.*,.*\..*|.*\..*,.*")
_NOT_PLAIN = re.compile(rf"[^0-9.+\-eE{END}]")
_NOT_NUMBERS: Final = frozenset(("nan", "+nan", "-nan", "inf", "+inf", "-inf", "infinity"))

Cell = Callable[[str], float]
"""Reads a cell that is no plain number; raises UnitError."""


def is_blank(cell: str) -> bool:
    """Return whether a cell says that there is nothing: empty, "-", "n/a", "none"."""
    return cell.lower() in BLANK_WORDS


def held(table: Table) -> Callable[[int], str]:
    """Return what tells in short what a column holds: its numbers' range, else its first cell."""

    def said(index: int) -> str:
        cells = [cell for cell in table.cells[index] if not is_blank(cell)]
        if not cells:
            return "empty"
        values, errors = floats(cells, decimal_comma=table.dialect.decimal_comma)
        if errors:
            return f"the first: {quoted(cells[0], 20)}"
        return f"{values.min():.12g} to {values.max():.12g}"

    return said


def holds_blanks(cells: Sequence[str]) -> bool:
    """Return whether any of the cells says that there is nothing."""
    return not all(BLANK_WORDS.isdisjoint(lot.lower().split(END)) for lot in joined_lots(cells))


class Faults:
    """The faults of one file: the first 50 of every column kept, all counted."""

    def __init__(self, path: str) -> None:
        """Take the file's path as the job names it."""
        self.path = path
        self.problems: list[Problem] = []
        self.more = 0

    def add(self, slug: str, where: Where, message: str, hint: str) -> None:
        """Add one fault."""
        self.problems.append(Problem(slug=slug, where=where, message=message, hint=hint))

    def of_rows(
        self,
        table: Table,
        rows: Iterable[int],
        part: str | None,
        say: Callable[[int], tuple[str, str, str]],
        *,
        most: int = 51,
    ) -> None:
        """Add a fault for each row; say: row -> slug, message, hint, asked only for those kept."""
        for count, row in enumerate(rows):
            if count >= most:
                self.more += 1
                continue
            slug, message, hint = say(int(row))
            self.add(slug, table.where(int(row), part), message, hint)

    def take(self, table: Table) -> None:
        """Add the faults that splitting the table has found."""
        self.problems.extend(table.problems)
        self.more += table.unlisted

    def listed(self) -> list[Problem]:
        """Return the faults in the order of the file's lines, long lists cut."""
        return capped(self.problems, self.path, self.more)


def not_a_number(cell: str, *, decimal_comma: bool) -> UnitError:
    """Return what is wrong with a cell that should be a number."""
    found = quoted(cell)
    if cell.lower() in _NOT_NUMBERS:
        return UnitError(
            f"{found} is not a number", "leave the cell empty where nothing was observed"
        )
    if _THOUSANDS.fullmatch(cell):
        return UnitError(
            f"{found} is not a plain number", "write numbers without thousands separators"
        )
    if "," in cell and not decimal_comma:
        return UnitError(
            f"{found} is not a number; this table's decimals stand behind a point",
            "write 12.5, or use decimal commas throughout in a table parted by semicolons",
        )
    if "." in cell and decimal_comma and _NUMBER.fullmatch(cell):
        return UnitError(
            f"{found} has a decimal point where the table's other numbers have decimal commas",
            "write all decimals of the table the same way",
        )
    return UnitError(f"{found} is not a number", "write a number such as 5012.345")


def _plain_floats(cells: Sequence[str], *, decimal_comma: bool) -> FloatArray | None:
    """Return a column of nothing but plain numbers and empty cells at once; None for another."""
    lots = joined_lots(cells)
    commas = decimal_comma and not any("." in lot for lot in lots)
    values = np.empty(len(cells))
    done = 0
    for lot in lots:
        text = lot.replace(",", ".") if commas else lot
        if _NOT_PLAIN.search(text):
            return None
        found = text.split(END)
        filled = found if all(found) else [cell or "nan" for cell in found]
        try:
            values[done : done + len(found)] = list(map(float, filled))
        except ValueError:
            return None
        done += len(found)
    return None if np.isinf(values).any() else values


def floats(
    cells: Sequence[str],
    *,
    decimal_comma: bool,
    factor: float = 1.0,
    other: Cell | None = None,
    any_form: bool = False,
) -> tuple[FloatArray, dict[int, UnitError]]:
    """Return the cells as numbers times factor, NaN where blank, and the errors by row.

    other: reads a cell that is a number with a unit (any_form: whatever is no plain number); its
    result is taken as it is.
    """
    quick = _plain_floats(cells, decimal_comma=decimal_comma)
    if quick is not None:
        return quick * factor, {}
    values = np.full(len(cells), np.nan)
    faults: dict[int, UnitError] = {}
    for row, cell in enumerate(cells):
        text = cell.replace("−", "-")
        if decimal_comma and "." not in text and text.count(",") == 1:
            text = text.replace(",", ".")
        elif decimal_comma and "." in text:
            faults[row] = not_a_number(cell, decimal_comma=True)
            continue
        if _NUMBER.fullmatch(text):
            values[row] = float(text) * factor
        elif is_blank(text):
            continue
        elif other is not None and (any_form or _WITH_UNIT.fullmatch(text)):
            try:
                values[row] = other(text)
            except UnitError as fault:
                faults[row] = fault
        else:
            faults[row] = not_a_number(cell, decimal_comma=decimal_comma)
    return values, faults


class Cells:
    """The recognised columns of a table, read field by field; faults are collected."""

    def __init__(
        self, table: Table, columns: dict[str, Column], unit: LengthUnit, faults: Faults
    ) -> None:
        """Take the table, its columns by field, and the unit that the job states."""
        self.table = table
        self.columns = columns
        self.unit = unit
        self.faults = faults
        self.notices: list[Notice] = []

    def __contains__(self, field: str) -> bool:
        """Return whether the table has the field."""
        return field in self.columns

    def raw(self, field: str) -> Sequence[str]:
        """Return the field's cells as they stand."""
        return self.table.cells[self.columns[field].index]

    def empty(self, field: str, words: Container[str]) -> None:
        """Take the field's cells that hold one of these words, in lower case, for empty ones."""
        cells = list(self.table.cells)
        index = self.columns[field].index
        cells[index] = ["" if cell.strip().lower() in words else cell for cell in cells[index]]
        self.table = replace(self.table, cells=tuple(cells))

    def heading(self, field: str) -> str:
        """Return the heading of the field's column, for messages."""
        return self.columns[field].heading

    def text(self, field: str) -> TextArray:
        """Return the field's cells as text; "" in every row where there is no such column."""
        if field not in self.columns:
            return same_text("", len(self.table))
        texts = np.empty(len(self.table), dtype=object)
        texts[:] = list(self.raw(field))
        return texts

    def blank(self, field: str) -> BoolArray:
        """Return which of the field's cells say that there is nothing; shape (rows,)."""
        cells = self.raw(field)
        if not holds_blanks(cells):
            return np.zeros(len(cells), dtype=np.bool_)
        return np.array([is_blank(cell) for cell in cells], dtype=np.bool_)

    def blanks_as_nothing(self, field: str) -> TextArray:
        """Return the field's cells as text, words such as "n/a" as ""."""
        cells = self.raw(field)
        texts = np.empty(len(cells), dtype=object)
        texts[:] = ["" if is_blank(cell) else cell for cell in cells]
        return texts

    def numbers(
        self,
        field: str,
        *,
        factor: float = 1.0,
        other: Cell | None = None,
        any_form: bool = False,
        slug: str = "not-a-number",
    ) -> FloatArray:
        """Return the field as numbers times factor; NaN where it is blank or there is no column.

        other, any_form: as for `floats`. slug: of a cell that cannot be read.
        """
        if field not in self.columns:
            return np.full(len(self.table), np.nan)
        cells = self.raw(field)
        values, errors = floats(
            cells,
            decimal_comma=self.table.dialect.decimal_comma,
            factor=factor,
            other=other,
            any_form=any_form,
        )
        self.faults.of_rows(
            self.table,
            errors,
            self.heading(field),
            lambda row: (slug, str(errors[row]), errors[row].hint),
        )
        too_large = np.flatnonzero(np.abs(values) > LARGEST)
        self.faults.of_rows(
            self.table,
            too_large,
            self.heading(field),
            lambda row: (
                "too-large",
                f"{quoted(cells[row])} is larger than any number of a site",
                "check the decimal point",
            ),
        )
        values[too_large] = np.nan  # so that nobody reckons with what is refused
        return values

    def counts(self, field: str, *, whole: bool = True) -> FloatArray:
        """Return the field as numbers that may not be negative, whole ones where asked."""
        values = self.numbers(field)
        with np.errstate(invalid="ignore"):
            bad = values < 0
            if whole:
                bad |= np.isfinite(values) & (values != np.round(values))
        self._refuse(
            field, bad, "not-a-count" if whole else "negative", "a whole number" if whole else None
        )
        return values

    def lengths(self, field: str, *, own_unit: bool = False, signed: bool = True) -> FloatArray:
        """Return the field in metres; NaN where it is blank or there is no column.

        own_unit: a heading may name another unit than the job's (quality, lengths of sections);
        otherwise that is a contradiction. signed: False refuses negative lengths.
        """
        if field not in self.columns:
            return np.full(len(self.table), np.nan)
        values = self.numbers(
            field,
            factor=self._metres(field, own_unit=own_unit),
            other=lambda cell: parse_length(cell, self.unit),
        )
        if not signed:
            with np.errstate(invalid="ignore"):
                self._refuse(field, values < 0, "negative", None)
        return values

    def squares(self, field: str) -> FloatArray:
        """Return the field in square metres; its heading may name another unit, such as mm²."""
        said, line = self.said_unit(field)
        metres = self.unit.metres
        if said is not None and said.kind is UnitKind.AREA:
            metres = parse_length(f"1 {said.name}", self.unit)
        elif said is not None and said.kind is not UnitKind.OTHER:
            self.faults.add(
                "unit-contradiction",
                Where(file=self.table.path, line=line, part=self.heading(field)),
                f'"{said.text}" is no square of a unit of length, and {field} is one',
                'head it with a square such as "mm2", or leave the unit out',
            )
            return np.full(len(self.table), np.nan)
        return self.numbers(field, factor=metres**2)

    def _refuse(
        self, field: str, bad: np.typing.NDArray[np.bool_], slug: str, expected: str | None
    ) -> None:
        cells = self.raw(field) if field in self.columns else []
        self.faults.of_rows(
            self.table,
            np.flatnonzero(bad),
            self.heading(field) if cells else None,
            lambda row: (
                slug,
                f"{quoted(cells[row])} is no {field.replace('_', ' ')}",
                f"write {expected}, 0 or more" if expected else "write a number that is 0 or more",
            ),
        )

    def said_unit(self, field: str) -> tuple[HeadingUnit | None, int | None]:
        """Return the unit that the field's heading or the unit row names, and the line."""
        column = self.columns[field]
        if column.unit is not None:
            return column.unit, self.table.header_line or None
        return self.table.units[column.index], self.table.units_line

    def _metres(self, field: str, *, own_unit: bool) -> float:
        """Return the metres in one unit of the column; a contradiction is a fault."""
        said, line = self.said_unit(field)
        if said is None or said.kind is UnitKind.OTHER:
            return self.unit.metres
        where = Where(file=self.table.path, line=line, part=self.heading(field))
        if said.kind is not UnitKind.LENGTH:
            self.faults.add(
                "unit-contradiction",
                where,
                f'"{said.text}" is no unit of length, and {field} is a length',
                "mend the heading, or map the field to another column",
            )
            return self.unit.metres
        metres = parse_length(f"1 {said.name}", self.unit)
        both_feet = said.name in ("ift", "usft") and self.unit.is_foot
        if own_unit and not both_feet and metres != self.unit.metres:
            self.notices.append(
                Notice(
                    slug="heading-unit",
                    where=where,
                    message=f'{field} is read in "{said.text}", as the table says, '
                    f"not in {self.unit.words}",
                )
            )
            return metres
        self._compare(said, where)
        return self.unit.metres

    def _compare(self, said: HeadingUnit, where: Where) -> None:
        """Report a unit that the table names and that is not the job's; feet are only said."""
        if parse_length(f"1 {said.name}", self.unit) == self.unit.metres:
            return
        if said.name in ("ift", "usft") and self.unit.is_foot:
            self.notices.append(
                Notice(
                    slug="which-foot",
                    where=where,
                    message=f'the table says "{said.text}", the job {self.unit.words}; read in '
                    f"{self.unit.words}. The two feet differ by 2 parts in a million: 4 ft at a "
                    "coordinate of 2,000,000",
                )
            )
            return
        self.faults.add(
            "unit-contradiction",
            where,
            f'the table says "{said.text}", the job says {self.unit.words}',
            "find out which is right; state the file's unit in the job, or mend the heading",
        )

    def compare_unit(self, field: str) -> None:
        """Report a heading or unit row that names another unit of length than the job's."""
        if field in self:
            self._metres(field, own_unit=False)

    def compare_stated_units(self) -> None:
        """Compare the units that lines above the header and comments name with the job's."""
        for said, line in self.table.stated:
            self._compare(said, Where(file=self.table.path, line=line))

    def degrees_only(self, field: str) -> None:
        """Report a heading that names another unit of angle than degrees."""
        said, line = self.said_unit(field)
        if said is None or said.kind is UnitKind.OTHER or said.name in ("deg", "dms"):
            return
        self.faults.add(
            "unit-contradiction",
            Where(file=self.table.path, line=line, part=self.heading(field)),
            f'the table says "{said.text}", and {field.replace("_", " ")} is read in degrees',
            "give degrees, or mend the heading",
        )

    def seconds(self, field: str) -> FloatArray:
        """Return the field as seconds; its heading or a cell may name another unit of time."""
        said, line = self.said_unit(field)
        factor = 1.0
        if said is not None and said.kind is UnitKind.TIME:
            factor = parse_seconds(f"1 {said.name}")
        elif said is not None and said.kind is not UnitKind.OTHER:
            self.faults.add(
                "unit-contradiction",
                Where(file=self.table.path, line=line, part=self.heading(field)),
                f'"{said.text}" is no unit of time, and {field} is a time',
                "mend the heading, or map the field to another column",
            )
        return self.numbers(field, factor=factor, other=parse_seconds)
