"""The package works where the tree is not: built, installed in a fresh place, run elsewhere."""

import json
import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from collections.abc import Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

pytestmark = pytest.mark.package


def run(
    *command: str | Path, cwd: Path, env: Mapping[str, str] | None = None, status: int = 0
) -> str:
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env=dict(env or os.environ),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == status, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def distributions(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the source archive, and the wheel from it, as an index would get them."""
    target = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", target, cwd=ROOT)
    return target


@pytest.fixture(scope="module")
def installed(distributions: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the wheel alone; the libraries are those of the running environment."""
    place = tmp_path_factory.mktemp("fresh") / "env"
    venv.create(place, with_pip=False)
    scripts = place / ("Scripts" if os.name == "nt" else "bin")
    wheel = next(distributions.glob("*.whl"))
    pip = (sys.executable, "-m", "pip", "--python", scripts / "python")
    run(*pip, "install", "--no-deps", "--no-index", wheel, cwd=place)
    # A plain line of a .pth file adds the folder and runs none of the .pth files in it, so that the
    # tree, which is installed there as editable, stays out of sight.
    where = "import sysconfig; print(sysconfig.get_path('purelib'))"
    packages = run(scripts / "python", "-c", where, cwd=place).strip()
    libraries = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    (Path(packages) / "libraries.pth").write_text("\n".join(sorted(libraries)), encoding="utf-8")
    return scripts


def test_the_wheel_holds_the_program_and_its_templates_only(distributions: Path) -> None:
    with zipfile.ZipFile(next(distributions.glob("*.whl"))) as wheel:
        names = wheel.namelist()
    top = {name.split("/")[0] for name in names if ".dist-info" not in name}
    assert top == {"checker"}
    templates = {name for name in names if name.startswith("checker/site_templates/")}
    sources = {
        f"checker/site_templates/{path.relative_to(ROOT / 'site_templates').as_posix()}"
        for path in (ROOT / "site_templates").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert templates == sources
    assert "checker/py.typed" in names
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_the_source_archive_holds_tests_and_demonstration_but_no_reports(
    distributions: Path,
) -> None:
    with tarfile.open(next(distributions.glob("*.tar.gz"))) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert {"README.md", "LICENSE", "demo_job/job.toml", "tests/test_wheel.py"} <= names
    assert not {name for name in names if name.startswith("output/") and name.endswith(".html")}


def test_the_installed_program_builds_the_same_report_elsewhere(
    installed: Path, tmp_path: Path
) -> None:
    shutil.copytree(ROOT / "demo_job", tmp_path / "demo_job")
    clean = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    where = "import checker; print(checker.__file__)"
    path = Path(run(installed / "python", "-c", where, cwd=tmp_path, env=clean).strip())
    assert path.is_relative_to(installed.parent)

    run(installed / "checker", "build", "demo_job", cwd=tmp_path, env=clean, status=1)
    there = tmp_path / "output" / "demo_job"
    assert (there / "index.html").is_file()

    here = tmp_path / "here"
    command = (sys.executable, "-m", "checker", "build", ROOT / "demo_job", "--out", here)
    run(*command, cwd=ROOT, env=clean, status=1)
    files = {p.relative_to(here): p.read_bytes() for p in here.rglob("*") if p.is_file()}
    assert files == {p.relative_to(there): p.read_bytes() for p in there.rglob("*") if p.is_file()}


def test_the_installed_program_is_a_module_too(installed: Path, tmp_path: Path) -> None:
    command = (installed / "python", "-m", "checker", "check", ROOT / "demo_job", "--json")
    document = json.loads(run(*command, cwd=tmp_path, status=1))
    assert document["verdict"] == "outside"
