"""The site fit: parameters, residuals, what it says of itself, and what it does to the points."""

import math
from typing import Any

import numpy as np
import pytest

from checker.checks.control import measure_control
from checker.checks.site_fit import FittedSite, fit_site
from checker.errors import InputError
from checker.model.finding import Finding, Verdict
from checker.model.frame import SiteFrame
from checker.model.job import ControlInput, HeightFitKind, PlanFit, SiteFit
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from checker.verdicts.site_fit import fit_doubts
from tests.support.points import HERE, Shot, inputs, job, points, texts, tolerance

N0, E0 = 512000.0, 618000.0
CORNERS = [("A", 0.0, 0.0), ("B", 0.0, 300.0), ("C", 200.0, 300.0), ("D", 200.0, 0.0)]
CONTROL: list[Shot] = [(name, N0 + n, E0 + e, 10.0) for name, n, e in CORNERS]


def measured_by(
    rows: list[Shot], scale_ppm: float, turn_deg: float, shift: tuple[float, float, float]
) -> list[Shot]:
    """Return where points are measured that a similarity then takes to where they should be."""
    factor = 1.0 + scale_ppm * 1e-6
    turn = math.radians(turn_deg)
    found = []
    for name, n, e, z in rows:
        # undo: azimuths grow by the rotation, so a measured direction is smaller by it
        away, azimuth = math.hypot(n - N0, e - E0) / factor, math.atan2(e - E0, n - N0) - turn
        north = N0 + away * math.cos(azimuth) - shift[0]
        found.append((name, north, E0 + away * math.sin(azimuth) - shift[1], z - shift[2]))
    return found


def fitted(
    shots: list[Shot],
    known: list[Shot] | None = None,
    *,
    design: list[Shot] | None = None,
    frame: SiteFrame | None = None,
    exclude: list[tuple[str, str]] | None = None,
    **keys: Any,
) -> FittedSite:
    section = SiteFit(where=HERE, name="site_fit", **keys)
    given = inputs(
        measured=points(shots),
        control=points(CONTROL if known is None else known),
        design=None if design is None else points(design),
    )
    return fit_site(section, given, job(exclude=exclude or ()), frame)


def judged(site: FittedSite) -> Finding:
    return judge(site.measure, texts([""] * 50), LengthUnit.METRE)


def summary(site: FittedSite) -> dict[str, Any]:
    return {item.key: item.value for item in site.measure.summary}


def values(site: FittedSite, key: str) -> list[float]:
    return [float(value) for value in site.measure.column(key).values.tolist()]


def test_a_known_similarity_comes_back() -> None:
    shots = measured_by(CONTROL, 40.0, 0.01, (0.5, -0.3, 0.1))
    found = summary(fitted(shots))
    assert found["scale_ppm"] == pytest.approx(40.0, abs=1e-4)
    assert math.degrees(found["rotation_deg"]) == pytest.approx(0.01, abs=1e-7)
    assert found["shift_z"] == pytest.approx(0.1, abs=1e-9)
    middle = np.mean([[row[1], row[2]] for row in CONTROL], axis=0)
    moved = middle - np.mean([[row[1], row[2]] for row in shots], axis=0)
    assert [found["shift_n"], found["shift_e"]] == pytest.approx(moved.tolist(), abs=1e-9)
    assert (found["redundancy_plan"], found["redundancy_height"], found["marks"]) == (4, 3, 4)
    assert found["sd_scale_ppm"] == pytest.approx(0.0, abs=1e-4)


def test_residuals_are_fitted_minus_control() -> None:
    shots = [*CONTROL[:3], ("D", N0 + 200.0, E0, 10.4)]
    site = fitted(shots, plan=PlanFit.SHIFT, height=HeightFitKind.SHIFT)
    assert values(site, "dz") == pytest.approx([-0.1, -0.1, -0.1, 0.3])
    # left out, the mark misses by its whole error
    assert values(site, "left_out_z")[3] == pytest.approx(0.4)
    shots = [*CONTROL[:3], ("D", N0 + 200.0, E0 + 0.08, 10.0)]
    site = fitted(shots, plan=PlanFit.SHIFT)
    assert values(site, "de") == pytest.approx([-0.02, -0.02, -0.02, 0.06], abs=1e-9)
    assert values(site, "left_out")[3] == pytest.approx(0.08)


def test_one_bad_corner_of_four_shows_on_all_four_alike() -> None:
    bust = 0.381  # a foot and a quarter; the quarter is plain arithmetic
    site = fitted([*CONTROL[:3], ("D", N0 + 200.0, E0, 10.0 + bust)], height=HeightFitKind.PLANE)
    assert np.abs(values(site, "dz")).tolist() == pytest.approx([bust / 4.0] * 4)
    assert [abs(each) for each in values(site, "left_out_z")] == pytest.approx([bust] * 4)
    assert values(site, "redundancy_height") == pytest.approx([0.25] * 4)
    assert any("not whose it is" in text for text in site.measure.remarks)


def test_a_plane_through_three_marks_proves_nothing() -> None:
    limit = tolerance(horizontal=0.03, vertical=0.03)
    site = fitted(CONTROL[:3], height=HeightFitKind.PLANE, tolerance=limit)
    finding = judged(site)
    assert finding.verdict is Verdict.UNDECIDED
    assert "a residual of 0 proves nothing" in finding.row_reason[0]
    assert any("A plane through three marks has no residual" in t for t in site.measure.remarks)
    # limited in plan alone, the heights do not matter
    plan_only = fitted(
        CONTROL[:3], height=HeightFitKind.PLANE, tolerance=tolerance(horizontal=0.03)
    )
    assert judged(plan_only).verdict is Verdict.WITHIN


def test_two_marks_always_fit_in_plan() -> None:
    site = fitted(CONTROL[:2], tolerance=tolerance(horizontal=0.03))
    assert judged(site).verdict is Verdict.UNDECIDED
    assert summary(site)["sd_scale_ppm"] is None
    assert any("always fit" in text for text in site.measure.remarks)


def test_a_bust_that_small_residuals_hide_leaves_the_fit_undecided() -> None:
    bust = [*CONTROL[:3], ("D", N0 + 200.0, E0 + 0.08, 10.0)]
    finding = judged(fitted(bust, tolerance=tolerance(horizontal=0.05)))
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.row_reason[3] == "left out of the fit, horizontal 80 mm, limit 50 mm"
    # the residuals themselves all keep the limit
    assert max(np.abs(finding.judgements[0].value)) < 0.05


def test_a_mark_kept_out_of_the_fit_is_a_real_proof() -> None:
    shots = [*CONTROL[:3], ("D", N0 + 200.05, E0, 10.0)]
    pairs = (("A", "A"), ("B", "B"), ("C", "C"))
    site = fitted(shots, pairs=pairs, tolerance=tolerance(horizontal=0.03))
    assert site.measure.id.tolist() == ["A", "B", "C", "D"]
    assert site.measure.column("in_fit").values.tolist() == ["yes", "yes", "yes", "no"]
    assert values(site, "horizontal")[3] == pytest.approx(0.05, abs=1e-6)
    assert judged(site).row_verdict.tolist() == [0, 0, 0, Verdict.OUTSIDE]
    assert site.fitted.tolist() == [0, 1, 2]


def test_pairs_bring_other_numbers_together_and_shots_are_averaged() -> None:
    shots = [("1", N0, E0, 9.9), ("1", N0, E0, 10.1), ("2", N0 + 100.0, E0, 10.0)]
    site = fitted(
        shots, pairs=(("1", "A"), ("2", "D")), plan=PlanFit.SHIFT, height=HeightFitKind.NONE
    )
    assert site.measure.id.tolist() == ["A", "D"]
    assert site.measure.shots.tolist() == [[0, 1], [2, -1]]
    assert values(site, "measured_z") == pytest.approx([10.0, 10.0])


def test_an_excluded_shot_is_not_in_the_fit() -> None:
    shots = [*CONTROL, ("A", N0 + 9.0, E0, 10.0)]
    site = fitted(shots[1:], exclude=[("A", "wrong mark")])
    assert site.measure.id.tolist() == ["B", "C", "D"]


def test_the_fit_moves_every_point_when_it_is_applied() -> None:
    stake: Shot = ("7", N0 + 50.0, E0 + 60.0, 11.0)
    shots = measured_by([*CONTROL, stake], 60.0, -0.02, (1.0, 2.0, 0.3))
    site = fitted(shots, apply=True)
    assert site.moved is not None
    assert site.moved.northing_m[4] == pytest.approx(stake[1], abs=1e-7)
    assert site.moved.easting_m[4] == pytest.approx(stake[2], abs=1e-7)
    assert site.moved.elevation_m[4] == pytest.approx(11.0, abs=1e-9)
    assert site.measure.remarks[0].startswith("This fit was applied")
    assert "no independent check shots" in site.measure.remarks[1]
    assert fitted(shots).moved is None


def test_fitted_marks_prove_no_control_afterwards() -> None:
    section = ControlInput(
        where=HERE, file="c.csv", unit=LengthUnit.METRE, tolerance=tolerance(horizontal=0.03)
    )
    given = inputs(measured=points(CONTROL), control=points(CONTROL))
    every = measure_control(section, given, job(), np.arange(4))
    assert every is not None
    finding = judge(every, texts([""] * 4), LengthUnit.METRE)
    assert finding.verdict is Verdict.UNCHECKED
    assert finding.row_reason[0] == "in the site fit: no independent proof"
    some = measure_control(section, given, job(), np.arange(3))
    assert some is not None
    assert judge(some, texts([""] * 4), LengthUnit.METRE).verdict is Verdict.WITHIN


def test_a_failed_fit_that_was_applied_doubts_all() -> None:
    bad = [*CONTROL[:3], ("D", N0 + 200.5, E0, 10.0)]
    finding = judged(fitted(bad, tolerance=tolerance(horizontal=0.03), apply=True))
    assert finding.verdict is Verdict.OUTSIDE
    doubts = fit_doubts(finding, 3).tolist()
    assert all(text.startswith("site fit in doubt: ") for text in doubts)
    assert fit_doubts(None, 2).tolist() == ["", ""]
    unjudged = judged(fitted(bad))
    assert unjudged.verdict is Verdict.UNCHECKED
    assert fit_doubts(unjudged, 2).tolist() == ["", ""]


def test_a_tilt_is_found_with_its_direction() -> None:
    shots = [(name, n, e, z - 20e-6 * (e - E0)) for name, n, e, z in CONTROL]
    found = summary(fitted(shots, height=HeightFitKind.PLANE))
    assert found["tilt"] == pytest.approx(20e-6, rel=1e-6)
    assert found["tilt_ppm"] == pytest.approx(20.0, rel=1e-6)
    assert math.degrees(found["tilt_azimuth"]) == pytest.approx(90.0, abs=1e-4)


def test_stakes_beyond_the_marks_are_named() -> None:
    noisy = [(n, a + 0.01 * (-1) ** i, b, c) for i, (n, a, b, c) in enumerate(CONTROL)]
    design: list[Shot] = [("in", N0 + 50.0, E0 + 50.0, 0.0), ("far", N0 + 260.0, E0 + 50.0, 0.0)]
    site = fitted(noisy, design=design)
    (text,) = (each for each in site.measure.remarks if "extrapolated" in each)
    assert text.startswith("1 of 2 design points lie outside")
    assert "far farthest, by 60.0000 m" in text
    assert "one standard deviation by these residuals" in text


FRAME = SiteFrame(
    crs="a grid",
    title="a grid",
    datum="",
    projection="",
    area="",
    unit="metre",
    latitude_rad=0.7,
    longitude_rad=0.1,
    scale=0.99992,
    scale_low=0.99992,
    scale_high=0.99992,
    convergence_rad=math.radians(0.29),
    elevation_m=0.0,
    elevation_factor=1.0,
    combined_factor=0.99992,
    extent_m=300.0,
    ground_less_grid_m=0.024,
    stated_factor=None,
    stated_less_found_m=math.nan,
)


@pytest.mark.parametrize(
    ("scale", "turn", "said"),
    [
        (0.0, 0.0, ("none, as from grid to grid", "none, as from grid to grid")),
        (80.0, 0.29, ("that from grid to ground", "the convergence")),
        (-80.0, -0.29, ("that from ground to grid", "the convergence the other way")),
        (900.0, 3.0, ("explained by nothing", "explained by nothing")),
    ],
)
def test_scale_and_rotation_against_the_projection(
    scale: float, turn: float, said: tuple[str, str]
) -> None:
    noise = [0.003, -0.003, 0.003, -0.003]
    shots = [
        (name, n + noise[i], e, z)
        for i, (name, n, e, z) in enumerate(measured_by(CONTROL, scale, turn, (0, 0, 0)))
    ]
    remarks = fitted(shots, frame=FRAME).measure.remarks
    (of_scale,) = (text for text in remarks if text.startswith("Scale"))
    (of_turn,) = (text for text in remarks if text.startswith("Rotation"))
    assert said[0] in of_scale
    assert said[1] in of_turn


@pytest.mark.parametrize(
    ("keys", "shots", "message"),
    [
        ({"pairs": (("A", "Z"),)}, CONTROL, '"Z": no control point'),
        ({"pairs": (("Z", "A"),)}, CONTROL, '"Z": no as-measured point'),
        ({}, [("7", 0.0, 0.0, 0.0)], "no as-measured point carries the id"),
        ({}, CONTROL[:1], "plan cannot be fitted"),
        ({"height": HeightFitKind.PLANE}, CONTROL[:2], "height cannot be fitted"),
        (
            {"height": HeightFitKind.SHIFT},
            [(n, a, b, math.nan) for n, a, b, _ in CONTROL],
            "height cannot be fitted",
        ),
    ],
)
def test_what_cannot_be_fitted_is_a_fault(
    keys: dict[str, Any], shots: list[Shot], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        fitted(shots, **keys)


def test_no_control_is_a_fault() -> None:
    section = SiteFit(where=HERE, name="site_fit")
    with pytest.raises(InputError, match="the job has none"):
        fit_site(section, inputs(measured=points(CONTROL)), job())


def test_turning_everything_changes_no_residual() -> None:
    rng = np.random.default_rng(3)
    shots = [
        (name, n + rng.normal(0, 0.02), e + rng.normal(0, 0.02), z) for name, n, e, z in CONTROL
    ]
    still = fitted(shots)
    cos, sin = math.cos(1.0), math.sin(1.0)

    def turned(rows: list[Shot]) -> list[Shot]:
        return [(name, n * cos - e * sin, n * sin + e * cos, z) for name, n, e, z in rows]

    moved = fitted(turned(shots), turned(CONTROL))
    assert values(moved, "horizontal") == pytest.approx(values(still, "horizontal"), abs=1e-7)
    assert values(moved, "left_out") == pytest.approx(values(still, "left_out"), abs=1e-7)


def test_the_measure_keeps_what_was_moved_apart() -> None:
    site = fitted(measured_by(CONTROL, 0.0, 0.0, (0.5, 0.0, 0.0)), apply=True)
    assert site.moved is not None
    assert site.moved.northing_m[0] == pytest.approx(N0)
    assert values(site, "measured_n")[0] == pytest.approx(N0 - 0.5)


def test_nothing_is_left_out_of_what_was_not_fitted() -> None:
    shots = [(name, n + 0.03, e, z - 0.2) for name, n, e, z in CONTROL]
    shots[0] = (shots[0][0], shots[0][1], shots[0][2], shots[0][3] + 0.04)
    remarks = fitted(shots, plan=PlanFit.NONE).measure.remarks
    said = [text for text in remarks if text.startswith("Left out of the fit")]
    assert len(said) == 1
    assert "in height" in said[0]
