"""Damaged files before every reader and every command: an answer or a message, never anything else.

`python -m tests.bench.fuzz` runs many more of the same trials. What they found stands below by its
number, and where the bytes of a trial changed since, as a test of its own.
"""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from checker.errors import InputError
from checker.run import check
from tests.support.damage import TRIALS, command, run_trial, sound, whole
from tests.support.small_jobs import small_jobs

pytestmark = pytest.mark.property

numbers = st.integers(0, 10**9)
many = settings(suppress_health_check=list(HealthCheck))
few = settings(many, max_examples=15)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


def trial(kind: str, number: int, place: Path) -> None:
    folder = place / kind
    folder.mkdir(exist_ok=True)
    run_trial(kind, number, folder)


@many
@given(st.sampled_from(["table", "job", "drawing"]), numbers)
def test_a_damaged_file_is_read_or_refused(place: Path, kind: str, number: int) -> None:
    trial(kind, number, place)


@few
@given(st.sampled_from(["whole", "build"]), numbers)
def test_a_damaged_job_gives_a_whole_report_or_none(place: Path, kind: str, number: int) -> None:
    trial(kind, number, place)


@few
@given(st.sampled_from(["show", "new"]), numbers)
def test_a_damaged_file_is_shown_or_refused(place: Path, kind: str, number: int) -> None:
    trial(kind, number, place)


def test_every_kind_of_trial_is_tried() -> None:
    assert set(TRIALS) == {"table", "job", "drawing", "whole", "build", "show", "new"}


@pytest.mark.parametrize("job", sorted(small_jobs()))
def test_undamaged_they_are_sound(job: str, tmp_path: Path) -> None:
    for name, data in small_jobs()[job].items():
        (tmp_path / name).write_bytes(data)
    status, _, err = command("check", str(tmp_path))
    assert status in {0, 1}, err


# ---------------------------------------------------------------- found so


def changed(folder: Path, job: str, file: str, old: str, new: str) -> Path:
    for name, data in small_jobs()[job].items():
        text = data.decode()
        assert name != file or old in text
        (folder / name).write_text(text.replace(old, new) if name == file else text)
    return folder


FOUND = (
    ("road", "job.toml", "hinge = 4.0", "hinge = 999999999999999999"),
    ("road", "profile.csv", "0+040,10.80,20\n0+120,10.30,\n", ""),
    ("closures", "vectors.csv", "100.004,0.000", "100.004,-1e308"),
    ("closures", "vectors.csv", "-80.003,-0.803", "-80.003,-"),
    ("road", "job.toml", "start = 0\n", "start = 1e400\n"),
    ("points", "control.csv", "id,northing", "id,\x1b[2J"),
    ("points", "job.toml", 'title = "Invented corners"', 'title = "\\u001b[2JWITHIN: all\\n"'),
)


@pytest.mark.parametrize("case", FOUND)
def test_what_was_found_stays_mended(case: tuple[str, str, str, str], tmp_path: Path) -> None:
    folder = tmp_path / "job"
    folder.mkdir()
    changed(folder, *case)
    try:
        check(folder)
    except InputError as fault:
        sound(fault)
    status, out, err = command("build", str(folder), "--out", str(tmp_path / "site"))
    assert status in {0, 1, 2}, err
    assert "\x1b" not in out + err
    if status < 2:
        whole({path.name: path.read_bytes() for path in (tmp_path / "site").iterdir()})


@pytest.mark.parametrize("opening", ["[", '{"a":', "[[", "{ a = "])
def test_nesting_without_end_is_refused(opening: str, tmp_path: Path) -> None:
    deep = opening * 100_000
    folder = changed(tmp_path, "points", "job.toml", "notes.md", "notes.md")
    (folder / "shots.csv").write_text('{"type": "FeatureCollection", "features": ' + deep)
    assert command("check", str(folder))[0] == 2
    assert command("show", str(folder / "shots.csv"))[0] in {0, 2}
    (folder / "job.toml").write_text("x = " + deep)
    assert command("check", str(folder))[0] == 2
    (folder / "manifest.json").write_text(deep)
    for line in (("verify", str(folder)), ("compare", str(folder), str(folder))):
        assert command(*line)[0] == 2
