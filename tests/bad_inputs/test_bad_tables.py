"""Broken tables: the fault, its line, and the words that a crew chief needs."""

from collections.abc import Callable
from pathlib import Path

import pytest

from checker.errors import InputError
from checker.model.job import AngleKind
from checker.read.figure_book import read_figure_book
from checker.read.files import Source
from checker.read.level_book import read_level_book
from checker.read.points import read_points
from checker.read.traverse_book import read_traverse_book
from checker.read.vectors import read_vector_book
from checker.units import AngleFormat, LengthUnit

FOLDER = Path(__file__).parent / "tables"
FEET = LengthUnit.FOOT


def points(source: Source) -> object:
    return read_points([source], unit=FEET, columns={}, role="control", unique=True)


def traverse(source: Source) -> object:
    return read_traverse_book(
        source,
        unit=FEET,
        angles=AngleKind.RIGHT,
        angle_format=AngleFormat.SEXAGESIMAL,
        columns={},
    )


def levels(source: Source) -> object:
    return read_level_book(source, unit=FEET, columns={})


def vectors(source: Source) -> object:
    return read_vector_book(source, unit=FEET, columns={})


def courses(source: Source) -> object:
    return read_figure_book(source, unit=FEET, angle_format=AngleFormat.SEXAGESIMAL, columns={})


CASES = [
    ("zero-bytes.csv", points, "not-text", 2, "zero bytes"),
    ("workbook.csv", points, "not-text", None, "workbook"),
    ("empty.csv", points, "empty-table", None, "empty"),
    ("header-only.csv", points, "empty-table", 1, "no row"),
    ("no-header.csv", points, "no-header", 1, '"1,10.5,20.5,3.5"'),
    ("missing-column.csv", points, "missing-column", 1, 'the nearest is "northng"'),
    ("two-elevations.csv", points, "ambiguous-column", 1, '"elev", "z"'),
    ("row-width.csv", points, "row-width", 3, "6 cells and the header 4"),
    ("row-too-short.csv", points, "row-width", 3, "3 cells and the header 4"),
    ("missing-columns.csv", points, "missing-column", 1, "the northing or the easting"),
    ("traverse-for-levels.csv", levels, "missing-column", 1, "point or the backsight"),
    ("open-quote.csv", points, "open-quote", 2, "never closed"),
    ("not-a-number.csv", points, "not-a-number", 3, '"1,011.5"'),
    ("nan.csv", points, "not-a-number", 2, '"NaN"'),
    ("missing-northing.csv", points, "missing-value", 2, "no northing"),
    ("missing-id.csv", points, "missing-value", 2, "no point number"),
    ("too-large.csv", points, "too-large", 2, '"5120000000000"'),
    ("wrong-unit.csv", points, "unit-contradiction", 1, '"m", the job says feet'),
    ("unit-row.csv", points, "unit-contradiction", 2, '"metres", the job says feet'),
    ("repeated-id.csv", points, "repeated-id", 4, "repeated-id.csv:2"),
    ("satellites.csv", points, "not-a-count", 2, '"7.5"'),
    ("negative-sigma.csv", points, "negative", 2, '"-0.01"'),
    ("day-month.csv", points, "bad-time", 2, '"03/04/2031 10:15"'),
    ("longitude.csv", points, "no-frame", 1, "longitude and latitude"),
    ("line.geojson", points, "not-a-point", 2, '"LineString"'),
    ("broken.geojson", points, "not-geojson", 2, "no JSON"),
    ("short-row.txt", points, "row-width", 2, "3 cells and the header 4"),
    ("traverse-angle.csv", traverse, "bad-angle", 2, "12-75-00"),
    ("traverse-chain.csv", traverse, "broken-chain", 3, '"C", the last one went to "B"'),
    ("traverse-itself.csv", traverse, "same-station", 2, '"A" to itself'),
    ("traverse-no-distance.csv", traverse, "missing-value", 2, "no distance"),
    ("traverse-two-distances.csv", traverse, "two-distances", 2, "both a horizontal and a slope"),
    ("traverse-face-two.csv", traverse, "face-two", 2, '"271-30-00"'),
    ("traverse-negative.csv", traverse, "not-positive", 2, '"-100"'),
    ("traverse-azimuths.csv", traverse, "other-direction", 1, '"azimuth"'),
    ("levels-unclosed.csv", levels, "level-order", 3, "no foresight follows"),
    ("levels-distance.csv", levels, "stray-distance", 2, "a distance and no foresight"),
    ("levels-staff.csv", levels, "too-large", 2, '"1234"'),
    ("vectors-itself.csv", vectors, "same-station", 2, '"A" to itself'),
    ("vectors-component.csv", vectors, "missing-value", 2, "no dy"),
    ("vectors-nothing.csv", vectors, "not-positive", 2, "has no length"),
    ("vectors-covariances.csv", vectors, "missing-column", 1, "not xy, xz, yz"),
    ("vectors-negative.csv", vectors, "bad-covariance", 2, "negative variance"),
    ("vectors-some.csv", vectors, "missing-value", 3, "not all six"),
    ("figure-quadrant.csv", courses, "bad-angle", 3, '"120-00-00" is no bearing'),
    ("figure-bearing.csv", courses, "bad-angle", 3, '"S 95 E"'),
    ("figure-turn.csv", courses, "missing-value", 3, "which way it turns"),
    ("figure-word.csv", courses, "bad-word", 3, '"up" is not understood'),
    ("figure-distance.csv", courses, "two-distances", 3, "its arc or its chord"),
    ("figure-radius.csv", courses, "not-positive", 3, '"-50" is no radius'),
    ("figure-directions.csv", courses, "two-directions", 3, "one of its chord"),
    ("figure-no-distance.csv", courses, "missing-value", 2, "no distance"),
]


@pytest.mark.parametrize(
    ("name", "read", "slug", "line", "words"), CASES, ids=[c[0] for c in CASES]
)
def test_the_fault_is_named(
    name: str, read: Callable[[Source], object], slug: str, line: int | None, words: str
) -> None:
    with pytest.raises(InputError) as caught:
        read(Source(path=name, data=(FOLDER / name).read_bytes()))
    found = caught.value.problems
    assert {p.slug for p in found} == {slug}
    assert (name, line) in [(p.where.file, p.where.line) for p in found if words in p.message]
    assert all(p.hint for p in found)


def test_every_broken_file_is_tried() -> None:
    assert sorted(path.name for path in FOLDER.iterdir()) == sorted(case[0] for case in CASES)
