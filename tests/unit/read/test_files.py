"""Paths of a job, on whichever system it was written, and how many files it may name."""

import os
from pathlib import Path, PureWindowsPath

import pytest

from checker.errors import InputError, Where
from checker.read.files import MAX_FILES, Files
from checker.read.inputs import find_job

HERE = Where(file="job.toml", line=7)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    job = tmp_path / "job"
    (job / "points").mkdir(parents=True)
    (job / "points" / "monday.csv").write_text("monday")
    (job / "alone.csv").write_text("alone")
    (tmp_path / "beside.csv").write_text("beside")
    return job


@pytest.mark.parametrize(
    "path",
    ["points/monday.csv", r"points\monday.csv", r".\points\monday.csv", "points//monday.csv"],
)
def test_both_spellings_name_the_same_file(root: Path, path: str) -> None:
    files = Files(root)
    assert files.open(path, "points", HERE).data == b"monday"
    assert "\\" not in files.read[0].path


@pytest.mark.skipif(os.name != "posix", reason="Windows has no such name")
def test_a_file_that_is_really_called_so_is_meant(root: Path) -> None:
    (root / r"points\monday.csv").write_text("odd")
    assert Files(root).open(r"points\monday.csv", "points", HERE).data == b"odd"
    (root / "c:alone.csv").write_text("c")
    assert Files(root).open("c:alone.csv", "points", HERE).data == b"c"


@pytest.mark.skipif(os.name != "posix", reason="there it is a place")
@pytest.mark.parametrize("allowed", [False, True])
@pytest.mark.parametrize(
    ("path", "drive"),
    [
        (r"C:\jobs\points.csv", "C:"),
        ("d:/jobs/points.csv", "d:"),
        (r"\\server\share\points.csv", r"\\server\share"),
        ("//server/share/points.csv", r"\\server\share"),
        (r"\\?\C:\jobs\points.csv", "\\\\?\\C:"),
    ],
)
def test_a_place_of_windows_is_named_as_such(
    root: Path, path: str, drive: str, *, allowed: bool
) -> None:
    assert PureWindowsPath(path).drive == drive
    with pytest.raises(InputError) as caught:
        Files(root, allow_outside=allowed).open(path, "points", HERE)
    (problem,) = caught.value.problems
    assert problem.slug == "outside-folder"
    assert problem.where == HERE
    assert f'"{drive}"' in problem.message
    assert "Windows" in problem.message
    assert "copy the file" in problem.hint


@pytest.mark.parametrize("path", ["../beside.csv", r"..\beside.csv", r"points\..\..\beside.csv"])
def test_no_spelling_leaves_the_folder(root: Path, path: str) -> None:
    with pytest.raises(InputError) as caught:
        Files(root).open(path, "points", HERE)
    assert caught.value.problems[0].slug == "outside-folder"
    assert Files(root, allow_outside=True).open(path, "points", HERE).data == b"beside"


def test_as_many_files_as_a_job_may_name(root: Path) -> None:
    files = Files(root)
    for number in range(MAX_FILES + 1):
        (root / f"{number}.csv").write_text("")
        files.open(f"{number}.csv", "points", HERE)
    files.open("0.csv", "points", HERE)
    with pytest.raises(InputError) as caught:
        files.open("alone.csv", "points", HERE)
    (problem,) = caught.value.problems
    assert problem.slug == "too-many-files"
    assert str(MAX_FILES) in problem.message
    assert problem.hint


def hint(files: Files, path: str) -> str:
    with pytest.raises(InputError) as caught:
        files.open(path, "points", HERE)
    (problem,) = caught.value.problems
    assert problem.slug == "missing-file"
    return problem.hint


def test_one_text_for_several_files_is_a_list(root: Path) -> None:
    assert hint(Files(root), "alone.csv, points/monday.csv") == (
        "several files are a list, each in quotation marks of its own: "
        '["alone.csv", "points/monday.csv"]'
    )
    assert "several" not in hint(Files(root), "alone.csv, tuesday.csv")
    (root / "a, b.csv").write_text("one file, called so")
    assert Files(root).open("a, b.csv", "points", HERE).data


def test_without_a_job_no_job_file_is_spoken_of(root: Path) -> None:
    assert "job file" in hint(Files(root), "zzzzzz.zzz")
    said = hint(Files(root, of_job=False), "zzzzzz.zzz")
    assert said == "in this folder there are: alone.csv"
    said = hint(Files(root, of_job=False), "nowhere/zzz")
    assert said == 'there is no folder "nowhere" there'


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("job.toml.txt", 'there is "job.toml.txt": name it job.toml; the system may hide'),
        ("Job.TOML", 'there is "Job.TOML": name it job.toml, in small letters'),
        ("job.txt", 'there is "job.txt": name it job.toml'),
        ("site.toml", 'if "site.toml" is the job file, name the file itself'),
        ("other.txt", "give the folder that holds job.toml"),
    ],
)
def test_a_job_file_under_another_name_is_found(tmp_path: Path, name: str, says: str) -> None:
    (tmp_path / name).write_text("")
    if (tmp_path / "job.toml").exists():
        pytest.skip("this file system takes upper and lower case for one name")
    with pytest.raises(InputError) as caught:
        find_job(tmp_path)
    (problem,) = caught.value.problems
    assert problem.slug == "no-job"
    assert problem.hint.startswith(says)
