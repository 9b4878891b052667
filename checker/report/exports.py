"""results.csv and cut-sheet.csv: tables for a spreadsheet.

Text that a spreadsheet would take for a formula is kept text by an apostrophe in front.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence

from checker.model.arrays import FloatArray
from checker.model.finding import Finding, Results
from checker.model.measure import Measure
from checker.report.cutsheet import lath_words, lengths, offset_words, stakes_of, verdict_words
from checker.report.lath import lath_texts
from checker.report.numbers import LENGTH_DECIMALS, Outside, fixed_column, station_texts
from checker.report.results_json import Exported, exported

_FORMULA = re.compile("[\\s\ufeff\u200b]*[=+\\-@\uff1d\uff0b\uff0d\uff20]|\t")
_BREAKS = re.compile(r"\r\n|[\r\n\v\f\x1c-\x1e\x85\u2028\u2029]")
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?", re.ASCII)
_LEAD = ("check", "kind", "unit")


def harmless(text: str) -> str:
    """Return a text that no spreadsheet runs as a formula; plain signed numbers stay as they are.

    Line breaks become blanks: a row of the file is a line.
    """
    text = _BREAKS.sub(" ", text) if _BREAKS.search(text) else text
    if _FORMULA.match(text) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def results_csv(results: Results, tables: Sequence[Exported] | None = None) -> str:
    """Return one row for every row of every check; numbers as in results.json, unit named beside.

    tables: the results' `exported`, where it is at hand.
    """
    tables = exported(results) if tables is None else tables
    keys = list(dict.fromkeys(cell.key for table in tables for cell in table.cells))
    rows: list[Iterable[str]] = []
    for table in tables:
        measure = table.finding.measure
        count = len(measure.id)
        columns = {
            cell.key: _csv_texts(cell.values, texts)
            for cell, texts in zip(table.cells, table.texts, strict=True)
        }
        blank = [""] * count
        listed = [
            [harmless(measure.name)] * count,
            [measure.kind] * count,
            [results.job.unit.value] * count,
            *(columns.get(key, blank) for key in keys),
        ]
        rows.extend(zip(*listed, strict=True))
    return _csv((*_LEAD, *keys), rows)


def cut_sheet_csv(results: Results) -> str:
    """Return design and as-measured elevation with the lath's text for every stake with a height.

    station and offset are the as-measured point's: as on a lath, and as plain numbers. Superseded
    shots and shots that belong to no design point are left out.
    """
    outside = Outside(unit=results.job.unit)
    unit = outside.unit.short
    heading = (
        *("check", "id", "description", "station", "offset"),
        *(f"station_{unit}", f"offset_{unit}"),
        *(f"design_elevation_{unit}", f"measured_elevation_{unit}"),
        *(f"cut_fill_{unit}", f"dz_{unit}", f"horizontal_{unit}", "lath", "verdict", "reason"),
    )
    rows: list[Iterable[str]] = []
    for finding in results.findings:
        if stakes_of(finding).size:
            rows.extend(_cut_rows(finding, outside))
    return _csv(heading, rows)


def _cut_rows(finding: Finding, outside: Outside) -> Iterable[tuple[str, ...]]:
    measure = finding.measure
    dz_m = lengths(measure, "dz")
    station, offset = lengths(measure, "station"), lengths(measure, "offset")

    def fixed(values: FloatArray) -> list[str]:
        return fixed_column(outside.unit.from_metres(values), LENGTH_DECIMALS, missing="")

    columns = (
        [harmless(measure.name)] * len(dz_m),
        [harmless(text) for text in measure.id.tolist()],
        [harmless(text) for text in _texts(measure, "description")],
        [harmless(text) for text in station_texts(station, outside.unit, missing="")],
        offset_words(offset, outside),
        fixed(station),
        fixed(offset),
        fixed(lengths(measure, "design_z")),
        fixed(lengths(measure, "measured_z")),
        lath_texts(finding, dz_m, outside),
        fixed(dz_m),
        fixed(lengths(measure, "horizontal")),
        [harmless(text) for text in lath_words(finding, outside)],
        verdict_words(finding),
        [harmless(text) for text in finding.row_reason.tolist()],
    )
    table = list(zip(*columns, strict=True))
    return (table[row] for row in stakes_of(finding).tolist())


def _texts(measure: Measure, key: str) -> list[str]:
    for column in measure.columns:
        if column.key == key:
            return [str(value or "") for value in column.values.tolist()]
    return [""] * len(measure.id)


def _csv_texts(values: list[object], texts: list[str]) -> list[str]:
    """Return a column for the CSV: texts made harmless, numbers as their JSON, null as nothing."""
    first = next((value for value in values if value is not None), None)
    if isinstance(first, str):
        known = {value: harmless(str(value)) for value in set(values) if value is not None}
        return [known.get(value, "") for value in values]
    return ["" if text == "null" else text for text in texts]


def _csv(heading: Sequence[str], rows: Iterable[Iterable[str]]) -> str:
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(heading)
    writer.writerows(rows)
    return buffer.getvalue()
