"""Bytes of a table to its text: encodings, and what is no text at all."""

import codecs
from typing import Final

from checker.errors import InputError, Problem, Where
from checker.read.files import Source

MAX_LINES: Final = 5_000_000
"""A table of more lines is refused: it would want more memory than a crew's computer has."""
MAX_COLUMNS: Final = 1000
_NOT_TEXT: Final = (
    (b"PK\x03\x04", "a compressed archive or a spreadsheet workbook"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet workbook or another binary document"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a compressed file"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
)
_SAVE_AS_TEXT: Final = "export the table as CSV or text, in UTF-8"


def decode(source: Source) -> tuple[str, str]:
    """Return the text of a file, its lines ended by line feeds, and the name of its encoding.

    UTF-8 and UTF-16 with or without a byte order mark, else Windows-1252. Raises InputError
    where the file holds no text.
    """
    data = source.data
    for magic, what in _NOT_TEXT:
        if data.startswith(magic):
            raise unreadable(
                source.path, "not-text", f"this is {what}, not a table of text", _SAVE_AS_TEXT
            )
    text, encoding = _decoded(source.path, data)
    text = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a")
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise unreadable(
            source.path,
            "not-text",
            "the file holds zero bytes; it is not a table of text"
            + (", or UTF-16 that is damaged" if encoding != "UTF-16" else ""),
            _SAVE_AS_TEXT,
            line,
        )
    refuse_too_large(source.path, text.count("\n"), 0)
    return text, encoding


def refuse_too_large(path: str, lines: int, columns: int) -> None:
    """Raise InputError where a table has more lines or columns than one job can need."""
    for count, most, what, hint in (
        (lines, MAX_LINES, "lines", "split the file, by day or by area, into jobs of their own"),
        (columns, MAX_COLUMNS, "columns", "export those alone that the job needs"),
    ):
        if count > most:
            raise unreadable(
                path,
                "table-too-large",
                f"the table has {count:,} {what}; at most {most:,} are read",
                hint,
            )


def _decoded(path: str, data: bytes) -> tuple[str, str]:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError:
            raise unreadable(
                path, "not-text", "the file begins as UTF-16 and does not go on so", _SAVE_AS_TEXT
            ) from None
    unmarked = _utf_16_without_mark(data)
    if unmarked:
        try:
            return data.decode(unmarked), "UTF-16 without byte order mark"
        except UnicodeDecodeError:
            pass
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError as fault:
        raise unreadable(
            path,
            "not-text",
            f"byte 0x{data[fault.start]:02X} is neither UTF-8 nor Windows-1252 text",
            _SAVE_AS_TEXT,
            data.count(b"\n", 0, fault.start) + 1,
        ) from None


def _utf_16_without_mark(data: bytes) -> str:
    """Return which UTF-16 a file without a byte order mark is in; "" where it is in none.

    Of text in Latin letters every other byte is zero, and in no other encoding any is.
    """
    head = data[:400]
    if len(data) % 2 or len(head) < 8:
        return ""
    even, odd = head[0::2], head[1::2]
    if odd.count(0) > 0.9 * len(odd) and not even.count(0):
        return "utf-16-le"
    return "utf-16-be" if even.count(0) > 0.9 * len(even) and not odd.count(0) else ""


def unreadable(
    path: str, slug: str, message: str, hint: str, line: int | None = None
) -> InputError:
    """Return the one fault of a file that cannot be read on."""
    return InputError(
        [Problem(slug=slug, where=Where(file=path, line=line), message=message, hint=hint)]
    )
