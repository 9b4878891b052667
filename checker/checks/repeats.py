"""Marks that were shot more than once: how well the shots agree."""

import numpy as np

from checker.checks.closing import column
from checker.checks.deltas import Sigmas, counts_item, deltas, picked_text, sigmas_of, spread_items
from checker.checks.repeat_evidence import (
    Groups,
    about_scatter,
    about_sharing,
    apart,
    chances,
    coverage,
    scatter_items,
    scatter_of,
    shared,
)
from checker.checks.selecting import (
    check_shots,
    exclusion_reasons,
    in_order_of_time,
    need_points,
    place,
    select_points,
    stripped_ids,
)
from checker.model.arrays import FloatArray, IntArray, TextArray
from checker.model.finding import Verdict
from checker.model.inputs import Inputs
from checker.model.job import Job, Repeats
from checker.model.measure import Comparison, Measure, Quantity
from checker.model.points import Points
from checker.text import fixed

_SIDEREAL_DAY_S = 86164.0905
"""Seconds after which the satellites of GPS stand over a site as before (from memory)."""
_SAME_SKY_S = 1800.0
"""Within half an hour of that they are much the same; common practice, no source."""
_REMARK = "A stake that was moved and shot again under its number shows here as disagreeing."


def measure_repeats(section: Repeats, inputs: Inputs, job: Job) -> Measure:
    """Compare the later shots of every mark with its first, later minus first, a row each.

    A mark is an id, or with `within_m` all shots that stand that close to the first of them. Check
    shots and re-stakes count. Raises InputError where the selection finds nothing or an exclusion
    names no shot.
    """
    measured = need_points(inputs.measured, "measured", section.where)
    chosen = select_points(measured, section.measured, "measured", section.where)
    reason = exclusion_reasons(job, measured)
    shots = chosen[reason[chosen] == ""]
    ids = stripped_ids(measured)
    group = _groups(section, measured, shots, ids)
    shots, group = shots[group >= 0], group[group >= 0]
    order = in_order_of_time(measured, group, shots)
    shots, group = shots[order], group[order]
    head = np.append(True, group[1:] != group[:-1])[: len(group)]
    size = np.bincount(np.cumsum(head) - 1) if len(group) else np.empty(0, dtype=np.int64)
    first = np.repeat(shots[head], size)[~head]
    later = shots[~head]
    marks = int((size > 1).sum())
    stated = job.measured is not None and job.measured.sigma_level is not None
    level = None if section.tolerance is None or stated else section.tolerance.sigma_level
    # both shots rest on the same control, whose own uncertainty is not between them
    a = sigmas_of(measured, first, level, control=False)
    b = sigmas_of(measured, later, level, control=False)
    sigma = a.joined(b)
    found = deltas(measured, first, measured, later, sigma)
    apart_s = _apart_s(measured, first, later)
    name = _mark_names(measured, ids, first)
    known = check_shots(inputs, measured)
    groups = Groups(
        shots=shots,
        group=np.cumsum(head) - 1,
        size=size,
        name=_mark_names(measured, ids, shots[head]),
        control=known[shots[head]],
    )
    single = sigmas_of(measured, shots, level, control=False)
    spreads = scatter_of(measured, single, groups)
    chance_plan, chance_height = chances(found.dn, found.de, found.dz, sigma)
    covered, plans = coverage(section, groups)
    alike = shared(measured, first, later)
    stands_apart, odd = apart(measured, groups)
    length, spot = Quantity.LENGTH, Quantity.COORDINATE
    first_id, later_id = picked_text(ids, first), picked_text(ids, later)
    return Measure(
        kind="repeats",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=name,
        columns=(
            column("count", "Shots", Quantity.COUNT, np.repeat(size, size)[~head].astype(float)),
            column("dn", "ΔN", length, found.dn),
            column("de", "ΔE", length, found.de),
            column("dz", "ΔZ", length, found.dz),
            column("horizontal", "Horizontal", length, found.horizontal),
            column("apart_h", "Hours apart", Quantity.HOURS, apart_s / 3600.0),
            column("sigma_h", "σ horizontal", length, sigma.h),
            column("sigma_z", "σ vertical", length, sigma.z),
            column("chance_plan", "Chance, plan", Quantity.PROBABILITY, chance_plan),
            column("chance_height", "Chance, height", Quantity.PROBABILITY, chance_height),
            column("shared", "Same as at the first", Quantity.TEXT, alike),
            column("first_id", "First shot", Quantity.TEXT, first_id, detail=True),
            column(
                "later_id",
                "Later shot",
                Quantity.TEXT,
                later_id,
                detail=bool(np.all(first_id == later_id)),
            ),
            column("first_n", "First N", spot, found.known_n, detail=True),
            column("first_e", "First E", spot, found.known_e, detail=True),
            column("first_z", "First Z", spot, found.known_z, detail=True),
            column("later_n", "Later N", spot, found.measured_n, detail=True),
            column("later_e", "Later E", spot, found.measured_e, detail=True),
            column("later_z", "Later Z", spot, found.measured_z, detail=True),
        ),
        summary=(
            counts_item("marks", "Marks shot again", marks),
            counts_item("shots", "Shots of them", len(later) + marks),
            *spread_items(found, np.ones(len(later), dtype=np.bool_)),
            *scatter_items(spreads),
            *covered,
        ),
        comparisons=_comparisons(found.horizontal, found.dn, found.de, found.dz, sigma),
        judged_by_row=True,
        shots=np.column_stack((later, first)),
        used=np.union1d(first, later),
        unchecked=np.full(len(later), "", dtype=object),
        undecided=_too_soon(section.apart_s, apart_s),
        said=_both(
            _same_setting(measured, first, later, apart_s, section.apart_s), stands_apart[~head]
        ),
        counted=np.ones(len(later), dtype=np.bool_),
        whole_unchecked="" if len(later) else "no mark was shot more than once",
        remarks=(
            _REMARK,
            *about_scatter(measured, single, groups, job.unit),
            *odd,
            *about_sharing(alike),
            *plans,
        )
        if len(later)
        else (),
    )


def _both(first: TextArray, second: TextArray) -> TextArray:
    """Return both of what must be said of each row."""
    texts = first.copy()
    for row in np.flatnonzero(second != "").tolist():
        texts[row] = "; ".join(part for part in (first[row], second[row]) if part)
    return texts


def _mark_names(measured: Points, ids: TextArray, shots: IntArray) -> TextArray:
    """Return what the marks of these shots are called: the number, else where it was read."""
    name = picked_text(ids, shots)
    for row in np.flatnonzero(name == "").tolist():
        name[row] = place(measured, int(shots[row]))
    return name


def _groups(section: Repeats, measured: Points, shots: IntArray, ids: TextArray) -> IntArray:
    """Return the group of each shot; shape as `shots`, -1 for one without a number."""
    if section.within_m is None:
        names = ids[shots].tolist()
        code = {name: number for number, name in enumerate(dict.fromkeys(names)) if name}
        return np.array([code.get(name, -1) for name in names], dtype=np.int64)
    return _by_distance(measured, shots, section.within_m)


def _by_distance(measured: Points, shots: IntArray, within_m: float) -> IntArray:
    """Return groups of shots that stand within that distance of the first shot of their group."""
    from scipy.spatial import KDTree

    group = np.full(len(shots), -1, dtype=np.int64)
    if not len(shots):
        return group
    order = in_order_of_time(measured, np.zeros(len(shots), dtype=np.int64), shots)
    places = np.column_stack((measured.northing_m[shots], measured.easting_m[shots]))
    neighbours = KDTree(places).query_ball_point(places, within_m)
    for number, position in enumerate(order.tolist()):
        if group[position] < 0:
            near = np.array(neighbours[position], dtype=np.int64)
            group[near[group[near] < 0]] = number
    return group


def _apart_s(measured: Points, first: IntArray, later: IntArray) -> FloatArray:
    """Return the seconds from the first to the later shot; NaN where one shows no time."""
    time = measured.quality.time
    if time is None:
        return np.full(len(later), np.nan)
    gap = (time[later] - time[first]).astype("timedelta64[ms]")
    return np.where(np.isnat(gap), np.nan, gap.astype(np.int64) / 1000.0)


def _too_soon(asked_s: float | None, apart_s: FloatArray) -> TextArray:
    """Return why shots are not independent in time, or ""; shape (rows,).

    The time apart is judged modulo the sidereal day: shots whole days apart see the same sky.
    """
    texts: TextArray = np.full(len(apart_s), "", dtype=object)
    if asked_s is None:
        return texts
    texts[np.isnan(apart_s)] = "the times of the shots are not shown"
    for row in np.flatnonzero(apart_s < asked_s).tolist():
        texts[row] = f"shot again after {_span(float(apart_s[row]))}, {_span(asked_s)} asked"
    days, off_s = _sidereal(apart_s)
    same = (days > 0) & (off_s < min(asked_s, _SAME_SKY_S)) & (texts == "")
    for row in np.flatnonzero(same).tolist():
        texts[row] = (
            f"shot again after {_span(float(apart_s[row]))}, at the first shot's time of the"
            f" sidereal day: the satellites stand as before, {_span(asked_s)} asked"
        )
    return texts


def _sidereal(apart_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how many whole sidereal days lie nearest to a time, and how far it is off them."""
    days = np.where(np.isnan(apart_s), 0.0, np.round(apart_s / _SIDEREAL_DAY_S))
    return days, np.abs(apart_s - days * _SIDEREAL_DAY_S)


def _span(seconds: float) -> str:
    """Return a span of time in hours, or in minutes where it is shorter than one."""
    if abs(seconds) >= 3600.0:
        return f"{fixed(seconds / 3600.0, 1)} h"
    return f"{fixed(seconds / 60.0, 1)} min"


def _same_setting(
    measured: Points,
    first: IntArray,
    later: IntArray,
    apart_s: FloatArray,
    asked_s: float | None,
) -> TextArray:
    """Return what makes the two shots less than independent, or ""; shape (rows,)."""
    texts: TextArray = np.full(len(later), "", dtype=object)
    sessions = measured.quality.session
    if sessions is not None:
        same = (sessions[first] == sessions[later]) & (sessions[first] != "")
        texts[same] = "same session as the first shot"
    days, off = _sidereal(apart_s)
    if asked_s is not None:  # then it is judged, and the reason says it
        days = np.where(off < min(asked_s, _SAME_SKY_S), 0.0, days)
    for row in np.flatnonzero((days > 0) & (off < _SAME_SKY_S)).tolist():
        texts[row] = "; ".join(
            part for part in (texts[row], "at the first shot's time of the sidereal day") if part
        )
    return texts


def _comparisons(
    horizontal: FloatArray, dn: FloatArray, de: FloatArray, dz: FloatArray, sigma: Sigmas
) -> tuple[Comparison, Comparison]:
    """Return the plan and the height comparison of the repeats."""
    absent: TextArray = np.full(len(dz), "", dtype=object)
    absent[np.isnan(dz)] = "no elevation was measured"
    return (
        Comparison(
            limit="horizontal",
            label="horizontal",
            value=horizontal,
            sigma=sigma.h,
            vector=np.column_stack((dn, de)),
            vector_sigma=np.column_stack((sigma.n, sigma.e)),
            vector_correlation=sigma.correlation,
        ),
        Comparison(
            limit="vertical",
            label="vertical",
            value=dz,
            sigma=sigma.z,
            absent=absent,
            absent_verdict=np.full(len(dz), Verdict.UNDECIDED, dtype=np.int8),
        ),
    )
