"""Who measured with what, and what is to be measured again."""

import datetime
import html
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from checker.model.arrays import TextArray
from checker.model.finding import Results, Verdict
from checker.model.job import Instrument
from checker.model.points import Points
from checker.report.render import render
from checker.report.who import who_view
from checker.run import check
from checker.units import LengthUnit
from tests.support.jobs import JobFolder
from tests.support.points import inputs, job, points, texts

DAY = datetime.date(2031, 4, 17)
MARKS = [("A", 5000.0, 3000.0, 10.0), ("B", 5000.0, 3200.0, 10.0), ("C", 5150.0, 3100.0, 10.0)]


def results_of(measured: Points | None, *instruments: Instrument, dated: bool = True) -> Results:
    doubts: TextArray = texts([""] * (0 if measured is None else len(measured)))
    return Results(
        job=replace(
            job(unit=LengthUnit.METRE),
            instruments=instruments,
            date=DAY if dated else None,
            surveyed_by=None,
        ),
        inputs=inputs(measured=measured),
        findings=(),
        verdict=Verdict.UNCHECKED,
        counts={},
        unused=np.empty(0, dtype=np.int64),
        doubts=doubts,
    )


@pytest.mark.parametrize(
    ("calibrated", "dated", "said"),
    [
        (datetime.date(2031, 4, 16), True, "2031-04-16, 1 day before the job's"),
        (datetime.date(2030, 4, 17), True, "2030-04-17, 365 days before the job's"),
        (datetime.date(2031, 4, 18), True, "2031-04-18, after the job's date"),
        (datetime.date(2031, 4, 18), False, "2031-04-18; the job has no date to count its age to"),
        (None, True, "not stated"),
    ],
)
def test_the_age_of_a_calibration(calibrated: datetime.date | None, dated: bool, said: str) -> None:
    view = who_view(results_of(None, Instrument(name="level", calibrated=calibrated), dated=dated))
    assert view.instruments[0].calibrated == said
    assert view.instruments[0].serial == "not stated"
    assert view.crew == "not stated in the job"
    assert view.sessions == ()


def test_sessions_as_their_files_show_them() -> None:
    shots = points(
        [("1", 0.0, 0.0, 0.0)] * 3,
        time=["2031-04-15T10:00", "2031-04-15T11:30", "NaT"],
        session=texts(["am", "am", "pm"]),
        base=texts(["B1", "B2", ""]),
        pole_m=np.array([2.0, 1.8, np.nan]),
    )
    first, second = who_view(results_of(shots)).sessions
    assert (first.name, first.shots, first.base) == ("am", "2", "B1, B2")
    assert first.time == "2031-04-15 10:00 to 11:30 UTC"
    assert first.pole.replace("\N{NARROW NO-BREAK SPACE}", " ") == "1.800 m, 2.000 m"
    assert (second.time, second.base, second.pole, second.solution) == ("not shown",) * 4


def page(files: dict[str, bytes], name: str) -> str:
    text = re.sub(r"<(style|script|svg).*?</\1>", "", files[name].decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def test_the_pages_of_a_job_that_is_fitted(tmp_path: Path) -> None:
    """One pass through the files: the fit, what it did, and what must be measured again."""
    stakes = [("1", 5050.0, 3050.0, 9.0), ("2", 5060.0, 3060.0, 9.0)]
    shots = [(name, n + 0.4, e - 0.2, (z or 0.0) + 0.1) for name, n, e, z in [*MARKS, *stakes]]
    folder = JobFolder(
        design=stakes,
        shots=shots,
        control=MARKS,
        sigma_h=0.012,
        sigma_z=0.004,
        tolerance='horizontal = "20 mm"\nvertical = "20 mm"\nrule = "guarded"\n',
        more='[site_fit]\napply = true\ntolerance = { horizontal = "10 mm", vertical = "10 mm" }\n',
    ).write(tmp_path)
    files = render(check(folder))
    fit = page(files, "check-site-fit.html")
    assert "This fit was applied" in fit
    assert "no independent check shots any more" in fit
    again = page(files, "measurements.html")
    assert "2 to be measured again" in again
    assert "Measure it again with a total station from proven control" in again
    assert "not stated in the job" in page(files, "inputs.html")
    control = page(files, "check-control.html")
    assert "every check shot is in the site fit" in control.lower()
