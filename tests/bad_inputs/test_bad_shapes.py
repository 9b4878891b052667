"""Broken surfaces, groups, planes and pipes: refused or reported by name. All are invented."""

from pathlib import Path
from typing import Any

import pytest

from tests.support.shapes import by_id, faces_drawing, only_check, problems_of, table, write_job

SHOTS = table([("A", 5.0, 5.0, 1.0), ("B", 5.0, 9.0, 1.0), ("C", 9.0, 5.0, 1.0)])
POINTS = table([("1", 0.0, 0.0, 1.0), ("2", 0.0, 20.0, 1.0), ("3", 20.0, 0.0, None)])
FACE = [(0.0, 0.0, 1.0), (20.0, 0.0, 1.0), (0.0, 20.0, 1.0)]
WALL = [(0.0, 0.0, 1.0), (20.0, 0.0, 1.0), (20.0, 0.0, 5.0)]
SURFACE = '[[surface]]\nname = "Pad"\ntolerance = { vertical = "10 mm" }\n'
ON_LAYER = SURFACE + 'design = { layer = "FG-TIN" }\n'
IN_TABLES = SURFACE + 'design = { points = "p.csv", faces = "f.csv" }\n'
RELATIVE = '[[relative]]\nname = "Bolts"\ntolerance = { distance = "2 mm" }\n'
BOUNDED = ON_LAYER + 'volume = true\nboundary = { layer = "LIMIT" }\n'

CASES: list[tuple[str, dict[str, Any], str, str]] = [
    (ON_LAYER, {"d_dxf": faces_drawing([], rings=[[(0, 0), (9, 9)]])}, "no-triangles", "FG-TIN"),
    (ON_LAYER, {"d_dxf": faces_drawing([FACE], layer="EG")}, "no-triangles", '"FG-TIN"'),
    (ON_LAYER, {"d_csv": POINTS}, "no-triangles", '"FG-TIN"'),
    (BOUNDED, {"d_dxf": faces_drawing([FACE])}, "layer-unknown", '"LIMIT"'),
    (
        BOUNDED,
        {"d_dxf": faces_drawing([FACE], rings=[[(1, 1), (9, 1), (9, 9)]], closed=False)},
        "boundary-open",
        "LWPOLYLINE",
    ),
    (
        BOUNDED,
        {"d_dxf": faces_drawing([FACE], rings=[[(1, 1), (9, 9), (9, 1), (1, 9)]])},
        "boundary-crossing",
        "crosses itself",
    ),
    (IN_TABLES, {"p_csv": POINTS, "f_csv": "a,b,c\n1,2,9\n"}, "unknown-corner", '"9"'),
    (IN_TABLES, {"p_csv": POINTS, "f_csv": "a,b,c\n1,2,3\n"}, "corner-without-elevation", '"3"'),
    (IN_TABLES, {"p_csv": POINTS, "f_csv": "a,b,c\n1,2,2\n"}, "repeated-corner", "twice"),
    (IN_TABLES, {"p_csv": POINTS}, "missing-file", "f.csv"),
    (
        IN_TABLES,
        {
            "p_csv": table([("1", 0.0, 0.0, 1.0), ("2", 1.0, 1.0, 1.0), ("3", 2.0, 2.0, 1.0)]),
            "f_csv": "a,b,c\n1,2,3\n",
        },
        "no-surface",
        "none of the 1 triangles has an area",
    ),
    (RELATIVE + 'pairs = [["1", "8"]]\n', {"d_csv": POINTS}, "unknown-point", '"8"'),
    (RELATIVE + 'group = ["1"]\n', {"d_csv": POINTS}, "group-too-small", "two or more"),
    (RELATIVE + 'group = { id = "1" }\n', {"d_csv": POINTS}, "group-too-small", "two or more"),
    (
        RELATIVE + 'group = { id = "P*" }\n',
        {"d_csv": table([(f"P{i}", float(i), 0.0, 0.0) for i in range(300)])},
        "group-too-large",
        "44850 pairs",
    ),
    (
        '[[plane]]\ntolerance = { slope = "1 %" }\ndesign = { id = ["1", "2"] }\n',
        {"d_csv": POINTS},
        "no-plane",
        "2 points do not fix 3",
    ),
    ('[[pipe]]\nruns = [["A", "Q"]]\n', {}, "unknown-point", '"Q"'),
]


@pytest.mark.parametrize(
    ("sections", "files", "slug", "words"), CASES, ids=[f"{n}-{c[2]}" for n, c in enumerate(CASES)]
)
def test_the_fault_is_named(
    tmp_path: Path, sections: str, files: dict[str, Any], slug: str, words: str
) -> None:
    found = problems_of(write_job(tmp_path, sections, m_csv=SHOTS, **files))
    assert [problem.slug for problem in found] == [slug], found
    assert words in found[0].message
    assert found[0].hint
    assert found[0].where.line


def test_standing_faces_alone_are_no_surface(tmp_path: Path) -> None:
    folder = write_job(tmp_path, ON_LAYER, m_csv=SHOTS, d_dxf=faces_drawing([WALL]))
    (problem,) = problems_of(folder)
    assert problem.slug in {"no-triangles", "no-surface"}


def test_faults_of_a_design_and_a_selection_come_together(tmp_path: Path) -> None:
    sections = ON_LAYER + 'measured = { description = "SG*" }\n'
    folder = write_job(tmp_path, sections, m_csv=SHOTS, d_dxf=faces_drawing([FACE], layer="EG"))
    assert {problem.slug for problem in problems_of(folder)} == {"no-triangles", "selection-empty"}


def test_a_surface_with_a_hole_is_reported_and_what_lies_in_it_is_not_passed(
    tmp_path: Path,
) -> None:
    outer = [(0.0, 0.0), (30.0, 0.0), (30.0, 30.0), (0.0, 30.0)]
    inner = [(10.0, 10.0), (20.0, 10.0), (20.0, 20.0), (10.0, 20.0)]
    faces = []
    for one in range(4):
        other = (one + 1) % 4
        a, b, c, d = outer[one], outer[other], inner[other], inner[one]
        faces += [[(*p, 1.0) for p in (a, b, c)], [(*p, 1.0) for p in (a, c, d)]]
    shots = table([("in", 15.0, 15.0, 1.0), ("on", 5.0, 15.0, 1.0)])
    found = only_check(write_job(tmp_path, ON_LAYER, m_csv=shots, d_dxf=faces_drawing(faces)))
    assert found["verdict"] == "unchecked"
    assert by_id(found)["in"]["reason"].startswith("in a hole of the surface")
    assert any("1 hole" in text for text in found["remarks"])
