"""Tables of text: bytes in, cells with their line numbers out.

Every line that is not blank becomes a row, the header, or part of a `Notice` or a `Problem`;
nothing is skipped in silence. What the cells mean is for the readers of points and books.
"""

import codecs
import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice
from operator import itemgetter
from typing import TYPE_CHECKING, Final

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.model.arrays import IntArray
from checker.model.drawing import Notice
from checker.read.files import Source
from checker.read.headings import (
    HeadingUnit,
    UnitKind,
    Vocabulary,
    column_number,
    mapped,
    normal,
    unit_of,
)

if TYPE_CHECKING:
    import _csv

BLANKS: Final = " "
"""Delimiter of a table whose columns are parted by runs of blanks or tabs."""
WIDE_BLANKS: Final = "  "
"""The same, where only two blanks and more part the columns, so that a cell may hold one."""

_DELIMITERS: Final = {
    "\t": "tabs",
    ";": "semicolons",
    "|": "vertical bars",
    ",": "commas",
    BLANKS: "blanks",
    WIDE_BLANKS: "runs of blanks",
}
_SEARCHED_LINES: Final = 100
"""How far down a header is looked for."""
_TALLEST_HEADER: Final = 20
"""So many lines a header with line breaks in its headings may take."""
_LEAST_FIT: Final = 0.1
"""Of the lines below a header at least this share has as many cells, if another header's has."""
_SAMPLE_LINES: Final = 200
"""How many lines tell the delimiter."""
_ROWS_AT_ONCE: Final = 4096
"""Rows are turned into columns in such lots: a million small lists at once are slow to keep."""
_MOST_FAULTS: Final = 50
"""So many faults of one file are listed; the rest are counted."""
MAX_LINES: Final = 5_000_000
"""A table of more lines is refused: it would want more memory than a crew's computer has."""
MAX_COLUMNS: Final = 1000
_WIDE = re.compile(r"[ \t]{2,}|\t")
_COMMENT = re.compile(r"[ \t]*(?:#|//)")
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
_NOT_TEXT: Final = (
    (b"PK\x03\x04", "a compressed archive or a spreadsheet workbook"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet workbook or another binary document"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a compressed file"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
)


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
        return f"{self.encoding}, columns parted by {_DELIMITERS[self.delimiter]}{decimals}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Cells by column, without blanks at their ends.

    header: the headings; empty texts where the table has none. header_line: its line from 1, 0
    where there is none. units: the unit row below the header, one text a column, else "".
    stated: units of length that lines above the header and comments name, with those lines.
    cells: one list a column; lines: shape (rows,), the line on which each row begins.
    short: rows of a table of blanks that have fewer cells than headings; they were filled up at
    the end, and only the reader of the table can tell whether that is right.
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
    cells: tuple[list[str], ...]
    lines: IntArray
    short: tuple[int, ...]
    problems: tuple[Problem, ...]
    unlisted: int
    notices: tuple[Notice, ...]

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


SHORT_ROW_HINT: Final = 'write "-" into empty cells, or part the columns with commas'


def quoted(text: str, longest: int = 60) -> str:
    """Return a found text between quotation marks, on one line and of bearable length."""
    plain = "".join(c if c.isprintable() else " " for c in text[: 2 * longest])
    if len(plain) > longest:
        plain = plain[: longest - 3] + "..."
    return f'"{plain}"'


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


# ---------------------------------------------------------------- bytes to text


def decode(source: Source) -> tuple[str, str]:
    """Return the text of a file, its lines ended by line feeds, and the name of its encoding.

    UTF-8 and UTF-16 with or without a byte order mark, else Windows-1252. Raises InputError
    where the file holds no text.
    """
    data = source.data
    for magic, what in _NOT_TEXT:
        if data.startswith(magic):
            raise _unreadable(
                source.path, "not-text", f"this is {what}, not a table of text", _SAVE_AS_TEXT
            )
    text, encoding = _decoded(source.path, data)
    text = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a")
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise _unreadable(
            source.path,
            "not-text",
            "the file holds zero bytes; it is not a table of text"
            + (", or UTF-16 that is damaged" if encoding != "UTF-16" else ""),
            _SAVE_AS_TEXT,
            line,
        )
    refuse_too_large(source.path, text.count("\n"), 0)
    return text, encoding


def refuse_too_large(path: str, lines: int, columns: int) -> None:
    """Raise InputError where a table has more lines or columns than one job can need."""
    for count, most, what, hint in (
        (lines, MAX_LINES, "lines", "split the file, by day or by area, into jobs of their own"),
        (columns, MAX_COLUMNS, "columns", "export those alone that the job needs"),
    ):
        if count > most:
            raise _unreadable(
                path,
                "table-too-large",
                f"the table has {count:,} {what}; at most {most:,} are read",
                hint,
            )


_SAVE_AS_TEXT: Final = "export the table as CSV or text, in UTF-8"


def _decoded(path: str, data: bytes) -> tuple[str, str]:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError:
            raise _unreadable(
                path, "not-text", "the file begins as UTF-16 and does not go on so", _SAVE_AS_TEXT
            ) from None
    unmarked = _utf_16_without_mark(data)
    if unmarked:
        try:
            return data.decode(unmarked), "UTF-16 without byte order mark"
        except UnicodeDecodeError:
            pass
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError as fault:
        raise _unreadable(
            path,
            "not-text",
            f"byte 0x{data[fault.start]:02X} is neither UTF-8 nor Windows-1252 text",
            _SAVE_AS_TEXT,
            data.count(b"\n", 0, fault.start) + 1,
        ) from None


def _utf_16_without_mark(data: bytes) -> str:
    """Return which UTF-16 a file without a byte order mark is in; "" where it is in none.

    Of text in Latin letters every other byte is zero, and in no other encoding any is.
    """
    head = data[:400]
    if len(data) % 2 or len(head) < 8:
        return ""
    even, odd = head[0::2], head[1::2]
    if odd.count(0) > 0.9 * len(odd) and not even.count(0):
        return "utf-16-le"
    return "utf-16-be" if even.count(0) > 0.9 * len(even) and not odd.count(0) else ""


def _unreadable(
    path: str, slug: str, message: str, hint: str, line: int | None = None
) -> InputError:
    return InputError(
        [Problem(slug=slug, where=Where(file=path, line=line), message=message, hint=hint)]
    )


# ---------------------------------------------------------------- text to rows


def _prepared(lines: Iterable[str], delimiter: str) -> Iterator[str]:
    """Return lines, each with its end, so that the csv module can split them by one character."""
    if delimiter == BLANKS:
        return (line.replace("\t", " ") + "\n" for line in lines)
    if delimiter == WIDE_BLANKS:
        return (_WIDE.sub("\t", line.strip(" \t")) + "\n" for line in lines)
    return (line + "\n" for line in lines)


class _BadRowError(Exception):
    """A row whose quotation marks do not fit. line: from 1, where the row begins."""

    def __init__(self, line: int, said: str) -> None:
        super().__init__(said)
        self.line = line


def _reader(lines: Iterable[str], delimiter: str, *, whole: bool = False) -> "_csv.Reader":
    """Return what splits lines. whole: every line is a row, so its end need not be told."""
    return csv.reader(
        lines if whole and delimiter.strip(" ") else _prepared(lines, delimiter),
        delimiter="\t" if delimiter == WIDE_BLANKS else delimiter,
        skipinitialspace=True,
        strict=True,
    )


def _split(lines: Iterable[str], delimiter: str) -> Iterator[tuple[list[str], int]]:
    """Yield each row's cells and the line, from 1, on which it begins.

    Raises _BadRowError where a quoted cell is not closed or goes on behind its end.
    """
    reader = _reader(lines, delimiter)
    begins = 1
    try:
        for row in reader:
            yield row, begins
            begins = reader.line_num + 1
    except csv.Error as fault:
        if "end of data" in str(fault):
            said = "a quotation mark is opened in this row and never closed"
        elif "field larger" in str(fault):
            said = "a cell of this row is longer than 100,000 characters; a quotation mark may lack"
        else:
            said = 'a quoted cell of this row goes on behind its closing mark (")'
        raise _BadRowError(begins, said) from None


def _trimmed(row: Sequence[str]) -> list[str]:
    """Return the cells without blanks at their ends and without empty cells behind the last."""
    cells = [cell.strip() for cell in row]
    while cells and not cells[-1]:
        cells.pop()
    return cells


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    """A header that was found. line: counted from 0; height: how many lines it takes.

    room: how many cells its line has, those without a heading behind the last one too.
    """

    delimiter: str
    line: int
    height: int
    cells: tuple[str, ...]
    commented: bool = False
    room: int = 0


class _HeaderSearch:
    """Looks for the line whose cells are headings, under every delimiter."""

    def __init__(
        self, lines: Sequence[str], vocabulary: Vocabulary, columns: Mapping[str, str]
    ) -> None:
        """Take the first lines of the text."""
        self._lines = lines
        self._vocabulary = vocabulary
        self._columns = columns

    def find(self) -> _Header | None:
        """Return the line with the most fields; of several readings the one that the rows fit."""
        best: tuple[bool, int, float, int, int] | None = None
        header = None
        for rank, delimiter in enumerate(_DELIMITERS):
            for candidate in self._candidates(delimiter):
                fields = self._fields(candidate.cells)
                if fields < min(2, len(candidate.cells)) or fields == 0:
                    continue
                if best is not None and best[0] and fields < best[1]:
                    continue
                fit = self._fit(candidate)
                # Rows of that many cells at all, then more fields, then a better fit, then a line
                # without comment mark, then the plainer delimiter; the first of equals stands.
                fits = fit >= _LEAST_FIT
                score = (fits, fields, fit, -int(candidate.commented), -rank)
                if best is None or score > best:
                    best, header = score, candidate
        return header

    def _candidates(self, delimiter: str) -> Iterator[_Header]:
        for at, line in enumerate(self._lines[:_SEARCHED_LINES]):
            if not line.strip() or (delimiter.strip(" ") and delimiter not in line):
                continue
            # "# id, n, e" is a header behind a comment mark; "#, n, e" has the mark as a heading.
            marked = _COMMENT.match(line)
            bare = line[marked.end() :].strip(" \t") if marked else line
            commented = marked is not None and not bare.startswith(delimiter.strip(" ") or "\t")
            below = islice(self._lines, at + 1, at + _TALLEST_HEADER)
            try:
                row, _ = next(_split(chain([bare if commented else line], below), delimiter))
            except (_BadRowError, StopIteration):
                continue
            cells = tuple(_trimmed(row))
            if cells:
                yield _Header(
                    delimiter=delimiter,
                    line=at,
                    height=1 + sum(cell.count("\n") for cell in row),
                    cells=cells,
                    commented=commented,
                    room=len(row),
                )

    def _fields(self, cells: Sequence[str]) -> int:
        claims = (self._vocabulary.claim(cell) for cell in cells if cell)
        known = {claim[0] for claim in claims if claim is not None}
        headings = {
            name: wanted for name, wanted in self._columns.items() if column_number(wanted) is None
        }
        known.update(name for name, places in mapped(headings, cells).items() if places)
        return len(known)

    def _fit(self, header: _Header) -> float:
        """Return the share of the lines below that have as many cells as the header."""
        below = self._lines[header.line + header.height : header.line + _SAMPLE_LINES]
        counts: list[int] = []
        for line in below:
            if not line.strip() or _COMMENT.match(line):
                continue
            try:
                counts.extend(len(_trimmed(row)) for row, _ in _split([line], header.delimiter))
            except _BadRowError:
                counts.append(0)
        return counts.count(len(header.cells)) / len(counts) if counts else 0.0


def _consistent_delimiter(lines: Sequence[str]) -> str:
    """Return the delimiter that splits most lines into one same number of cells, 2 or more."""
    best = (0.0, 0)
    chosen = ","
    for rank, delimiter in enumerate(_DELIMITERS):
        counts: list[int] = []
        for line in lines[:_SAMPLE_LINES]:
            if not line.strip() or _COMMENT.match(line):
                continue
            try:
                counts.extend(len(_trimmed(row)) for row, _ in _split([line], delimiter))
            except _BadRowError:
                counts.append(0)
        usual = max(set(counts), key=counts.count, default=0)
        if usual < 2:
            continue
        score = (counts.count(usual) / len(counts), -rank)
        if score > best:
            best, chosen = score, delimiter
    return chosen


def _decimal_comma(lines: Iterable[str], delimiter: str) -> bool:
    """Return whether the numbers of a table have decimal commas, by the greater count."""
    if delimiter == ",":
        return False
    commas = points = 0
    for line in lines:
        if "," in line:
            commas += len(_COMMA_NUMBER.findall(line))
        points += len(_POINT_NUMBER.findall(line)) if "." in line else 0
    return commas > points


# ---------------------------------------------------------------- the table


class _Body:
    """Sorts the rows below a header into rows, notices and problems."""

    def __init__(self, path: str, header: _Header, *, tail: bool) -> None:
        """Take the headings; tail: cells beyond the last column belong to it, parted by blanks."""
        self.path = path
        self.header = list(header.cells)
        self.delimiter = header.delimiter
        self.tail = tail
        self.columns: list[list[str]] = [[] for _ in self.header]
        self.lines: list[int] = []
        self.short: list[int] = []
        self.problems: list[Problem] = []
        self.more = 0
        self.empty: list[int] = []

    def read(self, lines: Iterable[str], first_line: int) -> None:
        """Split the lines, the first of which has that number, and keep their rows."""
        width = len(self.header)
        lines = list(lines)
        done = self._read_plain(lines, first_line)
        offset = first_line - 1 + done
        lines = lines[done:]
        rows: list[list[str]] = []
        keep, keep_line = rows.append, self.lines.append
        try:
            for row, begins in _split(lines, self.delimiter):
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
        except _BadRowError as fault:
            self.problems.append(
                Problem(
                    slug="open-quote",
                    where=Where(file=self.path, line=fault.line + offset),
                    message=f"{fault}; the rows from here on cannot be read",
                    hint='close the quotation mark; inside a quoted cell write it twice ("")',
                )
            )
        self._turn(rows)

    def _read_plain(self, lines: Sequence[str], first_line: int) -> int:
        """Read lines as long as each is a row of full width, lot by lot; return how many."""
        width = len(self.header)
        for begin in range(0, len(lines), _ROWS_AT_ONCE):
            lot = lines[begin : begin + _ROWS_AT_ONCE]
            try:
                rows = list(_reader(lot, self.delimiter, whole=True))
            except csv.Error:
                return begin
            if len(rows) != len(lot) or set(map(len, rows)) != {width}:
                return begin
            if not all(map(itemgetter(0), rows)):
                return begin
            self._turn(rows)
            self.lines.extend(range(first_line + begin, first_line + begin + len(lot)))
        return len(lines)

    def _turn(self, rows: list[list[str]]) -> None:
        """Move the rows' cells into the columns."""
        if rows:
            for column, cells in zip(self.columns, zip(*rows, strict=True), strict=True):
                column.extend(map(str.strip, cells))
        rows.clear()

    def _fitted(self, row: list[str], line: int) -> list[str] | None:
        """Return the cells as many as there are headings; None where the row is no row."""
        width = len(self.header)
        cells = _trimmed(row)
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
        gone = set(rows)
        kept = [row for row in range(len(self.lines)) if row not in gone]
        places = {row: place for place, row in enumerate(kept)}
        self.short = [places[row] for row in self.short if row in places]
        self.lines = [self.lines[row] for row in kept]
        self.columns = [[column[row] for row in kept] for column in self.columns]


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
        raise _unreadable(source.path, "empty-table", "the file is empty", "export the table again")
    lines = text.split("\n")
    header = _HeaderSearch(lines, vocabulary, columns).find()
    if header is None:
        header = _Unheaded(source.path, lines, columns).header(tail)
    first = header.line + header.height
    header = _widened(header, lines[first : first + _SAMPLE_LINES])
    refuse_too_large(source.path, 0, len(header.cells))
    below, comments = _without_comments(lines[first:], first + 1, header.delimiter)
    body = _Body(
        source.path,
        header,
        tail=header.delimiter == BLANKS and _last_field(header, vocabulary, columns) == tail,
    )
    body.read(below, first + 1)
    notices = _preamble(source.path, lines[: header.line])
    notices += _comments(source.path, comments)
    units, units_line, said = _unit_row(body)
    notices += said
    notices += _totals(body)
    notices += _repeated_headers(body)
    notices += _empty_rows(body)
    if not body.lines and not body.problems:
        raise _unreadable(
            source.path,
            "empty-table",
            "the table has a header and no row",
            "export the table again, or take it out of the job",
            header.line + 1,
        )
    dialect = Dialect(
        encoding=encoding,
        delimiter=header.delimiter,
        decimal_comma=_decimal_comma(below, header.delimiter),
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
        stated=_stated_units(lines, [*range(1, header.line + 1), *comments]),
        cells=tuple(body.columns),
        lines=np.array(body.lines, dtype=np.int64),
        short=tuple(body.short),
        problems=tuple(body.problems),
        unlisted=body.more,
        notices=tuple(notices),
    )


def _widened(header: _Header, below: Sequence[str]) -> _Header:
    """Return the header with columns that have no heading, where its line has room for them."""
    if header.room <= len(header.cells) or header.delimiter in (BLANKS, WIDE_BLANKS):
        return header
    most = 0
    for line in below:
        try:
            most = max([most, *(len(_trimmed(row)) for row, _ in _split([line], header.delimiter))])
        except _BadRowError:
            continue
    width = min(most, header.room)
    spare = ("",) * max(0, width - len(header.cells))
    return replace(header, cells=(*header.cells, *spare))


def find_headings(source: Source, vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the headings of a table as that vocabulary finds them; none where it finds none.

    Raises InputError where the file holds no text.
    """
    header = _HeaderSearch(decode(source)[0].split("\n"), vocabulary, {}).find()
    return header.cells if header is not None else ()


def _last_field(header: _Header, vocabulary: Vocabulary, columns: Mapping[str, str]) -> str | None:
    """Return the field that the last column is, as the job maps it or as its heading says."""
    last = len(header.cells) - 1
    for name, places in mapped(columns, header.cells).items():
        if places == [last]:
            return name
    claim = vocabulary.claim(header.cells[last])
    return claim[0] if claim is not None else None


class _Unheaded:
    """A table in which no line is recognised as the header."""

    def __init__(self, path: str, lines: Sequence[str], columns: Mapping[str, str]) -> None:
        """Take the lines and what the job says of the columns."""
        self._path = path
        self._columns = columns
        self._delimiter = _consistent_delimiter(lines)
        sample = [
            (i, line)
            for i, line in enumerate(lines[: 10 * _SAMPLE_LINES])
            if line.strip() and not _is_comment(line, self._delimiter)
        ]
        self._at = sample[0][0] if sample else 0
        self._line = lines[self._at].strip()
        self._rows: list[list[str]] = []
        for _, line in sample[:_SAMPLE_LINES]:
            try:
                self._rows.extend(_trimmed(row) for row, _ in _split([line], self._delimiter))
            except _BadRowError:
                self._rows.append([line])

    def header(self, tail: str | None) -> _Header:
        """Return a header by the places that the job gives; InputError where it gives none."""
        cells = self._rows[0] if self._rows else []
        numbers = sum(bool(re.fullmatch(r"[+-]?[\d.,]*\d", cell)) for cell in cells)
        places = {name: column_number(wanted) for name, wanted in self._columns.items()}
        given = [place for place in places.values() if place is not None]
        if not given or len(given) < len(places):
            raise self._refused(numbers)
        width = max(given)
        if tail is None or self._delimiter != BLANKS or places.get(tail) != width:
            width = max([width, *(len(row) for row in self._rows)])
        names = {place: name for name, place in places.items()}
        unnamed = [names.get(i + 1, f"column {i + 1}") for i in range(width)]
        return _Header(
            delimiter=self._delimiter,
            line=self._at,
            height=0 if numbers else 1,
            cells=tuple(unnamed if numbers else [*cells, *unnamed[len(cells) :]]),
        )

    def _refused(self, numbers: int) -> InputError:
        if numbers >= 2:
            return _unreadable(
                self._path,
                "no-header",
                f"the table has no header line; it begins with {quoted(self._line, 100)}",
                "add a header such as id,northing,easting,elevation, or give the places of the "
                'columns, counted from 1: columns = { id = "1", northing = "2", easting = "3" }',
                self._at + 1,
            )
        return _unreadable(
            self._path,
            "no-header",
            f"no header line is recognised; the first line is {quoted(self._line, 100)}",
            "name the headings in the job with columns = { ... }, or give the columns the trade's "
            "usual headings, such as id, northing, easting, elevation for points",
            self._at + 1,
        )


def _is_comment(line: str, delimiter: str) -> bool:
    return _COMMENT.match(line) is not None or (
        delimiter != ";" and line.lstrip(" \t").startswith(";")
    )


def _without_comments(
    lines: Sequence[str], first: int, delimiter: str
) -> tuple[list[str], list[int]]:
    """Return the lines with comments made blank, and the numbers of those."""
    marks = frozenset("#/; \t")
    comments = [
        i for i, line in enumerate(lines) if line[:1] in marks and _is_comment(line, delimiter)
    ]
    kept = list(lines)
    for i in comments:
        kept[i] = ""
    return kept, [first + i for i in comments]


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


def _stated_units(
    lines: Sequence[str], numbers: Sequence[int]
) -> tuple[tuple[HeadingUnit, int], ...]:
    """Return the units of length that these lines name, such as "units: metres"."""
    stated = []
    for number in numbers:
        match = _STATED_UNIT.search(lines[number - 1])
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
