"""The cut sheet: what goes on the lath of every stake with a design elevation, and as-builts."""

from dataclasses import dataclass

import numpy as np

from checker.model.arrays import FloatArray, IntArray
from checker.model.finding import Finding, Verdict
from checker.model.measure import Measure, Quantity
from checker.report import svg
from checker.report.escape import clean
from checker.report.lath import lath_texts
from checker.report.numbers import LENGTH_DECIMALS, Outside, fixed_column, station_texts
from checker.report.rows import Rows
from checker.report.show import minus

HOLD = "HOLD"
"""What stands on the lath of a stake that is outside or undecided: nothing is built from it."""
MOST_LINES = 1500
"""How many lines the page lists at most; the file lists all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutLine:
    """A stake, or a point of what was built, on the page; every text finished. kind: of the mark.

    lath: cut or fill; of a stake from which nothing is to be built it is `HOLD`.
    """

    id: str
    station: str
    offset: str
    hub: str
    design: str
    lath: str
    away: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSheet:
    """The points of one check. stations: whether any has one. more: left off the page."""

    name: str
    as_built: bool
    unit: str
    away_unit: str
    stations: bool
    lines: tuple[CutLine, ...]
    more: int


def stakes_of(finding: Finding) -> IntArray:
    """Return the rows that belong on a cut sheet: a design elevation, and not staked again."""
    if finding.measure.kind not in ("stakeout", "surface", "slope_stake", "curb_return"):
        return np.empty(0, dtype=np.int64)
    design = lengths(finding.measure, "design_z")
    return np.flatnonzero(np.isfinite(design) & ~flags(finding.measure, "superseded"))


def held(finding: Finding, texts: list[str]) -> list[str]:
    """Return the lath's texts with `HOLD` where nothing is to be built from the stake."""
    if finding.measure.as_built or not len(finding.row_verdict):
        return texts
    hold = (finding.row_verdict >= Verdict.UNDECIDED).tolist()
    return [HOLD if stop else text for stop, text in zip(hold, texts, strict=True)]


def offset_words(values_m: FloatArray, outside: Outside) -> list[str]:
    """Return offsets as on a lath: ``L 12.00`` left, ``R 12.00`` right, ``0.00`` on the line."""
    if np.isnan(values_m).all():
        return [""] * len(values_m)
    decimals = outside.lath_decimals
    texts = fixed_column(np.abs(outside.unit.from_metres(values_m)), decimals, missing="")
    zero = fixed_column(np.zeros(1), decimals)[0]
    return [
        text if text in ("", zero) else f"{'L' if left else 'R'} {text}"
        for text, left in zip(texts, (values_m < 0.0).tolist(), strict=True)
    ]


def lath_words(stations: list[str], offsets: list[str], cuts: list[str]) -> list[str]:
    """Return the words for the lath: what there is of station, offset, cut or fill."""
    if not any(stations) and not any(offsets):
        return cuts
    return ["  ".join(filter(None, parts)) for parts in zip(stations, offsets, cuts, strict=True)]


def cut_sheets(every: list[Rows]) -> tuple[CutSheet, ...]:
    """Return the cut sheet of every check that has one, in their order."""
    sheets = []
    room = MOST_LINES
    for rows in every:
        chosen = stakes_of(rows.finding)
        if not chosen.size:
            continue
        shown = chosen[:room]
        room -= len(shown)
        sheets.append(_sheet(rows.part(shown), len(chosen) - len(shown)))
    return tuple(sheets)


def _sheet(rows: Rows, more: int) -> CutSheet:
    finding, outside = rows.finding, rows.outside
    measure = finding.measure

    def fixed(key: str) -> list[str]:
        values = outside.unit.from_metres(lengths(measure, key))
        return [minus(text) for text in fixed_column(values, LENGTH_DECIMALS, missing="")]

    stations = station_texts(
        lengths(measure, "station"), outside.unit, outside.station_digits, missing=""
    )
    offsets = offset_words(lengths(measure, "offset"), outside)
    hubs, designs = fixed("measured_z"), fixed("design_z")
    apart = outside.smalls(lengths(measure, "horizontal"))
    away = [minus(text) for text in fixed_column(apart, outside.small.decimals, missing="")]
    laths = held(finding, lath_texts(finding, lengths(measure, "dz"), outside))
    return CutSheet(
        name=clean(measure.name),
        as_built=measure.as_built,
        unit=outside.unit.short,
        away_unit=outside.small.unit,
        stations=any(stations),
        lines=tuple(
            CutLine(
                id=clean(str(measure.id[row])),
                station=minus(stations[row]),
                offset=offsets[row],
                hub=hubs[row],
                design=designs[row],
                lath=laths[row],
                away=away[row],
                kind=svg.KINDS[int(rows.kind[row])],
            )
            for row in range(len(rows))
        ),
        more=more,
    )


def lengths(measure: Measure, key: str) -> FloatArray:
    """Return a column of numbers, metres; all NaN where there is none."""
    for column in measure.columns:
        if column.key == key and column.quantity is not Quantity.TEXT:
            return column.values.astype(np.float64)
    return np.full(len(measure.id), np.nan)


def flags(measure: Measure, key: str) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Return a column of flags; all False where there is none."""
    for column in measure.columns:
        if column.key == key:
            return column.values.astype(np.bool_)
    return np.zeros(len(measure.id), dtype=np.bool_)


def verdict_words(finding: Finding) -> list[str]:
    """Return the verdict's word of every row."""
    words = {int(verdict): verdict.word for verdict in Verdict}
    return [words[code] for code in finding.row_verdict.tolist()]
