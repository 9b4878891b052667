"""Tables of points and bare jobs for the tests of checks and verdicts."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from checker.errors import Where
from checker.model.arrays import TextArray
from checker.model.inputs import Inputs
from checker.model.job import (
    CheckSection,
    ControlInput,
    Exclusion,
    Job,
    Match,
    MeasuredInput,
    Rule,
    Selection,
    Stakeout,
    Tolerance,
)
from checker.model.points import Points, Quality
from checker.units import Formula, LengthUnit, SigmaLevel

HERE = Where(file="job.toml", line=7)
Shot = tuple[str, float, float, float]
"""id, northing, easting, elevation in metres; NaN elevation: none."""


def texts(values: Sequence[str]) -> TextArray:
    result: TextArray = np.empty(len(values), dtype=object)
    result[:] = values
    return result


def points(
    rows: Sequence[Shot],
    *,
    layer: str | Sequence[str] = "",
    description: str | Sequence[str] = "",
    file: str = "points.csv",
    sigma: tuple[float, float, float] | None = None,
    time: Sequence[str] | None = None,
    **quality: object,
) -> Points:
    """Return a table; sigma is of northing, easting and elevation, the same for every point."""
    count = len(rows)
    fields: dict[str, Any] = dict(quality)
    if sigma is not None:
        n, e, z = sigma
        fields |= {
            "sigma_n_m": np.full(count, n),
            "sigma_e_m": np.full(count, e),
            "sigma_h_m": np.full(count, np.hypot(n, e)),
            "sigma_z_m": np.full(count, z),
        }
    if time is not None:
        fields["time"] = np.array(time, dtype="datetime64[ms]")
    of_each = [layer] * count if isinstance(layer, str) else list(layer)
    words = [description] * count if isinstance(description, str) else list(description)
    return Points(
        id=texts([row[0] for row in rows]),
        northing_m=np.array([row[1] for row in rows], dtype=np.float64),
        easting_m=np.array([row[2] for row in rows], dtype=np.float64),
        elevation_m=np.array([row[3] for row in rows], dtype=np.float64),
        description=texts(words),
        layer=texts(of_each),
        handle=texts([""] * count),
        file=np.zeros(count, dtype=np.int64),
        line=np.arange(2, count + 2),
        files=(file,),
        quality=Quality(**fields),
    )


def length(metres: float) -> Formula:
    return Formula(constant=metres, text=f"{metres} m")


def tolerance(
    *,
    rule: Rule = Rule.SIMPLE,
    k: float = 2.0,
    ratio: float | None = None,
    sigma_level: SigmaLevel | None = None,
    **limits_m: float,
) -> Tolerance:
    """Return a tolerance of constant limits in metres (radians for `angular`)."""
    plain = Tolerance(name="t", rule=rule, k=k, ratio=ratio, sigma_level=sigma_level)
    stated: dict[str, Any] = {key: length(value) for key, value in limits_m.items()}
    return replace(plain, **stated)


def job(
    *sections: CheckSection,
    unit: LengthUnit = LengthUnit.METRE,
    exclude: Sequence[tuple[str, str]] = (),
    control: ControlInput | None = None,
    sigma_level: SigmaLevel | None = None,
) -> Job:
    return Job(
        file="job.toml",
        root=Path(),
        title="a test",
        unit=unit,
        measured=MeasuredInput(
            where=HERE,
            files=("points.csv",),
            unit=unit,
            exclude=tuple(Exclusion(id=name, reason=why, where=HERE) for name, why in exclude),
            sigma_level=sigma_level,
        ),
        control=control,
        checks=sections,
    )


def stakeout(
    *,
    limit: Tolerance | None = None,
    match: Match = Match.ID,
    design: Selection | None = None,
    measured: Selection | None = None,
    within_m: float | None = None,
    complete: bool = True,
) -> Stakeout:
    return Stakeout(
        where=HERE,
        name="stakes",
        tolerance=limit,
        design=design or Selection(),
        measured=measured or Selection(),
        match=match,
        within_m=within_m,
        complete=complete,
    )


def inputs(
    *, design: Points | None = None, measured: Points | None = None, control: Points | None = None
) -> Inputs:
    return Inputs(files=(), design=design, measured=measured, control=control)
