"""As-measured points against design points."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from checker.checks.stakeout import measure_stakeout
from checker.errors import InputError
from checker.model.finding import Finding
from checker.model.job import Match, Rule, Selection, Stakeout
from checker.model.measure import Measure, Quantity
from checker.model.points import Points
from checker.units import LengthUnit, SigmaLevel
from checker.verdicts.judge import judge
from tests.support.points import HERE, inputs, job, points, stakeout, texts, tolerance

NAN = np.nan
LIMIT = tolerance(horizontal=0.03, vertical=0.02)
DESIGN = points(
    [
        ("101", 1000.0, 500.0, 10.0),
        ("102", 1000.0, 510.0, 10.0),
        ("103", 1010.0, 500.0, NAN),
        ("104", 1010.0, 510.0, 10.0),
    ],
    layer=["PAD", "PAD", "PAD", "FENCE"],
    description="corner",
)


def run(
    shots: Points,
    *,
    design: Points = DESIGN,
    control: Points | None = None,
    section: Stakeout | None = None,
    **of_job: Any,
) -> Measure:
    section = section or stakeout(limit=LIMIT)
    data = inputs(design=design, measured=shots, control=control)
    return measure_stakeout(section, data, job(section, **of_job))


def judged(measure: Measure, shots: int) -> Finding:
    return judge(measure, texts([""] * shots), LengthUnit.METRE)


def cells(measure: Measure, key: str) -> list[Any]:
    values: list[Any] = measure.column(key).values.tolist()
    return values


def summary(measure: Measure) -> dict[str, Any]:
    return {item.key: item.value for item in measure.summary}


ALL_FOUR = [
    ("101", 1000.003, 500.004, 10.010),
    ("102", 1000.0, 510.0, 9.990),
    ("103", 1010.0, 500.0, 10.0),
    ("104", 1010.0, 509.9, NAN),
]


def test_deltas_are_as_measured_minus_design() -> None:
    measure = run(points(ALL_FOUR, sigma=(0.003, 0.004, 0.01)))
    assert measure.id.tolist() == ["101", "102", "103", "104"]
    np.testing.assert_allclose(cells(measure, "dn"), [0.003, 0.0, 0.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(cells(measure, "de"), [0.004, 0.0, 0.0, -0.1], atol=1e-9)
    np.testing.assert_allclose(cells(measure, "dz"), [0.01, -0.01, NAN, NAN], atol=1e-9)
    np.testing.assert_allclose(cells(measure, "horizontal"), [0.005, 0.0, 0.0, 0.1], atol=1e-9)
    bearing = np.degrees(cells(measure, "bearing"))
    np.testing.assert_allclose(bearing, [53.1301, NAN, NAN, 270.0], atol=1e-4)
    np.testing.assert_allclose(cells(measure, "sigma_h"), 0.005)
    np.testing.assert_allclose(cells(measure, "cut_fill"), cells(measure, "dz"))
    assert measure.column("cut_fill").quantity is Quantity.CUT_FILL
    assert cells(measure, "layer") == ["PAD", "PAD", "PAD", "FENCE"]
    assert measure.shots.tolist() == [[0], [1], [2], [3]]
    assert measure.used.tolist() == [0, 1, 2, 3]


def test_every_row_key_of_the_contract_is_there() -> None:
    keys = {column.key for column in run(points(ALL_FOUR)).columns}
    assert keys >= {
        "design_n",
        "design_e",
        "design_z",
        "measured_n",
        "measured_e",
        "measured_z",
        "dn",
        "de",
        "dz",
        "horizontal",
        "bearing",
        "along",
        "across",
        "cut_fill",
        "station",
        "offset",
        "sigma_h",
        "sigma_z",
        "superseded",
    }


def test_missing_elevations_are_no_pass() -> None:
    finding = judged(run(points(ALL_FOUR)), 4)
    assert finding.row_reason.tolist() == [
        "",
        "",
        "the design gives no elevation",
        "horizontal 100 mm, limit 30 mm; no elevation was measured",
    ]
    assert finding.row_verdict.tolist() == [0, 0, 1, 3]


def test_summary() -> None:
    found = summary(run(points(ALL_FOUR)))
    assert (found["points"], found["staked"], found["missing"], found["extra"]) == (4, 4, 0, 0)
    assert found["mean_n"] == pytest.approx(0.00075)
    assert found["mean_z"] == pytest.approx(0.0, abs=1e-9)
    assert found["rms_z"] == pytest.approx(0.01)
    assert found["max_horizontal"] == pytest.approx(0.1)
    assert found["max_abs_z"] == pytest.approx(0.01)


def test_summary_of_nothing_has_no_numbers() -> None:
    found = summary(run(points([("x", 0.0, 0.0, 0.0)])))
    assert (found["staked"], found["missing"]) == (0, 4)
    assert found["mean_n"] is None
    assert found["max_abs_z"] is None


def test_design_points_without_a_shot() -> None:
    measured = points(ALL_FOUR[:2])
    whole = run(measured)
    assert whole.unchecked.tolist() == ["", "", "not staked", "not staked"]
    assert whole.counted.tolist() == [True] * 4
    part = run(measured, section=stakeout(limit=LIMIT, complete=False))
    assert part.unchecked.tolist()[2:] == ["not staked yet"] * 2
    assert part.counted.tolist() == [True, True, False, False]
    assert judged(part, 2).verdict.word == "within"


@pytest.mark.parametrize(("wanted", "shot"), [("SC-4", "sc-004"), ("A 7", "a7"), ("07", "7")])
def test_a_number_that_differs_only_in_writing_is_named(wanted: str, shot: str) -> None:
    measure = run(points([(shot, 0.0, 0.0, 0.0)]), design=points([(wanted, 0.0, 0.0, 0.0)]))
    assert measure.unchecked.tolist() == [
        f'not staked; shot "{shot}" differs only in case, blanks or leading zeros'
    ]


def test_zeros_behind_a_digit_matter() -> None:
    measure = run(points([("17", 0.0, 0.0, 0.0)]), design=points([("107", 0.0, 0.0, 0.0)]))
    assert measure.unchecked.tolist() == ["not staked"]


def test_blanks_around_a_number_do_not_matter() -> None:
    measure = run(points([(" 101 ", 1000.0, 500.0, 10.0)]))
    assert measure.unchecked[0] == ""


def test_the_latest_shot_governs_by_order_where_no_times_are_shown() -> None:
    measured = points([("101", 1000.5, 500.0, 10.0), ("101", 1000.0, 500.0, 10.0)])
    measure = run(measured)
    assert measure.id.tolist()[:2] == ["101", "101"]
    assert measure.shots[:2, 0].tolist() == [1, 0]
    assert cells(measure, "superseded")[:3] == [False, True, False]
    assert measure.counted.tolist()[:2] == [True, False]
    assert measure.said[1] == "staked again later"
    finding = judged(measure, 2)
    assert finding.row_verdict.tolist()[:2] == [0, 3]
    assert summary(measure)["staked"] == 1
    assert summary(measure)["max_horizontal"] == 0.0
    assert measure.used.tolist() == [0, 1]


def test_the_latest_shot_governs_by_time() -> None:
    rows = [("101", 1000.0, 500.0, 10.0), ("101", 1000.5, 500.0, 10.0)]
    late_first = ["2031-04-17T15:00", "2031-04-17T09:00"]
    assert run(points(rows, time=late_first)).shots[0, 0] == 0
    half_shown = ["2031-04-17T15:00", "NaT"]
    assert run(points(rows, time=half_shown)).shots[0, 0] == 1


def test_an_excluded_shot_never_governs_and_stays_visible() -> None:
    measure = run(points(ALL_FOUR), exclude=[("102", "bumped by the loader")])
    assert measure.unchecked[1] == "excluded: bumped by the loader"
    assert measure.counted[1]
    assert cells(measure, "measured_id")[1] == "102"
    assert measure.used.tolist() == [0, 2, 3]
    assert summary(measure)["missing"] == 1


def test_several_excluded_shots_of_one_number_are_each_a_row() -> None:
    measured = points([*ALL_FOUR, ("102", 1000.1, 510.0, 10.0)])
    measure = run(measured, exclude=[("102", "bumped")])
    rows = [row for row, name in enumerate(measure.id.tolist()) if name == "102"]
    assert measure.shots[rows, 0].tolist() == [4, 1]
    assert measure.counted[rows].tolist() == [True, False]
    assert measure.unchecked[rows].tolist() == ["excluded: bumped"] * 2


def test_an_excluded_shot_without_a_design_point_is_shown_where_shots_are_named() -> None:
    measured = points([("101", 1000.0, 500.0, 10.0), ("X9", 1.0, 1.0, 1.0)])
    some = stakeout(limit=LIMIT, measured=Selection(ids=("*",)))
    measure = run(measured, section=some, exclude=[("X9", "practice shot")])
    assert measure.unchecked[-1] == "excluded: practice shot"
    assert not measure.counted[-1]
    assert len(run(measured, exclude=[("X9", "practice shot")]).id) == 4


def test_an_unknown_exclusion_is_a_fault() -> None:
    with pytest.raises(
        InputError, match='exclude: no as-measured point has the id "1O1"'
    ) as caught:
        run(points(ALL_FOUR), exclude=[("1O1", "?")])
    problem = caught.value.problems[0]
    assert (problem.slug, problem.where) == ("exclusion-unknown", HERE)
    assert "101" in problem.hint


def test_extra_shots_are_rows_only_where_the_section_says_which_shots_it_means() -> None:
    measured = points([*ALL_FOUR, ("X9", 1.0, 1.0, 1.0), ("X9", 2.0, 1.0, 1.0)], description="SC")
    assert len(run(measured).id) == 4
    some = stakeout(limit=LIMIT, measured=Selection(descriptions=("sc",)))
    measure = run(measured, section=some)
    assert measure.id.tolist()[4:] == ["X9", "X9"]
    assert measure.unchecked.tolist()[4:] == ["no design point of this number"] * 2
    assert measure.counted.tolist()[4:] == [False, True]  # the earlier one is superseded
    assert cells(measure, "superseded")[4:] == [True, False]
    assert summary(measure)["extra"] == 1
    assert cells(measure, "measured_n")[5] == 2.0
    assert np.isnan(cells(measure, "dn")[5])
    assert measure.used.tolist() == [0, 1, 2, 3]


def test_check_shots_are_never_rows() -> None:
    control = points([("CP1", 0.0, 0.0, 0.0), ("101", 0.0, 0.0, 0.0)])
    measured = points([*ALL_FOUR, ("CP1", 0.0, 0.0, 0.0)])
    some = stakeout(limit=LIMIT, measured=Selection(ids=("*",)))
    measure = run(measured, control=control, section=some)
    assert measure.id.tolist() == ["101", "102", "103", "104"]
    assert measure.remarks == (
        "1 shot carries a control id and is compared with control, not with the design.",
    )


def test_selections_by_layer_description_id_and_file() -> None:
    fence = stakeout(limit=LIMIT, design=Selection(layers=("fen*",)))
    assert run(points(ALL_FOUR), section=fence).id.tolist() == ["104"]
    some = stakeout(limit=LIMIT, design=Selection(ids=("10?",), layers=("pad",)))
    assert run(points(ALL_FOUR), section=some).id.tolist() == ["101", "102", "103"]
    plain = stakeout(limit=LIMIT, design=Selection(descriptions=("CORNER",), files=("*.CSV",)))
    assert len(run(points(ALL_FOUR), section=plain).id) == 4


def test_brackets_in_a_pattern_are_plain_characters() -> None:
    design = points([("A[1]", 0.0, 0.0, 0.0), ("A1", 5.0, 0.0, 0.0)])
    only = stakeout(limit=LIMIT, design=Selection(ids=("A[1]",)))
    assert run(points([("A1", 5.0, 0.0, 0.0)]), design=design, section=only).id.tolist() == ["A[1]"]


def test_a_shot_outside_the_selection_is_said() -> None:
    some = stakeout(limit=LIMIT, measured=Selection(ids=("101", "102")))
    measure = run(points(ALL_FOUR), section=some)
    assert measure.unchecked[2] == (
        "not staked: a shot of this number is not among this section's points"
    )


def fault(**arguments: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        run(points(ALL_FOUR), **arguments)
    return caught.value


def test_a_layer_that_is_not_there_names_those_that_are() -> None:
    section = stakeout(limit=LIMIT, design=Selection(layers=("PADS", "FENCE", "CURB")))
    error = fault(section=section)
    assert [problem.slug for problem in error.problems] == ["layer-unknown"] * 2
    assert error.problems[0].message == 'design: no design point has the layer "PADS"'
    assert error.problems[0].hint == "there are: PAD, FENCE"  # nearest first
    assert error.problems[0].where == HERE


def test_all_faults_of_a_section_are_told_at_once() -> None:
    section = stakeout(
        limit=LIMIT,
        design=Selection(layers=("PADS",)),
        measured=Selection(descriptions=("SC*",)),
    )
    error = fault(section=section, exclude=[("999", "?")])
    assert [problem.slug for problem in error.problems] == [
        "layer-unknown",
        "selection-empty",
        "exclusion-unknown",
    ]


def test_lists_that_no_point_fits_at_once() -> None:
    section = stakeout(limit=LIMIT, design=Selection(ids=("104",), layers=("PAD",)))
    assert "fits all that is asked for" in str(fault(section=section))


def test_one_measured_pattern_may_find_nothing_as_long_as_another_does() -> None:
    section = stakeout(limit=LIMIT, measured=Selection(ids=("101", "later*")))
    assert run(points(ALL_FOUR), section=section).unchecked[0] == ""


def test_a_job_without_points_is_a_fault() -> None:
    section = stakeout(limit=LIMIT)
    with pytest.raises(InputError) as caught:
        measure_stakeout(section, inputs(), job(section))
    assert [problem.slug for problem in caught.value.problems] == ["no-points"] * 2


def test_a_design_number_that_stands_twice_elsewhere_is_a_fault() -> None:
    twice = points([("7", 0.0, 0.0, 1.0), ("7", 0.1, 0.0, 1.0)], file="design.csv")
    error = fault(design=twice)
    assert error.problems[0].slug == "repeated-id"
    assert "design.csv:2 and design.csv:3" in error.problems[0].message


def test_a_design_number_that_stands_twice_at_one_place_is_one_point() -> None:
    twice = points([("7", 0.0, 0.0, NAN), ("7", 0.0, 0.0, 1.0)])
    measure = run(points([("7", 0.0, 0.0, 1.0)]), design=twice)
    assert measure.id.tolist() == ["7"]
    assert cells(measure, "design_z") == [1.0]  # the line that gives an elevation


def test_a_design_point_without_a_number_is_named_by_its_place() -> None:
    design = points([("", 0.0, 0.0, 0.0), ("1", 9.0, 0.0, 0.0)], file="d.csv")
    measure = run(points([("1", 9.0, 0.0, 0.0), ("", 0.0, 0.0, 0.0)]), design=design)
    assert measure.id.tolist() == ["no number: d.csv:2", "1"]
    assert measure.unchecked[0] == "not staked: the design point has no number"


def test_numbers_that_were_mixed_up_are_said() -> None:
    measured = points([("101", 1000.0, 510.0, 10.0), ("102", 1000.0, 500.004, 10.0)])
    measure = run(measured)
    assert measure.said[0] == (
        "nearest design point is 102, at 0.000 m: 101 and 102 seem to carry each other's number"
    )
    assert measure.said[1].startswith("nearest design point is 101, at 0.004 m: 101 and 102")
    single = run(points([("101", 1000.0, 509.9, 10.0)]))
    assert single.said[0] == "nearest design point is 102, at 0.100 m"
    assert run(points(ALL_FOUR)).said.tolist() == [""] * 4


def test_lengths_are_said_in_the_unit_of_the_job() -> None:
    measure = run(points([("101", 1000.0, 510.3048, 10.0)]), unit=LengthUnit.FOOT)
    assert measure.said[0] == "nearest design point is 102, at 1.000 ft"


# ---------------------------------------------------------------- sigmas


def test_sigma_of_each_axis_where_only_the_radial_one_is_shown() -> None:
    measured = points(ALL_FOUR[:1], sigma_h_m=np.array([0.01]))
    horizontal = run(measured).comparisons[0]
    assert horizontal.vector_sigma is not None
    np.testing.assert_allclose(horizontal.vector_sigma[0], 0.01 / np.sqrt(2))
    assert horizontal.sigma is not None
    assert horizontal.sigma[0] == pytest.approx(0.01)


def test_sigmas_stored_at_another_level() -> None:
    level = SigmaLevel(axis=2.0, radial=1.5)
    axes = points(ALL_FOUR[:1], sigma=(0.006, 0.008, 0.02))
    radial = points(ALL_FOUR[:1], sigma_h_m=np.array([0.03]))
    section = stakeout(limit=replace(LIMIT, sigma_level=level, rule=Rule.GUARDED))
    assert cells(run(axes, section=section), "sigma_h")[0] == pytest.approx(0.005)
    assert cells(run(axes, section=section), "sigma_z")[0] == pytest.approx(0.01)
    assert cells(run(radial, section=section), "sigma_h")[0] == pytest.approx(0.02)
    # What the files' own level has already divided is not divided again.
    again = run(axes, section=section, sigma_level=level)
    assert cells(again, "sigma_h")[0] == pytest.approx(0.01)


def test_no_sigma_is_no_number() -> None:
    assert np.isnan(cells(run(points(ALL_FOUR)), "sigma_h")).all()


def test_limits_along_and_across_need_a_line() -> None:
    section = stakeout(limit=tolerance(across=0.02, vertical=0.02))
    finding = judged(run(points(ALL_FOUR), section=section), 4)
    assert finding.row_verdict.tolist() == [1, 1, 1, 2]
    assert finding.row_reason[0] == (
        "across is limited, but there is no alignment to measure it from"
    )


# ---------------------------------------------------------------- by nearness


def near(shots: Points, **arguments: Any) -> Measure:
    keys = ("limit", "within_m", "measured", "complete", "design")
    options = {key: arguments.pop(key) for key in keys if key in arguments}
    points_of_design = options.pop("design", DESIGN)
    section = stakeout(match=Match.NEAREST, **{"limit": LIMIT, **options})
    return run(shots, design=points_of_design, section=section, **arguments)


def test_nearest_finds_design_points_whatever_the_numbers() -> None:
    measured = points(
        [("s4", 1010.01, 510.0, 10.0), ("s1", 1000.0, 500.01, 10.0), ("s2", 1000.0, 510.0, 10.0)]
    )
    measure = near(measured)
    assert measure.id.tolist() == ["101", "102", "103", "104"]
    assert cells(measure, "measured_id") == ["s1", "s2", "", "s4"]
    assert measure.unchecked[2] == "not staked: no shot near enough"
    assert measure.undecided.tolist() == [""] * 4


def test_a_shot_out_of_reach_stands_for_nothing() -> None:
    everything = Selection(ids=("*",))
    measured = points([("a", 1000.0, 494.9, 10.0), ("b", 1000.0, 510.2, 10.0)])
    measure = near(measured, measured=everything)  # half the way to the next is 5 m
    assert measure.unchecked[0] == "not staked: no shot near enough"
    assert measure.unchecked[-1] == ("no design point near enough: the nearest is 101, at 5.100 m")
    wide = near(measured, within_m=5.2)
    assert wide.unchecked[0] == ""
    tight = near(measured, within_m=0.1, measured=everything)
    assert tight.id.tolist()[4:] == ["a", "b"]


def test_a_lone_design_point_takes_its_shot_from_anywhere() -> None:
    measure = near(points([("a", 9000.0, 0.0, 0.0)]), design=points([("1", 0.0, 0.0, 0.0)]))
    assert measure.unchecked.tolist() == [""]
    assert cells(measure, "horizontal") == [9000.0]


def test_a_free_design_point_less_than_twice_as_far_is_a_rival() -> None:
    design = points([("1", 0.0, 0.0, 0.0), ("2", 0.0, 1.0, 0.0)])
    clear = near(points([("a", 0.0, 0.33, 0.0)]), design=design)
    assert clear.undecided.tolist() == ["", ""]
    rival = near(points([("a", 0.0, 0.34, 0.0)]), design=design)
    assert rival.undecided[0] == "could stand for 1 or 2, 0.340 m and 0.660 m away"


def test_a_free_design_point_within_the_tolerance_is_a_rival() -> None:
    design = points([("1", 0.0, 0.0, 0.0), ("2", 0.0, 0.025, 0.0)])
    measure = near(points([("a", 0.0, 0.001, 0.0)]), design=design)
    assert measure.undecided[0].startswith("could stand for 1 or 2")


def test_a_taken_design_point_is_no_rival_unless_the_shots_could_be_exchanged() -> None:
    design = points([("1", 0.0, 0.0, 0.0), ("2", 0.0, 1.0, 0.0)])
    clear = near(points([("a", 0.0, 0.34, 0.0), ("b", 0.0, 1.0, 0.0)]), design=design)
    assert clear.undecided.tolist() == ["", ""]
    mixed = near(points([("a", 0.0, 0.45, 0.0), ("b", 0.1, 0.55, 0.0)]), design=design)
    assert (
        mixed.undecided.tolist() == ["1 and 2 are too close together to tell their shots apart"] * 2
    )


def test_two_shots_at_one_design_point() -> None:
    measured = points([("a", 1000.0, 500.01, 10.0), ("b", 1000.0, 499.985, 10.0)])
    measure = near(measured, measured=Selection(ids=("*",)))
    assert measure.undecided[0] == "shots a and b both stand near 101"
    assert measure.unchecked[-1] == "the nearest design point, 101, is taken by a"
    assert measure.counted[-1]


def test_restakes_of_one_number_at_one_design_point() -> None:
    measured = points([("a", 1000.0, 500.03, 10.0), ("a", 1000.0, 500.01, 10.0)])
    measure = near(measured)
    assert measure.shots[:2, 0].tolist() == [1, 0]
    assert cells(measure, "superseded")[:2] == [False, True]
    assert measure.undecided.tolist() == [""] * 5


def test_one_number_at_several_design_points_is_no_restake() -> None:
    measured = points([("stk", 1000.0, 500.0, 10.0), ("stk", 1000.0, 510.0, 10.0)])
    measure = near(measured)
    assert cells(measure, "superseded") == [False] * 4
    assert measure.unchecked.tolist()[:2] == ["", ""]


def test_a_shot_that_carries_the_number_of_another_design_point() -> None:
    measure = near(points([("104", 1000.0, 500.0, 10.0)]))
    assert measure.undecided[0] == "carries number 104 but stands at 101"
    finding = judged(measure, 1)
    assert finding.row_verdict[0] == 2


def test_design_points_at_one_place_are_no_rivals() -> None:
    design = points([("1", 0.0, 0.0, 0.0), ("2", 0.0, 0.0, 0.0), ("3", 9.0, 0.0, 0.0)])
    measure = near(points([("2", 0.0, 0.01, 0.0)]), design=design)
    staked = [row for row in range(3) if measure.shots[row, 0] >= 0]
    assert len(staked) == 1
    assert measure.undecided.tolist() == ["", "", ""]


def test_nearest_leaves_excluded_and_check_shots_alone() -> None:
    control = points([("CP1", 0.0, 0.0, 0.0)])
    measured = points([("CP1", 1000.0, 500.0, 10.0), ("102", 1000.0, 510.0, 10.0)])
    measure = near(measured, control=control, exclude=[("102", "bumped")])
    assert measure.unchecked.tolist()[:2] == [
        "not staked: no shot near enough",
        "excluded: bumped",
    ]


def test_a_match_that_needs_a_line_is_refused() -> None:
    section = stakeout(limit=LIMIT, match=Match.STATION)
    assert fault(section=section).problems[0].slug == "match-unknown"
