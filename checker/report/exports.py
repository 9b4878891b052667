"""results.csv and cut-sheet.csv: tables for a spreadsheet.

Text that a spreadsheet would take for a formula is kept text by an apostrophe in front. Cells are
quoted as RFC 4180 says. Both are written part by part, whole columns at a time.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import repeat

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.finding import Finding, Results
from checker.report.cutsheet import (
    held,
    lath_words,
    offset_words,
    reach_words,
    stakes_of,
    target_of,
    verdict_words,
)
from checker.report.escape import UNSEEN, clean
from checker.report.lath import lath_texts
from checker.report.numbers import LENGTH_DECIMALS, Outside, fixed_column, station_texts
from checker.report.results_json import PART_ROWS, Exported, columns_of, exported
from checker.report.rows import batches, part_of

_FORMULA = re.compile("[\\s\ufeff\u200b]*[=+\\-@\uff1d\uff0b\uff0d\uff20]|\t")
_BREAKS = re.compile(r"\r\n|[\r\n\v\f\x1c-\x1e\x85\u2028\u2029]")
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?", re.ASCII)
_SUSPECT = re.compile(
    "[=+\\-@\uff1d\uff0b\uff0d\uff20\t\r\n\v\f\x1c-\x1e\x85\u2028\u2029"
    '",]|' + UNSEEN.pattern  # what starts a formula, what breaks a line, what parts cells
)
_LEAD = ("check", "kind", "unit")


def harmless(text: str) -> str:
    """Return a text that no spreadsheet runs as a formula; plain signed numbers stay as they are.

    Line breaks become blanks: a row of the file is a line. Unseen characters are shown as such.
    """
    text = clean(_BREAKS.sub(" ", text) if _BREAKS.search(text) else text)
    if _FORMULA.match(text) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def results_csv(results: Results) -> str:
    """Return one row for every row of every check; numbers as in results.json, unit named beside.

    The columns are those of all checks.
    """
    keys = csv_keys(results)
    unit = results.job.unit.value
    return csv_head(keys) + "".join(csv_part(part, keys, unit) for part in exported(results))


def csv_keys(results: Results) -> list[str]:
    """Return the keys of results.csv behind check, kind and unit: those of all checks."""
    outside = Outside(unit=results.job.unit)
    every = (columns_of(finding, outside) for finding in results.findings)
    return list(dict.fromkeys(cell.key for cells in every for cell in cells))


def csv_head(keys: Sequence[str]) -> str:
    """Return the heading of results.csv."""
    return ",".join(map(_quoted, (*_LEAD, *keys))) + "\n"


def csv_part(part: Exported, keys: Sequence[str], unit: str) -> str:
    """Return a part of a check as lines of results.csv."""
    measure = part.finding.measure
    columns = {
        cell.key: _csv_cells(cell.values, texts)
        for cell, texts in zip(part.cells, part.texts, strict=True)
        if texts is not None
    }
    lead = (_quoted(harmless(measure.name)), _quoted(measure.kind), unit)
    return _lines((*lead, *(columns.get(key, "") for key in keys)), len(part.rows))


def cut_sheet_csv(results: Results) -> str:
    """Return design and as-measured elevation with the lath's text for every stake with a height.

    station and offset are the as-measured point's: as on a lath, and as plain numbers. cut_fill_to:
    what cut and fill are to where that is not the stake's own place, and how far it is, positive to
    the right. lath: the words for it, HOLD where nothing is to be built from the stake, nothing for
    as-builts.
    Superseded shots and shots that belong to no design point are left out.
    """
    return "".join(cut_sheet_parts(results))


def cut_sheet_parts(results: Results) -> Iterator[str]:
    """Yield the lines of cut-sheet.csv, part by part."""
    outside = Outside(unit=results.job.unit)
    unit = outside.unit.short
    heading = (
        *("check", "id", "description", "station", "offset"),
        *(f"station_{unit}", f"offset_{unit}"),
        *(f"design_elevation_{unit}", f"measured_elevation_{unit}"),
        *(f"cut_fill_{unit}", f"dz_{unit}", "cut_fill_to", f"to_it_{unit}", "side_slope"),
        *(f"horizontal_{unit}", "lath", "verdict", "reason"),
        "as_built",
    )
    yield ",".join(heading) + "\n"
    for finding in results.findings:
        stakes = stakes_of(finding)
        for rows in batches(len(stakes), PART_ROWS):
            yield _cut_lines(part_of(finding, stakes[rows.start : rows.stop]), outside)


def _cut_lines(finding: Finding, outside: Outside) -> str:
    measure = finding.measure
    dz_m = measure.numbers("dz")
    station, offset = measure.numbers("station"), measure.numbers("offset")
    stations = station_texts(station, outside.unit, measure.station_digits, missing="")
    offsets = offset_words(offset, outside)
    cuts = lath_texts(finding, dz_m, outside)
    target, reach_m = target_of(measure)
    laths = lath_words(stations, offsets, cuts, reach_words(measure, outside), target)

    def fixed(values: FloatArray) -> list[str] | str:
        if np.isnan(values).all():
            return ""
        return fixed_column(outside.unit.from_metres(values), LENGTH_DECIMALS, missing="")

    return _lines(
        [
            _quoted(harmless(measure.name)),
            _cells(measure.id.tolist()),
            _cells(measure.texts("description")),
            _cells(stations),
            offsets,
            fixed(station),
            fixed(offset),
            fixed(measure.numbers("design_z")),
            fixed(measure.numbers("measured_z")),
            cuts,
            fixed(dz_m),
            target,
            fixed(reach_m),
            _cells(measure.texts("side_slope")),
            fixed(measure.numbers("horizontal")),
            "" if measure.as_built else _cells(held(finding, laths)),
            verdict_words(finding),
            _cells(finding.row_reason.tolist()),
            "yes" if measure.as_built else "",
        ],
        len(dz_m),
    )


def _csv_cells(values: list[object], texts: list[str]) -> list[str]:
    """Return a column for the CSV: texts made harmless, numbers as their JSON, null as nothing."""
    first = next((value for value in values if value is not None), None)
    if isinstance(first, str):
        return _cells(["" if value is None else str(value) for value in values])
    return ["" if text == "null" else text for text in texts] if "null" in texts else texts


def _cells(texts: list[str]) -> list[str]:
    """Return texts made harmless and quoted; quick where none needs it, or where they repeat."""
    if not _SUSPECT.search("".join(texts)):
        return texts
    known = {text: _quoted(harmless(text)) for text in set(texts)}
    return [known[text] for text in texts]


def _quoted(text: str) -> str:
    if '"' in text or "," in text:
        doubled = text.replace('"', '""')
        return f'"{doubled}"'
    return text


def _lines(columns: Iterable[list[str] | str], count: int) -> str:
    """Return the rows of finished columns as lines; a text alone stands in every row."""
    if not count:
        return ""
    joined: list[Iterable[str]] = []
    same: list[str] = []
    for column in (*columns, []):
        if isinstance(column, str):
            same.append(column)
            continue
        if same:
            joined.append(repeat(",".join(same), count))
            same = []
        if column:
            joined.append(column)
    return "\n".join(map(",".join, zip(*joined, strict=True))) + "\n"
