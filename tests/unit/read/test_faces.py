"""A surface as a table of corners and a table of faces."""

import numpy as np
import pytest

from checker.errors import InputError
from checker.read.faces import read_faces
from checker.read.files import Source
from checker.units import LengthUnit

CORNERS = "id,northing,easting,elevation\nA,0,0,1\nB,0,10,2\nC,10,0,3\nD,10,10,\n"


def read(faces: str, corners: str = CORNERS, **columns: str) -> tuple[object, ...]:
    triangles, notices = read_faces(
        Source(path="p.csv", data=corners.encode()),
        Source(path="f.csv", data=faces.encode()),
        unit=LengthUnit.FOOT,
        columns=columns,
    )
    return triangles.corner_m, triangles.handle.tolist(), notices


def test_corners_in_the_unit_and_the_order_of_the_face() -> None:
    corner, handle, _ = read("a,b,c\nA,B,C\n")
    expected = [[[0.0, 0.0, 1.0], [10.0, 0.0, 2.0], [0.0, 10.0, 3.0]]]
    assert np.asarray(corner).tolist() == (np.array(expected) * 0.3048).tolist()
    assert handle == ["line 2"]


def test_headings_may_be_mapped() -> None:
    corners = CORNERS.replace("id,", "Nummer,")
    corner, _, _ = read("first one,x2,v3\nA,B,C\n", corners, id="Nummer", a="first one", b="x2")
    assert np.asarray(corner).shape == (1, 3, 3)


@pytest.mark.parametrize(
    ("faces", "slug", "line", "says"),
    [
        ("a,b,c\nA,B,C\nA,B,X\n", "unknown-corner", 3, 'no point "X"'),
        ("a,b,c\nA,B,D\n", "corner-without-elevation", 2, '"D" of p.csv has no elevation'),
        ("a,b,c\nA,B,A\n", "repeated-corner", 2, "one corner twice"),
        ("a,b\nA,B\n", "missing-column", 1, "corner c of the face"),
        ("a,b,c\n", "empty-table", 2, "no row"),
    ],
)
def test_faults_have_their_line(faces: str, slug: str, line: int, says: str) -> None:
    with pytest.raises(InputError) as caught:
        read(faces)
    (problem,) = caught.value.problems
    assert problem.slug == slug
    assert problem.where.file == "f.csv"
    assert says in problem.message
    if slug != "empty-table":
        assert problem.where.line == line


def test_a_corner_that_stands_twice_elsewhere() -> None:
    with pytest.raises(InputError) as caught:
        read("a,b,c\nA,B,C\n", CORNERS + "A,5,5,5\n")
    assert [problem.slug for problem in caught.value.problems] == ["repeated-id"]


def test_every_fault_of_the_faces_at_once() -> None:
    with pytest.raises(InputError) as caught:
        read("a,b,c\nA,B,X\nY,B,C\nA,B,D\n")
    assert len(caught.value.problems) == 3
