"""deltas.dxf: what was found, as a drawing to lay over the design.

Written by hand in the format of AC1015, whose public reference names the sections, tables and
group codes: so the same results are the same bytes, and a hundred thousand stakes take a moment.
Every line is as long as the difference that it shows; nothing is exaggerated, for whoever snaps to
it must get the place that was measured.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.finding import Finding, Results, Verdict
from checker.report.escape import clean
from checker.report.lath import lath_texts
from checker.report.numbers import Outside, fixed_column, rounded
from checker.report.places import Places, places_of
from checker.report.results_json import PART_ROWS
from checker.report.rows import batches, part_of
from checker.units import LengthUnit

_INSUNITS = {LengthUnit.METRE: 6, LengthUnit.FOOT: 2, LengthUnit.US_SURVEY_FOOT: 21}
"""$INSUNITS of the format's reference; 21 is the US survey foot."""
_DESIGN, _CONTROL = "CHECKED-DESIGN", "CHECKED-CONTROL"
_MEASURED, _OLD = "CHECKED-MEASURED", "CHECKED-SUPERSEDED"
_VECTOR, _LABEL, _FLAT = "CHECKED-VECTOR-", "CHECKED-LABEL-", "-NO-ELEVATION"
_COLOURS = {
    Verdict.OUTSIDE: 14,
    Verdict.UNDECIDED: 7,
    Verdict.UNCHECKED: 8,
    Verdict.WITHIN: 150,
}
"""Colour numbers of the layers by verdict: dark red, black or white, grey, blue."""
_SPACE, _PAPER = "1F", "1E"
"""Handles of the block records of model and paper space, which own what lies in them."""
_FIRST_HANDLE = 0x100
_CODES = ("%%", "^", "\\U+")
"""What a reader of the format takes for the beginning of a special character."""
_TEXT_OF = 250.0
"""The drawing's extent over the height of its labels."""
_LINE_OF = 1.6
"""From one label to the next below it, in heights."""
_DECIMALS = 6
"""Of coordinates, in the job's unit."""
_PLACE = "10\n%.6f\n20\n%.6f\n30\n%.6f\n"
_BODIES = {
    "POINT": f"100\nAcDbPoint\n{_PLACE}",
    "LINE": f"100\nAcDbLine\n{_PLACE}11\n%.6f\n21\n%.6f\n31\n%.6f\n",
    "TEXT": f"100\nAcDbText\n{_PLACE}40\n%HEIGHT%\n1\n%s\n100\nAcDbText\n",
}
"""What follows the head of an entity."""


@dataclass(slots=True, kw_only=True)
class _Run:
    """Entities of one kind on one layer, not yet text. place: shape (rows, 3), as `_places` gives.

    end: of lines. labels: of texts. rows: which rows of `labels` they are.
    """

    kind: str
    layer: str
    place: FloatArray
    end: FloatArray | None = None
    labels: "_Labels | None" = None
    rows: IntArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Labels:
    """What stands beside the rows of a check."""

    finding: Finding
    outside: Outside

    def texts(self, rows: IntArray) -> list[str]:
        """Return the labels of some rows: id, plan offset, and what the lath says."""
        finding = part_of(self.finding, rows)
        measure, outside = finding.measure, self.outside
        plan_m, dz_m = measure.numbers("horizontal"), measure.numbers("dz")
        plan = fixed_column(outside.unit.from_metres(plan_m), outside.lath_decimals, missing="")
        lath = lath_texts(finding, dz_m, outside)
        return _safe_all(
            [
                f"{name}  {offset}  {cut}"
                if name and offset and cut
                else "  ".join(part for part in (str(name), offset, cut) if part)
                for name, offset, cut in zip(measure.id.tolist(), plan, lath, strict=True)
            ]
        )


def deltas_dxf(results: Results) -> bytes:
    """Return the whole of `deltas_parts`."""
    return "".join(deltas_parts(results)).encode("ascii")


def deltas_parts(results: Results) -> Iterator[str]:
    """Yield design, as-measured, vectors and labels of every check that compares places.

    Coordinates in the job's unit, which the header names; x is easting, y northing, z elevation.
    What lacks an elevation lies at 0 on a layer whose name says so. All of it is ASCII.
    """
    outside = Outside(unit=results.job.unit)
    chosen = [(finding, places_of(finding)) for finding in results.findings]
    found = [(finding, places) for finding, places in chosen if places is not None]
    low, high = _box([places for _, places in found], outside)
    extent = float(max(high - low)) if found else 1.0
    height = round(max(extent / _TEXT_OF, 1e-3), 3)
    runs: list[_Run] = []
    seen: dict[str, FloatArray] = {}
    for finding, places in found:
        runs += _runs(finding, places, outside, height, seen)
    runs = [run for run in runs if len(run.place)]
    seed = _FIRST_HANDLE + sum(len(run.place) for run in runs)
    yield _head(results, low, high, f"{seed:X}")
    yield _tables(sorted({run.layer for run in runs}), low, high)
    yield _BLOCKS
    yield _pairs(0, "SECTION", 2, "ENTITIES")
    handle = _FIRST_HANDLE
    for run in runs:
        for rows in batches(len(run.place), PART_ROWS):
            yield _text_of(run, rows, handle + rows.start, height)
        handle += len(run.place)
    yield f"{_pairs(0, 'ENDSEC')}{_OBJECTS}{_pairs(0, 'EOF')}"


def _box(every: Sequence[Places], outside: Outside) -> tuple[FloatArray, FloatArray]:
    """Return the least and the largest easting and northing, in the job's unit; 0 to 1 for none."""
    if not every:
        return np.zeros(2), np.ones(2)
    e = np.concatenate([p for each in every for p in (each.design_m[:, 1], each.measured_m[:, 1])])
    n = np.concatenate([p for each in every for p in (each.design_m[:, 0], each.measured_m[:, 0])])
    known = np.isfinite(e) & np.isfinite(n)
    if not known.any():
        return np.zeros(2), np.ones(2)
    xy = outside.unit.from_metres(np.stack([e[known], n[known]]))
    low, high = xy.min(axis=1), xy.max(axis=1)
    pad = max(float((high - low).max()) * 0.03, 1.0)
    return low - pad, high + pad


def _runs(
    finding: Finding,
    places: Places,
    outside: Outside,
    height: float,
    seen: dict[str, FloatArray],
) -> list[_Run]:
    """Return the rows of one check, by what they are drawn as."""
    design = outside.unit.from_metres(places.design_m)
    measured = outside.unit.from_metres(places.measured_m)
    old = places.superseded
    known = _CONTROL if finding.measure.kind in ("control", "site_fit") else _DESIGN
    runs = _points(design, ~old, known, seen)
    runs += _points(measured, ~old, _MEASURED, seen)
    runs += _points(measured, old, _OLD, seen)
    verdicts = finding.row_verdict
    if len(verdicts) != len(old):
        verdicts = np.full(len(old), int(finding.verdict), dtype=np.int8)
    labels = _Labels(finding=finding, outside=outside)
    place = np.where(np.isfinite(measured[:, :1]), measured, design)
    lines = _lines(place, height) * _LINE_OF * height
    for verdict in Verdict:
        here = (verdicts == verdict) & ~old
        word = verdict.word.upper()
        runs += _vectors(design, measured, here, _VECTOR + word)
        rows = np.flatnonzero(here & np.isfinite(place[:, :2]).all(axis=1))
        beside = place[rows] + [height * 0.6, height * 0.6, 0.0]
        beside[:, 0] -= lines[rows]
        beside = _places(beside)
        runs.append(_Run(kind="TEXT", layer=_LABEL + word, place=beside, labels=labels, rows=rows))
    return runs


def _lines(place: FloatArray, height: float) -> FloatArray:
    """Return how many labels of a check stand above each row's own, where shots share a place.

    place: northing first, shape (rows, 3); shape of the answer (rows,).
    """
    near = np.where(np.isfinite(place[:, :2]), np.rint(place[:, :2] / height), np.inf)
    _, group = np.unique(near, axis=0, return_inverse=True)
    group = group.reshape(-1)
    order = np.argsort(group, kind="stable")
    first = np.searchsorted(group[order], group[order], side="left")
    lines = np.empty(len(group))
    lines[order] = np.arange(len(group)) - first
    return lines


def _points(
    place: FloatArray, wanted: BoolArray, layer: str, seen: dict[str, FloatArray]
) -> list[_Run]:
    known = wanted & np.isfinite(place[:, 0]) & np.isfinite(place[:, 1])
    flat = ~np.isfinite(place[:, 2])
    runs = []
    for name, chosen in ((layer, known & ~flat), (layer + _FLAT, known & flat)):
        there = _places(place[chosen])
        # A shot that two checks compare is drawn once.
        before = seen.get(name, np.empty((0, 3)))
        every = np.concatenate((before, there))
        fresh = _first_of_each(every)[len(before) :]
        seen[name] = every
        runs.append(_Run(kind="POINT", layer=name, place=there[fresh]))
    return runs


def _first_of_each(place: FloatArray) -> BoolArray:
    """Return which places do not repeat an earlier one; shape (rows,)."""
    order = np.lexsort(place.T)  # stable: of equal ones the first comes first
    again = (place[order[1:]] == place[order[:-1]]).all(axis=1)
    first = np.ones(len(place), dtype=np.bool_)
    first[order[1:][again]] = False
    return first


def _vectors(design: FloatArray, measured: FloatArray, wanted: BoolArray, layer: str) -> list[_Run]:
    known = wanted & np.isfinite(design[:, :2] + measured[:, :2]).all(axis=1)
    flat = ~np.isfinite(design[:, 2] + measured[:, 2])
    runs = []
    for name, chosen in ((layer, known & ~flat), (layer + _FLAT, known & flat)):
        start, end = design[chosen], measured[chosen]
        if name != layer:
            start[:, 2] = end[:, 2] = 0.0
        begin, finish = _places(start), _places(end)
        apart = (begin != finish).any(axis=1)
        runs.append(_Run(kind="LINE", layer=name, place=begin[apart], end=finish[apart]))
    return runs


def _places(place: FloatArray) -> FloatArray:
    """Return x, y, z of north, east, elevation as they will be written; no elevation is 0."""
    xyz: FloatArray = np.column_stack((place[:, 1], place[:, 0], np.nan_to_num(place[:, 2])))
    return rounded(xyz, _DECIMALS)


def _text_of(run: _Run, rows: range, handle: int, height: float) -> str:
    """Return some of a run's entities as text; handle: of the first."""
    part = slice(rows.start, rows.stop)
    columns: list[Iterable[object]] = [
        range(handle, handle + len(rows)),
        *run.place[part].T.tolist(),
    ]
    pattern = _entity(run.kind, run.layer) + _BODIES[run.kind]
    if run.end is not None:
        columns += run.end[part].T.tolist()
    if run.labels is not None and run.rows is not None:
        pattern = pattern.replace("%HEIGHT%", f"{height:.3f}")
        columns.append(run.labels.texts(run.rows[part]))
    return "".join([pattern % each for each in zip(*columns, strict=True)])


def _safe_all(texts: list[str]) -> list[str]:
    """Return `_safe` of every text; quick where none needs it."""
    every = "".join(texts)
    if every.isascii() and every.isprintable() and not any(code in every for code in _CODES):
        return texts
    return [_safe(text) for text in texts]


def _safe(text: str) -> str:
    """Return a text on one line that no reader takes for a control code, in ASCII."""
    if text.isascii() and text.isprintable() and not any(code in text for code in _CODES):
        return text
    plain = clean(text.replace("\n", " ").replace("\r", " ").replace("\t", " "))
    plain = plain.replace("^", "^ ").replace("%%", "%%%%%%").replace("\\U+", "\\U+005CU+")
    return "".join(each if each.isascii() else _written(ord(each)) for each in plain)


def _written(code: int) -> str:
    """Return a character by its number; the format knows those of the basic plane only."""
    return f"\\U+{code:04X}" if code < 0x10000 else "?"


def _entity(kind: str, layer: str) -> str:
    """Return how an entity begins; its handle is left to fill in."""
    return f"0\n{kind}\n5\n%X\n330\n{_SPACE}\n100\nAcDbEntity\n8\n{layer}\n"


# ---------------------------------------------------------------- what every drawing must have


def _pairs(*items: object) -> str:
    """Return group codes and values, in turn, a line each."""
    return "".join(f"{item}\n" for item in items)


def _section(name: str, body: str) -> str:
    return f"{_pairs(0, 'SECTION', 2, name)}{body}{_pairs(0, 'ENDSEC')}"


def _head(results: Results, low: FloatArray, high: FloatArray, seed: str) -> str:
    unit = results.job.unit
    variables: Iterable[tuple[str, tuple[object, ...]]] = (
        ("$ACADVER", (1, "AC1015")),
        ("$DWGCODEPAGE", (3, "ANSI_1252")),
        ("$INSUNITS", (70, _INSUNITS[unit])),
        ("$MEASUREMENT", (70, int(unit is LengthUnit.METRE))),
        ("$EXTMIN", (10, f"{low[0]:.3f}", 20, f"{low[1]:.3f}", 30, "0.0")),
        ("$EXTMAX", (10, f"{high[0]:.3f}", 20, f"{high[1]:.3f}", 30, "0.0")),
        ("$LUNITS", (70, 2)),
        ("$LUPREC", (70, 4)),
        ("$PDMODE", (70, 3)),
        ("$PDSIZE", (40, -1.0)),
        ("$HANDSEED", (5, seed)),
    )
    note = _pairs(
        999, "As-measured against design; x is easting, y northing. It certifies nothing."
    )
    body = "".join(_pairs(9, name, *values) for name, values in variables)
    return note + _section("HEADER", body)


def _tables(layers: Sequence[str], low: FloatArray, high: FloatArray) -> str:
    middle, size = (low + high) / 2, high - low
    view = _record("VPORT", "29", "8", "AcDbViewportTableRecord", "*ACTIVE", flags=0)
    view += _pairs(10, 0.0, 20, 0.0, 11, 1.0, 21, 1.0)
    view += _pairs(12, f"{middle[0]:.3f}", 22, f"{middle[1]:.3f}")
    view += _pairs(13, 0.0, 23, 0.0, 14, 1.0, 24, 1.0, 15, 1.0, 25, 1.0)
    view += _pairs(16, 0.0, 26, 0.0, 36, 1.0, 17, 0.0, 27, 0.0, 37, 0.0)
    view += _pairs(40, f"{max(size[1], size[0] / 1.6):.3f}", 41, 1.6, 42, 50.0)
    lines = "".join(
        _record("LTYPE", handle, "5", "AcDbLinetypeTableRecord", name, flags=0)
        + _pairs(3, "", 72, 65, 73, 0, 40, 0.0)
        for handle, name in (("14", "ByBlock"), ("15", "ByLayer"), ("16", "Continuous"))
    )
    named = "".join(
        _record("LAYER", f"{handle:X}", "2", "AcDbLayerTableRecord", name, flags=0)
        + _pairs(62, _colour(name), 6, "Continuous")
        for handle, name in enumerate(("0", *layers), 0x40)
    )
    style = _record("STYLE", "11", "3", "AcDbTextStyleTableRecord", "Standard", flags=0)
    style += _pairs(40, 0.0, 41, 1.0, 50, 0.0, 71, 0, 42, 2.5, 3, "txt", 4, "")
    application = _record("APPID", "12", "9", "AcDbRegAppTableRecord", "ACAD", flags=0)
    dimension = (
        f"{_pairs(0, 'DIMSTYLE', 105, '27', 330, 'A', 100, 'AcDbSymbolTableRecord')}"
        f"{_pairs(100, 'AcDbDimStyleTableRecord', 2, 'Standard', 70, 0)}"
    )
    blocks = "".join(
        f"{_pairs(0, 'BLOCK_RECORD', 5, handle, 330, '1', 100, 'AcDbSymbolTableRecord')}"
        f"{_pairs(100, 'AcDbBlockTableRecord', 2, name, 340, '0')}"
        for handle, name in ((_SPACE, "*Model_Space"), (_PAPER, "*Paper_Space"))
    )
    parts = (
        _table("VPORT", "8", 1, view),
        _table("LTYPE", "5", 3, lines),
        _table("LAYER", "2", len(layers) + 1, named),
        _table("STYLE", "3", 1, style),
        _table("VIEW", "6", 0, ""),
        _table("UCS", "7", 0, ""),
        _table("APPID", "9", 1, application),
        _table("DIMSTYLE", "A", 1, dimension, _pairs(100, "AcDbDimStyleTable", 71, 1)),
        _table("BLOCK_RECORD", "1", 2, blocks),
    )
    return _section("TABLES", "".join(parts))


def _table(name: str, handle: str, entries: int, body: str, more: str = "") -> str:
    head = _pairs(0, "TABLE", 2, name, 5, handle, 330, "0", 100, "AcDbSymbolTable", 70, entries)
    return f"{head}{more}{body}{_pairs(0, 'ENDTAB')}"


def _record(kind: str, handle: str, owner: str, subclass: str, name: str, *, flags: int) -> str:
    head = _pairs(0, kind, 5, handle, 330, owner, 100, "AcDbSymbolTableRecord", 100, subclass)
    return head + _pairs(2, name, 70, flags)


def _colour(layer: str) -> int:
    for verdict, colour in _COLOURS.items():
        if verdict.word.upper() in layer:
            return colour
    return 8 if layer == _OLD else 7


def _block(name: str, owner: str, begin: str, end: str) -> str:
    look = (330, owner, 100, "AcDbEntity", 8, "0")
    head = _pairs(0, "BLOCK", 5, begin, *look, 100, "AcDbBlockBegin", 2, name, 70, 0)
    head += _pairs(10, 0.0, 20, 0.0, 30, 0.0, 3, name, 1, "")
    return head + _pairs(0, "ENDBLK", 5, end, *look, 100, "AcDbBlockEnd")


_BLOCKS = _section(
    "BLOCKS",
    _block("*Model_Space", _SPACE, "20", "21") + _block("*Paper_Space", _PAPER, "1C", "1D"),
)
_OBJECTS = _section(
    "OBJECTS",
    _pairs(0, "DICTIONARY", 5, "C", 330, "0", 100, "AcDbDictionary", 281, 1)
    + _pairs(3, "ACAD_GROUP", 350, "D")
    + _pairs(0, "DICTIONARY", 5, "D", 330, "C", 100, "AcDbDictionary", 281, 1),
)
