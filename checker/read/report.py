"""Read a report that was written earlier, and see whether it is still what was written."""

import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from checker.errors import InputError, Problem, Where
from checker.model.past import MadeFrom, PastCheck, PastReport, PastRow, Place, Since
from checker.units import LengthUnit

RESULTS = "results.json"
MANIFEST = "manifest.json"
CHANGES = "changes.json"
SCHEMA = 1
_BROKEN = (ValueError, TypeError, LookupError, AttributeError, RecursionError)
"""What a document that is no report of ours, or a damaged one, raises while it is read."""


def read_report(folder: Path) -> PastReport:
    """Return a report from its folder.

    Every file is compared with the manifest; what differs is listed, but for the results
    themselves, which are then refused. Raises InputError where the folder is no report, is damaged,
    or is of another schema.
    """
    shown = folder.as_posix()
    listed = _manifest(folder, shown)
    data = _bytes(folder / RESULTS, f"{shown}/{RESULTS}")
    if listed.get(RESULTS) != hashlib.sha256(data).hexdigest():
        raise _fault(
            "report-altered",
            f"{shown}/{RESULTS}",
            "these results are not those that the report's manifest.json lists",
            "build the report again; a report that was changed by hand proves nothing",
        )
    try:
        return _report(shown, json.loads(data), _altered(folder, listed), listed[RESULTS])
    except _BROKEN as fault:
        raise _fault(
            "not-a-report",
            f"{shown}/{RESULTS}",
            f"it does not hold what results of schema {SCHEMA} hold: {fault}",
            "build the report again with this program",
        ) from fault


def is_report(folder: Path) -> bool:
    """Tell whether a report of this program seems to lie in a folder."""
    # These answer no to whatever cannot be a path, where those of Path would raise.
    return all(os.path.isfile(folder / name) for name in (MANIFEST, RESULTS))  # noqa: PTH113


def read_since(folder: Path) -> tuple[MadeFrom, Since] | None:
    """Return what a report was made from, and what it says of the one before it.

    None where the folder holds no such file, or one that is not what its manifest lists.
    """
    try:
        listed = _manifest(folder, folder.as_posix())
        data = (folder / CHANGES).read_bytes()
        if listed.get(CHANGES) != hashlib.sha256(data).hexdigest():
            return None
        return _since(json.loads(data))
    except (InputError, OSError, *_BROKEN):
        return None


def _since(document: Any) -> tuple[MadeFrom, Since] | None:  # noqa: ANN401
    if document["schema"] != SCHEMA:
        return None
    made, before = document["made_from"], document["since"]
    inputs = {(str(e["role"]), str(e["path"])): str(e["sha256"]) for e in made["inputs"]}
    made_from = MadeFrom(version=str(made["program"]), inputs=inputs)
    if before is None:
        return made_from, Since()
    return made_from, Since(
        digest=str(before["results_sha256"]),
        verdict=str(before["verdict"]),
        said=str(before["said"]),
        topics=tuple(
            (str(each["heading"]), tuple(str(line) for line in each["lines"]))
            for each in before["topics"]
        ),
        note=str(before["note"]),
    )


def _fault(slug: str, file: str, message: str, hint: str) -> InputError:
    return InputError([Problem(slug=slug, where=Where(file=file), message=message, hint=hint)])


def _bytes(path: Path, shown: str) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        raise _fault(
            "not-a-report",
            shown,
            f"it cannot be read: {fault.strerror or fault}",
            "name the folder that checker build wrote, the one with index.html in it",
        ) from fault


def _manifest(folder: Path, shown: str) -> dict[str, str]:
    """Return the SHA-256 of every file that the report is made of."""
    data = _bytes(folder / MANIFEST, f"{shown}/{MANIFEST}")
    try:
        document = json.loads(data)
        if document["schema"] != SCHEMA:
            raise ValueError(f"schema {document['schema']}, not {SCHEMA}")
        return {str(each["path"]): str(each["sha256"]) for each in document["files"]}
    except _BROKEN as fault:
        raise _fault(
            "not-a-report",
            f"{shown}/{MANIFEST}",
            f"it is no manifest of a report: {fault}",
            "name the folder that checker build wrote, the one with index.html in it",
        ) from fault


def _altered(folder: Path, listed: Mapping[str, str]) -> tuple[str, ...]:
    """Return the files that are gone or are not what the manifest lists."""
    changed = []
    for name, digest in sorted(listed.items()):
        path = folder / name
        inside = path.resolve().is_relative_to(folder.resolve())
        if not inside or not path.is_file():
            changed.append(name)
            continue
        with path.open("rb") as file:
            if hashlib.file_digest(file, "sha256").hexdigest() != digest:
                changed.append(name)
    return tuple(changed)


def _report(
    shown: str,
    document: Any,  # noqa: ANN401
    altered: tuple[str, ...],
    digest: str,
) -> PastReport:
    """Return the report of a document; raises where it is none."""
    if document["schema"] != SCHEMA:
        raise ValueError(f"schema {document['schema']}")
    unit = LengthUnit(document["job"]["unit"])
    return PastReport(
        path=shown,
        title=str(document["job"]["title"]),
        number=str(document["job"]["number"]),
        unit=unit.value,
        version=str(document.get("program", {}).get("version", "")),
        verdict=str(document["verdict"]),
        counts={str(word): int(count) for word, count in document["counts"].items()},
        checks=tuple(_check(each, unit) for each in document["checks"]),
        inputs={
            (str(each["role"]), str(each["path"])): str(each["sha256"])
            for each in document["inputs"]
        },
        altered=altered,
        digest=digest,
    )


def _check(check: Any, unit: LengthUnit) -> PastCheck:  # noqa: ANN401
    stated = check.get("tolerance") or {}
    tolerance = {str(key): str(value) for key, value in stated.get("limits", {}).items()}
    tolerance |= {
        key: str(stated[key]) for key in ("name", "rule", "k", "source") if stated.get(key)
    }
    return PastCheck(
        kind=str(check["kind"]),
        name=str(check["name"]),
        verdict=str(check["verdict"]),
        tolerance=tolerance,
        rows=tuple(
            PastRow(
                id=str(row["id"]),
                verdict=row["verdict"] or "",
                reason=str(row["reason"]),
                superseded=bool(row.get("superseded")),
                design=_place(row, "design", unit),
                measured=_place(row, "measured", unit),
            )
            for row in check["rows"]
        ),
    )


def _place(row: Mapping[str, Any], what: str, unit: LengthUnit) -> Place:
    n, e, z = (
        None if (value := row.get(f"{what}_{letter}")) is None else float(value) * unit.metres
        for letter in "nez"
    )
    return (n, e, z)
