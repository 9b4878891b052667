"""What a verdict leaves open is said beside it."""

import json
from pathlib import Path

import pytest

from checker.model.finding import Results
from checker.read.inputs import open_job
from checker.report.render import render
from checker.run import evaluate

HEAD = """\
[job]
title = "Invented hubs"
unit = "metre"
[design]
points = "design.csv"
[measured]
files = ["shots.csv"]
[[stakeout]]
name = "Hubs"
"""
PLAN = 'horizontal = "30 mm"'
BOTH = 'horizontal = "30 mm", vertical = "30 mm"'
CONTROL = """\
[control]
file = "control.csv"
tolerance = { horizontal = "20 mm", vertical = "20 mm", source = "common practice, no source" }
"""
DESIGN = "id,northing,easting,elevation\n1,0,0,10\n2,0,50,10\n"
FLAT = "id,northing,easting\n1,0,0\n2,0,50\n"
SHOTS = "id,northing,easting,elevation\n1,0.004,0,10.4\n2,0,50.012,10.001\nCP1,90.001,0,5.002\n"
SIGMAS = (
    "id,northing,easting,elevation,sigma_n,sigma_e,sigma_z\n"
    "1,0.004,0,10.002,0.004,0.004,0.008\n2,0,50.012,10.001,0.004,0.004,0.008\n"
    "CP1,90.001,0,5.002,0.004,0.004,0.008\n"
)
HEIGHTS = (
    'Heights in "Hubs": no limit is stated; cut and fill, up to 400 mm at 1, are shown and not '
    "judged."
)
KNOWN = "How well the shots are known: none shows a standard deviation."


def run(folder: Path, job: str, shots: str, design: str = DESIGN) -> Results:
    texts = {"job.toml": job, "design.csv": design, "shots.csv": shots}
    texts["control.csv"] = "id,northing,easting,elevation\nCP1,90,0,5\n"
    for name, text in texts.items():
        (folder / name).write_text(text, "utf-8")
    return evaluate(*open_job(folder / "job.toml"))


def said_of(results: Results) -> list[str]:
    return [each.text for each in results.unjudged]


def stake(limits: str, more: str = "") -> str:
    source = 'source = "common practice, no source"'
    return f"{HEAD}tolerance = {{ {limits}, {source} }}\n{more}"


def test_nothing_is_left_open_where_all_is_judged(tmp_path: Path) -> None:
    results = run(tmp_path, stake(BOTH, CONTROL), SIGMAS)
    assert results.unjudged == ()
    files = render(results)
    assert "Not judged" not in files["index.html"].decode()
    assert json.loads(files["results.json"])["not_judged"] == []


def test_a_shift_in_height_without_a_limit_is_said_beside_the_pass(tmp_path: Path) -> None:
    results = run(tmp_path, stake(PLAN, CONTROL), SHOTS)
    assert results.verdict.word == "within"
    assert said_of(results) == [HEIGHTS, KNOWN]
    files = render(results)
    page = files["index.html"].decode()
    verdict = page[page.index('class="verdict') :].split("</div>\n</div>", 1)[0]
    assert "Not judged." in verdict
    assert ">All 3 within tolerance</p>" in verdict  # the control has a limit in height
    assert "up to 400" in verdict
    assert json.loads(files["results.json"])["not_judged"] == [HEIGHTS, KNOWN]


def test_a_job_without_control_says_what_would_not_show(tmp_path: Path) -> None:
    said, idle = said_of(run(tmp_path, stake(BOTH), SIGMAS))
    assert said.startswith("Control: no shot on a known mark was compared")
    assert idle == "Shots: 1 was compared with nothing: CP1."


def test_control_without_a_limit_in_height_is_named_too(tmp_path: Path) -> None:
    control = CONTROL.replace(', vertical = "20 mm"', "")
    (said,) = said_of(run(tmp_path, stake(BOTH, control), SIGMAS))
    assert said.startswith('Heights in "Control check": no limit is stated')
    assert "the differences, up to 2.0 mm at CP1" in said


@pytest.mark.parametrize(
    ("limits", "design", "begins"),
    [
        # heights that the design does not have are not compared at all
        (PLAN, FLAT, []),
        ('vertical = "30 mm"', DESIGN, ['Places in plan in "Hubs": no limit is stated']),
        (BOTH, DESIGN, []),
    ],
)
def test_only_what_was_compared_is_missed(
    tmp_path: Path, limits: str, design: str, begins: list[str]
) -> None:
    said = said_of(run(tmp_path, stake(limits, CONTROL), SIGMAS, design))
    assert len(said) == len(begins)
    assert all(text.startswith(begin) for text, begin in zip(said, begins, strict=True))


@pytest.mark.parametrize(
    ("limits", "only"),
    [(PLAN, ", in plan"), ('vertical = "30 mm"', ", in height"), (BOTH, "")],
)
def test_the_headline_says_in_what_alone_all_is_within(
    tmp_path: Path, limits: str, only: str
) -> None:
    page = render(run(tmp_path, stake(limits), SIGMAS))["index.html"].decode()
    assert f">All 2 within tolerance{only}</p>" in page


def test_a_session_without_a_check_shot_is_named(tmp_path: Path) -> None:
    head, *lines = SIGMAS.splitlines()
    sessions = ("am", "pm", "am")
    shots = "\n".join([f"{head},session", *map(",".join, zip(lines, sessions, strict=True))]) + "\n"
    results = run(tmp_path, stake(BOTH, CONTROL), shots)
    (said,) = said_of(results)
    assert said == (
        "Control in session pm: no check shot of its own, so what was set up anew there would not "
        "show."
    )
    assert said_of(run(tmp_path, stake(BOTH, CONTROL), shots.replace(",pm", ",am"))) == []


def test_without_sessions_a_day_without_a_check_shot_is_named(tmp_path: Path) -> None:
    head, *lines = SIGMAS.splitlines()
    times = ("2031-04-15T08:00:00Z", "2031-04-16T08:00:00Z", "2031-04-15T09:00:00Z")
    shots = "\n".join([f"{head},time", *map(",".join, zip(lines, times, strict=True))]) + "\n"
    (said,) = said_of(run(tmp_path, stake(BOTH, CONTROL), shots))
    assert said.startswith("Control on 2031-04-16: no check shot of its own")


def test_a_standard_deviation_of_nothing_is_told(tmp_path: Path) -> None:
    shots = SIGMAS.replace("50.012,10.001,0.004,0.004,0.008", "50.012,10.001,0,0,0")
    (said,) = said_of(run(tmp_path, stake(BOTH, CONTROL), shots))
    assert "1 shot shows a standard deviation of 0, 2 for one" in said
