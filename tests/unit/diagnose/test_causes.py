"""Identities that the causes rest on."""

from dataclasses import replace

import numpy as np
import pytest
from pyproj import CRS

from checker.diagnose.frames import epochs, realization_shifts, used_at
from checker.diagnose.heights import pole_pairs
from checker.diagnose.noise import CORE_M, badly_set
from checker.model.job import Reference
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT
from tests.support.blunders import make_case
from tests.support.diagnoses import named


def test_two_metres_keyed_as_two_feet_are_1_390_m() -> None:
    # JOB's own table of signatures: "Pole 2 m keyed 2 ft: dZ +1.390 m" (recomputed there).
    steps = [actual - entered for entered, actual in pole_pairs((2.0,))]
    assert steps == [pytest.approx(1.390, abs=0.0005)]


def test_settings_exchanged_both_ways() -> None:
    steps = {round(actual - entered, 4) for entered, actual in pole_pairs((1.8, 2.0))}
    feet = {round(1.8 * (1 - M_PER_FOOT), 4), round(2 * (1 - M_PER_FOOT), 4)}
    assert not steps ^ {0.2, -0.2, *feet}


def test_the_two_feet_are_two_parts_per_million_apart() -> None:
    # NIST and NOAA, 85 FR 62698: 1200/3937 m and 0.3048 m exactly.
    ppm = (M_PER_US_SURVEY_FOOT / M_PER_FOOT - 1) * 1e6
    assert ppm == pytest.approx(2.000004, abs=1e-6)
    found = named(make_case(1, "foot-definition"))[0]
    values = {item.key: item.value for item in found.cause.parameter}
    assert abs(float(str(values["ppm"]))) == pytest.approx(2.0, abs=1e-4)


def test_the_density_of_a_badly_set_point_is_one_over_its_range() -> None:
    # Integrated over the plane from nothing to a kilometre it is near one, whatever the scale.
    radius = np.exp(np.linspace(np.log(CORE_M / 100), np.log(1e3), 4000))
    density = np.exp(-badly_set(radius, 2)) * 2 * np.pi * radius
    assert 0.9 < float(np.trapezoid(density, radius)) < 1.1


def test_realizations_move_points_as_proj_says() -> None:
    # 7 cities of the lower 48 (PROJ, EPSG:8970): NAD83(2011) to ITRF2014 at 2026.9 is 0.89 to
    # 1.61 m in plan, towards west to north-west, and -0.31 to -1.61 m in height.
    # At 82.4 west, 35.5 north, on UTM zone 17.
    job = replace(make_case(3, "").job, reference=Reference(crs="EPSG:6346", epoch="2026.9"))
    assert epochs(job) == (2026.9,)
    shifts = realization_shifts(job, 3_931_000.0, 373_000.0, 700.0)
    vectors = [
        vector
        for name, vector in shifts
        if "ITRF2014" in name and name.endswith("taken for NAD83(2011)")
    ]
    assert len(vectors) == 1
    dn, de, dz = vectors[0]
    assert 0.8 < np.hypot(dn, de) < 1.7
    assert de < 0
    assert -1.7 < dz < -0.25


def test_only_frames_that_are_used_there_are_taken_for_the_jobs() -> None:
    # Areas of use as the EPSG register states them: that of NAD83(2011) crosses the 180th meridian.
    job = replace(make_case(3, "").job, reference=Reference(crs="EPSG:6346", epoch="2026.9"))
    said = " ".join(name for name, _ in realization_shifts(job, 3_931_000.0, 373_000.0, 700.0))
    assert "ITRF2020" in said
    assert not any(name in said for name in ("GDA", "ETRS89"))
    frame = CRS.from_user_input("EPSG:6319")
    assert used_at(frame, 172.0, 53.0)
    assert used_at(frame, -82.4, 35.5)
    assert not used_at(frame, 10.0, 50.0)
    assert not used_at(frame, -82.4, -35.5)


def test_no_named_grid_means_no_realizations() -> None:
    job = replace(make_case(3, "").job, reference=Reference())
    assert realization_shifts(job, 1e5, 6e5, 100.0) == ()
