"""What looks odd about points: nothing that can be refused, all that a crew would want to be asked.

Every function takes points and returns notices; none of them changes a number or a verdict. The
limits below are common practice, no source.
"""

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from checker.checks.selecting import all_different
from checker.errors import Where
from checker.model.arrays import FloatArray, IntArray, taken
from checker.model.drawing import Notice
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.points import Points
from checker.text import fixed
from checker.units import LengthUnit

_FEW: Final = 5
"""Of fewer points than this nothing is said about which of them stands apart."""
_SPREADS: Final = 50.0
"""A point this many times the usual distance from the middle of the others stands apart."""
_NEAR_SPREADS: Final = 3.0
"""A coordinate that its lost digits bring this near to the middle of the others has lost them."""
_LEAST_APART_M: Final = 500.0
"""Nearer than this no point stands apart, however close together the others are."""
_RESTAKE_M: Final = 1.0
"""Two shots of one number this far apart are hardly a stake that was moved."""
_BETTER: Final = 0.1
"""Exchanged axes are told where they bring points this many times nearer to known ones."""
_ELSEWHERE: Final = 20.0
"""Points this many site sizes from every known point are somewhere else."""
_LEAST_ELSEWHERE_M: Final = 2000.0
_NO_DATA: Final = (-9999.0, -999.0, -99999.0, -32768.0, 9999.0, 99999.0)
"""Numbers that programs store where there is no height."""
_SHOWN: Final = 5


def oddities(inputs: Inputs, job: Job) -> tuple[Notice, ...]:
    """Return what is odd about a job's points, each kind by itself and against the known points."""
    notices: list[Notice] = []
    tables = () if inputs.design is None else (_of_tables(inputs.design),)
    for points in (inputs.control, *tables, inputs.measured):
        if points is not None and len(points):
            notices += point_oddities(points, job.unit)
    if inputs.measured is not None:
        notices += against_known(inputs.measured, (inputs.control, inputs.design), job.unit)
    return tuple(notices)


def point_oddities(points: Points, unit: LengthUnit) -> list[Notice]:
    """Return what is odd about points by themselves, file by file.

    unit: that of the messages.
    """
    notices: list[Notice] = []
    for number in range(len(points.files)):
        rows = np.flatnonzero(points.file == number)
        if not len(rows):
            continue
        notices += _standing_apart(points, rows, unit)
        notices += _same_axes(points, rows)
        notices += _heights(points, rows, unit)
        notices += _numbers_far_apart(points, rows, unit)
    return notices


def against_known(
    measured: Points, known: Iterable[Points | None], unit: LengthUnit
) -> list[Notice]:
    """Return what is odd about as-measured points against control and design, file by file.

    known: control before design. Where shots carry known numbers these are compared, else the
    places as a whole.
    """
    there = [points for points in known if points is not None and len(points)]
    if not there:
        return []
    notices: list[Notice] = []
    for number in range(len(measured.files)):
        rows = np.flatnonzero(measured.file == number)
        if len(rows):
            notices += _swapped_or_elsewhere(measured, rows, there, unit)
    return notices


# ---------------------------------------------------------------- points by themselves


def _of_tables(points: Points) -> Points:
    """Return the points that come from tables; what is odd in a drawing is the drawing's audit."""
    rows = np.flatnonzero(points.line > 0)
    return points if len(rows) == len(points) else _taken(points, rows)


def _taken(points: Points, rows: IntArray) -> Points:
    return Points(
        id=points.id[rows],
        northing_m=points.northing_m[rows],
        easting_m=points.easting_m[rows],
        elevation_m=points.elevation_m[rows],
        description=points.description[rows],
        layer=points.layer[rows],
        handle=points.handle[rows],
        file=points.file[rows],
        line=points.line[rows],
        files=points.files,
        quality=type(points.quality)(),
    )


def _standing_apart(points: Points, rows: IntArray, unit: LengthUnit) -> list[Notice]:
    """Return points far from the others of their file, and whose coordinate lost or won digits."""
    if len(rows) < _FEW:
        return []
    axes = {"northing": taken(points.northing_m, rows), "easting": taken(points.easting_m, rows)}
    apart = np.zeros(len(rows), dtype=np.bool_)
    notices = []
    middle = {name: float(np.median(values)) for name, values in axes.items()}
    away = np.hypot(*(values - middle[name] for name, values in axes.items()))
    usual = max(float(np.median(away)), 1e-3)
    limit = max(_SPREADS * usual, _LEAST_APART_M)
    for place in np.flatnonzero(away > limit).tolist():
        said = [
            text
            for name, values in axes.items()
            if (text := _lost_digits(float(values[place]), middle[name], usual, name, unit))
        ]
        if not said:
            apart[place] = True
            continue
        notices.append(
            Notice(
                slug="lost-digits",
                where=_where(points, int(rows[place])),
                message=f'point "{points.id[rows[place]]}" stands {_far(away[place], unit)} from '
                f"the others: {'; '.join(said)}",
            )
        )
    # More than a few are another part of the site, not points that stray.
    if 0 < apart.sum() <= max(2, len(rows) // 20):
        names = _named(points, rows[apart])
        notices.append(
            Notice(
                slug="far-point",
                where=_where(points, int(rows[apart][0])),
                message=f"{names} stand{'s' if apart.sum() == 1 else ''} up to "
                f"{_far(away[apart].max(), unit)} from the middle of the other points of the file",
            )
        )
    return notices


def _lost_digits(value: float, middle: float, usual: float, name: str, unit: LengthUnit) -> str:
    """Return in words which digits a coordinate seems to have lost or won; "" if none."""
    own, wanted = unit.from_metres(value), unit.from_metres(middle)
    near = unit.from_metres(_NEAR_SPREADS * usual)
    if abs(own - wanted) <= near:
        return ""
    for factor, said in (
        (10.0, "a digit or the decimal point has slipped"),
        (100.0, "two digits are missing or the decimal point has slipped"),
        (1000.0, "the decimal point has slipped by three"),
    ):
        for read in (own * factor, own / factor):
            if abs(read - wanted) <= near and abs(wanted) > near:
                return f"its {name} {fixed(own, 3)} would be {fixed(read, 3)} if {said}"
    for power in range(2, 9):
        # Leading digits: the last `power` ones agree, those before them do not.
        step = 10.0**power
        if near >= step / 4 or abs(wanted) < step:
            continue
        turns = round((wanted - own) / step)
        if turns and abs(own + turns * step - wanted) <= near and 0.0 <= own < step:
            read = own + turns * step
            return f"its {name} {fixed(own, 3)} would be {fixed(read, 3)} with its leading digits"
    return ""


def _same_axes(points: Points, rows: IntArray) -> list[Notice]:
    if len(rows) < 2 or not np.array_equal(points.northing_m[rows], points.easting_m[rows]):
        return []
    return [
        Notice(
            slug="same-axes",
            where=_where(points, int(rows[0])),
            message="northing and easting are equal in every row; one column was stored twice",
        )
    ]


def _heights(points: Points, rows: IntArray, unit: LengthUnit) -> list[Notice]:
    height = taken(points.elevation_m, rows)
    notices = []
    if len(rows) >= 2 and np.all(height == 0.0):
        notices.append(
            Notice(
                slug="zero-heights",
                where=_where(points, int(rows[0])),
                message=f"all {len(rows)} elevations are 0 and were read as 0; where none was "
                "measured, leave the cells empty",
            )
        )
    raw = unit.from_metres(height)
    stored = np.zeros(len(rows), dtype=np.bool_)
    for value in _NO_DATA:
        stored |= np.abs(raw - value) <= 1e-6
    if stored.any():
        notices.append(
            Notice(
                slug="no-data-height",
                where=_where(points, int(rows[stored][0])),
                message=f"{_named(points, rows[stored])}: {fixed(float(raw[stored][0]), 0)} looks "
                'like a sign for "no height" and was read as an elevation; leave such cells empty',
            )
        )
    return notices


def _numbers_far_apart(points: Points, rows: IntArray, unit: LengthUnit) -> list[Notice]:
    """Return numbers that stand at places too far apart for one stake."""
    if all_different(taken(points.id, rows)):
        return []
    ids = points.id[rows].tolist()
    first: dict[str, int] = {}
    pairs = [
        (first[name], place)
        for place, name in enumerate(ids)
        if first.setdefault(name, place) != place
    ]
    if not pairs:
        return []
    one, other = np.array(pairs, dtype=np.int64).T
    away = np.hypot(
        points.northing_m[rows[one]] - points.northing_m[rows[other]],
        points.easting_m[rows[one]] - points.easting_m[rows[other]],
    )
    far = np.flatnonzero(away > _RESTAKE_M)
    if not len(far):
        return []
    shown = "; ".join(
        f'"{ids[one[i]]}" on lines {points.line[rows[one[i]]]} and {points.line[rows[other[i]]]}, '
        f"{_far(away[i], unit)} apart"
        for i in far[:_SHOWN].tolist()
    )
    more = f" and {len(far) - _SHOWN} more" if len(far) > _SHOWN else ""
    return [
        Notice(
            slug="number-twice",
            where=_where(points, int(rows[other[far[0]]])),
            message=f"one number at two places: {shown}{more}. The last one governs; is each the "
            "same stake?",
        )
    ]


# ---------------------------------------------------------------- against control and design


def _swapped_or_elsewhere(
    measured: Points, rows: IntArray, known: Sequence[Points], unit: LengthUnit
) -> list[Notice]:
    north, east = measured.northing_m[rows], measured.easting_m[rows]
    where = Where(file=measured.files[int(measured.file[rows[0]])])
    mates = _mates(measured, rows, known)
    if len(mates):
        own, there = mates[:, :2], mates[:, 2:]
        now = float(np.median(np.hypot(*(own - there).T)))
        exchanged = float(np.median(np.hypot(*(own[:, ::-1] - there).T)))
        swapped = now > 1.0 and exchanged < _BETTER * now
        compared = f"{len(mates)} numbers that are known"
    else:
        places = np.vstack(
            [np.column_stack((points.northing_m, points.easting_m)) for points in known]
        )
        size = _size(places)
        now = _distance_to_box(np.median(north), np.median(east), places)
        exchanged = _distance_to_box(np.median(east), np.median(north), places)
        swapped = now > max(size, 100.0) and exchanged < _BETTER * now
        compared = "the place of the known points"
    if swapped:
        return [
            Notice(
                slug="swapped-axes",
                where=where,
                message="northing and easting look exchanged: against "
                f"{compared} the points are {_far(now, unit)} off as read, and "
                f"{_far(exchanged, unit)} off with the two columns exchanged",
            )
        ]
    site = np.vstack([np.column_stack((points.northing_m, points.easting_m)) for points in known])
    size = max(_size(site), _size(np.column_stack((north, east))))
    gap = _distance_to_box(float(np.median(north)), float(np.median(east)), site)
    if gap <= max(_ELSEWHERE * size, _LEAST_ELSEWHERE_M):
        return []
    shift = (
        float(np.median(site[:, 0]) - np.median(north)),
        float(np.median(site[:, 1]) - np.median(east)),
    )
    return [
        Notice(
            slug="elsewhere",
            where=where,
            message=f"the points stand {_far(gap, unit)} from every control and design point "
            f"(known minus as-measured about {_signed(shift[0], unit)} north, "
            f"{_signed(shift[1], unit)} east): another zone or grid, another unit, or leading "
            "digits that were left out",
        )
    ]


def _mates(measured: Points, rows: IntArray, known: Sequence[Points]) -> FloatArray:
    """Return own and known places of shots with a known number; shape (mates, 4), n e n e."""
    names = [str(name).strip() for points in known for name in points.id.tolist()]
    # of several the first
    index = dict(zip(reversed(names), range(len(names) - 1, -1, -1), strict=True))
    index.pop("", None)
    found = np.array(
        [index.get(str(name).strip(), -1) for name in measured.id[rows].tolist()], dtype=np.int64
    )
    rows, found = rows[found >= 0], found[found >= 0]
    north = np.concatenate([points.northing_m for points in known])[found]
    east = np.concatenate([points.easting_m for points in known])[found]
    return np.column_stack((measured.northing_m[rows], measured.easting_m[rows], north, east))


def _size(places: FloatArray) -> float:
    """Return the diagonal of the ground that places take, a few strays left aside."""
    low, high = np.percentile(places, [5, 95], axis=0)
    return float(np.hypot(*(high - low)))


def _distance_to_box(north: float, east: float, places: FloatArray) -> float:
    low, high = np.percentile(places, [5, 95], axis=0)
    here = np.array([north, east])
    return float(np.hypot(*np.maximum(np.maximum(low - here, here - high), 0.0)))


# ---------------------------------------------------------------- words


def _where(points: Points, row: int) -> Where:
    return Where(file=points.files[int(points.file[row])], line=int(points.line[row]) or None)


def _named(points: Points, rows: IntArray) -> str:
    names = [f'"{name}"' for name in points.id[rows[:_SHOWN]].tolist()]
    more = f" and {len(rows) - _SHOWN} more" if len(rows) > _SHOWN else ""
    noun = "point" if len(rows) == 1 else "points"
    return f"{noun} {', '.join(names)}{more}"


def _far(value_m: float, unit: LengthUnit) -> str:
    value = float(unit.from_metres(float(value_m)))
    decimals = 0 if abs(value) >= 100 else 2
    return f"{fixed(value, decimals)} {unit.short}"


def _signed(value_m: float, unit: LengthUnit) -> str:
    return ("+" if value_m >= 0 else "") + _far(value_m, unit)
