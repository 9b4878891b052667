"""manifest.json: what a report is made of, so that a later run knows its own files."""

import hashlib
import json
from collections.abc import Mapping

NAME = "manifest.json"
SCHEMA = 1


def manifest(files: Mapping[str, bytes]) -> bytes:
    """Return the manifest of a report's other files, by path."""
    listed = [
        {"path": path, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        for path, data in sorted(files.items())
        if path != NAME
    ]
    return (json.dumps({"schema": SCHEMA, "files": listed}, indent=1) + "\n").encode()


def listed_paths(data: bytes) -> frozenset[str] | None:
    """Return the paths that a manifest of ours lists, or None where it is not one of ours."""
    try:
        document = json.loads(data)
        if document["schema"] != SCHEMA:
            return None
        paths = [entry["path"] for entry in document["files"]]
    except (ValueError, TypeError, KeyError, LookupError):
        return None
    return frozenset(paths) if all(isinstance(path, str) for path in paths) else None
