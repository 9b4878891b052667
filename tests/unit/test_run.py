"""The pipeline joined up: what one room's outcome does to another's."""

import hashlib
from pathlib import Path

import pytest

from checker.errors import InputError
from checker.run import check
from tests.support.jobs import JobFolder, results, rows, run_cli

SQUARE = [
    ("1", 100.0, 200.0, 50.0),
    ("2", 100.0, 220.0, 50.0),
    ("3", 120.0, 220.0, 50.0),
    ("4", 120.0, 200.0, 50.0),
]
CONTROL = [("CP1", 90.0, 190.0, 49.0)]
GOOD = [(name, n + 0.004, e - 0.003, z + 0.005) for name, n, e, z in SQUARE]
CHECK = [("CP1", 90.003, 190.004, 49.002)]


def test_a_good_job_is_within(tmp_path: Path) -> None:
    doc = results(JobFolder(SQUARE, GOOD + CHECK, CONTROL).write(tmp_path))
    assert doc["schema"] == 1
    assert doc["verdict"] == "within"
    assert doc["counts"] == {"within": 5, "outside": 0, "undecided": 0, "unchecked": 0}
    assert doc["measured"] == {"count": 5, "unused": []}
    row = rows(doc)["2"]
    assert row["dn"] == pytest.approx(0.004, abs=1e-9)
    assert row["de"] == pytest.approx(-0.003, abs=1e-9)
    assert row["dz"] == pytest.approx(0.005, abs=1e-9)
    assert row["horizontal"] == pytest.approx(0.005, abs=1e-9)
    assert row["bearing"] == pytest.approx(323.130102354, abs=1e-6)
    assert row["cut_fill"] == "C 0.005"


def test_failed_control_makes_the_stakes_undecided(tmp_path: Path) -> None:
    bad = [("CP1", 90.0, 190.0, 49.2)]
    doc = results(JobFolder(SQUARE, GOOD + bad, CONTROL).write(tmp_path))
    assert rows(doc, "control")["CP1"]["verdict"] == "outside"
    assert {row["verdict"] for row in rows(doc).values()} == {"undecided"}
    assert "CP1" in rows(doc)["1"]["reason"]
    assert doc["verdict"] == "outside"


def test_unstaked_point_is_unchecked_and_never_a_pass(tmp_path: Path) -> None:
    doc = results(JobFolder(SQUARE, GOOD[:3] + CHECK, CONTROL).write(tmp_path))
    assert rows(doc)["4"]["verdict"] == "unchecked"
    assert doc["verdict"] == "unchecked"
    assert run_cli("check", str(tmp_path)) == 1


def test_points_not_staked_yet_are_listed_but_not_counted(tmp_path: Path) -> None:
    job = JobFolder(SQUARE, GOOD[:3] + CHECK, CONTROL, stakeout="complete = false\n")
    doc = results(job.write(tmp_path))
    assert rows(doc)["4"]["verdict"] == "unchecked"
    assert doc["verdict"] == "within"
    assert doc["counts"]["unchecked"] == 0


def test_gate_makes_a_shot_undecided_and_silence_is_not_a_pass(tmp_path: Path) -> None:
    job = JobFolder(SQUARE, GOOD + CHECK, CONTROL, more='[gate]\nsolution = ["fixed"]\n')
    doc = results(job.write(tmp_path))
    assert rows(doc)["1"]["verdict"] == "undecided"
    assert "not shown" in rows(doc)["1"]["reason"]


def test_design_on_ground_is_brought_to_grid(tmp_path: Path) -> None:
    factor = 0.9996
    ground = [(i, 100 + (n - 100) / factor, 200 + (e - 200) / factor, z) for i, n, e, z in SQUARE]
    more = (
        f"[reference]\nground = {{ combined_factor = {factor}, origin = {{ n = 100, e = 200 }} }}\n"
    )
    doc = results(JobFolder(ground, GOOD + CHECK, CONTROL, more=more).write(tmp_path))
    assert doc["verdict"] == "within"
    assert rows(doc)["3"]["dn"] == pytest.approx(0.004, abs=1e-9)
    assert rows(doc)["3"]["design_n"] == pytest.approx(120.0, abs=1e-9)


def test_shots_that_no_check_used_are_listed(tmp_path: Path) -> None:
    doc = results(
        JobFolder(SQUARE, [*GOOD, *CHECK, ("TOPO1", 105.0, 205.0, 50.0)], CONTROL).write(tmp_path)
    )
    assert doc["measured"] == {"count": 6, "unused": ["TOPO1"]}


def test_restake_governs_and_the_first_stays_visible(tmp_path: Path) -> None:
    wrong = ("1", 100.5, 200.0, 50.0)
    doc = results(JobFolder(SQUARE, [wrong, *GOOD, *CHECK], CONTROL).write(tmp_path))
    both = [row for row in doc["checks"][1]["rows"] if row["id"] == "1"]
    assert [row["superseded"] for row in both].count(True) == 1
    assert doc["verdict"] == "within"


def test_missing_elevation_is_null_and_never_zero(tmp_path: Path) -> None:
    flat = [(name, n, e, None) for name, n, e, _ in SQUARE]
    doc = results(JobFolder(flat, GOOD + CHECK, CONTROL).write(tmp_path))
    assert rows(doc)["1"]["dz"] is None
    assert rows(doc)["1"]["design_z"] is None
    assert doc["verdict"] != "within"


def test_another_file_under_the_same_name_is_refused(tmp_path: Path) -> None:
    from tests.support.drawings import points_drawing

    folder = JobFolder(SQUARE, GOOD + CHECK, CONTROL).write(tmp_path)
    drawing = points_drawing([("1", 100.0, 200.0, 50.0)], layer="STAKES")
    (folder / "design.dxf").write_bytes(drawing)
    job = (folder / "job.toml").read_text()
    right = hashlib.sha256(drawing).hexdigest()
    for digest, good in ((right, True), ("0" * 64, False)):
        text = job.replace(
            'points = "design.csv"',
            f'drawing = "design.dxf"\nsha256 = "{digest}"',
        )
        (folder / "job.toml").write_text(text)
        if good:
            assert rows(results(folder))["1"]["verdict"] == "within"
        else:
            with pytest.raises(InputError, match="other-drawing"):
                check(folder)


def test_a_table_of_points_may_be_pinned_where_there_is_no_drawing(tmp_path: Path) -> None:
    folder = JobFolder(SQUARE, GOOD + CHECK, CONTROL).write(tmp_path)
    job = (folder / "job.toml").read_text()
    right = hashlib.sha256((folder / "design.csv").read_bytes()).hexdigest()
    for digest, good in ((right, True), (right.upper(), True), ("0" * 64, False)):
        named = f'points = "design.csv"\nsha256 = "{digest}"'
        (folder / "job.toml").write_text(job.replace('points = "design.csv"', named))
        if good:
            assert rows(results(folder))["1"]["verdict"] == "within"
        else:
            with pytest.raises(InputError, match="is not the table of points that the job"):
                check(folder)


def test_paths_stay_inside_the_folder_unless_allowed(tmp_path: Path) -> None:
    folder = JobFolder(SQUARE, GOOD + CHECK, CONTROL).write(tmp_path / "job")
    (tmp_path / "elsewhere.csv").write_bytes((folder / "shots.csv").read_bytes())
    job = folder / "job.toml"
    job.write_text(job.read_text().replace('"shots.csv"', '"../elsewhere.csv"'))
    with pytest.raises(InputError, match="outside-folder"):
        check(folder)
    assert check(folder, allow_outside=True).verdict.word == "within"


def test_all_faults_of_all_files_come_at_once(tmp_path: Path) -> None:
    folder = JobFolder(SQUARE, GOOD + CHECK, CONTROL).write(tmp_path)
    (folder / "shots.csv").write_text("Point,Northing,Easting,Elevation\n1,abc,200,50\n")
    (folder / "control.csv").unlink()
    with pytest.raises(InputError) as caught:
        check(folder)
    assert {problem.slug for problem in caught.value.problems} >= {"missing-file"}
    assert len(caught.value.problems) >= 2
    assert any("shots.csv:2" in str(problem) for problem in caught.value.problems)
