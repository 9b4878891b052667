"""Drawings in small units: said under [design], and nowhere else."""

from pathlib import Path

import pytest

from checker.errors import InputError
from checker.run import check
from tests.support.drawings import points_drawing

JOB = """\
[job]
title = "Invented slab"
unit = "{job}"
[design]
drawing = "d.dxf"
unit = "{design}"
labels = {{ radius = {radius} }}
[measured]
files = ["m.csv"]
unit = "{measured}"
[[stakeout]]
name = "Bolts"
tolerance = {{ horizontal = "5 mm" }}
"""
PLACES = [("1", 512_000.25, 618_000.5, 10.0), ("2", 512_008.25, 618_000.5, 10.0)]


def folder(
    path: Path, *, job: str = "metre", design: str = "millimetre", measured: str = "metre"
) -> Path:
    metres = {"millimetre": 0.001, "centimetre": 0.01, "inch": 0.0254}.get(design, 1.0)
    drawn = [(name, n / metres, e / metres, z / metres) for name, n, e, z in PLACES]
    (path / "d.dxf").write_bytes(points_drawing(drawn, layer="BOLT"))
    rows = "".join(f"{name},{n + 0.002},{e},{z}\n" for name, n, e, z in PLACES)
    (path / "m.csv").write_text("id,northing,easting,elevation\n" + rows)
    text = JOB.format(job=job, design=design, measured=measured, radius=2.0 / metres)
    (path / "job.toml").write_text(text)
    return path


@pytest.mark.parametrize("design", ["metre", "millimetre", "centimetre", "inch"])
def test_a_design_is_read_in_its_own_unit(tmp_path: Path, design: str) -> None:
    results = check(folder(tmp_path, design=design))
    assert results.verdict.word == "within"
    points = results.inputs.design
    assert points is not None
    assert points.northing_m.tolist() == pytest.approx([n for _, n, _, _ in PLACES], abs=1e-9)
    (finding,) = results.findings
    assert finding.measure.column("dn").values.tolist() == pytest.approx([0.002] * 2, abs=1e-8)


@pytest.mark.parametrize(
    ("keys", "where", "named"),
    [
        ({"job": "millimetre"}, "[job]", "millimetre"),
        ({"job": "mm"}, "[job]", "millimetre"),
        ({"job": "in"}, "[job]", "inch"),
        ({"measured": "cm"}, "[measured]", "centimetre"),
    ],
)
def test_a_job_and_its_shots_are_in_metres_or_feet(
    tmp_path: Path, keys: dict[str, str], where: str, named: str
) -> None:
    with pytest.raises(InputError) as caught:
        check(folder(tmp_path, **keys))
    (problem,) = caught.value.problems
    assert problem.slug == "wrong-choice"
    assert problem.message.startswith(where)
    # Not "did you mean metre": that would be a thousand times as long.
    assert f'says so under [design], with unit = "{named}"' in problem.hint


def test_the_short_name_of_a_design_unit_is_understood_in_the_hint(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        check(folder(tmp_path, design="mm"))
    (problem,) = caught.value.problems
    assert problem.hint == 'did you mean "millimetre"?'
