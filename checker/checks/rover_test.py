"""The field test of the rover, in the manner of ISO 17123-8.

Two rover points near each other, in series of sets; a set measures both. The mean of all shots of a
rover point is taken for its place; the residuals of all give the standard deviation of a single
shot, with as many degrees of freedom as there are shots less points. Structure and tests of the
standard are from memory and have not been confirmed against its text; the critical values are
scipy's.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from checker.checks.closing import column, item, length_text, once, refuse, whole_measure
from checker.checks.deltas import counts_item
from checker.checks.frame import ground_scale
from checker.checks.selecting import in_order_of_time
from checker.checks.shots import Shots, select_shots
from checker.geometry.statistics import f_quantile, sigma_factor
from checker.model.arrays import FloatArray, IntArray, TextArray
from checker.model.inputs import Inputs
from checker.model.job import Job, RoverTest, Tolerance
from checker.model.measure import Item, Measure, Quantity
from checker.text import fixed
from checker.units import Formula, LengthUnit

_SETS, _SERIES = 5, 3
"""Sets in a series, and series of the full test (from memory)."""
_GROSS = 2.5 * np.sqrt(2.0)
"""Times the stated sigma: a distance or rise further from the nominal one is a gross error."""
_APART_S = 90.0 * 60.0
"""Between the starts of two series, about (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sets:
    """Shots of both points, a row a set: indices (sets, 2); series: name of each set's series."""

    shot: IntArray
    series: TextArray
    number: IntArray


def measure_rover_test(section: RoverTest, inputs: Inputs, job: Job) -> Measure:
    """Return the precision that the rover shows, and the tests of what is claimed for it.

    Raises InputError where a rover point has no shots, or a series has not as many of one point as
    of the other.
    """
    shots = select_shots(section, section.measured, inputs, job)
    sets = _sets(section, shots)
    points = shots.points
    n, e, z = (
        values[sets.shot] for values in (points.northing_m, points.easting_m, points.elevation_m)
    )
    residual_n, residual_e, residual_z = (values.mean(axis=0) - values for values in (n, e, z))
    freedom = 2 * len(sets.shot) - 2
    s_n, s_e, s_z = (
        float(np.sqrt(np.sum(values**2) / freedom)) if freedom else np.nan
        for values in (residual_n, residual_e, residual_z)
    )
    s_plan = float(np.hypot(s_n, s_e))
    scale = float(ground_scale(job.reference.ground)[0])
    distance = scale * np.hypot(n[:, 1] - n[:, 0], e[:, 1] - e[:, 0])
    rise = z[:, 1] - z[:, 0]
    gross = _gross(section, sets, distance, rise)
    few = _too_few(sets)
    a, b = section.points
    length = Quantity.LENGTH
    measure = whole_measure(
        "rover_test",
        section,
        row_id=np.array(
            [f"{name}/{k}" for name, k in zip(sets.series, sets.number, strict=True)], dtype=object
        ),
        columns=(
            column("series", "Series", Quantity.TEXT, sets.series, detail=True),
            column("distance", "Distance", Quantity.DISTANCE, distance),
            column("d_distance", "Less nominal", length, distance - _nan(section.distance_m)),
            column("rise", "Rise", length, rise),
            column("d_rise", "Rise less nominal", length, rise - _nan(section.rise_m)),
            *(
                column(
                    f"residual_{axis}_{k + 1}",
                    f"{name}: residual {axis.upper()}",
                    length,
                    values[:, k],
                )
                for k, name in enumerate((a, b))
                for axis, values in (("n", residual_n), ("e", residual_e), ("z", residual_z))
            ),
        ),
        summary=(
            counts_item("series", "Series", len(set(sets.series.tolist()))),
            counts_item("sets", "Sets", len(sets.shot)),
            counts_item("degrees_of_freedom", "Degrees of freedom of a coordinate", freedom),
            item("s_n", "s of N", length, s_n),
            item("s_e", "s of E", length, s_e),
            item("s_plan", "s in plan, both axes", length, s_plan),
            item("s_height", "s of height", length, s_z),
            *_claims(section, freedom),
        ),
        comparisons=(
            once("horizontal", "standard deviation in plan", s_plan),
            once(
                "vertical",
                "standard deviation of height",
                s_z,
                absent="not every shot has an elevation" if np.isnan(s_z) else "",
            ),
        ),
        remarks=(
            *_about(section, sets, points.quality.time, freedom, (s_plan, s_z), job.unit),
            *gross,
        ),
        undecided=few or (gross[0].rstrip(".") if gross else ""),
    )
    return replace(
        measure,
        tolerance=_limits(section, freedom),
        shots=sets.shot,
        used=np.unique(sets.shot),
    )


def _nan(value: float | None) -> float:
    return np.nan if value is None else value


def _sets(section: RoverTest, shots: Shots) -> _Sets:
    """Return the shots paired: in each series the first of one point with that of the other."""
    live = shots.live
    session = shots.points.quality.session
    names = np.full(len(live), "1", dtype=object) if session is None else session[live].copy()
    names[names == ""] = "1"
    order = {name: place for place, name in enumerate(dict.fromkeys(names.tolist()))}
    of_point: list[dict[str, list[int]]] = []
    for point in section.points:
        chosen = np.flatnonzero(shots.id[live] == point)
        if not chosen.size:
            refuse(
                "unknown-point",
                section.where,
                f'[[rover_test]]: rover point "{point}" has no shot',
                "points names the two rover points by the numbers that their shots carry",
            )
        group = np.array([order[name] for name in names[chosen].tolist()], dtype=np.int64)
        sorted_ = chosen[in_order_of_time(shots.points, group, live[chosen])]
        by_series: dict[str, list[int]] = {}
        for place in sorted_.tolist():
            by_series.setdefault(str(names[place]), []).append(int(live[place]))
        of_point.append(by_series)
    first, second = of_point
    for name in order:
        counts = (len(first.get(name, [])), len(second.get(name, [])))
        if counts[0] != counts[1]:
            refuse(
                "sets-differ",
                section.where,
                f'[[rover_test]]: series "{name}" has {counts[0]} shots of {section.points[0]} and'
                f" {counts[1]} of {section.points[1]}; a set measures both",
                "set a stray shot aside with exclude, or shoot the series again",
            )
    used = [name for name in order if name in first]
    return _Sets(
        shot=np.array(
            [pair for name in used for pair in zip(first[name], second[name], strict=True)],
            dtype=np.int64,
        ),
        series=np.array([name for name in used for _ in first[name]], dtype=object),
        number=np.array([k + 1 for name in used for k in range(len(first[name]))], dtype=np.int64),
    )


def _too_few(sets: _Sets) -> str:
    """Return why the sets are not enough, or ""."""
    names, counts = np.unique(sets.series.astype(str), return_counts=True)
    if counts.min() < _SETS:
        name, count = names[np.argmin(counts)], int(counts.min())
        return f"series {name} has {count} set{'s' if count != 1 else ''}, {_SETS} are asked for"
    return ""


def _gross(
    section: RoverTest, sets: _Sets, distance: FloatArray, rise: FloatArray
) -> tuple[str, ...]:
    """Name the sets that are grossly off the nominal distance or rise."""
    found = []
    for what, values, nominal, sigma in (
        ("distance", distance, section.distance_m, section.sigma_plan_m),
        ("rise", rise, section.rise_m, section.sigma_height_m),
    ):
        if nominal is None or sigma is None:
            continue
        off = np.abs(values - nominal)
        found += [
            f"gross error: set {sets.series[row]}/{sets.number[row]}, {what} between the rover"
            f" points off by {fixed(float(off[row] / sigma), 1)} times the stated deviation,"
            f" {fixed(float(_GROSS), 1)} at most; shoot the series again."
            for row in np.flatnonzero(off > _GROSS * sigma).tolist()
        ]
    return tuple(found)


def _limits(section: RoverTest, freedom: int) -> Tolerance | None:
    """Return what the sample deviations may be by chi-square at 95 %, given what is claimed."""
    if freedom < 1:
        return None
    # plan has the freedom of both axes
    plan, height = (
        None
        if claimed is None
        else Formula(
            constant=claimed * sigma_factor(degrees),
            text=f"{fixed(sigma_factor(degrees), 2)} times the deviation stated in the job",
        )
        for claimed, degrees in (
            (section.sigma_plan_m, 2 * freedom),
            (section.sigma_height_m, freedom),
        )
    )
    if plan is None and height is None:
        return None
    return Tolerance(
        name="",
        horizontal=plan,
        vertical=height,
        source="chi-square test of a sample against a stated deviation, one-sided, 95 %",
    )


def _claims(section: RoverTest, freedom: int) -> Iterator[Item]:
    yield item("sigma_plan", "Stated for plan", Quantity.LENGTH, section.sigma_plan_m)
    yield item("sigma_height", "Stated for height", Quantity.LENGTH, section.sigma_height_m)
    if freedom:
        for key, degrees in (("plan", 2 * freedom), ("height", freedom)):
            label = f"F at 97.5 %, {degrees} and {degrees}"
            value = fixed(f_quantile(0.975, degrees, degrees), 2)
            yield Item(key=f"f_{key}", label=label, quantity=Quantity.TEXT, value=value)


def _about(
    section: RoverTest,
    sets: _Sets,
    time: np.ndarray[tuple[int, ...], np.dtype[np.datetime64]] | None,
    freedom: int,
    found: tuple[float, float],
    unit: LengthUnit,
) -> Iterator[str]:
    """Say what kind of test this is, how it was timed, and how it compares with an earlier one."""
    series = list(dict.fromkeys(sets.series.tolist()))
    if len(series) < _SERIES:
        yield (
            f"{len(series)} series: a simplified test, which shows gross errors but no change of"
            f" the sky; the full test has {_SERIES}, about an hour and a half apart."
        )
    if time is None:
        yield "The shots show no time: how far the series are apart cannot be said."
    else:
        starts = [time[sets.shot[sets.series == name]].min() for name in series]
        gaps = [(later - first) / np.timedelta64(1, "s") for first, later in pairwise(starts)]
        if gaps and min(gaps) < 0.9 * _APART_S:
            yield (
                f"Two series began {fixed(min(gaps) / 60.0, 0)} min apart; about"
                f" {fixed(_APART_S / 60.0, 0)} min are asked for, so that the sky changes."
            )
    yield (
        "The test shows how precisely this rover measured there and then; it accepts or rejects no"
        " instrument. Its rules follow ISO 17123-8, which was not at hand: compare before you cite"
        " it."
    )
    for part, s, earlier, degrees in (
        ("plan", found[0], section.earlier_plan_m, 2 * freedom),
        ("height", found[1], section.earlier_height_m, freedom),
    ):
        if earlier is None or not degrees or np.isnan(s):
            continue
        limit = f_quantile(0.975, degrees, degrees)
        times = (s / earlier) ** 2
        same = 1.0 / limit <= times <= limit
        yield (
            f"In {part} the earlier test had {length_text(earlier, unit, plus=False)}: "
            + ("no difference" if same else "the two differ")
            + f" (F {fixed(times, 2)}, {fixed(1.0 / limit, 2)} to {fixed(limit, 2)} at 95 %, with"
            " as many sets)."
        )
