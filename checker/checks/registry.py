"""The one list that ties a job's sections to their checks.

To add a kind of check: its section in `model.job` and `read.job`, its module beside this one, and
a line here.
"""

from dataclasses import replace
from importlib import import_module

from checker.model.inputs import Inputs
from checker.model.job import (
    Accuracy,
    CheckSection,
    CurbReturn,
    DescribedFigure,
    Job,
    Levels,
    Network,
    Pipe,
    Plane,
    Relative,
    Repeats,
    RoverTest,
    SlopeStakes,
    Stakeout,
    Surface,
    Traverse,
    Vectors,
)
from checker.model.measure import Measure

CHECKS: dict[type[CheckSection], str] = {
    Stakeout: "stakeout.measure_stakeout",
    CurbReturn: "curb_returns.measure_curb_return",
    SlopeStakes: "slope_stakes.measure_slope_stakes",
    Repeats: "repeats.measure_repeats",
    Accuracy: "accuracy.measure_accuracy",
    RoverTest: "rover_test.measure_rover_test",
    Surface: "surface.measure_surface",
    Relative: "relative.measure_relative",
    Plane: "planes.measure_plane",
    Pipe: "pipes.measure_pipe",
    Traverse: "traverse.measure_traverse",
    Levels: "levels.measure_levels",
    Vectors: "vectors.measure_vectors",
    DescribedFigure: "figure.measure_figure",
    Network: "network.measure_network",
}
"""Module and function of each kind: a job waits only for the modules that it asks for."""


def measure(section: CheckSection, inputs: Inputs, job: Job) -> Measure:
    """Return the measure that a section asks for; raises InputError where the data are at fault."""
    module, function = CHECKS[type(section)].split(".")
    check = getattr(import_module(f"checker.checks.{module}"), function)
    result: Measure = check(section, inputs, job)
    if isinstance(section, Surface) and inputs.older:
        from checker.checks.older_surfaces import with_older_surfaces

        result = with_older_surfaces(result, section, inputs, job)
    built = isinstance(section, Surface | CurbReturn)
    if built or (isinstance(section, Stakeout) and section.as_built):
        result = replace(result, as_built=True)
    along = getattr(section, "alignment", None)
    if along is None:
        return result
    from checker.checks.course import course_of
    from checker.checks.course_tables import course_tables

    course = course_of(along, inputs, job)
    return replace(
        result,
        station_digits=course.digits,
        supplements=(*result.supplements, *course_tables(course, inputs)),
    )
