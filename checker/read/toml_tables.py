"""Values of a TOML table, taken one by one and checked; every fault becomes a `Problem`.

A table is asked for each key that it may have. What was never asked for is unknown, and is reported
with the nearest key that was.
"""

import datetime
import difflib
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, TypeGuard, TypeVar

from checker.errors import Problem, Where
from checker.read.toml_faults import BACKSLASH_HINT
from checker.read.toml_lines import Path, TomlLines
from checker.text import quoted as found_text
from checker.units import UnitError

T = TypeVar("T")
E = TypeVar("E", bound=StrEnum)

_LONGEST_QUOTE = 60
_LONGEST_NUMBER = 10**18


def quoted(value: object) -> str:
    """Return a TOML value as a message quotes it."""
    if isinstance(value, dict):
        return "a table { ... }"
    if isinstance(value, list):
        return "a list [ ... ]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if not isinstance(value, str):
        try:
            return str(value)[:_LONGEST_QUOTE]
        except ValueError:  # an integer of thousands of digits
            return "a very long number"
    return found_text(value)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that looks most like this one, or None."""
    by_lower = {name.lower(): name for name in known}
    found = difflib.get_close_matches(word.lower()[:100], by_lower, n=1, cutoff=0.6)
    return by_lower[found[0]] if found else None


_SAME_WORD: Final = {
    **dict.fromkeys(("feet", "ft", "ift", "international foot", "international feet"), "foot"),
    **dict.fromkeys(("usft", "us-ft", "ftus", "us feet", "us survey feet"), "us-survey-foot"),
    **dict.fromkeys(("m", "mtr", "meters", "metres"), "metre"),
    **dict.fromkeys(("mm", "millimeters", "millimetres"), "millimetre"),
    **dict.fromkeys(("cm", "centimeters", "centimetres"), "centimetre"),
    **dict.fromkeys(("in", '"', "inches"), "inch"),
}
"""What looks unlike a known word and means it."""


def meant_word(word: str) -> str:
    """Return the known word that a text means without looking like it, else the text itself."""
    return _SAME_WORD.get(word.strip().lower(), word.strip())


def listed(words: Iterable[str], last: str = "or") -> str:
    """Return "a, b or c"."""
    *first, end = words
    return f"{', '.join(first)} {last} {end}" if first else end


def meant(word: str, known: Iterable[str], what: str) -> str:
    """Return a hint: the nearest known word, or all of them."""
    names = sorted(known)
    close = nearest(word, names)
    if close is not None:
        return f"did you mean {quoted(close)}?"
    return f"{what}: {', '.join(names)}" if names else f"{what}: none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Where the faults of one TOML file are collected."""

    file: str
    lines: TomlLines
    problems: list[Problem] = field(default_factory=list)

    def where(self, path: Path) -> Where:
        """Return the place of a key."""
        return Where(file=self.file, line=self.lines.line(path))

    def add(self, slug: str, path: Path, message: str, hint: str) -> None:
        """Keep a fault."""
        self.problems.append(Problem(slug=slug, where=self.where(path), message=message, hint=hint))


class Table:
    """One TOML table: a section, or an inline table.

    path: its place in the file. name: dotted, without positions.
    title: as messages call it. Getters return None where the key is left out or at fault.
    """

    def __init__(
        self, report: Report, path: Path, data: Mapping[str, object], *, name: str, title: str
    ) -> None:
        """Take the table; `done` must follow when every key was asked for."""
        self.report = report
        self.path = path
        self.data = data
        self.name = name
        self.title = title
        self._asked: set[str] = set()

    @property
    def where(self) -> Where:
        """The line of its heading, or of its key."""
        return self.report.where(self.path)

    def has(self, key: str) -> bool:
        """Tell whether the key stands there, sound or not."""
        self._asked.add(key)
        return key in self.data

    def fault(self, slug: str, key: str | None, message: str, hint: str) -> None:
        """Keep a fault of a key, or of the table itself."""
        path = self.path if key is None else (*self.path, key)
        self.report.add(slug, path, message, hint)

    def wrong(self, key: str, expected: str, value: object, *, index: int | None = None) -> None:
        """Keep the fault that a value is of another kind than it should be."""
        path: Path = (*self.path, key) if index is None else (*self.path, key, index)
        self.report.add(
            "wrong-type",
            path,
            f"{self.title}: {key} is {quoted(value)}; expected {expected}",
            f"write {key} as {expected}",
        )

    def missing(self, key: str, why: str) -> None:
        """Keep the fault that a key is left out."""
        self.fault(
            "missing-key",
            None,
            f"{self.title} has no {key}",
            f"add {key}: {why}",
        )

    def unknown(self) -> list[str]:
        """Return the keys that were not asked for so far."""
        return [key for key in self.data if key not in self._asked]

    def done(self) -> None:
        """Report every key that was never asked for."""
        for key in self.unknown():
            self.fault(
                "unknown-key",
                key,
                f"{self.title} has an unknown key {quoted(key)}",
                meant(key, self._asked, "its keys are"),
            )

    # ------------------------------------------------------------ texts

    def text(self, key: str, *, number_too: bool = False) -> str | None:
        """Return a text that is not empty; number_too: a number, date is taken as it stands."""
        if not self.has(key):
            return None
        value = self.data[key]
        if number_too and is_short_number(value):
            return str(value)
        if number_too and isinstance(value, datetime.date) and not _has_time(value):
            return value.isoformat()
        if not isinstance(value, str):
            self.wrong(key, "a text in quotation marks", value)
        elif not value.strip():
            self.fault(
                "empty-text",
                key,
                f"{self.title}: {key} is empty",
                f"fill it in, or take {key} out",
            )
        elif self._is_clean(key, value):
            return value.strip()
        return None

    def _is_clean(self, key: str, text: str) -> bool:
        """Tell whether a text holds no control characters but blanks and line ends."""
        if all(c in "\t\n\r" or unicodedata.category(c) != "Cc" for c in text):
            return True
        self.fault(
            "bad-value",
            key,
            f"{self.title}: {key} is {quoted(text)}, with control characters in it",
            f"{BACKSLASH_HINT}; rename a file that has such a sign in its name",
        )
        return False

    def file(self, key: str) -> str | None:
        """Return the path of a file."""
        found = self.text(key)
        return None if found is None or not self._is_path(key, found) else found

    def files(self, key: str) -> tuple[str, ...]:
        """Return the paths of files: one text or a list of them, none twice."""
        found = self.texts(key, what="file")
        for index, path in enumerate(found):
            if path in found[:index]:
                self.fault(
                    "conflicting-keys",
                    key,
                    f"{self.title}: {key} names {quoted(path)} twice",
                    "name every file once",
                )
        return tuple(path for path in dict.fromkeys(found) if self._is_path(key, path))

    def _is_path(self, key: str, path: str) -> bool:
        if path.isprintable():
            return True
        self.fault(
            "bad-value",
            key,
            f"{self.title}: {key} is {quoted(path)}, with characters that no file name has",
            BACKSLASH_HINT,
        )
        return False

    def _listed(self, key: str, remedy: str) -> list[object]:
        """Return one value or those of a list, as a list; an empty list is a fault."""
        if not self.has(key):
            return []
        value = self.data[key]
        values = value if isinstance(value, list) else [value]
        if not values:
            self.fault(
                "empty-text",
                key,
                f"{self.title}: {key} is an empty list",
                f"{remedy}, or take {key} out",
            )
        return values

    def texts(self, key: str, *, what: str = "text", number_too: bool = False) -> tuple[str, ...]:
        """Return one text, or a list of texts that is not empty; () where left out."""
        listed_here = isinstance(self.data.get(key), list)
        found = []
        for index, item in enumerate(self._listed(key, f"name at least one {what}")):
            at = index if listed_here else None
            if number_too and isinstance(item, int) and is_short_number(item):
                found.append(str(item))
            elif not isinstance(item, str):
                self.wrong(key, "a text in quotation marks, or a list of texts", item, index=at)
            elif not item.strip():
                self.fault(
                    "empty-text",
                    key,
                    f"{self.title}: {key} has an empty text",
                    f"name the {what}, or take the empty one out",
                )
            elif self._is_clean(key, item):
                found.append(item.strip())
        return tuple(found)

    def choice(self, key: str, kind: type[E]) -> E | None:
        """Return one of an enumeration's words."""
        return self.one_of(key, {str(word): word for word in kind})

    def one_of(self, key: str, words: Mapping[str, T]) -> T | None:
        """Return what one of these words stands for."""
        if not self.has(key):
            return None
        value = self.data[key]
        expected = listed(quoted(word) for word in words)
        if not isinstance(value, str):
            self.wrong(key, expected, value)
            return None
        word = value.strip()
        if word in words:
            return words[word]
        same = _SAME_WORD.get(word.lower())
        close = same if same in words else nearest(word, words)
        self.fault(
            "wrong-choice",
            key,
            f"{self.title}: {key} is {quoted(value)}; expected {expected}",
            f"did you mean {quoted(close)}?" if close else f"write {expected}",
        )
        return None

    # ------------------------------------------------------------ numbers

    def flag(self, key: str, *, default: bool) -> bool:
        """Return true or false."""
        if not self.has(key):
            return default
        value = self.data[key]
        if isinstance(value, bool):
            return value
        self.wrong(key, "true or false", value)
        return default

    def date(self, key: str) -> datetime.date | None:
        """Return a date without a time."""
        if not self.has(key):
            return None
        value = self.data[key]
        if isinstance(value, datetime.date) and not _has_time(value):
            return value
        self.wrong(key, "a date such as 2031-04-17, without quotation marks", value)
        return None

    def parsed(
        self,
        key: str,
        parse: Callable[[str | float], T],
        expected: str,
        *,
        accept: Callable[[T], bool] = lambda _: True,
        slug: str = "bad-value",
        remedy: str = "",
    ) -> T | None:
        """Return what `parse` makes of a text or number; `accept` holds the range that it may have.

        expected: the quantity and its range, in words. remedy: for a value out of that range.
        """
        if not self.has(key):
            return None
        return self._parse(key, self.data[key], parse, expected, accept, slug, remedy)

    def parsed_list(
        self,
        key: str,
        parse: Callable[[str | float], T],
        expected: str,
        *,
        accept: Callable[[T], bool] = lambda _: True,
    ) -> tuple[T, ...]:
        """Return what `parse` makes of one value or a list of values; () where left out."""
        values = self._listed(key, f"write {expected}")
        found = [self._parse(key, item, parse, expected, accept, "bad-value") for item in values]
        return tuple(item for item in found if item is not None)

    def _parse(
        self,
        key: str,
        value: object,
        parse: Callable[[str | float], T],
        expected: str,
        accept: Callable[[T], bool],
        slug: str,
        remedy: str = "",
    ) -> T | None:
        if not (isinstance(value, str) or _is_number(value)):
            self.wrong(key, expected, value)
            return None
        try:
            found = parse(value)
        except UnitError as error:
            hint = error.hint or f"write {expected}"
            self.fault("bad-value", key, f"{self.title}: {key}: {error}", hint)
            return None
        if accept(found):
            return found
        self.fault(
            slug,
            key,
            f"{self.title}: {key} is {quoted(value)}; expected {expected}",
            remedy or f"write {expected}",
        )
        return None

    def number(self, key: str, expected: str, *, accept: Callable[[float], bool]) -> float | None:
        """Return a plain number."""
        if not self.has(key):
            return None
        value = self.data[key]
        if isinstance(value, str) or not _is_number(value):
            self.wrong(key, expected, value)
            return None
        return self._parse(key, value, _as_float, expected, accept, "bad-value")

    def whole(self, key: str, expected: str, *, accept: Callable[[int], bool]) -> int | None:
        """Return a whole number."""
        found = self.number(key, expected, accept=lambda n: n.is_integer() and accept(int(n)))
        return None if found is None else int(found)

    # ------------------------------------------------------------ tables

    def table(self, key: str, example: str) -> "Table | None":
        """Return a table within this one."""
        if not self.has(key):
            return None
        value = self.data[key]
        if isinstance(value, dict):
            return self.within(key, value)
        self.wrong(key, f"a table such as {example}", value)
        return None

    def tables(self, key: str, example: str) -> "list[Table]":
        """Return the tables of a list within this table."""
        if not self.has(key):
            return []
        value = self.data[key]
        if not isinstance(value, list):
            self.wrong(key, f"a list of tables such as {example}", value)
            return []
        found = []
        for index, item in enumerate(value):
            if isinstance(item, dict):
                found.append(self.within(key, item, index=index))
            else:
                self.wrong(key, f"a list of tables such as {example}", item, index=index)
        return found

    def within(self, key: str, data: Mapping[str, object], index: int | None = None) -> "Table":
        """Return a value of this table as a table."""
        path: Path = (*self.path, key) if index is None else (*self.path, key, index)
        return Table(
            self.report, path, data, name=f"{self.name}.{key}", title=f"{self.title} {key}"
        )


def _is_number(value: object) -> TypeGuard[int | float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def is_short_number(value: object) -> bool:
    """Tell whether a value is a number that may stand for a text, such as a point's."""
    return _is_number(value) and abs(value) < _LONGEST_NUMBER


def _has_time(value: datetime.date) -> bool:
    return isinstance(value, datetime.datetime)


def _as_float(value: str | float) -> float:
    """Return a TOML number as a float; nan, inf and what no float holds are refused."""
    try:
        number = float(value)
    except OverflowError:
        number = float("inf")
    if number in (float("inf"), float("-inf")) or number != number:  # noqa: PLR0124 - nan
        raise UnitError(f"{quoted(value)} is not a number", "write a number")
    return number
