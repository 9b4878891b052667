"""Files that are larger, deeper or denser than any job's are refused or shown plainly, at once."""

import json
import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from checker import cli
from checker.read import decoding
from checker.read.files import MAX_FILES
from checker.report import notes
from checker.report.notes import notes_html
from tests.support.damage import command
from tests.support.small_jobs import small_jobs

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    folder.mkdir()
    for name, data in small_jobs()["points"].items():
        (folder / name).write_bytes(data)
    return folder


@pytest.mark.parametrize(
    ("name", "size"), [("job.toml", 5 << 20), ("notes.md", 5 << 20), ("shots.csv", (1 << 30) + 1)]
)
def test_a_file_that_is_too_large_is_not_read(job: Path, name: str, size: int) -> None:
    os.truncate(job / name, size)  # a hole: it takes no room
    status, _, err = command("check", str(job))
    assert status == 2
    assert "[file-too-large]" in err
    assert f"{size:,} bytes" in err


@pytest.mark.parametrize("name", ["shots.csv", "design.csv"])
def test_a_table_of_too_many_lines_is_not_split(
    job: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(decoding, "MAX_LINES", 5)
    status, _, err = command("check", str(job))
    assert status == 2
    assert f"{name}: the table has" in err
    assert "at most 5 are read [table-too-large]" in err
    assert "hint: split the file" in err


def test_a_table_of_millions_of_lines_is_refused(job: Path) -> None:
    """Only the line ends are counted, so it takes a moment."""
    (job / "shots.csv").write_bytes(b"id,northing,easting\n" + b"\n" * decoding.MAX_LINES)
    status, _, err = command("check", str(job))
    assert status == 2
    assert "[table-too-large]" in err
    assert "5,000,001 lines" in err


def test_a_table_of_too_many_columns_is_refused(job: Path) -> None:
    head = ",".join(["id", "northing", "easting", *(f"x{k}" for k in range(decoding.MAX_COLUMNS))])
    row = ",".join(["1"] * (decoding.MAX_COLUMNS + 3))
    (job / "shots.csv").write_text(f"{head}\n{row}\n")
    status, _, err = command("check", str(job))
    assert status == 2
    assert "1,003 columns; at most 1,000 are read [table-too-large]" in err


def test_fields_that_differ_from_point_to_point_make_no_table_of_their_square(job: Path) -> None:
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [8.0, 50.0]},
            "properties": {f"x{number}": 1},
        }
        for number in range(decoding.MAX_COLUMNS + 1)
    ]
    text = json.dumps({"type": "FeatureCollection", "features": features})
    (job / "shots.csv").write_text(text)
    status, _, err = command("show", str(job / "shots.csv"))
    assert status == 2
    assert "[table-too-large]" in err


def test_a_job_of_too_many_files_says_so_once(job: Path) -> None:
    names = [f"{number}.csv" for number in range(MAX_FILES + 50)]
    for name in names:
        (job / name).write_text("id,northing,easting,elevation\n1,100,200,50\n")
    text = (job / "job.toml").read_text().replace('["shots.csv"]', json.dumps(names))
    (job / "job.toml").write_text(text)
    status, _, err = command("check", str(job))
    assert status == 2
    assert err.count(f"names more than {MAX_FILES} files [too-many-files]") == 1
    assert "hint: join the tables" in err


THICKETS = (
    "[", "![", "``a`", "*a", "*a **b", "> ", "[a](", "# a\n", "=\n", "\\*", "> > ", "1. a\n",
    " - a\n", "|a|b|\n|-|-|\n", "\n", "<div>", "_a", "`",
)  # fmt: skip


@pytest.mark.parametrize("gap", [0, 480])
@pytest.mark.parametrize("unit", THICKETS)
def test_no_notes_take_for_ever(unit: str, gap: int) -> None:
    text = unit * (notes.LONGEST // len(unit))
    if gap:
        text = (text[:gap] + "\n\n") * (notes.LONGEST // (gap + 2))
    before = time.process_time()

    def stop(*_: object) -> None:
        raise TimeoutError(f"{unit!r} still being set after 30 s")

    signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, 30)
    try:
        notes_html(text)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    assert time.process_time() >= before


def test_notes_that_are_too_much_are_shown_as_written() -> None:
    text = "[" * 1000 + "<b>bold</b>\u202e"
    shown = str(notes_html(text))
    assert shown == f"<pre>{'[' * 1000}&lt;b&gt;bold&lt;/b&gt;\N{REPLACEMENT CHARACTER}</pre>"
    long = "word " * (notes.LONGEST // 5 + 1)
    assert str(notes_html(long)) == f"<pre>{long}</pre>"
    usual = "# Monday\n\n" + "- set **101** to `104`, see [plan](https://example.org)\n" * 60
    assert "<strong>101</strong>" in str(notes_html(usual))


def test_too_little_memory_is_a_message(
    job: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(*_: object, **__: object) -> None:
        raise MemoryError

    monkeypatch.setattr("checker.run.check", full)
    assert cli.main(["check", str(job)]) == 2
    err = capsys.readouterr().err
    assert "not enough memory" in err
    assert "hint: end other programs" in err


def test_too_little_memory_really(job: Path, tmp_path: Path) -> None:
    """A table of 200 MB where a process may have 300 MB beyond what it takes to begin."""
    if sys.platform != "linux":
        pytest.skip("the limit on memory is Linux's")
    row = b"X1;100.004;199.997;50.005;HUB;fixed;14;1.6;1;0.004;0.004;0.008;2 m;B1;am;\n"
    with (job / "shots.csv").open("ab") as file:
        for _ in range(100):
            file.write(row * 30_000)

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))

    done = subprocess.run(
        [sys.executable, "-m", "checker", "build", job, "--out", tmp_path / "site"],
        cwd=ROOT,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=limit,
        timeout=300,
    )
    assert done.returncode == 2, done.stderr[-2000:]
    assert "not enough memory" in done.stderr
    assert not (tmp_path / "site").exists()


@pytest.mark.parametrize("length", ["1e11", "999999999999999999", '"1e14 mm"', '"40000000 mi"'])
def test_a_length_beyond_the_earth_is_refused(job: Path, length: str) -> None:
    text = (job / "job.toml").read_text()
    text = text.replace('match = "nearest"', f'match = "nearest"\nwithin = {length}')
    (job / "job.toml").write_text(text)
    status, _, err = command("check", str(job))
    assert status == 2
    assert "longer than anything on earth" in err
