"""manifest.json: what a report is made of, so that a later run knows its own files."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass

NAME = "manifest.json"
SCHEMA = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What the manifest says of one file."""

    size: int
    sha256: str


def manifest(files: Mapping[str, bytes]) -> bytes:
    """Return the manifest of a report's other files, by path."""
    return manifest_of(
        {
            path: Entry(size=len(data), sha256=hashlib.sha256(data).hexdigest())
            for path, data in files.items()
            if path != NAME
        }
    )


def manifest_of(entries: Mapping[str, Entry]) -> bytes:
    """Return the manifest that lists these files, by path."""
    listed = [
        {"path": path, "bytes": entry.size, "sha256": entry.sha256}
        for path, entry in sorted(entries.items())
    ]
    return (json.dumps({"schema": SCHEMA, "files": listed}, indent=1) + "\n").encode()


def listed_paths(data: bytes) -> frozenset[str] | None:
    """Return the paths that a manifest of ours lists, or None where it is not one of ours."""
    try:
        document = json.loads(data)
        if document["schema"] != SCHEMA:
            return None
        paths = [entry["path"] for entry in document["files"]]
    except (ValueError, TypeError, LookupError, RecursionError):
        return None
    return frozenset(paths) if all(isinstance(path, str) for path in paths) else None
