"""Pages of surfaces, groups, planes and pipes where next to nothing was measured."""

import re
from pathlib import Path

import pytest

from checker.report.render import render
from checker.run import check
from tests.support.shapes import Place, table, write_job

CORNERS: list[Place] = [("1", 0.0, 0.0, 5.0), ("2", 0.0, 90.0, 5.0), ("3", 90.0, 0.0, 5.0)]
SURFACE = (
    '[[surface]]\nname = "s"\ndesign = { points = "p.csv", faces = "f.csv" }\n'
    'tolerance = { vertical = "20 mm" }\nvolume = true\n'
)
PLANE = '[[plane]]\nname = "p"\ntolerance = { vertical = "20 mm", slope = "1 %" }\nslope = "2 %"\n'
RELATIVE = '[[relative]]\nname = "r"\ngroup = ["1", "2", "3"]\ntolerance = { distance = "1 mm" }\n'
PIPE = '[[pipe]]\nname = "pipe"\nruns = [["1", "2", "3"]]\nstructures = [["2", "3"]]\n'
FAR: list[Place] = [(f"X{i}", 500.0 + i, 500.0 - i * i, 1.0) for i in range(4)]


@pytest.mark.parametrize(
    ("section", "shots", "verdict"),
    [
        (SURFACE, FAR, "unchecked"),
        (SURFACE, [("a", 1.0, 1.0, None)], "undecided"),
        (SURFACE, [("a", 1.0, 1.0, 5.0)] * 3, "within"),
        (SURFACE, [("a", 0.0, 0.0, 5.0), ("b", 45.0, 45.0, 5.0)], "within"),
        (PLANE, FAR[:1], "undecided"),
        (PLANE, [("a", 0.0, 0.0, None)], "undecided"),
        (PLANE, [("a", 0.0, 0.0, 1.0)] * 4, "undecided"),
        (PLANE, FAR, "outside"),
        (RELATIVE, FAR, "unchecked"),
        (RELATIVE, CORNERS[:2], "unchecked"),
        (RELATIVE, [(name, 7.0, 7.0, 7.0) for name, *_ in CORNERS], "outside"),
        (PIPE, FAR, "unchecked"),
        (PIPE, [(name, 7.0, 7.0, 7.0) for name, *_ in CORNERS], "undecided"),
        (PIPE, [(name, n, e, None) for name, n, e, _ in CORNERS], "undecided"),
    ],
)
@pytest.mark.parametrize("single_file", [False, True])
def test_a_report_is_made_all_the_same(
    tmp_path: Path, section: str, shots: list[Place], verdict: str, single_file: bool
) -> None:
    folder = write_job(
        tmp_path,
        section,
        unit="us-survey-foot",
        d_csv=table(CORNERS),
        m_csv=table(shots),
        p_csv=table(CORNERS),
        f_csv="a,b,c\n1,2,3\n",
    )
    found = check(folder)
    assert found.verdict.word == verdict, found.findings[0].reason
    files = render(found, single_file=single_file)
    assert b"NaN" not in files["results.json"]
    assert not re.search(r"\bnan\b", files["index.html"].decode())
