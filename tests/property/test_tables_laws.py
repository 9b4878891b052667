"""Laws of the tables: how a table is written never changes what is read from it."""

import codecs
import csv
import io
import json
import math
from collections.abc import Callable
from itertools import product
from typing import TypeVar

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.errors import InputError
from checker.model.job import AngleKind
from checker.model.points import Points
from checker.read.files import Source
from checker.read.level_book import read_level_book
from checker.read.points import read_points
from checker.read.traverse_book import read_traverse_book
from checker.units import AngleFormat, LengthUnit

pytestmark = pytest.mark.property

T = TypeVar("T")
UNIT = LengthUnit.US_SURVEY_FOOT
HEADER = ["id", "northing", "easting", "elevation", "sigma_h", "description"]

numbers = st.integers(-(10**9), 10**9).map(lambda value: f"{value / 1000:.3f}")
ids = st.text("ABCDEFGHKLabc0123456789", min_size=1, max_size=6).map(lambda text: "P" + text)
words = st.sampled_from(["hub", "corner", "edge of walk", "wall, north face", "", "SC 12"])
rows = st.lists(
    st.tuples(
        ids,
        numbers,
        numbers,
        st.one_of(numbers, st.just("")),
        st.one_of(st.integers(0, 99).map(lambda v: f"{v / 1000:.3f}"), st.just("")),
        words,
    ),
    min_size=1,
    max_size=12,
)


def written(
    table: list[list[str]], separator: str, *, comma: bool = False, ending: str = "\n"
) -> str:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator=ending)
    for i, row in enumerate(table):
        writer.writerow(
            [c.replace(".", ",") if comma and i and 0 < j < 5 else c for j, c in enumerate(row)]
        )
    return out.getvalue()


def blanks(table: list[list[str]]) -> str:
    return "\n".join(
        "  ".join(f'"{cell}"' if " " in cell or "," in cell else cell or "-" for cell in row)
        for row in table
    )


def read(data: bytes) -> Points:
    points, _ = read_points(
        [Source(path="t", data=data)], unit=UNIT, columns={}, role="design", unique=False
    )
    return points


def same(one: Points, other: Points, *, description: bool = True) -> bool:
    assert one.quality.sigma_h_m is not None
    assert other.quality.sigma_h_m is not None
    return (
        list(one.id) == list(other.id)
        and np.array_equal(one.northing_m, other.northing_m)
        and np.array_equal(one.easting_m, other.easting_m)
        and np.array_equal(one.elevation_m, other.elevation_m, equal_nan=True)
        and np.array_equal(one.quality.sigma_h_m, other.quality.sigma_h_m, equal_nan=True)
        and (not description or list(one.description) == list(other.description))
    )


@given(rows, st.sampled_from(["\n", "\r\n", "\r"]), st.data())
def test_the_dialect_does_not_matter(
    table: list[tuple[str, ...]], ending: str, data: st.DataObject
) -> None:
    whole = [HEADER, *map(list, table)]
    plain = read(written(whole, ",").encode())
    separator = data.draw(st.sampled_from([",", ";", "\t", "|"]))
    comma = separator != "," and data.draw(st.booleans())
    text = written(whole, separator, comma=comma, ending=ending)
    encoding, mark = data.draw(
        st.sampled_from(
            [
                ("utf-8", b""),
                ("utf-8", codecs.BOM_UTF8),
                ("utf-16-le", codecs.BOM_UTF16_LE),
                ("utf-16-be", codecs.BOM_UTF16_BE),
                ("utf-16-le", b""),
                ("utf-16-be", b""),
                ("cp1252", b""),
            ]
        )
    )
    assert same(plain, read(mark + text.encode(encoding)))


@given(rows)
def test_runs_of_blanks_read_the_same(table: list[tuple[str, ...]]) -> None:
    whole = [HEADER, *map(list, table)]
    kept = all(row[5] for row in table)
    assert same(read(written(whole, ",").encode()), read(blanks(whole).encode()), description=kept)


@given(rows, st.permutations(range(6)))
def test_the_order_of_columns_does_not_matter(
    table: list[tuple[str, ...]], order: list[int]
) -> None:
    whole = [HEADER, *map(list, table)]
    mixed = [[row[i] for i in order] for row in whole]
    assert same(read(written(whole, ",").encode()), read(written(mixed, ",").encode()))


@given(rows)
def test_every_row_keeps_its_number_line_and_value(table: list[tuple[str, ...]]) -> None:
    points = read(written([HEADER, *map(list, table)], ",").encode())
    assert list(points.id) == [row[0] for row in table]
    assert list(points.line) == list(range(2, len(table) + 2))
    for row, northing, elevation in zip(table, points.northing_m, points.elevation_m, strict=True):
        assert northing == float(row[1]) * (1200 / 3937)
        assert math.isnan(elevation) if row[3] == "" else elevation == float(row[3]) * (1200 / 3937)


@given(rows, st.lists(st.integers(0, 20), max_size=4))
def test_blank_lines_and_comments_change_only_line_numbers(
    table: list[tuple[str, ...]], places: list[int]
) -> None:
    lines = written([HEADER, *map(list, table)], ",").split("\n")[:-1]
    plain = read("\n".join(lines).encode())
    for place in places:
        lines.insert(1 + place % len(lines), "" if place % 2 else "# note, of the crew")
    assert same(plain, read("\n".join(lines).encode()))


def outcome(action: Callable[[], T]) -> T | None:
    """Return the result; None where the input was refused, with faults that can be shown."""
    try:
        return action()
    except InputError as fault:
        problems = fault.problems
    assert problems
    assert all(problem.message and problem.hint and str(problem) for problem in problems)
    return None


def all_readers(data: bytes) -> None:
    source = Source(path="any", data=data)
    columns: list[dict[str, str]] = [{}, {"id": "1", "northing": "2", "easting": "3"}]
    for mapping, unique in product(columns, (False, True)):
        read = outcome(
            lambda mapping=mapping, unique=unique: read_points(  # type: ignore[misc]
                [source], unit=UNIT, columns=mapping, role="design", unique=unique
            )
        )
        if read is not None:
            points = read[0]
            assert len(points) > 0
            assert np.isfinite(points.northing_m).all()
            assert np.isfinite(points.easting_m).all()
            assert not np.isinf(points.elevation_m).any()
    for kind in AngleKind:
        outcome(
            lambda kind=kind: read_traverse_book(  # type: ignore[misc]
                source,
                unit=UNIT,
                angles=kind,
                angle_format=AngleFormat.SEXAGESIMAL,
                columns={},
            )
        )
    outcome(lambda: read_level_book(source, unit=UNIT, columns={}))


@given(st.binary(max_size=200))
def test_arbitrary_bytes_give_a_result_or_a_fault(data: bytes) -> None:
    all_readers(data)


PIECES = [
    "id,northing,easting,elevation",
    "id n e z desc",
    "at,to,angle,distance,slope,zenith,hi,ht",
    "point,bs,is,fs,distance",
    "from,to,rise,distance,setups",
    "id;n;e;time;sats;sigma_h (mm)",
    "A,B,12-30-00,100.5",
    "B,A,N 45 E,-3",
    "BM1,1.2,,",
    "TP1,1.3,,1.1",
    ",,,",
    "1;2,5;3,5;2031-04-17T10:15:00+02:00;7;1e5",
    "1;2,5;3.5;9999-12-31T23:59:59-14:00;x;nan",
    "1,2,3,4",
    '1,"2,3',
    "1 2 3 4 5 6",
    "m,m,m,ft",
    "Total,1,2",
    "# note",
    "٣,²,Ⅷ,\uff11\uff12",
    '{"type": "FeatureCollection", "features": [{"type": "Feature"}]}',
    "\ufeff",
    "\0",
    "1e999,-,–,∞",
]


@given(
    st.lists(st.one_of(st.sampled_from(PIECES), st.text(max_size=20)), max_size=8),
    st.sampled_from(["\n", "\r\n", "\r", ";", ","]),
    st.sampled_from(["utf-8", "utf-16", "cp1252"]),
)
def test_mixed_lines_give_a_result_or_a_fault(lines: list[str], ending: str, encoding: str) -> None:
    all_readers(ending.join(lines).encode(encoding, errors="replace"))


JSON = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**320), 10**320),
        st.floats(),
        st.text(max_size=5),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.sampled_from(
                ["type", "features", "geometry", "coordinates", "properties", "crs", "name", "id"]
            ),
            inner,
            max_size=4,
        ),
    ),
    max_leaves=12,
)


@given(st.lists(JSON, max_size=3), JSON)
def test_arbitrary_json_gives_a_result_or_a_fault(features: list[object], crs: object) -> None:
    document = {"type": "FeatureCollection", "features": features, "crs": crs}
    all_readers(json.dumps(document).encode())
