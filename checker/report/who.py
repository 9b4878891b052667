"""Who measured with what, and when: instruments, and the sessions of the shots."""

import datetime
from dataclasses import dataclass

import numpy as np

from checker.model.arrays import FloatArray, IntArray, TextArray
from checker.model.finding import Results
from checker.model.points import Points
from checker.report.escape import clean
from checker.report.numbers import Outside
from checker.report.show import THIN
from checker.text import fixed, group

_KINDS = 4
"""How many different bases, poles or solutions a session lists."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentView:
    """An instrument as the job states it, with the age of its calibration at the job's date."""

    name: str
    serial: str
    calibrated: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionView:
    """The shots of a session: how many, from when to when, from which base, on which pole."""

    name: str
    shots: str
    time: str
    base: str
    pole: str
    solution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WhoView:
    """Crew, instruments and sessions."""

    crew: str
    instruments: tuple[InstrumentView, ...]
    sessions: tuple[SessionView, ...]


def who_view(results: Results) -> WhoView:
    """Return who measured with what."""
    job, measured = results.job, results.inputs.measured
    last = (None if measured is None else measured.quality.last_day) or job.date
    return WhoView(
        crew=clean(job.surveyed_by or "not stated in the job"),
        instruments=tuple(
            InstrumentView(
                name=clean(each.name),
                serial=clean(each.serial or "not stated"),
                calibrated=_age(each.calibrated, job.date) + _due(each.due, last),
                note=clean(each.note or ""),
            )
            for each in job.instruments
        ),
        sessions=() if measured is None else _sessions(measured, Outside(unit=job.unit)),
    )


def _age(calibrated: datetime.date | None, date: datetime.date | None) -> str:
    """Return when an instrument was calibrated, and how long that was before the job's date."""
    if calibrated is None:
        return "not stated"
    if date is None:
        return f"{calibrated.isoformat()}; the job has no date to count its age to"
    days = (date - calibrated).days
    if days < 0:
        return f"{calibrated.isoformat()}, after the job's date"
    return f"{calibrated.isoformat()}, {group(days)} day{'s' if days != 1 else ''} before the job's"


def _due(due: datetime.date | None, day: datetime.date | None) -> str:
    """Return when the next calibration is due, and by how much it was overdue."""
    if due is None:
        return ""
    if day is None or due >= day:
        return f"; due {due.isoformat()}"
    days = (day - due).days
    return (
        f"; OVERDUE: it was due {due.isoformat()}, {group(days)} day{'s' if days != 1 else ''}"
        " before the last measurement"
    )


def _sessions(measured: Points, outside: Outside) -> tuple[SessionView, ...]:
    """Return the sessions in the order of the files; none where no file shows any."""
    sessions, quality = measured.quality.session, measured.quality
    if sessions is None:
        return ()
    found = []
    for name in dict.fromkeys(sessions.tolist()):
        here = np.flatnonzero(sessions == name)
        found.append(
            SessionView(
                name=clean(str(name)) or "none named",
                shots=group(len(here)),
                time=_span(quality.time, here),
                base=_kinds(quality.base, here),
                pole=_lengths(quality.pole_m, here, outside),
                solution=_kinds(quality.solution, here),
            )
        )
    return tuple(found)


def _span(time: np.ndarray[tuple[int, ...], np.dtype[np.datetime64]] | None, here: IntArray) -> str:
    shown = None if time is None else time[here][~np.isnat(time[here])]
    if shown is None or not len(shown):
        return "not shown"
    first, last = (str(each.astype("datetime64[m]")) for each in (shown.min(), shown.max()))
    same = first[:10] == last[:10]
    return f"{first.replace('T', ' ')} to {last[11:] if same else last.replace('T', ' ')} UTC"


def _kinds(values: TextArray | None, here: IntArray) -> str:
    kinds = [] if values is None else sorted({str(each) for each in values[here].tolist()} - {""})
    return _listed([clean(each) for each in kinds])


def _lengths(values: FloatArray | None, here: IntArray, outside: Outside) -> str:
    shown = np.empty(0) if values is None else values[here][np.isfinite(values[here])]
    return _listed(
        [
            f"{fixed(float(outside.unit.from_metres(each)), 3)}{THIN}{outside.unit.short}"
            for each in np.unique(shown).tolist()
        ]
    )


def _listed(texts: list[str]) -> str:
    more = len(texts) - _KINDS
    text = ", ".join(texts[:_KINDS]) + (f" and {more} more" if more > 0 else "")
    return text or "not shown"
