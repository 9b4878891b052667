"""What a stored point must show to be believed."""

import re
from collections.abc import Callable

import numpy as np

from checker.lengths import Scale, spoken_scale
from checker.model.arrays import BoolArray, FloatArray, TextArray, same_text
from checker.model.job import Gate
from checker.model.points import Points
from checker.text import fixed, show_failure
from checker.units import LengthUnit
from checker.verdicts.probability import GUARD_M

POLE_GUARD_M = 1e-3
"""Metres: poles are read to the millimetre."""
_RELATIVE = 1e-9
"""What binary fractions may add to a number that is no length, relative."""

_AGE = "age of corrections"
_FIXED, _FLOAT = "fixed", "float"
_SOLUTIONS = {
    # The quality indicator of NMEA 0183 sentence GGA (value from memory: an open standard that
    # receivers write into their records): 4 is a fixed, 5 a float real-time kinematic solution.
    "0": "none",
    "1": "autonomous",
    "2": "differential",
    "4": _FIXED,
    "5": _FLOAT,
    # Words of the trade; common practice, no source.
    "fix": _FIXED,
    "rtk fix": _FIXED,
    "rtk fixed": _FIXED,
    "fixed rtk": _FIXED,
    "integer": _FIXED,
    "rtk float": _FLOAT,
    "float rtk": _FLOAT,
    "floating": _FLOAT,
    "single": "autonomous",
    "standalone": "autonomous",
    "dgps": "differential",
    "no fix": "none",
    "invalid": "none",
}


def solution_word(text: str) -> str:
    """Return the kind of solution that a stored word means: fixed, float, autonomous ...

    Case, blanks, hyphens and underscores do not matter; a word that is not known stands for itself.
    """
    plain = re.sub(r"[\s_-]+", " ", text.strip().lower()).strip()
    plain = re.sub(r"\.0+$", "", plain)
    return _SOLUTIONS.get(plain, plain)


def gate_doubts(
    gate: Gate | None,
    measured: Points,
    unit: LengthUnit = LengthUnit.METRE,
    checks: BoolArray | None = None,
) -> TextArray:
    """Return for every as-measured point what it fails to show, or ""; shape (points,).

    A field that the file lacks or a row leaves empty is "not shown", never a pass. unit: of the
    lengths in the texts. checks: shape (points,), which are check shots on control; None: none.
    """
    if gate is None:
        return same_text("", len(measured))
    notes = _Notes(len(measured))
    quality = measured.quality
    if gate.solution:
        _check_solution(notes, gate.solution, quality.solution)
    least = (
        ("satellites", quality.satellites, gate.satellites),
        ("epochs", quality.epochs, gate.epochs),
    )
    for name, values, number in least:
        if number is not None:
            _check_number(notes, name, values, float(number), decimals=0, at_least=True)
    most = (
        ("HDOP", quality.hdop, gate.hdop, 1),
        ("VDOP", quality.vdop, gate.vdop, 1),
        ("PDOP", quality.pdop, gate.pdop, 1),
        (_AGE, quality.age_s, gate.age_s, 0),
    )
    for name, values, limit, decimals in most:
        if limit is not None:
            suffix = " s" if name == _AGE else ""
            _check_number(notes, name, values, limit, decimals=decimals, suffix=suffix)
    _check_lengths(notes, gate, measured, unit)
    if gate.pole_m:
        _check_pole(notes, gate.pole_m, quality.pole_m, unit)
    if gate.elevation_mask_rad is not None:
        mask = quality.elevation_mask_rad
        _check_number(
            notes,
            "elevation mask",
            None if mask is None else np.degrees(mask),
            float(np.degrees(gate.elevation_mask_rad)),
            decimals=0,
            suffix="°",
            at_least=True,
        )
    if gate.check_within_s is not None:
        known = np.zeros(len(measured), dtype=np.bool_) if checks is None else checks
        _check_checks(notes, gate.check_within_s, measured, known)
    return notes.texts


def radial_sigma_m(measured: Points) -> FloatArray | None:
    """Return sigma_h, or where a point shows only northing and easting their radial sum; metres."""
    quality = measured.quality
    if quality.sigma_n_m is None or quality.sigma_e_m is None:
        return quality.sigma_h_m
    from_axes: FloatArray = np.hypot(quality.sigma_n_m, quality.sigma_e_m)
    if quality.sigma_h_m is None:
        return from_axes
    return np.where(np.isnan(quality.sigma_h_m), from_axes, quality.sigma_h_m)


class _Notes:
    """Collects what points fail to show; texts has shape (points,)."""

    def __init__(self, points: int) -> None:
        """Begin with nothing noted."""
        self.texts: TextArray = np.full(points, "", dtype=object)

    def add(self, where: BoolArray, text: Callable[[int], str]) -> None:
        """Add a text to the points of the mask."""
        for index in np.flatnonzero(where).tolist():
            before = self.texts[index]
            self.texts[index] = f"{before}; {text(index)}" if before else text(index)

    def missing(self, where: BoolArray, name: str) -> None:
        """Note that the points of the mask do not show the field."""
        self.add(where, lambda _: f"{name} not shown")


def _check_solution(notes: _Notes, accepted: tuple[str, ...], values: TextArray | None) -> None:
    """Note every solution that is not one of the accepted words."""
    if values is None:
        notes.missing(np.ones(len(notes.texts), dtype=np.bool_), "solution")
        return
    words = {solution_word(word) for word in accepted}
    meaning = {text: solution_word(str(text)) for text in dict.fromkeys(values.tolist())}
    found = np.array([meaning[text] for text in values.tolist()], dtype=object)
    silent = found == ""
    notes.missing(silent, "solution")
    known = np.array([word in words for word in found.tolist()], dtype=np.bool_)
    expected = " or ".join(sorted(words))
    notes.add(~silent & ~known, lambda index: f"solution {found[index]}, not {expected}")


def _check_number(
    notes: _Notes,
    name: str,
    values: FloatArray | None,
    limit: float,
    *,
    decimals: int,
    suffix: str = "",
    at_least: bool = False,
    guard: float | None = None,
) -> None:
    """Note every value over its limit, or below it where it is the least that is asked."""
    if values is None:
        notes.missing(np.ones(len(notes.texts), dtype=np.bool_), name)
        return
    notes.missing(np.isnan(values), name)
    allowance = abs(limit) * _RELATIVE if guard is None else guard
    fails = values < limit - allowance if at_least else values > limit + allowance
    enough = next(
        (more for more in (decimals, decimals + 1) if np.isclose(round(limit, more), limit)),
        decimals,
    )

    def text(index: int) -> str:
        shown, bound = show_failure(float(values[index]), limit, enough)
        return f"{name} {shown}{suffix}, {'at least' if at_least else 'limit'} {bound}{suffix}"

    notes.add(fails, text)


def _check_checks(notes: _Notes, limit_s: float, measured: Points, checks: BoolArray) -> None:
    """Note every shot that no check shot of its session stands near enough to in time.

    Where no file shows sessions the base stands for them, and without bases all shots are of one.
    """
    time, setups = measured.quality.time, measured.quality.setups
    count = len(measured)
    when = np.full(count, np.nan)
    if time is not None:
        known = ~np.isnat(time)
        when[known] = time[known].astype("datetime64[ms]").astype(np.int64) / 1000.0
    names = np.full(count, "", dtype=object) if setups is None else setups[1]
    notes.missing(np.isnan(when) & ~checks, "time")
    apart = np.full(count, np.inf)
    for name in dict.fromkeys(names.tolist()):
        here = np.flatnonzero((names == name) & np.isfinite(when))
        proofs = np.sort(when[here][checks[here]])
        if not proofs.size:
            continue
        after = np.searchsorted(proofs, when[here])
        gaps = [
            np.abs(when[here] - proofs[np.clip(after + step, 0, len(proofs) - 1)])
            for step in (-1, 0)
        ]
        apart[here] = np.minimum(*gaps)
    judged = np.isfinite(when) & ~checks
    notes.add(judged & np.isinf(apart), lambda _: "no check shot on control in its session")
    notes.add(
        judged & np.isfinite(apart) & (apart > limit_s * (1.0 + _RELATIVE)),
        lambda index: (
            f"nearest check shot of its session {_span(float(apart[index]))} away,"
            f" limit {_span(limit_s)}"
        ),
    )


def _span(seconds: float) -> str:
    """Return a span of time in hours, or in minutes where it is shorter than one."""
    if seconds >= 3600.0:
        return f"{fixed(seconds / 3600.0, 2)} h"
    return f"{fixed(seconds / 60.0, 1)} min"


def _check_lengths(notes: _Notes, gate: Gate, measured: Points, unit: LengthUnit) -> None:
    """Note the standard deviations and the distance to the base that are over their limits."""
    quality = measured.quality
    whole = Scale(metres=unit.metres, unit=unit.short, decimals=0)
    lengths = (
        ("σ in plan", radial_sigma_m(measured), gate.sigma_h_m, None),
        ("σ in height", quality.sigma_z_m, gate.sigma_z_m, None),
        ("base distance", quality.base_distance_m, gate.base_distance_m, whole),
    )
    for name, values, limit, scale in lengths:
        if limit is not None:
            shown = scale or spoken_scale(unit, limit)
            _check_number(
                notes,
                name,
                None if values is None else values / shown.metres,
                limit / shown.metres,
                decimals=shown.decimals,
                suffix=f" {shown.unit}",
                guard=GUARD_M / shown.metres,
            )


def _check_pole(
    notes: _Notes, accepted_m: tuple[float, ...], values_m: FloatArray | None, unit: LengthUnit
) -> None:
    """Note every pole that has none of the accepted lengths."""
    if values_m is None:
        notes.missing(np.ones(len(notes.texts), dtype=np.bool_), "pole")
        return
    notes.missing(np.isnan(values_m), "pole")
    apart = np.min(np.abs(values_m[:, None] - np.array(accepted_m)), axis=1)

    def shown(length_m: float) -> str:
        return fixed(unit.from_metres(length_m), 3)

    expected = " or ".join(shown(length) for length in accepted_m)
    notes.add(
        apart > POLE_GUARD_M + GUARD_M,
        lambda index: f"pole {shown(float(values_m[index]))} {unit.short}, not {expected}",
    )
