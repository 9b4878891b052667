"""README and DEVELOPERS hold: commands, options, exit statuses, messages, files they name."""

import argparse
import ast
import re
import subprocess
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import pytest

from checker import __version__
from checker.cli import main, parser
from checker.read.files import Source
from checker.read.job import _SECTIONS, read_job
from checker.read.job_tolerances import _USABLE

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
KEBAB = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


def chapter(title: str, text: str = README) -> str:
    found = re.search(rf"^## {re.escape(title)}$(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL)
    assert found, title
    return found[1]


def listed(title: str) -> set[str]:
    """Return what stands first in the rows of the tables of a chapter."""
    return set(re.findall(r"^\| `([^`]+)` \|", chapter(title), re.MULTILINE))


# --- commands -------------------------------------------------------------------------------------


def test_the_readme_opens_with_exactly_two_commands() -> None:
    commands = blocks("sh")
    assert len(commands) == 2
    assert all(len(command.strip().splitlines()) == 1 for command in commands)
    assert "checker build demo_job" in commands[0]
    assert "-m pytest" in commands[1]


@pytest.mark.parametrize("command", blocks("sh"))
def test_a_command_is_sound_shell(command: str) -> None:
    subprocess.run(["bash", "-n", "-c", command], check=True)


@pytest.mark.parametrize(("status", "whole"), [(0, 0), (1, 0), (2, 1), (3, 1), (130, 1)])
def test_the_first_command_fails_only_where_the_demonstration_could_not_be_built(
    status: int, whole: int
) -> None:
    command = blocks("sh")[0].strip()
    tail = command[command.index("{") :].replace(".venv/bin/checker build demo_job", "status")
    shell = f"status() {{ return {status}; }}; {tail}"
    assert subprocess.run(["bash", "-c", shell], check=False).returncode == whole


def test_the_ci_runs_the_readme_commands() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    subprocess.run(["bash", "-n", "-c", script], check=True)
    assert "README.md" in script


def test_the_example_job_is_a_job() -> None:
    example = blocks("toml")[0]
    job = read_job(Source(path="job.toml", data=example.encode()), Path())
    assert [check.name for check in job.checks] == ["Footing corners"]


def options() -> Iterator[tuple[str, str]]:
    """Yield every command and every option that it has."""
    for action in parser()._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, command in action.choices.items():
                for option in command._actions:
                    for flag in option.option_strings:
                        yield name, flag


def test_every_option_is_documented() -> None:
    said = set(re.findall(r"--[a-z][a-z-]+", chapter("Commands")))
    there = {flag for _, flag in options() if flag.startswith("--")} | {"--version"}
    assert there == said


def test_every_command_is_documented() -> None:
    for name in {name for name, _ in options()}:
        assert f"`checker {name} " in chapter("Commands")


@pytest.mark.parametrize("arguments", [["--version"], ["--help"], ["build", "--help"]])
def test_what_a_reader_tries_first(arguments: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "checker", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip()
    if arguments == ["--version"]:
        assert __version__ in done.stdout


@pytest.mark.parametrize(
    ("arguments", "status"), [(["check", "demo_job"], 1), (["check", "no-such-folder"], 2)]
)
def test_the_exit_status_is_the_one_that_is_documented(
    arguments: list[str],
    status: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(ROOT)
    assert main(arguments) == status
    capsys.readouterr()
    assert f"| {status} |" in chapter("Commands")


# --- the job file ---------------------------------------------------------------------------------


def test_every_section_of_the_job_file_is_documented() -> None:
    said = re.findall(r"^### \[+([a-z_]+)(?:\.NAME)?\]+$", chapter("The job file"), re.MULTILINE)
    assert set(said) == set(_SECTIONS)


def known_keys(section: str) -> list[str]:
    """Return the keys that a section knows: those that the reader asks its table for."""
    functions = {
        node.name: node
        for path in sorted((ROOT / "checker" / "read").glob("job*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef)
    }
    asked = {"text", "choice", "date", "file", "files", "texts", "number", "whole", "flag"}
    asked |= {"parsed", "parsed_list", "one_of", "table", "tables", "has"}
    keys: set[str] = set()
    waiting, seen = [_SECTIONS[section].read.__name__], set()
    while waiting:
        name = waiting.pop()
        if name in seen or name not in functions:
            continue
        seen.add(name)
        for node in ast.walk(functions[name]):
            if not isinstance(node, ast.Call):
                continue
            if isinstance(node.func, ast.Name):
                waiting.append(node.func.id)
                texts = [a.value for a in node.args if isinstance(a, ast.Constant)]
                keys |= {text for text in texts if isinstance(text, str)}
            elif isinstance(node.func, ast.Attribute) and node.func.attr in asked and node.args:
                first = node.args[0]
                if isinstance(first, ast.Constant) and isinstance(first.value, str):
                    keys.add(first.value)
    return sorted(key for key in keys if re.fullmatch(r"[a-z][a-z_0-9]*", key))


@pytest.mark.parametrize("section", sorted(_SECTIONS))
def test_every_key_of_a_section_is_documented(section: str) -> None:
    keys = known_keys(section)
    assert keys
    words = set(re.findall(r"[a-z_0-9]+", chapter("The job file")))
    assert not [key for key in keys if key not in words]


@pytest.mark.parametrize("section", sorted(_SECTIONS))
def test_a_section_with_a_tolerance_says_what_it_can_limit(section: str) -> None:
    """Without its line there, a job that states a tolerance would end as a fault of ours."""
    assert ("tolerance" in known_keys(section)) == (section in _USABLE)


# --- messages -------------------------------------------------------------------------------------


def _texts(node: ast.expr) -> set[str]:
    """Return the texts that an expression can be: a constant, or the branches of a choice."""
    if isinstance(node, ast.IfExp):
        return _texts(node.body) | _texts(node.orelse)
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return {node.value} if KEBAB.fullmatch(node.value) else set()
    return set()


def _parameters(function: ast.FunctionDef) -> list[str]:
    names = [argument.arg for argument in (*function.args.posonlyargs, *function.args.args)]
    return names[1:] if names[:1] in (["self"], ["cls"]) else names


def _default_slugs(function: ast.FunctionDef) -> set[str]:
    given = function.args
    plain = [*given.posonlyargs, *given.args]
    pairs = [
        *zip(reversed(plain), reversed(given.defaults), strict=False),
        *zip(given.kwonlyargs, given.kw_defaults, strict=True),
    ]
    found = set()
    for argument, default in pairs:
        if argument.arg == "slug" and default is not None:
            found |= _texts(default)
    return found


def _places(functions: Iterable[ast.AST]) -> dict[str, set[int]]:
    """Return at which positions functions take a slug, by their names."""
    places: dict[str, set[int]] = {}
    for function in functions:
        if isinstance(function, ast.FunctionDef) and "slug" in _parameters(function):
            places.setdefault(function.name, set()).add(_parameters(function).index("slug"))
    return places


def _called_slugs(call: ast.Call, places: Mapping[str, set[int]]) -> set[str]:
    found = set()
    for keyword in call.keywords:
        if keyword.arg == "slug":
            found |= _texts(keyword.value)
    name = getattr(call.func, "id", getattr(call.func, "attr", ""))
    for place in places.get(name, ()):
        if len(call.args) > place:
            found |= _texts(call.args[place])
    return found


def _looped_slugs(loop: ast.For) -> set[str]:
    """Return the slugs of ``for slug, ... in (("a-slug", ...), ...)``."""
    found = set()
    if isinstance(loop.target, ast.Tuple) and isinstance(loop.iter, ast.Tuple | ast.List):
        for place, name in enumerate(loop.target.elts):
            if getattr(name, "id", "") == "slug":
                for row in loop.iter.elts:
                    if isinstance(row, ast.Tuple):
                        found |= _texts(row.elts[place])
    return found


def _tuple_slugs(parts: ast.Tuple) -> set[str]:
    """Return the slug of a fault that is handed on as (slug, message, hint)."""
    if len(parts.elts) != len(("slug", "message", "hint")):
        return set()
    message = parts.elts[1]
    is_text = isinstance(message, ast.JoinedStr) or (
        isinstance(message, ast.Constant) and " " in str(message.value)
    )
    return {text for text in _texts(parts.elts[0]) if "-" in text} if is_text else set()


def slugs_in_the_code() -> set[str]:
    """Return every slug that the code can write.

    That is what stands for `slug` in a call, by name or, where a function or method of ours takes
    one by position, at its place; what a parameter `slug` is if left out; what a loop over a
    written list gives; the first of a tuple of slug, message and hint; and what is assigned to
    `slug`. A function whose name begins with an underscore is looked for in its module.
    """
    found = set()
    paths = sorted((ROOT / "checker").rglob("*.py"))
    modules = [list(ast.walk(ast.parse(path.read_text(encoding="utf-8")))) for path in paths]
    everywhere = _places(node for module in modules for node in module)
    shared = {name: places for name, places in everywhere.items() if not name.startswith("_")}
    for module in modules:
        places = shared | _places(module)
        for node in module:
            if isinstance(node, ast.FunctionDef):
                found |= _default_slugs(node)
            elif isinstance(node, ast.Call):
                found |= _called_slugs(node, places)
            elif isinstance(node, ast.For):
                found |= _looped_slugs(node)
            elif isinstance(node, ast.Tuple):
                found |= _tuple_slugs(node)
            elif isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "slug":
                found |= _texts(node.value)
    return found


def test_the_search_for_slugs_sees_them() -> None:
    found = slugs_in_the_code()
    assert {"missing-file", "no-job", "job-syntax", "unknown-key"} <= found
    assert len(found) > 40


def test_every_message_is_documented_and_nothing_else() -> None:
    said, there = listed("Messages"), slugs_in_the_code()
    assert sorted(there - said) == []
    assert sorted(said - there) == []


def test_every_documented_message_has_its_line() -> None:
    rows = re.findall(r"^\| `[^`]+` \| (.*) \|$", chapter("Messages"), re.MULTILINE)
    assert len(rows) == len(listed("Messages"))
    assert all(len(row) > 15 for row in rows)


# --- DEVELOPERS -----------------------------------------------------------------------------------

INVENTED_PATHS = {
    "checker/checks/staircase.py",
    "checker/read/job_stairs.py",
    "tests/unit/checks/test_staircase.py",
}
"""Those of the guide's example."""


def test_every_path_that_the_guide_names_is_there() -> None:
    named = set(re.findall(r"`((?:checker|tests|site_templates|demo_job)/[\w./-]*)`", DEVELOPERS))
    assert len(named) > 20
    missing = [path for path in sorted(named - INVENTED_PATHS) if not (ROOT / path).exists()]
    assert not missing


def test_every_room_is_in_the_guide_and_in_the_contracts() -> None:
    contracts = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    for room in sorted((ROOT / "checker").iterdir()):
        name = room.name.removesuffix(".py")
        if name.startswith("__") or (room.is_dir() and not list(room.glob("*.py"))):
            continue
        if room.is_dir() or room.suffix == ".py":
            assert re.search(rf"`(checker/)?{name}(/|\.py)`", DEVELOPERS), name
            assert re.search(rf'"(checker\.)?{name}"|\b{name}\b', contracts), name


@pytest.mark.parametrize("library", ["ezdxf", "numpy", "scipy", "shapely", "pyproj", "rich"])
def test_every_library_has_its_reason(library: str) -> None:
    assert library in chapter("Libraries, and why", DEVELOPERS)
