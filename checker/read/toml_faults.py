"""What is wrong with a text that is no TOML, in a surveyor's words, and what to do about it."""

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from checker.text import quoted

BACKSLASH_HINT: Final = (
    "in a text a backslash begins a special character: write / between folders, or put the path "
    "in 'single' quotation marks"
)
_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_BACKSLASH = re.compile(r"hex value|[Ee]scaped")
_OF_TEXTS = re.compile(r"Illegal character|Unterminated|Unclosed array|Expected newline")
_TWICE = re.compile(r"overwrite|twice|mutate|namespace|Duplicate")
_HEADING = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]")
_KEY = re.compile(r"\s*([A-Za-z0-9_\"'.\- ]+?)\s*=")
_KINDS: Final = (
    ("date", "this is no date", "dates are written 2031-04-17, without quotation marks"),
    (
        "Unclosed array",
        "a list is not closed",
        'a list ends with "]", and commas stand between its parts',
    ),
    (
        "inline table",
        "a table { ... } is not closed",
        'a table { ... } stands on one line, its keys parted by commas, ends with "}"',
    ),
    (
        "key/value",
        'there is no "=" behind the key',
        'write key = value, or a section as [name]; a comment begins with "#"',
    ),
    (
        "after a statement",
        "something stands behind the value that does not belong there",
        'write one key = value on a line, decimals behind a point; a comment begins with "#"',
    ),
    (
        "statement",
        "this is neither key = value nor a section",
        'write one key = value on a line; a comment begins with "#"',
    ),
    (
        "declaration",
        "the heading of a section is not closed",
        "write [name], or [[name]] for a check, alone on its line",
    ),
    (
        "key part",
        "no key stands where one should",
        'write key = value; a key is made of a-z, 0-9, "_" and "-"',
    ),
    (
        "Illegal character",
        "a text is not closed on its line, or has a control sign in it",
        "a text ends with a quotation mark on the same line; no control signs",
    ),
    (
        "Unterminated",
        "a text is not closed",
        "a text ends with the quotation marks that it began with",
    ),
    (
        "Invalid value",
        'what stands behind "=" is no value',
        "texts stand in quotation marks; numbers have a point with a digit before it: 0.03",
    ),
)
"""A word of the parser's message, what it means, what to do; the first that fits counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TomlFault:
    """The first fault of a text. line, column: from 1, None where they mean nothing."""

    line: int | None
    column: int | None
    message: str
    hint: str


def toml_fault(said: str, text: str, several: Collection[str]) -> TomlFault:
    """Return what a fault of the parser means.

    said: the parser's message. text: the file's. several: sections that stand once for every
    check, with two brackets.
    """
    lines = text.replace("\r\n", "\n").split("\n")
    match = _AT.search(said)
    what = _AT.sub("", said)
    line = column = None
    if match is not None:
        line = int(match[1]) if match[1] else len(text.rstrip().split("\n"))
        column = int(match[2]) if match[2] else None
    here = lines[line - 1] if line is not None else ""
    if _BACKSLASH.search(what) or ("\\" in _in_double(here) and _OF_TEXTS.search(what)):
        meant, hint = "a backslash and what follows it are no special character", BACKSLASH_HINT
    elif _TWICE.search(what) and line is not None:
        meant, hint = _stands_twice(lines, line, several)
    else:
        meant, hint = next(
            ((meant, hint) for word, meant, hint in _KINDS if word in what),
            (f"{what[:1].lower()}{what[1:200]}", "mend this line"),
        )
    if match is not None and not match[1]:
        hint = 'the file ends in the middle of a value: is a "]", "}" or quotation mark missing?'
    shown = f": {quoted(here.strip())}" if line is not None else ""
    return TomlFault(
        line=line, column=column, message=f"not readable as TOML: {meant}{shown}", hint=hint
    )


def _in_double(line: str) -> str:
    """Return what of a line stands behind its first double quotation mark, outside single ones."""
    return re.sub(r"'[^']*'", "", line).partition('"')[2]


def _stands_twice(lines: Sequence[str], line: int, several: Collection[str]) -> tuple[str, str]:
    """Return what stands twice, where it stood first, and how several of a kind are written."""
    heading = _HEADING.match(lines[line - 1])
    if heading is not None:
        name = heading[2]
        for number, earlier in enumerate(lines[: line - 1], 1):
            found = _HEADING.match(earlier)
            if found is None or found[2] != name:
                continue
            first, again = (f"{each[1]}{name}{']' * len(each[1])}" for each in (found, heading))
            if name in several:
                return (
                    f"{again} stands here, and {first} in line {number}",
                    f"write [[{name}]] with two brackets each time; the first is in line {number}",
                )
            return (
                f"{again} stands there twice, first in line {number}",
                "keep one of the two, with the keys of both",
            )
        return f"{name} stands there twice", "a section stands there twice; keep one of the two"
    key = _KEY.match(lines[line - 1])
    for number in range(line - 1, 0, -1) if key is not None else ():
        earlier = lines[number - 1]
        found = _KEY.match(earlier)
        if found is not None and key is not None and found[1] == key[1]:
            return f"{key[1]} stands there twice, first in line {number}", "keep one of the two"
        if _HEADING.match(earlier):
            break
    return "a key or section stands there twice", "keep one of the two"
