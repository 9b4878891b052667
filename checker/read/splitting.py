"""Lines of a table to cells, under each of the ways in which columns may be parted."""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import _csv

BLANKS: Final = " "
"""Delimiter of a table whose columns are parted by runs of blanks or tabs."""
WIDE_BLANKS: Final = "  "
"""The same, where only two blanks and more part the columns, so that a cell may hold one."""
DELIMITERS: Final = {
    "\t": "tabs",
    ";": "semicolons",
    "|": "vertical bars",
    ",": "commas",
    BLANKS: "blanks",
    WIDE_BLANKS: "runs of blanks",
}
_WIDE = re.compile(r"[ \t]{2,}|\t")
COMMENT = re.compile(r"[ \t]*(?:#|//)")


def _prepared(lines: Iterable[str], delimiter: str) -> Iterator[str]:
    """Return lines, each with its end, so that the csv module can split them by one character."""
    if delimiter == BLANKS:
        return (line.replace("\t", " ") + "\n" for line in lines)
    if delimiter == WIDE_BLANKS:
        return (_WIDE.sub("\t", line.strip(" \t")) + "\n" for line in lines)
    return (line + "\n" for line in lines)


class BadRowError(Exception):
    """A row whose quotation marks do not fit. line: from 1, where the row begins."""

    def __init__(self, line: int, said: str) -> None:
        """Keep the line beside what is wrong."""
        super().__init__(said)
        self.line = line


def row_reader(lines: Iterable[str], delimiter: str, *, whole: bool = False) -> "_csv.Reader":
    """Return what splits lines. whole: every line is a row, so its end need not be told."""
    return csv.reader(
        lines if whole and delimiter.strip(" ") else _prepared(lines, delimiter),
        delimiter="\t" if delimiter == WIDE_BLANKS else delimiter,
        skipinitialspace=True,
        strict=True,
    )


def split_rows(lines: Iterable[str], delimiter: str) -> Iterator[tuple[list[str], int]]:
    """Yield each row's cells and the line, from 1, on which it begins.

    Raises BadRowError where a quoted cell is not closed or goes on behind its end.
    """
    reader = row_reader(lines, delimiter)
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
        raise BadRowError(begins, said) from None


def trimmed(row: Sequence[str]) -> list[str]:
    """Return the cells without blanks at their ends and without empty cells behind the last."""
    cells = [cell.strip() for cell in row]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def is_comment(line: str, delimiter: str) -> bool:
    """Return whether a line is a comment; a semicolon begins one unless it parts the columns."""
    return COMMENT.match(line) is not None or (
        delimiter != ";" and line.lstrip(" \t").startswith(";")
    )


def without_comments(lot: str, first: int, delimiter: str) -> tuple[str, list[tuple[int, str]]]:
    """Return lines with comments made blank, and those with their numbers.

    The same text where there are none. first: the number of the first line.
    """
    if not ("#" in lot or "//" in lot or (delimiter != ";" and ";" in lot)):
        return lot, []
    lines = lot.split("\n")
    marks = frozenset("#/; \t")
    comments = [
        i for i, line in enumerate(lines) if line[:1] in marks and is_comment(line, delimiter)
    ]
    if not comments:
        return lot, []
    found = [(first + i, lines[i]) for i in comments]
    for i in comments:
        lines[i] = ""
    return "\n".join(lines), found
