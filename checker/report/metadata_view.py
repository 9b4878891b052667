"""The statement about the survey that licensing rules ask for, in one block.

What such rules list: class and procedure of the survey, its positional accuracy, the dates of the
work, datum, realization and epoch, grid and zone, geoid, the foot, the combined factor with origin
and direction, and the fixed control (as the rules of one state list it, North Carolina 21 NCAC
56.1607, read at second hand). What the job does not state is said to be missing.
"""

import numpy as np

from checker.model.finding import Finding, Results
from checker.model.job import Ground
from checker.report.escape import clean
from checker.report.numbers import Outside
from checker.report.show import length
from checker.report.sources import Line
from checker.text import group
from checker.units import LengthUnit

UNSTATED = "not stated in the job"
_NAMED = 12
"""How many control points the statement names."""
_FEET = {
    LengthUnit.METRE: "metre",
    LengthUnit.FOOT: "foot, 0.3048 m exactly (the international foot)",
    LengthUnit.US_SURVEY_FOOT: "US survey foot, 1200/3937 m exactly",
}
_NO_CERTIFICATE = "So the test at its check points came out; it is no certificate."


def metadata_lines(results: Results) -> tuple[Line, ...]:
    """Return the statement, line by line."""
    job, reference = results.job, results.job.reference
    frame = results.frame
    zone = "" if frame is None else f"{frame.title}: {frame.projection}"
    lines = [
        ("Class of survey", job.survey_class or UNSTATED),
        ("Procedure", job.procedure or UNSTATED),
        ("Dates of the work", _dates(results)),
        *_accuracies(results),
        ("Horizontal datum", UNSTATED if frame is None else frame.datum),
        ("Realization", reference.realization or UNSTATED),
        ("Epoch", reference.epoch or UNSTATED),
        ("Grid and zone", _joined(reference.crs or "", zone)),
        ("Vertical datum", reference.vertical or UNSTATED),
        ("Geoid model", reference.geoid or UNSTATED),
        ("Unit of length", _FEET[job.unit]),
        ("Combined factor", _factor(reference.ground, Outside(unit=job.unit))),
        ("Fixed control", _control(results)),
        ("Party", job.surveyed_by or UNSTATED),
        ("In responsible charge", job.responsible or UNSTATED),
    ]
    return tuple(Line(name=name, text=clean(text)) for name, text in lines)


def _joined(*texts: str | None) -> str:
    return ", ".join(text for text in texts if text) or UNSTATED


def _dates(results: Results) -> str:
    """Return the days on which the shots say that they were measured, else the job's date."""
    measured = results.inputs.measured
    time = None if measured is None else measured.quality.time
    if time is not None and not np.isnat(time).all():
        shown = time[~np.isnat(time)].astype("datetime64[D]")
        first, last = str(shown.min()), str(shown.max())
        days = first if first == last else f"{first} to {last}"
        silent = int(np.isnat(time).sum())
        rest = f"; {group(silent)} shots show no time" if silent else ""
        return f"{days}, as the shots show{rest}"
    if results.job.date is not None:
        return f"{results.job.date.isoformat()}, the date of the job; no shot shows its time"
    return UNSTATED


def _accuracies(results: Results) -> list[tuple[str, str]]:
    """Return what the accuracy statements of the job came to; that there is none, where not."""
    found = [
        (f"Positional accuracy, {finding.measure.name}", f"{text} {_NO_CERTIFICATE}")
        for finding in results.findings
        if finding.measure.kind == "accuracy"
        for text in _stated(finding)
    ]
    if found:
        return found
    return [
        (
            "Positional accuracy",
            "not tested in this job (it has no [[accuracy]] with enough check points)",
        )
    ]


def _stated(finding: Finding) -> list[str]:
    """Return the sentences of an accuracy statement that a standard words."""
    starts = ("Tested ", "The tested ")
    return [
        text
        for text in finding.measure.remarks
        if text.startswith(starts) and not text.startswith("Tested minus")
    ]


def _factor(ground: Ground | None, outside: Outside) -> str:
    """Return the job's combined factor with its origin and direction."""
    if ground is None:
        return "none: the job takes design and shots to be on one grid"
    origin = f"N {length(ground.origin_n_m, outside)}, E {length(ground.origin_e_m, outside)}"
    return (
        f"{ground.combined_factor:.10g}, grid distance over ground distance, about {origin}:"
        " grid = origin + factor × (ground − origin) brings the design to the grid"
    )


def _control(results: Results) -> str:
    """Return the known points that the job rests on, and from which file they come."""
    known, stated = results.inputs.control, results.job.control
    if known is None or stated is None or not len(known):
        return "none in the job"
    names = [str(name) for name in known.id.tolist()]
    listed = ", ".join(names[:_NAMED])
    more = f" and {group(len(names) - _NAMED)} more" if len(names) > _NAMED else ""
    return f"{listed}{more}, from {stated.file}"
