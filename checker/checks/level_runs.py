"""Level books as runs: elevations above the start, point by point, whichever way it was booked."""

import re
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from checker.checks.closing import column, reading_text, refuse, stripped
from checker.errors import Where
from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.books import LevelBook, RiseBook
from checker.model.inputs import Inputs
from checker.model.job import Levels
from checker.model.measure import Column, Quantity
from checker.text import fixed, signed

TURNING_POINT = re.compile(r"(?:tp|turn(?:ing)?[ _-]*(?:pt|point)?)[ ._-]*\d*", re.IGNORECASE)
"""A name that stands for a mark of this book alone: two books may each have a TP1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Both:
    """A section run twice, both times counted from start to end; metres.

    length_m: of one running, setups: in one; NaN where the book does not say. line: of the second.
    """

    start: str
    end: str
    first_m: float
    second_m: float
    length_m: float
    setups: float
    line: int

    @property
    def disagreement_m(self) -> float:
        """First running minus the second."""
        return self.first_m - self.second_m


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelRun:
    """A level run, whichever way it was booked; shape (points,), the start first.

    section: for every point the number of sections behind it, the one it was shot from included:
    0 at the start; an intermediate sight belongs to the section of its set-up.
    length_m, setups: shape (sections,); NaN where the book does not say. instrument_m: height of
    the instrument above the start, None where the book is of differences. between: shape
    (points,), intermediate sights; None: there are none. both: sections that were run twice.
    """

    path: str
    line: IntArray
    point: list[str]
    rise_m: FloatArray
    section: IntArray
    length_m: FloatArray
    setups: FloatArray
    columns: tuple[Column, ...]
    instrument_m: FloatArray | None
    remarks: tuple[str, ...]
    between: BoolArray | None = None
    both: tuple[Both, ...] = ()


def run_of(section: Levels, inputs: Inputs) -> LevelRun:
    """Return the run of a section's book; raises InputError where its rows make none."""
    book = inputs.books[section.name]
    if isinstance(book, LevelBook):
        return _from_sights(book, section)
    if isinstance(book, RiseBook):
        return _from_rises(book, section)
    raise TypeError(section.name)


def legs_of(run: LevelRun, *, sights: bool) -> list[tuple[int, int]]:
    """Return the parts between marks that are no turning points, as pairs of rows of the run.

    sights: also to intermediate sights.
    """
    last = len(run.point) - 1
    carried = np.ones(last + 1, dtype=np.bool_) if sights or run.between is None else ~run.between
    kept = [
        index
        for index in np.flatnonzero(carried).tolist()
        if index in (0, last) or not TURNING_POINT.fullmatch(run.point[index])
    ]
    return list(pairwise(kept))


def part_of(run: LevelRun, first: int, last: int) -> tuple[float, float]:
    """Return length and set-ups between two rows that carry the run; NaN where not known."""
    sections = slice(int(run.section[first]), int(run.section[last]))
    return float(np.sum(run.length_m[sections])), float(np.sum(run.setups[sections]))


def run_twice(run: LevelRun) -> tuple[Both, ...]:
    """Return the sections between marks that the run passes more than once, in either direction."""
    found = list(run.both)
    seen: dict[tuple[str, str], tuple[float, float, float]] = {}
    for first, last in legs_of(run, sights=False):
        start, end = run.point[first], run.point[last]
        rise = float(run.rise_m[last] - run.rise_m[first])
        length, setups = part_of(run, first, last)
        forward, backward = seen.get((start, end)), seen.get((end, start))
        if forward is None and backward is None:
            seen[start, end] = (rise, length, setups)
            continue
        known = forward or backward
        assert known is not None  # noqa: S101  (one of them is there)
        turned = forward is None
        names = (end, start) if turned else (start, end)
        found.append(
            Both(
                start=names[0],
                end=names[1],
                first_m=known[0],
                second_m=-rise if turned else rise,
                length_m=(known[1] + length) / 2.0,
                setups=(known[2] + setups) / 2.0,
                line=int(run.line[last]),
            )
        )
    return tuple(found)


def _from_sights(book: LevelBook, job: Levels) -> LevelRun:
    """Return the run of a page of backsights, intermediate sights and foresights."""
    _check_sights(book)
    book, said = corrected(book, job)
    back, fore = np.nan_to_num(book.bs_m), np.nan_to_num(book.fs_m)
    # Height of instrument above the start for the set-up from which a row was shot.
    before = np.cumsum(back) - back - (np.cumsum(fore) - fore)
    sighted = np.where(np.isnan(book.fs_m), book.is_m, book.fs_m)
    rise = before - sighted
    rise[0] = 0.0
    has_back, has_fore = np.isfinite(book.bs_m), np.isfinite(book.fs_m)
    section = np.asarray(np.cumsum(has_back) - has_back, dtype=np.int64)
    start_of_page = float(np.sum(back) - np.sum(fore))
    unit = job.unit
    height = np.where(has_back, rise + back, np.nan)
    remark = (
        f"Page check: sum of backsights {reading_text(float(np.sum(back)), unit, plus=False)} "
        f"minus sum of foresights {reading_text(float(np.sum(fore)), unit, plus=False)} is "
        f"{reading_text(start_of_page, unit)}; last minus first elevation is "
        f"{reading_text(float(rise[-1]), unit)}."
    )
    length, distance = Quantity.LENGTH, Quantity.DISTANCE
    stray = int(np.count_nonzero(np.isfinite(book.distance_m) & ~has_fore))
    remarks = [remark, *said]
    if stray:
        remarks.append(
            f"{stray} distances stand on rows without a foresight and were not counted: the "
            "length of a section belongs to the row of its foresight."
        )
    return LevelRun(
        path=book.path,
        line=book.line,
        point=stripped(book.point),
        rise_m=rise,
        section=section,
        length_m=_lengths(book, has_back, has_fore),
        setups=np.ones(int(np.count_nonzero(has_back))),
        columns=(
            column("bs", "Backsight", length, book.bs_m),
            column("is", "Intermediate sight", length, book.is_m),
            column("fs", "Foresight", length, book.fs_m),
            column("distance", "Distance", distance, book.distance_m),
            *_sight_columns(book),
        ),
        instrument_m=height,
        between=np.isfinite(book.is_m),
        remarks=tuple(remarks),
    )


def _lengths(book: LevelBook, has_back: BoolArray, has_fore: BoolArray) -> FloatArray:
    """Return the lengths of the sections: as booked, else of the two sights that make them."""
    booked = np.asarray(book.distance_m[has_fore])
    if book.sights_m is None:
        return booked
    sights = book.sights_m[has_back, 0] + book.sights_m[has_fore, 2]
    return np.where(np.isnan(booked), sights, booked)


def _sight_columns(book: LevelBook) -> tuple[Column, ...]:
    if book.sights_m is None:
        return ()
    return tuple(
        column(f"{key}_distance", f"Length of the {label}", Quantity.DISTANCE, length, detail=True)
        for key, label, length in zip(
            ("bs", "is", "fs"),
            ("backsight", "intermediate sight", "foresight"),
            book.sights_m.T,
            strict=True,
        )
    )


def _check_sights(book: LevelBook) -> None:
    """Refuse a page whose sights do not make a run: every elevation behind the fault is wrong."""
    count = len(book)
    back, between, fore = (np.isfinite(sight) for sight in (book.bs_m, book.is_m, book.fs_m))
    row = np.arange(count)
    if count < 2 or not np.any(fore):
        refuse(
            "no-sections",
            Where(file=book.path),
            "the level book has no backsight with a foresight behind it",
            "give one row a point, with point, bs, is, fs: the first with bs, the last with fs",
        )
    first, last = row == 0, row == count - 1
    faults = (
        (first & ~(back & ~between & ~fore), "the first row needs a backsight and nothing else"),
        (last & ~(fore & ~between & ~back), "the last row needs a foresight and nothing else"),
        (~first & back & ~fore, "a backsight needs a foresight on its turning point"),
        (between & (fore | back), "an intermediate sight stands alone in its row"),
        (~first & ~(back | between | fore), "the row has no reading"),
    )
    for wrong, says in faults:
        for index in np.flatnonzero(wrong):
            refuse(
                "level-order",
                Where(file=book.path, line=int(book.line[index])),
                f'point "{book.point[index]}": {says}',
                "a turning point has its foresight and its new backsight in one row",
            )


def _from_rises(book: RiseBook, section: Levels) -> LevelRun:
    """Return the run of a list of differences of elevation."""
    count = len(book)
    if count == 0:
        refuse(
            "no-sections",
            Where(file=book.path),
            "the level book has no section",
            "give one row a section, with from, to and rise",
        )
    book, both, said = _meaned(book, section)
    count = len(book)
    start, end = stripped(book.from_), stripped(book.to)
    for row in range(count):
        where = Where(file=book.path, line=int(book.line[row]))
        if row and start[row] != end[row - 1]:
            refuse(
                "broken-chain",
                where,
                f'this section starts at "{start[row]}", but the one before ended at '
                f'"{end[row - 1]}"',
                "give the sections in the order levelled, each from the point reached before; "
                'lines of a net want adjust = "least-squares"',
            )
        if not np.isfinite(book.rise_m[row]):
            refuse(
                "missing-value",
                where,
                f"the section {start[row]} to {end[row]} has no rise",
                "give the elevation of its end minus that of its start",
            )

    def with_start(values: FloatArray) -> FloatArray:
        return np.concatenate([[np.nan], values])

    return LevelRun(
        path=book.path,
        line=np.concatenate([book.line[:1], book.line]),
        point=[start[0], *end],
        rise_m=np.concatenate([[0.0], np.cumsum(book.rise_m)]),
        section=np.arange(count + 1, dtype=np.int64),
        length_m=book.distance_m,
        setups=book.setups,
        columns=(
            column("rise", "Rise", Quantity.LENGTH, with_start(book.rise_m)),
            column("distance", "Distance", Quantity.DISTANCE, with_start(book.distance_m)),
            column("setups", "Set-ups", Quantity.COUNT, with_start(book.setups)),
        ),
        instrument_m=None,
        remarks=said,
        both=both,
    )


def _meaned(book: RiseBook, section: Levels) -> tuple[RiseBook, tuple[Both, ...], tuple[str, ...]]:
    """Return a book with one row a section: one run twice has the mean of its runnings.

    Two runnings stand in one row, or in two that follow each other, there and back, where the next
    section then starts from where the first running ended.
    """
    start, end = stripped(book.from_), stripped(book.to)
    close = section.close.strip() if isinstance(section.close, str) else None
    # A run that returns to where it began has no other elevation there.
    elsewhere = (
        isinstance(section.close, float)
        and isinstance(section.start, float)
        and abs(section.close - section.start) > 0.0
    )
    rise, length, setups = book.rise_m.copy(), book.distance_m.copy(), book.setups.copy()
    both: list[Both] = []
    kept: list[int] = []
    row = 0
    while row < len(book):
        kept.append(row)
        second = -float(book.back_m[row]) if book.back_m is not None else np.nan
        step = 1
        line = int(book.line[row])
        if row + 1 < len(book) and (start[row + 1], end[row + 1]) == (end[row], start[row]):
            after = start[row + 2] if row + 2 < len(book) else close
            last = row + 2 == len(book) and close is None
            if after == end[row] or (last and (both or elsewhere)):
                second, step = -float(book.rise_m[row + 1]), 2
                line = int(book.line[row + 1])
                length[row] = _middle(length[row], length[row + 1])
                setups[row] = _middle(setups[row], setups[row + 1])
        if np.isfinite(second):
            both.append(
                Both(
                    start=start[row],
                    end=end[row],
                    first_m=float(rise[row]),
                    second_m=second,
                    length_m=float(length[row]),
                    setups=float(setups[row]),
                    line=line,
                )
            )
            rise[row] = (rise[row] + second) / 2.0
        row += step
    if not both:
        return book, (), ()
    one = RiseBook(
        path=book.path,
        line=book.line[kept],
        from_=book.from_[kept],
        to=book.to[kept],
        rise_m=rise[kept],
        distance_m=length[kept],
        setups=setups[kept],
    )
    says = f"{len(both)} of {len(kept)} sections were run twice; the run goes by their means."
    return one, tuple(both), (says,)


def _middle(first: float, second: float) -> float:
    """Return the mean of two values, or the one that is known."""
    known = [value for value in (first, second) if np.isfinite(value)]
    return float(np.mean(known)) if known else float("nan")


def corrected(book: LevelBook, section: Levels) -> tuple[LevelBook, list[str]]:
    """Return the page with sight lengths from its wires and readings corrected as the job states.

    Only a stated collimation is applied: reading minus collimation times length of sight.
    """
    says: list[str] = []
    if book.sights_m is None and book.wires_m is not None:
        interval = np.abs(book.wires_m[:, :, 0] - book.wires_m[:, :, 2])
        book = replace(book, sights_m=section.stadia * interval)
        factor = f"{fixed(section.stadia, 3).rstrip('0').rstrip('.')}"
        says.append(
            "Readings are means of three wires; lengths of sights are the interval of the outer "
            f"wires times {factor}."
        )
    if book.sights_m is not None:
        says += _balance(book, section)
    slope = section.collimation
    if slope is None:
        return book, says
    if book.sights_m is None or not _complete(book):
        refuse(
            "no-sight-lengths",
            Where(file=book.path),
            "the job states a collimation, and the book has not the length of every backsight and "
            "foresight",
            "add columns bs_distance and fs_distance, or take collimation out",
        )
    correction = -slope * np.nan_to_num(book.sights_m)
    says.append(
        f"Readings were corrected for a line of sight that rises {signed(slope * 1e3, 4)} mm in a "
        f"metre{'' if section.two_peg is None else ', from the two-peg test'}."
    )
    lost = int(np.count_nonzero(np.isfinite(book.is_m) & np.isnan(book.sights_m[:, 1])))
    if lost:
        says.append(f"{lost} intermediate sights have no length and were not corrected.")
    return (
        replace(
            book,
            bs_m=book.bs_m + correction[:, 0],
            is_m=book.is_m + correction[:, 1],
            fs_m=book.fs_m + correction[:, 2],
        ),
        says,
    )


def _complete(book: LevelBook) -> bool:
    assert book.sights_m is not None  # noqa: S101  (asked before)
    lacks_back = np.isfinite(book.bs_m) & np.isnan(book.sights_m[:, 0])
    return not (lacks_back | (np.isfinite(book.fs_m) & np.isnan(book.sights_m[:, 2]))).any()


def _balance(book: LevelBook, section: Levels) -> list[str]:
    """Say how far backsights and foresights are from balanced: what collimation acts on."""
    assert book.sights_m is not None  # noqa: S101  (asked before)
    back, fore = (float(np.nansum(book.sights_m[:, at])) for at in (0, 2))
    if not (back > 0.0 and fore > 0.0):
        return []
    unit = section.unit
    apart = f"{fixed(unit.from_metres(abs(back - fore)), 1)} {unit.short}"
    more = "backsights" if back > fore else "foresights"
    text = f"{apart} more of {more}" if abs(back - fore) > 1e-6 else "balanced"
    says = (
        f"Lengths of sights: backsights {fixed(unit.from_metres(back), 1)} {unit.short}, "
        f"foresights {fixed(unit.from_metres(fore), 1)} {unit.short}: {text}."
    )
    return [says]
