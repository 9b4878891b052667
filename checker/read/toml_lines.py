"""The lines of a TOML file's keys, which `tomllib` does not tell."""

import re
from collections.abc import Mapping

Path = tuple[str | int, ...]
"""Keys and positions in arrays from the top of the file down to a value."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_STRING = re.compile(
    r'"""(?:[^"\\]|\\[\s\S]|"{1,2}(?!"))*"{3,5}'
    r"|'''(?:[^']|'{1,2}(?!'))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'"
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_ESCAPE = re.compile(r'\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|([btnfr"\\]))')
_ESCAPED = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def _unescaped(match: re.Match[str]) -> str:
    digits = match[1] or match[2]
    return chr(int(digits, 16)) if digits else _ESCAPED[match[3]]


class TomlLines:
    """Finds the line of a key; made from a text that `tomllib` has already accepted.

    Knows sections, arrays of sections, dotted keys, inline tables and arrays, the elements of
    arrays, and strings over several lines.
    """

    def __init__(self, text: str) -> None:
        """Walk the text once."""
        self._text = text.replace("\r\n", "\n")
        self._at = 0
        self._counted_to = 0
        self._line = 1
        self._lines: dict[Path, int] = {}
        self._sections: dict[Path, int] = {}  # arrays of sections: how many so far
        section: Path = ()
        while self._skip(_BLANK) < len(self._text):
            if self._text.startswith("[[", self._at):
                section = self._array_heading()
            elif self._text.startswith("[", self._at):
                section = self._heading()
            else:
                self._pair(section)

    def line(self, path: Path) -> int | None:
        """Return the line of a key, counted from 1; of the nearest thing around it if unknown."""
        while path:
            if path in self._lines:
                return self._lines[path]
            path = path[:-1]
        return None

    def paths(self) -> Mapping[Path, int]:
        """Return every path that has a line."""
        return self._lines

    def _skip(self, pattern: re.Pattern[str]) -> int:
        match = pattern.match(self._text, self._at)
        if match is not None:
            self._at = match.end()
        return self._at

    def _mark(self, path: Path, at: int) -> None:
        """Keep the line of the first mention of a path."""
        self._line += self._text.count("\n", self._counted_to, at)
        self._counted_to = at
        self._lines.setdefault(path, self._line)

    def _key(self) -> list[str]:
        """Return the parts of a dotted key and go behind it."""
        parts = []
        while True:
            self._skip(_SPACE)
            start = self._at
            if self._text[start : start + 1] in ("'", '"'):
                quoted = self._text[start + 1 : self._skip(_STRING) - 1]
                is_basic = self._text[start] == '"'
                parts.append(_ESCAPE.sub(_unescaped, quoted) if is_basic else quoted)
            else:
                parts.append(self._text[start : self._skip(_BARE_KEY)])
            self._skip(_SPACE)
            if not self._text.startswith(".", self._at):
                return parts
            self._at += 1

    def _down(self, parts: list[str], at: int) -> Path:
        """Return the path of a heading's keys: through an array of sections, its latest one."""
        path: Path = ()
        for part in parts:
            path = (*path, part)
            self._mark(path, at)
            if path in self._sections:
                path = (*path, self._sections[path] - 1)
        return path

    def _heading(self) -> Path:
        start = self._at
        self._at += 1
        path = self._down(self._key(), start)
        self._at += 1
        return path

    def _array_heading(self) -> Path:
        start = self._at
        self._at += 2
        *above, last = self._key()
        self._at += 2
        array: Path = (*self._down(above, start), last)
        self._mark(array, start)
        self._sections[array] = self._sections.get(array, 0) + 1
        path = (*array, self._sections[array] - 1)
        self._mark(path, start)
        return path

    def _pair(self, section: Path) -> None:
        start = self._at
        path = section
        for part in self._key():
            path = (*path, part)
            self._mark(path, start)
        self._at += 1  # the sign =
        self._skip(_SPACE)
        self._value(path)

    def _value(self, path: Path) -> None:
        first = self._text[self._at : self._at + 1]
        if first in ("'", '"'):
            self._skip(_STRING)
        elif first == "[":
            self._array(path)
        elif first == "{":
            self._inline_table(path)
        else:
            self._skip(_SCALAR)

    def _array(self, path: Path) -> None:
        self._at += 1
        index = 0
        while self._text[self._skip(_BLANK)] != "]":
            self._mark((*path, index), self._at)
            self._value((*path, index))
            index += 1
            if self._text[self._skip(_BLANK)] == ",":
                self._at += 1
        self._at += 1

    def _inline_table(self, path: Path) -> None:
        self._at += 1
        while self._text[self._skip(_SPACE)] != "}":
            self._pair(path)
            if self._text[self._skip(_SPACE)] == ",":
                self._at += 1
        self._at += 1
