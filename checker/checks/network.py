"""Networks: traverses, level runs, vectors and books of sights adjusted together by least squares.

What a net is made of stands in `network_parts`, its tests and formulas in `network_tests`. Nothing
is left out of the result: what stands out is named and stays.
"""

import numpy as np

from checker.checks.closing import once, whole_measure
from checker.checks.net import Solved
from checker.checks.network_parts import assembled
from checker.checks.network_tests import Pairs, Tests, names_of, pairs_of, snooped, tests_of
from checker.checks.network_view import (
    Named,
    columns_of,
    remarks_of,
    row_labels,
    summary_of,
    supplements_of,
)
from checker.model.inputs import Inputs
from checker.model.job import Job, Network
from checker.model.measure import Comparison, Measure
from checker.text import fixed


def measure_network(section: Network, inputs: Inputs, job: Job) -> Measure:
    """Return an adjusted network: rows of stations, then rows of observations.

    Comparison: distance, the relative positional precision (semi-major axis of the relative
    ellipse, metres; length_m the distance) of that pair of stations joined by an observation that
    uses most of its limit; the supplement `pairs` has them all. Where the variance factor fails its
    test, or an observation stands out, the check is undecided. Raises InputError where the net is
    not determined.
    """
    made = assembled(section, inputs, job)
    solved = made.solved(section.where)
    tests = tests_of(section, solved)
    named = snooped(section, made, solved, tests)
    pairs = pairs_of(solved, tests)
    worst = pairs.worst(section)
    flagged = {index for alike, _ in named for index in alike}
    return whole_measure(
        "network",
        section,
        row_id=np.array([*solved.names, *row_labels(solved)], dtype=object),
        columns=columns_of(section, solved, tests, flagged),
        summary=summary_of(section, solved, tests, pairs, worst),
        comparisons=(_comparison(solved, pairs, worst),),
        remarks=remarks_of(section, made, solved, tests, named),
        undecided=_undecided(solved, tests, named),
        supplements=supplements_of(solved, pairs),
    )


def _undecided(solved: Solved, tests: Tests, named: Named) -> str:
    freedom = solved.adjustment.degrees_of_freedom
    if freedom < 1:
        return "no observation is more than needed: nothing proves the network"
    if named:
        first = " or ".join(solved.sightings[index].label for index in named[0][0][:3])
        return f"an observation stands out: {first}"
    if not tests.passes and not any(each.assumed for each in solved.sightings):
        return (
            "the residuals do not fit the stated standard deviations: chi-square "
            f"{fixed(solved.adjustment.chi2, 1)} is not within {fixed(tests.low, 1)} to "
            f"{fixed(tests.high, 1)}"
        )
    return ""


def _comparison(solved: Solved, pairs: Pairs, worst: int) -> Comparison:
    if worst < 0:
        return once(
            "distance",
            "Relative precision",
            float("nan"),
            length_m=0.0,
            absent="no two stations are joined in plan by an observation",
        )
    return once(
        "distance",
        f"Relative precision {names_of(solved, pairs, [worst])[0]}",
        float(pairs.semi_major_m[worst]),
        length_m=float(pairs.length_m[worst]),
    )
