"""Traverses worked by hand or from coordinates; every figure is invented."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from checker.errors import InputError, Problem
from checker.formulas import parse_formula
from checker.model.finding import Verdict
from checker.model.job import Adjust, AngleKind, Shape, Tolerance
from checker.model.measure import Measure
from checker.units import ARCSEC, LengthUnit
from checker.verdicts.judge import judge
from tests.support.books import (
    NAN,
    comparison,
    direction,
    summary,
    traverse,
    traverse_book,
    values,
)

RIGHT_ANGLE = math.pi / 2
# Counter-clockwise on the map from the south-west corner: north, east.
SQUARE = {"A": (100.0, 200.0), "B": (100.0, 300.0), "C": (200.0, 300.0), "D": (200.0, 200.0)}
EAST, SOUTH = RIGHT_ANGLE, math.pi


def square(*, first: float = RIGHT_ANGLE, closing: str = "") -> list[tuple[str, str, float, float]]:
    """The square walked A, B, C, D with angles right; `first` NaN leaves the first angle out."""
    rows = [
        ("A", "B", first, 100.0),
        *[(at, to, RIGHT_ANGLE, 100.0) for at, to in ("BC", "CD", "DA")],
    ]
    return [*rows, ("A", closing, RIGHT_ANGLE, NAN)] if closing else rows


def fault(rows: Any, **more: Any) -> Problem:
    with pytest.raises(InputError) as caught:
        traverse(rows, **more)
    assert len(caught.value.problems) == 1
    return caught.value.problems[0]


def angular_arcsec(measure: Measure) -> float:
    return summary(measure)["angular_misclosure_arcsec"] / ARCSEC


# ---------------------------------------------------------------- how a loop closes its angles


def test_a_perfect_loop_has_no_misclosure_and_no_ratio() -> None:
    measure = traverse(square(), start=(100.0, 200.0), start_azimuth_rad=0.0)
    total = summary(measure)
    assert [str(name) for name in measure.id] == ["B", "C", "D", "A"]
    np.testing.assert_allclose(values(measure, "n"), [100, 200, 200, 100], atol=1e-9)
    np.testing.assert_allclose(values(measure, "e"), [300, 300, 200, 200], atol=1e-9)
    np.testing.assert_allclose(np.degrees(values(measure, "azimuth")), [90, 0, 270, 180], atol=1e-9)
    assert total["legs"] == 4
    assert total["angles"] == 4
    assert total["length"] == 400.0
    assert total["area"] == pytest.approx(10_000.0, abs=1e-6)
    assert total["misclosure"] == pytest.approx(0.0, abs=1e-9)
    assert math.isnan(total["ratio"])
    assert math.isnan(total["misclosure_azimuth"])
    assert angular_arcsec(measure) == pytest.approx(0.0, abs=1e-6)
    assert "the angle at A is taken from D" in measure.remarks[0]


def test_first_angle_from_the_last_station_counts_all_angles() -> None:
    rows = square(first=RIGHT_ANGLE + 8 * ARCSEC)
    measure = traverse(rows, start_azimuth_rad=0.0)
    assert angular_arcsec(measure) == pytest.approx(8.0, abs=1e-6)
    assert comparison(measure, "angular").n == pytest.approx(4.0)


def test_backsight_that_is_the_last_station_closes_the_loop() -> None:
    measure = traverse(square(), known=SQUARE, start="A", backsight="D")
    assert angular_arcsec(measure) == pytest.approx(0.0, abs=1e-6)
    assert any("backsight D" in remark for remark in measure.remarks)


def test_outside_backsight_without_a_closing_row_leaves_the_angles_unproved() -> None:
    known = SQUARE | {"REF": (200.0, 100.0)}
    # From A the reference bears 315 degrees: 135 degrees to the right of it lies B.
    rows = square(first=math.radians(135.0))
    measure = traverse(rows, known=known, start="A", backsight="REF", adjust=Adjust.COMPASS)
    angular = comparison(measure, "angular")
    assert math.isnan(angular.value[0])
    assert angular.absent is not None
    assert "REF" in str(angular.absent[0])
    assert angular.absent_verdict == int(Verdict.UNDECIDED)
    assert summary(measure)["misclosure"] == pytest.approx(0.0, abs=1e-9)


def test_outside_backsight_with_a_closing_row() -> None:
    known = SQUARE | {"REF": (200.0, 100.0)}
    rows = square(first=math.radians(135.0))
    # At A again, from D (due north) to REF: 315 degrees.
    rows.append(("A", "REF", math.radians(315.0) - 6 * ARCSEC, NAN))
    measure = traverse(rows, known=known, start="A", backsight="REF")
    assert angular_arcsec(measure) == pytest.approx(-6.0, abs=1e-6)
    assert comparison(measure, "angular").n == pytest.approx(5.0)


def test_closing_row_to_another_mark_than_the_backsight_proves_nothing() -> None:
    known = SQUARE | {"REF": (200.0, 100.0)}
    rows = [*square(first=math.radians(135.0)), ("A", "spire", math.radians(315.0), NAN)]
    measure = traverse(rows, known=known, start="A", backsight="REF")
    assert math.isnan(angular_arcsec(measure))
    assert "spire" in measure.remarks[0]


def test_start_azimuth_to_an_unknown_mark_closed_on_the_same_mark() -> None:
    rows = square(first=math.radians(135.0))
    rows.append(("A", "spire", math.radians(315.0) + 6 * ARCSEC, NAN))
    measure = traverse(rows, start_azimuth_rad=math.radians(315.0))
    assert angular_arcsec(measure) == pytest.approx(6.0, abs=1e-6)


def test_closing_row_to_the_second_station_leaves_the_orienting_angle_out() -> None:
    known = SQUARE | {"REF": (200.0, 100.0)}
    blunder = math.radians(1.0)  # in the orienting angle: the loop's own angles cannot see it
    rows = [*square(first=math.radians(135.0) + blunder), ("A", "B", RIGHT_ANGLE, NAN)]
    measure = traverse(rows, known=known, start="A", backsight="REF", adjust=Adjust.COMPASS)
    assert angular_arcsec(measure) == pytest.approx(0.0, abs=1e-6)
    assert comparison(measure, "angular").n == pytest.approx(4.0)
    assert values(measure, "angle")[0] == pytest.approx(math.radians(136.0))
    assert "not proved" in measure.remarks[0]


def test_direction_of_the_first_leg_closed_by_an_angle_at_the_start() -> None:
    measure = traverse(square(first=NAN, closing="B"), start_azimuth_rad=EAST)
    assert summary(measure)["angles"] == 4
    assert angular_arcsec(measure) == pytest.approx(0.0, abs=1e-6)


def test_direction_of_the_first_leg_without_an_angle_at_the_start() -> None:
    measure = traverse(square(first=NAN), start_azimuth_rad=EAST)
    assert math.isnan(angular_arcsec(measure))
    assert "no angle was observed at A" in measure.remarks[0]


def test_closing_row_to_a_mark_of_unknown_direction_is_said() -> None:
    measure = traverse(square(first=NAN, closing="spire"), start_azimuth_rad=EAST)
    assert math.isnan(angular_arcsec(measure))
    assert "spire" in measure.remarks[0]


def test_walked_clockwise() -> None:
    rows = [(at, to, RIGHT_ANGLE, 100.0) for at, to in ("AD", "DC", "CB", "BA")]
    for kind, clockwise in ((AngleKind.INTERIOR, True), (AngleKind.LEFT, False)):
        measure = traverse(rows, angles=kind, clockwise=clockwise, start_azimuth_rad=EAST)
        np.testing.assert_allclose(values(measure, "n"), [100, 100, 0, 0], atol=1e-9)
        assert angular_arcsec(measure) == pytest.approx(0.0, abs=1e-6)
        assert summary(measure)["area"] == pytest.approx(10_000.0, abs=1e-6)


def test_deflections_of_a_loop_sum_to_a_whole_turn() -> None:
    # Walked counter-clockwise every deflection is to the left, so negative.
    rows = [(at, to, -RIGHT_ANGLE, 100.0) for at, to in ("AB", "BC", "CD", "DA")]
    rows[2] = ("C", "D", -RIGHT_ANGLE + 4 * ARCSEC, 100.0)
    measure = traverse(rows, angles=AngleKind.DEFLECTION, start_azimuth_rad=0.0)
    assert angular_arcsec(measure) == pytest.approx(4.0, abs=1e-6)
    np.testing.assert_allclose(np.degrees(values(measure, "azimuth"))[0], 90.0, atol=1e-9)


@pytest.mark.parametrize("planted", [-25.0, 40.0])
@pytest.mark.parametrize("kind", [AngleKind.RIGHT, AngleKind.LEFT, AngleKind.INTERIOR])
def test_misclosure_is_observed_minus_theoretical(kind: AngleKind, planted: float) -> None:
    angle = 3 * RIGHT_ANGLE if kind is AngleKind.LEFT else RIGHT_ANGLE
    rows = [(at, to, angle, 100.0) for at, to in ("AB", "BC", "CD", "DA")]
    rows[1] = ("B", "C", angle + planted * ARCSEC, 100.0)
    measure = traverse(rows, angles=kind, start_azimuth_rad=0.0, adjust=Adjust.COMPASS)
    assert angular_arcsec(measure) == pytest.approx(planted, abs=1e-6)
    used = (values(measure, "angle") - values(measure, "angle_observed")) / ARCSEC
    np.testing.assert_allclose(used, -planted / 4, atol=1e-6)
    assert any("Each of the 4 angles" in remark for remark in measure.remarks)


# ---------------------------------------------------------------- links and open traverses

LINK = {
    "P": (0.0, 0.0),
    "Q": (1000.0, 1000.0),
    "BACK": (0.0, -500.0),
    "AHEAD": (1000.0, 2000.0),
}
# P due east to 1, due north to 2, due east to Q.
LINK_ROWS = [
    ("P", "1", math.pi, 400.0),
    ("1", "2", RIGHT_ANGLE, 1000.0),
    ("2", "Q", 3 * RIGHT_ANGLE, 600.0),
]


def link(rows: list[tuple[str, str, float, float]], **more: Any) -> Measure:
    return traverse(
        rows, known=LINK, shape=Shape.LINK, start="P", close="Q", backsight="BACK", **more
    )


def test_link_between_control_points_with_foresight() -> None:
    rows = [*LINK_ROWS, ("Q", "AHEAD", math.pi + 9 * ARCSEC, NAN)]
    measure = link(rows, foresight="AHEAD")
    total = summary(measure)
    assert angular_arcsec(measure) == pytest.approx(9.0, abs=1e-6)
    assert total["angles"] == 4
    assert total["legs"] == 3
    assert total["misclosure"] == pytest.approx(0.0, abs=1e-9)
    assert math.isnan(total["area"])


def test_link_with_the_azimuth_of_its_last_leg() -> None:
    rows = [*LINK_ROWS[:2], ("2", "Q", 3 * RIGHT_ANGLE + 7 * ARCSEC, 600.0)]
    measure = link(rows, close_azimuth_rad=EAST)
    assert angular_arcsec(measure) == pytest.approx(7.0, abs=1e-6)
    assert comparison(measure, "angular").n == pytest.approx(3.0)


def test_link_with_a_closing_azimuth_to_the_foresight() -> None:
    rows = [*LINK_ROWS, ("Q", "spire", math.pi / 2, NAN)]
    # From 2, due west, 90 degrees to the right is due north.
    measure = link(rows, close_azimuth_rad=359.999 * math.pi / 180)
    assert angular_arcsec(measure) == pytest.approx(3.6, abs=1e-6)


def test_link_without_a_closing_direction() -> None:
    measure = link(LINK_ROWS)
    assert math.isnan(angular_arcsec(measure))
    assert "no closing azimuth" in measure.remarks[0]
    assert summary(measure)["misclosure"] == pytest.approx(0.0, abs=1e-9)


def test_misclosure_is_computed_minus_known_and_the_rule_removes_it() -> None:
    rows = [LINK_ROWS[0], ("1", "2", RIGHT_ANGLE, 1000.05), LINK_ROWS[2]]
    measure = link(rows, adjust=Adjust.COMPASS)
    total = summary(measure)
    assert total["misclosure_n"] == pytest.approx(0.05, abs=1e-9)
    assert total["misclosure_e"] == pytest.approx(0.0, abs=1e-9)
    assert total["ratio"] == pytest.approx(2000.05 / 0.05, rel=1e-6)
    assert math.degrees(total["misclosure_azimuth"]) % 360 == pytest.approx(0.0, abs=1e-6)
    assert values(measure, "adjusted_n")[-1] == pytest.approx(1000.0, abs=1e-9)
    assert values(measure, "adjusted_e")[-1] == pytest.approx(1000.0, abs=1e-9)
    north = values(measure, "adjusted_latitude") - values(measure, "latitude")
    np.testing.assert_allclose(north, -0.05 * values(measure, "distance") / 2000.05, atol=1e-9)
    misclosure = comparison(measure, "misclosure")
    assert misclosure.length_m == pytest.approx(2000.05)
    assert misclosure.n == pytest.approx(3.0)
    assert comparison(measure, "ratio").value[0] == pytest.approx(0.05 / 2000.05)


def test_transit_rule_leaves_a_leg_without_latitude_alone_in_northing() -> None:
    rows = [LINK_ROWS[0], ("1", "2", RIGHT_ANGLE, 1000.05), LINK_ROWS[2]]
    measure = link(rows, adjust=Adjust.TRANSIT)
    north = values(measure, "adjusted_latitude") - values(measure, "latitude")
    np.testing.assert_allclose(north, [0.0, -0.05, 0.0], atol=1e-9)


def test_no_rule_gives_no_adjusted_coordinates() -> None:
    measure = link(LINK_ROWS)
    assert np.all(np.isnan(values(measure, "adjusted_n")))
    assert not any("rule" in remark for remark in measure.remarks)


def test_shared_angles_and_the_misclosure_before_them() -> None:
    # 30 seconds in the angle at 1 swing the last two legs about it.
    rows = [*LINK_ROWS, ("Q", "AHEAD", math.pi, NAN)]
    rows[1] = ("1", "2", RIGHT_ANGLE + 30 * ARCSEC, 1000.0)
    measure = link(rows, foresight="AHEAD", adjust=Adjust.COMPASS)
    total = summary(measure)
    swing = 30 * ARCSEC
    assert total["raw_misclosure_n"] == pytest.approx(-600 * swing, abs=1e-4)
    assert total["raw_misclosure_e"] == pytest.approx(1000 * swing, abs=1e-4)
    # Each angle takes -7.5 seconds: the legs are off by -7.5, +15 and +7.5 seconds.
    off = np.array([-7.5, 15.0, 7.5]) * ARCSEC
    legs, azimuths = np.array([400.0, 1000.0, 600.0]), np.array([EAST, 0.0, EAST])
    moved_n = legs * (np.cos(azimuths + off) - np.cos(azimuths))
    moved_e = legs * (np.sin(azimuths + off) - np.sin(azimuths))
    assert total["misclosure_n"] == pytest.approx(float(np.sum(moved_n)), abs=1e-9)
    assert total["misclosure_e"] == pytest.approx(float(np.sum(moved_e)), abs=1e-9)


def test_open_traverse_is_computed_and_undecided() -> None:
    measure = traverse(
        LINK_ROWS,
        known=LINK,
        shape=Shape.OPEN,
        start="P",
        close="Q",
        backsight="BACK",
        adjust=Adjust.COMPASS,
    )
    total = summary(measure)
    assert measure.whole_undecided
    for key in ("misclosure", "misclosure_n", "ratio", "angular_misclosure_arcsec", "area"):
        assert math.isnan(total[key])
    for limit in ("angular", "misclosure", "ratio"):
        assert math.isnan(comparison(measure, limit).value[0])
        assert comparison(measure, limit).absent_verdict == int(Verdict.UNDECIDED)
    assert values(measure, "n")[-1] == pytest.approx(1000.0)
    assert np.all(np.isnan(values(measure, "adjusted_n")))
    assert any("close = Q" in remark for remark in measure.remarks)


def test_control_met_on_the_way_is_compared() -> None:
    known = LINK | {"1": (0.02, 400.0)}
    measure = traverse(
        LINK_ROWS, known=known, shape=Shape.LINK, start="P", close="Q", backsight="BACK"
    )
    assert any(
        "Control point 1" in remark and "-20.0 mm north" in remark for remark in measure.remarks
    )


# ---------------------------------------------------------------- observed directions, slopes


def test_bearings_close_only_in_position() -> None:
    rows = [
        ("A", "B", math.radians(90.0), 100.0),
        ("B", "C", 0.0, 100.03),
        ("C", "D", math.radians(270.0), 100.0),
        ("D", "A", math.radians(180.0), 100.0),
    ]
    measure = traverse(rows, angles=AngleKind.BEARING, start_azimuth_rad=1.0)
    assert summary(measure)["misclosure_n"] == pytest.approx(0.03, abs=1e-9)
    assert math.isnan(angular_arcsec(measure))
    assert any("starting direction" in remark for remark in measure.remarks)


def test_azimuths_with_a_closing_row() -> None:
    rows = [
        ("P", "1", EAST, 400.0),
        ("1", "2", 0.0, 1000.0),
        ("2", "Q", EAST, 600.0),
        ("Q", "AHEAD", EAST - 5 * ARCSEC, NAN),
    ]
    measure = traverse(
        rows,
        known=LINK,
        shape=Shape.LINK,
        angles=AngleKind.AZIMUTH,
        start="P",
        close="Q",
        foresight="AHEAD",
        adjust=Adjust.COMPASS,
    )
    assert angular_arcsec(measure) == pytest.approx(-5.0, abs=1e-6)
    np.testing.assert_array_equal(values(measure, "azimuth"), [EAST, 0.0, EAST])
    assert any("not shared out" in remark for remark in measure.remarks)
    assert "directions close" in measure.remarks[0]
    assert "observed minus known -5.0″" in measure.remarks[0]


def test_slope_distances_are_reduced_by_the_zenith_angle() -> None:
    book = traverse_book(square())
    zenith = np.radians([60.0, 90.0, 100.0, 88.0])
    book = replace(
        book,
        distance_m=np.array([NAN, 100.0, NAN, NAN]),
        slope_m=np.array([100.0, NAN, 120.0, 80.0]),
        zenith_rad=zenith,
    )
    measure = traverse(book, start_azimuth_rad=0.0)
    expected = [100.0 * math.sqrt(3) / 2, 100.0, 120 * math.cos(zenith[2] - EAST)]
    np.testing.assert_allclose(values(measure, "distance")[:3], expected)


def test_lengths_of_remarks_are_in_the_jobs_unit() -> None:
    known = LINK | {"1": (0.3048, 400.0)}
    measure = traverse(
        LINK_ROWS,
        known=known,
        shape=Shape.LINK,
        start="P",
        close="Q",
        backsight="BACK",
        unit=LengthUnit.FOOT,
    )
    assert any("-1.000 ft north" in remark for remark in measure.remarks)


# ---------------------------------------------------------------- faults


def test_unknown_control_point_names_the_nearest() -> None:
    problem = fault(square(), known={"A1": (0, 0), "B7": (1, 1)}, start="A", start_azimuth_rad=0.0)
    assert problem.slug == "unknown-control"
    assert "A1" in problem.hint
    assert problem.where.line == 10


def test_control_point_without_a_control_file() -> None:
    assert fault(square(), start="A", start_azimuth_rad=0.0).slug == "unknown-control"


@pytest.mark.parametrize(
    ("more", "slug", "words"),
    [
        ({"start": "Q", "known": LINK, "start_azimuth_rad": 0.0}, "book-ends", "begins at"),
        (
            {"shape": Shape.LINK, "start_azimuth_rad": 0.0, "known": LINK, "close": "Q"},
            "book-ends",
            "goes to",
        ),
        ({"shape": Shape.LINK, "start_azimuth_rad": 0.0}, "no-close", "link"),
        ({}, "no-direction", "starting direction"),
        (
            {"start": "A", "known": SQUARE, "backsight": "D", "foresight": "C"},
            "foresight",
            "ends with a leg",
        ),
        ({"start": "A", "known": SQUARE, "backsight": "A"}, "backsight", "itself"),
    ],
)
def test_job_and_book_that_do_not_fit(more: dict[str, Any], slug: str, words: str) -> None:
    problem = fault(square(), **more)
    assert problem.slug == slug
    assert words in problem.message
    assert problem.hint


def test_backsight_needs_an_angle_in_the_first_row() -> None:
    problem = fault(square(first=NAN), known=SQUARE, start="A", backsight="D")
    assert problem.slug == "backsight"
    assert problem.where.file == "traverse.csv"


def test_closing_row_to_another_mark_than_the_foresight() -> None:
    rows = [*LINK_ROWS, ("Q", "BACK", math.pi, NAN)]
    problem = fault(
        rows,
        known=LINK,
        shape=Shape.LINK,
        start="P",
        close="Q",
        backsight="BACK",
        foresight="AHEAD",
    )
    assert problem.slug == "foresight"
    assert "BACK" in problem.message


def test_loop_that_does_not_come_back() -> None:
    problem = fault(square()[:3], start_azimuth_rad=0.0)
    assert problem.slug == "book-ends"
    assert '"D"' in problem.message


@pytest.mark.parametrize(
    ("row", "slug", "found"),
    [
        (("B", "C", RIGHT_ANGLE, NAN), "missing-value", "distance"),
        (("B", "C", NAN, 100.0), "missing-value", "direction"),
        (("X", "C", RIGHT_ANGLE, 100.0), "broken-chain", "stands at"),
    ],
)
def test_gaps_in_the_book_are_refused(
    row: tuple[str, str, float, float], slug: str, found: str
) -> None:
    rows = square()
    rows[1] = row
    problem = fault(rows, start_azimuth_rad=0.0)
    assert problem.slug == slug
    assert found in problem.message
    assert problem.where.line == 3


def test_book_without_a_leg() -> None:
    assert fault([], start_azimuth_rad=0.0).slug == "no-legs"
    assert fault([("A", "B", 1.0, NAN)], start_azimuth_rad=0.0).slug == "no-legs"


def test_rule_of_a_level_run_is_refused() -> None:
    assert fault(square(), start_azimuth_rad=0.0, adjust=Adjust.SETUPS).slug == "adjust"


def test_the_test_maker_agrees_with_itself() -> None:
    assert direction(SQUARE["A"], SQUARE["B"]) == pytest.approx(EAST)
    assert direction(SQUARE["D"], SQUARE["A"]) == pytest.approx(SOUTH)


# ---------------------------------------------------------------- control on the way


@pytest.mark.parametrize(
    ("turn", "kind", "word"),
    [
        (0.0, AngleKind.RIGHT, "within"),
        # the same loop turned by ten degrees about its start, and mirrored: both close perfectly
        (math.radians(10.0), AngleKind.RIGHT, "undecided"),
        (0.0, AngleKind.LEFT, "undecided"),
        (math.radians(0.001), AngleKind.RIGHT, "within"),  # 2.5 mm on the diagonal
    ],
)
@pytest.mark.parametrize("form", ["ratio", "misclosure"])
def test_a_loop_that_misses_control_on_the_way_is_undecided(
    turn: float, kind: AngleKind, word: str, form: str
) -> None:
    allowed = (
        Tolerance(name="t", ratio=10_000.0)
        if form == "ratio"
        else Tolerance(name="t", misclosure=parse_formula("40 mm", "length", LengthUnit.METRE))
    )
    known = {name: (*place, NAN) for name, place in SQUARE.items() if name in "AC"}
    measure = traverse(
        square(), start="A", known=known, start_azimuth_rad=turn, angles=kind, tolerance=allowed
    )
    finding = judge(measure, np.empty(0, dtype=object), LengthUnit.METRE)
    assert finding.verdict.word == word
    assert ("control point C on the way is missed" in finding.reason) is (word == "undecided")
