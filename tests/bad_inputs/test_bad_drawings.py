"""Broken drawings: each is refused with its fault, its place and a remedy. All are invented."""

from pathlib import Path

import pytest

from checker.errors import InputError
from checker.model.job import Labels
from checker.read.drawing import read_drawing
from checker.read.files import Source
from checker.units import LengthUnit

FOLDER = Path(__file__).parent / "drawings"

CASES = [
    ("empty.dxf", "drawing-empty", "the file is empty"),
    ("other-kind.dxf", "not-a-drawing", 'a DWG file (it begins with "AC1027")'),
    ("archive.dxf", "not-a-drawing", "a zip archive"),
    ("sheet.dxf", "not-a-drawing", "a PDF sheet"),
    ("page.dxf", "not-a-drawing", "a web page"),
    ("list.dxf", "not-a-drawing", '"id,northing,easting,elevation'),
    ("fragment.dxf", "drawing-fragment", "no section"),
    ("truncated.dxf", "drawing-truncated", "inside its ENTITIES section"),
    ("damaged.dxf", "drawing-damaged", "twenty"),
    ("recursion.dxf", "block-recursion", '"PEG" holds "RING" holds "PEG"'),
    ("multiplied.dxf", "block-count", 'block "FIELD"'),
    ("nested.dxf", "block-depth", 'block "LEVEL40"'),
    ("not-a-place.dxf", "drawing-point", "nan"),
    ("no-place.dxf", "drawing-point", "has no coordinates"),
    ("scale-off-earth.dxf", "drawing-point", "its scale and place are no place on Earth"),
    ("binary-changed.dxf", "not-a-drawing", "changed on the way"),
    ("binary-truncated.dxf", "drawing-truncated", "breaks off"),
]


def refused(name: str) -> InputError:
    source = Source(path=name, data=(FOLDER / name).read_bytes())
    with pytest.raises(InputError) as caught:
        read_drawing(source, unit=LengthUnit.US_SURVEY_FOOT, labels=Labels())
    return caught.value


@pytest.mark.parametrize(("name", "slug", "words"), CASES, ids=[case[0] for case in CASES])
def test_the_fault_is_named(name: str, slug: str, words: str) -> None:
    problem = refused(name).problems[0]
    assert problem.slug == slug
    assert words in problem.message
    assert problem.where.file == name
    assert problem.hint
    assert "Error" not in problem.message


def test_every_broken_drawing_has_a_case() -> None:
    assert sorted(path.name for path in FOLDER.iterdir()) == sorted(case[0] for case in CASES)


def test_all_broken_points_are_told_at_once_with_layer_and_handle() -> None:
    places = [str(problem.where) for problem in refused("not-a-place.dxf").problems]
    assert places == [
        "not-a-place.dxf (layer STAKE, POINT handle A2)",
        "not-a-place.dxf (layer CURB, POINT handle A3)",
    ]


def test_the_chain_of_blocks_is_told_where_it_begins() -> None:
    (problem,) = refused("recursion.dxf").problems
    assert str(problem.where) == "recursion.dxf (layer STAKE, INSERT handle B3)"
    assert 'redefine block "RING"' in problem.hint
