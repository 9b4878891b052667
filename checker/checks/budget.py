"""What the job says that the stored standard deviations leave out, attached to the points."""

import math
from dataclasses import replace

from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.model.points import SigmaBudget


def sigma_budget(job: Job) -> SigmaBudget | None:
    """Return what is added to stored standard deviations; None where the job states nothing."""
    measured, control = job.measured, job.control
    budget = SigmaBudget(
        factor=1.0 if measured is None else measured.sigma_factor,
        floor_h_m=0.0 if measured is None else measured.sigma_floor_h_m,
        floor_z_m=0.0 if measured is None else measured.sigma_floor_z_m,
        bubble_rad=0.0 if measured is None else measured.bubble_rad,
        control_h_m=0.0 if control is None else control.sigma_h_m,
        control_z_m=0.0 if control is None else control.sigma_z_m,
        # a digit that was rounded may be off by half of its unit either way, all alike likely
        design_m=0.0 if job.design is None else job.design.rounded_to_m / math.sqrt(12.0),
    )
    return None if budget == SigmaBudget() else budget


def budgeted(inputs: Inputs, job: Job) -> Inputs:
    """Return the inputs with the as-measured points' budget; unchanged where there is none."""
    budget = sigma_budget(job)
    if budget is None or inputs.measured is None:
        return inputs
    return replace(inputs, measured=replace(inputs.measured, budget=budget))
