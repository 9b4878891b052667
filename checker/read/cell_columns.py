"""Cells of a large table in little memory, and plain rows of it split at once.

A million short texts take more than ten times the room of their characters: here a column keeps
its cells as a few long texts and makes single ones again when they are asked for.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from itertools import compress
from typing import Final, overload

END: Final = "\0"
"""Stands between the cells of a lot; no table of text holds it."""
LOT_CELLS: Final = 4096
"""So many cells of a column are kept as single texts before they are put into one."""
LOT_CHARACTERS: Final = 1 << 16
"""So much of a table's text is split at once: it stays in the processor's cache."""
LONGEST_CELL: Final = 100_000
"""The csv module takes no cell that is much longer, and says so."""
_OTHER_BLANKS: Final = " \t\v\f\x1c\x1d\x1e\x1f"
"""What `str.strip` takes from the ends of a cell of ASCII, line feeds left aside."""


class CellColumn(Sequence[str]):
    """A column's cells from top to bottom; reads as a list of texts does."""

    __slots__ = ("_begins", "_last", "_lots", "_tail")

    def __init__(self, cells: Iterable[str] = ()) -> None:
        """Take the first cells."""
        self._lots: list[str] = []
        self._begins: list[int] = [0]
        self._tail: list[str] = []
        self._last: tuple[int, list[str]] = (-1, [])
        self.extend(cells)

    def extend(self, cells: Iterable[str]) -> None:
        """Add cells below."""
        self._tail.extend(cells)
        if len(self._tail) >= LOT_CELLS:
            self._begins.append(self._begins[-1] + len(self._tail))
            self._lots.append(END.join(self._tail))
            self._tail = []

    def __len__(self) -> int:
        """Return the number of cells."""
        return self._begins[-1] + len(self._tail)

    @overload
    def __getitem__(self, index: int) -> str: ...

    @overload
    def __getitem__(self, index: slice) -> list[str]: ...

    def __getitem__(self, index: int | slice) -> str | list[str]:
        """Return one cell, or some of them as a list."""
        if isinstance(index, slice):
            return [self[row] for row in range(*index.indices(len(self)))]
        row = index + len(self) if index < 0 else index
        if not 0 <= row < len(self):
            raise IndexError(index)
        if row >= self._begins[-1]:
            return self._tail[row - self._begins[-1]]
        lot = bisect_right(self._begins, row) - 1
        if self._last[0] != lot:
            self._last = (lot, self._lots[lot].split(END))
        return self._last[1][row - self._begins[lot]]

    def __iter__(self) -> Iterator[str]:
        """Yield every cell."""
        for lot in self.lots():
            yield from lot

    def __eq__(self, other: object) -> bool:
        """Return whether the cells are those of another column or list."""
        if not isinstance(other, CellColumn | list):
            return NotImplemented
        return len(self) == len(other) and all(a == b for a, b in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]  # it may grow

    def __repr__(self) -> str:
        """Return the cells as of a list."""
        return repr(list(self))

    def __contains__(self, cell: object) -> bool:
        """Return whether a cell holds that text and nothing else."""
        return any(cell in lot for lot in self.lots())

    def kept(self, keep: Sequence[int]) -> "CellColumn":
        """Return the cells whose place has something else than 0 in `keep`."""
        column = CellColumn()
        begin = 0
        for lot in self.lots():
            column.extend(compress(lot, keep[begin : begin + len(lot)]))
            begin += len(lot)
        return column

    def joined(self) -> Iterator[str]:
        """Yield the cells lot by lot, as one text each, with `END` between them."""
        yield from self._lots
        if self._tail:
            yield END.join(self._tail)

    def lots(self) -> Iterator[list[str]]:
        """Yield the cells lot by lot."""
        for lot in self._lots:
            yield lot.split(END)
        if self._tail:
            yield self._tail


def joined_lots(cells: Sequence[str]) -> list[str]:
    """Return the cells of a column as few long texts, with `END` between them."""
    if isinstance(cells, CellColumn):
        return list(cells.joined())
    return [END.join(cells)] if cells else []


def text_lots(text: str, begin: int) -> Iterator[str]:
    """Yield a text from a place on in lots of whole lines, each without its last line feed.

    A text that ends with a line feed has an empty last line, as for `str.split`. Nothing where the
    place lies beyond the end.
    """
    while begin <= len(text):
        end = text.find("\n", min(begin + LOT_CHARACTERS, len(text)))
        end = len(text) if end < 0 else end
        yield text[begin:end]
        begin = end + 1


def plain_columns(lot: str, delimiter: str, width: int) -> list[list[str]] | None:
    """Return the columns of lines that are all plain rows of that many cells; None where not.

    lot: lines with line feeds between them. Plain: no quotation mark, cells parted by one
    character, none of them longer than a table may have, and the first of each row filled. The
    cells come without blanks at their ends.
    """
    if '"' in lot or len(lot) > LONGEST_CELL:
        return None
    # Every row ends with a cell of its own that holds a line feed: where all of these stand in
    # their column, all rows are of the same width.
    flat = lot.replace("\n", f"{delimiter}\n{delimiter}").split(delimiter)
    rows, step = lot.count("\n") + 1, width + 1
    if len(flat) != rows * step - 1 or flat[width::step].count("\n") != rows - 1:
        return None
    columns = [flat[place::step] for place in range(width)]
    if not lot.isascii() or any(blank in lot for blank in _OTHER_BLANKS):
        columns = [list(map(str.strip, column)) for column in columns]
    return columns if all(columns[0]) else None
