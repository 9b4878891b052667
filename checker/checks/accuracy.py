"""Statements of positional accuracy from check points: RMSE, and what it means at 95 %.

As-measured points are the data that are tested; the points they are held to (control, or design)
are the independent check. Root mean squares about zero, with n as the divisor.

National standard: FGDC-STD-007.3-1998 (NSSDA), 2.4477 times the mean RMSE of both axes and 1.9600
times that of heights, for 20 check points or more; the factors are carried in full, which is
within 2e-5 of what it prints. Its successor: edition 2 (2023) of the
positional accuracy standards of the American Society for Photogrammetry and Remote Sensing reports
the RMSE itself, for 30 or more, with the error of the check points in it: the root of the sum of
both squares (that it counts: GPS World, 6 December 2023, on the edition's changes; the formula from
memory). Outliers by Grubbs' test (`geometry.statistics`).
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from checker.checks.closing import column, item, once, reading_text, refuse, whole_measure
from checker.checks.deltas import Deltas, Sigmas, counts_item, deltas
from checker.checks.selecting import stripped_ids, unique_points
from checker.checks.shots import select_shots
from checker.geometry.statistics import (
    NSSDA_LEAST_RATIO,
    Outliers,
    grubbs,
    linear_factor,
    nssda_horizontal,
    rmse,
    t_quantile,
)
from checker.model.arrays import FloatArray, TextArray
from checker.model.inputs import Inputs
from checker.model.job import Accuracy, AccuracyStandard, Against, Job
from checker.model.measure import Measure, Quantity
from checker.text import fixed
from checker.units import LengthUnit

_ALPHA = 0.05
_BETTER = 3.0
"""How many times better the check points should be known than what they test."""
_LEAST = {AccuracyStandard.NSSDA: 20, AccuracyStandard.ASPRS_2023: 30}
"""Check points that the standards ask for at least."""
_TITLES = {
    AccuracyStandard.NSSDA: "FGDC-STD-007.3-1998 (NSSDA)",
    AccuracyStandard.ASPRS_2023: "the ASPRS positional accuracy standards, edition 2 (2023)",
}


def measure_accuracy(section: Accuracy, inputs: Inputs, job: Job) -> Measure:
    """Return the accuracy of the selected as-measured points against those of the same numbers.

    Of several shots of a number the latest counts. Raises InputError where the selection finds
    nothing, or no number has a point to compare with.
    """
    role = str(section.against) if section.file is None else "check points"
    if section.file is not None:
        known = inputs.check_points.get(section.name)
    else:
        known = inputs.control if section.against is Against.CONTROL else inputs.design
    shots = select_shots(section, section.measured, inputs, job)
    if known is None or not len(known):
        refuse(
            "no-points",
            section.where,
            f"this section compares with the {role}, and the job has none",
            f"name it under [{section.against}]",
        )
    rows = unique_points(known, np.arange(len(known)), section.where, role)
    place = dict(zip(stripped_ids(known)[rows].tolist(), rows.tolist(), strict=True))
    latest, _ = shots.latest()
    names = [name for name in latest if name in place]
    if not names:
        refuse(
            "selection-empty",
            section.where,
            f"no as-measured point has the number of a point of the {role}",
            "check points carry the number of the point that they are held to",
        )
    shot = np.array([latest[name] for name in names], dtype=np.int64)
    point = np.array([place[name] for name in names], dtype=np.int64)
    nothing = np.full(len(names), np.nan)
    none = Sigmas(n=nothing, e=nothing, h=nothing, z=nothing)
    found = deltas(known, point, shots.points, shot, none)
    tests = {"N": grubbs(found.dn), "E": grubbs(found.de), "Z": grubbs(found.dz)}
    known_to = _known_to(section, job)
    measure = _measure(section, found, tests, np.array(names, dtype=object), job.unit, known_to)
    return replace(measure, shots=shot[:, None], used=shot)


def _known_to(section: Accuracy, job: Job) -> tuple[float, float]:
    """Return how well the check points are known, radial and in height; 0 where not stated."""
    if section.sigma_h_m or section.sigma_z_m or section.file is not None:
        return section.sigma_h_m, section.sigma_z_m
    if section.against is Against.CONTROL and job.control is not None:
        return job.control.sigma_h_m, job.control.sigma_z_m
    return 0.0, 0.0


def _measure(
    section: Accuracy,
    found: Deltas,
    tests: dict[str, Outliers],
    names: TextArray,
    unit: LengthUnit,
    known_to: tuple[float, float],
) -> Measure:
    n, e, z = rmse(found.dn), rmse(found.de), rmse(found.dz[np.isfinite(found.dz)])
    radial = float(np.hypot(n, e))
    radial_all, z_all = float(np.hypot(radial, known_to[0])), float(np.hypot(z, known_to[1]))
    h95, z95 = nssda_horizontal(n, e), linear_factor(0.95) * z
    heights = int(np.isfinite(found.dz).sum())
    nssda = section.standard is AccuracyStandard.NSSDA
    length = Quantity.LENGTH
    least = _LEAST[section.standard]
    tall = section.tolerance is not None and section.tolerance.vertical is not None
    counted = min(len(names), heights) if tall else len(names)
    counts = (len(names) >= least, heights >= least)
    few = (
        f"{counted} check points, and {least} are asked for: the numbers only inform"
        if counted < least
        else ""
    )
    plan_value, plan_label = (
        (h95, "accuracy in plan at 95 %") if nssda else (radial_all, "RMSE in plan")
    )
    z_value, z_label = (z95, "accuracy in height at 95 %") if nssda else (z_all, "RMSE in height")
    return whole_measure(
        "accuracy",
        section,
        row_id=names,
        columns=(
            column("dn", "ΔN", length, found.dn),
            column("de", "ΔE", length, found.de),
            column("dz", "ΔZ", length, found.dz),
            column("horizontal", "Horizontal", length, found.horizontal),
            column("outlier", "Outlier (Grubbs, 5 %)", Quantity.TEXT, _outlier_texts(tests)),
            column("check_n", "Check N", Quantity.COORDINATE, found.known_n, detail=True),
            column("check_e", "Check E", Quantity.COORDINATE, found.known_e, detail=True),
            column("check_z", "Check Z", Quantity.COORDINATE, found.known_z, detail=True),
            column("tested_n", "Tested N", Quantity.COORDINATE, found.measured_n, detail=True),
            column("tested_e", "Tested E", Quantity.COORDINATE, found.measured_e, detail=True),
            column("tested_z", "Tested Z", Quantity.COORDINATE, found.measured_z, detail=True),
        ),
        summary=(
            counts_item("points", "Check points", len(names)),
            counts_item("heights", "With elevations", heights),
            counts_item("points_required", "Asked for by the standard", least),
            item("rmse_n", "RMSE N", length, n),
            item("rmse_e", "RMSE E", length, e),
            item("rmse_horizontal", "RMSE plan, radial", length, radial),
            item("rmse_z", "RMSE Z", length, z),
            item("rmse_3d", "RMSE in space", length, float(np.hypot(radial, z))),
            item(
                "check_sigma_horizontal", "Check points known to, plan", length, known_to[0] or None
            ),
            item("check_sigma_z", "Check points known to, height", length, known_to[1] or None),
            *(
                (
                    item(
                        "tested_horizontal", "RMSE plan, with the check points'", length, radial_all
                    ),
                    item("tested_z", "RMSE Z, with the check points'", length, z_all),
                )
                if not nssda and any(known_to)
                else ()
            ),
            item("accuracy_horizontal_95", "Plan at 95 %", length, h95),
            item("accuracy_vertical_95", "Height at 95 %", length, z95),
            item("mean_n", "Mean ΔN", length, float(found.dn.mean())),
            item("mean_e", "Mean ΔE", length, float(found.de.mean())),
            item("mean_z", "Mean ΔZ", length, _mean(found.dz)),
        ),
        comparisons=(
            once(
                "horizontal",
                plan_label,
                plan_value,
                absent="the errors of the two axes differ too much for the standard's formula"
                if np.isnan(plan_value)
                else "",
            ),
            once(
                "vertical",
                z_label,
                z_value,
                absent="no check point has both elevations" if np.isnan(z_value) else "",
            ),
        ),
        remarks=(
            *_statements(section, (n, e, radial_all, z_all), (h95, z95), unit, counts),
            *_about_check_points(known_to, (radial, z)),
            *_outlier_remarks(tests, names),
            *_bias_remarks(found),
            *((f"{few}.",) if few else ()),
        ),
        undecided=few,
    )


def _mean(values: FloatArray) -> float:
    there = values[np.isfinite(values)]
    return float(there.mean()) if there.size else float("nan")


def _statements(
    section: Accuracy,
    rmses: tuple[float, float, float, float],
    at_95: tuple[float, float],
    unit: LengthUnit,
    enough: tuple[bool, bool],
) -> Iterator[str]:
    """Word the statement as the standard asks (the form of words from memory).

    enough: whether there are as many check points as it asks for, in plan and in height; with
    fewer no statement is made.
    """
    n, e, radial, z = rmses
    words = {"m": "meters"}.get(unit.short, "feet")

    def number(value: float) -> str:
        return reading_text(value, unit, plus=False).split(" ", maxsplit=1)[0]

    yield f"By {_TITLES[section.standard]}. Tested minus check; RMSE about zero, divisor n."
    if section.standard is AccuracyStandard.ASPRS_2023:
        for there, part, letter, value in (
            (enough[0], "horizontal", "H", radial),
            (enough[1] and bool(np.isfinite(z)), "vertical", "V", z),
        ):
            if there:
                yield (
                    f"The tested {part} positional accuracy was found to be"
                    f" RMSE{letter} = {number(value)} {words}."
                )
        return
    h95, z95 = at_95
    if np.isnan(h95):
        small, large = sorted((n, e))
        yield (
            f"The RMSE of one axis is {fixed(small / large, 2)} of the other's, below"
            f" {fixed(NSSDA_LEAST_RATIO, 1)}: the standard gives no formula for the radius at 95 %,"
            " so none is stated."
        )
    elif enough[0]:
        yield f"Tested {number(h95)} {words} horizontal accuracy at 95% confidence level."
    if np.isfinite(z95) and enough[1]:
        yield f"Tested {number(z95)} {words} vertical accuracy at 95% confidence level."
    yield "The standard sets no threshold: what is good enough, the contract says."


def _about_check_points(known_to: tuple[float, float], rmses: tuple[float, float]) -> Iterator[str]:
    """Say whether the check points are known well enough to test by (three times: edition 1)."""
    for part, sigma, error in (
        ("plan", known_to[0], rmses[0]),
        ("height", known_to[1], rmses[1]),
    ):
        if sigma and np.isfinite(error) and error < _BETTER * sigma:
            yield (
                f"In {part} the check points are known only {fixed(error / sigma, 1)} times better"
                f" than the tested points turned out: {fixed(_BETTER, 0)} times is the usual rule,"
                " for else their own errors are tested too."
            )
    if not any(known_to):
        yield (
            "How well the check points themselves are known is not stated (sigma_h, sigma_z); the"
            " statement takes them as free of error."
        )


def _outlier_texts(tests: dict[str, Outliers]) -> TextArray:
    """Return by which axes a point was rejected, with the statistic and its critical value."""
    rows = len(next(iter(tests.values())).g)
    texts: TextArray = np.full(rows, "", dtype=object)
    for axis, test in tests.items():
        for row in np.flatnonzero(test.rejected > 0).tolist():
            text = f"{axis}: G {fixed(test.g[row], 2)} over {fixed(test.critical[row], 2)}"
            texts[row] = f"{texts[row]}; {text}" if texts[row] else text
    return texts


def _outlier_remarks(tests: dict[str, Outliers], names: TextArray) -> Iterator[str]:
    rejected = np.any([test.rejected > 0 for test in tests.values()], axis=0)
    if rejected.any():
        listed = ", ".join(names[rejected].tolist())
        yield (
            f"Outliers by Grubbs' test, two-sided at 5 % on each axis: {listed}. They are in the"
            " numbers all the same: leave a point out only for a reason, under [measured] exclude."
        )
    else:
        yield "No outlier by Grubbs' test, two-sided at 5 % on each axis."


def _bias_remarks(found: Deltas) -> Iterator[str]:
    """Say where the mean is more than chance: the factors of the standard know of no bias."""
    for axis, values in (("N", found.dn), ("E", found.de), ("Z", found.dz)):
        there = values[np.isfinite(values)]
        if there.size < 3 or there.std(ddof=1) == 0.0:
            continue
        t = float(there.mean() / there.std(ddof=1) * np.sqrt(there.size))
        limit = t_quantile(1.0 - 0.5 * _ALPHA, there.size - 1)
        if abs(t) > limit:
            yield (
                f"The mean of Δ{axis} is no accident (t {fixed(abs(t), 1)} over {fixed(limit, 1)},"
                " two-sided at 5 %): a factor for chance errors does not cover a bias."
            )
