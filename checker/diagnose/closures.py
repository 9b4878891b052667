"""What one common blunder would explain of a misclosure: traverses, level runs, loops of vectors.

A closure is looked at only where it is out of its tolerance or far from what careful work leaves.
Then something is wrong, and what is asked is only which cause gives just this misclosure: each is
weighed by the density it gives to it, divided among all the readings that it might have befallen,
against a blunder of any size (the same marginal likelihoods as for residuals).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from checker.diagnose.heights import pole_pairs
from checker.diagnose.hypothesis import UNITS, length
from checker.diagnose.noise import badly_set
from checker.model.arrays import FloatArray
from checker.model.books import LevelBook, RiseBook, TraverseBook, VectorBook
from checker.model.diagnosis import Cause
from checker.model.finding import Finding, Verdict
from checker.model.inputs import Inputs
from checker.model.job import Job, Levels, Position, Traverse
from checker.model.measure import Item, Measure, Quantity
from checker.units import ARCSEC, LengthUnit

LEAST_GAIN = 2.5
"""Nats that a cause must gain on a blunder of any size. Lower than for residuals, where nothing
need be wrong at all."""
_ALIKE = 3.0
_OUT = 5.0
"""Standard deviations from which a misclosure is none of careful work."""
_LEG_M, _LEG_PART = 0.004, 4e-5
_SETUP_M, _KM_M = 0.0017, 0.003
_ANGLE_RAD = 12.0 * ARCSEC
"""What careful work leaves: a leg, and its share of the length; a set-up, a root kilometre; an
angle (common practice, no source)."""
_POWERS = range(-4, 6)
_TWO_PI = 2.0 * np.pi


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed:
    """A cause that would explain a misclosure.

    check: name of the section. what: the reading or mark concerned, in words. before, after: the
    misclosure and what would be left of it, metres (radians where `angular`). alike: other readings
    that would explain it by the same cause. also: other causes.
    """

    cause: Cause
    check: str
    what: str
    before: float
    after: float
    gain: float
    angular: bool = False
    alike: tuple[str, ...] = ()
    also: tuple[Cause, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Option:
    cause: Cause
    what: str
    gain: float
    after: float
    angular: bool = False


def closures(
    job: Job,
    inputs: Inputs,
    findings: Sequence[Finding],
    poles_m: tuple[float, ...],
    convergence_rad: float,
) -> list[Closed]:
    """Return what would explain the misclosures of the job's traverses, level runs and vectors."""
    sections = {section.name: section for section in job.checks}
    found = []
    for finding in findings:
        measure = finding.measure
        section, book = sections.get(measure.name), inputs.books.get(measure.name)
        options: list[_Option] = []
        size = angular = np.nan
        out = finding.verdict is Verdict.OUTSIDE
        if isinstance(section, Traverse) and isinstance(book, TraverseBook):
            line = _line(section, book, measure)
            if line is not None and (out or line.is_out):
                size, angular = float(np.hypot(*line.raw)), abs(line.angular)
                options = list(_of_traverse(line, convergence_rad))
        elif isinstance(section, Levels) and isinstance(book, LevelBook | RiseBook):
            run = _run(section, book, measure, inputs)
            if run is not None and (out or abs(run.miss) > _OUT * run.sigma):
                size = abs(run.miss)
                options = list(_of_levels(run, poles_m))
        elif isinstance(book, VectorBook) and out:
            size, options = _of_vectors(measure, poles_m)
        best = _best(options, measure.name, size, angular)
        if best is not None:
            found.append(best)
    return found


def _best(options: Sequence[_Option], check: str, size: float, angular: float) -> Closed | None:
    """Return the cause that gains most, all the readings that it may have befallen together."""
    total: dict[str, float] = {}
    first: dict[str, _Option] = {}
    for each in sorted(options, key=lambda option: -option.gain):
        blunder = each.cause.blunder
        first.setdefault(blunder, each)
        total[blunder] = float(np.logaddexp(total.get(blunder, -np.inf), each.gain))
    ranked = sorted(total, key=lambda blunder: -total[blunder])
    if not ranked or total[ranked[0]] < LEAST_GAIN:
        return None
    gain = total[ranked[0]]
    winner = first[ranked[0]]
    beside = [
        each.what
        for each in options
        if each.cause.blunder == ranked[0]
        and each.gain > winner.gain - _ALIKE
        and each.what != winner.what
    ]
    return Closed(
        cause=winner.cause,
        check=check,
        what=winner.what,
        before=angular if winner.angular else size,
        after=winner.after,
        gain=gain,
        angular=winner.angular,
        alike=tuple(dict.fromkeys(beside)),
        also=tuple(first[b].cause for b in ranked[1:] if total[b] > gain - _ALIKE),
    )


def _text(key: str, value: str) -> Item:
    return Item(key=key, label=key, quantity=Quantity.TEXT, value=value)


def _value(measure: Measure, key: str) -> float:
    for item in measure.summary:
        if item.key == key and isinstance(item.value, float | int):
            return float(item.value)
    return np.nan


def _gain(miss: float, left: float, sigma: float, axes: int, choices: float) -> float:
    """Return what an exact cause gains on a blunder of any size; left: what it leaves."""
    inside = -0.5 * (left / sigma) ** 2 - 0.5 * axes * np.log(_TWO_PI * sigma**2)
    return float(inside + badly_set(np.asarray(miss), axes) - np.log(max(choices, 1.0)))


# ---------------------------------------------------------------- readings


def exchanged_digits(value: float, unit: LengthUnit) -> Iterator[float]:
    """Yield what exchanging two neighbouring digits of a reading changes it by, metres."""
    here = abs(value) / unit.metres
    sign = 1.0 if value >= 0 else -1.0
    for high in _POWERS:
        if here < 10.0 ** (high - 1):
            return
        big, small = (int(np.floor(here / 10.0**p + 1e-6)) % 10 for p in (high, high - 1))
        if big != small and high - 1 >= _POWERS.start:
            yield sign * (small - big) * 9.0 * 10.0 ** (high - 1) * unit.metres


def _other_units(value: float, right: float, sigma: float) -> Iterator[tuple[float, str, str]]:
    """Yield factor, true and taken unit where a reading is the right one in another unit."""
    if right == 0.0 or value / right <= 0.0:
        return
    ratio = value / right
    near = 4.0 * sigma / abs(right)
    seen: list[float] = []
    for true, of_true in UNITS.items():
        for taken, of_taken in UNITS.items():
            factor = of_taken / of_true
            if abs(np.log(factor)) < 1e-4 or any(abs(factor / f - 1.0) < 1e-5 for f in seen):
                continue
            if abs(ratio / factor - 1.0) < min(near / factor, 0.01):
                seen.append(factor)
                yield factor, true, taken


def _unit_cause(factor: float, true: str, taken: str, ids: tuple[str, ...] = ()) -> Cause:
    return Cause(
        blunder="unit-factor",
        parameter=(
            Item(key="factor", label="factor", quantity=Quantity.NUMBER, value=factor),
            _text("from", true),
            _text("to", taken),
        ),
        ids=ids,
    )


def _digit_cause(identity: str, axis: str, *values: Item) -> Cause:
    return Cause(
        blunder="transposed-digits",
        parameter=(_text("id", identity), _text("axis", axis), *values),
        ids=(identity,),
    )


# ---------------------------------------------------------------- traverses


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A traverse that closes on something.

    at, to: of every leg. step: shape (legs, 2), latitudes and departures as used. miss: north and
    east, of the run as used; raw: with no angle shared out. known: from start to close. start,
    close: their coordinates. angles: shape (rows,), as observed, NaN without. angular: their
    misclosure, NaN where nothing proves it.
    """

    section: Traverse
    at: list[str]
    to: list[str]
    step: FloatArray
    distance: FloatArray
    miss: tuple[float, float]
    raw: tuple[float, float]
    start: FloatArray
    close: FloatArray
    angles: FloatArray
    angle_at: list[str]
    angular: float

    @property
    def known(self) -> FloatArray:
        return self.close - self.start

    @property
    def sigma(self) -> float:
        """Standard deviation of the end along an axis."""
        total = float(self.distance.sum())
        return float(np.hypot(_LEG_M * np.sqrt(len(self.distance)), _LEG_PART * total))

    @property
    def angle_sigma(self) -> float:
        return _ANGLE_RAD * float(np.sqrt(max(int(np.isfinite(self.angles).sum()), 1)))

    @property
    def is_out(self) -> bool:
        wide = np.isfinite(self.angular) and abs(self.angular) > _OUT * self.angle_sigma
        return bool(np.hypot(*self.raw) > _OUT * self.sigma or wide)


def _line(section: Traverse, book: TraverseBook, measure: Measure) -> _Line | None:
    keys = ("n", "e", "latitude", "departure", "distance")
    n, e, latitude, departure, distance = (
        np.asarray(measure.column(key).values, dtype=np.float64) for key in keys
    )
    miss = _value(measure, "misclosure_n"), _value(measure, "misclosure_e")
    raw = _value(measure, "raw_misclosure_n"), _value(measure, "raw_misclosure_e")
    if not len(n) or not np.isfinite(miss).all():
        return None
    raw = raw if np.isfinite(raw).all() else miss
    start = np.array((n[0] - latitude[0], e[0] - departure[0]))
    close = np.array((n[-1] - miss[0], e[-1] - miss[1]))
    legs = len(n)
    return _Line(
        section=section,
        at=[str(x).strip() for x in book.at[:legs]],
        to=[str(x).strip() for x in book.to[:legs]],
        step=np.column_stack((latitude, departure)),
        distance=distance,
        miss=miss,
        raw=raw,
        start=start,
        close=close,
        angles=book.angle_rad,
        angle_at=[str(x).strip() for x in book.at],
        angular=_value(measure, "angular_misclosure_arcsec"),
    )


def _of_traverse(line: _Line, convergence_rad: float) -> Iterator[_Option]:
    wide = np.isfinite(line.angular) and abs(line.angular) > _OUT * line.angle_sigma
    if wide:
        yield from _angles(line)
    else:
        yield from _legs(line)
        yield from _ends(line)
    if np.hypot(*line.known) > 20.0 * line.sigma:
        yield from _as_a_whole(line, convergence_rad, wide=wide)


def _legs(line: _Line) -> Iterator[_Option]:
    """Yield one distance in another unit, with digits exchanged, or with one left out."""
    miss, size = np.array(line.miss), float(np.hypot(*line.miss))
    unit = line.section.unit
    count = len(line.distance)
    for leg, distance in enumerate(line.distance.tolist()):
        along = line.step[leg] / max(distance, 1e-9)
        name = f"{line.at[leg]}-{line.to[leg]}"
        what = f"the distance {line.at[leg]} to {line.to[leg]}"
        for factor, true, taken in _other_units(
            distance, distance - float(along @ miss), line.sigma
        ):
            error = distance * (1.0 - 1.0 / factor)
            left = float(np.hypot(*(miss - error * along)))
            if left < 4.0 * line.sigma:
                gain = _gain(size, left, line.sigma, 2, 6.0 * count)
                yield _Option(
                    cause=_unit_cause(factor, true, taken, (name,)),
                    what=what,
                    gain=gain,
                    after=left,
                )
        for change in exchanged_digits(distance, unit):
            # The written value is the right one with two digits exchanged.
            error = -change
            left = float(np.hypot(*(miss - error * along)))
            if abs(error) > _OUT * line.sigma and left < 4.0 * line.sigma:
                yield _Option(
                    cause=_digit_cause(name, "distance", length("difference", error)),
                    what=what,
                    gain=_gain(size, left, line.sigma, 2, 8.0 * count),
                    after=left,
                )
        error = float(along @ miss)
        whole = _round_number(error / unit.metres)
        if whole:
            error = whole * unit.metres
            left = float(np.hypot(*(miss - error * along)))
            if left < 4.0 * line.sigma < 0.05 * abs(error):
                dn, de = (error * along).tolist()
                yield _Option(
                    cause=Cause(
                        blunder="dropped-digits",
                        parameter=(length("dn", dn), length("de", de)),
                        ids=(name,),
                    ),
                    what=what,
                    gain=_gain(size, left, line.sigma, 2, 30.0 * count),
                    after=left,
                )


def _round_number(value: float) -> float:
    """Return the nearest number of one digit and zeros of 100 or more, 0.0 where none is near."""
    for power in range(6, 1, -1):
        digit = round(abs(value) / 10.0**power)
        if 1 <= digit <= 9:
            return float(np.copysign(digit * 10.0**power, value))
    return 0.0


def _angles(line: _Line) -> Iterator[_Option]:
    """Yield one angle of which two digits of the degrees, minutes or seconds were exchanged."""
    for row in np.flatnonzero(np.isfinite(line.angles)).tolist():
        station = line.angle_at[row]
        for change in _exchanged_angle(float(line.angles[row])):
            left = line.angular + change
            if abs(left) > 4.0 * line.angle_sigma:
                continue
            sigma = line.angle_sigma
            inside = -0.5 * (left / sigma) ** 2 - np.log(np.sqrt(_TWO_PI) * sigma)
            # Against an angle misread by anything, alike at every scale.
            other = np.log(2.0 * abs(line.angular) * 11.0)
            count = 4.0 * int(np.isfinite(line.angles).sum())
            yield _Option(
                cause=_digit_cause(
                    station,
                    "angle",
                    Item(
                        key="difference_deg",
                        label="difference",
                        quantity=Quantity.ANGLE,
                        value=-change,
                    ),
                ),
                what=f"the angle at {station}",
                gain=float(inside + other - np.log(count)),
                after=left,
                angular=True,
            )


def _exchanged_angle(angle_rad: float) -> Iterator[float]:
    """Yield what exchanging two digits of degrees, minutes or seconds changes an angle by."""
    seconds = round(abs(angle_rad) / ARCSEC)
    degrees, minutes, rest = seconds // 3600, seconds // 60 % 60, seconds % 60
    for value, weight, limit, low in (
        (degrees, 3600, 360, 10),
        (degrees // 10, 36000, 36, 10),
        (minutes, 60, 60, 1),
        (rest, 1, 60, 1),
    ):
        tens, ones = value // 10 % 10, value % 10
        if tens == ones or value < low:
            continue
        change = 9 * (ones - tens)
        if 0 <= value + change < limit:
            yield change * weight * ARCSEC


def _ends(line: _Line) -> Iterator[_Option]:
    """Yield a wrong coordinate of the close: exchanged columns or digits, digits left out."""
    if not isinstance(line.section.close, str):
        return
    name, miss, size = line.section.close, np.array(line.miss), float(np.hypot(*line.miss))
    reached = line.close + miss
    left = float(np.hypot(*(reached - line.close[::-1])))
    if left < 4.0 * line.sigma:
        yield _Option(
            cause=Cause(blunder="axes-swapped", ids=(name,)),
            what=f"the coordinates of {name}",
            gain=_gain(size, left, line.sigma, 2, 3.0),
            after=left,
        )
    for axis, key in ((0, "n"), (1, "e")):
        if abs(miss[1 - axis]) > 4.0 * line.sigma:
            continue
        for change in exchanged_digits(float(line.close[axis]), line.section.unit):
            # Computed minus known: known is too small by it where digits were exchanged.
            left = float(np.hypot(miss[axis] - change, miss[1 - axis]))
            if abs(change) > _OUT * line.sigma and left < 4.0 * line.sigma:
                yield _Option(
                    cause=_digit_cause(name, key, length("difference", -change)),
                    what=f"the coordinates of {name}",
                    gain=_gain(size, left, line.sigma, 2, 16.0),
                    after=left,
                )
        unit = line.section.unit.metres
        whole = round(float(miss[axis]) / unit / 1000.0) * 1000.0 * unit
        left = float(np.hypot(miss[axis] - whole, miss[1 - axis]))
        if whole and left < 4.0 * line.sigma:
            step = (whole, 0.0) if axis == 0 else (0.0, whole)
            yield _Option(
                cause=Cause(
                    blunder="dropped-digits",
                    parameter=(length("dn", step[0]), length("de", step[1])),
                    ids=(name,),
                ),
                what=f"the coordinates of {name}",
                gain=_gain(size, left, line.sigma, 2, 2.0 * (abs(whole / unit) / 500.0 + 1.0)),
                after=left,
            )


def _as_a_whole(line: _Line, convergence_rad: float, *, wide: bool) -> Iterator[_Option]:
    """Yield a traverse that is turned about its start, or scaled."""
    known = complex(line.known[1], line.known[0])
    reached = known + complex(line.raw[1], line.raw[0])
    size, sigma = float(np.hypot(*line.raw)), line.sigma
    ratio = reached / known
    start = line.section.start
    about = (float(line.start[0]), float(line.start[1]))
    stretched = abs(abs(reached) - abs(known))
    angle = -float(np.angle(ratio))
    names = (start,) if isinstance(start, str) else ()
    agrees = not np.isfinite(line.angular) or abs(abs(angle) - abs(line.angular)) < max(
        4.0 * line.angle_sigma, 4.0 * sigma / abs(known)
    )
    turned = abs(angle) * abs(known) > _OUT * sigma
    if stretched < 4.0 * sigma and turned and agrees:
        facts = [Item(key="angle_deg", label="angle", quantity=Quantity.ANGLE, value=angle)]
        if np.isfinite(convergence_rad) and abs(
            abs(angle) - abs(convergence_rad)
        ) < 4 * sigma / abs(known):
            facts.append(
                Item(
                    key="convergence_deg",
                    label="convergence",
                    quantity=Quantity.ANGLE,
                    value=convergence_rad,
                )
            )
        yield _Option(
            cause=Cause(blunder="rotation", parameter=tuple(facts), about_m=about, ids=names),
            what="the start azimuth, or the angle at the start",
            gain=float(
                np.log(1.9 * size / sigma) - 0.5 * (stretched / sigma) ** 2 + (2.0 if wide else 0.0)
            ),
            after=stretched,
        )
    off = abs(angle) * abs(known)
    if wide or off > 4.0 * sigma:
        return
    for factor, true, taken in _other_units(abs(reached), abs(known), sigma):
        left = float(np.hypot(abs(reached) - factor * abs(known), off))
        yield _Option(
            cause=_unit_cause(factor, true, taken),
            what="all distances",
            gain=_gain(size, left, sigma * max(factor, 1.0), 2, 6.0),
            after=left,
        )
    ppm = (abs(ratio) - 1.0) * 1e6
    if stretched > _OUT * sigma and 40.0 < abs(ppm) < 1500.0:
        yield _Option(
            cause=Cause(
                blunder="grid-ground",
                parameter=(Item(key="scale_ppm", label="ppm", quantity=Quantity.PPM, value=ppm),),
                about_m=about,
            ),
            what="all distances",
            gain=float(np.log(1.9 * size / sigma) - 0.5 * (off / sigma) ** 2),
            after=off,
        )


# ---------------------------------------------------------------- levels and vectors


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """A level run: readings with their sign in the rise, metres. names: what they are called."""

    unit: LengthUnit
    miss: float
    sigma: float
    readings: list[tuple[str, str, str, float, float]]
    start: float
    close: float
    start_name: str
    close_name: str


def _run(
    section: Levels, book: LevelBook | RiseBook, measure: Measure, inputs: Inputs
) -> _Run | None:
    miss = _value(measure, "misclosure")
    start, close = _height(section.start, inputs), _height(section.close, inputs)
    if not np.isfinite(miss) or not np.isfinite(start) or not np.isfinite(close):
        return None
    readings: list[tuple[str, str, str, float, float]] = []
    if isinstance(book, LevelBook):
        for row, point in enumerate(book.point.tolist()):
            name = str(point).strip()
            for axis, values, sign in (("bs", book.bs_m, 1.0), ("fs", book.fs_m, -1.0)):
                word = "backsight" if axis == "bs" else "foresight"
                if np.isfinite(values[row]):
                    entry = (name, axis, f"the {word} on {name}", float(values[row]), sign)
                    readings.append(entry)
        setups = len(readings) / 2.0
    else:
        for from_, to, rise in zip(
            book.from_.tolist(), book.to.tolist(), book.rise_m.tolist(), strict=True
        ):
            name = f"{str(from_).strip()}-{str(to).strip()}"
            if np.isfinite(rise):
                readings.append((name, "rise", f"the rise {from_} to {to}", float(rise), 1.0))
        setups = float(len(readings))
    far = _value(measure, "distance")
    sigma = float(np.hypot(_SETUP_M * np.sqrt(max(setups, 1.0)), 1e-9))
    if np.isfinite(far) and far > 0:
        sigma = max(sigma, _KM_M * float(np.sqrt(far / 1000.0)))
    return _Run(
        unit=section.unit,
        miss=miss,
        sigma=sigma,
        readings=readings,
        start=start,
        close=close,
        start_name=section.start if isinstance(section.start, str) else "the start",
        close_name=section.close if isinstance(section.close, str) else "the close",
    )


def _height(mark: str | float | Position | None, inputs: Inputs) -> float:
    if isinstance(mark, float | int):
        return float(mark)
    if not isinstance(mark, str) or inputs.control is None:
        return np.nan
    rows = np.flatnonzero(np.array([str(x).strip() for x in inputs.control.id]) == mark.strip())
    return float(inputs.control.elevation_m[rows[0]]) if len(rows) else np.nan


def _of_levels(run: _Run, poles_m: tuple[float, ...]) -> Iterator[_Option]:
    miss, sigma = run.miss, run.sigma
    yield from _steps(miss, sigma, poles_m, "a height that was taken with a pole")
    count = max(len(run.readings), 1)
    for name, axis, what, value, sign in run.readings:
        for change in exchanged_digits(value, run.unit):
            error = -change
            left = miss - sign * error
            if abs(error) > _OUT * sigma and abs(left) < 4.0 * sigma:
                yield _Option(
                    cause=_digit_cause(name, axis, length("difference", error)),
                    what=what,
                    gain=_gain(abs(miss), left, sigma, 1, 4.0 * count),
                    after=left,
                )
        right = value - sign * miss
        for factor, true, taken in _other_units(value, right, sigma):
            left = value - factor * right
            yield _Option(
                cause=_unit_cause(factor, true, taken, (name,)),
                what=what,
                gain=_gain(abs(miss), left, sigma, 1, 6.0 * count),
                after=left,
            )
    yield from _of_marks(run)


def _of_marks(run: _Run) -> Iterator[_Option]:
    """Yield what the known elevations, or all readings, would explain of a misclosure."""
    miss, sigma = run.miss, run.sigma
    rise = run.close - run.start
    if abs(rise) > 20.0 * sigma:
        for factor, true, taken in _other_units(rise + miss, rise, sigma):
            left = rise + miss - factor * rise
            yield _Option(
                cause=_unit_cause(factor, true, taken),
                what="all readings",
                gain=_gain(abs(miss), left, sigma * max(factor, 1.0), 1, 6.0),
                after=left,
            )
    marks = (
        # The close as it should be, and the start as it should be, by what was levelled.
        (run.close_name, run.close, run.close + miss),
        (run.start_name, run.start, run.start - miss),
    )
    if run.start_name == run.close_name:
        return
    for name, written, right in marks:
        what = f"the elevation of {name}"
        for factor, true, taken in _other_units(written, right, sigma):
            left = written - factor * right
            if abs(left) < 4.0 * sigma * max(factor, 1.0):
                yield _Option(
                    cause=_unit_cause(factor, true, taken, (name,)),
                    what=what,
                    gain=_gain(abs(miss), left, sigma * max(factor, 1.0), 1, 12.0),
                    after=left,
                )
        for change in exchanged_digits(written, run.unit):
            left = written + change - right
            if abs(change) > _OUT * sigma and abs(left) < 4.0 * sigma:
                yield _Option(
                    cause=_digit_cause(name, "z", length("difference", -change)),
                    what=what,
                    gain=_gain(abs(miss), left, sigma, 1, 10.0),
                    after=left,
                )


def _steps(miss: float, sigma: float, poles_m: tuple[float, ...], what: str) -> Iterator[_Option]:
    """Yield two lengths of a pole that are mistaken for each other."""
    pairs = pole_pairs(poles_m)
    for entered, actual in pairs:
        for sign in (1.0, -1.0):
            step = sign * (actual - entered)
            if abs(miss - step) < 4.0 * sigma:
                yield _Option(
                    cause=Cause(
                        blunder="pole-height",
                        parameter=(
                            length("dz", step),
                            length("entered", entered),
                            length("actual", actual),
                        ),
                    ),
                    what=what,
                    gain=_gain(abs(miss), miss - step, sigma, 1, 2.0 * len(pairs)),
                    after=miss - step,
                )


def _of_vectors(measure: Measure, poles_m: tuple[float, ...]) -> tuple[float, list[_Option]]:
    """Return the vertical misclosure of the worst loop and what lengths of a pole would explain."""
    keys = {column.key for column in measure.columns}
    up, *flat = (f"misclosure_{axis}" for axis in ("une" if "misclosure_u" in keys else "zxy"))
    if not {up, *flat} <= keys:
        return np.nan, []
    tall = np.asarray(measure.column(up).values, dtype=np.float64)
    plan = np.hypot(*(np.asarray(measure.column(key).values, dtype=np.float64) for key in flat))
    if not len(tall) or not np.isfinite(tall).any():
        return np.nan, []
    worst = int(np.nanargmax(np.abs(tall)))
    sigma = 0.012
    if not plan[worst] < 0.2 * abs(tall[worst]):
        return np.nan, []
    what = f"an antenna height in the loop {measure.id[worst]}"
    options = list(_steps(float(tall[worst]), sigma, poles_m, what))
    named = [replace(o, cause=replace(o.cause, ids=(str(measure.id[worst]),))) for o in options]
    return abs(float(tall[worst])), named
