"""What shots on drawn lines show in plan: one distance across them, or the other side.

Their design point is the foot of the shot itself, so of a plan they show the way across alone. Each
row is laid beside a line that runs north: known at nought, as measured so far to the right of it.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from checker.diagnose.causes import of_lines
from checker.diagnose.evidence import UNKNOWN_SIGMA_H_M, Evidence, on_lines
from checker.diagnose.hypothesis import STEPS, Setting
from checker.diagnose.search import Found, search
from checker.diagnose.sparse import on_the_other_side
from checker.model.arrays import BoolArray
from checker.model.finding import Finding
from checker.model.job import Job, Stakeout
from checker.model.measure import Measure

_LEAST_ROWS = 5
_ON_IT_M = 1e-3
"""Shots beyond the end of a line are off it along as well, and are left out."""


def across_lines(
    job: Job, findings: Sequence[Finding], found: Sequence[Found], setting: Setting
) -> Iterator[tuple[Found, Evidence]]:
    """Yield what the stakeouts on lines show across them, each with the rows it is found in.

    found: what the points show; what moved all of them in plan has moved these too, and nothing
    more is said of them.
    """
    if any(_moves_all(each) for each in found):
        return
    sections = {each.name: each for each in job.checks if isinstance(each, Stakeout)}
    for finding in findings:
        measure = finding.measure
        section = sections.get(measure.name)
        if measure.kind != "stakeout" or section is None or not on_lines(section):
            continue
        evidence = _beside_a_line(measure, section)
        if len(evidence) >= _LEAST_ROWS:
            for each in search(evidence, setting, causes=of_lines, single=on_the_other_side):
                yield each, evidence


def _moves_all(found: Found) -> bool:
    plan = found.before[0] - found.after[0] > 0.2 * found.before[0]
    return plan and not found.ids and found.part.by in ("all", *STEPS)


def _beside_a_line(measure: Measure, section: Stakeout) -> Evidence:
    across, far, sigma = (measure.numbers(key) for key in ("across", "horizontal", "sigma_h"))
    here: BoolArray = np.isfinite(across) & ~(np.abs(far - np.abs(across)) > _ON_IT_M)
    here &= (measure.shots[:, 0] >= 0) & (measure.unchecked == "")
    here &= ~np.asarray(measure.column("superseded").values, dtype=np.bool_)
    rows = np.flatnonzero(here)
    count, nothing = len(rows), np.full(len(rows), np.nan)
    shown = np.isfinite(sigma[rows]) & (sigma[rows] > 0.0)
    flat = np.where(shown, sigma[rows] / np.sqrt(2.0), UNKNOWN_SIGMA_H_M)
    no: BoolArray = np.zeros(count, dtype=np.bool_)
    return Evidence(
        known=np.column_stack((np.zeros(count), np.zeros(count), nothing)),
        measured=np.column_stack((np.zeros(count), across[rows], nothing)),
        sigma=np.column_stack((flat, np.ones(count))),
        shown=np.column_stack((shown, no)),
        control=no,
        section=np.zeros(count, dtype=np.int64),
        sections=(measure.name,),
        id=measure.id[rows],
        by_id=no,
        right=np.tile((0.0, 1.0), (count, 1)),
        set_off_m=np.full(count, section.stake_offset_m or np.nan),
        codes={},
        values={},
        bias=np.zeros(0, dtype=np.int64),
        no_height=nothing,
        no_height_of=np.full(count, "", dtype=object),
        older={},
        anywhere=no,
        tested=no,
    )
