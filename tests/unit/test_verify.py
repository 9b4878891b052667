"""`checker verify`: whether a report is still as it was written."""

import hashlib
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from checker.report.manifest import manifest
from checker.report.publish import publish
from checker.run import verify
from tests.support.damage import command

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def site(tmp_path: Path) -> Path:
    files = {"index.html": b"<!doctype html>", "deep/page.html": b"page", "results.json": b"{}"}
    files["manifest.json"] = manifest(files)
    publish(files, tmp_path / "site")
    return tmp_path / "site"


def test_a_report_as_it_was_written(site: Path) -> None:
    status, out, _ = command("verify", str(site))
    assert status == 0
    assert out.startswith(f"UNALTERED: {site.as_posix()} (3 files, 21 bytes")
    digest = hashlib.sha256((site / "manifest.json").read_bytes()).hexdigest()
    assert digest in out
    assert digest not in command("verify", str(site), "--quiet")[1]


def write(site: Path) -> None:
    (site / "index.html").write_bytes(b"<!doctype HTML>")


def cut(site: Path) -> None:
    (site / "index.html").write_bytes(b"")


def remove(site: Path) -> None:
    (site / "deep" / "page.html").unlink()


def add(site: Path) -> None:
    (site / "deep" / "more.html").write_bytes(b"")


def add_folder(site: Path) -> None:
    (site / "photos").mkdir()


def link(site: Path) -> None:
    shutil.move(site / "index.html", site.parent / "index.html")
    (site / "index.html").symlink_to(site.parent / "index.html")


def folder(site: Path) -> None:
    (site / "results.json").unlink()
    (site / "results.json").mkdir()
    (site / "results.json" / "x").write_bytes(b"")


CASES: tuple[tuple[Callable[[Path], None], set[str]], ...] = (
    (write, {"altered: index.html"}),
    (cut, {"altered: index.html"}),
    (remove, {"missing: deep/page.html", "added: deep/"}),
    (add, {"added: deep/more.html"}),
    (add_folder, {"added: photos/"}),
    (link, {"altered: index.html"}),
    (folder, {"missing: results.json", "added: results.json/x"}),
)


@pytest.mark.parametrize(("change", "said"), CASES, ids=[case[0].__name__ for case in CASES])
def test_every_change_is_named(site: Path, change: Callable[[Path], None], said: set[str]) -> None:
    change(site)
    status, out, _ = command("verify", str(site))
    *lines, verdict, _ = out.splitlines()
    assert status == 1
    assert set(lines) == said
    assert verdict.startswith("ALTERED: ")


def test_every_single_bit_is_seen(site: Path) -> None:
    path = site / "index.html"
    data = path.read_bytes()
    for bit in range(len(data) * 8):
        changed = bytearray(data)
        changed[bit // 8] ^= 1 << bit % 8
        path.write_bytes(changed)
        assert verify(site).altered == ("index.html",)
    path.write_bytes(data)
    assert verify(site).unaltered


@pytest.mark.parametrize(
    "text",
    [
        "", "[]", "{}", "null", '{"schema": 2, "files": []}', '{"schema": 1}', "\ud7ff", "[" * 9999,
        '{"schema": 1, "files": [{"path": "../x", "bytes": 1, "sha256": "%s"}]}' % ("0" * 64),
        '{"schema": 1, "files": [{"path": "/x", "bytes": 1, "sha256": "%s"}]}' % ("0" * 64),
        '{"schema": 1, "files": [{"path": "", "bytes": 1, "sha256": "%s"}]}' % ("0" * 64),
        '{"schema": 1, "files": [{"path": "x", "bytes": 1, "sha256": "no"}]}',
        '{"schema": 1, "files": [{"path": 3, "bytes": 1, "sha256": "%s"}]}' % ("0" * 64),
    ],
)  # fmt: skip
def test_what_is_no_manifest_is_refused(site: Path, text: str) -> None:
    (site / "manifest.json").write_text(text)
    status, out, err = command("verify", str(site))
    assert status == 2
    assert not out
    assert "[not-a-report]" in err


def test_a_folder_without_a_manifest_and_no_folder(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "nothing"):
        status, _, err = command("verify", str(path))
        assert status == 2
        assert "there is no manifest.json" in err


def test_anyone_can_verify_without_this_program(site: Path) -> None:
    """The README's two lines, as they stand there."""
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    line = r"^    python3 -c '(import json;.*)' \| sha256sum --check$"
    found = re.search(line, readme, re.MULTILINE)
    assert found, "the README shows how to verify a report without this program"

    def check() -> int:
        lines = subprocess.run(
            [sys.executable, "-c", found[1]], cwd=site, capture_output=True, check=True
        )
        return subprocess.run(
            ["sha256sum", "--check"], cwd=site, input=lines.stdout, capture_output=True, check=False
        ).returncode

    assert check() == 0
    write(site)
    assert check() == 1


def test_the_manifest_of_a_built_report_is_plain(site: Path) -> None:
    document = json.loads((site / "manifest.json").read_text())
    assert set(document) == {"schema", "files"}
    assert all(set(entry) == {"path", "bytes", "sha256"} for entry in document["files"])
