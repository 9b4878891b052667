"""Tables of text: bytes in, cells with their line numbers out.

Every line that is not blank becomes a row, the header, or part of a `Notice` or a `Problem`;
nothing is skipped in silence. What the cells mean is for the readers of points and books.
"""

import csv
import re
from array import array
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, compress
from operator import itemgetter
from typing import Final

import numpy as np

from checker.errors import Problem, Where
from checker.model.arrays import IntArray
from checker.model.drawing import Notice
from checker.read.cell_columns import LONGEST_CELL, CellColumn, plain_columns, text_lots
from checker.read.decoding import decode, refuse_too_large, unreadable
from checker.read.files import Source
from checker.read.headings import (
    HeadingUnit,
    UnitKind,
    Vocabulary,
    normal,
    unit_of,
)
from checker.read.splitting import (
    BLANKS,
    DELIMITERS,
    WIDE_BLANKS,
    BadRowError,
    row_reader,
    split_rows,
    trimmed,
    without_comments,
)
from checker.read.table_header import (
    HEAD_LINES,
    SAMPLE_LINES,
    Header,
    HeaderSearch,
    Unheaded,
    last_field,
    widened,
)
from checker.text import quoted

_ROWS_AT_ONCE: Final = 4096
"""Rows are turned into columns in such lots: a million small lists at once are slow to keep."""
_MOST_FAULTS: Final = 50
"""So many faults of one file are listed; the rest are counted."""
_STATED_UNIT = re.compile(r"\bunits?\b\s*(?:of\s+\w+\s*)?[:=,;\s]\s*(.+)", re.IGNORECASE)
_TOTALS = re.compile(
    r"(?:(?:grand|sub)[\s-]*)?(?:totals?|sums?|averages?|means?|Σ)"
    r"(?:\s+(?:of\s+)?(?:bs|fs|is|lengths?|distances?|angles?|rises?|falls?|points|rows|legs))?"
    r"\s*[:=.]*\s*\d*",
    re.IGNORECASE,
)
_NO_UNITS: Final = frozenset(("no", "nr", "num", "number", "name", "id", "text", "code", "#"))
"""What stands below a heading in a row of units where the column has none."""
_COMMA_NUMBER = re.compile(r"(?<![\d.,:])\d*,\d+(?![\d.,:])")
_POINT_NUMBER = re.compile(r"(?<![\d.,:])\d*\.\d+(?![\d.,:])")


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """How a table is written. delimiter: one of , ; tab | or `BLANKS` or `WIDE_BLANKS`."""

    encoding: str
    delimiter: str
    decimal_comma: bool

    @property
    def words(self) -> str:
        """The dialect in plain words."""
        decimals = ", decimal commas" if self.decimal_comma else ""
        return f"{self.encoding}, columns parted by {DELIMITERS[self.delimiter]}{decimals}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Cells by column, without blanks at their ends.

    header: the headings; empty texts where the table has none. header_line: its line from 1, 0
    where there is none. units: the unit row below the header, one text a column, else "".
    stated: units of length that lines above the header and comments name, with those lines.
    cells: a sequence a column; lines: shape (rows,), the line on which each row begins.
    short: rows of a table of blanks that have fewer cells than headings; they were filled up at
    the end, and only the reader of the table can tell whether that is right. scant: the same of a
    table whose columns are parted by signs, row -> how many cells it has, empty ones included.
    problems: rows that could not be split, and unlisted: how many more; a reader raises them
    together with its own faults.
    """

    path: str
    dialect: Dialect
    header: tuple[str, ...]
    header_line: int
    units: tuple[HeadingUnit | None, ...]
    units_line: int
    stated: tuple[tuple[HeadingUnit, int], ...]
    cells: tuple[Sequence[str], ...]
    lines: IntArray
    short: tuple[int, ...]
    problems: tuple[Problem, ...]
    unlisted: int
    notices: tuple[Notice, ...]
    scant: Mapping[int, int] = field(default_factory=dict)

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.lines)

    def where(self, row: int, part: str | None = None) -> Where:
        """Return the place of a row; part: the heading of the column that is meant."""
        return Where(file=self.path, line=int(self.lines[row]) or None, part=part)

    def short_row(self, row: int) -> str:
        """Return what is wrong with a row that has fewer cells than headings."""
        filled = sum(1 for column in self.cells if column[row])
        return (
            f"this row has {filled} cells and the header {len(self.header)}; blanks between the "
            "columns do not tell which of them is empty"
        )

    def lacking(self, read: Container[int]) -> tuple[int, ...]:
        """Return the scant rows that lack a cell of one of these columns, by their places."""
        width = len(self.header)
        return tuple(
            row
            for row, count in self.scant.items()
            if any(index in read for index in range(count, width))
        )

    def scant_row(self, row: int) -> tuple[str, str, str]:
        """Return slug, message and hint for a row with too few cells."""
        count = self.scant[row]
        counted = f"{count} {'cell' if count == 1 else 'cells'}"
        cells = ", ".join(column[row] for column in self.cells[:count])
        return (
            "row-width",
            f"this row has {counted} and the header {len(self.header)}: {quoted(cells, 80)}",
            _SCANT_ROW_HINT,
        )

    def without(self, rows: Iterable[int]) -> "Table":
        """Return the table without some of its rows, for what is left to be read."""
        gone = frozenset(rows)
        if not gone:
            return self
        kept = [row for row in range(len(self)) if row not in gone]
        place = {row: at for at, row in enumerate(kept)}
        return replace(
            self,
            cells=tuple([column[row] for row in kept] for column in self.cells),
            lines=self.lines[kept],
            short=tuple(place[row] for row in self.short if row in place),
            scant={place[row]: count for row, count in self.scant.items() if row in place},
        )


_SCANT_ROW_HINT: Final = (
    "every row needs as many cells as the header; where one is empty, the sign that parts the "
    "columns stays"
)
SHORT_ROW_HINT: Final = 'write "-" into empty cells, or part the columns with commas'


def capped(problems: Sequence[Problem], path: str, more: int = 0) -> list[Problem]:
    """Return a file's problems in the order of its lines, at most 50, then how many were left out.

    more: problems that were counted and not kept.
    """
    ordered = sorted(problems, key=lambda problem: problem.where.line or 0)
    left_out = len(ordered) - _MOST_FAULTS + more if len(ordered) > _MOST_FAULTS else more
    kept = ordered[:_MOST_FAULTS]
    if left_out > 0:
        kept.append(
            Problem(
                slug="more-faults",
                where=Where(file=path),
                message=f"{left_out:,} more faults of this file are not listed",
                hint="mend those above first; often one cause makes many faults",
            )
        )
    return kept


def lines_said(numbers: Sequence[int]) -> str:
    """Return "line 3" or "lines 3, 9 and 12", long lists cut with their count."""
    if len(numbers) == 1:
        return f"line {numbers[0]}"
    shown = [str(number) for number in numbers[:8]]
    if len(numbers) > len(shown):
        return f"lines {', '.join(shown)} and {len(numbers) - len(shown):,} more"
    return f"lines {', '.join(shown[:-1])} and {shown[-1]}"


def _decimal_comma(text: str, begin: int, delimiter: str) -> bool:
    """Return whether the numbers from a place on have decimal commas, by the greater count."""
    if delimiter == ",":
        return False
    commas = points = 0
    for lot in text_lots(text, begin):
        lines, _ = without_comments(lot, 0, delimiter)
        if "," in lines:
            commas += len(_COMMA_NUMBER.findall(lines))
        points += len(_POINT_NUMBER.findall(lines)) if "." in lines else 0
    return commas > points


# ---------------------------------------------------------------- the table


class _Body:
    """Sorts the rows below a header into rows, notices and problems."""

    def __init__(self, path: str, header: Header, *, tail: bool) -> None:
        """Take the headings; tail: cells beyond the last column belong to it, parted by blanks."""
        self.path = path
        self.header = list(header.cells)
        self.delimiter = header.delimiter
        self.tail = tail
        self.columns: list[CellColumn] = [CellColumn() for _ in self.header]
        self.lines = array("q")
        self.short: list[int] = []
        self.scant: dict[int, int] = {}
        self.problems: list[Problem] = []
        self.more = 0
        self.empty: list[int] = []
        self.comments: list[tuple[int, str]] = []

    def read(self, text: str, begin: int, first_line: int) -> None:
        """Split the text from a place on, where the line of that number begins; keep its rows."""
        lots = text_lots(text, begin)
        line = first_line
        for lot in lots:
            if not self._read_plain(lot, line):
                if '"' in lot or len(lot) > LONGEST_CELL:
                    # A cell in quotes may go on behind the lot.
                    self._read_line_by_line(chain([lot], lots), line)
                    break
                self._read_line_by_line([lot], line)
            line += lot.count("\n") + 1

    def _read_plain(self, lot: str, first_line: int) -> bool:
        """Read lines if each is a row of full width; return whether they are."""
        if without_comments(lot, first_line, self.delimiter)[1]:
            return False
        width, columns = len(self.header), None
        if self.delimiter.strip(" "):
            columns = plain_columns(lot, self.delimiter, width)
        lines = lot.count("\n") + 1
        if columns is None:
            try:
                rows = list(row_reader(lot.split("\n"), self.delimiter, whole=True))
            except csv.Error:
                return False
            if len(rows) != lines or set(map(len, rows)) != {width}:
                return False
            if not all(map(itemgetter(0), rows)):
                return False
            self._turn(rows)
        else:
            for column, cells in zip(self.columns, columns, strict=True):
                column.extend(cells)
        self.lines.extend(range(first_line, first_line + lines))
        return True

    def _read_line_by_line(self, lots: Iterable[str], first_line: int) -> None:
        """Read what is not plain: comments, blank lines, cells in quotes, rows of other widths."""
        width, offset = len(self.header), first_line - 1

        def every_line() -> Iterator[str]:
            line = first_line
            for lot in lots:
                lines, found = without_comments(lot, line, self.delimiter)
                self.comments += found
                yield from lines.split("\n")
                line += lot.count("\n") + 1

        lines = every_line()
        rows: list[list[str]] = []
        keep, keep_line = rows.append, self.lines.append
        try:
            for row, begins in split_rows(lines, self.delimiter):
                if len(row) != width or not row[0]:
                    cells = self._fitted(row, begins + offset)
                    if cells is None:
                        continue
                    keep(cells)
                else:
                    keep(row)
                keep_line(begins + offset)
                if len(rows) == _ROWS_AT_ONCE:
                    self._turn(rows)
        except BadRowError as fault:
            self.problems.append(
                Problem(
                    slug="open-quote",
                    where=Where(file=self.path, line=fault.line + offset),
                    message=f"{fault}; the rows from here on cannot be read",
                    hint='close the quotation mark; inside a quoted cell write it twice ("")',
                )
            )
            for _ in lines:  # comments behind it are counted all the same
                pass
        self._turn(rows)

    def _turn(self, rows: list[list[str]]) -> None:
        """Move the rows' cells into the columns."""
        if rows:
            for column, cells in zip(self.columns, zip(*rows, strict=True), strict=True):
                column.extend(map(str.strip, cells))
        rows.clear()

    def _fitted(self, row: list[str], line: int) -> list[str] | None:
        """Return the cells as many as there are headings; None where the row is no row."""
        width = len(self.header)
        cells = trimmed(row)
        if not cells:
            if any(row) or len(row) > 1:
                self.empty.append(line)
            return None
        if len(cells) > width and self.tail:
            return [*cells[: width - 1], " ".join(cells[width - 1 :])]
        if len(cells) > width:
            self._wrong_width(cells, line)
            return None
        if len(cells) < width and self.delimiter in (BLANKS, WIDE_BLANKS):
            self.short.append(len(self.lines))
        elif len(row) < width:
            self.scant[len(self.lines)] = len(row)
        return cells + [""] * (width - len(cells))

    def _wrong_width(self, cells: list[str], line: int) -> None:
        if len(self.problems) >= _MOST_FAULTS:
            self.more += 1
            return
        hint = "every row needs as many cells as the header"
        if self.delimiter == ",":
            hint += '; put text that holds a comma in quotes, and part the columns with ";" where '
            hint += "the decimals stand behind a comma"
        elif self.delimiter == BLANKS:
            hint += "; a text that holds blanks needs quotes, or part the columns with commas"
        self.problems.append(
            Problem(
                slug="row-width",
                where=Where(file=self.path, line=line),
                message=f"this row has {len(cells)} cells and the header {len(self.header)}: "
                f"{quoted(', '.join(cells), 80)}",
                hint=hint,
            )
        )

    def row(self, index: int) -> list[str]:
        """Return the cells of a row."""
        return [column[index] for column in self.columns]

    def drop(self, rows: Sequence[int]) -> None:
        """Take rows away again, for they are no rows."""
        keep = bytearray(b"\1") * len(self.lines)
        for row in rows:
            keep[row] = 0
        gone = np.cumsum(np.frombuffer(keep, dtype=np.uint8) == 0)
        self.short = [row - int(gone[row]) for row in self.short if keep[row]]
        self.scant = {row - int(gone[row]): n for row, n in self.scant.items() if keep[row]}
        self.lines = array("q", compress(self.lines, keep))
        self.columns = [column.kept(keep) for column in self.columns]


def read_table(
    source: Source,
    vocabulary: Vocabulary,
    columns: Mapping[str, str],
    *,
    tail: str | None = None,
) -> Table:
    """Split a table of text into its cells.

    vocabulary: the headings to look for. columns: field -> heading as the job maps it; where every
    one is a place ("1", "2", ...) the table may lack a header. tail: the field that may hold
    blanks where it stands last in a table parted by blanks.
    Raises InputError where there is no text, no header or no row.
    """
    text, encoding = decode(source)
    if not text.strip():
        raise unreadable(source.path, "empty-table", "the file is empty", "export the table again")
    lines = text.split("\n", HEAD_LINES)[:HEAD_LINES]
    header = HeaderSearch(lines, vocabulary, columns).find()
    if header is None:
        header = Unheaded(source.path, lines, columns).header(tail)
    first = header.line + header.height
    begin = sum(len(line) + 1 for line in lines[:first])
    header = widened(header, lines[first : first + SAMPLE_LINES])
    refuse_too_large(source.path, 0, len(header.cells))
    body = _Body(
        source.path,
        header,
        tail=header.delimiter == BLANKS and last_field(header, vocabulary, columns) == tail,
    )
    body.read(text, begin, first + 1)
    above = list(enumerate(lines[: header.line], 1))
    notices = _preamble(source.path, lines[: header.line])
    notices += _comments(source.path, [number for number, _ in body.comments])
    units, units_line, said = _unit_row(body)
    notices += said
    notices += _totals(body)
    notices += _repeated_headers(body)
    notices += _empty_rows(body)
    if not body.lines and not body.problems:
        raise unreadable(
            source.path,
            "empty-table",
            "the table has a header and no row",
            "export the table again, or take it out of the job",
            header.line + 1,
        )
    dialect = Dialect(
        encoding=encoding,
        delimiter=header.delimiter,
        decimal_comma=_decimal_comma(text, begin, header.delimiter),
    )
    if encoding not in ("UTF-8", "UTF-16") or dialect.decimal_comma:
        notices.append(
            Notice(
                slug="dialect", where=Where(file=source.path), message=f"read as {dialect.words}"
            )
        )
    return Table(
        path=source.path,
        dialect=dialect,
        header=tuple(" ".join(cell.split()) for cell in header.cells),
        header_line=header.line + 1 if header.height else 0,
        units=units,
        units_line=units_line,
        stated=_stated_units([*above, *body.comments]),
        cells=tuple(body.columns),
        lines=np.array(body.lines, dtype=np.int64),
        short=tuple(body.short),
        scant=body.scant,
        problems=tuple(body.problems),
        unlisted=body.more,
        notices=tuple(notices),
    )


# ---------------------------------------------------------------- lines that are no rows


def _preamble(path: str, lines: Sequence[str]) -> list[Notice]:
    spoken = [(i + 1, line.strip()) for i, line in enumerate(lines) if line.strip()]
    if not spoken:
        return []
    shown = "; ".join(quoted(line) for _, line in spoken[:5])
    return [
        Notice(
            slug="preamble",
            where=Where(file=path, line=spoken[0][0]),
            message=f"{lines_said([number for number, _ in spoken])} above the header: {shown}"
            + (" ..." if len(spoken) > 5 else ""),
        )
    ]


def _stated_units(lines: Iterable[tuple[int, str]]) -> tuple[tuple[HeadingUnit, int], ...]:
    """Return the units of length that these lines name, such as "units: metres".

    lines: each with its number.
    """
    stated = []
    for number, line in lines:
        match = _STATED_UNIT.search(line)
        unit = unit_of(match[1].strip(' \t,;|."')) if match else None
        if unit is not None and unit.kind is UnitKind.LENGTH:
            stated.append((unit, number))
    return tuple(stated)


def _comments(path: str, numbers: Sequence[int]) -> list[Notice]:
    if not numbers:
        return []
    return [
        Notice(
            slug="comment-lines",
            where=Where(file=path, line=numbers[0]),
            message=f"{lines_said(numbers)} read as comment, not as data",
        )
    ]


def _unit_row(
    body: _Body,
) -> tuple[tuple[HeadingUnit | None, ...], int, list[Notice]]:
    """Take the row of units below the header away; return its units by column and its line."""
    width = len(body.header)
    none: tuple[HeadingUnit | None, ...] = (None,) * width
    if not body.lines:
        return none, 0, []
    cells = body.row(0)
    units = [unit_of(cell) for cell in cells]
    spoken = [
        (unit, cell)
        for unit, cell in zip(units, cells, strict=True)
        if unit or not (cell.strip("()[]{} -–.") == "" or normal(cell) in _NO_UNITS)
    ]
    kinds = [unit.kind for unit, _ in spoken if unit is not None]
    if len(kinds) < len(spoken) or not {UnitKind.LENGTH, UnitKind.ANGLE} & set(kinds):
        return none, 0, []
    aligned = 0 not in body.short
    line = body.lines[0]
    body.drop([0])
    if not aligned:
        # Blanks between the columns do not tell below which heading a unit stands, unless all
        # of the units are the same.
        same = units[0] if len({unit.name for unit, _ in spoken if unit}) == 1 else None
        units = [same] * width
    shown = ", ".join(cell for cell in cells if cell)
    return (
        tuple(units),
        line,
        [
            Notice(
                slug="unit-row",
                where=Where(file=body.path, line=line),
                message=f"this row was read as the columns' units: {quoted(shown, 80)}",
            )
        ],
    )


def _totals(body: _Body) -> list[Notice]:
    """Take rows of totals at the end of the table away."""
    notices = []
    last = len(body.lines)
    while last:
        cells = [cell for cell in body.row(last - 1) if cell]
        if not cells or not _TOTALS.fullmatch(cells[0]):
            break
        last -= 1
        notices.append(
            Notice(
                slug="totals-row",
                where=Where(file=body.path, line=body.lines[last]),
                message=f"taken as a row of totals, not as data: {quoted(', '.join(cells), 80)}",
            )
        )
    if notices:
        body.drop(range(last, len(body.lines)))
    return notices[::-1]


def _repeated_headers(body: _Body) -> list[Notice]:
    """Take further copies of the header away; tables that were joined have them."""
    first = body.header[0]
    if first not in body.columns[0]:
        return []
    wanted = [normal(cell) for cell in body.header]
    copies = [
        row
        for row, cell in enumerate(body.columns[0])
        if cell == first and [normal(cell) for cell in body.row(row)] == wanted
    ]
    numbers = [body.lines[row] for row in copies]
    if copies:
        body.drop(copies)
    if not numbers:
        return []
    return [
        Notice(
            slug="repeated-header",
            where=Where(file=body.path, line=numbers[0]),
            message=f"the header stands again on {lines_said(numbers)}; not read as data",
        )
    ]


def _empty_rows(body: _Body) -> list[Notice]:
    if not body.empty:
        return []
    return [
        Notice(
            slug="empty-rows",
            where=Where(file=body.path, line=body.empty[0]),
            message=f"{lines_said(body.empty)} with no cell filled in; not read as data",
        )
    ]
