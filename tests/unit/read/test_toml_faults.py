"""A job file that is no TOML: what is said, and that the remedy is the right one."""

from pathlib import Path

import pytest

from checker.errors import InputError, Problem
from checker.read.files import Source
from checker.read.job import read_job

HEAD = '[job]\ntitle = "Invented"\nunit = "metre"\n'


def fault(text: str) -> Problem:
    with pytest.raises(InputError) as caught:
        read_job(Source(path="job.toml", data=text.encode()), Path())
    (problem,) = caught.value.problems
    return problem


@pytest.mark.parametrize(
    "path",
    [
        r"C:\Users\Me\day 2.csv",
        r"D:\jobs\x.csv",
        r"sub\rover.csv",
        r"sub\beta.csv",
        r"C:\shots\\",
        "C:\\Unterlagen\\",
    ],
)
def test_a_backslash_in_a_path_is_named_whatever_follows_it(path: str) -> None:
    check = '[[repeats]]\ntolerance = { horizontal = "20 mm" }\n'
    problem = fault(f'{HEAD}[measured]\nfiles = ["day 1.csv", "{path}"]\n{check}')
    assert problem.where.line == 5
    assert "write / between folders" in problem.hint
    assert "'single' quotation marks" in problem.hint


def test_single_marks_keep_a_backslash() -> None:
    # The hint must be true: with them the file is TOML, and only the check is missing.
    problem = fault(f"{HEAD}[measured]\nfiles = ['sub\\rover.csv']\n")
    assert problem.slug == "nothing-to-check"


@pytest.mark.parametrize(
    ("first", "again", "line"),
    [("[stakeout]", "[[stakeout]]", 6), ("[stakeout]", "[stakeout]", 6),
     ("[[stakeout]]", "[stakeout]", 6)],
)  # fmt: skip
def test_checks_of_a_kind_are_written_with_two_brackets(first: str, again: str, line: int) -> None:
    problem = fault(f'{HEAD}{first}\nname = "a"\n{again}\nname = "b"\n')
    assert problem.where.line == line
    assert problem.hint == "write [[stakeout]] with two brackets each time; the first is in line 4"


@pytest.mark.parametrize(
    ("text", "message", "hint"),
    [
        ('[job]\ntitle = "b"\n', "[job] stands there twice, first in line 1", "keep one"),
        ('[[job]]\ntitle = "b"\n', "[[job]] stands there twice, first in line 1", "keep one"),
        ("[gate]\npdop = 4\nhdop = 2\npdop = 3\n", "pdop stands there twice, first in line 5",
         "keep one"),
        ("[tolerance.a]\n[tolerance.a]\n", "[tolerance.a] stands there twice", "keep one"),
        ("[gate]\npdop = { a = 1, a = 2 }\n", "stands there twice", "keep one"),
        ("[gate\npdop = 4\n", "heading of a section is not closed", "[name]"),
        ("[gate]\npdop 4\n", 'no "=" behind the key', "key = value"),
        ("[gate]\npdop = 4 m\n", "behind the value", "one key = value on a line"),
        ("[gate]\npdop = .4\n", "is no value", "0.03"),
        ("[gate]\n= 4\n", "", "key = value"),
    ],
)  # fmt: skip
def test_the_parsers_own_words_do_not_show(text: str, message: str, hint: str) -> None:
    problem = fault(HEAD + text)
    assert problem.slug == "job-syntax"
    assert message in problem.message
    assert hint in problem.hint
    for word in ("declare", "overwrite", "mutate", "namespace", "(at line", "document after"):
        assert word not in problem.message


@pytest.mark.parametrize("wrong", ["mesured", "mesurement", "measurd"])
def test_what_follows_from_a_mistyped_section_is_not_said(wrong: str) -> None:
    text = (
        f'{HEAD}[{wrong}]\nfiles = "a.csv"\n[design]\ndrawing = "d.dxf"\n'
        '[tolerance.t]\nhorizontal = "20 mm"\n'
        '[[stakeout]]\ntolerance = "t"\n[[repeats]]\ntolerance = "t"\n'
    )
    if wrong == "mesurement":  # like no section: then what lacks is said too
        with pytest.raises(InputError) as caught:
            read_job(Source(path="job.toml", data=text.encode()), Path())
        assert {each.slug for each in caught.value.problems} >= {"unknown-section"}
    else:
        problem = fault(text)
        assert (problem.slug, problem.where.line) == ("unknown-section", 4)
        assert "measured" in problem.hint


def test_keys_are_checked_all_the_same_where_a_section_is_mistyped() -> None:
    text = (
        f'{HEAD}[tolerence.t]\nhorizontal = "20 mm"\n[measured]\nfiles = "a.csv"\nfils = "b"\n'
        '[design]\ndrawing = "d.dxf"\n[[stakeout]]\ntolerance = "t"\n'
    )
    with pytest.raises(InputError) as caught:
        read_job(Source(path="job.toml", data=text.encode()), Path())
    found = [(each.slug, each.where.line) for each in caught.value.problems]
    assert found == [("unknown-section", 4), ("unknown-key", 8)]


def test_a_gate_says_which_key_needs_control() -> None:
    text = (
        f'{HEAD}[measured]\nfiles = "a.csv"\n[gate]\npdop = 4\ncheck_within = "2 h"\n'
        '[[repeats]]\ntolerance = { horizontal = "20 mm" }\n'
    )
    problem = fault(text)
    assert (problem.slug, problem.where.line) == ("missing-section", 8)
    assert "[gate] check_within needs known points" in problem.message
    assert problem.hint.endswith("or take check_within out")


@pytest.mark.parametrize(
    ("key", "says"),
    [
        ('group = ["101", "102", "102"]', 'group names "102" 2 times'),
        ('group = { id = ["101", "102", "101"] }', 'group names "101" 2 times'),
        (
            'group = ["1", "2"]\ngroups = { A = ["1", "2", "3"], B = ["4", "5", "5", "5"] }',
            'B names "5" 3 times',
        ),
    ],
)
def test_a_number_twice_in_a_group_was_meant_as_another(key: str, says: str) -> None:
    text = (
        f'{HEAD}[measured]\nfiles = "a.csv"\n[design]\ndrawing = "d.dxf"\n'
        f'[[relative]]\n{key}\ntolerance = {{ distance = "5 mm" }}\n'
    )
    problem = fault(text)
    assert problem.slug == "conflicting-keys"
    assert problem.where.line == 9 + key.count("\n")
    assert says in problem.message
