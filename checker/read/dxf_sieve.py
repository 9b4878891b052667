"""A quick way through large text drawings: plain points, texts and faces straight into arrays.

Everything else goes to the library that reads DXF, as if the sieved entities had never been there.
The library is the judge: whatever it might read otherwise (an unusual group code, no handle, a
handle that stands twice, an odd coordinate, another entity of the kind that mixes with them) sends
the whole kind, or the whole file, back to it. Group codes: the open DXF reference.
"""

import itertools
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from checker.model.arrays import FloatArray, IntArray
from checker.read.dxf_entities import COORDINATE_LIMIT, Tag, Text
from checker.read.dxf_text import clean, plain_line

LEAST: Final = 3000
"""Fewer entities than this are not worth a second way."""
_LOT: Final = 1 << 11
"""So many records at once are held as text: few enough to stay in the processor's cache."""
_MOST_LAYOUTS: Final = 40
_ENTITIES = re.compile(
    r"(?:^|\n)[ \t]*0[ \t]*\n[ \t]*SECTION[ \t]*\n[ \t]*2[ \t]*\n[ \t]*ENTITIES[ \t]*\n"
)
_ANY: Final = r"[ \t]*+0[ \t]*+\n[^\n]*+\n(?:(?![ \t]*+0[ \t]*+\n)[^\n]*+\n[^\n]*+\n)*+"
"""A record: group code 0, and pairs of lines up to the next."""
_NEXT: Final = r"(?=[ \t]*+0[ \t]*+\n)"
_ONE = re.compile(_ANY)
_SOUND_HANDLE = re.compile(r"(?=0*[1-9A-Fa-f])[0-9A-Fa-f]+")
_SEQUENCE: Final = frozenset(("POLYLINE", "VERTEX", "ATTRIB"))
_PARTS: Final = frozenset(("VERTEX", "ATTRIB", "SEQEND"))
"""Records that are no entities of their own."""
_BAD_NAME = re.compile(r'[<>/\\":;?*|=`\n\r,^]')
_WHOLE: Final = frozenset((60, 62, 70, 71, 72, 73, 370, 420, 440))
_REAL: Final = frozenset((39, 40, 41, 48, 50, 51))
_WORD: Final = frozenset((1, 5, 6, 7, 8, 100, 330))
_COMMON: Final = frozenset((5, 6, 8, 48, 60, 62, 100, 330, 370, 420, 440))
_ALLOWED: Final = {
    "POINT": _COMMON | {39, 50},
    "TEXT": _COMMON | {1, 7, 39, 40, 41, 50, 51, 71, 72, 73},
    "3DFACE": _COMMON | {70},
}
_MARKERS: Final = {
    "POINT": ("AcDbEntity", "AcDbPoint"),
    "TEXT": ("AcDbEntity", "AcDbText", "AcDbText"),
    "3DFACE": ("AcDbEntity", "AcDbFace"),
}
_PLACES: Final = {"POINT": ((0,),), "TEXT": ((0,), (0, 1)), "3DFACE": ((0, 1, 2), (0, 1, 2, 3))}
"""Which of a record's places (0 for the codes 10, 20, 30) may be there."""
_SECTION: Final = "ENTITIES"
_HEAD: Final = 200
"""How long the head of a section may be, in characters."""
_MESHED: Final = "POLYLINE of a surface"
_RIVALS: Final = {"POINT": (), "TEXT": ("MTEXT",), "3DFACE": ("MESH", _MESHED)}
"""Entities that the reader lists together with the kind, so that their order would be lost."""


@dataclass(slots=True)
class Sieved:
    """What was taken out of a drawing's text, and the text that is left for the library.

    points: shape (points, 3). texts in their order. quads: shape (faces, 4, 3). owners: handles
    that the entities name as their owner; handles: their own. others: how many other entities of
    which name stand beside them.
    """

    rest: str
    points: FloatArray
    point_tags: list[Tag]
    texts: list[Text]
    quads: FloatArray
    quad_tags: list[Tag]
    owners: frozenset[str]
    handles: frozenset[str]
    others: Counter[str]

    def __len__(self) -> int:
        """Return how many entities were taken."""
        return len(self.point_tags) + len(self.texts) + len(self.quad_tags)


class _NotPlainError(Exception):
    """Something of the kind, "" for the whole file, is for the library to read."""

    def __init__(self, kind: str) -> None:
        super().__init__(kind)
        self.kind = kind


@dataclass(slots=True)
class _Kind:
    """The entities of one kind, gathered chunk by chunk."""

    places: list[FloatArray] = field(default_factory=list)
    layers: list[str] = field(default_factory=list)
    handles: list[str] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    def xyz(self, places: int) -> FloatArray:
        return np.concatenate([*self.places, np.empty((0, places, 3))])


def sieve(text: str, *, marked: bool) -> Sieved | None:
    """Return what can be taken out of a drawing's text, None where nothing should be.

    text: the whole file, lines ended by a line feed alone. Only its one ENTITIES section is looked
    at; what stands in blocks stays where it is. marked: of a version whose entities have subclass
    markers.
    """
    begin = _only_section(text)
    kinds = set(_ALLOWED) if begin else set()
    while kinds:
        try:
            return _Sieve(text, begin, kinds, marked=marked).run()
        except _NotPlainError as odd:
            if odd.kind not in kinds:
                return None
            kinds.discard(odd.kind)
        except ValueError:  # a group code or a number that is none
            return None
    return None


def _only_section(text: str) -> int:
    """Return where the content of the one ENTITIES section begins; 0 where there is not one."""
    begins: list[int] = []
    at = text.find(_SECTION)
    while at >= 0 and len(begins) < 2:
        # The expression alone takes long to find its way through a large file.
        found = _ENTITIES.search(text, max(at - _HEAD, 0), at + _HEAD)
        if found and found.end() > at:
            begins.append(found.end())
        at = text.find(_SECTION, at + 1)
    return begins[0] if len(begins) == 1 else 0


_Take = tuple[Callable[[tuple[str, ...]], None], Callable[[int], None], tuple[int, ...]]
"""Takes a record's values, takes its number, and the groups in which the values stand."""


@dataclass(slots=True)
class _Layout:
    """The records of one kind with the same lines of group codes, gathered until the next lot.

    codes: its group codes. pattern: of a whole record, a group for every value but the kind. found:
    the values of each; number: the place of each among all records.
    """

    kind: str
    codes: list[int]
    pattern: str
    found: list[tuple[str, ...]] = field(default_factory=list)
    number: list[int] = field(default_factory=list)


class _Sieve:
    def __init__(self, text: str, begin: int, kinds: set[str], *, marked: bool) -> None:
        self._marked = marked
        self._text = text
        self._begin = begin
        self._kinds = {kind: _Kind() for kind in kinds}
        self._layouts: dict[str, _Layout] = {}
        self._others = Counter[str]()
        self._rivals: set[str] = set()
        self._owners: set[str] = set()
        self._rest: list[str] = []
        self._names: dict[str, str] = {}

    def run(self) -> Sieved:
        end = self._walk()
        self._gather()
        taken = [handle for kind in self._kinds.values() for handle in kind.handles]
        if len(taken) < LEAST:
            raise _NotPlainError("")
        for kind in self._kinds:
            if self._kinds[kind].handles and self._rivals.intersection(_RIVALS[kind]):
                raise _NotPlainError(kind)
        rest = self._text[: self._begin] + "".join(self._rest) + self._text[end:]
        handles = frozenset(taken)
        if not all(map(_SOUND_HANDLE.fullmatch, taken)):
            raise _NotPlainError("")
        if len(handles) < len(taken) or not handles.isdisjoint(_handles(rest)):
            raise _NotPlainError("")
        points, texts, faces = (
            self._kinds.get(kind, _Kind()) for kind in ("POINT", "TEXT", "3DFACE")
        )
        return Sieved(
            rest=rest,
            points=points.xyz(1)[:, 0],
            point_tags=_tags("POINT", points),
            texts=list(
                map(
                    Text,
                    _tags("TEXT", texts),
                    map(tuple, texts.xyz(1)[:, 0].tolist()),
                    [(line,) if line else () for line in texts.texts],
                )
            ),
            quads=faces.xyz(4),
            quad_tags=_tags("3DFACE", faces),
            owners=frozenset(self._owners),
            handles=handles,
            others=self._others,
        )

    def _walk(self) -> int:
        """Go through the section record by record; return where its end mark begins.

        One expression matches the records of all layouts that are known, and any other record. A
        record of a wanted kind with new lines of group codes becomes a layout, from there on.
        """
        text, here, previous = self._text, self._begin, ""
        kept = here
        while True:
            expression, takes = self._expression()
            for number, match in enumerate(expression.finditer(text, here)):
                if match.start() != here:
                    raise _NotPlainError("")  # what stands between is no pair of code and value
                if match.lastindex is None:
                    name = self._other(match.group())
                    if name in self._kinds:
                        break
                    if name == "ENDSEC":
                        self._rest.append(text[kept:here])
                        return here
                    previous = name
                    here = match.end()
                    continue
                if previous:
                    if previous in _SEQUENCE:
                        # out of the middle of a polyline or of a block's attributes
                        raise _NotPlainError("")
                    self._rest.append(text[kept:here])
                    previous = ""
                found, numbers, groups = takes[match.lastindex]
                found(match.group(*groups))
                numbers(number)
                here = kept = match.end()
                if not number % _LOT:
                    self._gather()
            else:
                raise _NotPlainError("")  # the section has no end
            self._gather()
            self._learn(here)

    def _expression(self) -> "tuple[re.Pattern[str], dict[int, _Take]]":
        """Return what matches any record, and where the values of the known layouts go."""
        takes: dict[int, _Take] = {}
        groups = 0
        for layout in self._layouts.values():
            some = range(groups + 1, groups + len(layout.codes))
            groups = some[-1]
            takes[groups] = (layout.found.append, layout.number.append, tuple(some))
        parts = [layout.pattern for layout in self._layouts.values()]
        return re.compile("|".join([*parts, _ANY])), takes

    def _other(self, record: str) -> str:
        """Return the name of a record that is of no known layout."""
        lines = record.split("\n")
        codes = list(map(int, lines[:-1:2]))
        name = lines[1]
        if 0 in codes[1:]:
            raise _NotPlainError("")  # the next record already, its zero in disguise
        if name in self._kinds or name == "ENDSEC":
            return name
        if name.upper() not in _PARTS:
            self._others[name] += 1
        self._rivals.add(name)
        values = dict(zip(codes, lines[1::2], strict=True))
        if name == "POLYLINE" and 70 in values and int(values[70]) & (16 | 64):
            self._rivals.add(_MESHED)
        if 5 not in values and 105 not in values:
            raise _NotPlainError("")  # its handle would depend on all others
        return "ATTRIB" if name == "INSERT" and 66 in values else name

    def _learn(self, here: int) -> None:
        """Add the layout of the record that begins there."""
        match = _ONE.match(self._text, here)
        lines = match.group().split("\n") if match else []
        kind, heads = lines[1], lines[:-1:2]
        codes = list(map(int, heads))
        if (100 in codes) != self._marked:
            raise _NotPlainError(kind)
        _check_codes(kind, codes)
        values = [re.escape(kind), *[r"([^\n]*+)"] * (len(codes) - 1)]
        pattern = "".join(
            f"{re.escape(head)}\\n{value}\\n" for head, value in zip(heads, values, strict=True)
        )
        pattern += _NEXT
        if len(self._layouts) >= _MOST_LAYOUTS or not re.compile(pattern).match(self._text, here):
            raise _NotPlainError(kind)
        self._layouts[pattern] = _Layout(kind, codes, pattern)

    def _gather(self) -> None:
        """Turn the values that were found since the last time into columns."""
        for kind, gathered in self._kinds.items():
            found = [each for each in self._layouts.values() if each.kind == kind and each.found]
            if not found:
                continue
            records = [_Records(kind, each.codes, each.found) for each in found]
            places = np.concatenate([each.places() for each in records])
            layers = [name for each in records for name in self._layers(kind, each.words(8))]
            handles = [handle for each in records for handle in each.words(5)]
            texts = [line for each in records for line in each.lines()]
            for each in records:
                self._owners.update(each.words(330))
            if len(records) > 1:
                order = np.argsort(np.concatenate([each.number for each in found]))
                rows = order.tolist()
                places = places[order]
                layers = [layers[row] for row in rows]
                handles = [handles[row] for row in rows]
                texts = [texts[row] for row in rows] if texts else []
            gathered.places.append(places)
            gathered.layers += layers
            gathered.handles += handles
            gathered.texts += texts
            for layout in found:
                layout.found.clear()
                layout.number.clear()

    def _layers(self, kind: str, names: Sequence[str]) -> list[str]:
        for name in set(names).difference(self._names):
            if _BAD_NAME.search(name) or not name:
                raise _NotPlainError(kind)
            self._names[name] = clean(name).strip() or "0"
        return [self._names[name] for name in names]


def _check_codes(kind: str, codes: list[int]) -> None:
    """See that a record has the group codes of a plain one; each place its three side by side."""
    names = [code - 10 for code in codes if 10 <= code < 14]
    triples = [(10 + name, 20 + name, 30 + name) for name in names]
    if tuple(names) not in _PLACES[kind]:
        raise _NotPlainError(kind)
    for triple in triples:
        first = codes.index(triple[0])
        if tuple(codes[first : first + 3]) != triple:
            raise _NotPlainError(kind)
    rest = codes[1:]
    for code in (code for triple in triples for code in triple):
        rest.remove(code)
    if not set(rest) <= _ALLOWED[kind]:
        raise _NotPlainError(kind)
    single = [code for code in rest if code != 100]
    if len(set(single)) < len(single) or not {5, 8} <= set(single):
        raise _NotPlainError(kind)
    if kind == "TEXT" and 1 not in single:
        raise _NotPlainError(kind)
    if 100 in rest and rest.count(100) != len(_MARKERS[kind]):
        raise _NotPlainError(kind)


class _Records:
    """Records with the same group codes. found: the values of each behind its kind."""

    def __init__(self, kind: str, codes: list[int], found: list[tuple[str, ...]]) -> None:
        self._kind = kind
        self._count = len(found)
        self._columns: dict[int, tuple[str, ...]] = {}
        markers = []
        for code, column in zip(codes[1:], zip(*found, strict=True), strict=True):
            if code == 100:
                markers.append(set(column))
            elif code in _WHOLE:
                list(map(int, set(column)))
            elif code in _REAL:
                list(map(float, set(column)))
            self._columns[code] = column
        if markers and markers != [{marker} for marker in _MARKERS[kind]]:
            raise _NotPlainError(kind)
        self._names = [code - 10 for code in codes if 10 <= code < 14]

    def words(self, code: int) -> tuple[str, ...]:
        """Return the values of a group code as they stand, empty where the records have none."""
        return self._columns.get(code, ())

    def lines(self) -> list[str]:
        """Return the content of texts, without its formatting codes."""
        if self._kind != "TEXT":
            return []
        words = self.words(1)
        every = "".join(words)
        if every.isascii() and every.isprintable() and not any(map(every.__contains__, "\\^%")):
            return list(map(str.strip, words))
        return [_line(value) for value in words]

    def _floats(self, code: int) -> FloatArray:
        return np.fromiter(map(float, self._columns[code]), dtype=np.float64, count=self._count)

    def _whole(self, code: int) -> IntArray:
        values = self._columns.get(code, ("0",) * self._count)
        return np.fromiter(map(int, values), dtype=np.int64, count=self._count)

    def places(self) -> FloatArray:
        """Return the places that the reader goes by, shape (records, 1 or 4, 3)."""
        xyz = np.stack(
            [
                np.column_stack([self._floats(axis + name) for axis in (10, 20, 30)])
                for name in self._names
            ],
            axis=1,
        )
        if not (np.abs(xyz) < COORDINATE_LIMIT).all():
            raise _NotPlainError(self._kind)
        if self._kind == "3DFACE" and len(self._names) == 3:
            return np.concatenate((xyz, xyz[:, 2:]), axis=1)
        if self._kind != "TEXT":
            return xyz
        across, up = self._whole(72), self._whole(73)
        if across.min() < 0 or across.max() > 5 or up.min() < 0 or up.max() > 3:
            raise _NotPlainError(self._kind)
        if len(self._names) == 1:
            return xyz
        # Aligned text stands at its second place, fitted text midway; see `dxf_entities`.
        fitted = (across == 3) | (across == 5)
        aligned = (across != 0) | (up != 0)
        middle = (xyz[:, 0] + xyz[:, 1]) / 2.0
        place = np.where(fitted[:, None], middle, xyz[:, 1])
        return np.where(aligned[:, None], place, xyz[:, 0])[:, None]


def _handles(rest: str) -> set[str]:
    """Return the handles in a text of whole pairs of code and value.

    Read pair by pair: a value may look like the code of a handle, and the code behind it like one.
    """
    lines = rest.split("\n")
    if lines[0].strip() not in ("0", "999"):
        raise _NotPlainError("")
    pairs = zip(lines[::2], lines[1::2], strict=False)
    return {value.strip() for code, value in pairs if code.strip() in ("5", "105")}


def _line(value: str) -> str:
    if "\\" in value or "^" in value:
        raise _NotPlainError("TEXT")
    return plain_line(value)


def _tags(kind: str, found: _Kind) -> list[Tag]:
    return list(map(Tag, itertools.repeat(kind), found.layers, found.handles))


def worth_it(names: Counter[str]) -> bool:
    """Return whether so many of a drawing's entities are plain ones that the quick way pays."""
    plain = sum(names[kind] for kind in _ALLOWED)
    return plain >= LEAST and 2 * plain >= names.total()
