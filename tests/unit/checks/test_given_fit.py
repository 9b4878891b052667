"""A site fit that the job states: what it moves, how marks test it, and what it cannot say."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from checker.checks.site_fit import FittedSite, fit_site
from checker.model.finding import Finding, Verdict
from checker.model.frame import SiteFrame
from checker.model.job import GivenFit, HeightFitKind, PlanFit, SiteFit
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from tests.support.points import HERE, Shot, inputs, job, points, texts, tolerance

N0, E0 = 512000.0, 618000.0
CORNERS = [("A", 0.0, 0.0), ("B", 0.0, 300.0), ("C", 200.0, 300.0), ("D", 200.0, 0.0)]
CONTROL: list[Shot] = [(name, N0 + n, E0 + e, 10.0) for name, n, e in CORNERS]
GIVEN = GivenFit(
    about_n_m=N0,
    about_e_m=E0,
    scale=1.00004,
    rotation_rad=math.radians(0.02),
    shift_n_m=0.5,
    shift_e_m=-0.3,
    shift_z_m=0.12,
    rise_n=2e-5,
    rise_e=-1e-5,
)


def undone(rows: list[Shot]) -> list[Shot]:
    """Return where the marks are measured, so that the stated fit takes them to where they are."""
    found = []
    for name, n, e, z in rows:
        north, east = n - N0 - GIVEN.shift_n_m, e - E0 - GIVEN.shift_e_m
        away = math.hypot(north, east) / GIVEN.scale
        azimuth = math.atan2(east, north) - GIVEN.rotation_rad
        n1, e1 = away * math.cos(azimuth), away * math.sin(azimuth)
        rise = 0.12 + GIVEN.rise_n * n1 + GIVEN.rise_e * e1
        found.append((name, N0 + n1, E0 + e1, z - rise))
    return found


def fitted(shots: list[Shot], frame: SiteFrame | None = None, **keys: Any) -> FittedSite:
    given = keys.pop("given", GIVEN)
    section = SiteFit(
        where=HERE,
        name="site_fit",
        plan=PlanFit.SIMILARITY,
        height=HeightFitKind.PLANE,
        given=given,
        **keys,
    )
    data = inputs(measured=points(shots), control=points(CONTROL))
    return fit_site(section, data, job(), frame)


def judged(site: FittedSite) -> Finding:
    return judge(site.measure, texts([""] * 20), LengthUnit.METRE)


def test_the_stated_fit_takes_the_marks_home() -> None:
    site = fitted(undone(CONTROL), apply=True)
    for key in ("dn", "de", "dz", "horizontal"):
        np.testing.assert_allclose(site.measure.column(key).values.astype(float), 0.0, atol=1e-9)
    assert site.moved is not None
    np.testing.assert_allclose(site.moved.northing_m, [row[1] for row in CONTROL], atol=1e-9)
    np.testing.assert_allclose(site.moved.elevation_m, 10.0, atol=1e-9)
    found = {item.key: item.value for item in site.measure.summary}
    assert found["scale_ppm"] == pytest.approx(40.0, abs=1e-6)
    assert found["rotation_deg"] == pytest.approx(GIVEN.rotation_rad)
    assert found["sd_scale_ppm"] is None
    assert found["sd_shift_n"] is None
    assert found["redundancy_plan"] == 8


def test_two_marks_already_test_it() -> None:
    """A computed fit of two marks has no residual; a stated one has all of them."""
    shots = undone(CONTROL[:2])
    shots[1] = (shots[1][0], shots[1][1] + 0.2, shots[1][2], shots[1][3])
    limit = tolerance(horizontal=0.05, vertical=0.05)
    finding = judged(fitted(shots, tolerance=limit))
    assert finding.row_verdict.tolist() == [Verdict.WITHIN, Verdict.OUTSIDE]
    assert finding.verdict is Verdict.OUTSIDE
    computed = fit_site(
        SiteFit(where=HERE, name="site_fit", tolerance=limit),
        inputs(measured=points(shots), control=points(CONTROL)),
        job(),
    )
    assert judged(computed).verdict is Verdict.UNDECIDED


def test_it_says_that_it_was_stated_and_what_is_not_known() -> None:
    site = fitted(undone(CONTROL), apply=True)
    text = " ".join(site.measure.remarks)
    assert "was not computed here but stated in the job" in text
    assert "As stated the fit scales by +40.0 ppm and turns by +72.0″" in text
    assert "From which marks it was computed is not stated" in text
    assert "Left out of the fit" not in text
    assert site.measure.column("in_fit").values.tolist() == ["not stated"] * 4
    assert site.fitted.size == 0
    named = fitted(undone(CONTROL), apply=True, pairs=(("A", "A"), ("B", "B")))
    assert named.fitted.tolist() == [0, 1]
    assert named.measure.column("in_fit").values.tolist() == ["yes", "yes", "no", "no"]


def test_heights_alone() -> None:
    given = GivenFit(about_n_m=N0, about_e_m=E0, shift_z_m=0.3, plan=False)
    shots = [(name, n, e, z - 0.3) for name, n, e, z in CONTROL]
    site = fitted(shots, given=given, apply=True)
    assert site.moved is not None
    np.testing.assert_allclose(site.moved.elevation_m, 10.0, atol=1e-12)
    np.testing.assert_array_equal(site.moved.easting_m, [row[2] for row in CONTROL])
    assert site.moved.budget is not None
    assert site.moved.budget.turn_rad == 0.0


def test_plan_alone_leaves_heights_as_measured() -> None:
    site = fitted(undone(CONTROL), given=replace(GIVEN, shift_z_m=None, rise_n=0.0, rise_e=0.0))
    found = {item.key: item.value for item in site.measure.summary}
    assert found["shift_z"] is None
    assert found["redundancy_height"] is None


def test_a_computed_fit_stated_again_moves_all_the_same() -> None:
    rng = np.random.default_rng(8)
    shots: list[Shot] = [
        (name, n + rng.normal(0.0, 0.01), e + rng.normal(0.0, 0.01), z + rng.normal(0.0, 0.01))
        for name, n, e, z in [*undone(CONTROL), ("P", N0 + 500.0, E0 - 300.0, 12.0)]
    ]
    computed = fit_site(
        SiteFit(where=HERE, name="site_fit", height=HeightFitKind.PLANE, apply=True),
        inputs(measured=points(shots), control=points(CONTROL)),
        job(),
    )
    found = {item.key: item.value for item in computed.measure.summary}
    tilt, towards = found["tilt"], found["tilt_azimuth"]
    assert isinstance(tilt, float)
    assert isinstance(towards, float)
    numbers = {key: value for key, value in found.items() if isinstance(value, float)}
    middle = np.mean([row[1:] for row in shots[:4]], axis=0)
    given = GivenFit(
        about_n_m=float(middle[0]),
        about_e_m=float(middle[1]),
        scale=1.0 + numbers["scale_ppm"] * 1e-6,
        rotation_rad=numbers["rotation_deg"],
        shift_n_m=numbers["shift_n"],
        shift_e_m=numbers["shift_e"],
        shift_z_m=numbers["shift_z"],
        rise_n=math.tan(tilt) * math.cos(towards),
        rise_e=math.tan(tilt) * math.sin(towards),
    )
    stated = fitted(shots, given=given, apply=True)
    assert computed.moved is not None
    assert stated.moved is not None
    for key in ("northing_m", "easting_m", "elevation_m"):
        ours, theirs = getattr(stated.moved, key), getattr(computed.moved, key)
        np.testing.assert_allclose(ours, theirs, atol=1e-8)
