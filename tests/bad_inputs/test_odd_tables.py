"""Tables that can be read and cannot be meant: the words that a crew chief reads in the report."""

from pathlib import Path

import pytest

from checker.run import check

FOLDER = Path(__file__).parent / "odd_tables"
CONTROL = "id,northing,easting,elevation\nCP1,511871.462,617843.118,44.871\n"
DESIGN = """\
id,northing,easting,elevation
101,511950.5,617900.25,46.0
102,511950.5,617925.25,46.1
103,511975.5,617925.25,46.25
"""
JOB = """\
[job]
title = "Invented"
unit = "us-survey-foot"
[design]
points = "design.csv"
[control]
file = "control.csv"
[measured]
file = "shots.csv"
[[stakeout]]
tolerance = { horizontal = "0.1 ft", source = "invented" }
"""
CASES = [
    ("swapped-axes.csv", "swapped-axes", None, "northing and easting look exchanged"),
    ("lost-digits.csv", "lost-digits", 5, "its easting 17900.260 would be 617900.260 with its"),
    ("no-height.csv", "zero-heights", 2, "all 3 elevations are 0"),
    ("number-twice.csv", "number-twice", 4, '"101" on lines 2 and 4'),
    ("other-site.csv", "elsewhere", None, "leading digits that were left out"),
]


@pytest.mark.parametrize(("name", "slug", "line", "words"), CASES)
def test_what_is_said(name: str, slug: str, line: int | None, words: str, tmp_path: Path) -> None:
    (tmp_path / "shots.csv").write_bytes((FOLDER / name).read_bytes())
    (tmp_path / "control.csv").write_text(CONTROL)
    (tmp_path / "design.csv").write_text(DESIGN)
    (tmp_path / "job.toml").write_text(JOB)
    notices = check(tmp_path).inputs.notices
    (notice,) = [each for each in notices if each.slug == slug]
    assert notice.where.file == "shots.csv"
    assert notice.where.line == line
    assert words in notice.message


def test_every_file_has_its_case() -> None:
    assert sorted(path.name for path in FOLDER.iterdir()) == sorted(case[0] for case in CASES)
