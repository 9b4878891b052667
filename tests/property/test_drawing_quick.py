"""The quick way through large drawings says exactly what the general reference library says.

The judge is the long way, on which ezdxf reads every entity. All of shared/corpus is compared where
it is at hand, then invented drawings, sound and damaged.
"""

import dataclasses
import random
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from checker.errors import InputError
from checker.model.drawing import Drawing
from checker.model.job import Labels
from checker.read import dxf_sieve
from checker.read.drawing import read_drawing
from checker.read.dxf_sieve import sieve
from checker.read.files import Source
from checker.units import LengthUnit
from tests.property.test_drawing_fuzz import flip, lines, values
from tests.support.drawings import zoo

pytestmark = pytest.mark.property

CORPUS = Path(__file__).resolve().parents[3] / "shared" / "corpus"
FILES = sorted(CORPUS.glob("*.dxf"))
HEAD = (
    "  0\nSECTION\n  2\nHEADER\n  9\n$ACADVER\n  1\n{}\n  0\nENDSEC\n  0\nSECTION\n  2\nENTITIES\n"
)
FOOT = "  0\nENDSEC\n  0\nEOF\n"


@pytest.fixture(autouse=True)
def _whatever_the_size(monkeypatch: pytest.MonkeyPatch) -> None:
    def always(_names: Counter[str]) -> bool:
        return True

    monkeypatch.setattr(dxf_sieve, "LEAST", 1)
    monkeypatch.setattr(dxf_sieve, "worth_it", always)


def outcome(data: bytes, *, quick: bool) -> Drawing | tuple[object, ...]:
    try:
        return read_drawing(
            Source(path="d.dxf", data=data), unit=LengthUnit.FOOT, labels=Labels(), quick=quick
        )
    except InputError as fault:
        return fault.problems


def same(one: object, other: object) -> bool:
    if isinstance(one, np.ndarray):
        assert isinstance(other, np.ndarray)
        if one.dtype == object:
            return bool(one.tolist() == other.tolist())
        return one.shape == other.shape and np.array_equal(one, other, equal_nan=True)
    if dataclasses.is_dataclass(one):
        assert type(one) is type(other)
        return all(
            same(getattr(one, field.name), getattr(other, field.name))
            for field in dataclasses.fields(one)
        )
    if isinstance(one, tuple):
        assert isinstance(other, tuple)
        return len(one) == len(other) and all(map(same, one, other))
    return one == other


def record(*pairs: tuple[int, object]) -> str:
    return "".join(f"{code:>3}\n{value}\n" for code, value in pairs)


def plain(version: str = "AC1015", *, count: int = 40) -> str:
    """An invented site of points with texts and of faces, with one line between them."""
    marks = version > "AC1009"

    def entity(kind: str, handle: int, *pairs: tuple[int, object]) -> str:
        head: list[tuple[int, object]] = [(0, kind), (5, f"{handle:X}")]
        markers = {"POINT": "AcDbPoint", "TEXT": "AcDbText", "3DFACE": "AcDbFace"}
        if marks and kind in markers:
            head += [(100, "AcDbEntity"), (8, "STAKE"), (100, markers[kind])]
            tail = [(100, "AcDbText")] if kind == "TEXT" else []
            return record(*head, *pairs, *tail)
        return record(*head, (8, "STAKE"), *pairs)

    parts = [HEAD.format(version)]
    for number in range(count):
        x, y, z = 1000 + 7.125 * (number % 8), 2000 + 9.5 * (number // 8), 40 + number / 16
        at = ((10, x), (20, y), (30, z))
        parts.append(entity("POINT", 0x100 + 4 * number, *at))
        aligned = ((72, number % 6), (11, x + 0.5), (21, y), (31, 0.0)) if number % 3 else ()
        parts.append(
            entity("TEXT", 0x101 + 4 * number, *at, (40, 1.0), (1, f"{number + 1}"), *aligned)
        )
        corner = [(10 * (axis + 1) + name, value + 5 * (name == axis + 1))
                  for name in range(4) for axis, value in enumerate((x, y, z))]  # fmt: skip
        parts.append(entity("3DFACE", 0x102 + 4 * number, *corner))
        if number == count // 2 and not marks:
            parts.append(entity("LINE", 0xFF0, (10, 0), (20, 0), (11, 5), (21, 5)))
    return "".join([*parts, FOOT])


@pytest.mark.skipif(not FILES, reason="there are no drawings beside the repository")
@pytest.mark.parametrize("path", FILES, ids=[path.name[:24] for path in FILES])
def test_drawings_of_others_come_out_alike(path: Path) -> None:
    data = path.read_bytes()
    assert same(outcome(data, quick=True), outcome(data, quick=False))


@pytest.mark.parametrize("version", ["AC1009", "AC1015", "AC1027"])
def test_plain_entities_are_taken_and_come_out_alike(version: str) -> None:
    text = plain(version)
    sieved = sieve(text, marked=version > "AC1009")
    assert sieved is not None
    assert len(sieved) == 120
    assert "POINT" not in sieved.rest
    result = outcome(text.encode(), quick=True)
    assert isinstance(result, Drawing)
    assert len(result.points) == 40
    assert same(result, outcome(text.encode(), quick=False))


def test_a_value_that_looks_like_the_code_of_a_handle_is_none() -> None:
    # Colour 5 before group code 100: read line by line, that is a handle 100, which is taken.
    line = record(
        (0, "LINE"), (5, "FF1"), (100, "AcDbEntity"), (8, "STAKE"), (62, 5), (100, "AcDbLine"),
        (10, 0.0), (20, 0.0), (30, 0.0), (11, 5.0), (21, 5.0), (31, 0.0),
    )  # fmt: skip
    text = plain().replace(FOOT, line + FOOT)
    sieved = sieve(text, marked=True)
    assert sieved is not None
    assert "100" in sieved.handles
    assert same(outcome(text.encode(), quick=True), outcome(text.encode(), quick=False))


def test_records_keep_their_order_wherever_a_lot_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    text = plain()
    reference = outcome(text.encode(), quick=False)
    for size in (1, 2, 7, 50):
        monkeypatch.setattr(dxf_sieve, "_LOT", size)
        assert sieve(text, marked=True) is not None
        assert same(outcome(text.encode(), quick=True), reference)


MTEXT = record(
    (0, "MTEXT"), (5, "FF1"), (100, "AcDbEntity"), (8, "STAKE"), (100, "AcDbMText"),
    (10, 1000), (20, 2000), (30, 0), (1, "Hello"),
)  # fmt: skip
ODD = [
    ("a comment", "  8\nSTAKE\n", "999\nhm\n  8\nSTAKE\n"),
    ("no handle", "  5\n108\n", ""),
    ("a handle of nothing", "  5\n108\n", "  5\n0\n"),
    ("a handle twice", "  5\n108\n", "  5\n104\n"),
    ("a turned text", " 40\n1.0\n", " 40\n1.0\n210\n0\n220\n0\n230\n-1\n"),
    ("a formatted text", "  1\n5\n", "  1\n^I5\\U+0041\n"),
    ("no place", " 20\n2000.0\n", ""),
    ("a repeated place", " 20\n2000.0\n", " 20\n2000.0\n 20\n2001.0\n"),
    ("no number", " 20\n2000.0\n", " 20\n20OO.0\n"),
    ("not finite", " 20\n2000.0\n", " 20\nnan\n"),
    ("in paper space", "  8\nSTAKE\n", " 67\n1\n  8\nSTAKE\n"),
    ("a layer's odd name", "  8\nSTAKE\n", "  8\nSTA*KE\n"),
    ("a blank layer", "  8\nSTAKE\n", "  8\n  \n"),
    ("a text of another kind", "  0\nENDSEC\n  0\nEOF", MTEXT + "  0\nENDSEC\n  0\nEOF"),
    ("two sections", "  0\nENDSEC\n  0\nEOF",
     "  0\nENDSEC\n  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF"),
    ("no end", "  0\nENDSEC\n  0\nEOF\n", ""),
    ("another marker", "100\nAcDbPoint\n", "100\nAcDbPlace\n"),
    ("no marker", "100\nAcDbPoint\n", ""),
    ("extended data", "  0\nTEXT\n", "1001\nACAD\n1000\nmore\n  0\nTEXT\n"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new"), [odd[1:] for odd in ODD], ids=[odd[0] for odd in ODD])
def test_whatever_is_not_plain_is_for_the_library(old: str, new: str) -> None:
    text = plain()
    assert old in text
    head, foot = text.rsplit(old, 1) if "EOF" in old else text.split(old, 1)
    data = (head + new + foot).encode()
    assert same(outcome(data, quick=True), outcome(data, quick=False))


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
def test_a_drawing_of_everything_comes_out_alike(version: str) -> None:
    data = zoo(version)
    assert same(outcome(data, quick=True), outcome(data, quick=False))


BASES = [plain(count=8).encode(), plain("AC1009", count=8).encode(), zoo("R2000")]


@settings(
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
    max_examples=60,
)
@given(st.sampled_from(BASES), st.sampled_from([flip, lines, values]), st.integers(0, 2**32))
def test_damaged_drawings_come_out_alike(base: bytes, mutation: object, seed: int) -> None:
    assert callable(mutation)
    data = mutation(base, random.Random(seed))
    assert same(outcome(data, quick=True), outcome(data, quick=False))
