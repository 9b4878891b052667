"""User text made safe for pages: cleaned, escaped, and turned into anchors and file names."""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from html import escape as _escape

UNSEEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufffe\uffff"
    "\ud800-\udfff]"
)
"""Control characters, marks that turn the reading direction, and what UTF-8 cannot hold."""
_SPECIAL = re.compile(f"[&<>\"']|{UNSEEN.pattern}")
"""What cannot stand on a page as it is."""
_PLAIN_ID = re.compile(r"[A-Za-z0-9._-]+", re.ASCII)
_NOT_PLAIN = re.compile(r"[^A-Za-z0-9._-]", re.ASCII)
_NOT_SLUG = re.compile(r"[^a-z0-9]+")


def clean(text: str) -> str:
    """Return the text with every unseen character shown as the replacement character."""
    return UNSEEN.sub("\N{REPLACEMENT CHARACTER}", text) if UNSEEN.search(text) else text


def in_json(text: str) -> str:
    """Return JSON with every unseen character of its strings as an escape: the values stay."""
    if text.isascii() and "\x7f" not in text:  # the rest of ASCII is escaped already
        return text
    return UNSEEN.sub(_as_escape, text)


def _as_escape(found: re.Match[str]) -> str:
    code = ord(found[0])
    return "\\ufffd" if 0xD800 <= code <= 0xDFFF else f"\\u{code:04x}"  # half a sign is none


def escape(text: str) -> str:
    """Return the text fit for an element's content and for a quoted attribute."""
    return _escape(clean(text), quote=True)


def escape_all(texts: Iterable[str]) -> list[str]:
    """Return `escape` of every text; quick where none needs it, or most need none or repeat."""
    texts = list(texts)
    if not _SPECIAL.search("".join(texts)):
        return texts
    known: dict[str, str] = {}
    result = []
    for text in texts:
        if _PLAIN_ID.fullmatch(text):
            result.append(text)
            continue
        safe = known.get(text)
        if safe is None:
            safe = known[text] = escape(text)
        result.append(safe)
    return result


def anchors(ids: Sequence[str], prefix: str) -> list[str]:
    """Return one anchor for every id, unlike any other: ``c2-104``; the second of a name ``~2``.

    What an anchor cannot hold is written as ``_`` and its code point in hex. ``~`` comes from no
    id, so a numbered collision meets no other id.
    """
    if len(set(ids)) == len(ids) and "" not in ids and not _NOT_PLAIN.search("".join(ids)):
        return [f"{prefix}-{text}" for text in ids]
    seen: dict[str, int] = {}
    result = []
    for text in ids:
        plain = text if _PLAIN_ID.fullmatch(text) else _NOT_PLAIN.sub(_code, text)
        count = seen.get(plain, 0) + 1
        seen[plain] = count
        result.append(f"{prefix}-{plain}" if count == 1 else f"{prefix}-{plain}~{count}")
    return result


def slug(text: str) -> str:
    """Return a text as part of a file name: a to z, digits and hyphens; it may be empty."""
    folded = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return _NOT_SLUG.sub("-", folded).strip("-")[:40].rstrip("-")


def _code(match: re.Match[str]) -> str:
    return f"_{ord(match.group()):X}"
