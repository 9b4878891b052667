"""Known elevations at the two ends of a level run."""

import numpy as np

from checker.checks.closing import find_control, known_points, refuse
from checker.checks.level_runs import LevelRun
from checker.errors import Where
from checker.model.inputs import Inputs
from checker.model.job import Levels


def _bench_mark(inputs: Inputs, name: str, role: str, section: Levels) -> float:
    index = find_control(inputs, name, role, section.where)
    assert inputs.control is not None  # noqa: S101  (find_control refused it)
    elevation = float(inputs.control.elevation_m[index])
    if np.isnan(elevation):
        control = inputs.control
        refuse(
            "no-elevation",
            Where(file=control.files[int(control.file[index])], line=int(control.line[index])),
            f'"{name}" is the {role} of the level run "{section.name}", but has no elevation',
            "give the bench mark its elevation, or state it in the job: "
            f"{role} = {{ elevation = ... }}",
        )
    return elevation


def start_of(section: Levels, run: LevelRun, inputs: Inputs) -> float:
    """Return the known elevation of the start; InputError where the book begins elsewhere."""
    if not isinstance(section.start, str):
        return section.start
    elevation = _bench_mark(inputs, section.start, "start", section)
    if run.point[0] != section.start.strip():
        refuse(
            "book-ends",
            Where(file=run.path, line=int(run.line[0])),
            f'the book begins at "{run.point[0]}", the job says start = "{section.start}"',
            "make the first row the start, or name that bench mark in the job",
        )
    return elevation


def close_of(section: Levels, run: LevelRun, start_m: float, inputs: Inputs) -> tuple[float, str]:
    """Return the known elevation at the end and on what the run closes, or NaN and why not."""
    last = run.point[-1]
    if isinstance(section.close, str):
        elevation = _bench_mark(inputs, section.close, "close", section)
        if last != section.close.strip():
            refuse(
                "book-ends",
                Where(file=run.path, line=int(run.line[-1])),
                f'the book ends at "{last}", the job says close = "{section.close}"',
                "make the last row the close, or name that bench mark in the job",
            )
        return elevation, f"on bench mark {last}"
    if section.close is not None:
        return section.close, f"on the elevation stated for {last}"
    if last == run.point[0]:
        return start_m, f"on {last}, where it began"
    why = f"the run ends on {last} without a known elevation: nothing proves it"
    index = known_points(inputs).get(last)
    if (
        index is not None
        and inputs.control is not None
        and np.isfinite(inputs.control.elevation_m[index])
    ):
        why = (
            f"the run ends on {last} and the job names no close: nothing proves it "
            f'({last} is in the control file: close = "{last}" would close on it)'
        )
    return float("nan"), why
