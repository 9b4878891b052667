import datetime
import math
from pathlib import Path

import pytest

from checker.errors import InputError
from checker.model.job import (
    Adjust,
    AngleKind,
    Exclusion,
    Job,
    Levels,
    Match,
    Position,
    Repeats,
    Rule,
    Selection,
    Shape,
    Stakeout,
    Status,
    Traverse,
)
from checker.read.files import Source
from checker.read.job import read_job
from checker.units import ARCSEC, AngleFormat, LengthUnit

US = 1200 / 3937

WHOLE = """\
[job]
title = "Invented lift station"
number = 31
client = "An invented district"
surveyed_by = "A. Sample"
responsible = "name and licence number"
status = "issued"
date = 2031-04-17
unit = "us-survey-foot"
notes = "notes.md"

[reference]
crs = "EPSG:6527"
vertical = "invented"
geoid = "none"
realization = "2011"
epoch = 2010.0
ground = { combined_factor = 0.99991, origin = { n = 512000.0, e = "618000 ft" } }

[design]
drawings = ["a.dxf", "b.dxf"]
points = "design.csv"
unit = "foot"
revision = 3
issued = 2031-03-01
columns = { id = "Pt", northing = "N", easting = 3 }
labels = { layer = ["NUM", "TXT"], radius = 2, attribute = "NO" }

[measured]
files = ["day1.csv", "day2.csv"]
unit = "metre"
crs = "epsg:6527"
sigma_level = "95 %"
exclude = [
  { id = "107", reason = "pole slipped" },
  { id = 108, reason = "wire in the way" },
]

[control]
file = "control.csv"
tolerance = "stakes"

[gate]
solution = ["Fixed", "FLOAT"]
satellites = 6
epochs = 5
hdop = 1.5
vdop = 2
pdop = 4.0
age = "5 s"
sigma_h = "0.03 ft"
sigma_z = 0.05
base_distance = "10 km"
pole = ["2 m", 6.0]
elevation_mask = 10
source = "the party chief"

[tolerance.stakes]
horizontal = "0.03 ft"
above = "1/4 in"
below = 0.04
rule = "guarded"
k = 3
sigma_level = 2
source = "contract 01 71 23"

[[levels]]
name = "Bench run"
file = "levels.csv"
start = "BM1"
close = { elevation = "12.5 m" }
adjust = "setups"
tolerance = { misclosure = "12 mm * sqrt(km)" }

[[stakeout]]
name = "Corners"
design = { layer = "STAKE-*", id = [101, "102"] }
measured = { description = ["SC*", "HUB*"], file = "day1.csv" }
match = "nearest"
within = "1 ft"
complete = false
tolerance = "stakes"

[[stakeout]]
tolerance = { vertical = "10 mm" }

[[repeats]]
within = "0.5 ft"
apart = "4 h"
measured = { layer = "X" }
tolerance = "stakes"

[[traverse]]
name = "Loop"
file = "t.csv"
shape = "loop"
angles = "interior"
walked = "clockwise"
angle_format = "packed"
unit = "metre"
columns = { at = "Station" }
start = "A"
close = "A"
start_azimuth = 45.3015
adjust = "compass"
tolerance = { angular = "20 arcsec * sqrt(n)", ratio = "1:10,000", misclosure = "0.05 ft" }
"""


def job(text: str) -> Job:
    return read_job(Source(path="job.toml", data=text.encode()), Path("folder"))


def slugs(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        job(text)
    return [problem.slug for problem in caught.value.problems]


def test_settings() -> None:
    read = job(WHOLE)
    assert (read.file, read.root) == ("job.toml", Path("folder"))
    assert (read.title, read.number, read.client) == (
        "Invented lift station",
        "31",
        "An invented district",
    )
    assert read.status is Status.ISSUED
    assert read.date == datetime.date(2031, 4, 17)
    assert read.unit is LengthUnit.US_SURVEY_FOOT
    assert read.notes == "notes.md"


def test_reference() -> None:
    reference = job(WHOLE).reference
    assert (reference.crs, reference.epoch) == ("EPSG:6527", "2010.0")
    assert reference.ground is not None
    assert reference.ground.combined_factor == 0.99991
    assert reference.ground.origin_n_m == pytest.approx(512000 * US, rel=1e-15)
    assert reference.ground.origin_e_m == pytest.approx(618000 * US, rel=1e-15)


def test_design() -> None:
    design = job(WHOLE).design
    assert design is not None
    assert design.where.line == 20
    assert design.drawings == ("a.dxf", "b.dxf")
    assert design.points == ("design.csv",)
    assert design.unit is LengthUnit.FOOT
    assert (design.revision, design.issued) == ("3", "2031-03-01")
    assert design.columns == {"id": "Pt", "northing": "N", "easting": "3"}
    assert design.labels.layers == ("NUM", "TXT")
    assert design.labels.radius_m == pytest.approx(0.6096)  # in the drawing's own unit
    assert design.labels.attribute == "NO"


def test_measured() -> None:
    measured = job(WHOLE).measured
    assert measured is not None
    assert measured.files == ("day1.csv", "day2.csv")
    assert measured.unit is LengthUnit.METRE
    assert [(each.id, each.reason, each.where.line) for each in measured.exclude] == [
        ("107", "pole slipped", 35),
        ("108", "wire in the way", 36),
    ]
    assert all(isinstance(each, Exclusion) for each in measured.exclude)
    assert measured.sigma_level is not None
    assert measured.sigma_level.axis == pytest.approx(1.96, abs=1e-4)


def test_control_and_gate() -> None:
    read = job(WHOLE)
    assert read.control is not None
    assert read.control.tolerance is read.tolerances[0]
    gate = read.gate
    assert gate is not None
    assert gate.solution == ("fixed", "float")
    assert (gate.satellites, gate.epochs, gate.hdop, gate.vdop, gate.pdop) == (6, 5, 1.5, 2, 4)
    assert gate.age_s == 5.0
    assert gate.sigma_h_m == pytest.approx(0.03 * US)
    assert gate.sigma_z_m == pytest.approx(0.05 * US)
    assert gate.base_distance_m == 10000.0
    assert gate.pole_m == pytest.approx((2.0, 6 * US))
    assert gate.elevation_mask_rad == pytest.approx(math.radians(10))


def test_named_tolerance() -> None:
    (tolerance,) = job(WHOLE).tolerances
    assert tolerance.name == "stakes"
    assert tolerance.horizontal is not None
    assert tolerance.horizontal.at() == pytest.approx(0.03 * US)
    assert tolerance.above is not None
    assert tolerance.above.at() == pytest.approx(US / 48)
    assert tolerance.below is not None
    assert tolerance.below.at() == pytest.approx(0.04 * US)
    assert tolerance.vertical is None
    assert (tolerance.rule, tolerance.k, tolerance.source) == (
        Rule.GUARDED,
        3.0,
        "contract 01 71 23",
    )
    assert tolerance.sigma_level is not None
    assert tolerance.sigma_level.radial == 2.0


def test_checks_stand_in_the_order_of_the_file() -> None:
    checks = job(WHOLE).checks
    assert [type(check) for check in checks] == [Levels, Stakeout, Stakeout, Repeats, Traverse]
    assert [check.name for check in checks] == [
        *("Bench run", "Corners", "Stakeout 2", "Repeats 1", "Loop")
    ]
    lines = [check.where.line for check in checks]
    assert lines == sorted(line for line in lines if line is not None)
    assert WHOLE.split("\n")[(lines[1] or 0) - 1] == "[[stakeout]]"


def test_stakeouts() -> None:
    first, second = (check for check in job(WHOLE).checks if isinstance(check, Stakeout))
    assert first.design == Selection(ids=("101", "102"), layers=("STAKE-*",))
    assert first.measured == Selection(descriptions=("SC*", "HUB*"), files=("day1.csv",))
    assert first.match is Match.NEAREST
    assert first.within_m == pytest.approx(US)
    assert not first.complete
    assert second.design.everything
    assert second.measured.everything
    assert second.match is Match.ID
    assert second.within_m is None
    assert second.complete
    assert second.tolerance is not None
    assert second.tolerance.vertical is not None
    assert second.tolerance.vertical.at() == 0.010


def test_repeats() -> None:
    (repeats,) = (check for check in job(WHOLE).checks if isinstance(check, Repeats))
    assert repeats.within_m == pytest.approx(0.5 * US)
    assert repeats.apart_s == 14400.0
    assert repeats.measured.layers == ("X",)


def test_levels() -> None:
    (levels,) = (check for check in job(WHOLE).checks if isinstance(check, Levels))
    assert (levels.file, levels.start, levels.close) == ("levels.csv", "BM1", 12.5)
    assert levels.adjust is Adjust.SETUPS
    assert levels.unit is LengthUnit.US_SURVEY_FOOT
    assert levels.tolerance is not None
    assert levels.tolerance.misclosure is not None
    assert levels.tolerance.misclosure.at(length_m=4000.0) == pytest.approx(0.024)


def test_traverse() -> None:
    (traverse,) = (check for check in job(WHOLE).checks if isinstance(check, Traverse))
    assert (traverse.shape, traverse.angles) == (Shape.LOOP, AngleKind.INTERIOR)
    assert traverse.clockwise
    assert traverse.angle_format is AngleFormat.PACKED
    assert traverse.unit is LengthUnit.METRE
    assert traverse.columns == {"at": "Station"}
    assert (traverse.start, traverse.close) == ("A", "A")
    degrees = 45 + 30 / 60 + 15 / 3600
    assert traverse.start_azimuth_rad == pytest.approx(math.radians(degrees), abs=1e-15)
    assert traverse.adjust is Adjust.COMPASS
    assert traverse.tolerance is not None
    assert traverse.tolerance.ratio == 10000.0
    assert traverse.tolerance.angular is not None
    assert traverse.tolerance.angular.at(n=9) == pytest.approx(60 * ARCSEC)


HEAD = '[job]\ntitle = "Invented"\nunit = "metre"\n'
LINK = (
    HEAD + '[[traverse]]\nfile = "t.csv"\nshape = "link"\nangles = "right"\n'
    "start = { n = 1, e = 2 }\nclose = { n = '3 km', e = 4, elevation = 5 }\n"
)


def traverse(text: str) -> Traverse:
    (check,) = job(text).checks
    assert isinstance(check, Traverse)
    return check


def test_positions_need_no_control() -> None:
    read = traverse(LINK + "start_azimuth = 0\n")
    assert isinstance(read.start, Position)
    assert (read.start.northing_m, read.start.easting_m) == (1.0, 2.0)
    assert math.isnan(read.start.elevation_m)
    assert read.close == Position(northing_m=3000.0, easting_m=4.0, elevation_m=5.0)


@pytest.mark.parametrize(
    ("written", "degrees"),
    [
        ("0", 0),
        ("360", 0),
        ('"360-00-00"', 0),
        ("359.999", 359.999),
        ('"123-45-56"', 123 + 45 / 60 + 56 / 3600),
        ('"N 45-30-00 W"', 314.5),
        ('"due south"', 180),
    ],
)
def test_azimuths(written: str, degrees: float) -> None:
    azimuth = traverse(LINK + f"start_azimuth = {written}\n").start_azimuth_rad
    assert azimuth == pytest.approx(math.radians(degrees), abs=1e-14)


def test_an_azimuth_in_gon() -> None:
    read = traverse(LINK + 'start_azimuth = 100\nangle_format = "gon"\n')
    assert read.start_azimuth_rad == pytest.approx(math.pi / 2)
    assert slugs(LINK + 'start_azimuth = 400.1\nangle_format = "gon"\n') == ["azimuth-range"]


def test_directions_that_are_needed() -> None:
    assert slugs(LINK) == ["missing-key"]
    for kind in ("azimuth", "bearing"):
        assert traverse(LINK.replace('"right"', f'"{kind}"')).start_azimuth_rad is None
    link_without_end = LINK[: LINK.index("close")] + "start_azimuth = 0\n"
    assert slugs(link_without_end) == ["missing-key"]


def test_a_closed_loop_of_positions() -> None:
    loop = LINK.replace('"link"', '"loop"') + "start_azimuth = 0\n"
    assert slugs(loop) == ["conflicting-keys"]
    traverse(loop.replace("n = '3 km', e = 4", "n = 1.0, e = '2 m'"))


def test_a_closure_needs_no_tolerance() -> None:
    # its verdict is then unchecked, which is never a pass
    read = job(HEAD + '[[levels]]\nfile = "l.csv"\nstart = { elevation = 100 }\n')
    assert read.checks[0].tolerance is None


def test_control_is_a_check_of_its_own() -> None:
    text = (
        HEAD + '[measured]\nfile = "m.csv"\n[control]\nfile = "c.csv"\n'
        'tolerance = { horizontal = "20 mm", vertical = "10 mm" }\n'
    )
    read = job(text)
    assert read.checks == ()
    assert read.control is not None
    assert read.control.tolerance is not None
    assert slugs(text.replace('[measured]\nfile = "m.csv"\n', "")) == ["nothing-to-check"]


def test_a_named_tolerance_may_serve_several_sections() -> None:
    read = job(
        HEAD + '[tolerance.all]\nhorizontal = "5 mm"\nmisclosure = "5 mm"\n'
        '[design]\npoints = "d.csv"\n[measured]\nfile = "m.csv"\n[[stakeout]]\ntolerance = "all"\n'
        '[[levels]]\nfile = "l.csv"\nstart = { elevation = 1 }\ntolerance = "all"\n'
    )
    assert all(check.tolerance is read.tolerances[0] for check in read.checks)


def test_the_design_and_measured_units_are_the_jobs_where_not_said() -> None:
    read = job(
        HEAD + '[design]\npoints = ["d.csv"]\n[measured]\nfile = "m.csv"\n'
        "[[stakeout]]\ntolerance = { horizontal = 1 }\n"
    )
    assert read.design is not None
    assert read.measured is not None
    assert read.design.unit is read.measured.unit is LengthUnit.METRE


def test_byte_order_mark_and_windows_line_ends() -> None:
    text = WHOLE.replace("\n", "\r\n")
    read = read_job(Source(path="job.toml", data=b"\xef\xbb\xbf" + text.encode()), Path())
    assert read.checks == job(WHOLE).checks


def test_faults_come_in_the_order_of_the_lines() -> None:
    text = WHOLE.replace('"issued"', '"x"').replace('"setups"', '"x"').replace('"guarded"', '"x"')
    with pytest.raises(InputError) as caught:
        job(text)
    lines = [problem.where.line or 0 for problem in caught.value.problems]
    assert lines == sorted(lines)
    assert len(lines) == 3


def test_nesting_without_end_and_endless_numbers() -> None:
    assert slugs("a = " + "[" * 5000 + "]" * 5000) == ["job-syntax"]
    assert slugs("a = " + "9" * 5000) == ["job-syntax"]
    assert slugs(HEAD + f"[gate]\npdop = 0x{'f' * 5000}\n[[levels]]\n") == [
        *("bad-value", "missing-key", "missing-key")
    ]


@pytest.mark.parametrize("value", ["1" * 19, "0x" + "f" * 5000, "nan", "true", '"\\u0000"', '""'])
def test_what_is_no_number_of_a_point(value: str) -> None:
    text = WHOLE.replace('id = "107"', f"id = {value}")
    assert slugs(text) in (["wrong-type"], ["bad-value"], ["empty-text"])
    text = WHOLE.replace("number = 31", f"number = {value}")
    assert slugs(text) in (["wrong-type"], ["bad-value"], ["empty-text"])
