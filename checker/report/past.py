"""A report that is being made, as far as it is compared with one that was written earlier."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from checker import __version__
from checker.model.finding import Finding, Results, Verdict
from checker.model.job import Tolerance
from checker.model.past import MadeFrom, PastCheck, PastReport, PastRow, Place
from checker.report.results_json import stated


def past_of(results: Results) -> PastReport:
    """Return what `checker.read.report.read_report` would read of these results once written."""
    made = made_from(results)
    return PastReport(
        path="",
        title=results.job.title,
        number=results.job.number or "",
        unit=results.job.unit.value,
        version=made.version,
        verdict=results.verdict.word,
        counts={verdict.word: results.counts.get(verdict, 0) for verdict in Verdict},
        checks=tuple(_check(finding) for finding in results.findings),
        inputs=made.inputs,
        altered=(),
    )


def made_from(results: Results) -> MadeFrom:
    """Return the program and the inputs that results rest on."""
    files = results.inputs.files
    return MadeFrom(
        version=__version__, inputs={(each.role, each.path): each.sha256 for each in files}
    )


def _check(finding: Finding) -> PastCheck:
    measure = finding.measure
    words = {int(verdict): verdict.word for verdict in Verdict}
    count = len(measure.id)
    by_row = measure.judged_by_row
    verdicts = [words[code] for code in finding.row_verdict.tolist()] if by_row else [""] * count
    reasons = finding.row_reason.tolist() if by_row else [""] * count
    columns = {column.key: column.values for column in measure.columns}
    old = columns.get("superseded", np.zeros(count, dtype=np.bool_)).tolist()
    design, measured = (_places(columns, what, count) for what in ("design", "measured"))
    rows = zip(measure.id.tolist(), verdicts, reasons, old, design, measured, strict=True)
    return PastCheck(
        kind=measure.kind,
        name=measure.name,
        verdict=finding.verdict.word,
        tolerance=_tolerance(measure.tolerance),
        rows=tuple(
            PastRow(
                id=str(name),
                verdict=verdict,
                reason=str(reason),
                superseded=bool(superseded),
                design=where,
                measured=found,
            )
            for name, verdict, reason, superseded, where, found in rows
        ),
    )


def _tolerance(tolerance: Tolerance | None) -> dict[str, str]:
    document = stated(tolerance)
    if document is None:
        return {}
    limits = document["limits"]
    listed = {key: str(value) for key, value in limits.items()} if isinstance(limits, dict) else {}
    for key in ("name", "rule", "k", "source"):
        if document[key]:
            listed[key] = str(document[key])
    return listed


def _places(columns: Mapping[str, npt.NDArray[np.generic]], what: str, count: int) -> list[Place]:
    """Return north, east, elevation of every row; metres, None where there is none."""
    listed: list[list[float | None]] = []
    for letter in "nez":
        values = columns.get(f"{what}_{letter}")
        if values is None:
            listed.append([None] * count)
            continue
        numbers = values.astype(np.float64)
        missing = ~np.isfinite(numbers)
        texts: list[float | None] = numbers.tolist()
        for row in np.flatnonzero(missing).tolist():
            texts[row] = None
        listed.append(texts)
    return list(zip(*listed, strict=True))
