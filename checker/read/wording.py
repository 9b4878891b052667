"""A file of texts that the pages show instead of the English ones."""

import re
import tomllib
from pathlib import Path

from checker.errors import InputError, Problem, Where
from checker.model.wording import Wording
from checker.read.files import Files, Source

_LANGUAGE = re.compile(r"[A-Za-z]{2,3}(?:-[A-Za-z0-9]{2,8})*")
_PLACE = re.compile(r"\{(\d)\}")
_LINE = re.compile(r"line (\d+)")


def open_wording(path: Path) -> Wording:
    """Return the wording in a file that no job names; raises InputError."""
    files = Files(path.parent, allow_outside=True)
    return read_wording(files.open(path.name, "wording", Where(file=str(path))))


def read_wording(source: Source) -> Wording:
    """Return the wording; raises InputError with every fault of the file."""
    try:
        document = tomllib.loads(source.data.decode("utf-8-sig").replace("\r\n", "\n"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as fault:
        found = _LINE.search(str(fault))
        raise InputError(
            [_problem(source, f"it is no TOML: {fault}", found and int(found[1]))]
        ) from (fault)
    problems = [
        _problem(source, f'"{key}" stands in it, where language and [texts] are expected')
        for key in document
        if key not in ("language", "texts")
    ]
    language, texts = document.get("language", "en"), document.get("texts", {})
    if not isinstance(language, str) or not _LANGUAGE.fullmatch(language):
        problems.append(_problem(source, f'language is "{language}", not a code such as "de"'))
    if not isinstance(texts, dict):
        problems.append(_problem(source, "texts is no table of texts"))
        texts = {}
    for key, text in texts.items():
        if not isinstance(text, str):
            problems.append(_problem(source, f'what stands for "{key}" is no text'))
        elif text and not set(_PLACE.findall(text)) <= set(_PLACE.findall(key)):
            problems.append(_problem(source, f'"{text}" has a place that "{key}" does not have'))
    if problems:
        raise InputError(problems)
    return Wording(language=str(language), texts=dict(texts))


def _problem(source: Source, message: str, line: int | None = None) -> Problem:
    return Problem(
        slug="wording",
        where=Where(file=source.path, line=line),
        message=message,
        hint="begin with a copy of checker/report/wording.toml and change what stands behind =",
    )
