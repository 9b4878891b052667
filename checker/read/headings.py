"""Headings of tables: which column is which, and the unit that a heading names.

A vocabulary is the list of fields that a kind of table may have, each with the words that the trade
writes above it. Case, blanks, dots, underscores and a unit in brackets do not matter.
"""

import difflib
import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from checker.errors import Problem, Where
from checker.model.drawing import Notice


class UnitKind(StrEnum):
    """What a unit in a heading measures."""

    LENGTH = "length"
    AREA = "area"
    ANGLE = "angle"
    TIME = "time"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadingUnit:
    """A unit as a heading names it. name: one that `checker.units` reads; text: as written."""

    text: str
    name: str
    kind: UnitKind


_UNITS: Final[Mapping[str, tuple[str, UnitKind]]] = {
    word: (name, kind)
    for kind, name, words in (
        (UnitKind.LENGTH, "m", "m metre metres meter meters mtr mtrs"),
        (UnitKind.LENGTH, "mm", "mm millimetre millimetres millimeter millimeters"),
        (UnitKind.LENGTH, "cm", "cm centimetre centimetres centimeter centimeters"),
        (UnitKind.LENGTH, "km", "km kilometre kilometres kilometer kilometers"),
        (UnitKind.LENGTH, "ft", "ft foot feet"),
        (UnitKind.LENGTH, "usft", "usft ftus usfoot usfeet sft surveyft surveyfoot surveyfeet"),
        (UnitKind.LENGTH, "usft", "ussurveyft ussurveyfoot ussurveyfeet usftsurvey"),
        (UnitKind.LENGTH, "ift", "ift intft internationalfoot internationalfeet intlft"),
        (UnitKind.LENGTH, "in", "in inch inches"),
        (UnitKind.LENGTH, "mi", "mi mile miles"),
        # names of the lengths that are squared
        (UnitKind.AREA, "m", "m2 sqm"),
        (UnitKind.AREA, "mm", "mm2 sqmm"),
        (UnitKind.AREA, "cm", "cm2 sqcm"),
        (UnitKind.AREA, "ft", "ft2 sqft"),
        (UnitKind.AREA, "usft", "usft2 squsft"),
        (UnitKind.AREA, "ift", "ift2 sqift"),
        (UnitKind.ANGLE, "deg", "deg degs degree degrees ° decdeg decimaldegrees dd"),
        (UnitKind.ANGLE, "dms", "dms dmmss degminsec ddmmss dddmmss"),
        (UnitKind.ANGLE, "gon", "gon gons grad grads grade grades"),
        (UnitKind.ANGLE, "rad", "rad rads radian radians"),
        (UnitKind.TIME, "s", "s sec secs second seconds"),
        (UnitKind.TIME, "min", "min mins minute minutes"),
        (UnitKind.OTHER, "", "utc text count iso iso8601 hhmmss yyyymmdd % percent"),
    )
    for word in words.split()
}
_BRACKETED = re.compile(r"(.*?)[(\[{]([^()\[\]{}]*)[)\]}]\s*", re.DOTALL)
_TRAILING = re.compile(
    r"(.+?)[\s,_/]+((?:us[\s_]*|u\.s\.\s*)?(?:survey\s*)?[^\s,_/]+)", re.DOTALL | re.IGNORECASE
)


_AXES: Final = frozenset(
    (
        *("x", "y", "z", "n", "e", "h", "up"),
        *("north", "northing", "east", "easting", "elev", "elevation"),
    )
)
_NO_WORD = re.compile(r"[^#A-Za-z\u0080-\U0010ffff]*")
"""Numbers and signs alone: most cells in which a header is looked for, and never a heading."""
_LETTER = re.compile(r"(?:grid|coord(?:inate)?)?[xy](?:coord(?:inate)?)?")


def normal(heading: str) -> str:
    """Return the heading's letters and digits in lower case, signs that mean nothing left out."""
    text = unicodedata.normalize("NFKC", heading).lower().replace("σ", "sigma")
    bare = re.sub(r"[\s._\-:#'’\"]+", "", text)
    return bare or ("#" if "#" in text else "")


def unit_of(text: str) -> HeadingUnit | None:
    """Return the unit that a text is, brackets left out; None where it is none."""
    bare = text.strip().strip("()[]{}").strip()
    found = _UNITS.get(normal(bare))
    return HeadingUnit(text=bare, name=found[0], kind=found[1]) if found else None


def readings(heading: str) -> Iterator[tuple[str, HeadingUnit | None]]:
    """Yield the ways to read a heading, the likeliest first: with and without a unit at its end.

    Last comes a heading with an axis in brackets, as in "Northing (Y)", without it; of "Y (North)"
    the brackets say more than the letter. Other words in brackets stay: they may mean anything.
    """
    bracketed = _BRACKETED.fullmatch(heading)
    if bracketed is not None:
        unit = unit_of(bracketed[2])
        if unit is not None:
            yield normal(bracketed[1]), unit
    yield normal(heading), None
    trailing = _TRAILING.fullmatch(heading.strip())
    if trailing is not None:
        unit = unit_of(trailing[2])
        if unit is not None:
            yield normal(trailing[1]), unit
    if bracketed is not None and normal(bracketed[2]) in _AXES:
        before, axis = normal(bracketed[1]), normal(bracketed[2])
        if _LETTER.fullmatch(before) and axis[0] in "ne":
            yield axis, None
        elif before:
            yield before, None


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A field of a table and the normal forms of its headings, in tiers, the plainest words first.

    A heading of a later tier is taken only where none of an earlier tier stands beside it.
    """

    name: str
    tiers: tuple[frozenset[str], ...]


def field(name: str, *tiers: str) -> Field:
    """Return a field; each tier is a text of words, already normal, parted by blanks."""
    return Field(name=name, tiers=tuple(frozenset(tier.split()) for tier in tiers))


class Vocabulary:
    """The fields that a kind of table may have."""

    def __init__(self, fields: Iterable[Field]) -> None:
        """Index the words; a word that two fields claim would be a fault of ours."""
        self.fields = tuple(fields)
        self.names = tuple(entry.name for entry in self.fields)
        self._words: dict[str, tuple[str, int]] = {}
        for entry in self.fields:
            for tier, words in enumerate(entry.tiers):
                for word in words:
                    if word in self._words:
                        raise ValueError(f"{word!r} stands for {entry.name} and another field")
                    self._words[word] = (entry.name, tier)

    def claim(self, heading: str) -> tuple[str, int, HeadingUnit | None] | None:
        """Return the field that a heading means, its tier and its unit; None if unknown."""
        if _NO_WORD.fullmatch(heading):
            return None
        for word, unit in readings(heading):
            found = self._words.get(word)
            if found is not None:
                return found[0], found[1], unit
        return None

    def nearest(self, name: str, headings: Sequence[str]) -> str | None:
        """Return the heading that looks most like one of the field's words."""
        words = [word for word, (owner, _) in self._words.items() if owner == name]
        best: tuple[float, str] | None = None
        for heading in headings:
            bare = normal(heading)
            for word in words:
                likeness = difflib.SequenceMatcher(None, bare, word).ratio()
                if likeness >= 0.7 and (best is None or likeness > best[0]):
                    best = (likeness, heading)
        return best[1] if best else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column that was recognised. index: its place from 0; unit: as its heading names it."""

    field: str
    index: int
    heading: str
    unit: HeadingUnit | None
    tier: int = 0


def column_number(text: str) -> int | None:
    """Return the place, from 1, that a mapping such as ``id = "1"`` names; None for a heading."""
    return int(text) if re.fullmatch(r"[1-9][0-9]{0,3}", text.strip()) else None


def mapped(columns: Mapping[str, str], header: Sequence[str]) -> dict[str, list[int]]:
    """Return for every field of `columns` the places in the header that it may mean."""
    if not columns:
        return {}
    exact = [heading.strip().casefold() for heading in header]
    loose = [normal(heading) for heading in header]
    places: dict[str, list[int]] = {}
    for name, wanted in columns.items():
        found = [i for i, text in enumerate(exact) if text == wanted.strip().casefold()]
        if not found and normal(wanted):
            found = [i for i, text in enumerate(loose) if text == normal(wanted)]
        if not found:
            number = column_number(wanted)
            found = [number - 1] if number is not None and number <= len(header) else []
        places[name] = found
    return places


def listed(words: Iterable[str]) -> str:
    """Return headings quoted and parted by commas, an empty one as such."""
    return ", ".join(f'"{word}"' if word else "(no heading)" for word in words)


class Assignment:
    """Which columns of a header are which fields, with the faults and what must be said."""

    def __init__(
        self,
        header: Sequence[str],
        vocabulary: Vocabulary,
        columns: Mapping[str, str],
        where: Where,
    ) -> None:
        """Assign the columns: first those that the job maps, then those that are recognised.

        columns: field -> heading or place from 1. where: the header's line.
        """
        self._header = header
        self._vocabulary = vocabulary
        self._where = where
        self.columns: dict[str, Column] = {}
        self.problems: list[Problem] = []
        self._refused: set[str] = set()
        self._map(columns)
        self._recognise(columns)

    def _map(self, columns: Mapping[str, str]) -> None:
        owners: dict[int, str] = {}
        for name, found in mapped(columns, self._header).items():
            wanted = columns[name]
            self._refused.add(name)
            if name not in self._vocabulary.names:
                self._problem(
                    "unknown-field",
                    f'the job maps "{name}", which this kind of table does not have',
                    f"the fields are: {', '.join(self._vocabulary.names)}",
                )
            elif not found:
                close = difflib.get_close_matches(wanted, self._header, n=1, cutoff=0.5)
                self._problem(
                    "unknown-heading",
                    f'the job takes {name} from "{wanted}", and no column is headed so; '
                    f"the headings are {listed(self._header)}",
                    f'did you mean "{close[0]}"?' if close else "write the heading as in the file",
                )
            elif len(found) > 1:
                self._problem(
                    "ambiguous-column",
                    f'{len(found)} columns are headed "{wanted}"',
                    f'give the place instead, counted from 1: {name} = "{found[0] + 1}"',
                )
            elif found[0] in owners:
                self._problem(
                    "ambiguous-column",
                    f'the job takes both {owners[found[0]]} and {name} from "{wanted}"',
                    "map every field to a column of its own",
                )
            else:
                self._refused.discard(name)
                owners[found[0]] = name
                heading = self._header[found[0]]
                unit = next((unit for _, unit in readings(heading) if unit is not None), None)
                self.columns[name] = Column(
                    field=name, index=found[0], heading=heading, unit=unit, tier=-1
                )

    def _recognise(self, columns: Mapping[str, str]) -> None:
        taken = {column.index for column in self.columns.values()}
        claims: dict[str, list[Column]] = {}
        for index, heading in enumerate(self._header):
            claim = self._vocabulary.claim(heading) if index not in taken else None
            if claim is not None and claim[0] not in columns:
                name, tier, unit = claim
                claims.setdefault(name, []).append(
                    Column(field=name, index=index, heading=heading, unit=unit, tier=tier)
                )
        for name, found in claims.items():
            best = min(column.tier for column in found)
            plainest = [column for column in found if column.tier == best]
            self.columns[name] = plainest[0]
            if len(plainest) > 1:
                self._problem(
                    "ambiguous-column",
                    f"{listed(column.heading for column in plainest)} may each be the {name}",
                    f'say which in the job: columns = {{ {name} = "{plainest[0].heading}" }}'
                    if plainest[0].heading != plainest[1].heading
                    else f'give the place in the job: columns = {{ {name} = "'
                    f'{plainest[0].index + 1}" }}',
                )

    def require(
        self,
        names: Iterable[str],
        usual: Mapping[str, str],
        *,
        held: Callable[[int], str] = lambda _index: "",
        other: Callable[[], str] = lambda: "",
    ) -> None:
        """Report in one fault those of the fields that no column is.

        usual: field -> words for the message. held: what a column holds, in short. other: what to
        do where the table is of another kind altogether, "" where it is not. A heading is proposed
        for a field only where it looks like one of the field's words, and for one field only.
        """
        missing = [name for name in names if name not in self.columns and name not in self._refused]
        if not missing:
            return
        free = self.unused()
        near: dict[str, str] = {}
        for name in missing:
            left = [heading for heading in free if heading not in near.values()]
            found = self._vocabulary.nearest(name, left)
            if found is not None:
                near[name] = found
        words = " or the ".join(usual.get(name, name) for name in missing)
        message = f"no column is recognised as the {words}; the headings are {listed(self._header)}"
        if near:
            message += f", the nearest {'is' if len(near) == 1 else 'are'} {listed(near.values())}"
        self._problem("missing-column", message, other() or self._ask(missing, near, free, held))

    def _ask(
        self,
        missing: Sequence[str],
        near: Mapping[str, str],
        free: Sequence[str],
        held: Callable[[int], str],
    ) -> str:
        """Return how to name the columns of fields that none was recognised as."""
        if len(free) < len(missing):
            left = f"only {listed(free)} is left" if free else "no column of it is left"
            if len(missing) == 1:
                return f"add such a column to the table; {left} to be this one"
            return f"add such columns to the table; {left} to be one of them"
        keys = ", ".join(f'{name} = "{near.get(name, "...")}"' for name in missing)
        hint = f"say which in the job: columns = {{ {keys} }}"
        if len(near) == len(missing):
            return hint
        taken = {column.index for column in self.columns.values()}
        unread = [
            f'"{text}"' + (f" ({said})" if (said := held(index)) else "")
            for index, text in enumerate(self._header)
            if index not in taken and text and text not in near.values()
        ]
        return f"{hint}; not read so far: {', '.join(unread)}"

    def unused(self) -> list[str]:
        """Return the headings that no field took."""
        taken = {column.index for column in self.columns.values()}
        return [text for i, text in enumerate(self._header) if i not in taken and text]

    def notices(self) -> list[Notice]:
        """Return what must be said of the columns that nothing reads."""
        taken = {column.index for column in self.columns.values()}
        free = [text for i, text in enumerate(self._header) if i not in taken]
        if not free:
            return []
        return [
            Notice(
                slug="unused-columns",
                where=self._where,
                message=f"no check reads {'this column' if len(free) == 1 else 'these columns'}: "
                f"{listed(free)}",
            )
        ]

    def _problem(self, slug: str, message: str, hint: str) -> None:
        self.problems.append(Problem(slug=slug, where=self._where, message=message, hint=hint))
