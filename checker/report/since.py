"""changes.json: what a report is made from, and what changed since the one in its place before."""

import json
from typing import Final

from checker.model.past import MadeFrom, PastReport, Since
from checker.report.changes import changes
from checker.report.escape import in_json

NAME: Final = "changes.json"
SCHEMA: Final = 1


def since_report(old: PastReport, new: PastReport) -> Since:
    """Return what changed since an earlier report."""
    found = changes(old, new)
    return Since(
        digest=old.digest, verdict=old.verdict, said=found.said(), topics=found.topics, note=""
    )


def unreadable(why: str) -> Since:
    """Return the note on an earlier report that cannot be read."""
    return Since(note=f"The report that stood here before cannot be compared with this one: {why}.")


def changes_json(made: MadeFrom, since: Since) -> str:
    """Return the text of the file."""
    before = None
    if since != Since():
        before = {
            "results_sha256": since.digest,
            "verdict": since.verdict,
            "said": since.said,
            "note": since.note,
            "topics": [{"heading": head, "lines": list(lines)} for head, lines in since.topics],
        }
    inputs = [
        {"role": role, "path": path, "sha256": digest}
        for (role, path), digest in made.inputs.items()
    ]
    document = {
        "schema": SCHEMA,
        "made_from": {"program": made.version, "inputs": inputs},
        "since": before,
    }
    return in_json(json.dumps(document, ensure_ascii=False, indent=1)) + "\n"
