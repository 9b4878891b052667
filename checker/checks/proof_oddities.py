"""What looks odd about the shots that a verdict rests on, once it is known what was compared.

Notices, as in `oddities`: none of them changes a number or a verdict. The limits below are common
practice, no source.
"""

import datetime
from collections.abc import Sequence
from typing import Final

import numpy as np

from checker.checks.closing import length_text
from checker.checks.selecting import (
    check_shots,
    control_ids,
    exclusion_reasons,
    loose_id,
    stripped_ids,
)
from checker.errors import Where
from checker.geometry.neighbours import nearest
from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.drawing import Notice
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.measure import Measure
from checker.model.points import Points
from checker.units import LengthUnit

_EXACT_M: Final = 1e-6
"""Nearer than this two coordinates are the same number."""
_HALF_DIGIT_M: Final = 0.0005
"""An export to three decimals is off by as much as this from what it was made of."""
_AT_LEAST: Final = 3
"""So many marks met to the last digit are no coincidence."""
_AT_THE_MARK_M: Final = 0.5
"""A shot this near to a control mark is likely to be one of it."""
_SHOWN: Final = 3


def proof_oddities(measures: Sequence[Measure], inputs: Inputs, job: Job) -> tuple[Notice, ...]:
    """Return what is odd about a job's shots.

    measures: all of them, of the control and the site fit too.
    """
    if inputs.measured is None:
        return ()
    return (
        *_exact(measures, inputs.measured, job.unit),
        *_control_otherwise(measures, inputs, inputs.measured, job),
        *_dated_before(inputs.measured, job),
    )


# ---------------------------------------------------------------- the design instead of shots


def _exact(measures: Sequence[Measure], measured: Points, unit: LengthUnit) -> list[Notice]:
    """Return the files of which half the shots or more meet what they are compared with exactly."""
    notices = []
    allowed, names = _allowed_m(measured, unit)[measured.file], stripped_ids(measured)
    for known, kind in (("design", "stakeout"), ("control", "control")):
        met = np.zeros(len(measured), dtype=np.bool_)
        compared = np.zeros(len(measured), dtype=np.bool_)
        for measure in measures:
            if measure.kind == kind:
                _mark(measure, allowed, met, compared)
        if np.count_nonzero(met) < _AT_LEAST:
            continue
        for number, file in enumerate(measured.files):
            own = measured.file == number
            shots = np.flatnonzero(met & own)
            count = int(np.count_nonzero(compared & own))
            if len(set(names[shots].tolist())) < _AT_LEAST or 2 * len(shots) < count:
                continue
            notices.append(
                Notice(
                    slug="shots-are-design",
                    where=Where(file=file, line=int(measured.line[shots[0]]) or None),
                    message=_EXACTLY[known].format(count=len(shots), of=count),
                )
            )
    return notices


_EXACTLY: Final = {
    "design": "{count} of {of} shots of stakes have the design's coordinates to the last digit, "
    "which no measurement has; ask whether the design was exported instead of what was measured",
    "control": "{count} of {of} check shots have the coordinates of control to the last digit, "
    "which no measurement has; ask whether the known points were exported instead of shots of them",
}


def _mark(measure: Measure, allowed: FloatArray, met: BoolArray, compared: BoolArray) -> None:
    """Mark the shots that a measure compares in plan, and those that meet their marks exactly.

    allowed, met, compared: shape (as-measured points,).
    """
    named = {column.key: column.values for column in measure.columns}
    if not {"dn", "de", "dz"} <= named.keys():
        return
    dn, de, dz = (named[key].astype(np.float64) for key in ("dn", "de", "dz"))
    shot = measure.shots[:, 0]
    rows = np.flatnonzero((shot >= 0) & (measure.unchecked == "") & ~np.isnan(dn))
    if not len(rows):
        return
    at = shot[rows]
    apart = np.fmax(np.fmax(np.abs(dn[rows]), np.abs(de[rows])), np.abs(dz[rows]))
    compared[at] = True
    met[at[apart <= allowed[at]]] = True


def _allowed_m(measured: Points, unit: LengthUnit) -> FloatArray:
    """Return how far the same coordinates may be apart, a number for each file.

    What was stored to three decimals may have been rounded from more.
    """
    allowed = np.full(len(measured.files), _EXACT_M)
    for number in range(len(measured.files)):
        rows = measured.file == number
        places = np.concatenate((measured.northing_m[rows], measured.easting_m[rows]))
        milli = 1000.0 * unit.from_metres(places)
        if np.all(np.abs(milli - np.round(milli)) < 1e-3):
            allowed[number] = min(_HALF_DIGIT_M, _HALF_DIGIT_M * unit.metres) + _EXACT_M
    return allowed


# ---------------------------------------------------------------- control under another number


def _control_otherwise(
    measures: Sequence[Measure], inputs: Inputs, measured: Points, job: Job
) -> list[Notice]:
    """Return shots that seem to be of control points, and were not compared with them."""
    known = inputs.control
    if known is None or not len(known):
        return []
    names = stripped_ids(measured)
    taken = control_ids(inputs)
    if inputs.design is not None:
        taken |= frozenset(stripped_ids(inputs.design).tolist())
    free = np.array([name not in taken for name in names.tolist()], dtype=np.bool_)
    free &= exclusion_reasons(job, measured) == ""
    alike = {loose_id(name): str(name) for name in stripped_ids(known).tolist() if name}
    worth = {_bare(name) for name in alike}
    rows, said = [], []
    for row in np.flatnonzero(free & (names != "")).tolist():
        if _bare(str(names[row])) not in worth:
            continue
        mark = alike.get(loose_id(str(names[row])))
        if mark is not None:
            rows.append(row)
            said.append(
                f'shot "{names[row]}" differs only in case, blanks or leading zeros from control '
                f"point {mark}, and was not compared with it"
            )
    idle = free.copy()
    for measure in measures:
        idle[measure.used] = False
    idle[rows] = False
    for row, mark, away in _at_marks(known, measured, np.flatnonzero(idle)):
        rows.append(row)
        shot = f'shot "{names[row]}"' if names[row] else "a shot without a number"
        said.append(
            f"{shot} stands {length_text(away, job.unit, plus=False)} from control point {mark} "
            "and was compared with nothing; ask whether it is a check shot"
        )
    return [
        Notice(
            slug="control-otherwise",
            where=Where(
                file=measured.files[int(measured.file[row])], line=int(measured.line[row]) or None
            ),
            message=text
            if place < _SHOWN - 1 or len(rows) <= _SHOWN
            else f"{text}; and {len(rows) - _SHOWN} more such shots",
        )
        for place, (row, text) in enumerate(zip(rows[:_SHOWN], said[:_SHOWN], strict=True))
    ]


def _bare(name: str) -> str:
    """Return a number without zeros and blanks, which numbers that differ only in these share."""
    return "".join(name.casefold().replace("0", "").split())


def _at_marks(known: Points, measured: Points, rows: IntArray) -> list[tuple[int, str, float]]:
    """Return which of the shots stand at a control mark, at which, and how far off."""
    if not len(rows):
        return []
    away, mark = nearest(
        np.column_stack((known.northing_m, known.easting_m)),
        np.column_stack((measured.northing_m[rows], measured.easting_m[rows])),
    )
    near = np.flatnonzero(away <= _AT_THE_MARK_M)
    return [(int(rows[i]), str(known.id[mark[i]]).strip(), float(away[i])) for i in near.tolist()]


def idle_shots(unused: IntArray, inputs: Inputs, job: Job) -> tuple[str, ...]:
    """Return the names of shots that no check compared: no check shots, and not excluded ones.

    A shot without a number is called by its file and line. unused: indices of all that no check
    compared.
    """
    measured = inputs.measured
    if measured is None or not len(unused):
        return ()
    left = np.zeros(len(measured), dtype=np.bool_)
    left[unused] = True
    left &= ~check_shots(inputs, measured) & (exclusion_reasons(job, measured) == "")
    names = stripped_ids(measured)
    return tuple(
        str(names[row]) or f"{measured.files[int(measured.file[row])]}:{int(measured.line[row])}"
        for row in np.flatnonzero(left).tolist()
    )


# ---------------------------------------------------------------- the date


def _dated_before(measured: Points, job: Job) -> list[Notice]:
    """Return whether the job's date lies before its last shot, wherever on Earth that was.

    Shots are timed in UTC, and the day of the date is over last 12 hours west of it.
    """
    time = measured.quality.time
    if job.date is None or time is None or np.isnat(time).all():
        return []
    shown = np.flatnonzero(~np.isnat(time))
    row = int(shown[np.argmax(time[shown])])
    over = np.datetime64(job.date + datetime.timedelta(days=1)) + np.timedelta64(12, "h")
    if time[row] < over:
        return []
    return [
        Notice(
            slug="date-before-shots",
            where=Where(file=job.file),
            message=f"[job] date is {job.date.isoformat()}, and the last shot was measured later, "
            f"on {time[row].astype('datetime64[D]')!s} "
            f"({measured.files[int(measured.file[row])]}:{int(measured.line[row])})",
        )
    ]
