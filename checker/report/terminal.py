"""Sections of text and tables for a terminal: with rules and bold where it is one, else plain."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from checker.text import printable

_CELL: Final = 60
"""Longer cells are cut; what a table says in full stands in the file itself."""
_GAP: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading, lines below it, and perhaps a table. numbers: columns set to the right."""

    title: str
    lines: tuple[str, ...] = ()
    headings: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    numbers: frozenset[int] = frozenset()


def plain(sections: Sequence[Section]) -> str:
    """Return sections as text of even columns; no line ends with blanks."""
    blocks = []
    for section in sections:
        lines = [printable(section.title)]
        lines += [f"  {printable(line)}" for line in section.lines]
        if section.headings:
            lines += _columns(section)
        blocks.append("\n".join(line.rstrip() for line in lines))
    return "\n\n".join(blocks) + "\n"


def _columns(section: Section) -> list[str]:
    table = [section.headings, *section.rows]
    cells = [[_cut(printable(cell)) for cell in row] for row in table]
    widths = [max(len(row[i]) for row in cells) for i in range(len(section.headings))]
    return [
        "  "
        + (" " * _GAP).join(
            cell.rjust(width) if i in section.numbers else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in cells
    ]


def _cut(text: str) -> str:
    return text if len(text) <= _CELL else text[: _CELL - 3] + "..."


def styled(sections: Sequence[Section], width: int, *, colour: bool) -> str:
    """Return sections for a terminal of that many columns; colour: bold and dim are understood."""
    from rich import box
    from rich.console import Console
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    out = io.StringIO()
    console = Console(
        file=out,
        width=max(width, 40),
        force_terminal=colour,
        color_system="standard" if colour else None,
        highlight=False,
        markup=False,
        emoji=False,
        legacy_windows=False,
    )
    for number, section in enumerate(sections):
        if number:
            console.print()
        console.print(Text(printable(section.title), style="bold"))
        for line in section.lines:
            console.print(Padding(Text(printable(line)), (0, 0, 0, 2), expand=False))
        if section.headings:
            table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
            for i, heading in enumerate(section.headings):
                table.add_column(
                    Text(heading),
                    justify="right" if i in section.numbers else "left",
                    overflow="fold",
                )
            for row in section.rows:
                table.add_row(*(Text(_cut(printable(cell))) for cell in row))
            console.print(Padding(table, (0, 0, 0, 2), expand=False))
    return "".join(f"{line.rstrip()}\n" for line in out.getvalue().splitlines())
