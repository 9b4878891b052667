"""Where pages and rows are found: files of a folder, or anchors of the one file."""

import re
from collections.abc import Sequence

from checker.model.finding import Results
from checker.report import tables
from checker.report.escape import slug

_PART = re.compile(r"-part-\d+$")
"""What a further page of a table is called: a check that is called so would be taken for one."""


class Links:
    """Where pages and rows are found: files of a folder, or anchors of the one file."""

    def __init__(self, results: Results, *, single_file: bool) -> None:
        """Name a page for every check; names that would collide are numbered."""
        self._single = single_file
        self._files: list[str] = []
        taken: set[str] = set()
        for number, finding in enumerate(results.findings, 1):
            base = f"check-{slug(finding.measure.name) or number}"
            if base in taken or _PART.search(base):
                base = f"{base}-{number}"
            while base in taken or _PART.search(base):
                base += "-x"
            taken.add(base)
            self._files.append(base)

    def check_file(self, number: int, part: int = 1) -> str:
        """Return the file of a part of a check's table; number counts from 0, part from 1."""
        return f"{self._files[number]}{f'-part-{part}' if part > 1 else ''}.html"

    def check(self, number: int, part: int = 1) -> str:
        """Return the link to a check's page or to a part of its table."""
        if self._single:
            return f"#c{number + 1}" if part == 1 else f"#c{number + 1}-table-{part}"
        return self.check_file(number, part)

    def row(self, number: int, row: int, anchor: str) -> str:
        """Return the link to a row."""
        if self._single:
            return f"#{anchor}"
        return f"{self.check_file(number, row // tables.PAGE_ROWS + 1)}#{anchor}"

    def rows(self, number: int, anchor: Sequence[str]) -> list[str]:
        """Return the links to all rows of a check."""
        found: list[str] = []
        for first in range(0, len(anchor), tables.PAGE_ROWS):
            page = self.row(number, first, "")
            found += [page + name for name in anchor[first : first + tables.PAGE_ROWS]]
        return found

    def page(self, key: str) -> str:
        """Return the link to one of the other pages."""
        return f"#{key}" if self._single else f"{key}.html"
