"""Faults of an input: what is wrong, where, and what to do about it.

A reader collects every `Problem` of every file and raises one `InputError`. Only `cli` catches
`CheckerError`; anything else is a fault of ours and keeps its traceback.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """A place in an input, as the user would look for it.

    file: path as the job names it. line, column: counted from 1; None where they mean nothing.
    part: for a drawing "layer CURB, LWPOLYLINE handle 2F"; for a table the column's heading.
    """

    file: str
    line: int | None = None
    column: int | None = None
    part: str | None = None

    def __str__(self) -> str:
        """Return ``file:line (part)``, with what is known."""
        text = self.file
        if self.line is not None:
            text += f":{self.line}"
        if self.column is not None:
            text += f":{self.column}"
        return f"{text} ({self.part})" if self.part else text


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One fault of an input.

    slug: kebab-case name of the kind of fault; every slug is listed in the README.
    message: what is wrong, the found text quoted. hint: what to do.
    """

    slug: str
    where: Where
    message: str
    hint: str

    def __str__(self) -> str:
        """Return the two lines that the terminal shows."""
        return f"{self.where}: {self.message} [{self.slug}]\n    hint: {self.hint}"


class CheckerError(Exception):
    """A fault that the user can mend; `exit_status` is what the command returns."""

    exit_status = 2


class InputError(CheckerError):
    """The job or an input is at fault; carries every problem that was found."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        """Keep the problems in the order in which they were found, each once."""
        self.problems = tuple(dict.fromkeys(problems))
        super().__init__("\n".join(str(problem) for problem in self.problems))


class OutputError(CheckerError):
    """The report could not be written: full disk, read-only folder, foreign files in the way."""
