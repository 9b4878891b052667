"""Published classes of closure: the tables of checker/standards, each with its source."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).resolve().parent.parent / "standards"
LIMITS: Final = ("angular", "ratio", "misclosure", "distance")


@cache
def closure_classes() -> dict[str, dict[str, str]]:
    """Return the classes by name: limits as a job would write them, words, source, seen, status."""
    text = (FOLDER / "closures.toml").read_text(encoding="utf-8")
    classes: dict[str, dict[str, str]] = tomllib.loads(text)["class"]
    return classes


def source_of(name: str) -> str:
    """Return the source of a class as it is printed with the tolerance."""
    found = closure_classes()[name]
    return f"{found['source']} (class {name}: {found['words']}; read in {found['seen']})"
