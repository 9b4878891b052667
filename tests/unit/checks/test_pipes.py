"""Runs of pipe and drops across structures."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.pipes import measure_pipe
from checker.errors import InputError
from checker.model.job import Pipe
from checker.model.measure import Measure
from tests.support.points import HERE, Shot, inputs, job, points, tolerance
from tests.support.shapes import by_id, only_check, table, write_job

DESIGN: list[Shot] = [
    ("A out", 0.0, 0.0, 50.0),
    ("B in", 0.0, 100.0, 49.5),
    ("B out", 0.0, 101.0, 49.4),
    ("C in", 0.0, 201.0, 48.4),
]
SECTION = """
[[pipe]]
name = "Sewer"
runs = [["A out", "B in"], ["B out", "C in"]]
structures = [["B in", "B out"]]
minimum_grade = "0.4 %"
minimum_drop = "50 mm"
"""


def measured(
    shots: list[Shot],
    *,
    design: list[Shot] | None = None,
    sigma: tuple[float, float, float] | None = None,
    **section: Any,
) -> Measure:
    asked = Pipe(where=HERE, name="sewer", tolerance=tolerance(slope=0.001), **section)
    data = inputs(design=points(design) if design else None, measured=points(shots, sigma=sigma))
    return measure_pipe(asked, data, job(asked))


def column(measure: Measure, key: str) -> list[float]:
    return [float(value) for value in measure.column(key).values.tolist()]


def test_length_fall_and_grade() -> None:
    shots = [("A out", 0.0, 0.0, 50.01), ("B in", 30.0, 40.0, 49.76)]
    found = measured(shots, design=DESIGN, runs=(("A out", "B in"),))
    assert found.id.tolist() == ["A out-B in"]
    assert column(found, "length") == [50.0]
    assert column(found, "fall") == pytest.approx([0.25])
    assert column(found, "grade_measured") == pytest.approx([0.005])
    assert column(found, "grade_design") == pytest.approx([0.005])
    assert column(found, "dz_upper") == pytest.approx([0.01])
    assert column(found, "d_fall") == pytest.approx([-0.25])


def test_a_longer_run_has_its_parts_and_the_whole() -> None:
    found = measured(DESIGN, design=DESIGN, runs=(("A out", "B in", "C in"),))
    assert found.id.tolist() == ["A out-B in", "B in-C in", "A out-C in"]
    assert found.column("what").values.tolist() == ["pipe", "pipe", "run"]
    assert column(found, "length") == [100.0, 101.0, 201.0]


def test_a_structure_has_a_drop_and_no_grade() -> None:
    found = measured(DESIGN, design=DESIGN, structures=(("B in", "B out"),))
    assert np.isnan(column(found, "grade_measured")).all()
    assert column(found, "fall") == pytest.approx([0.1])
    applies = {each.limit: each.applies for each in found.comparisons if each.applies is not None}
    assert applies["grade"].tolist() == [False]
    assert applies["drop"].tolist() == [True]


def test_sigma_of_a_grade() -> None:
    found = measured(DESIGN, runs=(("A out", "B in"),), sigma=(0.01, 0.01, 0.02))
    assert column(found, "sigma_grade") == pytest.approx([0.02 * 2**0.5 / 100.0])


def test_without_a_design_the_grade_is_still_there() -> None:
    found = measured(DESIGN, runs=(("A out", "B in"),))
    assert column(found, "grade_measured") == pytest.approx([0.005])
    assert np.isnan(column(found, "grade_design")).all()
    assert found.said.tolist() == ["no design invert of A out and B in"]


def test_a_design_that_falls_backwards_is_undecided() -> None:
    found = measured(DESIGN, design=DESIGN, runs=(("B in", "A out"),))
    assert "the design itself falls backwards here (-0.50 %)" in found.undecided[0]


def test_both_ends_in_one_place() -> None:
    shots = [("A out", 0.0, 0.0, 50.0), ("B in", 0.0, 0.0, 49.0)]
    found = measured(shots, design=DESIGN, runs=(("A out", "B in"),))
    assert "at one place" in found.undecided[0]


def test_what_was_not_measured_is_unchecked() -> None:
    found = measured(DESIGN[:1], design=DESIGN, runs=(("A out", "B in"),))
    assert found.unchecked.tolist() == ["B in was not measured"]


def test_a_number_that_nobody_knows() -> None:
    with pytest.raises(InputError) as caught:
        measured(DESIGN, design=DESIGN, runs=(("A out", "B inn"),))
    (problem,) = caught.value.problems
    assert problem.slug == "unknown-point"
    assert "B in" in problem.hint


# ---------------------------------------------------------------- through the files


def lowered(**change: float) -> list[Shot]:
    return [(name, n, e, z + change.get(name.replace(" ", "_"), 0.0)) for name, n, e, z in DESIGN]


@pytest.mark.parametrize(
    ("change", "row", "verdict", "says"),
    [
        ({}, "A out-B in", "within", ""),
        ({"B_in": 0.2}, "A out-B in", "outside", "grade 0.30 %, short of 0.40 %"),
        ({"B_in": 0.7}, "A out-B in", "outside", "grade falls backwards: -0.20 %, short of"),
        ({"B_out": 0.06}, "B in-B out", "outside", "drop 40 mm, short of 50 mm"),
        ({"B_out": 0.15}, "B in-B out", "outside", "drop rises instead of falling: -50 mm"),
    ],
)
def test_verdicts_of_a_sewer(
    tmp_path: Path, change: dict[str, float], row: str, verdict: str, says: str
) -> None:
    folder = write_job(tmp_path, SECTION, d_csv=table(DESIGN), m_csv=table(lowered(**change)))
    found = by_id(only_check(folder))[row]
    assert found["verdict"] == verdict, found["reason"]
    assert says in found["reason"]


def test_a_pipe_must_not_fall_backwards_even_where_nothing_is_limited(tmp_path: Path) -> None:
    section = '[[pipe]]\nname = "x"\nruns = [["A out", "B in"]]\n'
    good = only_check(write_job(tmp_path / "good", section, m_csv=table(DESIGN)))
    assert good["verdict"] == "within"
    bad = only_check(write_job(tmp_path / "bad", section, m_csv=table(lowered(B_in=0.6))))
    assert bad["verdict"] == "outside"
    assert "grade falls backwards: -0.10 %" in bad["reason"]


def test_grade_drop_and_inverts_against_design(tmp_path: Path) -> None:
    section = (
        '[[pipe]]\nname = "x"\nruns = [["A out", "B in"]]\nstructures = [["B in", "B out"]]\n'
        'tolerance = { slope = "0.05 %", vertical = "10 mm", elevation = "15 mm" }\n'
    )
    folder = write_job(tmp_path, section, d_csv=table(DESIGN), m_csv=table(lowered(B_in=-0.02)))
    rows = by_id(only_check(folder))
    pipe, structure = rows["A out-B in"], rows["B in-B out"]
    assert "lower invert 20 mm low, limit 10 mm" in pipe["reason"]
    assert "difference of fall 20 mm, limit 15 mm" in pipe["reason"]
    assert "difference of grade" not in pipe["reason"]
    assert pipe["grade_measured"] == pytest.approx(0.52)
    assert "upper invert 20 mm low" in structure["reason"]


def test_guarded_grades_need_a_sigma(tmp_path: Path) -> None:
    section = (
        '[[pipe]]\nname = "x"\nruns = [["A out", "B in"]]\n'
        'tolerance = { minimum_grade = "0.49 %", rule = "guarded" }\n'
    )
    silent = only_check(write_job(tmp_path / "silent", section, m_csv=table(DESIGN)))
    assert silent["verdict"] == "undecided"
    assert "no standard deviation is shown" in silent["reason"]
    shown = table(DESIGN, more=["0.01"] * 4, head="sigma_z")
    close = only_check(write_job(tmp_path / "close", section, m_csv=shown))
    assert close["verdict"] == "undecided"
    assert "too close to say" in close["reason"]
    sharp = table(DESIGN, more=["0.001"] * 4, head="sigma_z")
    assert only_check(write_job(tmp_path / "sharp", section, m_csv=sharp))["verdict"] == "within"
