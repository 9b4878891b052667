"""What looks odd about the shots that a verdict rests on stands beside it."""

from pathlib import Path

import numpy as np
import pytest

from checker.cli import main
from checker.model.finding import Results
from checker.report.render import render
from checker.run import check

DESIGN = [
    ("1", 5100.25, 6200.5, 10.5),
    ("2", 5120.75, 6200.125, 10.25),
    ("3", 5100.125, 6230.75, 10.75),
    ("4", 5120.5, 6230.25, 10.125),
]
CONTROL = [("CP1", 5050.0, 6150.0, 9.0), ("CP3", 5160.0, 6260.0, 11.0)]
SOURCE = 'source = "section 7 of the contract (invented)"'
Rows = list[tuple[str, float, float, float]]


def table(rows: Rows, more: str = "", decimals: int = 3) -> str:
    lines = [f"{i},{n:.{decimals}f},{e:.{decimals}f},{z:.{decimals}f}{more}" for i, n, e, z in rows]
    return "\n".join(["id,northing,easting,elevation" + (",time" if more else ""), *lines]) + "\n"


def off(rows: Rows, *, by: float = 0.004) -> Rows:
    return [(i, n + by, e - by, z + by / 2) for i, n, e, z in rows]


def job(
    folder: Path,
    shots: str,
    *,
    design: str = "",
    control: bool = True,
    unit: str = "metre",
    head: str = "",
    more: str = "",
    extra: dict[str, str] | None = None,
) -> Path:
    limits = f'{{ horizontal = "30 mm", vertical = "30 mm", {SOURCE} }}'
    text = (
        f'[job]\ntitle = "Pads (invented)"\nunit = "{unit}"\n{head}\n'
        f'[design]\npoints = "design.csv"\n[measured]\nfiles = ["shots.csv"]\n{more}\n'
        f'[[stakeout]]\nname = "Pads"\ntolerance = {limits}\n'
    )
    if control:
        text += f'[control]\nfile = "control.csv"\ntolerance = {limits}\n'
    files = {"design.csv": design or table(DESIGN), "shots.csv": shots, **(extra or {})}
    folder.mkdir(exist_ok=True)
    for name, content in {"job.toml": text, "control.csv": table(CONTROL), **files}.items():
        (folder / name).write_text(content, encoding="utf-8")
    return folder


def notices(results: Results, slug: str) -> list[str]:
    return [each.message for each in results.inputs.notices if each.slug == slug]


# ---------------------------------------------------------------- the design instead of shots


@pytest.mark.parametrize("unit", ["metre", "foot", "us-survey-foot"])
def test_an_exported_design_is_asked_about(
    tmp_path: Path, unit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = job(tmp_path, table(DESIGN, decimals=4), control=False, unit=unit)
    results = check(folder)
    assert results.verdict.word == "within"
    (said,) = notices(results, "shots-are-design")
    assert said.startswith("4 of 4 shots of stakes have the design's coordinates to the last digit")
    assert f"shots.csv: {said}." in results.beware
    assert b"to the last digit" in render(results)["index.html"]
    assert main(["check", str(folder)]) == 0
    assert "beware: shots.csv: 4 of 4 shots of stakes" in capsys.readouterr().out


def test_measured_shots_are_not_asked_about(tmp_path: Path) -> None:
    results = check(job(tmp_path, table(off([*DESIGN, *CONTROL]))))
    assert results.beware == ()
    assert notices(results, "shots-are-design") == []


def test_an_export_rounded_to_three_decimals_is_the_design_too(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    fine = [
        (i, n + x, e + y, z)
        for (i, n, e, z), (x, y) in zip(DESIGN, rng.random((4, 2)), strict=True)
    ]
    results = check(job(tmp_path, table(fine), control=False, design=table(fine, decimals=9)))
    assert len(notices(results, "shots-are-design")) == 1
    # a millimetre off is a measurement
    results = check(job(tmp_path, table(off(fine, by=0.001)), design=table(fine, decimals=9)))
    assert notices(results, "shots-are-design") == []


@pytest.mark.parametrize(("exact", "told"), [(1, False), (2, False), (3, True), (4, True)])
def test_two_marks_may_be_met_by_chance(tmp_path: Path, exact: int, told: bool) -> None:
    shots = [*DESIGN[:exact], *off(DESIGN[exact:])]
    results = check(job(tmp_path, table(shots, decimals=4), control=False))
    assert bool(notices(results, "shots-are-design")) is told


def test_a_height_that_differs_is_measured(tmp_path: Path) -> None:
    shots = [(i, n, e, z + 0.002) for i, n, e, z in DESIGN]
    assert notices(check(job(tmp_path, table(shots))), "shots-are-design") == []


def test_only_the_file_that_was_exported_is_named(tmp_path: Path) -> None:
    again = [(i, n, e, z) for i, n, e, z in off(DESIGN)]
    folder = job(tmp_path, table(again), extra={"late.csv": table(DESIGN, decimals=4)})
    text = (folder / "job.toml").read_text().replace('["shots.csv"]', '["shots.csv", "late.csv"]')
    (folder / "job.toml").write_text(text)
    results = check(folder)
    (found,) = [each for each in results.inputs.notices if each.slug == "shots-are-design"]
    assert found.where.file == "late.csv"


def test_known_points_in_place_of_check_shots(tmp_path: Path) -> None:
    known: Rows = [*CONTROL, ("CP4", 5010.0, 6210.0, 9.5)]
    folder = job(tmp_path, table([*off(DESIGN), *known]), extra={"control.csv": table(known)})
    (said,) = notices(check(folder), "shots-are-design")
    assert said.startswith("3 of 3 check shots have the coordinates of control to the last digit")


# ---------------------------------------------------------------- control under another number


@pytest.mark.parametrize("written", ["cp3", "CP 3", "CP03", "Cp3"])
def test_a_check_shot_written_otherwise_is_told(
    tmp_path: Path, written: str, capsys: pytest.CaptureFixture[str]
) -> None:
    failed = (written, 5160.18, 6260.0, 11.0)
    folder = job(tmp_path, table([*off(DESIGN), *off(CONTROL[:1]), failed]))
    results = check(folder)
    assert results.verdict.word == "within"
    said = (
        f'shot "{written}" differs only in case, blanks or leading zeros from control point CP3, '
        "and was not compared with it"
    )
    assert notices(results, "control-otherwise") == [said]
    (left,) = [each.text for each in results.unjudged if "compared with nothing" in each.text]
    assert left == f"Shots: 1 was compared with nothing: {written}."
    main(["check", str(folder)])
    out = capsys.readouterr().out
    assert f"beware: shots.csv: {said}." in out
    assert f"not judged: {left}" in out


def test_a_shot_at_a_mark_is_asked_about(tmp_path: Path) -> None:
    failed = ("CP3-chk", 5160.18, 6260.0, 11.0)
    results = check(job(tmp_path, table([*off(DESIGN), *off(CONTROL[:1]), failed])))
    (said,) = notices(results, "control-otherwise")
    assert said.startswith('shot "CP3-chk" stands ')
    assert " stands 180.0 mm from " in said
    assert "from control point CP3 and was compared with nothing" in said


def test_shots_of_their_own_numbers_are_left_alone(tmp_path: Path) -> None:
    """A number of the design, one that is set aside, and one far from every mark."""
    more = 'exclude = [{ id = "cp1", reason = "pole slipped" }]'
    shots = [*off(DESIGN), *off(CONTROL), ("cp1", 5050.2, 6150.0, 9.0), ("77", 5051.0, 6150, 9.0)]
    results = check(job(tmp_path, table(shots), more=more))
    assert notices(results, "control-otherwise") == []
    left = [each.text for each in results.unjudged if each.text.startswith("Shots:")]
    assert left == ["Shots: 1 was compared with nothing: 77."]


def test_many_idle_shots_are_counted(tmp_path: Path) -> None:
    extra = [(f"T{i}", 5300.0 + i, 6400.0, 8.0) for i in range(9)]
    results = check(job(tmp_path, table([*off(DESIGN), *off(CONTROL), *extra])))
    (left,) = [each.text for each in results.unjudged if each.text.startswith("Shots:")]
    assert left == "Shots: 9 were compared with nothing: T0, T1, T2 and 6 more."


def test_more_shots_at_marks_than_are_named(tmp_path: Path) -> None:
    extra = [(f"X{i}", 5160.0 + 0.05 * i, 6260.0, 11.0) for i in range(7)]
    results = check(job(tmp_path, table([*off(DESIGN), *off(CONTROL), *extra])))
    said = notices(results, "control-otherwise")
    assert len(said) == 3
    assert said[-1].endswith("; and 4 more such shots")


# ---------------------------------------------------------------- the date


@pytest.mark.parametrize(
    ("date", "told"),
    [
        ("2031-05-01", True),
        ("2031-05-05", True),
        ("2031-05-06", False),  # it may still be that day far west of Greenwich
        ("2031-05-07", False),
        ("2031-06-01", False),
    ],
)
def test_a_date_before_the_last_shot(tmp_path: Path, date: str, told: bool) -> None:
    shots = table(off([*DESIGN, *CONTROL]), ",2031-05-07T08:00:00Z")
    results = check(job(tmp_path, shots, head=f"date = {date}"))
    said = notices(results, "date-before-shots")
    assert bool(said) is told
    if told:
        assert f"date is {date}, and the last shot was measured later, on 2031-05-07" in said[0]


def test_shots_without_a_time_say_nothing_of_the_date(tmp_path: Path) -> None:
    results = check(job(tmp_path, table(off(DESIGN)), head="date = 1999-01-01"))
    assert notices(results, "date-before-shots") == []


# ---------------------------------------------------------------- an earlier shot was within


@pytest.mark.parametrize(
    ("first", "last", "told"), [(0.004, 3.0, True), (2.5, 3.0, False), (3.0, 0.004, False)]
)
def test_an_earlier_shot_that_was_within_is_named(
    tmp_path: Path, first: float, last: float, told: bool
) -> None:
    name, n, e, z = DESIGN[3]
    shots = [*off(DESIGN[:3]), *off(CONTROL), (name, n + first, e, z), (name, n + last, e, z)]
    results = check(job(tmp_path, table(shots)))
    (finding,) = [each for each in results.findings if each.measure.kind == "stakeout"]
    said = "; an earlier shot of 4 (shots.csv:7) was within"
    reasons = [str(text) for text in finding.row_reason.tolist() if said in str(text)]
    assert len(reasons) == int(told)
    assert (said in finding.reason) is told
    assert (finding.verdict.word == "outside") is (last > 1)


# ---------------------------------------------------------------- another job's report


def test_the_report_of_another_job_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, out = job(tmp_path / "job", table(off([*DESIGN, *CONTROL]))), str(tmp_path / "out")
    assert main(["build", str(folder), "--out", out]) == 0
    assert main(["build", str(folder), "--out", out]) == 0
    assert "another job" not in capsys.readouterr().out
    text = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(text.replace("Pads (invented)", "Other site (invented)"))
    assert main(["build", str(folder), "--out", out]) == 0
    said = (
        'this replaces the report of another job, "Pads (invented)" (now "Other site (invented)")'
    )
    assert said in capsys.readouterr().out
    assert main(["build", str(folder), "--out", out]) == 0
    assert "another job" not in capsys.readouterr().out
