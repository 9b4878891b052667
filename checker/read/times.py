"""Times of observation as UTC."""

import datetime
import re
from collections.abc import Sequence

import numpy as np

from checker.errors import Where
from checker.model.arrays import TimeArray
from checker.model.drawing import Notice
from checker.read.cells import Cells, is_blank
from checker.text import quoted

_ISO_PLAIN = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?")
_CLOCK = re.compile(
    r"(\d{1,2}):(\d\d)(?::(\d\d)(?:[.,](\d+))?)?\s*(Z|UTC|[+-]\d\d:?\d\d)?", re.IGNORECASE
)
_DATED = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})(?:[T ]+(.+))?", re.IGNORECASE)
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})(?:[T ,]+(.+))?", re.IGNORECASE)
_MONTHS = 12
_COMPACT = re.compile(r"(\d{4})(\d\d)(\d\d)(?:[T ]?(.+))?", re.IGNORECASE)
_COMPACT_CLOCK = re.compile(r"(\d\d)(\d\d)(\d\d)(?:[.,](\d+))?(Z|[+-]\d\d:?\d\d)?", re.IGNORECASE)
_PLAIN_CHARACTERS = frozenset("0123456789-:T. ")
_HINT = (
    "write date and time as 2031-04-17T10:15:00Z, or give a date and a time column; in 04/05/2031 "
    "nothing tells the day from the month"
)


def read_times(cells: Cells) -> TimeArray | None:
    """Return the times that a table shows, UTC; None where it shows none.

    One column with date and time (ISO 8601), or a date and a time of day. A time without offset is
    taken as UTC, which is said. A time of day without a date, or a date alone, is said and left.
    """
    date, time = "date" in cells, "time" in cells
    if not date and not time:
        return None
    field = "time" if time else "date"
    where = Where(
        file=cells.table.path,
        line=cells.table.header_line or None,
        part=cells.heading(field),
    )
    stamps = cells.raw(field)
    if date and time:
        stamps = [
            clock if _DATED.fullmatch(clock) else _together(day, clock)
            for day, clock in zip(cells.raw("date"), stamps, strict=True)
        ]
    shown = [stamp for stamp in stamps if not is_blank(stamp)]
    if not shown:
        return np.full(len(stamps), np.datetime64("NaT", "ms"))
    if all(_CLOCK.fullmatch(stamp) for stamp in shown):
        cells.notices.append(_unused(where, "a time of day without a date"))
        return None
    if not time and all(_is_day(stamp) for stamp in shown):
        cells.notices.append(_unused(where, "a date without a time of day"))
        return None
    read = _quick(stamps)
    if read is None:
        stamps = _year_first(stamps, cells, where)
        read = _quick(stamps) or _moments(stamps)
    values, faults, naive = read
    cells.faults.of_rows(
        cells.table,
        faults,
        cells.heading(field),
        lambda row: (
            "bad-time",
            f"{quoted(stamps[row])} is no date and time that can be read without doubt",
            _HINT,
        ),
    )
    if naive and not faults:
        cells.notices.append(
            Notice(
                slug="time-as-utc",
                where=where,
                message="times without an offset are taken as UTC",
            )
        )
    return values


def _year_first(stamps: Sequence[str], cells: Cells, where: Where) -> list[str]:
    """Return the stamps of a column, those that end their date with the year turned round.

    Which number is the day must be told by the column itself: by one beyond 12, or by points
    between, which stand where the day comes first (common practice, no source). Otherwise, and
    where rows tell different orders, they are left as they are, which no date can be read from.
    """
    found = [_YEAR_LAST.fullmatch(stamp.strip()) for stamp in stamps]
    dated = [match for match in found if match is not None]
    if not dated:
        return list(stamps)
    first = any(int(match[1]) > _MONTHS for match in dated)
    second = any(int(match[3]) > _MONTHS for match in dated)
    points = all(match[2] == "." for match in dated)
    if first == second and not (points and not first):
        return list(stamps)
    day, month = (1, 3) if first or not second else (3, 1)
    order, why = ("day, month" if day == 1 else "month, day"), "a day beyond the 12th tells so"
    if not first and not second:
        why = "points stand where the day comes first"
    cells.notices.append(
        Notice(
            slug="date-order",
            where=where,
            message=f"{quoted(dated[0].string)} and the like are read as {order}, year: {why}",
        )
    )
    return [
        stamp
        if match is None
        else f"{match[4]}-{int(match[month]):02d}-{int(match[day]):02d} {match[5] or ''}".strip()
        for stamp, match in zip(stamps, found, strict=True)
    ]


def _together(day: str, clock: str) -> str:
    if is_blank(day) and is_blank(clock):
        return ""
    return f"{day} {clock}".strip()


def _is_day(stamp: str) -> bool:
    return re.fullmatch(r"\d[\d/.-]{5,9}", stamp) is not None


def _unused(where: Where, what: str) -> Notice:
    return Notice(
        slug="time-not-used",
        where=where,
        message=f"{what}: the points show no time of observation",
    )


def _moments(stamps: Sequence[str]) -> tuple[TimeArray, list[int], bool]:
    """Return the times, the rows that cannot be read, and whether one had no offset."""
    values = np.full(len(stamps), np.datetime64("NaT", "ms"))
    faults = []
    naive = False
    for row, stamp in enumerate(stamps):
        if is_blank(stamp):
            continue
        moment = _moment(stamp)
        if moment is None:
            faults.append(row)
            continue
        naive |= moment.tzinfo is None
        if moment.tzinfo is not None:
            moment = moment.astimezone(datetime.UTC).replace(tzinfo=None)
        values[row] = np.datetime64(moment, "ms")
    return values, faults, naive


def _quick(stamps: Sequence[str]) -> tuple[TimeArray, list[int], bool] | None:
    """Read a whole column of one plain form at once; None where it has another."""
    ends = {stamp[-1:] for stamp in stamps}
    utc = ends <= {"Z", "z", ""}
    bare = [stamp[:-1] for stamp in stamps] if utc and ends != {""} else list(stamps)
    if not set("".join(bare)) <= _PLAIN_CHARACTERS:
        return None
    if not all(not stamp or _ISO_PLAIN.fullmatch(stamp) for stamp in bare):
        return None
    try:
        values = np.array([stamp or "NaT" for stamp in bare], dtype="datetime64[us]")
    except ValueError:
        return None
    return values.astype("datetime64[ms]"), [], not utc


def _moment(stamp: str) -> datetime.datetime | None:
    """Return one date and time; None where it is none, or day and month may be exchanged."""
    dated = _DATED.fullmatch(stamp)
    parts = (dated[1], dated[3], dated[4], dated[5]) if dated else None
    if parts is None:
        compact = _COMPACT.fullmatch(stamp)
        parts = (compact[1], compact[2], compact[3], compact[4]) if compact else None
    if parts is None or not parts[3]:
        return None
    clock = _CLOCK.fullmatch(parts[3].strip()) or _COMPACT_CLOCK.fullmatch(parts[3].strip())
    if clock is None:
        return None
    hour, minute, second, fraction, zone = clock.groups()
    try:
        moment = datetime.datetime(
            int(parts[0]),
            int(parts[1]),
            int(parts[2]),
            int(hour),
            int(minute),
            int(second or 0),
            int((fraction or "0")[:6].ljust(6, "0")),
            tzinfo=_zone(zone),
        )
        # The ends of the calendar have no UTC.
        return moment.astimezone(datetime.UTC) if moment.tzinfo else moment
    except (ValueError, OverflowError):
        return None


def _zone(text: str | None) -> datetime.timezone | None:
    if not text:
        return None
    if text.upper() in ("Z", "UTC"):
        return datetime.UTC
    hours, minutes = int(text[1:3]), int(text[-2:])
    span = datetime.timedelta(hours=hours, minutes=minutes)
    return datetime.timezone(-span if text[0] == "-" else span)
