import math

import numpy as np
import pytest

from checker.errors import InputError
from checker.model.drawing import Drawing, Figure
from checker.model.measure import Measure
from checker.model.points import Points
from checker.units import LengthUnit
from tests.support.books import comparison, control_points, values
from tests.support.books import summary as numbers
from tests.support.closures import drawn, figure

FEET = LengthUnit.FOOT
SQUARE = (
    "course,bearing,distance\n1,N 0 E,100\n2,due east,100\n3,S 0 E,100.03\n4,S 90-00-00 W,100.04\n"
)
HEAD = "course,bearing,distance,radius,turn,arc,delta,chord,chord bearing,tangent\n"
# A lot of 100 by 50 with a half circle of radius 50 at its east end, walked clockwise.
ROUND = (
    HEAD + "1,N 0 E,100,,,,,,,\n2,due east,50,,,,,,,\n"
    "3,,,50,right,157.080,180-00-00,100.000,S 0 E,yes\n4,due west,50,,,,,,,\n"
)


def test_a_square_closes_by_the_planted_error() -> None:
    measure = figure(SQUARE, unit=FEET)
    total = numbers(measure)
    assert total["misclosure_n"] == pytest.approx(-0.03 * 0.3048)
    assert total["misclosure_e"] == pytest.approx(-0.04 * 0.3048)
    assert total["misclosure"] == pytest.approx(0.05 * 0.3048)
    assert total["ratio"] == pytest.approx(400.07 / 0.05)
    assert comparison(measure, "ratio").value[0] == pytest.approx(0.05 / 400.07)
    assert measure.whole_undecided == ""


def test_a_curve_counts_with_its_arc_and_its_segment() -> None:
    measure = figure(ROUND, unit=FEET)
    total = numbers(measure)
    assert total["misclosure"] == pytest.approx(0.0, abs=0.0005)
    assert total["length"] / 0.3048 == pytest.approx(200 + 50.0 * math.pi)
    assert total["area"] / 0.3048**2 == pytest.approx(5000 + math.pi * 1250, abs=0.05)
    assert total["area_segments"] / 0.3048**2 == pytest.approx(math.pi * 1250, abs=0.05)
    assert list(measure.column("tangent").values) == ["", "", "yes", ""]
    assert measure.whole_undecided == ""


def corner(radius: float, delta: str) -> str:
    """A perfect lot of 40 by 50 with one rounded corner, its arc written to hundredths."""
    arc = radius * math.pi / 2
    return (
        HEAD + f"1,N 0 E,{50 - radius:g},,,,,,,\n"
        f"2,,,{radius:g},right,{arc:.2f},{delta},,N 45-00-00 E,yes\n"
        f"3,due east,{40 - radius:g},,,,,,,\n4,S 0 E,50,,,,,,,\n5,due west,40,,,,,,,\n"
    )


@pytest.mark.parametrize("radius", [1.5, 3.0, 6.0, 10.0, 25.0])
def test_the_angle_of_a_small_curve_leads_its_rounded_arc(radius: float) -> None:
    measure = figure(corner(radius, "90-00-00"), unit=FEET)
    assert numbers(measure)["misclosure"] == pytest.approx(0.0, abs=1e-12)
    assert measure.whole_undecided == ""


@pytest.mark.parametrize("radius", [1.5, 3.0, 6.0, 10.0, 25.0])
def test_a_rounded_arc_alone_breaks_no_tangent(radius: float) -> None:
    assert figure(corner(radius, ""), unit=FEET).whole_undecided == ""


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("157.080", "157.380", "delta"),
        ("100.000,S", "99.980,S", "chord"),
        ("180-00-00", "179-50-00", "delta"),
        ("S 0 E,yes", "S 1 E,yes", "tangent"),
        ("S 0 E,yes", "S 0 E,no", "tangent"),
    ],
)
def test_a_contradiction_is_listed_and_leaves_it_undecided(old: str, new: str, says: str) -> None:
    measure = figure(ROUND.replace(old, new), unit=FEET)
    assert "contradicts itself" in measure.whole_undecided
    assert says in measure.remarks[0]
    assert "urve 3" in measure.remarks[0]


def test_what_rounding_explains_is_no_contradiction() -> None:
    # An arc to the foot: the angle may differ by half a foot of 50.
    text = HEAD + "1,N 0 E,100,,,,,,,\n2,,,50,right,157,180-20-00,,S 0 E,\n"
    assert figure(text, unit=FEET).whole_undecided == ""


@pytest.mark.parametrize(("area", "contradicts"), [(10000.0, False), (10010.0, True)])
def test_a_stated_area_is_compared(area: float, contradicts: bool) -> None:
    measure = figure(SQUARE, unit=FEET, area_m2=area * 0.3048**2, area_step_m2=0.3048**2)
    text = figure(
        SQUARE.replace("100.03", "100").replace("100.04", "100"),
        unit=FEET,
        area_m2=area * 0.3048**2,
        area_step_m2=0.3048**2,
    )
    assert numbers(measure)["area_stated"] == pytest.approx(area * 0.3048**2)
    assert bool(text.whole_undecided) is contradicts


def test_a_tangent_curve_takes_its_direction_from_the_course_before() -> None:
    tangent = ROUND.replace("S 0 E,yes", ",yes")
    first, second = figure(ROUND, unit=FEET), figure(tangent, unit=FEET)
    assert values(first, "azimuth") == pytest.approx(values(second, "azimuth"), abs=1e-5)


@pytest.mark.parametrize(
    ("text", "slug", "line"),
    [
        (HEAD + "1,N 0 E,100,,,,,,,\n2,,,50,right,,,,S 0 E,\n", "bad-course", 3),
        (HEAD + "1,N 0 E,100,,,,,,,\n2,,,50,right,,,101,S 0 E,\n", "bad-course", 3),
        (HEAD + "1,N 0 E,100,,,,,,,\n2,,,50,right,10,,,,\n", "bad-course", 3),
        (HEAD + "1,,,50,right,10,,,,yes\n2,N 0 E,100,,,,,,,\n", "bad-course", 2),
    ],
)
def test_a_course_that_cannot_be_followed_is_refused(text: str, slug: str, line: int) -> None:
    with pytest.raises(InputError) as caught:
        figure(text, unit=FEET)
    (problem,) = caught.value.problems
    assert (problem.slug, problem.where.line) == (slug, line)
    assert problem.hint


# ---------------------------------------------------------------- drawings


def drawing(*figures: Figure) -> Drawing:
    points: Points = control_points({})
    return Drawing(
        path="d.dxf",
        version="",
        header_unit="",
        points=points,
        figures=figures,
        linework=(),
        counts=(),
        notices=(),
    )


def line(
    xy: list[tuple[float, float]], *, bulge: list[float] | None = None, closed: bool = True
) -> Figure:
    return Figure(
        layer="LOT",
        kind="LWPOLYLINE",
        handle="2F",
        xyz_m=np.array([(*place, 0.0) for place in xy]),
        bulge=np.array(bulge or [0.0] * len(xy)),
        closed=closed,
    )


def drawn_of(*figures: Figure) -> Measure:
    return drawn(drawing(*figures), "LOT", unit=LengthUnit.METRE)


def test_a_closed_polyline_has_its_area_and_no_misclosure() -> None:
    # A square of 10 with one side bulged out to a half circle.
    measure = drawn_of(line([(0, 0), (10, 0), (10, 10), (0, 10)], bulge=[0, 1, 0, 0]))
    total = numbers(measure)
    assert total["misclosure"] == pytest.approx(0.0, abs=1e-12)
    assert total["area"] == pytest.approx(100 + math.pi * 12.5)
    assert total["length"] == pytest.approx(30 + math.pi * 5)
    assert math.isnan(total["ratio"])
    assert len(measure.id) == 4


def test_an_open_polyline_shows_its_gap() -> None:
    measure = drawn_of(line([(0, 0), (10, 0), (10, 10), (0, 0.5)], closed=False))
    assert numbers(measure)["misclosure"] == pytest.approx(0.5)
    assert any("not drawn closed" in text for text in measure.remarks)


def test_several_figures_show_the_one_that_closes_worst() -> None:
    square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]
    far = [(x + 50, y) for x, y in square]
    measure = drawn_of(line(square), line([*far, (50.0, 0.2)], closed=False))
    assert list(measure.id[:2]) == ["1.1", "1.2"]
    assert numbers(measure)["misclosure"] == pytest.approx(0.2)
    assert numbers(measure)["area"] == pytest.approx(200, abs=1.1)


def test_a_layer_without_lines_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        drawn(drawing(line([(0, 0), (1, 0), (1, 1)])), "PARCEL", unit=LengthUnit.METRE)
    assert caught.value.problems[0].slug == "layer-unknown"
