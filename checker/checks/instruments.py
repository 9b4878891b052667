"""Whether the instruments that the job names were calibrated when they measured."""

from checker.errors import Where
from checker.model.drawing import Notice
from checker.model.inputs import Inputs
from checker.model.job import Job


def calibrations(inputs: Inputs, job: Job) -> list[Notice]:
    """Return a notice of every instrument whose calibration was overdue, or came afterwards.

    Held to the day of the last as-measured point that shows its time, else to the job's date.
    """
    shot = None if inputs.measured is None else inputs.measured.quality.last_day
    day = shot or job.date
    found = []
    for each in job.instruments:
        if day is None:
            break
        named = f"{each.name}{f', serial {each.serial}' if each.serial else ''}"
        if each.due is not None and each.due < day:
            days = (day - each.due).days
            found.append(
                Notice(
                    slug="calibration-overdue",
                    where=Where(file=job.file),
                    message=f"{named}: its calibration was due on {each.due.isoformat()}, {days} "
                    f"day{'s' if days != 1 else ''} before the last measurement of the job",
                )
            )
        elif each.calibrated is not None and each.calibrated > day:
            found.append(
                Notice(
                    slug="calibration-overdue",
                    where=Where(file=job.file),
                    message=f"{named}: it was calibrated on {each.calibrated.isoformat()}, after "
                    "the last measurement of the job; what it was like before is not shown",
                )
            )
    return found
