"""Broken job files: every fault of a file is reported, with its line, and nothing else."""

from pathlib import Path

import pytest

from checker.errors import InputError
from checker.read.files import Source
from checker.read.inputs import open_job
from checker.read.job import read_job

FOLDER = Path(__file__).parent / "job"

EXPECTED: dict[str, list[tuple[str, int | None]]] = {
    "azimuth-range": [
        ("azimuth-range", 9),
        ("azimuth-range", 10),
    ],
    "bad-value": [
        ("bad-value", 10),
        ("bad-value", 11),
        ("bad-value", 12),
        ("bad-value", 13),
        ("bad-value", 14),
        ("bad-value", 15),
        ("bad-value", 16),
        ("bad-value", 18),
        ("bad-value", 19),
        ("bad-value", 20),
        ("bad-value", 21),
        ("bad-value", 22),
        ("bad-value", 23),
        ("bad-value", 24),
        ("bad-value", 28),
        ("bad-value", 30),
    ],
    "closures": [
        ("open-loop", 7),
        ("open-loop", 10),
        ("conflicting-keys", 12),
        ("bad-value", 16),
        ("missing-key", 16),
        ("missing-section", 17),
        ("conflicting-keys", 20),
        ("bad-value", 21),
        ("missing-key", 22),
        ("useless-tolerance", 27),
        ("wrong-choice", 31),
        ("missing-key", 32),
        ("missing-section", 32),
        ("unknown-section-name", 37),
        ("bad-value", 38),
        ("bad-value", 39),
        ("bad-value", 40),
        ("wrong-choice", 41),
    ],
    "conflicting-keys": [
        ("conflicting-keys", 5),
        ("conflicting-keys", 5),
        ("conflicting-keys", 7),
        ("conflicting-keys", 10),
        ("conflicting-keys", 13),
        ("conflicting-keys", 19),
        ("conflicting-keys", 21),
        ("conflicting-keys", 26),
        ("conflicting-keys", 29),
        ("conflicting-keys", 35),
        ("conflicting-keys", 37),
        ("conflicting-keys", 37),
        ("conflicting-keys", 39),
        ("conflicting-keys", 46),
    ],
    "design-values": [
        ("bad-value", 5),
        ("bad-value", 6),
        ("bad-value", 7),
    ],
    "duplicate-name": [
        ("duplicate-name", 14),
    ],
    "empty-text": [
        ("empty-text", 2),
        ("empty-text", 5),
        ("empty-text", 7),
        ("empty-text", 9),
        ("bad-value", 11),
        ("empty-text", 13),
        ("empty-text", 17),
    ],
    "empty": [
        ("missing-section", None),
        ("nothing-to-check", None),
    ],
    "encoding": [
        ("job-encoding", 4),
    ],
    "evidence": [
        *(("bad-value", line) for line in (6, 7, 8, 9, 12, 13, 21, 22, 30, 31)),
        ("conflicting-keys", 15),
        ("conflicting-keys", 17),
        ("wrong-type", 17),
        ("wrong-type", 18),
        ("useless-tolerance", 19),
        ("wrong-choice", 25),
        ("wrong-choice", 26),
        ("missing-section", 27),
        ("missing-key", 29),
        ("wrong-type", 34),
        ("missing-key", 35),
        ("wrong-type", 36),
    ],
    "gate": [
        ("wrong-type", 4),
        ("missing-section", 9),
        ("bad-value", 9),
        ("conflicting-keys", 10),
        ("unknown-key", 10),
        ("wrong-type", 13),
        ("conflicting-keys", 16),
        ("bad-value", 17),
        ("bad-value", 20),
    ],
    "given-fit": [
        ("conflicting-keys", 9),
        ("missing-key", 10),
        ("conflicting-keys", 10),
        ("bad-value", 10),
        ("bad-value", 10),
        ("bad-value", 10),
        ("unknown-key", 10),
    ],
    "limit-not-positive": [
        ("limit-not-positive", 10),
        ("limit-not-positive", 11),
        ("limit-not-positive", 12),
    ],
    "missing-key": [
        ("missing-key", 1),
        ("missing-key", 1),
        ("missing-key", 3),
        ("missing-key", 5),
        ("missing-key", 8),
        ("missing-key", 9),
        ("missing-key", 11),
        ("missing-key", 12),
        ("missing-key", 13),
        ("missing-key", 13),
        ("missing-key", 13),
        ("missing-key", 13),
        ("missing-key", 14),
        ("missing-key", 14),
    ],
    "missing-section": [
        ("missing-section", None),
        ("missing-section", 3),
        ("missing-section", 3),
        ("missing-section", 5),
        ("missing-section", 10),
        ("missing-section", 11),
        ("missing-section", 12),
        ("missing-section", 13),
        ("missing-section", 16),
    ],
    "nothing-to-check": [
        ("nothing-to-check", 1),
    ],
    "reference": [
        ("wrong-type", 5),
        ("bad-value", 6),
        ("bad-value", 6),
        ("missing-key", 6),
    ],
    "syntax-backslash": [
        ("job-syntax", 4),
    ],
    "syntax-windows-path": [
        ("job-syntax", 5),
    ],
    "syntax-two-forms": [
        ("job-syntax", 6),
    ],
    "mistyped-section": [
        ("unknown-section", 4),
    ],
    "syntax-comma": [
        ("job-syntax", 5),
    ],
    "syntax-end": [
        ("job-syntax", 4),
    ],
    "syntax-quote": [
        ("job-syntax", 2),
    ],
    "syntax-twice": [
        ("job-syntax", 4),
    ],
    "unknown-key": [
        ("unknown-key", 1),
        ("unknown-key", 13),
        ("unknown-key", 14),
    ],
    "unknown-section": [
        ("unknown-section", 4),
        ("unknown-section", 6),
    ],
    "unknown-tolerance": [
        ("unknown-tolerance", 11),
        ("unknown-tolerance", 14),
    ],
    "mistyped-limit": [
        ("unknown-key", 9),
    ],
    "useless-tolerance": [
        ("useless-tolerance", 12),
        ("useless-tolerance", 15),
        ("useless-tolerance", 19),
        ("useless-tolerance", 21),
    ],
    "utf16": [
        ("job-encoding", None),
    ],
    "wrong-choice": [
        ("wrong-choice", 3),
        ("wrong-choice", 4),
        ("wrong-choice", 9),
        ("wrong-choice", 12),
        ("wrong-choice", 15),
        ("wrong-choice", 18),
        ("wrong-choice", 19),
        ("wrong-choice", 22),
        ("wrong-choice", 23),
        ("wrong-choice", 24),
        ("wrong-choice", 28),
    ],
    "wrong-heading": [
        ("wrong-type", 1),
        ("wrong-type", 2),
        ("wrong-type", 3),
        ("wrong-type", 6),
        ("wrong-type", 7),
    ],
    "wrong-type": [
        ("wrong-type", 2),
        ("wrong-type", 3),
        ("wrong-type", 4),
        ("wrong-type", 5),
        ("wrong-type", 7),
        ("wrong-type", 8),
        ("wrong-type", 12),
        ("wrong-type", 14),
        ("wrong-type", 16),
        ("wrong-type", 17),
        ("wrong-type", 18),
        ("wrong-type", 19),
        ("wrong-type", 21),
        ("wrong-type", 23),
        ("wrong-type", 24),
    ],
}

SAID = [
    ("unknown-key", 'unknown key "mesured"', 'did you mean "measured"?'),
    ("unknown-key", 'unknown key "layr"', 'did you mean "layer"?'),
    ("unknown-section", 'no section "stakout"', 'did you mean "stakeout"?'),
    ("unknown-section", 'no section "weather"', "the sections are: accuracy, alignment, control"),
    ("unknown-tolerance", "no [tolerance.controls]", "the job's tolerances are: t"),
    ("missing-key", "[[stakeout]] has no tolerance", "nothing can be judged"),
    ("missing-key", "exclude has no reason", "no point is set aside without one"),
    ("missing-section", 'backsight is the control point "C"', "or give start_azimuth"),
    ("missing-section", 'start is the control point "BM1"', "start as { elevation = ... }"),
    ("wrong-type", 'date is "2031-04-17"; expected a date', "without quotation marks"),
    ("wrong-type", "files is 7; expected a text", "write files as a text"),
    ("wrong-heading", "[stakeout] is not how this section is written", "[[stakeout]], once for"),
    ("wrong-heading", "[[job]] is not how this section is written", "as [job], once"),
    ("wrong-choice", 'unit is "feet"; expected "metre", "foot" or "us-survey-foot"', '"foot"?'),
    ("wrong-choice", 'angles is "rigth"', 'did you mean "right"?'),
    ("bad-value", 'angular: "20 mm": an angle was expected', "20 arcsec * sqrt(n)"),
    (
        "bad-value",
        'along is "3 mm * sqrt(km)", which depends on a length',
        "where a length is measured",
    ),
    ("bad-value", 'pole: "2 k": "k" is not a unit of length', "use mm, cm, m"),
    ("bad-value", "apart: 4 has no unit", "4 h"),
    ("limit-not-positive", "vertical is 0; expected a length greater than 0", "write a length"),
    ("useless-tolerance", "its tolerance limits ratio", "above, below, along, across"),
    ("useless-tolerance", "limits angular, with which nothing here", "it can limit misclosure"),
    ("closures", "the loop A-B-C does not end where it began", "repeat its first id"),
    ("closures", "the loop A-B-A-C-A passes a mark twice", "its loops by itself"),
    ("closures", '"3 furlongs" is no area', "0.857 acre"),
    ("closures", "names both a file of courses and a layer", "a second [[figure]]"),
    ("conflicting-keys", "limits the same thing twice: vertical and above", "keep vertical"),
    ("conflicting-keys", "sha256 belongs to one drawing, and 3 are named", "name one drawing"),
    ("conflicting-keys", "is a loop, but close is another point", 'shape = "link"'),
    ("conflicting-keys", "backsight and start are the same point", "was sighted from start"),
    ("duplicate-name", 'the name "Pad" is used twice; first in line 10', "a name of its own"),
    ("mistyped-limit", 'unknown key "horizontl"', 'did you mean "horizontal"?'),
    ("azimuth-range", "start_azimuth is", "check the digits; take 360 off"),
    ("reference", "combined_factor is 100.009; expected a combined factor near 1", "0.98 to 1.02"),
    ("nothing-to-check", "asks for no check", "[[stakeout]], [[traverse]]"),
    ("encoding", "not UTF-8 text: byte 0xe4", "save it again as UTF-8"),
    ("utf16", "it looks like UTF-16", "save it again as UTF-8"),
    ("syntax-comma", '"number = 0,3"', "write one key = value on a line"),
    ("syntax-windows-path", "Users", "'single' quotation marks"),
    ("syntax-two-forms", "[stakeout] in line 4", "two brackets each time"),
    ("mistyped-section", '"mesured"', '"measured"'),
    ("syntax-twice", "title stands there twice, first in line 2", "keep one of the two"),
    ("syntax-backslash", "a backslash and what follows it", "write / between folders"),
    ("syntax-quote", '"title = "no end"', "ends with a quotation mark on the same line"),
    ("syntax-end", 'client = [ "a",', 'is a "]", "}" or quotation mark missing?'),
]


def faults(name: str) -> InputError:
    source = Source(path="job.toml", data=(FOLDER / f"{name}.toml").read_bytes())
    with pytest.raises(InputError) as caught:
        read_job(source, Path())
    return caught.value


@pytest.mark.parametrize("name", sorted(path.stem for path in FOLDER.glob("*.toml")))
def test_every_fault_and_no_other(name: str) -> None:
    found = [(problem.slug, problem.where.line) for problem in faults(name).problems]
    assert sorted(found, key=str) == sorted(EXPECTED[name], key=str)


@pytest.mark.parametrize(("name", "message", "hint"), SAID)
def test_what_is_said(name: str, message: str, hint: str) -> None:
    matching = [problem for problem in faults(name).problems if message in problem.message]
    assert len(matching) == 1, [problem.message for problem in faults(name).problems]
    assert hint in matching[0].hint
    assert matching[0].where.file == "job.toml"


def test_the_place_of_a_syntax_fault_has_a_column() -> None:
    (problem,) = faults("syntax-comma").problems
    assert str(problem.where) == "job.toml:5:11"


POINTS = "id,northing,easting,elevation\nCP1,100.0,200.0,50.0\n1,120.0,200.0,50.1\n"


@pytest.mark.parametrize(
    ("files", "design", "control", "slug", "says"),
    [
        (
            ["shots.csv"],
            "shots.csv",
            "known.csv",
            "compared-with-itself",
            '[design] "shots.csv" is an',
        ),
        (["shots.csv"], "design.csv", "shots.csv", "compared-with-itself", '[control] "shots.csv"'),
        (
            ["shots.csv", "copy.csv"],
            "design.csv",
            "known.csv",
            "same-shots-twice",
            "is byte for byte",
        ),
    ],
)
def test_nothing_is_compared_with_itself(
    tmp_path: Path, files: list[str], design: str, control: str, slug: str, says: str
) -> None:
    for name in ("shots.csv", "copy.csv"):
        (tmp_path / name).write_text(POINTS, "utf-8")
    (tmp_path / "design.csv").write_text(POINTS.replace("50.1", "50.2"), "utf-8")
    (tmp_path / "known.csv").write_text(POINTS.replace("50.1", "50.3"), "utf-8")
    named = ", ".join(f'"{name}"' for name in files)
    (tmp_path / "job.toml").write_text(
        f'[job]\ntitle = "Invented"\nunit = "metre"\n[design]\npoints = "{design}"\n'
        f'[measured]\nfiles = [{named}]\n[control]\nfile = "{control}"\n'
        'tolerance = { horizontal = "20 mm", source = "common practice, no source" }\n',
        "utf-8",
    )
    with pytest.raises(InputError) as caught:
        open_job(tmp_path / "job.toml")
    (only,) = caught.value.problems
    assert only.slug == slug
    assert says in only.message


@pytest.mark.parametrize("value", ["2", '"2"'])
def test_hours_are_not_taken_for_seconds(value: str) -> None:
    text = (
        '[job]\ntitle = "Invented"\nunit = "foot"\n[measured]\nfiles = ["m.csv"]\n'
        '[control]\nfile = "c.csv"\ntolerance = { horizontal = "0.1 ft" }\n'
        f"[gate]\ncheck_within = {value}\n"
    )
    with pytest.raises(InputError) as caught:
        read_job(Source(path="job.toml", data=text.encode()), Path())
    (only,) = caught.value.problems
    assert "has no unit" in only.message
    assert only.where.line == 10
