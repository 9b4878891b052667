"""What a job says of its evidence: sources of the gate, check points, calibrations, procedure."""

import datetime
from pathlib import Path

import pytest

from checker.model.job import (
    Accuracy,
    AccuracyStandard,
    Against,
    HeightFitKind,
    Job,
    PlanFit,
)
from checker.read.files import Source
from checker.read.job import read_job
from checker.units import ARCSEC, LengthUnit

HEAD = """
[job]
title = "Invented job"
unit = "foot"
procedure = "real-time kinematic"
survey_class = "B"
[measured]
file = "m.csv"
[control]
file = "c.csv"
"""


def read(text: str) -> Job:
    return read_job(Source(path="job.toml", data=(HEAD + text).encode()), Path())


def test_procedure_and_class_are_kept_as_written() -> None:
    job = read('[[accuracy]]\nname = "a"\n')
    assert (job.procedure, job.survey_class) == ("real-time kinematic", "B")


def test_a_gate_asks_for_a_check_shot_near_in_time_and_names_its_sources() -> None:
    gate = read(
        '[gate]\npdop = 4\ncheck_within = "90 min"\nsource = "office"\n'
        'sources = { pdop = "class 2", check_within = "manual 3.4" }\n[[repeats]]\n'
    ).gate
    assert gate is not None
    assert gate.check_within_s == 5400.0
    assert gate.sources == {"pdop": "class 2", "check_within": "manual 3.4"}
    assert gate.source == "office"


def test_check_points_of_their_own() -> None:
    job = read(
        '[[accuracy]]\nname = "a"\nfile = "check.csv"\nunit = "metre"\nsigma_h = "4 mm"\n'
        'sigma_z = 0.01\nstandard = "asprs-2023"\ncolumns = { id = "Pt" }\n'
    )
    (section,) = job.checks
    assert isinstance(section, Accuracy)
    assert (section.file, section.unit) == ("check.csv", LengthUnit.METRE)
    assert (section.sigma_h_m, section.sigma_z_m) == (0.004, 0.01 * 0.3048)
    assert section.standard is AccuracyStandard.ASPRS_2023
    assert section.columns == {"id": "Pt"}
    (plain,) = read('[[accuracy]]\nname = "a"\n').checks
    assert isinstance(plain, Accuracy)
    assert (plain.file, plain.against, plain.sigma_h_m) == (None, Against.CONTROL, 0.0)


def test_when_the_next_calibration_is_due() -> None:
    job = read('[[instrument]]\nname = "rover"\ndue = 2031-05-01\n[[repeats]]\n')
    assert job.instruments[0].due == datetime.date(2031, 5, 1)


def test_a_stated_site_fit() -> None:
    job = read(
        "[site_fit]\ngiven = { about = { n = 100, e = 200 }, scale_ppm = 12.5, rotation = "
        '"-0-00-05", shift = { n = 0.5, z = "2 cm" }, rise = { e = "-8 ppm" } }\n'
    )
    assert job.site_fit is not None
    given = job.site_fit.given
    assert given is not None
    assert given.scale == pytest.approx(1.0000125, abs=1e-15)
    assert given.rotation_rad == pytest.approx(-5.0 * ARCSEC)
    assert (given.about_n_m, given.about_e_m) == pytest.approx((30.48, 60.96))
    assert (given.shift_n_m, given.shift_e_m, given.shift_z_m) == pytest.approx((0.1524, 0.0, 0.02))
    assert (given.rise_n, given.rise_e) == (0.0, -8e-6)
    assert job.site_fit.plan is PlanFit.SIMILARITY
    assert job.site_fit.height is HeightFitKind.PLANE


@pytest.mark.parametrize(
    ("text", "angle"),
    [('"5 arcsec"', 5.0), ('"-1.5 arcmin"', -90.0), ('"0-01-30"', 90.0), ("0.01", 36.0)],
)
def test_a_stated_rotation_is_read_in_the_trades_forms(text: str, angle: float) -> None:
    job = read(f"[site_fit]\ngiven = {{ about = {{ n = 0, e = 0 }}, rotation = {text} }}\n")
    assert job.site_fit is not None
    assert job.site_fit.given is not None
    assert job.site_fit.given.rotation_rad == pytest.approx(angle * ARCSEC)
    assert job.site_fit.height is HeightFitKind.NONE


def test_a_stated_fit_of_heights_alone_leaves_the_plan() -> None:
    job = read("[site_fit]\ngiven = { about = { n = 0, e = 0 }, shift = { z = 0.3 } }\n")
    assert job.site_fit is not None
    assert job.site_fit.plan is PlanFit.NONE
    assert job.site_fit.height is HeightFitKind.SHIFT
