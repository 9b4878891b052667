"""The sections about evidence: what a job may say, and what it says where it says nothing."""

import datetime
import math
from pathlib import Path

import pytest

from checker.model.job import (
    Accuracy,
    AccuracyStandard,
    Against,
    HeightFitKind,
    Job,
    PlanFit,
    Repeats,
    RoverTest,
)
from checker.read.files import Source
from checker.read.job import read_job

HEAD = '[job]\ntitle = "Invented job"\nunit = "foot"\n[measured]\nfile = "m.csv"\n'
CONTROL = '[control]\nfile = "c.csv"\n'


def read(text: str) -> Job:
    return read_job(Source(path="job.toml", data=(HEAD + text).encode()), Path())


def test_a_site_fit_alone_is_something_to_check() -> None:
    fit = read(f"{CONTROL}[site_fit]\n").site_fit
    assert fit is not None
    assert (fit.plan, fit.height, fit.apply) == (PlanFit.SIMILARITY, HeightFitKind.SHIFT, False)
    assert (fit.pairs, fit.tolerance, fit.name) == ((), None, "site_fit")


def test_a_site_fit_as_it_may_be_written() -> None:
    fit = read(
        f"{CONTROL}[site_fit]\n"
        'pairs = [["101", "CP1"], [102, "CP2"]]\nplan = "shift"\nheight = "plane"\napply = true\n'
        "tolerance = { horizontal = 0.05, above = 0.1 }\n"
    ).site_fit
    assert fit is not None
    assert fit.pairs == (("101", "CP1"), ("102", "CP2"))
    assert (fit.plan, fit.height, fit.apply) == (PlanFit.SHIFT, HeightFitKind.PLANE, True)
    assert fit.tolerance is not None
    assert fit.tolerance.horizontal is not None
    assert fit.tolerance.horizontal.constant == pytest.approx(0.05 * 0.3048)


def test_what_sigmas_leave_out() -> None:
    found = read(
        'sigma_factor = 1.5\nsigma_floor_h = "10 mm"\nsigma_floor_z = 0.05\nbubble = "10 arcmin"\n'
        f"{CONTROL}sigma_h = 0.01\nsigma_z = 0.02\n[site_fit]\n"
    )
    assert found.measured is not None
    assert found.control is not None
    assert found.measured.sigma_factor == 1.5
    assert found.measured.sigma_floor_h_m == pytest.approx(0.010)
    assert found.measured.sigma_floor_z_m == pytest.approx(0.05 * 0.3048)
    assert found.measured.bubble_rad == pytest.approx(math.radians(10.0 / 60.0))
    assert found.control.sigma_h_m == pytest.approx(0.01 * 0.3048)
    assert found.control.sigma_z_m == pytest.approx(0.02 * 0.3048)


def test_accuracy_and_the_rover_test() -> None:
    found = read(
        CONTROL + "[[accuracy]]\n"
        '[[accuracy]]\nname = "pad"\nagainst = "control"\nstandard = "asprs-2023"\n'
        '[[rover_test]]\npoints = ["R1", 2]\ndistance = "10 m"\nrise = -0.5\nsigma_plan = "15 mm"\n'
    )
    first, second, rover = found.checks
    assert isinstance(first, Accuracy)
    assert (first.against, first.standard) == (Against.CONTROL, AccuracyStandard.NSSDA)
    assert isinstance(second, Accuracy)
    assert second.standard is AccuracyStandard.ASPRS_2023
    assert isinstance(rover, RoverTest)
    assert rover.points == ("R1", "2")
    assert rover.distance_m == 10.0
    assert rover.rise_m == pytest.approx(-0.5 * 0.3048)
    assert rover.sigma_plan_m == pytest.approx(0.015)
    assert rover.sigma_height_m is None


@pytest.mark.parametrize(
    ("text", "share", "confidence"),
    [("", 0.1, 0.95), ('share = "5 %"\nconfidence = 0.9\n', 0.05, 0.9)],
)
def test_the_sample_plan_of_repeats(text: str, share: float, confidence: float) -> None:
    (section,) = read(f"[[repeats]]\n{text}").checks
    assert isinstance(section, Repeats)
    assert section.share == pytest.approx(share)
    assert section.confidence == pytest.approx(confidence)


def test_instruments_are_no_check() -> None:
    found = read(
        f'{CONTROL}[[instrument]]\nname = "level"\nserial = 4711\ncalibrated = 2031-02-03\n'
        "[site_fit]\n"
    )
    (level,) = found.instruments
    assert (level.name, level.serial) == ("level", "4711")
    assert level.calibrated == datetime.date(2031, 2, 3)
