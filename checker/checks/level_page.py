"""The arithmetic of a page of levels, and whether what was booked follows from its readings.

Sum of backsights minus sum of foresights = last minus first elevation = sum of rises minus sum of
falls; with intermediate sights also: the sum of all elevations but the first = the sum over the
set-ups of the height of instrument times the readings taken from it, less the sums of intermediate
sights and foresights (common practice, no source).
"""

import numpy as np

from checker.checks.closing import column, known_points, length_text, reading_text, stripped
from checker.checks.level_runs import LevelRun
from checker.model.arrays import FloatArray
from checker.model.books import BookedLevels, LevelBook
from checker.model.inputs import Inputs
from checker.model.job import Levels
from checker.model.measure import Quantity, Supplement

_SAME_M = 1e-6
"""Differences below a micrometre are binary rounding: no level reads so fine."""
_WIRE_UNITS = 3
"""The two halves of a wire interval may differ by so many units of the last digit (practice)."""


def _reading(book: LevelBook) -> FloatArray:
    return np.where(np.isnan(book.fs_m), book.is_m, book.fs_m)


def _rises(book: LevelBook) -> FloatArray:
    """Return the rise to every row from the row before, as readings give it; NaN for the first."""
    ahead = _reading(book)[1:]
    before = np.where(np.isfinite(book.bs_m), book.bs_m, book.is_m)[:-1]
    return np.concatenate(([np.nan], before - ahead))


def page_contradictions(section: Levels, inputs: Inputs, start_m: float) -> list[str]:
    """Return what a page says of itself that its readings do not give, row by row.

    Compared with what was booked in the row before, so that one slip shows once; a difference that
    rounding to the digits written explains is none.
    """
    book = inputs.books[section.name]
    if not isinstance(book, LevelBook):
        return []
    found = _wire_faults(book, section)
    if book.booked is not None:
        found += _booked_faults(book, book.booked, section, start_m, _known(book, section, inputs))
    return found


def _known(book: LevelBook, section: Levels, inputs: Inputs) -> list[float]:
    """Return the known elevation of every row's mark, NaN where it has none."""
    index, control = known_points(inputs), inputs.control
    found = [
        float(control.elevation_m[index[name]])
        if control is not None and name in index
        else float("nan")
        for name in stripped(book.point)
    ]
    if isinstance(section.close, float):
        found[-1] = section.close
    return found


def _booked_faults(
    book: LevelBook, booked: BookedLevels, section: Levels, start_m: float, known: list[float]
) -> list[str]:
    """Return what was booked and does not follow.

    Elevations in fewer than half of the rows are those of known marks, and so is one that is the
    known elevation of its mark: they are not what the page was reduced to.
    """
    names = stripped(book.point)
    reduced = np.count_nonzero(np.isfinite(booked.elevation_m[1:])) >= (len(book) - 1) / 2.0
    rises = _rises(book)
    found: list[str] = []

    def compare(row: int, what: str, stated: float, follows: float, room: float) -> None:
        if abs(stated - follows) > room + _SAME_M:
            found.append(
                f"line {int(book.line[row])}, {names[row]}: {what} booked "
                f"{reading_text(stated, section.unit, plus=False)}, the "
                f"{'readings give' if row or what != 'elevation' else 'run starts from'} "
                f"{reading_text(follows, section.unit, plus=False)}"
            )

    def rounding(step: float) -> float:
        """Return what rounding takes or adds: nothing where the readings have no more digits."""
        return 0.0 if booked.reading_step_m >= step * (1.0 - 1e-9) else step / 2.0

    last, last_room = start_m, 0.0
    instrument = instrument_room = np.nan
    for row in range(len(book)):
        rise, step = booked.rise_m[row], booked.rise_step_m[row]
        if np.isfinite(rise) and np.isfinite(rises[row]):
            word = "rise" if rise >= 0.0 else "fall"
            sign = 1.0 if rise >= 0.0 else -1.0
            compare(row, word, sign * rise, sign * rises[row], rounding(step))
        elevation = booked.elevation_m[row]
        if np.isfinite(elevation) and reduced:
            step = float(booked.elevation_step_m[row])
            follows = last if row == 0 else last + rises[row]
            # The known elevation may have more digits than the page.
            room = step / 2.0 if row == 0 else rounding(step) + last_room
            if np.isfinite(instrument):
                follows = instrument - _reading(book)[row]
                room = rounding(step) + instrument_room
            if row and abs(elevation - known[row]) <= step / 2.0 + _SAME_M:
                last, last_room = float(follows), room
            else:
                compare(row, "elevation", elevation, follows, room)
                last, last_room = float(elevation), rounding(step)
        elif row:
            last += float(rises[row])
        if np.isfinite(book.bs_m[row]):
            instrument = booked.instrument_m[row]
            if np.isfinite(instrument):
                instrument_room = rounding(float(booked.instrument_step_m[row]))
                compare(
                    row,
                    "height of instrument",
                    float(instrument),
                    last + float(book.bs_m[row]),
                    instrument_room + last_room,
                )
    return found


def _wire_faults(book: LevelBook, section: Levels) -> list[str]:
    """Return sights whose middle wire is not in the middle of the other two."""
    if book.wires_m is None:
        return []
    upper, middle, lower = np.moveaxis(book.wires_m, 2, 0)
    off = np.abs(np.abs(upper - middle) - np.abs(middle - lower))
    found = []
    words = ("backsight", "intermediate sight", "foresight")
    with np.errstate(invalid="ignore"):
        wrong = off > _WIRE_UNITS * book.wire_step_m + _SAME_M
    for row, sight in np.argwhere(wrong).tolist():
        found.append(
            f"line {int(book.line[row])}, {str(book.point[row]).strip()}: the halves of the wire "
            f"interval of the {words[sight]} differ by "
            f"{length_text(float(off[row, sight]), section.unit, plus=False)}"
        )
    return found


def page_tables(section: Levels, inputs: Inputs, run: LevelRun) -> tuple[Supplement, ...]:
    """Return the sums of a page as a reviewer adds them up; () for a book of differences."""
    book = inputs.books[section.name]
    if not isinstance(book, LevelBook) or run.instrument_m is None:
        return ()
    # As used: corrected where the job states a collimation.
    used = {each.key: each.values.astype(np.float64) for each in run.columns}
    back, between, fore = (float(np.nansum(used[key])) for key in ("bs", "is", "fs"))
    rises = np.diff(run.rise_m)
    up, down = float(np.sum(rises[rises > 0.0])), float(-np.sum(rises[rises < 0.0]))
    lines = [
        ("Sum of backsights", back),
        ("Sum of foresights", fore),
        ("Backsights minus foresights", back - fore),
        ("Sum of rises", up),
        ("Sum of falls", down),
        ("Rises minus falls", up - down),
        ("Last minus first elevation", float(run.rise_m[-1])),
    ]
    if np.isfinite(book.is_m).any():
        # Heights above the start throughout: the start's own elevation would cancel.
        height = run.instrument_m[np.isfinite(run.instrument_m)]
        taken = np.bincount(run.section[1:] - 1, minlength=height.size)
        lines += [
            ("Sum of intermediate sights", between),
            ("Sum of elevations above the start", float(np.sum(run.rise_m[1:]))),
            (
                "Heights of instrument times readings, less the readings",
                float(np.sum(height * taken)) - between - fore,
            ),
        ]
    return (
        Supplement(
            key="page",
            title="Arithmetic of the page",
            head="Sum",
            id=np.array([name for name, _ in lines], dtype=object),
            columns=(
                column("value", "Value", Quantity.LENGTH, np.array([value for _, value in lines])),
            ),
        ),
    )
