"""Level runs: elevations by height of instrument or from differences, and how they close.

Misclosure is the elevation computed for the closing bench mark minus the known one. Common
practice; tests/published/closures names worked examples.
"""

import re
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from checker.adjust.least_squares import Kind
from checker.adjust.shares import along_run
from checker.checks.closing import (
    column,
    find_control,
    item,
    known_points,
    length_text,
    once,
    refuse,
    stripped,
    whole_measure,
)
from checker.checks.net import ASSUMED, Net, Sighting
from checker.errors import Where
from checker.model.arrays import FloatArray, IntArray
from checker.model.books import LevelBook, RiseBook
from checker.model.inputs import Inputs
from checker.model.job import Adjust, Job, Levels, Sigmas
from checker.model.measure import Column, Comparison, Item, Measure, Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """A level run, whichever way it was booked; shape (points,), the start first.

    section: for every point the number of sections behind it, the one it was shot from included:
    0 at the start; an intermediate sight belongs to the section of its set-up.
    length_m, setups: shape (sections,); NaN where the book does not say. instrument_m: height of
    the instrument above the start, None where the book is of differences.
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


def measure_levels(section: Levels, inputs: Inputs, _job: Job | None = None) -> Measure:
    """Return how a level run closes, and its elevations before and after the rule.

    One row a point of the book, the start first. Comparison: misclosure (metres, signed; n set-ups,
    length_m the distance levelled). Raises InputError where book and job do not fit each other.
    """
    book = inputs.books[section.name]
    if isinstance(book, LevelBook):
        run = _from_sights(book, section)
    elif isinstance(book, RiseBook):
        run = _from_rises(book)
    else:
        raise TypeError(section.name)
    start_m = _start(section, run, inputs)
    close_m, closes = _close(section, run, start_m, inputs)
    elevation = start_m + run.rise_m
    misclosure = float(run.rise_m[-1] - (close_m - start_m))
    adjusted, says = _adjusted(section, run, elevation, misclosure)
    setups = float(np.sum(run.setups))
    distance = float(np.sum(run.length_m))
    undecided = closes if np.isnan(close_m) else _cannot_limit(section, setups, distance)
    remarks = [*run.remarks, *_partial(run)]
    if not np.isnan(close_m):
        remarks.insert(
            0,
            f"The run closes {closes}: computed minus known "
            f"{length_text(misclosure, section.unit)}.",
        )
    remarks += says
    remarks += _on_the_way(section, run, elevation, inputs, closed=not np.isnan(close_m))
    quantity = Quantity.COORDINATE
    instrument = (
        ()
        if run.instrument_m is None
        else (
            column("hi", "Height of instrument", quantity, start_m + run.instrument_m, detail=True),
        )
    )
    return whole_measure(
        "levels",
        section,
        row_id=np.array(run.point, dtype=object),
        columns=(
            column("elevation", "Elevation", quantity, elevation),
            column("adjusted_elevation", "Adjusted elevation", quantity, adjusted),
            *run.columns,
            *instrument,
        ),
        summary=_summary(misclosure, distance, setups),
        comparisons=(_comparison(misclosure, setups, distance, undecided),),
        remarks=remarks,
        undecided=undecided,
    )


_TURNING_POINT = re.compile(r"(?:tp|turn(?:ing)?[ _-]*(?:pt|point)?)[ ._-]*\d*", re.IGNORECASE)
"""A name that stands for a mark of this book alone: two books may each have a TP1."""


def contribute_levels(section: Levels, inputs: Inputs, net: Net, sigmas: Sigmas) -> None:
    """Add a level run's rises to a net; sections between turning points are added up.

    A rise has the stated precision at its length, or by its set-ups where no length is known.
    """
    book = inputs.books[section.name]
    run = _from_sights(book, section) if isinstance(book, LevelBook) else None
    if isinstance(book, RiseBook):
        run = _from_rises(book)
    if run is None:
        raise TypeError(section.name)
    start_m = _start(section, run, inputs)
    close_m, _ = _close(section, run, start_m, inputs)
    for value, end, name in (
        (start_m, section.start, run.point[0]),
        (close_m, section.close, run.point[-1]),
    ):
        if end is not None and not isinstance(end, str):
            net.hold(name, (float("nan"), float("nan"), value))
    # Intermediate sights hang beside the run: a blunder in one shows nowhere.
    at = np.arange(len(run.point))
    if isinstance(book, LevelBook):
        at = np.flatnonzero(np.isnan(book.is_m))
    kept = [
        index
        for index in at.tolist()
        if index in (at[0], at[-1]) or not _TURNING_POINT.fullmatch(run.point[index])
    ]
    place = {index: number for number, index in enumerate(at.tolist())}
    for first, last in pairwise(kept):
        sections = slice(place[first], place[last])
        length, setups = float(np.sum(run.length_m[sections])), float(np.sum(run.setups[sections]))
        start, end = run.point[first], run.point[last]
        net.near(start, float("nan"), float("nan"), start_m + float(run.rise_m[first]))
        net.near(end, float("nan"), float("nan"), start_m + float(run.rise_m[last]))
        if start == end:
            continue
        net.sightings.append(
            Sighting(
                kind=Kind.RISE,
                i=start,
                j=end,
                value=float(run.rise_m[last] - run.rise_m[first]),
                sigma=_rise_sigma(section, sigmas, length, setups),
                where=Where(file=run.path, line=int(run.line[last])),
                label=f"rise {start} to {end}",
            )
        )


def _rise_sigma(section: Levels, sigmas: Sigmas, length: float, setups: float) -> float:
    formula = sigmas.rise
    if formula is None:
        formula = ASSUMED.rise if np.isfinite(length) else ASSUMED.rise_by_setups
    assert formula is not None  # noqa: S101  (one is assumed)
    lacks_length = formula.needs_length and np.isnan(length)
    if lacks_length or (formula.needs_n and np.isnan(setups)):
        refuse(
            "tolerance-unusable",
            section.where,
            f'sigma_rise "{formula.text}" needs the '
            f"{'distance' if lacks_length else 'number of set-ups'} of every section of "
            f'"{section.name}", and its book does not give it',
            "fill it in, or state sigma_rise as a plain length",
        )
    return float(formula.at(n=setups, length_m=length))


# ---------------------------------------------------------------- the book


def _from_sights(book: LevelBook, job: Levels) -> _Run:
    """Return the run of a page of backsights, intermediate sights and foresights."""
    _check_sights(book)
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
        f"Page check: sum of backsights {length_text(float(np.sum(back)), unit, plus=False)} minus "
        f"sum of foresights {length_text(float(np.sum(fore)), unit, plus=False)} is "
        f"{length_text(start_of_page, unit)}; last minus first elevation is "
        f"{length_text(float(rise[-1]), unit)}."
    )
    length, distance = Quantity.LENGTH, Quantity.DISTANCE
    stray = int(np.count_nonzero(np.isfinite(book.distance_m) & ~has_fore))
    remarks = [remark]
    if stray:
        remarks.append(
            f"{stray} distances stand on rows without a foresight and were not counted: the "
            "length of a section belongs to the row of its foresight."
        )
    return _Run(
        path=book.path,
        line=book.line,
        point=stripped(book.point),
        rise_m=rise,
        section=section,
        length_m=np.asarray(book.distance_m[has_fore]),
        setups=np.ones(int(np.count_nonzero(has_back))),
        columns=(
            column("bs", "Backsight", length, book.bs_m, detail=True),
            column("is", "Intermediate sight", length, book.is_m, detail=True),
            column("fs", "Foresight", length, book.fs_m, detail=True),
            column("distance", "Distance", distance, book.distance_m, detail=True),
        ),
        instrument_m=height,
        remarks=tuple(remarks),
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


def _from_rises(book: RiseBook) -> _Run:
    """Return the run of a list of differences of elevation."""
    count = len(book)
    if count == 0:
        refuse(
            "no-sections",
            Where(file=book.path),
            "the level book has no section",
            "give one row a section, with from, to and rise",
        )
    start, end = stripped(book.from_), stripped(book.to)
    for row in range(count):
        where = Where(file=book.path, line=int(book.line[row]))
        if row and start[row] != end[row - 1]:
            refuse(
                "broken-chain",
                where,
                f'this section starts at "{start[row]}", but the one before ended at '
                f'"{end[row - 1]}"',
                "give the sections in the order levelled, each from the point reached before",
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

    return _Run(
        path=book.path,
        line=np.concatenate([book.line[:1], book.line]),
        point=[start[0], *end],
        rise_m=np.concatenate([[0.0], np.cumsum(book.rise_m)]),
        section=np.arange(count + 1, dtype=np.int64),
        length_m=book.distance_m,
        setups=book.setups,
        columns=(
            column("rise", "Rise", Quantity.LENGTH, with_start(book.rise_m), detail=True),
            column(
                "distance", "Distance", Quantity.DISTANCE, with_start(book.distance_m), detail=True
            ),
            column("setups", "Set-ups", Quantity.COUNT, with_start(book.setups), detail=True),
        ),
        instrument_m=None,
        remarks=(),
    )


# ---------------------------------------------------------------- the ends


def _bench_mark(inputs: Inputs, name: str, role: str, section: Levels) -> float:
    index = find_control(inputs, name, role, section.where)
    assert inputs.control is not None  # noqa: S101  (find_control refused it)
    elevation = float(inputs.control.elevation_m[index])
    if np.isnan(elevation):
        control = inputs.control
        refuse(
            "no-elevation",
            Where(file=control.files[int(control.file[index])], line=int(control.line[index])),
            f'"{name}" is the {role} of the level run "{section.name}", but has no elevation',
            "give the bench mark its elevation, or state it in the job: "
            f"{role} = {{ elevation = ... }}",
        )
    return elevation


def _start(section: Levels, run: _Run, inputs: Inputs) -> float:
    if not isinstance(section.start, str):
        return section.start
    elevation = _bench_mark(inputs, section.start, "start", section)
    if run.point[0] != section.start.strip():
        refuse(
            "book-ends",
            Where(file=run.path, line=int(run.line[0])),
            f'the book begins at "{run.point[0]}", the job says start = "{section.start}"',
            "make the first row the start, or name that bench mark in the job",
        )
    return elevation


def _close(section: Levels, run: _Run, start_m: float, inputs: Inputs) -> tuple[float, str]:
    """Return the known elevation at the end and on what the run closes, or NaN and why not."""
    last = run.point[-1]
    if isinstance(section.close, str):
        elevation = _bench_mark(inputs, section.close, "close", section)
        if last != section.close.strip():
            refuse(
                "book-ends",
                Where(file=run.path, line=int(run.line[-1])),
                f'the book ends at "{last}", the job says close = "{section.close}"',
                "make the last row the close, or name that bench mark in the job",
            )
        return elevation, f"on bench mark {last}"
    if section.close is not None:
        return section.close, f"on the elevation stated for {last}"
    if last == run.point[0]:
        return start_m, f"on {last}, where it began"
    why = f"the run ends on {last} without a known elevation: nothing proves it"
    index = known_points(inputs).get(last)
    if (
        index is not None
        and inputs.control is not None
        and np.isfinite(inputs.control.elevation_m[index])
    ):
        why = (
            f"the run ends on {last} and the job names no close: nothing proves it "
            f'({last} is in the control file: close = "{last}" would close on it)'
        )
    return float("nan"), why


# ---------------------------------------------------------------- the rule


def _adjusted(
    section: Levels, run: _Run, elevation: FloatArray, misclosure: float
) -> tuple[FloatArray, list[str]]:
    """Return adjusted elevations, NaN where no rule was asked for or nothing closes."""
    nothing = np.full(elevation.size, np.nan)
    if section.adjust is Adjust.NONE:
        return nothing, []
    if section.adjust is Adjust.DISTANCE:
        weight, what = run.length_m, "distance"
    elif section.adjust is Adjust.SETUPS:
        weight, what = run.setups, "number of set-ups"
    elif section.adjust is Adjust.LEAST_SQUARES:
        # One line between two known ends: least squares with variances in proportion to length
        # (or to set-ups) shares by them.
        by_length = not np.any(np.isnan(run.length_m))
        weight = run.length_m if by_length else run.setups
        what = "distance" if by_length else "number of set-ups"
    else:
        refuse(
            "adjust",
            section.where,
            f'adjust = "{section.adjust}" is not a rule for a level run',
            'use "none", "distance", "setups" or "least-squares"',
        )
    column_name = "setups" if what == "number of set-ups" else "distance"
    if np.any(np.isnan(weight)):
        refuse(
            "adjust",
            section.where,
            f'adjust = "{section.adjust}" needs the {what} of every section, and {run.path} '
            f"does not give it for {np.count_nonzero(np.isnan(weight))} of {weight.size}",
            f"fill the column {column_name}, or use another rule",
        )
    if np.isnan(misclosure):
        return nothing, ["An open run leaves nothing to share out: no rule was applied."]
    at_end = np.concatenate([[0.0], along_run(misclosure, weight)])
    says = (
        f"The misclosure was shared out in proportion to the {what} so far; an intermediate sight "
        "takes the correction of the foresight of its set-up."
    )
    return np.asarray(elevation + at_end[run.section]), [says]


# ---------------------------------------------------------------- what is handed on


def _cannot_limit(section: Levels, setups: float, distance: float) -> str:
    """Why the tolerance has no value for this book, or ""."""
    limit = section.tolerance.misclosure if section.tolerance is not None else None
    if limit is None:
        return ""
    if limit.needs_length and np.isnan(distance):
        return f'the book has no distances, and the tolerance "{limit.text}" needs them'
    if limit.needs_n and np.isnan(setups):
        return f'the book has no number of set-ups, and the tolerance "{limit.text}" needs it'
    return ""


def _comparison(misclosure: float, setups: float, distance: float, undecided: str) -> Comparison:
    return once(
        "misclosure",
        "Misclosure",
        float("nan") if undecided else misclosure,
        # NaN where the book does not say: a limit that needs it is then NaN too.
        n=setups,
        length_m=distance,
        absent=undecided,
    )


def _summary(misclosure: float, distance: float, setups: float) -> tuple[Item, ...]:
    return (
        item("misclosure", "Misclosure", Quantity.LENGTH, misclosure),
        item("distance", "Distance levelled", Quantity.DISTANCE, distance),
        item("setups", "Set-ups", Quantity.COUNT, setups),
    )


def _partial(run: _Run) -> list[str]:
    """Say so where only some sections have a distance or a number of set-ups."""
    says = []
    for values, what in ((run.length_m, "distance"), (run.setups, "number of set-ups")):
        lacking = int(np.count_nonzero(np.isnan(values)))
        if 0 < lacking < values.size:
            says.append(
                f"{lacking} of {values.size} sections have no {what}: the total is not known."
            )
    return says


def _on_the_way(
    section: Levels, run: _Run, elevation: FloatArray, inputs: Inputs, *, closed: bool
) -> list[str]:
    """Compare bench marks that the run met between its ends with their known elevations."""
    control, known = inputs.control, known_points(inputs)
    says = []
    last = len(run.point) - 1 if closed else len(run.point)
    for row in range(1, last):
        index = known.get(run.point[row])
        if control is None or index is None or np.isnan(control.elevation_m[index]):
            continue
        difference = float(elevation[row] - control.elevation_m[index])
        says.append(
            f"Bench mark {run.point[row]} on the way: computed minus known "
            f"{length_text(difference, section.unit)}."
        )
    return says
