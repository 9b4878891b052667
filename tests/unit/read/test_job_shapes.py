"""The sections about surfaces, shapes, planes and pipes, as the job file states them."""

import math
from pathlib import Path

import pytest

from checker.errors import InputError, Problem
from checker.model.job import CheckSection, FaceTables, Pipe, Plane, Relative, Selection, Surface
from checker.read.files import Source
from checker.read.job import read_job
from checker.units import LengthUnit

HEAD = """
[job]
title = "Invented"
unit = "foot"
[design]
drawing = "d.dxf"
[measured]
files = ["m.csv"]
[tolerance.t]
vertical = 0.1
distance = "0.02 ft"
"""


def sections(text: str) -> tuple[CheckSection, ...]:
    data = (HEAD + text).encode()
    return read_job(Source(path="job.toml", data=data), Path()).checks


def faults(text: str, head: str = HEAD) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        read_job(Source(path="job.toml", data=(head + text).encode()), Path())
    return caught.value.problems


def test_a_surface_of_layers() -> None:
    (found,) = sections(
        '[[surface]]\nname = "Pad"\ndesign = { layer = ["FG-*", "SG"] }\n'
        'measured = { description = "SG*" }\ntolerance = "t"\nthickness = "6 in"\n'
        'volume = true\nboundary = { layer = "LIMIT" }\n'
    )
    assert isinstance(found, Surface)
    assert found.layers == ("FG-*", "SG")
    assert found.measured == Selection(descriptions=("SG*",))
    assert found.thickness_m == pytest.approx(0.1524)
    assert found.volume is True
    assert found.boundary == ("LIMIT",)


def test_a_surface_of_tables() -> None:
    (found,) = sections(
        '[[surface]]\ntolerance = "t"\n'
        'design = { points = "p.csv", faces = "f.csv", unit = "metre", columns = { a = "P1" } }\n'
    )
    assert isinstance(found, Surface)
    assert found.name == "Surface 1"
    assert found.tables == FaceTables(
        points="p.csv", faces="f.csv", unit=LengthUnit.METRE, columns={"a": "P1"}
    )


def test_pairs_groups_and_a_line() -> None:
    (found,) = sections(
        '[[relative]]\npairs = [["A", "B"], [1, "2"]]\nline = ["A", "B", "C"]\n'
        'groups = { A = ["1", 2], B = { layer = "BOLTS" } }\ntolerance = "t"\n'
    )
    assert isinstance(found, Relative)
    assert found.pairs == (("A", "B"), ("1", "2"))
    assert found.line == ("A", "B", "C")
    assert found.groups == {"A": Selection(ids=("1", "2")), "B": Selection(layers=("BOLTS",))}


@pytest.mark.parametrize("group", ['["1", "2"]', '{ id = ["1", "2"] }'])
def test_a_group_as_a_list_or_a_selection(group: str) -> None:
    (found,) = sections(f'[[relative]]\ngroup = {group}\ntolerance = "t"\n')
    assert isinstance(found, Relative)
    assert found.group == Selection(ids=("1", "2"))


def test_a_plane_with_limits_of_its_own() -> None:
    (found,) = sections(
        '[[plane]]\nslope = "2 %"\ndirection = "S 45 E"\ncrossfall = "-1:200"\n'
        'maximum_crossfall = "1:48"\ntolerance = "t"\n'
    )
    assert isinstance(found, Plane)
    assert found.slope == 0.02
    assert found.direction_rad == pytest.approx(math.radians(135.0))
    assert found.crossfall == -0.005
    assert found.tolerance is not None
    assert found.tolerance.name == "t"
    assert found.tolerance.maximum_crossfall is not None
    assert found.tolerance.maximum_crossfall.constant == pytest.approx(1 / 48)
    assert found.tolerance.vertical is not None


def test_a_pipe_must_fall_whatever_is_stated() -> None:
    (found,) = sections('[[pipe]]\nruns = [["A", "B", "C"]]\nstructures = [["B", "B2"]]\n')
    assert isinstance(found, Pipe)
    assert found.runs == (("A", "B", "C"),)
    assert found.structures == (("B", "B2"),)
    assert found.tolerance is not None
    assert found.tolerance.minimum_grade is not None
    assert found.tolerance.minimum_grade.constant == 0.0
    assert found.tolerance.minimum_drop is not None


def test_a_pipe_with_limits() -> None:
    (found,) = sections(
        '[[pipe]]\nruns = [["A", "B"]]\nminimum_grade = "0.4 %"\nminimum_drop = 0.1\n'
        'tolerance = { slope = "0.1 %" }\nstructures = [["B", "C"]]\n'
    )
    assert found.tolerance is not None
    assert found.tolerance.minimum_grade is not None
    assert found.tolerance.minimum_grade.text == "0.4 %"
    assert found.tolerance.minimum_drop is not None
    assert found.tolerance.minimum_drop.text == "0.1 ft"
    assert found.tolerance.minimum_drop.constant == pytest.approx(0.03048)


SURFACE = '[[surface]]\ntolerance = "t"\n'
FG = 'design = { layer = "FG" }\n'


@pytest.mark.parametrize(
    ("text", "slug", "says"),
    [
        (SURFACE, "missing-key", "has no design"),
        (f"[[surface]]\n{FG}", "missing-key", "has no tolerance"),
        (SURFACE + "design = {}\n", "missing-key", "has no layer"),
        (SURFACE + 'design = { points = "p.csv" }\n', "missing-key", "has no faces"),
        (
            SURFACE + 'design = { layer = "FG", faces = "f.csv" }\n',
            "conflicting-keys",
            "both a layer and tables",
        ),
        (
            SURFACE + FG + 'boundary = { layer = "L" }\n',
            "conflicting-keys",
            "a boundary, which only a volume needs",
        ),
        (SURFACE + FG + 'thickness = "-1 ft"\n', "bad-value", "thickness"),
        (SURFACE + FG + "thick = 1\n", "unknown-key", '"thick"'),
        ('[[relative]]\ntolerance = "t"\n', "missing-key", "has no pairs"),
        ('[[relative]]\npairs = ["A", "B"]\ntolerance = "t"\n', "wrong-type", "lists of 2 ids"),
        (
            '[[relative]]\npairs = [["A", "B", "C"]]\ntolerance = "t"\n',
            "wrong-type",
            "lists of 2 ids",
        ),
        ('[[relative]]\npairs = [["A", "A"]]\ntolerance = "t"\n', "conflicting-keys", "itself"),
        ('[[relative]]\ngroup = "A"\ntolerance = "t"\n', "wrong-type", "a list of ids"),
        (
            '[[relative]]\npairs = [["A", "B"]]\ntolerance = { ratio = "1:100" }\n',
            "useless-tolerance",
            "ratio",
        ),
        ('[[plane]]\nslope = "2 %"\n', "missing-key", "has no tolerance"),
        ('[[plane]]\nslope = 2\ntolerance = "t"\n', "bad-value", "has no unit"),
        ('[[plane]]\nslope = "-2 %"\ntolerance = "t"\n', "bad-value", "steepest fall"),
        ('[[plane]]\ncrossfall = "2 %"\ntolerance = "t"\n', "missing-key", "has no direction"),
        (
            '[[plane]]\ndesign = { layer = "P" }\nslope = "2 %"\ntolerance = "t"\n',
            "conflicting-keys",
            "states the design twice",
        ),
        ('[[plane]]\nmaximum_crossfall = "2 %"\n', "missing-key", "has no direction"),
        ('[[plane]]\nmaximum_grade = "0 %"\n', "limit-not-positive", "maximum_grade"),
        ("[[pipe]]\n", "missing-key", "has no runs"),
        ('[[pipe]]\nruns = [["A"]]\n', "wrong-type", "two or more ids"),
        ('[[pipe]]\nruns = [["A", "B"]]\nminimum_grade = 0.4\n', "bad-value", "has no unit"),
        (
            '[[pipe]]\nruns = [["A", "B"]]\ntolerance = { horizontal = 1 }\n',
            "useless-tolerance",
            "horizontal",
        ),
    ],
)
def test_what_is_refused(text: str, slug: str, says: str) -> None:
    found = faults(text)
    assert slug in {problem.slug for problem in found}, found
    assert any(says in problem.message for problem in found), found
    assert all(problem.where.line for problem in found)


@pytest.mark.parametrize("text", [SURFACE + FG, '[[pipe]]\nruns = [["A", "B"]]\n'])
def test_the_sections_that_it_needs(text: str) -> None:
    head = '[job]\ntitle = "x"\nunit = "foot"\n[tolerance.t]\nvertical = 1\n'
    assert "missing-section" in {problem.slug for problem in faults(text, head)}
