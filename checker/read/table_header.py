"""The header of a table: which line it is, and what the columns are where there is none."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice
from typing import Final

from checker.errors import InputError
from checker.read.decoding import decode, unreadable
from checker.read.files import Source
from checker.read.headings import Vocabulary, column_number, mapped
from checker.read.splitting import (
    BLANKS,
    COMMENT,
    DELIMITERS,
    WIDE_BLANKS,
    BadRowError,
    is_comment,
    split_rows,
    trimmed,
)
from checker.text import quoted

_SEARCHED_LINES: Final = 100
"""How far down a header is looked for."""
_TALLEST_HEADER: Final = 20
"""So many lines a header with line breaks in its headings may take."""
_LEAST_FIT: Final = 0.1
"""Of the lines below a header at least this share has as many cells, if another header's has."""
SAMPLE_LINES: Final = 200
"""How many lines tell the delimiter."""
HEAD_LINES: Final = 10 * SAMPLE_LINES
"""So many lines are looked at to find the header and how the table is written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """A header that was found. line: counted from 0; height: how many lines it takes.

    room: how many cells its line has, those without a heading behind the last one too.
    """

    delimiter: str
    line: int
    height: int
    cells: tuple[str, ...]
    commented: bool = False
    room: int = 0


class HeaderSearch:
    """Looks for the line whose cells are headings, under every delimiter."""

    def __init__(
        self, lines: Sequence[str], vocabulary: Vocabulary, columns: Mapping[str, str]
    ) -> None:
        """Take the first lines of the text."""
        self._lines = lines
        self._vocabulary = vocabulary
        self._columns = columns

    def find(self) -> Header | None:
        """Return the line with the most fields; of several readings the one that the rows fit."""
        best: tuple[bool, int, float, int, int] | None = None
        header = None
        for rank, delimiter in enumerate(DELIMITERS):
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

    def _candidates(self, delimiter: str) -> Iterator[Header]:
        for at, line in enumerate(self._lines[:_SEARCHED_LINES]):
            if not line.strip() or (delimiter.strip(" ") and delimiter not in line):
                continue
            # "# id, n, e" is a header behind a comment mark; "#, n, e" has the mark as a heading.
            marked = COMMENT.match(line)
            bare = line[marked.end() :].strip(" \t") if marked else line
            commented = marked is not None and not bare.startswith(delimiter.strip(" ") or "\t")
            below = islice(self._lines, at + 1, at + _TALLEST_HEADER)
            try:
                row, _ = next(split_rows(chain([bare if commented else line], below), delimiter))
            except (BadRowError, StopIteration):
                continue
            cells = tuple(trimmed(row))
            if cells:
                yield Header(
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

    def _fit(self, header: Header) -> float:
        """Return the share of the lines below that have as many cells as the header."""
        below = self._lines[header.line + header.height : header.line + SAMPLE_LINES]
        counts: list[int] = []
        for line in below:
            if not line.strip() or COMMENT.match(line):
                continue
            try:
                counts.extend(len(trimmed(row)) for row, _ in split_rows([line], header.delimiter))
            except BadRowError:
                counts.append(0)
        return counts.count(len(header.cells)) / len(counts) if counts else 0.0


def _consistent_delimiter(lines: Sequence[str]) -> str:
    """Return the delimiter that splits most lines into one same number of cells, 2 or more."""
    best = (0.0, 0)
    chosen = ","
    for rank, delimiter in enumerate(DELIMITERS):
        counts: list[int] = []
        for line in lines[:SAMPLE_LINES]:
            if not line.strip() or COMMENT.match(line):
                continue
            try:
                counts.extend(len(trimmed(row)) for row, _ in split_rows([line], delimiter))
            except BadRowError:
                counts.append(0)
        usual = max(set(counts), key=counts.count, default=0)
        if usual < 2:
            continue
        score = (counts.count(usual) / len(counts), -rank)
        if score > best:
            best, chosen = score, delimiter
    return chosen


class Unheaded:
    """A table in which no line is recognised as the header."""

    def __init__(self, path: str, lines: Sequence[str], columns: Mapping[str, str]) -> None:
        """Take the lines and what the job says of the columns."""
        self._path = path
        self._columns = columns
        self._delimiter = _consistent_delimiter(lines)
        sample = [
            (i, line)
            for i, line in enumerate(lines[:HEAD_LINES])
            if line.strip() and not is_comment(line, self._delimiter)
        ]
        self._at = sample[0][0] if sample else 0
        self._line = lines[self._at].strip()
        self._rows: list[list[str]] = []
        for _, line in sample[:SAMPLE_LINES]:
            try:
                self._rows.extend(trimmed(row) for row, _ in split_rows([line], self._delimiter))
            except BadRowError:
                self._rows.append([line])

    def header(self, tail: str | None) -> Header:
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
        return Header(
            delimiter=self._delimiter,
            line=self._at,
            height=0 if numbers else 1,
            cells=tuple(unnamed if numbers else [*cells, *unnamed[len(cells) :]]),
        )

    def _refused(self, numbers: int) -> InputError:
        if numbers >= 2:
            return unreadable(
                self._path,
                "no-header",
                f"the table has no header line; it begins with {quoted(self._line, 100)}",
                "add a header such as id,northing,easting,elevation, or give the places of the "
                'columns, counted from 1: columns = { id = "1", northing = "2", easting = "3" }',
                self._at + 1,
            )
        return unreadable(
            self._path,
            "no-header",
            f"no header line is recognised; the first line is {quoted(self._line, 100)}",
            "name the headings in the job with columns = { ... }, or give the columns the trade's "
            "usual headings, such as id, northing, easting, elevation for points",
            self._at + 1,
        )


def widened(header: Header, below: Sequence[str]) -> Header:
    """Return the header with columns that have no heading, where its line has room for them."""
    if header.room <= len(header.cells) or header.delimiter in (BLANKS, WIDE_BLANKS):
        return header
    most = 0
    for line in below:
        try:
            most = max(
                [most, *(len(trimmed(row)) for row, _ in split_rows([line], header.delimiter))]
            )
        except BadRowError:
            continue
    width = min(most, header.room)
    spare = ("",) * max(0, width - len(header.cells))
    return replace(header, cells=(*header.cells, *spare))


def last_field(header: Header, vocabulary: Vocabulary, columns: Mapping[str, str]) -> str | None:
    """Return the field that the last column is, as the job maps it or as its heading says."""
    last = len(header.cells) - 1
    for name, places in mapped(columns, header.cells).items():
        if places == [last]:
            return name
    claim = vocabulary.claim(header.cells[last])
    return claim[0] if claim is not None else None


def find_headings(source: Source, vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the headings of a table as that vocabulary finds them; none where it finds none.

    Raises InputError where the file holds no text.
    """
    lines = decode(source)[0].split("\n", HEAD_LINES)[:HEAD_LINES]
    header = HeaderSearch(lines, vocabulary, {}).find()
    return header.cells if header is not None else ()
