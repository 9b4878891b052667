"""Calibrations that were overdue when the instrument measured."""

import datetime
from dataclasses import replace

import pytest

from checker.checks.instruments import calibrations
from checker.model.job import Instrument
from tests.support.points import Shot, inputs, job, points

DAY = datetime.date(2031, 4, 17)
SHOTS: list[Shot] = [("1", 0.0, 0.0, 0.0), ("2", 0.0, 0.0, 0.0)]


def said(
    each: Instrument, *, date: datetime.date | None = DAY, time: list[str] | None = None
) -> list[str]:
    measured = points(SHOTS, time=time)
    of = replace(job(), instruments=(each,), date=date)
    return [notice.message for notice in calibrations(inputs(measured=measured), of)]


def test_an_overdue_calibration_is_said_with_its_days() -> None:
    each = Instrument(name="rover", serial="INV-1", due=datetime.date(2031, 4, 15))
    (text,) = said(each)
    assert text.startswith("rover, serial INV-1: its calibration was due on 2031-04-15, 2 days")
    # the day of the last shot goes before the date of the job
    assert said(each, time=["2031-04-14T10:00", "2031-04-15T09:00"]) == []
    assert len(said(each, time=["2031-04-14T10:00", "2031-04-16T00:00"])) == 1


def test_a_calibration_after_the_measurement_shows_nothing_of_it() -> None:
    (text,) = said(Instrument(name="level", calibrated=datetime.date(2031, 4, 18)))
    assert "after the last measurement of the job" in text


@pytest.mark.parametrize(
    "each",
    [
        Instrument(name="rover"),
        Instrument(name="rover", due=DAY),
        Instrument(name="rover", calibrated=DAY, due=datetime.date(2032, 1, 1)),
    ],
)
def test_nothing_is_said_of_what_is_in_order(each: Instrument) -> None:
    assert said(each) == []


def test_without_any_day_nothing_can_be_said() -> None:
    each = Instrument(name="rover", due=datetime.date(2031, 4, 15))
    assert said(each, date=None) == []
