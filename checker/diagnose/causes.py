"""The causes of the closed list as small models of the residuals.

Each takes the predicted points of some rows (the design, moved by what was found before) to where
that cause would have put the as-measured ones, and names its charge in nats: minus the logarithm of
the prior density of its free parameters, times the volume that the data leave them (Laplace's
approximation of the marginal likelihood), and of the number of values that it was picked from.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from checker.diagnose.evidence import Evidence
from checker.diagnose.fits import (
    ComplexArray,
    Freedom,
    Move,
    fit_move,
    robust_linear,
    robust_mean,
)
from checker.diagnose.noise import BIAS_M, badly_set
from checker.model.arrays import BoolArray, FloatArray, IntArray
from checker.model.diagnosis import Cause
from checker.model.measure import Item, Quantity
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT

BASE_CHARGE = 4.0
"""Nats that every cause owes for being one: 1 to 50 against it before any residual is seen."""
_TWO_PI = 2.0 * np.pi
_LEAST_PLAN_M = 2.5 * BIAS_M[0]
_LEAST_HEIGHT_M = 2.5 * BIAS_M[1]
"""A plain shift smaller than this may be a bias of the session."""
_MOST_SCALE = 1.5e-3
UNITS = {
    "metre": 1.0,
    "foot": M_PER_FOOT,
    "us-survey-foot": M_PER_US_SURVEY_FOOT,
    "inch": 0.0254,
    "centimetre": 0.01,
    "millimetre": 0.001,
}
USUAL_POLES_M = (2.0, 1.8)

Apply = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Which rows a cause may concern.

    by, value: as in `Group`; by "all" with value "", "design" or "control".
    """

    by: str
    value: str
    charge: float = 0.0

    def rows(self, evidence: Evidence) -> BoolArray:
        """Return which rows belong to it."""
        if self.by == "all":
            if self.value == "":
                return np.ones(len(evidence), dtype=np.bool_)
            return evidence.control if self.value == "control" else ~evidence.control
        code = evidence.values[self.by].index(self.value)
        return np.asarray(evidence.codes[self.by] == code)

    @property
    def drawn(self) -> bool:
        """True where the fault would be the design's."""
        return self.by in ("layer", "check") or self.value == "design"


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What is known beside the residuals.

    combined_factor, convergence_rad: of the named grid at the site, NaN without. marks, ground:
    fixed points worth trying, east + i north: the control, the origin of the ground system.
    poles_m: legitimate settings. units_m: units of the files. shifts_m: what other realizations
    would do, with (dn, de, dz). zones: yields what other grids would do to predicted points, given
    the as-measured ones.
    """

    combined_factor: float = np.nan
    convergence_rad: float = np.nan
    marks: tuple[complex, ...] = ()
    ground: complex | None = None
    poles_m: tuple[float, ...] = USUAL_POLES_M
    units_m: tuple[float, ...] = (1.0,)
    shifts_m: tuple[tuple[str, tuple[float, float, float]], ...] = ()
    zones: Callable[[FloatArray, FloatArray], Iterator[tuple[str, Apply]]] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """A cause with the rows that it concerns and what it would do to them.

    apply: predicted points of those rows, shape (rows, 3), to where they would be measured; or
    across_m: to the right of each row's own line. halves: half widths of 95 % intervals. members:
    for causes of single rows, indices of the evidence; None: the whole part. ids: their numbers.
    """

    cause: Cause
    part: Part
    charge: float
    apply: Apply | None = None
    across_m: float = 0.0
    halves: tuple[Item, ...] = ()
    members: IntArray | None = None
    ids: tuple[str, ...] = ()

    def moved(self, evidence: Evidence, predicted: FloatArray) -> FloatArray:
        """Return where the cause would put the points; predicted: shape (rows, 3)."""
        rows = np.flatnonzero(self.part.rows(evidence)) if self.members is None else self.members
        result = predicted.copy()
        if self.apply is not None:
            result[rows] = self.apply(predicted[rows])
        if self.across_m:
            right = np.nan_to_num(evidence.right[rows])
            result[rows, :2] += self.across_m * right
        return result


def length(key: str, value: float) -> Item:
    """Return a length of a parameter."""
    return Item(key=key, label=key, quantity=Quantity.LENGTH, value=float(value))


def _item(key: str, quantity: Quantity, value: float | str | None) -> Item:
    return Item(key=key, label=key, quantity=quantity, value=value)


def _mapped(mapping: Callable[[ComplexArray], ComplexArray]) -> Apply:
    def apply(points: FloatArray) -> FloatArray:
        moved = mapping(points[:, 1] + 1j * points[:, 0])
        return np.column_stack((moved.imag, moved.real, points[:, 2]))

    return apply


def shifted(dn: float, de: float, dz: float = 0.0) -> Apply:
    """Return the move by one vector."""
    vector = np.array((dn, de, dz))
    return lambda points: points + vector


def _then(first: Apply, second: Apply) -> Apply:
    return lambda points: second(first(points))


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """The rows of a part that can be compared in plan."""

    part: Part
    evidence: Evidence
    rows: BoolArray
    predicted: FloatArray
    setting: Setting

    @property
    def known(self) -> ComplexArray:
        """Predicted points."""
        here = self.predicted[self.rows]
        return np.asarray(here[:, 1] + 1j * here[:, 0])

    @property
    def measured(self) -> ComplexArray:
        """As-measured points."""
        here = self.evidence.measured[self.rows]
        return np.asarray(here[:, 1] + 1j * here[:, 0])

    @property
    def sigma(self) -> FloatArray:
        """Standard deviations of a plan axis."""
        return np.asarray(self.evidence.sigma[self.rows, 0])

    @property
    def sessions(self) -> int:
        """How many sessions share their bias out."""
        bias = self.evidence.bias
        return len(np.unique(bias[self.rows])) if len(bias) else 1

    def make(
        self,
        blunder: str,
        apply: Apply,
        charge: float,
        *parameter: Item,
        about: complex | None = None,
        halves: tuple[Item, ...] = (),
    ) -> Hypothesis:
        """Return a hypothesis for the whole part."""
        return Hypothesis(
            cause=Cause(
                blunder=blunder,
                parameter=parameter,
                about_m=None if about is None else (about.imag, about.real),
            ),
            part=self.part,
            charge=BASE_CHARGE + self.part.charge + max(charge, 0.0),
            apply=apply,
            halves=halves,
        )


def hypotheses(view: View) -> Iterator[Hypothesis]:
    """Yield every cause that the rows of a part could show."""
    if view.rows.sum() >= 1:
        yield from _without_freedom(view)
        yield from _shifts(view)
        yield from _lines(view)
        if view.rows.sum() >= 2:
            yield from _turns(view)
            yield from _scales(view)
            yield from _mirrors(view)
    yield from _heights(view)


# ---------------------------------------------------------------- causes without freedom


def _without_freedom(view: View) -> Iterator[Hypothesis]:
    known, measured = view.known, view.measured
    middle = complex(np.median(known.real), np.median(known.imag))
    foot = M_PER_US_SURVEY_FOOT / M_PER_FOOT
    for factor in (foot, 1.0 / foot):
        step = (factor - 1.0) * middle
        yield view.make(
            "foot-definition",
            _mapped(lambda z, f=factor: f * z),  # type: ignore[misc]
            np.log(2.0),
            length("dn", step.imag),
            length("de", step.real),
            _item("ppm", Quantity.PPM, (factor - 1.0) * 1e6),
        )
    yield view.make("axes-swapped", _mapped(lambda z: 1j * np.conj(z)), 0.0)
    yield from _unit_factors(view)
    yield from _digits(view)
    for name, (dn, de, dz) in view.setting.shifts_m:
        for tall in (True, False):
            yield view.make(
                "frame-shift",
                shifted(dn, de, dz if tall else 0.0),
                np.log(2.0 * len(view.setting.shifts_m)),
                length("dn", dn),
                length("de", de),
                length("dz", dz if tall else 0.0),
                _item("frame", Quantity.TEXT, name),
            )
    apart = float(np.median(np.abs(measured - known)))
    if view.setting.zones is not None and apart > 300.0 and view.part.by == "all":
        for name, apply in view.setting.zones(
            view.predicted[view.rows], view.evidence.measured[view.rows]
        ):
            yield view.make("wrong-zone", apply, np.log(1000.0), _item("crs", Quantity.TEXT, name))
    if apart > 20_000.0 and view.rows.sum() >= 3:
        move = fit_move(known, measured, view.sigma, Freedom.BOTH)
        if (
            move is not None
            and abs(abs(move.factor) - 1) < 5e-3
            and abs(np.angle(move.factor)) < 0.2
        ):
            charge = _shift_charge(abs(move.shift), view, move) + 2.0 * np.log(
                0.1 / (_TWO_PI**0.5 * move.sigma_factor)
            )
            yield view.make(
                "wrong-zone", _mapped(_as_map(move)), charge, _item("crs", Quantity.TEXT, None)
            )


def _unit_factors(view: View) -> Iterator[Hypothesis]:
    known, measured = view.known, view.measured
    size = np.abs(known)
    if not np.any(size > 0):
        return
    ratio = float(np.median(np.abs(measured) / np.maximum(size, 1e-9)))
    seen: list[float] = []
    for true, of_true in UNITS.items():
        for taken, of_taken in UNITS.items():
            factor = of_true / of_taken if view.part.drawn else of_taken / of_true
            if abs(np.log(factor)) < 1e-4 or abs(np.log(max(ratio, 1e-12) / factor)) > 0.05:
                continue
            if any(abs(factor / other - 1.0) < 1e-9 for other in seen):
                continue
            seen.append(factor)
            facts = (
                _item("factor", Quantity.NUMBER, factor),
                _item("from", Quantity.TEXT, true),
                _item("to", Quantity.TEXT, taken),
            )
            flat = _mapped(lambda z, f=factor: f * z)  # type: ignore[misc]
            yield view.make("unit-factor", flat, np.log(28.0), *facts)
            tall: Apply = lambda points, f=factor: points * f  # type: ignore[misc]  # noqa: E731
            yield view.make("unit-factor", tall, np.log(28.0), *facts)


def _digits(view: View) -> Iterator[Hypothesis]:
    """Yield leading digits cut off (the rest of a power of ten) or added (a round number)."""
    predicted = view.predicted[view.rows]
    measured = view.evidence.measured[view.rows]
    tried: set[tuple[object, ...]] = set()
    for unit in view.setting.units_m:
        options: list[list[tuple[str, float, float]]] = [[], []]
        for axis in (0, 1):
            here, there = predicted[:, axis] / unit, measured[:, axis] / unit
            gap = float(np.median(there - here))
            for power in range(2, 8):
                if np.median(np.abs(there - here % 10.0**power)) < 3.0 / unit and abs(gap) > 50:
                    options[axis].append(("cut", 10.0**power, np.log(6.0)))
                    break
            whole = round(gap / 1000.0) * 1000.0
            if whole and abs(gap - whole) < 3.0 / unit:
                digits = abs(whole) / 1000.0
                while digits % 10 == 0:
                    digits /= 10.0
                options[axis].append(("add", whole, np.log(2.0 * digits + 1.0) + np.log(4.0)))
        choices = [*[(a, None) for a in options[0]], *[(None, b) for b in options[1]]]
        choices += [(a, b) for a in options[0] for b in options[1]]
        for north, east in choices:
            apply = _digit_move(north, east, unit)
            delta = np.median(apply(predicted) - predicted, axis=0)
            kinds = tuple("" if each is None else each[0] for each in (north, east))
            key = (*kinds, *np.round(delta[:2], 3).tolist())
            if key in tried:
                continue
            tried.add(key)
            charge = sum(each[2] for each in (north, east) if each is not None)
            yield view.make(
                "dropped-digits",
                apply,
                charge + np.log(3.0 * len(view.setting.units_m)),
                length("dn", delta[0]),
                length("de", delta[1]),
            )


def _digit_move(
    north: tuple[str, float, float] | None, east: tuple[str, float, float] | None, unit: float
) -> Apply:
    def apply(points: FloatArray) -> FloatArray:
        moved = points.copy()
        for axis, change in ((0, north), (1, east)):
            if change is None:
                continue
            kind, size, _ = change
            if kind == "cut":
                moved[:, axis] = (points[:, axis] / unit) % size * unit
            else:
                moved[:, axis] += size * unit
        return moved

    return apply


# ---------------------------------------------------------------- shifts


def _shift_charge(size: float, view: View, move: Move) -> float:
    """Return the charge of a free vector in plan."""
    variance = move.sigma_shift**2 + BIAS_M[0] ** 2 / view.sessions
    return float(badly_set(np.asarray(size), 2) - np.log(_TWO_PI * variance))


def _halves(view: View, move: Move, *keys: str) -> tuple[Item, ...]:
    half = 1.96 * np.sqrt(move.sigma_shift**2 + BIAS_M[0] ** 2 / view.sessions)
    return tuple(length(f"{key}_95", half) for key in keys)


def _height_shift(view: View, apply: Apply | None = None) -> tuple[float, float, float] | None:
    """Return a robust dz of the rows, its standard deviation and its charge."""
    rows = view.rows & np.isfinite(view.evidence.measured[:, 2] - view.predicted[:, 2])
    if not rows.any():
        return None
    predicted = view.predicted[rows]
    if apply is not None:
        predicted = apply(predicted)
    gap = view.evidence.measured[rows, 2] - predicted[:, 2]
    dz, sigma = robust_mean(gap, view.evidence.sigma[rows, 1])
    sigma = float(np.hypot(sigma, BIAS_M[1] / np.sqrt(view.sessions)))
    return dz, sigma, height_charge(dz, sigma)


def height_charge(dz: float, sigma: float) -> float:
    """Return the charge of a free step in height; beyond three metres ever less likely."""
    beyond = max(0.0, float(np.log(max(abs(dz), 1e-9) / 3.0)))
    return float(
        np.log(2.0 * (abs(dz) + BIAS_M[1]) * 6.5) + beyond - 0.5 * np.log(_TWO_PI * sigma**2)
    )


def _shifts(view: View) -> Iterator[Hypothesis]:
    move = fit_move(view.known, view.measured, view.sigma, Freedom.NONE)
    if move is None:
        return
    size = abs(move.shift)
    if size < _LEAST_PLAN_M:
        return
    dn, de = move.shift.imag, move.shift.real
    charge = _shift_charge(size, view, move)
    plan = (length("dn", dn), length("de", de))
    halves = _halves(view, move, "dn", "de")
    blunder = {"all": "shift", "layer": "stale-revision", "check": "stale-revision"}.get(
        view.part.by, "base-moved"
    )
    if blunder == "shift":
        yield view.make(blunder, shifted(dn, de), charge, *plan, halves=halves)
        return
    dz = _height_shift(view)
    yield view.make(blunder, shifted(dn, de), charge, *plan, length("dz", 0.0), halves=halves)
    if dz is not None:
        both = (*halves, length("dz_95", 1.96 * dz[1]))
        yield view.make(
            blunder,
            shifted(dn, de, dz[0]),
            charge + max(dz[2], 0.0),
            *plan,
            length("dz", dz[0]),
            halves=both,
        )


def _lines(view: View) -> Iterator[Hypothesis]:
    """Yield a constant across the line; exactly twice the offset of an offset stake."""
    if not view.part.drawn and view.part.by != "all":
        return
    rows = view.rows & ~view.evidence.control & np.isfinite(view.evidence.right[:, 0])
    if rows.sum() < 2 or rows.sum() < 0.5 * (view.rows & ~view.evidence.control).sum():
        return
    if view.part.value == "" and view.evidence.control.any():
        return
    gap = (view.evidence.measured - view.predicted)[rows, :2]
    right = view.evidence.right[rows]
    across, sigma = robust_mean((gap * right).sum(axis=1), view.evidence.sigma[rows, 0])
    sigma = float(np.hypot(sigma, BIAS_M[0] / np.sqrt(view.sessions)))
    offsets = np.unique(view.evidence.set_off_m[rows])
    if len(offsets) == 1 and np.isfinite(offsets[0]):
        side = -2.0 * float(offsets[0])
        yield _across(view, "wrong-side", side, 0.0, ())
    if abs(across) >= _LEAST_PLAN_M:
        charge = np.log(2.0 * abs(across) * 6.5) - 0.5 * np.log(_TWO_PI * sigma**2)
        yield _across(view, "wrong-line", across, charge, (length("across_95", 1.96 * sigma),))


def _across(
    view: View, blunder: str, across: float, charge: float, halves: tuple[Item, ...]
) -> Hypothesis:
    return Hypothesis(
        cause=Cause(blunder=blunder, parameter=(length("across", across),)),
        part=view.part,
        across_m=across,
        charge=BASE_CHARGE + view.part.charge + max(charge, 0.0),
        halves=halves,
    )


# ---------------------------------------------------------------- turns, scales, mirrors


def _as_map(move: Move) -> Callable[[ComplexArray], ComplexArray]:
    return lambda z: move.factor * (z - move.centre) + move.centre + move.shift


def _fixed(move: Move) -> complex | None:
    """Return the point that a move leaves where it is."""
    if move.factor == 1.0:
        return None
    return complex(move.centre + move.shift / (1.0 - move.factor))


def _near_charge(move: Move, view: View) -> float:
    """Return the charge of the free shift that goes with a turn or a scale about some point.

    The point is as likely within some site's width as anywhere.
    """
    extent = float(np.ptp(view.known.real) + np.ptp(view.known.imag)) + 1.0
    core = abs(move.factor - 1.0) * extent
    size = abs(move.shift)
    near = core / (_TWO_PI * (size**2 + core**2) ** 1.5 + 1e-300)
    far = np.exp(-badly_set(np.asarray(size), 2))
    variance = move.sigma_shift**2 + BIAS_M[0] ** 2 / view.sessions
    return float(-np.log(0.5 * near + 0.5 * far) - np.log(_TWO_PI * variance))


def _origins(view: View) -> Iterator[tuple[complex, float]]:
    """Yield points about which coordinates are turned or scaled, with the charge for the choice."""
    yield 0j, np.log(2.0)
    if view.setting.ground is not None:
        yield view.setting.ground, np.log(2.0)
    for mark in view.setting.marks[:12]:
        yield mark, np.log(2.0 * len(view.setting.marks) + 2.0)


def _turns(view: View) -> Iterator[Hypothesis]:
    known, measured, sigma = view.known, view.measured, view.sigma

    def one(
        move: Move, angle: float, charge: float, about: complex | None, *, free: bool
    ) -> Hypothesis:
        facts = [_item("angle_deg", Quantity.ANGLE, angle)]
        convergence = view.setting.convergence_rad
        if np.isfinite(convergence) and abs(abs(angle) - abs(convergence)) < max(
            3.0 * move.sigma_factor, 1e-6
        ):
            facts.append(_item("convergence_deg", Quantity.ANGLE, convergence))
        halves = (_item("angle_deg_95", Quantity.ANGLE, 1.96 * move.sigma_factor),) if free else ()
        return view.make(
            "rotation", _mapped(_as_map(move)), charge, *facts, about=about, halves=halves
        )

    def angle_charge(move: Move, angle: float) -> float:
        return float(
            np.log(2.0 * (abs(angle) + 2e-6) * 12.6) - 0.5 * np.log(_TWO_PI * move.sigma_factor**2)
        )

    free = fit_move(known, measured, sigma, Freedom.TURN)
    if free is None:
        return
    angle = -float(np.angle(free.factor))
    if abs(angle) > 3.0 * free.sigma_factor:
        charge = angle_charge(free, angle) + _near_charge(free, view)
        yield one(free, angle, charge, _fixed(free), free=True)
    convergence = view.setting.convergence_rad
    if np.isfinite(convergence) and abs(convergence) > 1e-6:
        for sign in (1.0, -1.0):
            known_turn = np.exp(-1j * sign * convergence)
            move = _with_factor(known_turn, known, measured, sigma, None)
            yield one(
                move,
                sign * convergence,
                np.log(2.0) + _near_charge(move, view),
                _fixed(move),
                free=False,
            )
    for about, choice in _origins(view):
        move_about = fit_move(known, measured, sigma, Freedom.TURN, about)
        if move_about is None:
            continue
        angle = -float(np.angle(move_about.factor))
        if abs(angle) > 3.0 * move_about.sigma_factor:
            charge = choice + angle_charge(move_about, angle)
            yield one(move_about, angle, charge, about, free=True)


def _with_factor(
    factor: complex,
    known: ComplexArray,
    measured: ComplexArray,
    sigma: FloatArray,
    about: complex | None,
) -> Move:
    """Return a move of a given factor; its shift is fitted unless it has a fixed point."""
    if about is not None:
        moved = factor * (known - about) + about
        return Move(
            factor=factor,
            shift=0j,
            centre=about,
            sigma_factor=0.0,
            sigma_shift=0.0,
            moved=moved,
        )
    centre = complex(known.mean())
    turned = factor * (known - centre) + centre
    shift = fit_move(turned, measured, sigma, Freedom.NONE)
    assert shift is not None  # noqa: S101  (one row is enough)
    return Move(
        factor=factor,
        shift=shift.shift,
        centre=centre,
        sigma_factor=0.0,
        sigma_shift=shift.sigma_shift,
        moved=turned + shift.shift,
    )


def _scales(view: View) -> Iterator[Hypothesis]:
    known, measured, sigma = view.known, view.measured, view.sigma

    def one(move: Move, charge: float, about: complex | None, *, free: bool) -> Hypothesis:
        ppm = (move.factor.real - 1.0) * 1e6
        halves = (_item("scale_ppm_95", Quantity.PPM, 1.96e6 * move.sigma_factor),) if free else ()
        return view.make(
            "grid-ground",
            _mapped(_as_map(move)),
            charge,
            _item("scale_ppm", Quantity.PPM, ppm),
            about=about,
            halves=halves,
        )

    def scale_charge(move: Move) -> float:
        off = abs(move.factor.real - 1.0)
        return float(
            np.log(2.0 * (off + 1e-6) * 8.0) - 0.5 * np.log(_TWO_PI * move.sigma_factor**2)
        )

    def plain(move: Move | None) -> bool:
        return (
            move is not None and 3.0 * move.sigma_factor < abs(move.factor.real - 1.0) < _MOST_SCALE
        )

    free = fit_move(known, measured, sigma, Freedom.SCALE)
    if free is not None and plain(free):
        yield one(free, scale_charge(free) + _near_charge(free, view), _fixed(free), free=True)
    for about, choice in _origins(view):
        move = fit_move(known, measured, sigma, Freedom.SCALE, about)
        if move is not None and plain(move):
            yield one(move, choice + scale_charge(move), about, free=True)
    combined = view.setting.combined_factor
    if np.isfinite(combined) and abs(combined - 1.0) > 1e-7:
        for factor in (combined, 1.0 / combined, combined**2, combined**-2):
            for about in (0j, *(() if view.setting.ground is None else (view.setting.ground,))):
                # A factor worked out from mean heights is known to a few parts per million.
                move = _with_factor(complex(factor), known, measured, sigma, about)
                yield one(move, np.log(8.0), about, free=False)
            move = _with_factor(complex(factor), known, measured, sigma, None)
            yield one(move, np.log(8.0) + _near_charge(move, view), _fixed(move), free=False)


def _mirrors(view: View) -> Iterator[Hypothesis]:
    known, measured, sigma = view.known, view.measured, view.sigma
    for axis, flip in (("n", 1.0), ("e", -1.0)):
        # Mirrored eastings are -conj(z), mirrored northings conj(z).
        flipped = flip * np.conj(known)
        yield view.make(
            "mirrored",
            _mapped(lambda z, f=flip: f * np.conj(z)),  # type: ignore[misc]
            np.log(4.0),
            _item("axis", Quantity.TEXT, axis),
        )
        gap = measured - flipped
        values = gap.imag if axis == "n" else gap.real
        middle, spread = robust_mean(values, sigma)
        shift = complex(0.0, middle) if axis == "n" else complex(middle, 0.0)
        charge = np.log(2.0 * (abs(middle) + 1.0) * 12.0) - 0.5 * np.log(_TWO_PI * spread**2)
        yield view.make(
            "mirrored",
            _mapped(lambda z, f=flip, s=shift: f * np.conj(z) + s),  # type: ignore[misc]
            np.log(4.0) + charge,
            _item("axis", Quantity.TEXT, axis),
        )


# ---------------------------------------------------------------- heights


def pole_pairs(settings_m: tuple[float, ...]) -> list[tuple[float, float]]:
    """Return (entered, actual) lengths of a pole that are mistaken for each other, metres.

    Two settings exchanged, and metres keyed as feet (2 m as 2 ft: 1.390 m).
    """
    pairs = [(a, b) for a in settings_m for b in settings_m if abs(a - b) > 1e-6]
    return pairs + [(length_m * M_PER_FOOT, length_m) for length_m in settings_m]


def _heights(view: View) -> Iterator[Hypothesis]:
    found = _height_shift(view)
    if found is None:
        return
    dz, sigma, charge = found
    if not view.part.drawn and view.part.value != "control":
        pairs = pole_pairs(view.setting.poles_m)
        for entered, actual in pairs:
            step = actual - entered
            if abs(step - dz) < 6.0 * sigma + 0.03:
                yield view.make(
                    "pole-height",
                    shifted(0.0, 0.0, step),
                    np.log(len(pairs)) - 1.0,
                    length("dz", step),
                    length("entered", entered),
                    length("actual", actual),
                )
    if abs(dz) >= _LEAST_HEIGHT_M:
        half = (length("dz_95", 1.96 * sigma),)
        yield view.make(
            "height-constant", shifted(0.0, 0.0, dz), charge, length("dz", dz), halves=half
        )
    if abs(dz) > 5.0 and view.part.by not in ("layer", "check"):
        yield from _geoid(view, dz, sigma)


def _geoid(view: View, dz: float, sigma: float) -> Iterator[Hypothesis]:
    """Yield ellipsoid heights taken for elevations: tens of metres, and hardly a slope."""
    base = np.log(200.0) - 0.5 * np.log(_TWO_PI * sigma**2)
    half = (length("dz_95", 1.96 * sigma),)
    if abs(dz) > 110.0:
        return
    yield view.make(
        "geoid-missing",
        shifted(0.0, 0.0, dz),
        base,
        length("dz", dz),
        _item("slope", Quantity.NUMBER, 0.0),
        halves=half,
    )
    rows = view.rows & np.isfinite(view.evidence.measured[:, 2] - view.predicted[:, 2])
    if rows.sum() < 5:
        return
    plan = view.predicted[rows, :2]
    centre = plan.mean(axis=0)
    design = np.column_stack((np.ones(int(rows.sum())), plan - centre))
    gap = view.evidence.measured[rows, 2] - view.predicted[rows, 2]
    fitted = robust_linear(design, gap, view.evidence.sigma[rows, 1])
    if fitted is None:
        return
    (at, north, east), covariance = fitted
    slope = float(np.hypot(north, east))
    if slope > 3e-4:
        return
    charge = base + np.log(2.0 * np.pi * 1e-4**2)
    charge -= np.log(_TWO_PI) + 0.5 * np.log(np.linalg.det(covariance[1:, 1:]))
    charge += 0.5 * (slope / 1e-4) ** 2

    def apply(points: FloatArray) -> FloatArray:
        moved = points.copy()
        moved[:, 2] += at + (points[:, :2] - centre) @ np.array((north, east))
        return moved

    yield view.make(
        "geoid-missing",
        apply,
        charge,
        length("dz", at),
        _item("slope", Quantity.NUMBER, slope),
        halves=half,
    )
