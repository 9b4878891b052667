"""Job folders with a network, written from tables of text and run as a user does."""

from pathlib import Path
from typing import Any

from checker.run import check, document

HEAD = '[job]\ntitle = "Invented network"\nunit = "{unit}"\n'


def folder(
    place: Path, network: str, *, unit: str = "metre", more: str = "", **tables: str
) -> Path:
    """Write a job. network: the keys of its section; tables: text by name, `control` among them."""
    place.mkdir(parents=True, exist_ok=True)
    text = HEAD.format(unit=unit)
    for name, table in tables.items():
        (place / f"{name}.csv").write_text(table, encoding="utf-8")
    if "control" in tables:
        text += '[control]\nfile = "control.csv"\n'
    text += f'{more}[[network]]\nname = "N"\n{network}'
    (place / "job.toml").write_text(text, encoding="utf-8")
    return place


def outcome(place: Path) -> dict[str, Any]:
    """Return the network's part of results.json."""
    checks: Any = document(check(place))["checks"]
    return next(each for each in checks if each["kind"] == "network")


def stations(found: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the rows of stations by name."""
    return {row["id"]: row for row in found["rows"] if row["kind"] == "station"}


def observations(found: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the rows of observations, in order."""
    return [row for row in found["rows"] if row["kind"] == "observation"]
