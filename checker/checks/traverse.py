"""Traverses: azimuths, latitudes and departures, how they close, and the rule that shares it out.

Angular misclosure is the sum observed minus the theoretical sum. It is found from the directions:
every angle turns the traverse, so the azimuth computed for the closing line differs from the known
one by just that. All of it is common practice; tests/published/closures names worked examples.
"""

from dataclasses import replace

import numpy as np

from checker.checks.closing import (
    column,
    compared,
    item,
    known_points,
    length_text,
    once,
    whole_measure,
)
from checker.checks.convergence import convergence_on
from checker.checks.heights import Heights, heights
from checker.checks.traverse_blunders import blunder_tables, suspected
from checker.checks.traverse_directions import (
    Proof,
    angular_misclosure,
    azimuths,
    proof_of,
    shared,
    start_azimuth,
)
from checker.checks.traverse_line import NOISE_M, Line, is_observed, line_of, word
from checker.checks.traverse_rules import RULES, adjusted_runs, by_rule
from checker.checks.traverse_run import Run, area_of, repeated, run_of
from checker.checks.traverse_sets import set_comparisons, set_items, set_tables
from checker.geometry.plane import azimuth_rad, wrap_signed
from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs
from checker.model.job import Adjust, AzimuthKind, Job, Traverse
from checker.model.measure import Column, Comparison, Item, Measure, Quantity, Supplement
from checker.text import angle_words, signed
from checker.units import ARCSEC


def measure_traverse(section: Traverse, inputs: Inputs, _job: Job | None = None) -> Measure:
    """Return how a traverse closes, and its coordinates before and after the rule.

    One row a leg, named by the station reached. Comparisons: angular (radians; n the number of
    angles that the closure proves), misclosure (metres; n legs, length_m their sum), ratio
    (misclosure / length), and how far single sets differ from their means. Misclosure is computed
    minus known. With a rule the angular misclosure is shared equally first, and latitudes,
    coordinates and misclosure_n and _e are after that; raw_misclosure_n and _e are before. Raises
    InputError where book and job do not fit each other.
    """
    line = line_of(section, inputs)
    remarks: list[str] = []
    start_rad = start_azimuth(line, inputs, remarks)
    proof = proof_of(line, inputs, start_rad)
    angular = angular_misclosure(line, proof, line.angle_rad, start_rad)
    angles = shared(line, proof, angular, remarks)
    raw = run_of(line, azimuths(line, line.angle_rad, start_rad))
    run = run_of(line, azimuths(line, angles, start_rad))
    aside: list[str] = []
    runs = adjusted_runs(line, run, inputs, remarks, aside)
    adjusted = runs.get(section.adjust)
    _say(line, proof, angular, run, inputs, remarks)
    remarks += repeated(line, run)
    levelled = heights(
        line.book,
        line.legs,
        line.ground_m,
        start_m=line.start_z_m,
        rise_m=line.rise_m,
        refraction=section.refraction,
        share=adjusted is not None,
    )
    remarks += _on_heights(line, levelled)
    remarks += _on_azimuths(line)
    remarks += _on_grid(line)
    remarks += suspected(line, raw, angular)
    on_ground = (
        None
        if section.grid_factor is None
        else run_of(line, azimuths(line, angles, start_rad), line.ground_m)
    )
    misclosure = float(np.hypot(run.misclosure_n_m, run.misclosure_e_m))
    length = float(np.sum(line.leg_m))
    return whole_measure(
        "traverse",
        section,
        row_id=np.array(line.to[: line.legs], dtype=object),
        columns=(
            *_columns(line, run, adjusted, angles),
            *(() if levelled is None else levelled.columns()),
        ),
        summary=(
            *_summary(line, proof, angular, raw, run, adjusted),
            *_ground_items(line, on_ground),
            *(() if levelled is None else levelled.items()),
            *set_items(line.book),
        ),
        comparisons=(
            *_comparisons(line, proof, angular, misclosure, length),
            *_passing(line, run, inputs, length),
            *compared(section.tolerance, set_comparisons(line.book), remarks),
        ),
        remarks=remarks,
        undecided=_OPEN if line.close is None else "",
        supplements=(
            *set_tables(line.book),
            *blunder_tables(line, raw, angular),
            *_balanced(line, proof, angles),
            *by_rule(line, run, runs, aside),
            *_courses(line, run, adjusted),
        ),
    )


TELLING_RAD = 2.0 * ARCSEC
"""A change of convergence below this does not tell grid azimuths from geodetic ones (ours)."""
_OPEN = "an open traverse ends on no known point: nothing proves it"


# ---------------------------------------------------------------- what is handed on


def _columns(line: Line, run: Run, adjusted: Run | None, angles: FloatArray) -> tuple[Column, ...]:
    nothing = np.full(line.legs, np.nan)
    after = adjusted or Run(
        azimuth_rad=nothing,
        latitude_m=nothing,
        departure_m=nothing,
        n_m=nothing,
        e_m=nothing,
        misclosure_n_m=0.0,
        misclosure_e_m=0.0,
    )
    length = nothing if adjusted is None else np.hypot(after.latitude_m, after.departure_m)
    coordinate, distance, angle = Quantity.COORDINATE, Quantity.DISTANCE, Quantity.ANGLE
    return (
        column("n", "Northing", coordinate, run.n_m),
        column("e", "Easting", coordinate, run.e_m),
        column("adjusted_n", "Adjusted northing", coordinate, after.n_m),
        column("adjusted_e", "Adjusted easting", coordinate, after.e_m),
        column("latitude", "Latitude", distance, run.latitude_m),
        column("departure", "Departure", distance, run.departure_m),
        column("azimuth", "Azimuth", angle, run.azimuth_rad),
        column("distance", "Distance", distance, line.leg_m),
        *(
            ()
            if line.section.grid_factor is None
            else (column("ground_distance", "Distance on ground", distance, line.ground_m),)
        ),
        column(
            "from",
            "From",
            Quantity.TEXT,
            np.array(line.at[: line.legs], dtype=object),
            detail=True,
        ),
        column("angle", "Angle as used", angle, angles[: line.legs], detail=True),
        column("angle_observed", "Angle observed", angle, line.angle_rad[: line.legs], detail=True),
        column("adjusted_latitude", "Adjusted latitude", distance, after.latitude_m, detail=True),
        column(
            "adjusted_departure", "Adjusted departure", distance, after.departure_m, detail=True
        ),
        column("adjusted_azimuth", "Adjusted azimuth", angle, after.azimuth_rad, detail=True),
        column("adjusted_distance", "Adjusted distance", distance, length, detail=True),
    )


def _balanced(line: Line, proof: Proof, angles: FloatArray) -> tuple[Supplement, ...]:
    """Return the angles as observed and as used, where they were changed."""
    observed = line.angle_rad
    there = np.flatnonzero(np.isfinite(observed))
    if is_observed(line.section) or not np.any(angles[there] != observed[there]):
        return ()
    rows = there.tolist()
    back = [_back_of(line, row) for row in rows]
    return (
        Supplement(
            key="angles",
            title="Angles, observed and balanced",
            head="At",
            id=np.array([line.at[row] for row in rows], dtype=object),
            columns=(
                column("back", "From", Quantity.TEXT, np.array(back, dtype=object)),
                column(
                    "to", "To", Quantity.TEXT, np.array([line.to[r] for r in rows], dtype=object)
                ),
                column("angle_observed", "Observed", Quantity.ANGLE, observed[there]),
                column(
                    "correction_arcsec",
                    "Correction",
                    Quantity.SMALL_ANGLE,
                    (angles - observed)[there],
                ),
                column("angle", "Balanced", Quantity.ANGLE, angles[there]),
            ),
            note=f"The angles close {proof.says}.",
        ),
    )


def _back_of(line: Line, row: int) -> str:
    if row:
        return line.at[row - 1]
    return (line.section.backsight or "").strip() or (line.book.back[0] if line.book.back else "")


def _courses(line: Line, run: Run, adjusted: Run | None) -> tuple[Supplement, ...]:
    """Return the courses before and after the rule, with what it changed."""
    if adjusted is None:
        return ()
    names = [f"{line.at[row]}–{line.to[row]}" for row in range(line.legs)]
    length, distance = Quantity.LENGTH, Quantity.DISTANCE
    d_latitude = adjusted.latitude_m - run.latitude_m
    d_departure = adjusted.departure_m - run.departure_m
    found = np.hypot(adjusted.latitude_m, adjusted.departure_m)
    return (
        Supplement(
            key="courses",
            title="Courses, before and after",
            head="Course",
            id=np.array(names, dtype=object),
            columns=(
                column("azimuth", "Azimuth", Quantity.ANGLE, run.azimuth_rad),
                column("distance", "Distance", distance, line.leg_m),
                column("latitude", "Latitude", distance, run.latitude_m),
                column("departure", "Departure", distance, run.departure_m),
                column("correction_latitude", "Correction, latitude", length, d_latitude),
                column("correction_departure", "Correction, departure", length, d_departure),
                column(
                    "adjusted_azimuth", "Adjusted azimuth", Quantity.ANGLE, adjusted.azimuth_rad
                ),
                column("adjusted_distance", "Adjusted distance", distance, found),
                column(
                    "correction_azimuth_arcsec",
                    "Correction, azimuth",
                    Quantity.SMALL_ANGLE,
                    wrap_signed(adjusted.azimuth_rad - run.azimuth_rad),
                ),
                column("correction_distance", "Correction, distance", length, found - line.leg_m),
            ),
            detail=True,
        ),
    )


def _summary(
    line: Line, proof: Proof, angular: float, raw: Run, run: Run, adjusted: Run | None
) -> tuple[Item, ...]:
    misclosure = float(np.hypot(run.misclosure_n_m, run.misclosure_e_m))
    length = float(np.sum(line.leg_m))
    noise = not misclosure > NOISE_M
    raw_size = float(np.hypot(raw.misclosure_n_m, raw.misclosure_e_m))
    azimuth = float(azimuth_rad(run.misclosure_n_m, run.misclosure_e_m))
    ratio = float("nan") if noise else length / misclosure
    small = Quantity.LENGTH
    return (
        item("legs", "Legs", Quantity.COUNT, line.legs),
        item("angles", "Angles", Quantity.COUNT, int(np.count_nonzero(proof.counted))),
        item("angular_misclosure_arcsec", "Angular misclosure", Quantity.SMALL_ANGLE, angular),
        item("misclosure_n", "Misclosure in northing", small, run.misclosure_n_m),
        item("misclosure_e", "Misclosure in easting", small, run.misclosure_e_m),
        item("misclosure", "Misclosure", small, misclosure),
        item(
            "misclosure_azimuth",
            "Azimuth of the misclosure",
            Quantity.ANGLE,
            float("nan") if noise else azimuth,
        ),
        item(
            "raw_misclosure_n",
            "Misclosure in northing, before balancing the angles",
            small,
            raw.misclosure_n_m,
        ),
        item(
            "raw_misclosure_e",
            "Misclosure in easting, before balancing the angles",
            small,
            raw.misclosure_e_m,
        ),
        item(
            "raw_ratio",
            "Closure ratio, before balancing the angles",
            Quantity.RATIO,
            length / raw_size if raw_size > NOISE_M else float("nan"),
        ),
        item("length", "Length", Quantity.DISTANCE, length),
        item("ratio", "Closure ratio", Quantity.RATIO, ratio),
        item("area", "Area", Quantity.AREA, area_of(line, adjusted or run)),
    )


def _comparisons(
    line: Line, proof: Proof, angular: float, misclosure: float, length: float
) -> tuple[Comparison, ...]:
    unknown = _OPEN if line.close is None else ""
    count = float(np.count_nonzero(proof.counted))
    return (
        once(
            "angular",
            "Angular misclosure",
            angular,
            n=count,
            absent=f"the {word(line.section)} are {proof.says}" if np.isnan(angular) else "",
        ),
        once("misclosure", "Misclosure", misclosure, n=line.legs, length_m=length, absent=unknown),
        once(
            "ratio",
            "Closure ratio",
            misclosure / length,
            n=line.legs,
            length_m=length,
            absent=unknown,
        ),
    )


def _ground_items(line: Line, on_ground: Run | None) -> tuple[Item, ...]:
    """Return the closure with the distances as measured, where they were brought to grid."""
    if on_ground is None:
        return ()
    miss = float(np.hypot(on_ground.misclosure_n_m, on_ground.misclosure_e_m))
    length = float(np.sum(line.ground_m))
    ratio = length / miss if miss > NOISE_M else float("nan")
    return (
        item("ground_misclosure", "Misclosure, distances on ground", Quantity.LENGTH, miss),
        item("ground_ratio", "Closure ratio, distances on ground", Quantity.RATIO, ratio),
        item("ground_length", "Length on ground", Quantity.DISTANCE, length),
    )


def _on_azimuths(line: Line) -> list[str]:
    """Say how azimuths from another north were brought to the grid."""
    kind, at_ends = line.section.azimuths, line.convergence_rad
    far = line.to[line.legs - 1]
    if kind is AzimuthKind.GRID or at_ends is None:
        return _on_meridians(line, far)
    says = (
        f"The {kind.value} azimuths were brought to the grid of {line.section.crs} by the "
        f"convergence of the meridians, {_signed_dms(at_ends[0])} at {line.at[0]}"
    )
    if line.close is not None and line.close != line.start:
        says += f" and {_signed_dms(at_ends[1])} at {far}"
    says += ": grid azimuth = geodetic azimuth − convergence."
    found = [says]
    if kind is AzimuthKind.ASTRONOMIC:
        found.append(
            "Astronomic azimuths were taken for geodetic ones: the deflection of the vertical is "
            "not known here, and changes them by a few seconds, in mountains by more."
        )
    return found


def _on_meridians(line: Line, far: str) -> list[str]:
    """Say where stated grid azimuths would not close if they were meant from true north."""
    stated = line.start_azimuth_rad is not None and line.close_azimuth_rad is not None
    if line.section.crs is None or line.close is None or line.close == line.start or not stated:
        return []
    north = np.array([line.start[0], line.close[0]])
    east = np.array([line.start[1], line.close[1]])
    found = convergence_on(line.section.crs, north, east)
    if found is None or abs(found[1] - found[0]) < TELLING_RAD:
        return []
    change = f"{signed(float(found[1] - found[0]) / ARCSEC, 1)}″"
    says = (
        f"Both stated azimuths were taken from grid north. Between {line.at[0]} and {far} the "
        f"convergence of the meridians changes by {change}: if they were meant from true north, "
        'write azimuths = "geodetic".'
    )
    return [says]


def _signed_dms(angle_rad: float) -> str:
    return f"{'+' if angle_rad >= 0.0 else '−'}{angle_words(abs(angle_rad), 1)}"


def _on_grid(line: Line) -> list[str]:
    factor = line.section.grid_factor
    if factor is None:
        return []
    says = (
        f"Measured distances were brought to grid by the combined factor {factor:.8f}: "
        f"{signed((factor - 1.0) * 1e6, 1)} parts per million. The closure on grid is judged; the "
        "one with distances on ground stands beside it."
    )
    return [says]


def _on_heights(line: Line, levelled: Heights | None) -> list[str]:
    """Say how the trigonometric heights close; no limit of a traverse judges them."""
    if levelled is None:
        return []
    k = line.section.refraction
    says = "Heights are trigonometric, " + (
        "not corrected for curvature and refraction"
        if k is None
        else f"corrected for curvature and refraction with k = {k:g}"
    )
    lacking = int(np.count_nonzero(np.isnan(levelled.dz_m)))
    if lacking:
        return [f"{says}; {lacking} of {line.legs} legs have none."]
    if np.isnan(levelled.misclosure_m):
        return [f"{says}; nothing known closes them."]
    size = length_text(levelled.misclosure_m, line.section.unit)
    return [f"{says}. They close by {size}, computed minus known; no limit here judges that."]


def _say(
    line: Line, proof: Proof, angular: float, run: Run, inputs: Inputs, remarks: list[str]
) -> None:
    """Add how the angles closed, what was left alone, and known points met on the way."""
    section = line.section
    observed = is_observed(section)
    difference = "observed minus known" if observed else "sum observed minus theoretical"
    if np.isnan(angular):
        remarks.insert(0, f"The {word(section)} are {proof.says}.")
    else:
        remarks.insert(
            0,
            f"The {word(section)} close {proof.says}: {difference} {signed(angular / ARCSEC, 1)}″.",
        )
    if line.close is None:
        unused = [
            f"{key} = {value}"
            for key, value in (("close", section.close), ("foresight", section.foresight))
            if isinstance(value, str)
        ]
        if unused:
            remarks.append(f"An open traverse does not use {' and '.join(unused)}.")
        if section.adjust is not Adjust.NONE:
            remarks.append("An open traverse leaves nothing to share out: no rule was applied.")
        if line.closing:
            remarks.append(
                f"The last row turns from {line.at[-1]} to {line.to[-1]}; an open traverse does "
                "not use it."
            )
    elif section.adjust in RULES:
        remarks.append(RULES[section.adjust])
    for name, dn, de in _on_the_way(line, run, inputs):
        remarks.append(
            f"Control point {name} on the way: computed minus known "
            f"{length_text(dn, section.unit)} north, {length_text(de, section.unit)} east."
        )


def _on_the_way(line: Line, run: Run, inputs: Inputs) -> list[tuple[str, float, float]]:
    """Return the control points between the ends, with computed minus known north and east."""
    control, known = inputs.control, known_points(inputs)
    found = []
    for row in range(line.legs - (line.close is not None)):
        index = known.get(line.to[row])
        if control is not None and index is not None and line.to[row] != line.at[0]:
            dn = float(run.n_m[row] - control.northing_m[index])
            de = float(run.e_m[row] - control.easting_m[index])
            found.append((line.to[row], dn, de))
    return found


def _passing(line: Line, run: Run, inputs: Inputs, length: float) -> tuple[Comparison, ...]:
    """Return how the control point on the way that is missed by most is missed; a hint, no closure.

    A figure that closes keeps its shape when it is turned about its start, or mirrored: what lies
    on the way shows it.
    """
    found = [(name, float(np.hypot(dn, de))) for name, dn, de in _on_the_way(line, run, inputs)]
    if not found or not length:
        return ()
    name, miss = max(found, key=lambda each: each[1])
    where = f"control point {name} on the way is missed"
    over = f"{where}, which is over the length"
    made = (
        once("misclosure", f"{where} by", miss, n=line.legs, length_m=length),
        once("ratio", over, miss / length, n=line.legs, length_m=length),
    )
    return tuple(replace(each, hint=True) for each in made)
