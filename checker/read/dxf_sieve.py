"""A quick way through large text drawings: plain points, texts and faces straight into arrays.

Everything else goes to the library that reads DXF, as if the sieved entities had never been there.
The library is the judge: whatever it might read otherwise (an unusual group code, no handle, a
handle that stands twice, an odd coordinate, another entity of the kind that mixes with them) sends
the whole kind, or the whole file, back to it. Group codes: the open DXF reference.
"""

import itertools
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from checker.model.arrays import FloatArray, IntArray
from checker.read.dxf_entities import COORDINATE_LIMIT, Tag, Text
from checker.read.dxf_text import clean, plain_line

LEAST: Final = 3000
"""Fewer entities than this are not worth a second way."""
_CHUNK: Final = 1 << 21
_ENTITIES = re.compile(
    r"(?:^|\n)[ \t]*0[ \t]*\n[ \t]*SECTION[ \t]*\n[ \t]*2[ \t]*\n[ \t]*ENTITIES[ \t]*\n"
)
_SOUND_HANDLE = re.compile(r"(?=0*[1-9A-Fa-f])[0-9A-Fa-f]+")
_SEQUENCE: Final = frozenset(("POLYLINE", "VERTEX", "ATTRIB"))
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
_MESHED: Final = "POLYLINE of a surface"
_RIVALS: Final = {"POINT": (), "TEXT": ("MTEXT",), "3DFACE": ("MESH", _MESHED)}
"""Entities that the reader lists together with the kind, so that their order would be lost."""


@dataclass(slots=True)
class Sieved:
    """What was taken out of a drawing's text, and the text that is left for the library.

    points: shape (points, 3). texts in their order. quads: shape (faces, 4, 3). owners: handles
    that the entities name as their owner; handles: their own.
    """

    rest: str
    points: FloatArray
    point_tags: list[Tag]
    texts: list[Text]
    quads: FloatArray
    quad_tags: list[Tag]
    owners: frozenset[str]
    handles: frozenset[str]

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
    heads = list(itertools.islice(_ENTITIES.finditer(text), 2))
    if len(heads) != 1:
        return None
    kinds = set(_ALLOWED)
    while kinds:
        try:
            return _Sieve(text, heads[0].end(), kinds, marked=marked).run()
        except _NotPlainError as odd:
            if odd.kind not in kinds:
                return None
            kinds.discard(odd.kind)
        except ValueError:  # a group code or a number that is none
            return None
    return None


class _Sieve:
    def __init__(self, text: str, begin: int, kinds: set[str], *, marked: bool) -> None:
        self._marked = marked
        self._text = text
        self._begin = begin
        self._wanted = {kind: number for number, kind in enumerate(sorted(kinds), 1)}
        self._kinds = {kind: _Kind() for kind in kinds}
        self._others: set[str] = set()
        self._owners: set[str] = set()
        self._rest: list[str] = []
        self._names: dict[str, str] = {}
        self._last = ""

    def run(self) -> Sieved:
        end = self._begin
        for lines, codes, starts, end in self._records():  # noqa: B007 - the last end counts
            self._chunk(lines, codes, starts)
        taken = [handle for kind in self._kinds.values() for handle in kind.handles]
        if len(taken) < LEAST:
            raise _NotPlainError("")
        for kind in self._kinds:
            if self._kinds[kind].handles and self._others.intersection(_RIVALS[kind]):
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
            texts=[
                Text(tag, (x, y, z), (line,) if line else ())
                for tag, (x, y, z), line in zip(
                    _tags("TEXT", texts), texts.xyz(1)[:, 0].tolist(), texts.texts, strict=True
                )
            ],
            quads=faces.xyz(4),
            quad_tags=_tags("3DFACE", faces),
            owners=frozenset(self._owners),
            handles=handles,
        )

    def _records(self) -> Iterator[tuple[list[str], IntArray, IntArray, int]]:
        """Return lines, codes of every second line, which of them begin a record, and the end.

        Whole records only; the last start is where the next chunk begins.
        """
        text, here = self._text, self._begin
        size = _CHUNK
        while True:
            stop = text.rfind("\n", here, here + size) + 1
            if stop <= here:
                raise _NotPlainError("")
            lines = text[here:stop].split("\n")
            lines.pop()
            if len(lines) % 2:
                stop -= len(lines.pop()) + 1
            codes = np.fromiter(map(int, lines[::2]), dtype=np.int64, count=len(lines) // 2)
            starts = np.flatnonzero(codes == 0)
            ends = [at for at in starts.tolist() if lines[2 * at + 1] == "ENDSEC"]
            if ends:
                starts = starts[: int(np.searchsorted(starts, ends[0])) + 1]
            if not len(starts) or starts[0] != 0:
                raise _NotPlainError("")
            if len(starts) == 1 and not ends:
                # One record is longer than the chunk, or the file ends without an end of section.
                if stop >= len(text):
                    raise _NotPlainError("")
                size *= 4
                continue
            used = 2 * int(starts[-1])
            here += sum(map(len, lines[:used])) + used
            yield lines, codes, starts, here
            if ends:
                return
            size = _CHUNK

    def _chunk(self, lines: list[str], codes: IntArray, starts: IntArray) -> None:
        names = [lines[2 * at + 1] for at in starts[:-1].tolist()]
        number = np.array([self._wanted.get(name, 0) for name in names], dtype=np.int64)
        self._check_sequences(lines, codes, starts, names, number)
        for kind, mark in self._wanted.items():
            rows = np.flatnonzero(number == mark)
            if len(rows):
                begin = starts[:-1][rows]
                self._take(kind, lines, codes, begin, starts[1:][rows] - begin)
        self._keep(lines, starts, number)

    def _check_sequences(
        self,
        lines: list[str],
        codes: IntArray,
        starts: IntArray,
        names: list[str],
        number: IntArray,
    ) -> None:
        """See that nothing is taken out of the middle of a polyline or of a block's attributes."""
        previous = self._last
        for row, name in enumerate(names):
            if number[row]:
                if previous in _SEQUENCE:
                    raise _NotPlainError("")
                previous = ""
                continue
            previous = name
            self._others.add(name)
            first, last = int(starts[row]), int(starts[row + 1])
            values = dict(zip(codes[first:last].tolist(), range(first, last), strict=True))
            if name == "POLYLINE" and 70 in values and int(lines[2 * values[70] + 1]) & (16 | 64):
                self._others.add(_MESHED)
            if name == "INSERT" and 66 in values:
                previous = "ATTRIB"
            if 5 not in values and 105 not in values:
                raise _NotPlainError("")  # its handle would depend on all others
        self._last = previous

    def _keep(self, lines: list[str], starts: IntArray, number: IntArray) -> None:
        """Hand the runs of other records on as they stand."""
        change = np.flatnonzero(np.diff((number == 0).astype(np.int8), prepend=0, append=0))
        for first, last in change.reshape(-1, 2).tolist():
            run = lines[2 * int(starts[first]) : 2 * int(starts[last])]
            self._rest.append("\n".join(run) + "\n")

    def _take(
        self, kind: str, lines: list[str], codes: IntArray, begin: IntArray, length: IntArray
    ) -> None:
        """Take records of one kind; those with the same group codes at one go."""
        count = len(begin)
        width = int(length.max())
        table = np.full((count, width), -1, dtype=np.int64)
        inside = np.arange(width) < length[:, None]
        table[inside] = codes[(begin[:, None] + np.arange(width))[inside]]
        same = bool((table == table[0]).all())
        if same:
            patterns, which = table[:1], np.zeros(count, dtype=np.int64)
        else:
            patterns, which = np.unique(table, axis=0, return_inverse=True)
            which = which.ravel()
        places = np.empty((count, 4 if kind == "3DFACE" else 1, 3))
        layers, handles, texts = ([""] * count for _ in range(3))
        for index, padded in enumerate(patterns.tolist()):
            pattern = [code for code in padded if code >= 0]
            if (100 in pattern) != self._marked:
                raise _NotPlainError(kind)
            rows = np.flatnonzero(which == index)
            record = _Record(kind, pattern, lines, begin[rows].tolist())
            places[rows] = record.places()
            self._owners.update(record.words(330))
            for into, found in (
                (layers, [self._layer(kind, name) for name in record.words(8)]),
                (handles, record.words(5)),
                (texts, [_line(value) for value in record.words(1)] if kind == "TEXT" else []),
            ):
                for row, value in zip(rows.tolist(), found, strict=False):
                    into[row] = value
        gathered = self._kinds[kind]
        gathered.places.append(places)
        gathered.layers += layers
        gathered.handles += handles
        gathered.texts += texts if kind == "TEXT" else []

    def _layer(self, kind: str, name: str) -> str:
        known = self._names.get(name)
        if known is None:
            if _BAD_NAME.search(name) or not name:
                raise _NotPlainError(kind)
            known = self._names[name] = clean(name).strip() or "0"
        return known


class _Record:
    """Records with the same group codes."""

    def __init__(self, kind: str, pattern: list[int], lines: list[str], begin: list[int]) -> None:
        self._kind = kind
        self._lines = lines
        self._begin = begin
        self._at = {code: place for place, code in enumerate(pattern)}
        markers = [place for place, code in enumerate(pattern) if code == 100]
        single = len(pattern) - max(len(markers) - 1, 0)
        self._names = self._check_places(pattern)
        if len(self._at) < single or not {5, 8} <= self._at.keys():
            raise _NotPlainError(kind)
        if kind == "TEXT" and 1 not in self._at:
            raise _NotPlainError(kind)
        if markers and tuple(self._column(m)[0] for m in markers) != _MARKERS[kind]:
            raise _NotPlainError(kind)
        for place in markers:
            if len(set(self._column(place))) != 1:
                raise _NotPlainError(kind)
        for code, place in self._at.items():
            if code in _WHOLE:
                list(map(int, self._column(place)))
            elif code in _REAL:
                list(map(float, self._column(place)))

    def _check_places(self, pattern: list[int]) -> tuple[int, ...]:
        """Return which places there are; each must have its three codes side by side."""
        names = tuple(code - 10 for code in pattern if 10 <= code < 14)
        triples = [(10 + name, 20 + name, 30 + name) for name in names]
        if names not in _PLACES[self._kind]:
            raise _NotPlainError(self._kind)
        for triple in triples:
            first = self._at[triple[0]]
            if tuple(pattern[first : first + 3]) != triple:
                raise _NotPlainError(self._kind)
        rest = set(pattern[1:]) - {code for triple in triples for code in triple}
        if not rest <= _ALLOWED[self._kind]:
            raise _NotPlainError(self._kind)
        return names

    def _column(self, place: int) -> list[str]:
        lines, shift = self._lines, 2 * place + 1
        return [lines[2 * first + shift] for first in self._begin]

    def words(self, code: int) -> list[str]:
        """Return the values of a group code as they stand, empty where the records have none."""
        return self._column(self._at[code]) if code in self._at else []

    def _floats(self, code: int) -> FloatArray:
        values = self._column(self._at[code])
        return np.fromiter(map(float, values), dtype=np.float64, count=len(values))

    def _whole(self, code: int) -> IntArray:
        values = self._column(self._at[code]) if code in self._at else [0] * len(self._begin)
        return np.fromiter(map(int, values), dtype=np.int64, count=len(values))

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
    return [
        Tag(kind, layer, handle) for layer, handle in zip(found.layers, found.handles, strict=True)
    ]


def worth_it(names: Counter[str]) -> bool:
    """Return whether so many of a drawing's entities are plain ones that the quick way pays."""
    plain = sum(names[kind] for kind in _ALLOWED)
    return plain >= LEAST and 2 * plain >= names.total()
