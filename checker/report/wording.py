"""Pages in another wording: every text that they show is looked up in one file.

English stands in the code and in the templates where it is used; `wording.toml`, made from them by
``python -m tests.make_wording``, lists all of it. A translation is a copy of that file with the
other language behind the equals signs. Placeholders ``{1}``, ``{2}`` stand for what changes from
report to report, and may change their order.
"""

import html
import re
from collections.abc import Mapping
from functools import cached_property
from typing import Final

from checker.model.wording import Wording

_PLACE: Final = re.compile(r"\{(\d)\}")
_TOKEN: Final = re.compile(
    r'<(script|style|code|pre)\b.*?</\1>|<div class="notes">.*?</div>|<[^>]*>', re.DOTALL
)
"""What is passed over: tags, code, and the surveyor's own notes."""
_AMOUNT: Final = re.compile(
    r"((?<!\w)[+−-]?\d\S*(?: ± \d\S*)?(?:\s(?:ft|m|mm|ppm|%|h|ft²|ft³|m²|m³)(?!\w))?)"
)
"""A number with its unit."""
_SPOKEN: Final = re.compile(r' (aria-label|placeholder|data-say-[a-z]+)="([^"]*)"')
_WORDS: Final = re.compile(r"[^\W\d_]{2}")
_SENTENCE: Final = re.compile(r"(?<=[.!?])(?<!\b[A-Z]\.)(?<!\bch\.)\s+(?=[^\W_a-z]|\{)")
_CLAUSE: Final = re.compile(r"(?<=[:;,])\s+|\s+(?=\()|(?<= –)\s+")
_ABOUT: Final = " .,;:…–"
_DEPTH: Final = 5
_CLAUSES: Final = 40
"""A text of more clauses is a list of the user's own."""


def sentences(text: str) -> list[str]:
    """Return the sentences of a text, without spaces and stops about them: so they are listed."""
    parts = (re.sub(r"\s+", " ", each).strip(_ABOUT) for each in _SENTENCE.split(text.strip()))
    return [part for part in parts if part]


class Speaker:
    """Says the texts of pages in another wording; what the file lacks stays English."""

    def __init__(self, wording: Wording) -> None:
        """Take a wording; an empty one changes nothing."""
        self.language = wording.language
        self._texts = {key: text for key, text in wording.texts.items() if text}
        self._said: dict[str, str] = {}

    @property
    def speaks(self) -> bool:
        """True where it changes anything."""
        return bool(self._texts)

    def page(self, page: str) -> str:
        """Return a page in the other wording: its texts and its spoken attributes."""
        if not self._texts:
            return page
        parts, end = [], 0
        for tag in _TOKEN.finditer(page):
            parts.append(self._node(page[end : tag.start()]))
            parts.append(_SPOKEN.sub(self._attribute, tag.group()))
            end = tag.end()
        parts.append(self._node(page[end:]))
        return "".join(parts).replace('<html lang="en">', f'<html lang="{self.language}">', 1)

    def text(self, text: str) -> str:
        """Return a text in the other wording, as far as it is known; spaces about it are kept."""
        if not self._texts:
            return text
        for sentence in _SENTENCE.split(text):
            bare = sentence.strip(_ABOUT)
            if not _WORDS.search(bare):
                continue
            if bare not in self._said:
                self._said[bare] = self._say(" ".join(bare.split()), 0) or bare
            text = text.replace(bare, self._said[bare], 1)
        return text

    def around(self, text: str) -> tuple[str, ...]:
        """Return what stands before, between and behind the places of a text, in their order."""
        return tuple(_PLACE.sub("\0", self._texts.get(text, text)).split("\0"))

    def _node(self, node: str) -> str:
        if not _WORDS.search(node):
            return node
        return html.escape(self.text(html.unescape(node)), quote=False)

    def _attribute(self, found: re.Match[str]) -> str:
        text = html.escape(self.text(html.unescape(found.group(2))))
        return f' {found.group(1)}="{text}"'

    @cached_property
    def _patterns(self) -> list[tuple[str, re.Pattern[str], str]]:
        """The texts with places: their longest fixed piece, how to find them, what to say."""
        made = []
        for key, text in self._texts.items():
            if not _PLACE.search(key):
                continue
            fixed = _PLACE.sub("\0", key).split("\0")
            places = iter(_PLACE.findall(key))
            pattern = "".join(
                f"(?P<p{next(places)}>.+?)" if piece == "\0" else re.escape(piece)
                for piece in re.split("(\0)", "\0".join(fixed))
            )
            made.append((max(fixed, key=len), re.compile(pattern, re.DOTALL), text))
        return sorted(made, key=lambda each: (-len(each[1].pattern), each[1].pattern))

    def _say(self, text: str, depth: int) -> str | None:
        """Return a text in the other wording, or None where nothing of it is known."""
        said = self._known(text, depth)
        return self._by_clause(text, depth) if said is None else said

    def _known(self, text: str, depth: int) -> str | None:
        """Return a text that the file has as a whole, or None."""
        if text in self._texts:
            return self._texts[text]
        lower = text[:1].lower() + text[1:]
        if lower in self._texts:
            said = self._texts[lower]
            return said[:1].upper() + said[1:]
        upper = text[:1].upper() + text[1:]
        if upper in self._texts:
            said = self._texts[upper]
            return said[:1].lower() + said[1:]
        if depth > _DEPTH or not _WORDS.search(text):
            return None
        for piece, pattern, said in self._patterns:
            if piece in text and (found := pattern.fullmatch(text)):
                groups = {
                    name: self._inner(inner, depth) for name, inner in found.groupdict().items()
                }
                return _filled(said, groups)
        return self._about_amounts(text, depth)

    def _about_amounts(self, text: str, depth: int) -> str | None:
        """Return the words about numbers, each piece by itself; None where one is unknown."""
        pieces = _AMOUNT.split(text)
        if len(pieces) == 1:
            return None
        for at in range(0, len(pieces), 2):
            bare = pieces[at].strip(_ABOUT)
            if _WORDS.search(bare):
                said = self._known(bare, depth + 1)
                if said is None:
                    return None
                pieces[at] = pieces[at].replace(bare, said, 1)
        return "".join(pieces)

    def _inner(self, text: str, depth: int) -> str:
        """Return what stands at a place of a text, itself in the other wording if it is known."""
        bare = text.strip(_ABOUT)
        return text.replace(bare, self._say(bare, depth + 1) or bare, 1) if bare else text

    def _by_clause(self, text: str, depth: int) -> str | None:
        """Return clauses that were joined, as many at a time as are known; None for none at all."""
        ends = [0, *(found.end() for found in _CLAUSE.finditer(text)), len(text)]
        if len(ends) == 2 or len(ends) > _CLAUSES:
            return None
        known, parts, first = False, [], 0
        while first < len(ends) - 1:
            for last in range(len(ends) - 1, first, -1):
                piece = text[ends[first] : ends[last]]
                bare = piece.strip(_ABOUT)
                said = self._known(bare, depth + 1) if bare else None
                if said is not None:
                    known, piece = True, piece.replace(bare, said, 1)
                    break
            parts.append(piece)
            first = last
        return "".join(parts) if known else None


def _filled(text: str, places: Mapping[str, str]) -> str:
    return _PLACE.sub(lambda found: places[f"p{found.group(1)}"], text)
