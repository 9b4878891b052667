"""Marks that were shot more than once."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from checker.checks.repeats import measure_repeats
from checker.errors import InputError
from checker.model.job import Repeats, Selection
from checker.model.measure import Measure
from checker.model.points import Points, SigmaBudget
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from tests.support.points import HERE, inputs, job, points, texts, tolerance

NAN = np.nan
LIMIT = tolerance(horizontal=0.03, vertical=0.03)
ROWS = [
    ("1", 0.0, 0.0, 1.0),
    ("2", 50.0, 0.0, 1.0),
    ("1", 0.003, 0.004, 1.01),
    ("1", 0.0, 0.05, NAN),
    ("", 9.0, 9.0, 1.0),
    ("", 9.0, 9.0, 1.0),
]


def run(shots: Points, **options: Any) -> Measure:
    of_job = {key: options.pop(key) for key in ("exclude", "unit") if key in options}
    fields: dict[str, Any] = {"tolerance": LIMIT, "measured": Selection(), **options}
    section = Repeats(where=HERE, name="again", **fields)
    return measure_repeats(section, inputs(measured=shots), job(section, **of_job))


def cells(measure: Measure, key: str) -> list[Any]:
    values: list[Any] = measure.column(key).values.tolist()
    return values


def reasons(measure: Measure, shots: int = 6) -> list[str]:
    found: list[str] = judge(measure, texts([""] * shots), LengthUnit.METRE).row_reason.tolist()
    return found


def test_the_later_minus_the_first() -> None:
    measure = run(points(ROWS, sigma=(0.003, 0.004, 0.01)))
    assert measure.id.tolist() == ["1", "1"]
    assert measure.shots.tolist() == [[2, 0], [3, 0]]
    assert measure.used.tolist() == [0, 2, 3]
    assert cells(measure, "count") == [3.0, 3.0]
    np.testing.assert_allclose(cells(measure, "dn"), [0.003, 0.0])
    np.testing.assert_allclose(cells(measure, "de"), [0.004, 0.05])
    np.testing.assert_allclose(cells(measure, "dz"), [0.01, NAN])
    np.testing.assert_allclose(cells(measure, "horizontal"), [0.005, 0.05])
    np.testing.assert_allclose(cells(measure, "sigma_h"), 0.005 * np.sqrt(2))
    np.testing.assert_allclose(cells(measure, "sigma_z"), 0.01 * np.sqrt(2))
    assert reasons(measure) == [
        "",
        "horizontal 50 mm, limit 30 mm; no elevation was measured",
    ]
    assert "moved" in measure.remarks[0]


def test_the_first_is_the_earliest_where_times_are_shown() -> None:
    time = ["2031-04-17T15:00", "2031-04-17T08:00"]
    measure = run(points([("1", 0.0, 0.0, 0.0), ("1", 0.1, 0.0, 0.0)], time=time))
    assert cells(measure, "dn") == [-0.1]
    assert cells(measure, "apart_h") == [7.0]


@pytest.mark.parametrize(
    ("times", "text"),
    [
        (("2031-04-17T08:00", "2031-04-17T12:00"), ""),
        (("2031-04-17T08:00", "2031-04-17T08:18"), "shot again after 18.0 min, 4.0 h asked"),
        (("2031-04-17T08:00", "NaT"), "the times of the shots are not shown"),
    ],
)
def test_shots_that_follow_too_soon_are_undecided(times: tuple[str, str], text: str) -> None:
    rows = [("1", 0.0, 0.0, 0.0), ("1", 0.0, 0.0, 0.0)]
    measure = run(points(rows, time=times), apart_s=4 * 3600.0)
    assert measure.undecided.tolist() == [text]
    assert reasons(measure, 2) == [text]


def test_without_times_no_time_can_be_proven() -> None:
    assert run(points(ROWS), apart_s=60.0).undecided[0] == "the times of the shots are not shown"
    assert np.isnan(cells(run(points(ROWS)), "apart_h")).all()


def test_shots_too_soon_that_disagree_are_outside_all_the_same() -> None:
    times = ["2031-04-17T08:00", "2031-04-17T08:01"]
    rows = [("1", 0.0, 0.0, 0.0), ("1", 0.5, 0.0, 0.0)]
    measure = run(points(rows, time=times), apart_s=3600.0)
    finding = judge(measure, texts(["", ""]), LengthUnit.METRE)
    assert finding.verdict.word == "outside"
    assert finding.row_reason[0] == (
        "horizontal 500 mm, limit 30 mm; shot again after 1.0 min, 1.0 h asked"
    )


def test_the_same_session_and_the_same_sky_are_said() -> None:
    rows = [("1", 0.0, 0.0, 0.0)] * 3
    time = ["2031-04-17T08:00", "2031-04-17T09:00", "2031-04-18T07:56"]
    measure = run(points(rows, time=time, session=texts(["a", "a", "b"])))
    assert measure.said.tolist() == [
        "same session as the first shot",
        "at the first shot's time of the sidereal day",
    ]


@pytest.mark.parametrize(
    ("apart_s", "undecided"),
    [(None, [False, False, False]), (600.0, [True, False, False]), (14400.0, [True, True, False])],
)
def test_the_time_apart_is_judged_modulo_the_sidereal_day(
    apart_s: float | None, undecided: list[bool]
) -> None:
    """A day later to the minute, a quarter of an hour off it, and two hours off it."""
    time = [f"2031-04-{day}T{clock}" for day, clock in ((17, "08:00"), (18, "07:56"))]
    time += ["2031-04-20T07:33", "2031-04-18T10:00"]  # three days later: 11 min 48 s earlier
    measure = run(points([("1", 0.0, 0.0, 0.0)] * 4, time=sorted(time)), apart_s=apart_s)
    order = np.argsort([cells(measure, "apart_h")[k] for k in range(3)])
    assert order.tolist() == [0, 1, 2]
    found = {round(cells(measure, "apart_h")[k], 1): measure.undecided[k] for k in range(3)}
    same_day, off, far = found[23.9], found[71.5], found[26.0]
    assert [bool(same_day), bool(off), bool(far)] == undecided
    if undecided[0]:
        assert "the satellites stand as before" in same_day
        assert measure.said[0] == ""


def test_marks_by_distance() -> None:
    rows = [
        ("a", 0.0, 0.0, 1.0),
        ("b", 0.02, 0.0, 1.0),
        ("c", 0.045, 0.0, 1.0),
        ("d", 9.0, 0.0, 1.0),
    ]
    measure = run(points(rows), within_m=0.03)
    # c stands near b, but not near a, the first of the group
    assert measure.id.tolist() == ["a"]
    assert cells(measure, "later_id") == ["b"]
    wide = run(points(rows), within_m=0.05)
    assert cells(wide, "later_id") == ["b", "c"]


def test_no_repeats_is_unchecked() -> None:
    measure = run(points(ROWS[:2]))
    finding = judge(measure, texts(["", ""]), LengthUnit.METRE)
    assert (finding.verdict.word, finding.reason) == (
        "unchecked",
        "no mark was shot more than once",
    )
    assert measure.column("dn").values.shape == (0,)


def test_selection_and_exclusion() -> None:
    only = run(points(ROWS), measured=Selection(ids=("2",)))
    assert len(only.id) == 0
    excluded = run(points([*ROWS[:3], ("2", 50.0, 0.0, 1.0)]), exclude=[("1", "moved")])
    assert excluded.id.tolist() == ["2"]
    with pytest.raises(InputError):
        run(points(ROWS), measured=Selection(ids=("9",)))


def test_a_doubt_about_either_shot_is_a_doubt_about_the_repeat() -> None:
    measure = run(points(ROWS[:3]))
    finding = judge(measure, texts(["pdop not shown", "", ""]), LengthUnit.METRE)
    assert finding.row_reason.tolist() == ["pdop not shown"]
    assert finding.row_verdict.tolist() == [2]


def test_pooled_deviation_against_numpy() -> None:
    rng = np.random.default_rng(5)
    base = 512000.0
    rows = [
        (str(mark), base + rng.normal(), 618000.0, float(rng.normal()))
        for mark in (1, 1, 2, 2, 2, 3)
    ]
    found = {item.key: item.value for item in run(points(rows)).summary}
    n = np.array([row[1] for row in rows])
    squares = sum(part.var() * len(part) for part in (n[:2], n[2:5]))
    assert found["sd_n"] == pytest.approx(np.sqrt(squares / 3), rel=1e-6)
    assert found["sd_e"] == pytest.approx(0.0, abs=1e-9)
    assert (found["marks"], found["shots"]) == (2, 5)


# ---------------------------------------------------------------- evidence


def pairs(count: int, spread: float, sigma: float, seed: int = 1) -> Points:
    """Return marks shot twice, on two sessions, with noise of that spread."""
    rng = np.random.default_rng(seed)
    rows = [
        (
            str(mark),
            10.0 * mark + rng.normal(0, spread),
            rng.normal(0, spread),
            rng.normal(0, spread),
        )
        for _ in range(2)
        for mark in range(count)
    ]
    return points(
        rows,
        sigma=(sigma, sigma, sigma),
        session=texts(["a"] * count + ["b"] * count),
        base=texts(["B1"] * (2 * count)),
        pole_m=np.full(2 * count, 2.0),
    )


def test_scatter_against_the_stored_sigmas() -> None:
    honest = run(pairs(20, 0.01, 0.01))
    assert any("Plan" in text and "no contradiction" in text for text in honest.remarks)
    proud = run(pairs(20, 0.03, 0.01))
    (text,) = (each for each in proud.remarks if each.startswith("Plan"))
    assert "state sigma_factor = " in text
    assert 2.0 < float(text.split("sigma_factor = ")[1].split(" ")[0]) < 4.0
    found = {item.key: item.value for item in proud.summary}
    low, s, high = (float(found[key] or 0.0) for key in ("sd_n_low", "sd_n", "sd_n_high"))
    assert low < s < high
    assert found["predicted_n"] == pytest.approx(0.01)
    assert found["degrees_of_freedom"] == 20.0


def test_one_bad_mark_is_named_instead_of_a_factor_for_all() -> None:
    good = pairs(20, 0.01, 0.01)
    north = good.northing_m.copy()
    north[23] += 0.3  # the second shot of mark 3
    bad = run(replace(good, northing_m=north))
    (text,) = (each for each in bad.remarks if each.startswith("Plan"))
    name = str(good.id[23])
    assert f"{name} alone does it: without it they scatter with " in text
    assert "sigma_factor" not in text
    # what is left is what the others alone give
    keep = np.arange(20) != 3
    apart = [(axis[20:] - axis[:20])[keep] for axis in (north, good.easting_m)]
    plan = np.sqrt(np.mean([np.mean(each**2) / 2.0 for each in apart]))
    assert f"scatter with {1000.0 * plan:.1f} mm" in text
    # two bad marks are no lone one
    north[25] += 0.3
    both = run(replace(good, northing_m=north))
    (text,) = (each for each in both.remarks if each.startswith("Plan"))
    assert "No mark does it alone: state sigma_factor = " in text


def test_the_chance_of_a_larger_difference() -> None:
    rows = [("1", 0.0, 0.0, 0.0), ("1", 0.02, 0.0, 0.02)]
    measure = run(points(rows, sigma=(0.01, 0.01, 0.01)))
    # 2 sigma of one shot is sqrt(2) sigma of a difference: exp(-1), and 2 (1 - Phi(sqrt 2))
    assert cells(measure, "chance_plan") == pytest.approx([np.exp(-1.0)])
    assert cells(measure, "chance_height") == pytest.approx([0.15729920705], abs=1e-9)
    assert np.isnan(cells(run(points(rows)), "chance_plan")).all()


def test_what_the_shots_share_is_named() -> None:
    measure = run(pairs(3, 0.01, 0.01))
    assert cells(measure, "shared") == ["base, pole"] * 3
    assert any(
        text.startswith("3 of 3 repeats were shot with the same base") for text in measure.remarks
    )
    assert any("the same pole" in text for text in measure.remarks)


def test_coverage_and_sample_plan() -> None:
    rows = [(str(mark), 10.0 * mark, 0.0, 0.0) for mark in range(24)]
    again = [(str(mark), 10.0 * mark, 0.0, 0.0) for mark in range(0, 24, 4)]
    measure = run(points([*rows, *again]))
    found = {item.key: item.value for item in measure.summary}
    assert found["single"] == 18
    # by the hypergeometric distribution: 15 of 24 for 95 % against more than 10 % (3 or more) bad
    assert found["to_repeat"] == 9
    (plan,) = (text for text in measure.remarks if text.startswith("Sample plan"))
    assert "15 must be looked at and all agree; 9 more" in plan
    listed = plan.split("spread over the work: ")[1].split(".")[0].split(", ")
    assert len(listed) == 9
    assert not set(listed) & {row[0] for row in again}
    enough = run(points([*rows, *again]), share=0.4)
    assert any("enough to be 95 % sure" in text for text in enough.remarks)


def test_check_shots_are_no_stakes_without_a_second_look() -> None:
    rows = [("1", 0.0, 0.0, 0.0), ("1", 0.0, 0.0, 0.0), ("CP1", 9.0, 9.0, 0.0)]
    section = Repeats(where=HERE, name="again", measured=Selection())
    known = points([("CP1", 9.0, 9.0, 0.0)])
    measure = measure_repeats(section, inputs(measured=points(rows), control=known), job(section))
    assert {item.key: item.value for item in measure.summary}["single"] == 0


def test_the_control_is_common_to_both_shots() -> None:
    shots = pairs(3, 0.01, 0.01)
    budget = SigmaBudget(control_h_m=0.5, control_z_m=0.5)
    measure = run(replace(shots, budget=budget))
    np.testing.assert_allclose(cells(measure, "sigma_z"), 0.01 * np.sqrt(2.0))


def test_a_shot_that_stands_apart_from_the_others_of_its_mark() -> None:
    heights = [10.0, 10.002, 10.31, 9.999, 10.001]
    rows = [("A", 0.001 * k, 0.0007 * k * k, z) for k, z in enumerate(heights)]
    measure = run(points([*rows, ("B", 50.0, 0.0, 1.0), ("B", 50.0, 0.4, 1.0)]), tolerance=None)
    (text,) = (each for each in measure.remarks if "Dixon" in each)
    assert "of its mark: A. Shot points.csv:4 stands apart" in text
    assert "in height (r10 0.99 over 0.82)" in text
    said = reasons(measure, 7)
    assert "stands apart from the other shots of the mark in height" in said[1]
    assert not any("apart from" in each for k, each in enumerate(said) if k != 1)


def test_the_first_shot_may_be_the_odd_one() -> None:
    rows = [("A", 0.0, 0.0, z) for z in (10.4, 10.002, 10.0, 9.999)]
    measure = run(points(rows))
    (text,) = (each for each in measure.remarks if "Dixon" in each)
    assert "Shot points.csv:2 stands apart" in text


def test_three_shots_of_which_two_are_equal_as_written_are_no_evidence() -> None:
    measure = run(points([("A", 0.0, 0.0, z) for z in (10.0, 10.0, 10.003)]))
    assert not any("Dixon" in each for each in measure.remarks)


def test_correlated_axes_are_in_the_chance_of_a_repeat() -> None:
    """Along the long axis of the ellipse a difference is likelier than across it."""
    rows = [("A", 0.0, 0.0, 1.0), ("A", 0.01, 0.01, 1.0), ("B", 50.0, 0.0, 1.0)]
    rows += [("B", 50.01, -0.01, 1.0)]
    correlated = np.full(4, 0.8)
    shots = points(rows, sigma=(0.006, 0.006, 0.01), correlation_ne=correlated)
    along, across = cells(run(shots), "chance_plan")
    covariance = 2.0 * 0.006**2 * np.array([[1.0, 0.8], [0.8, 1.0]])
    for found, offset in ((along, [0.01, 0.01]), (across, [0.01, -0.01])):
        q = float(np.array(offset) @ np.linalg.inv(covariance) @ np.array(offset))
        assert found == pytest.approx(np.exp(-0.5 * q), rel=1e-9)
    assert along > across
