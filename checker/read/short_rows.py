"""Rows of a table of points that have fewer cells than the header: texts may lack, numbers not."""

from typing import Final

from checker.read.cells import Faults
from checker.read.headings import Assignment
from checker.read.tables import SHORT_ROW_HINT, Table

_MAY_LACK: Final = frozenset(("description", "base", "session"))
"""Texts that a row may leave out at its end, the signs that part the columns with them."""


def whole_rows(table: Table, assigned: Assignment, faults: Faults) -> Table:
    """Return the table without the rows that lack cells of more than texts; each is a fault.

    In a table of blanks only a description in the last column may lack: nobody could tell which
    cell of a shorter row is missing. A row that is refused says nothing else: a cell too few shifts
    the others, and what their columns would say of them is no fault of theirs.
    """
    last = assigned.columns.get("description")
    spare = last is not None and last.index == len(table.header) - 1
    short = [
        row
        for row in table.short
        if not spare or (len(table.header) > 1 and not table.cells[-2][row])
    ]
    faults.of_rows(
        table, short, None, lambda row: ("row-width", table.short_row(row), SHORT_ROW_HINT)
    )
    numbers = {column.index for name, column in assigned.columns.items() if name not in _MAY_LACK}
    scant = table.lacking(numbers)
    faults.of_rows(table, scant, None, table.scant_row)
    return table.without((*short, *scant))
