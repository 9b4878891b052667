"""The cut sheet: what goes on the lath of every stake with a design elevation, and as-builts."""

from dataclasses import dataclass

import numpy as np

from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.finding import Finding, Verdict
from checker.model.measure import Measure
from checker.report import svg
from checker.report.escape import clean
from checker.report.lath import lath_texts
from checker.report.numbers import LENGTH_DECIMALS, Outside, fixed_column, station_texts
from checker.report.rows import Rows
from checker.report.show import minus

HOLD = "HOLD"
"""What stands on the lath of a stake that is outside or undecided: nothing is built from it."""
TARGETS = {"feature_offset": "feature", "hinge_offset": "hinge"}
"""Columns with the offset of what cut and fill are to, where that is not the stake's own place."""
NOT_SET = "NOT SET"
"""What stands there for a design point that no shot was found for."""
MOST_LINES = 1500
"""How many lines the page lists at most; the file lists all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutLine:
    """A stake, or a point of what was built, on the page; every text finished. kind: of the mark.

    lath: cut or fill, or `HOLD` or `NOT_SET`. why: which other
    check holds it, or "". reach: how far it is to what cut and fill are to, and to which side.
    """

    id: str
    station: str
    offset: str
    hub: str
    design: str
    lath: str
    away: str
    kind: str
    why: str
    reach: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSheet:
    """The points of one check. stations: whether any has one. more: left off the page.

    target: what cut and fill are to, where that is not the stake's own place; or "".
    """

    name: str
    as_built: bool
    unit: str
    away_unit: str
    stations: bool
    target: str
    lines: tuple[CutLine, ...]
    more: int


def stakes_of(finding: Finding) -> IntArray:
    """Return the rows that belong on a cut sheet: a design elevation, and not staked again."""
    if finding.measure.kind not in ("stakeout", "surface", "slope_stake", "curb_return"):
        return np.empty(0, dtype=np.int64)
    design = finding.measure.numbers("design_z")
    return np.flatnonzero(np.isfinite(design) & ~finding.measure.flags("superseded"))


def held(finding: Finding, texts: list[str]) -> list[str]:
    """Return the lath's texts, with `HOLD` where nothing is to be built from the stake.

    A stake that nobody set has `NOT_SET`.
    """
    if finding.measure.as_built or not len(finding.row_verdict):
        return texts
    nobody: BoolArray = np.asarray((finding.measure.shots < 0).all(axis=1))
    return [
        HOLD if stop else NOT_SET if unset else text
        for stop, unset, text in zip(finding.row_hold.tolist(), nobody.tolist(), texts, strict=True)
    ]


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


def target_of(measure: Measure) -> tuple[str, FloatArray]:
    """Return what cut and fill are to beside the stake, and how far that is from the stake.

    "" and NaN where they are to its own place. Metres, positive to the right, from the stake as
    measured.
    """
    for key, target in TARGETS.items():
        reach_m = measure.numbers(key) - measure.numbers("offset")
        if np.isfinite(reach_m).any():
            return target, reach_m
    return "", np.full(len(measure.id), np.nan)


def reach_words(measure: Measure, outside: Outside) -> list[str]:
    """Return ``R 5.99``, or ``L 1.98, cut 2:1`` of a slope stake; "" where there is no target."""
    texts = offset_words(target_of(measure)[1], outside)
    slopes = measure.texts("side_slope")
    return [
        f"{text}, {slope}" if text and slope else text
        for text, slope in zip(texts, slopes, strict=True)
    ]


def lath_words(
    stations: list[str], offsets: list[str], cuts: list[str], reaches: list[str], target: str
) -> list[str]:
    """Return the words for the lath: what there is of station, offset, cut or fill, and to what."""
    if not any(stations) and not any(offsets):
        return cuts
    goals = [f"to the {target} {reach}" if reach else "" for reach in reaches]
    return [
        "  ".join(filter(None, parts)) for parts in zip(stations, offsets, cuts, goals, strict=True)
    ]


def held_by(finding: Finding) -> list[str]:
    """Return why a stake is held that is within in its own check, "" where it is not."""
    if finding.measure.as_built or not len(finding.row_elsewhere):
        return [""] * len(finding.measure.id)
    within = finding.row_verdict == Verdict.WITHIN
    return [
        str(reason) if passes and stop else ""
        for reason, passes, stop in zip(
            finding.row_reason.tolist(), within.tolist(), finding.row_hold.tolist(), strict=True
        )
    ]


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
        values = outside.unit.from_metres(measure.numbers(key))
        return [minus(text) for text in fixed_column(values, LENGTH_DECIMALS, missing="")]

    stations = station_texts(
        measure.numbers("station"), outside.unit, outside.station_digits, missing=""
    )
    offsets = offset_words(measure.numbers("offset"), outside)
    hubs, designs = fixed("measured_z"), fixed("design_z")
    apart = outside.smalls(measure.numbers("horizontal"))
    away = [minus(text) for text in fixed_column(apart, outside.small.decimals, missing="")]
    laths = held(finding, lath_texts(finding, measure.numbers("dz"), outside))
    kinds = [svg.KINDS[kind] for kind in rows.kind_anywhere.tolist()]
    whys, reaches = held_by(finding), reach_words(measure, outside)
    return CutSheet(
        name=clean(measure.name),
        as_built=measure.as_built,
        unit=outside.unit.short,
        away_unit=outside.small.unit,
        stations=any(stations),
        target=target_of(measure)[0],
        lines=tuple(
            CutLine(
                id=clean(str(measure.id[row])),
                station=minus(stations[row]),
                offset=offsets[row],
                hub=hubs[row],
                design=designs[row],
                lath=laths[row],
                away=away[row],
                kind=kinds[row],
                why=clean(whys[row]),
                reach=reaches[row],
            )
            for row in range(len(rows))
        ),
        more=more,
    )


def verdict_words(finding: Finding) -> list[str]:
    """Return the verdict's word of every row."""
    words = {int(verdict): verdict.word for verdict in Verdict}
    return [words[code] for code in finding.row_verdict.tolist()]
