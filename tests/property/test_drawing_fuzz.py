"""Drawings that were damaged on the way: read or refused with a message, never anything else.

Whatever the bytes, the reader returns a drawing in which everything is finite, or raises
`InputError`; the audit takes whatever was read. What a longer run by hand found is kept in
tests/bad_inputs.
"""

import random
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from checker.checks.audit import audit_drawing
from checker.errors import InputError
from checker.model.drawing import Drawing
from checker.model.job import Labels
from checker.read.drawing import read_drawing
from checker.read.files import Source
from checker.units import LengthUnit
from tests.support.drawings import zoo

pytestmark = pytest.mark.property

BASES = [zoo(version) for version in ("R12", "R2000", "R2010")]
BINARY = [zoo(version, binary=True) for version in ("R12", "R2010")]
ODD = [
    "0", "1", "-1", "2", "8", "70", "1e308", "-1e308", "nan", "inf", "1e400", "999999999999999999",
    "2147483648", "", " ", "x", "LINE", "INSERT", "SECTION", "ENDSEC", "EOF", "SEQEND", "VERTEX",
    "POLYLINE", "3DFACE", "MESH", "BLOCK", "ENDBLK", "PEG", "RING", "*Model_Space", "\\U+D800",
    "0.1.2", "1,5", "\x00", "é",
]  # fmt: skip
Mutation = Callable[[bytes, random.Random], bytes]


def entities(data: bytes) -> int:
    """Where the drawing itself begins: damage before it mostly means no drawing at all."""
    return max(data.find(b"BLOCKS"), 0)


def cut(data: bytes, chance: random.Random) -> bytes:
    return data[: chance.randrange(len(data))]


def flip(data: bytes, chance: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        changed[chance.randrange(len(changed))] = chance.randrange(256)
    return bytes(changed)


def lines(data: bytes, chance: random.Random) -> bytes:
    """Values replaced, lines lost, doubled or exchanged: one to five times."""
    rows = data.split(b"\n")
    first = data[: entities(data)].count(b"\n")
    for _ in range(chance.randint(1, 5)):
        at = chance.randrange(first if chance.random() < 0.8 else 0, len(rows))
        other = chance.randrange(first, len(rows))
        match chance.randrange(5):
            case 0 | 1:
                rows[at] = chance.choice(ODD).encode("utf-8", "surrogatepass")
            case 2:
                del rows[at : at + chance.choice((1, 2, 2, 4, 20))]
            case 3:
                rows[at:at] = rows[other : other + chance.choice((1, 2, 4, 20))]
            case _:
                rows[at], rows[other] = rows[other], rows[at]
        if not rows:
            break
        first = min(first, len(rows) - 1)
    return b"\n".join(rows)


def values(data: bytes, chance: random.Random) -> bytes:
    """Only values replaced, so that the structure stands and the entities are wrong."""
    rows = data.split(b"\n")
    first = data[: entities(data)].count(b"\n")
    first -= first % 2
    for _ in range(chance.randint(1, 12)):
        at = chance.randrange(first, len(rows) - 1) | 1
        if at < len(rows):
            rows[at] = chance.choice(ODD).encode("utf-8", "surrogatepass")
    return b"\n".join(rows)


def outcome(data: bytes) -> Drawing | None:
    """Return what was read, None where it was refused; sound either way."""
    try:
        result = read_drawing(
            Source(path="d.dxf", data=data),
            unit=LengthUnit.METRE,
            labels=Labels(elevation_text=True),
        )
    except InputError as fault:
        for problem in fault.problems:
            assert problem.message
            assert problem.hint
        return None
    assert np.isfinite(result.points.easting_m).all()
    assert np.isfinite(result.points.northing_m).all()
    assert all(result.points.id)
    for figure in result.figures:
        assert np.isfinite(figure.xyz_m).all()
        assert np.isfinite(figure.bulge).all()
        assert len(figure.xyz_m) == len(figure.bulge) >= 2
    if result.triangles is not None:
        assert np.isfinite(result.triangles.corner_m).all()
    for notice in (*result.notices, *audit_drawing(result, LengthUnit.FOOT)):
        notice.message.encode()
        str(notice.where).encode()
    return result


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
@pytest.mark.parametrize("binary", [False, True])
def test_every_version_says_the_same(version: str, *, binary: bool) -> None:
    reference = outcome(zoo("R12" if version == "R12" else "R2010"))
    result = outcome(zoo(version, binary=binary))
    assert reference is not None
    assert result is not None
    assert result.points.id.tolist() == reference.points.id.tolist()
    assert np.array_equal(result.points.easting_m, reference.points.easting_m)
    assert len(result.figures) == len(reference.figures)
    assert all(
        np.allclose(one.xyz_m, other.xyz_m, rtol=0, atol=1e-9)
        for one, other in zip(result.figures, reference.figures, strict=True)
    )
    assert result.triangles is not None
    assert reference.triangles is not None
    assert np.array_equal(result.triangles.corner_m, reference.triangles.corner_m)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(
    st.sampled_from([*BASES, *BINARY]),
    st.sampled_from([cut, flip, lines, values]),
    st.integers(0, 2**32),
)
def test_a_damaged_drawing_is_read_or_refused(base: bytes, mutation: Mutation, seed: int) -> None:
    outcome(mutation(base, random.Random(seed)))


@pytest.mark.parametrize("codec", ["utf-16", "utf-8-sig", "cp1252", "cp932"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_letters_and_line_ends_do_not_matter(codec: str, line_end: str) -> None:
    text = BASES[2].decode().replace("\r\n", "\n").replace("\n", line_end)
    result = outcome(text.encode(codec))
    reference = outcome(BASES[2])
    assert result is not None
    assert reference is not None
    assert np.array_equal(result.points.northing_m, reference.points.northing_m)
    assert len(result.figures) == len(reference.figures)
