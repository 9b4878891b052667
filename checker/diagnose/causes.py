"""The causes of the closed list as small models of the residuals.

Each takes the predicted points of some rows (the design, moved by what was found before) to where
that cause would have put the as-measured ones, and names its charge in nats: minus the logarithm of
the prior density of its free parameters, times the volume that the data leave them (Laplace's
approximation of the marginal likelihood), and of the number of values that it was picked from.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from checker.diagnose.evidence import DRAWN
from checker.diagnose.fits import ComplexArray, Freedom, Move, fit_move, robust_mean
from checker.diagnose.heights import height_shift, of_heights
from checker.diagnose.hypothesis import (
    BASE_CHARGE,
    DRIFT_YEARS,
    LEAST_FOOT_M,
    LEAST_PLAN_M,
    STEPS,
    TWO_PI,
    Apply,
    Hypothesis,
    View,
    item,
    length,
    mapped,
    ratios,
    shifted,
    wrong_side,
)
from checker.diagnose.noise import BIAS_M, badly_set
from checker.model.arrays import FloatArray
from checker.model.diagnosis import Cause
from checker.model.measure import Item, Quantity
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT

_MOST_SCALE = 1.5e-3
_LEAST_TURN, _LEAST_SCALE = 5e-6, 3e-6
"""A turn or scale that is smaller is a shift (a second of arc, 3 ppm; our choice)."""
_FLAT_FRAME = 4.5
"""Nats against a frame at an epoch of no one's naming whose heights do not show it (ours)."""
_AGREES = 2.0
"""Standard deviations that a turn or scale may be off the one that the grid would give (ours)."""
_OUTSIDE = 2.0
"""Nats against a zone that would put the work where the job's own grid is not used (ours)."""
_FAR_POINT = 0.05
"""How likely a turn or a scale is about a point far from the site that nothing names (ours)."""
_HIDDEN_TURN = 6.0
"""Nats against a turn about a far point that is too small to be seen across the site (ours)."""


def hypotheses(view: View) -> Iterator[Hypothesis]:
    """Yield every cause that the rows of a part could show."""
    if view.rows.sum() >= 1:
        yield from _without_freedom(view)
        yield from _shifts(view)
        yield from of_lines(view)
        if view.rows.sum() >= 2:
            yield from _turns(view)
            yield from _scales(view)
            yield from _mirrors(view)
    yield from of_heights(view)


# ---------------------------------------------------------------- causes without freedom


def _without_freedom(view: View) -> Iterator[Hypothesis]:
    known, measured = view.known, view.measured
    middle = complex(np.median(known.real), np.median(known.imag))
    foot = M_PER_US_SURVEY_FOOT / M_PER_FOOT
    for factor in (foot, 1.0 / foot):
        step = (factor - 1.0) * middle
        if abs(step) < LEAST_FOOT_M:
            continue
        yield view.make(
            "foot-definition",
            mapped(lambda z, f=factor: f * z),  # type: ignore[misc]
            np.log(2.0),
            length("dn", step.imag),
            length("de", step.real),
            item("ppm", Quantity.PPM, (factor - 1.0) * 1e6),
        )
    yield view.make("axes-swapped", mapped(lambda z: 1j * np.conj(z)), 0.0)
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
                item("frame", Quantity.TEXT, name),
            )
    yield from _drifted(view)
    apart = float(np.median(np.abs(measured - known)))
    if view.setting.zones is not None and apart > 300.0 and view.part.by in ("all", *STEPS):
        for zone in view.setting.zones(
            view.predicted[view.rows], view.evidence.measured[view.rows]
        ):
            facts = [item("crs", Quantity.TEXT, zone.code)]
            if zone.alike:
                facts.append(item("alike", Quantity.TEXT, ", ".join(zone.alike)))
            # The job names the grid of the as-measured points: where both fit, they are meant.
            of_design = view.part.drawn != zone.of_design
            charge = np.log(40.0 if zone.same_datum else 1000.0) + (1.0 if of_design else 0.0)
            charge += _OUTSIDE if zone.outside else 0.0
            yield view.make("wrong-zone", zone.apply, charge, *facts)
    if apart > 20_000.0 and view.rows.sum() >= 3:
        move = fit_move(known, measured, view.sigma, Freedom.BOTH)
        if (
            move is not None
            and abs(abs(move.factor) - 1) < 5e-3
            and abs(np.angle(move.factor)) < 0.2
        ):
            charge = _shift_charge(abs(move.shift), view, move) + 2.0 * np.log(
                0.1 / (TWO_PI**0.5 * move.sigma_factor)
            )
            yield view.make(
                "wrong-zone", mapped(_as_map(move)), charge, item("crs", Quantity.TEXT, None)
            )


def _drifted(view: View) -> Iterator[Hypothesis]:
    """Yield other realizations at an epoch that the job does not name: one free number."""
    if not view.setting.drifts:
        return
    move = fit_move(view.known, view.measured, view.sigma, Freedom.NONE)
    if move is None:
        return
    seen = np.array((move.shift.imag, move.shift.real))
    first, last = DRIFT_YEARS
    heights = bool(np.isfinite(view.evidence.measured[view.rows, 2]).any())
    sigma = float(np.hypot(move.sigma_shift, BIAS_M[0] / np.sqrt(view.sessions)))
    for drift in view.setting.drifts:
        speed = float(np.hypot(drift.rate_m[0], drift.rate_m[1]))
        years = float((seen - drift.first_m[:2]) @ drift.rate_m[:2]) / speed**2
        dn, de, dz = (drift.first_m + years * drift.rate_m).tolist()
        away = float(np.hypot(seen[0] - dn, seen[1] - de))
        if not 0.0 <= years <= last - first or away > 6.0 * sigma + 0.03:
            continue
        charge = np.log(4.0 * len(view.setting.drifts) * (last - first))
        charge -= 0.5 * np.log(TWO_PI * (sigma / speed) ** 2)
        half = 1.96 * sigma / speed
        for tall in (True, False):
            yield view.make(
                "frame-shift",
                shifted(dn, de, dz if tall else 0.0),
                charge + (0.0 if tall or not heights else _FLAT_FRAME),
                length("dn", dn),
                length("de", de),
                length("dz", dz if tall else 0.0),
                item("frame", Quantity.TEXT, drift.text.format(f"{first + years:.1f}")),
                halves=(item("epoch_95", Quantity.NUMBER, half),),
            )


def _unit_factors(view: View) -> Iterator[Hypothesis]:
    known, measured = view.known, view.measured
    size = np.abs(known)
    if not np.any(size > 0):
        return
    ratio = float(np.median(np.abs(measured) / np.maximum(size, 1e-9)))
    for factor, true, taken in ratios(view, ratio):
        facts = (
            item("factor", Quantity.NUMBER, factor),
            item("from", Quantity.TEXT, true),
            item("to", Quantity.TEXT, taken),
        )
        flat = mapped(lambda z, f=factor: f * z)  # type: ignore[misc]
        tall: Apply = lambda points, f=factor: points * f  # type: ignore[misc]  # noqa: E731
        for apply in (flat, tall):
            plain = view.make("unit-factor", apply, np.log(56.0), *facts)
            yield plain
            yield replace(plain, times=factor, flat=apply is flat)


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
    return float(badly_set(np.asarray(size), 2) - np.log(TWO_PI * variance))


def _halves(view: View, move: Move, *keys: str) -> tuple[Item, ...]:
    half = 1.96 * np.sqrt(move.sigma_shift**2 + BIAS_M[0] ** 2 / view.sessions)
    return tuple(length(f"{key}_95", half) for key in keys)


def _shifts(view: View) -> Iterator[Hypothesis]:
    move = fit_move(view.known, view.measured, view.sigma, Freedom.NONE)
    if move is None:
        return
    size = abs(move.shift)
    if size < LEAST_PLAN_M * view.coarse:
        return
    dn, de = move.shift.imag, move.shift.real
    charge = _shift_charge(size, view, move)
    plan = (length("dn", dn), length("de", de))
    halves = _halves(view, move, "dn", "de")
    blunder = {
        "all": "base-moved" if view.evidence.again else "shift",
        **dict.fromkeys(DRAWN, "stale-revision"),
    }.get(view.part.by, "base-moved")
    if blunder == "shift":
        yield view.make(blunder, shifted(dn, de), charge, *plan, halves=halves)
        return
    dz = height_shift(view)
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


def of_lines(view: View) -> Iterator[Hypothesis]:
    """Yield a constant across the line; exactly twice each stake's own offset."""
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
    offsets = view.evidence.set_off_m[rows]
    if np.isfinite(offsets).all():
        yield Hypothesis(
            cause=wrong_side(offsets),
            part=view.part,
            other_side=True,
            charge=BASE_CHARGE + view.part.charge,
        )
    if abs(across) >= LEAST_PLAN_M * view.coarse:
        charge = np.log(2.0 * abs(across) * 6.5) - 0.5 * np.log(TWO_PI * sigma**2)
        yield Hypothesis(
            cause=Cause(blunder="wrong-line", parameter=(length("across", across),)),
            part=view.part,
            across_m=across,
            charge=BASE_CHARGE + view.part.charge + max(charge, 0.0),
            halves=(length("across_95", 1.96 * sigma),),
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

    The point mostly lies within some site's width, or in its middle: set-ups, marks, and what
    drawings are turned or scaled about do.
    """
    extent = float(np.ptp(view.known.real) + np.ptp(view.known.imag)) + 1.0
    core = abs(move.factor - 1.0) * extent
    size = abs(move.shift)
    near = core**2 / (np.pi * (size**2 + core**2) ** 2 + 1e-300)
    far = np.exp(-badly_set(np.asarray(size), 2))
    variance = move.sigma_shift**2 + BIAS_M[0] ** 2 / view.sessions
    if size > core:
        far *= 2.0 * _FAR_POINT
    return float(-np.log(0.5 * near + 0.5 * far) - np.log(TWO_PI * variance))


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
        facts = [item("angle_deg", Quantity.ANGLE, angle)]
        convergence = view.setting.convergence_rad
        if np.isfinite(convergence) and abs(abs(angle) - abs(convergence)) < max(
            3.0 * move.sigma_factor, 1e-6
        ):
            facts.append(item("convergence_deg", Quantity.ANGLE, convergence))
        halves = (item("angle_deg_95", Quantity.ANGLE, 1.96 * move.sigma_factor),) if free else ()
        return view.make(
            "rotation", mapped(_as_map(move)), charge, *facts, about=about, halves=halves
        )

    def angle_charge(move: Move, angle: float) -> float:
        return float(
            np.log(2.0 * (abs(angle) + 2e-6) * 12.6) - 0.5 * np.log(TWO_PI * move.sigma_factor**2)
        )

    free = fit_move(known, measured, sigma, Freedom.TURN)
    if free is None:
        return
    angle = -float(np.angle(free.factor))
    if abs(angle) > max(3.0 * free.sigma_factor, _LEAST_TURN):
        charge = angle_charge(free, angle) + _near_charge(free, view)
        yield one(free, angle, charge, _fixed(free), free=True)
    convergence = view.setting.convergence_rad
    if np.isfinite(convergence) and abs(convergence) > 1e-6:
        for sign in (1.0, -1.0):
            if abs(angle - sign * convergence) > _AGREES * free.sigma_factor:
                continue
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
        if abs(angle) > max(3.0 * move_about.sigma_factor, _LEAST_TURN):
            # Any shift square to the way to a far point is such a turn: only its direction tells.
            hidden = abs(angle) < 3.0 * free.sigma_factor
            charge = choice + angle_charge(move_about, angle) + (_HIDDEN_TURN if hidden else 0.0)
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
        halves = (item("scale_ppm_95", Quantity.PPM, 1.96e6 * move.sigma_factor),) if free else ()
        return view.make(
            "grid-ground",
            mapped(_as_map(move)),
            charge,
            item("scale_ppm", Quantity.PPM, ppm),
            about=about,
            halves=halves,
        )

    def scale_charge(move: Move) -> float:
        off = abs(move.factor.real - 1.0)
        return float(np.log(2.0 * (off + 1e-6) * 8.0) - 0.5 * np.log(TWO_PI * move.sigma_factor**2))

    def plain(move: Move | None) -> bool:
        if move is None:
            return False
        least = max(3.0 * move.sigma_factor, _LEAST_SCALE)
        return least < abs(move.factor.real - 1.0) < _MOST_SCALE

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
            if free is None or abs(factor - free.factor.real) > _AGREES * free.sigma_factor:
                continue
            move = _with_factor(complex(factor), known, measured, sigma, None)
            yield one(move, np.log(8.0) + _near_charge(move, view), _fixed(move), free=False)


def _mirrored_about(view: View) -> Iterator[Hypothesis]:
    """Yield a mirror about a line of any direction: reversed, then turned and shifted."""
    known, measured = view.known, view.measured
    if len(known) < 4:
        return
    middle = complex(known.mean())
    move = fit_move(np.conj(known - middle) + middle, measured, view.sigma, Freedom.TURN)
    if move is None:
        return
    core = float(np.ptp(known.real) + np.ptp(known.imag)) + 1.0
    variance = move.sigma_shift**2 + BIAS_M[0] ** 2 / view.sessions
    size = abs(move.shift)
    charge = -np.log(core / (TWO_PI * (size**2 + core**2) ** 1.5)) - np.log(TWO_PI * variance)
    charge += np.log(TWO_PI) - 0.5 * np.log(TWO_PI * move.sigma_factor**2)
    # Northings reversed and then turned by t: mirrored about the azimuth 90 degrees - t / 2.
    azimuth = (np.pi / 2.0 - float(np.angle(move.factor)) / 2.0) % np.pi

    def mirror(z: ComplexArray) -> ComplexArray:
        flipped = np.conj(z - middle) + middle
        return np.asarray(move.factor * (flipped - move.centre) + move.centre + move.shift)

    yield view.make(
        "mirrored",
        mapped(mirror),
        np.log(4.0) + float(charge),
        item("axis", Quantity.TEXT, "line"),
        item("azimuth_deg", Quantity.ANGLE, azimuth),
    )


def _mirrors(view: View) -> Iterator[Hypothesis]:
    known, measured, sigma = view.known, view.measured, view.sigma
    yield from _mirrored_about(view)
    for axis, flip in (("n", 1.0), ("e", -1.0)):
        # Mirrored eastings are -conj(z), mirrored northings conj(z).
        flipped = flip * np.conj(known)
        yield view.make(
            "mirrored",
            mapped(lambda z, f=flip: f * np.conj(z)),  # type: ignore[misc]
            np.log(4.0),
            item("axis", Quantity.TEXT, axis),
        )
        gap = measured - flipped
        values = gap.imag if axis == "n" else gap.real
        middle, spread = robust_mean(values, sigma)
        shift = complex(0.0, middle) if axis == "n" else complex(middle, 0.0)
        # Mirrored about a line at half of it: across the site, as blocks are, or anywhere.
        here = known.imag if axis == "n" else known.real
        off, core = middle - 2.0 * float(here.mean()), 2.0 * float(np.ptp(here)) + 1.0
        near, far = core / (np.pi * (core**2 + off**2)), 1.0 / (24.0 * (abs(middle) + 1.0))
        charge = -np.log(0.5 * near + 0.5 * far) - 0.5 * np.log(TWO_PI * spread**2)
        yield view.make(
            "mirrored",
            mapped(lambda z, f=flip, s=shift: f * np.conj(z) + s),  # type: ignore[misc]
            np.log(4.0) + charge,
            item("axis", Quantity.TEXT, axis),
        )
