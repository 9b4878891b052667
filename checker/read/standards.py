"""Published classes of closure and tolerance: the tables of checker/standards, with sources."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).resolve().parent.parent / "standards"
TABLES: Final = ("closures.toml", "tolerances.toml")
LIMITS: Final = (
    *("angular", "ratio", "misclosure", "distance", "longer", "shorter", "plumb"),
    *("horizontal", "vertical", "above", "below"),
)


@cache
def closure_classes() -> dict[str, dict[str, str]]:
    """Return the classes by name: limits as a job would write them, words, source, seen, status."""
    classes: dict[str, dict[str, str]] = {}
    for name in TABLES:
        classes |= tomllib.loads((FOLDER / name).read_text(encoding="utf-8"))["class"]
    return classes


def source_of(name: str) -> str:
    """Return the source of a class as it is printed with the tolerance."""
    found = closure_classes()[name]
    return f"{found['source']} (class {name}: {found['words']}; read in {found['seen']})"
