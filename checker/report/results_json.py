"""results.json: everything that was found, for other programs. The contract is schema 1."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields

import numpy as np

from checker import __version__
from checker.model.finding import Finding, Results, Verdict
from checker.model.job import Tolerance
from checker.model.measure import Column, Quantity
from checker.report.diagnoses import diagnoses_json, power_json
from checker.report.escape import in_json
from checker.report.lath import lath_texts
from checker.report.numbers import Outside
from checker.report.rows import batches, part_of
from checker.report.settled import settled
from checker.units import Formula

SCHEMA = 1
_POINT_KEYS = (
    *("design_n", "design_e", "design_z", "measured_n", "measured_e", "measured_z"),
    *("dn", "de", "dz", "horizontal", "bearing", "along", "across", "cut_fill"),
    *("station", "offset", "sigma_h", "sigma_z", "p_within", "superseded"),
)
"""What every row of a comparison of points carries, in this order."""
_POINT_KINDS = ("stakeout", "control")
_LEAD = ("id", "verdict", "reason", "close")
_BREAK = ",\n"
PART_ROWS = 4000
"""So many rows of a check are made into text at once: long tables are never held as text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """A column as the files give it; values has one entry a row: float, int, bool, str or None."""

    key: str
    label: str
    unit: str | None
    decimals: int | None
    values: list[object]

    @property
    def nothing(self) -> bool:
        """True where every value is None."""
        return not self.values or (
            self.values[0] is None and self.values.count(None) == len(self.values)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """A part of a check's rows as the files give them.

    number: of the check, from 0. rows: which of its rows. cells: the columns; texts: in the same
    order, their JSON, None for a column that is null in all of these rows. whole: the check itself.
    """

    number: int
    rows: range
    finding: Finding
    cells: list[Cells]
    texts: list[list[str] | None]
    whole: Finding

    @property
    def first(self) -> bool:
        """True where the check begins here."""
        return not self.rows.start

    @property
    def last(self) -> bool:
        """True where the check ends here."""
        return self.rows.stop == len(self.whole.measure.id)


def exported(results: Results) -> Iterator[Exported]:
    """Yield the checks part by part, each at least once; the columns of `lead_cells` come first."""
    outside = Outside(unit=results.job.unit)
    for number, whole in enumerate(results.findings):
        for rows in batches(len(whole.measure.id), PART_ROWS):
            finding = part_of(whole, slice(rows.start, rows.stop))
            cells = [*lead_cells(finding), *row_cells(finding, outside)]
            texts = [None if cell.nothing else json_texts(cell.values) for cell in cells]
            yield Exported(
                number=number, rows=rows, finding=finding, cells=cells, texts=texts, whole=whole
            )


def columns_of(finding: Finding, outside: Outside) -> list[Cells]:
    """Return what a check's columns are, with no rows in them."""
    nothing = part_of(finding, slice(0))
    return [*lead_cells(nothing), *row_cells(nothing, outside)]


def row_cells(finding: Finding, outside: Outside) -> list[Cells]:
    """Return a check's columns in the order of results.json, behind id, verdict, reason, close."""
    measure = finding.measure
    columns = {column.key: column for column in measure.columns}
    keys = list(columns)
    if measure.judged_by_row and "p_within" not in columns:
        keys.append("p_within")
    if measure.kind in _POINT_KINDS:
        keys = list(dict.fromkeys((*_POINT_KEYS, *keys)))
    return [_cells(key, columns.get(key), finding, outside) for key in keys]


def lead_cells(finding: Finding) -> list[Cells]:
    """Return id, verdict, reason and close, which every row begins with.

    Where a check is judged as one, its rows have no verdict of their own: null.
    """
    measure = finding.measure
    rows = len(measure.id)
    verdict: list[object] = [None] * rows
    reason: list[object] = [""] * rows
    close: list[object] = [None] * rows
    if measure.judged_by_row:
        words = {int(v): v.word for v in Verdict}
        verdict = [words[code] for code in finding.row_verdict.tolist()]
        reason = finding.row_reason.tolist()
        close = finding.row_close.tolist()
    columns = (measure.id.tolist(), verdict, reason, close)
    return [
        Cells(key=key, label="", unit=None, decimals=None, values=values)
        for key, values in zip(_LEAD, columns, strict=True)
    ]


def results_document(results: Results) -> dict[str, object]:
    """Return what results.json holds, as plain dicts and lists.

    Lengths in the job's unit, unrounded but for the digits that are noise (`settled`); angles in
    decimal degrees, arc seconds where the key ends in ``_arcsec``; what does not exist is None,
    never NaN.
    """
    outside = Outside(unit=results.job.unit)
    document = _frame(results)
    document["checks"] = [_check(finding, outside) for finding in results.findings]
    return document


def results_text(results: Results) -> str:
    """Return the text of results.json, one row a line; the same content as `results_document`."""
    begin, end = json_frame(results)
    outside = Outside(unit=results.job.unit)
    return "".join((begin, *(json_part(part, outside) for part in exported(results)), end))


def json_frame(results: Results) -> tuple[str, str]:
    """Return what stands in results.json before the parts of the checks, and what behind them."""
    parts = {key: f"{_text(key)}: {_text(value)}" for key, value in _frame(results).items()}
    keys = list(parts)
    at = keys.index("checks")
    begin, end = (_BREAK.join(parts[key] for key in some) for some in (keys[:at], keys[at + 1 :]))
    checks = ("[\n", "\n]") if results.findings else ("[", "]")
    return f'{{{begin}{_BREAK}"checks": {checks[0]}', f"{checks[1]}{_BREAK}{end}}}\n"


def _frame(results: Results) -> dict[str, object]:
    """Return the document with no checks yet; the order of its keys is that of the file."""
    job, measured = results.job, results.inputs.measured
    return {
        "schema": SCHEMA,
        "program": {"name": "checker", "version": __version__},
        "job": {"title": job.title, "number": job.number or "", "unit": job.unit.value},
        "verdict": results.verdict.word,
        "counts": {
            verdict.word: results.counts.get(verdict, 0)
            for verdict in (
                *(Verdict.WITHIN, Verdict.OUTSIDE, Verdict.UNDECIDED, Verdict.UNCHECKED),
            )
        },
        "checks": [],
        "measured": {
            "count": 0 if measured is None else len(measured),
            "unused": [] if measured is None else measured.id[results.unused].tolist(),
        },
        "not_judged": [each.text for each in results.unjudged],
        "diagnoses": diagnoses_json(results),
        "power": power_json(results),
        "inputs": [
            {"path": file.path, "role": file.role, "bytes": file.size, "sha256": file.sha256}
            for file in results.inputs.files
        ],
    }


def _check(finding: Finding, outside: Outside) -> dict[str, object]:
    """Return one check with its rows."""
    cells = row_cells(finding, outside)
    head = _check_head(finding, cells, outside)
    listed = [*lead_cells(finding), *cells]
    keys = [cell.key for cell in listed]
    table = zip(*(cell.values for cell in listed), strict=True)
    head["rows"] = [dict(zip(keys, row, strict=True)) for row in table]
    head["remarks"] = list(finding.measure.remarks)
    head["tables"] = _supplements(finding, outside)
    return head


def _supplements(finding: Finding, outside: Outside) -> list[dict[str, object]]:
    """Return the further tables of a check; their rows have id and the columns' keys."""
    found: list[dict[str, object]] = []
    for each in finding.measure.supplements:
        cells = [_cells(column.key, column, finding, outside) for column in each.columns]
        keys = ["id", *(cell.key for cell in cells)]
        table = zip(each.id.tolist(), *(cell.values for cell in cells), strict=True)
        found.append(
            {
                "key": each.key,
                "title": each.title,
                "note": each.note,
                "columns": _heads(cells),
                "rows": [dict(zip(keys, row, strict=True)) for row in table],
            }
        )
    return found


def _heads(cells: Sequence[Cells]) -> list[dict[str, object]]:
    return [{"key": c.key, "label": c.label, "unit": c.unit, "decimals": c.decimals} for c in cells]


def json_part(part: Exported, outside: Outside) -> str:
    """Return a part of a check as JSON; rows are joined from columns, quicker than by row."""
    keys = ", ".join(
        f"{_text(cell.key)}: ".replace("%", "%%") + ("null" if texts is None else "%s")
        for cell, texts in zip(part.cells, part.texts, strict=True)
    )
    pattern = f"{{{keys}}}"
    columns = (texts for texts in part.texts if texts is not None)
    text = _BREAK.join([pattern % row for row in zip(*columns, strict=True)])
    if part.first:
        head = _text(_check_head(part.whole, part.cells[len(_LEAD) :], outside))[:-1]
        text = f'{_BREAK if part.number else ""}{head}, "rows": [\n{text}'
    else:
        text = _BREAK + text
    if part.last:
        remarks = _text(list(part.whole.measure.remarks))
        tables = _text(_supplements(part.whole, outside))
        text += f'\n], "remarks": {remarks}, "tables": {tables}}}'
    return text


def _check_head(finding: Finding, cells: Sequence[Cells], outside: Outside) -> dict[str, object]:
    return {
        "kind": finding.measure.kind,
        "name": finding.measure.name,
        "verdict": finding.verdict.word,
        "reason": finding.reason,
        "tolerance": stated(finding.measure.tolerance),
        "summary": {item.key: outside.item(item) for item in finding.summary},
        "columns": _heads(cells),
    }


def stated(tolerance: Tolerance | None) -> dict[str, object] | None:
    """Return a tolerance as the job states it: limits as they are written there."""
    if tolerance is None:
        return None
    limits: dict[str, object] = {}
    for each in fields(tolerance):
        value = getattr(tolerance, each.name)
        if isinstance(value, Formula):
            limits[each.name] = value.text
    if tolerance.ratio is not None:
        limits["ratio"] = tolerance.ratio
    return {
        "name": tolerance.name,
        "rule": tolerance.rule.value,
        "k": tolerance.k,
        "source": tolerance.source,
        "limits": limits,
    }


def _cells(key: str, column: Column | None, finding: Finding, outside: Outside) -> Cells:
    """Return one column outside; a key of the contract that the check lacks is null throughout."""
    rows = len(finding.measure.id)
    if key == "p_within":
        known = finding.p_within if len(finding.p_within) == rows else np.full(rows, np.nan)
        values = _numbers(known)
        return Cells(key=key, label="P within", unit=None, decimals=3, values=values)
    if column is None:
        return Cells(key=key, label=key, unit=None, decimals=None, values=[None] * rows)
    quantity = column.quantity
    return Cells(
        key=key,
        label=column.label,
        unit=outside.unit_name(quantity, key),
        decimals=outside.decimals(quantity, key),
        values=_values(column, finding, outside),
    )


def _values(column: Column, finding: Finding, outside: Outside) -> list[object]:
    values, quantity = column.values, column.quantity
    if quantity is Quantity.TEXT:
        return [None if value is None else str(value) for value in values.tolist()]
    if quantity is Quantity.FLAG:
        return [bool(value) for value in values.tolist()]
    numbers = values.astype(np.float64)
    if quantity is Quantity.CUT_FILL:
        return [text or None for text in lath_texts(finding, numbers, outside)]
    if quantity is Quantity.COUNT:
        return [int(v) if np.isfinite(v) else None for v in numbers.tolist()]
    converted = outside.convert(quantity, column.key, numbers)
    if column.angular is not None:
        converted = np.where(column.angular, np.degrees(numbers), converted)
    return _numbers(converted)


def _numbers(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[object]:
    listed: list[object] = settled(values).tolist()
    for row in np.flatnonzero(~np.isfinite(values)).tolist():
        listed[row] = None
    return listed


def json_texts(values: list[object]) -> list[str]:
    """Return every value as JSON. No text holds a raw line break, so one encoding can be split."""
    if not values:
        return []
    text = json.dumps(values, ensure_ascii=False, allow_nan=False, separators=(_BREAK, ": "))
    return in_json(text)[1:-1].split(_BREAK)


def _text(value: object) -> str:
    return in_json(json.dumps(value, ensure_ascii=False, allow_nan=False))
