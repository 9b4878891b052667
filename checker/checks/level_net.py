"""What a level run contributes to a net."""

from functools import partial

import numpy as np

from checker.adjust.least_squares import Kind
from checker.checks.closing import refuse
from checker.checks.level_ends import close_of, start_of
from checker.checks.level_lines import contribute_lines, is_net
from checker.checks.level_runs import legs_of, part_of, run_of
from checker.checks.net import ASSUMED, Net, Sighting
from checker.errors import Where
from checker.model.inputs import Inputs
from checker.model.job import Levels, Sigmas


def contribute_levels(section: Levels, inputs: Inputs, net: Net, sigmas: Sigmas) -> None:
    """Add a level run's rises to a net; sections between turning points are added up.

    A rise has the stated precision at its length, or by its set-ups where no length is known.
    """
    if is_net(section, inputs):
        contribute_lines(section, inputs, net, partial(_rise_sigma, section, sigmas))
        return
    run = run_of(section, inputs)
    start_m = start_of(section, run, inputs)
    close_m, _ = close_of(section, run, start_m, inputs)
    for value, end, name in (
        (start_m, section.start, run.point[0]),
        (close_m, section.close, run.point[-1]),
    ):
        if end is not None and not isinstance(end, str):
            net.hold(name, (float("nan"), float("nan"), value))
    # Intermediate sights hang beside the run: a blunder in one shows nowhere.
    for first, last in legs_of(run, sights=False):
        length, setups = part_of(run, first, last)
        start, end = run.point[first], run.point[last]
        net.near(start, float("nan"), float("nan"), start_m + float(run.rise_m[first]))
        net.near(end, float("nan"), float("nan"), start_m + float(run.rise_m[last]))
        if start == end:
            continue
        net.sightings.append(
            Sighting(
                kind=Kind.RISE,
                i=start,
                j=end,
                value=float(run.rise_m[last] - run.rise_m[first]),
                sigma=_rise_sigma(section, sigmas, length, setups),
                where=Where(file=run.path, line=int(run.line[last])),
                label=f"rise {start} to {end}",
            )
        )


def _rise_sigma(section: Levels, sigmas: Sigmas, length: float, setups: float) -> float:
    formula = sigmas.rise
    if formula is None:
        formula = ASSUMED.rise if np.isfinite(length) else ASSUMED.rise_by_setups
    assert formula is not None  # noqa: S101  (one is assumed)
    lacks_length = formula.needs_length and np.isnan(length)
    if lacks_length or (formula.needs_n and np.isnan(setups)):
        refuse(
            "tolerance-unusable",
            section.where,
            f'sigma_rise "{formula.text}" needs the '
            f"{'distance' if lacks_length else 'number of set-ups'} of every section of "
            f'"{section.name}", and its book does not give it',
            "fill it in, or state sigma_rise as a plain length",
        )
    return float(formula.at(n=setups, length_m=length))
