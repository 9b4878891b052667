"""What goes wrong around the program: killed, interrupted, a full disk, two runs at once.

The program is really killed and the disk really filled. Where the system does not let a test mount
a small disk, its test says so and is left out.
"""

from __future__ import annotations

import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Self

import pytest

from checker.run import verify
from tests.support.damage import command, folder_files, whole
from tests.support.small_jobs import small_jobs

ROOT = Path(__file__).resolve().parents[2]
KILLS = int(os.environ.get("CHECKER_KILLS", "100"))
"""How often a run is killed; fewer would prove less, more take longer."""
CHECKER = (sys.executable, "-m", "checker")

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and mounts as POSIX has them")


def write(folder: Path, title: str = "Invented corners", job: str = "points") -> Path:
    folder.mkdir(parents=True)
    for name, data in small_jobs()[job].items():
        (folder / name).write_bytes(data.replace(b"Invented corners", title.encode()))
    return folder


@pytest.fixture
def jobs(tmp_path: Path) -> tuple[Path, Path]:
    return write(tmp_path / "a", "First"), write(tmp_path / "b", "Second")


@pytest.fixture
def quick_jobs(jobs: tuple[Path, Path]) -> tuple[Path, Path]:
    """Return jobs of one check: most of a build is writing, where a kill does most harm."""
    for folder in jobs:
        title = re.findall(r'title = "(.*)"', (folder / "job.toml").read_text())[0]
        (folder / "job.toml").write_text(
            f'[job]\ntitle = "{title}"\nunit = "metre"\n[design]\npoints = "design.csv"\n'
            '[measured]\nfiles = ["shots.csv"]\n'
            '[[stakeout]]\nname = "Corners"\ntolerance = { horizontal = "20 mm" }\n'
        )
    return jobs


def built(*arguments: str | Path) -> int:
    return command("build", *(str(each) for each in arguments))[0]


def title(site: Path) -> str:
    """Return the title of a report that is whole."""
    assert verify(site).unaltered
    found: str = whole(folder_files(site))["job"]["title"]
    return found


def run(
    *arguments: str | Path, limit: Callable[[], None] | None = None, **more: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*CHECKER, *(str(each) for each in arguments)],
        cwd=ROOT,
        env={**os.environ, **more},
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=limit,
        timeout=120,
    )


# ---------------------------------------------------------------- killed


class Killer:
    """Starts runs that never end, and kills them."""

    def __init__(self, site: Path, jobs: tuple[Path, Path], *flags: str) -> None:
        self.program = subprocess.Popen(
            [sys.executable, "-m", "tests.support.kills", site, *jobs, *flags],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.program.stdout is not None
        self.build_s = float(self.program.stdout.readline())

    def kill_one(self, chance: random.Random) -> None:
        """Kill a run at a random moment of its first two builds."""
        after_s = chance.uniform(0.0, 2.0 * self.build_s)
        assert self.program.stdin is not None
        assert self.program.stdout is not None
        self.program.stdin.write("\n")
        self.program.stdin.flush()
        child = int(self.program.stdout.readline())
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
        assert self.program.stdout.readline() == "gone\n"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        assert self.program.stdin is not None
        assert self.program.stdout is not None
        self.program.stdin.close()
        self.program.wait(30)
        self.program.stdout.close()


def test_whenever_a_run_is_killed_a_whole_report_stands(
    tmp_path: Path, quick_jobs: tuple[Path, Path]
) -> None:
    jobs, site = quick_jobs, tmp_path / "out" / "site"
    assert built(jobs[0], "--out", site) == 1
    chance = random.Random(1)
    litter, seen = 0, set()
    with Killer(site, jobs) as killer:
        for _ in range(KILLS):
            killer.kill_one(chance)
            seen.add(title(site))
            litter += len(list(site.parent.iterdir())) > 1
    assert litter, "no run was killed while it wrote"
    assert seen == {"First", "Second"}
    assert built(jobs[0], "--out", site) == 1
    assert [path.name for path in site.parent.iterdir()] == ["site"]
    assert title(site) == "First"


def test_where_folders_are_renamed_the_next_run_mends_what_a_killed_one_left(
    tmp_path: Path, quick_jobs: tuple[Path, Path]
) -> None:
    jobs, site = quick_jobs, tmp_path / "out" / "site"
    assert built(jobs[0], "--out", site) == 1
    chance = random.Random(2)
    with Killer(site, jobs, "--renaming") as killer:
        for _ in range(max(10, KILLS // 5)):
            killer.kill_one(chance)
            aside = [path for path in site.parent.iterdir() if ".old-" in path.name]
            assert title(site if site.exists() else aside[0]) in {"First", "Second"}
    assert built(jobs[1], "--out", site) == 1
    assert [path.name for path in site.parent.iterdir()] == ["site"]
    assert title(site) == "Second"


@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_an_interrupt_leaves_no_litter_and_no_traceback(
    tmp_path: Path, jobs: tuple[Path, Path], number: signal.Signals, status: int
) -> None:
    site = tmp_path / "out" / "site"
    assert built(jobs[0], "--out", site) == 1
    # A pipe for a job file would be refused, so a slow job it is: as many shots as take a while.
    shots = (jobs[1] / "shots.csv").read_text()
    head, *rows = shots.splitlines()
    many = [f"X{k}{rows[6][1:]}" for k in range(30_000)]
    (jobs[1] / "shots.csv").write_text("\n".join((head, *rows, *many)) + "\n")
    program = subprocess.Popen(
        [*CHECKER, "build", jobs[1], "--out", site],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert program.stderr is not None
    first = program.stderr.readline()  # it works, and tells so after a second
    program.send_signal(number)
    _, err = program.communicate(timeout=60)
    assert first.strip(), "it ended before it could be interrupted"
    assert program.returncode == status
    assert "Traceback" not in err
    assert "whole" in err
    assert title(site) == "First"
    assert [path.name for path in site.parent.iterdir()] == ["site"]


# ---------------------------------------------------------------- several at once


def test_several_runs_at_once_leave_one_whole_report(
    tmp_path: Path, jobs: tuple[Path, Path]
) -> None:
    site = tmp_path / "out" / "site"
    programs = [
        subprocess.Popen(
            [*CHECKER, "build", jobs[number % 2], "--out", site, "--quiet"],
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(6)
    ]
    ends = [(program.communicate(timeout=120)[1], program.returncode) for program in programs]
    assert ends == [("", 1)] * len(programs)
    assert title(site) in {"First", "Second"}
    assert [path.name for path in site.parent.iterdir()] == ["site"]


def three(tmp_path: Path) -> list[Path]:
    return [write(tmp_path / "jobs" / name, name) for name in ("one", "two", "three")]


def test_jobs_built_beside_each_other_and_killed_leave_whole_reports(tmp_path: Path) -> None:
    """The runs that the killed one began may go on: each report is whole whenever it is there."""
    jobs, out = three(tmp_path), tmp_path / "out"
    assert built(*jobs, "--out", out) == 1
    chance = random.Random(3)
    for _ in range(max(4, KILLS // 20)):
        program = subprocess.Popen(
            [*CHECKER, "build", *jobs, "--out", out, "--quiet"],
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        time.sleep(chance.uniform(0.2, 2.0))
        os.killpg(program.pid, signal.SIGKILL)
        program.wait(30)
        assert [title(out / job.name) for job in jobs] == [job.name for job in jobs]
    assert built(*jobs, "--out", out) == 1
    assert sorted(path.name for path in out.iterdir()) == ["one", "three", "two"]


def test_jobs_built_beside_each_other_and_interrupted_leave_no_litter(tmp_path: Path) -> None:
    jobs, out = three(tmp_path), tmp_path / "out"
    assert built(*jobs, "--out", out) == 1
    for after in (0.6, 1.2):
        program = subprocess.Popen(
            [*CHECKER, "build", *jobs, "--out", out, "--quiet"],
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        time.sleep(after)
        program.send_signal(signal.SIGINT)
        _, err = program.communicate(timeout=60)
        # 1 where it was done already; nothing of ours runs yet while Python itself begins.
        assert program.returncode in {130, 1, -signal.SIGINT}, err
        assert "main(" not in err
        assert [title(out / job.name) for job in jobs] == [job.name for job in jobs]
        assert sorted(path.name for path in out.iterdir()) == ["one", "three", "two"]


# ---------------------------------------------------------------- the disk


def in_own_mounts(script: str, *arguments: Path) -> str:
    """Run a script that may mount what nobody else sees; skip where the system forbids it."""
    if shutil.which("unshare") is None:
        pytest.skip("no unshare here, so no disk of its own for the test")
    wrap = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-euc"]
    tried = subprocess.run([*wrap, "mount -t tmpfs tmpfs /mnt"], capture_output=True, check=False)
    if tried.returncode:
        wrap = ["unshare", "--mount", "sh", "-euc"]
        tried = subprocess.run(
            [*wrap, "mount -t tmpfs tmpfs /mnt"], capture_output=True, check=False
        )
    if tried.returncode:
        pytest.skip("the system lets no test mount a disk of its own")
    done = subprocess.run(
        [*wrap, script, "sh", sys.executable, *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


SAY = 'py=$1; say() { set +e; "$py" -m checker "$@" 2>&1; echo "status $?"; set -e; }\n'


def test_a_full_disk_leaves_the_old_report_and_nothing_else(
    tmp_path: Path, jobs: tuple[Path, Path]
) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    script = (
        SAY
        + """
mount -t tmpfs -o size=8m tmpfs "$2"
say build "$3" --out "$2/site" --quiet
for spare in 0 40 400; do
  rm -f "$2/filler"; cat /dev/zero > "$2/filler" 2>/dev/null || true
  truncate -s "-${spare}K" "$2/filler"
  say build "$4" --out "$2/site"
  say verify "$2/site" --quiet
  ls -A "$2"
done
"""
    )
    said = in_own_mounts(script, disk, *jobs).splitlines()
    assert said.count("status 2") == 3, said
    assert said.count("status 0") == 3, said
    assert said.count("filler") == said.count("site") == 3, said
    assert sum("No space left" in line for line in said) == 3, said
    assert not [line for line in said if ".site" in line and "written" not in line], said


def test_a_file_size_limit_leaves_the_old_report(tmp_path: Path, jobs: tuple[Path, Path]) -> None:
    site = tmp_path / "out" / "site"
    assert built(jobs[0], "--out", site) == 1

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    done = run("build", jobs[1], "--out", site, limit=limit)
    assert done.returncode == 2, done.stderr
    assert "File too large" in done.stderr
    assert title(site) == "First"
    assert [path.name for path in site.parent.iterdir()] == ["site"]


def test_a_read_only_folder_is_a_message(tmp_path: Path, jobs: tuple[Path, Path]) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    assert built(jobs[0], "--out", disk / "site") == 1
    script = (
        SAY
        + """
mount --bind "$2" "$2"
mount -o remount,ro,bind "$2"
say build "$3" --out "$2/site"
say build "$3" --out "$2/new/place"
say verify "$2/site" --quiet
"""
    )
    said = in_own_mounts(script, disk, jobs[1])
    assert said.count("Read-only file system") == 2, said
    assert said.count("status 2") == 2, said
    assert said.count("status 0") == 1, said
    assert title(disk / "site") == "First"


def test_another_disk_than_that_of_the_temporary_files(
    tmp_path: Path, jobs: tuple[Path, Path]
) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    script = (
        SAY
        + """
mount -t tmpfs -o size=20m tmpfs "$2"
say build "$3" --out "$2/site" --quiet
say build "$4" --out "$2/site" --quiet
say verify "$2/site" --quiet
say build "$3" --out "$2"
ls -A "$2"
"""
    )
    said = in_own_mounts(script, disk, *jobs).splitlines()
    assert said.count("status 1") == 2, said
    assert sum("root of a drive" in line for line in said) == 1, said
    assert said.count("status 0") == 1, said
    assert said[-1] == "site"


def test_what_is_printed_to_a_full_disk_is_a_message(jobs: tuple[Path, Path]) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [*CHECKER, "check", jobs[0], "--json"],
            cwd=ROOT,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert "No space left" in done.stderr
    assert "Traceback" not in done.stderr


def test_nobody_reads_on(jobs: tuple[Path, Path]) -> None:
    line = f"{sys.executable} -m checker check {jobs[0]} --json --quiet | head -c 10 > /dev/null"
    done = subprocess.run(["sh", "-c", line], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.stderr == ""


# ---------------------------------------------------------------- clocks, names, paths


def test_a_wrong_clock_changes_nothing(tmp_path: Path, jobs: tuple[Path, Path]) -> None:
    site = tmp_path / "out" / "site"
    assert built(jobs[0], "--out", site) == 1
    before = folder_files(site)
    for seconds in (0, 4_102_444_800):
        for path in (*jobs[0].iterdir(), *site.iterdir(), site, jobs[0]):
            os.utime(path, (seconds, seconds))
        done = run(
            "build", jobs[0], "--out", site, SOURCE_DATE_EPOCH=str(seconds), TZ="Pacific/Apia"
        )
        assert done.returncode == 1
        assert folder_files(site) == before


def test_a_folder_renamed_between_builds(tmp_path: Path, jobs: tuple[Path, Path]) -> None:
    site, moved = tmp_path / "out" / "site", tmp_path / "out" / "week 12"
    assert built(jobs[0], "--out", site) == 1
    site.rename(moved)
    assert built(jobs[1], "--out", site) == 1
    assert built(jobs[1], "--out", moved) == 1
    assert title(site) == title(moved) == "Second"
    assert sorted(path.name for path in site.parent.iterdir()) == ["site", "week 12"]


NAMES = (
    "with space", " leading", "trailing ", "dots...", "Grabenstraße", "日本の現場", "👷", "e\u0301",
    "right\u202eleft", "new\nline", "quote\"'", "percent%20", "#anchor?", "-dash", "CON", "nul.txt",
    "a" * 255, "ü" * 127, "back\\slash", "tab\there", "\x1b[2J", "$HOME", "~", "<b>",
)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_any_name_of_a_folder_works(tmp_path: Path, name: str) -> None:
    job = write(tmp_path / "jobs" / name)
    site = tmp_path / "out" / name
    for _ in range(2):
        status, out, err = command("build", str(job), "--out", str(site))
        assert status == 1, err
        assert "\x1b" not in out
        assert out.count("\nreport: ") == 1
    title(site)
    assert [path.name for path in site.parent.iterdir()] == [name]
    for path in site.iterdir():  # on Windows too
        assert path.name == path.name.rstrip(". ")
        assert path.stem.lower() not in {"con", "nul", "aux", "prn", "com1", "lpt1"}
        assert path.name.isascii()


def test_a_name_that_is_no_text(tmp_path: Path) -> None:
    name = os.fsdecode(b"caf\xe9")
    try:
        job = write(tmp_path / name)
    except OSError:
        pytest.skip("this file system takes names in UTF-8 only")
    (job / "job.toml").write_bytes((job / "job.toml").read_bytes())
    site = tmp_path / "out" / name
    done = run("build", job, "--out", site)
    assert done.returncode == 1, done.stderr
    title(site)
    done = run("new", tmp_path / (name + "new"), "--drawing", job / "design.csv", "--points",
               job / "shots.csv")  # fmt: skip
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("command_line", [
    ("build", "{}"), ("check", "{}"), ("show", "{}"), ("verify", "{}"), ("compare", "{}", "{}"),
    ("new", "{}", "--drawing", "{}", "--points", "{}"),
])  # fmt: skip
@pytest.mark.parametrize(
    "path", ["x" * 256, "x/" * 2500, "/".join(["x" * 200] * 30), "/dev/null/x"]
)
def test_a_path_that_cannot_be_is_a_message(command_line: tuple[str, ...], path: str) -> None:
    status, _, err = command(*(each.format(path) for each in command_line))
    assert status == 2, err
    assert "Traceback" not in err
    assert err.strip()


@pytest.mark.parametrize(
    "path", ["x" * 256, "x/" * 2500, "/".join(["x" * 200] * 30), "/dev/null/x"]
)
def test_a_report_where_none_can_be_is_a_message(jobs: tuple[Path, Path], path: str) -> None:
    status, _, err = command("build", str(jobs[0]), "--out", str(jobs[0].parent / path))
    assert status == 2, err
    assert "could not be written" in err


MADE: dict[str, Callable[[Path], None]] = {
    "pipe": os.mkfifo,
    "device": lambda path: path.symlink_to("/dev/zero"),
    "loop": lambda path: path.symlink_to(path.name),
    "folder": Path.mkdir,
    "link outside": lambda path: path.symlink_to(path.parents[1] / "b" / "shots.csv"),
}


@pytest.mark.parametrize("kind", MADE)
def test_pipes_devices_and_loops_are_refused(kind: str, jobs: tuple[Path, Path]) -> None:
    shots = jobs[0] / "shots.csv"
    shots.unlink()
    MADE[kind](shots)
    status, _, err = command("check", str(jobs[0]))
    assert status == 2
    slugs = ("not-a-file", "outside-folder", "unreadable-file", "missing-file")
    assert any(slug in err for slug in slugs), err
    # Beside a job there is no folder to stay in: a link is followed to what it is.
    assert command("show", str(shots))[0] == (0 if kind == "link outside" else 2)
    assert command("verify", str(shots))[0] == 2
