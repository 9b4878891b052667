"""Figures: missing courses, misread ones, common lines, neighbours, areas within a tolerance."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.figure import measure_figure
from checker.errors import InputError, Where
from checker.model.books import Book
from checker.model.inputs import Inputs
from checker.model.job import CommonLine, DescribedFigure, Job, Position, Tolerance
from checker.model.measure import Measure
from checker.read.figure_book import read_figure_book
from checker.read.files import Source
from checker.units import ARCSEC, AngleFormat, Formula, LengthUnit
from tests.support.books import comparison, summary, values
from tests.support.closures import drawn, figure
from tests.support.lines import drawing_of
from tests.support.lines import figure as drawn_figure

FOOT = LengthUnit.FOOT
LOT = "course,bearing,distance\n1,due east,120\n2,due north,80\n3,due west,120\n4,due south,80\n"


def cells(measure: Measure, key: str, name: str) -> list[Any]:
    found = next(each for each in measure.supplements if each.key == key)
    return list(next(column for column in found.columns if column.key == name).values)


def ids(measure: Measure, key: str) -> list[str]:
    return [
        str(name) for each in measure.supplements if each.key == key for name in each.id.tolist()
    ]


# ---------------------------------------------------------------- missing courses


@pytest.mark.parametrize("gap", ["", "?", "unknown", "-", "Illegible"])
def test_a_missing_course_is_offered_and_not_used(gap: str) -> None:
    measure = figure(LOT.replace("3,due west,120", f"3,{gap},{gap}"), unit=FOOT)
    assert measure.whole_undecided.startswith("course 3 has no bearing and no distance")
    total = summary(measure)
    assert all(np.isnan(total[key]) for key in ("misclosure", "ratio", "area", "length"))
    assert np.isnan(values(measure, "n")).tolist() == [False, False, True, True]
    assert np.isnan(values(measure, "azimuth")).tolist() == [False, False, True, False]
    assert cells(measure, "missing_courses", "azimuth") == pytest.approx([1.5 * math.pi])
    assert cells(measure, "missing_courses", "distance") == pytest.approx([120 * FOOT.metres])
    assert cells(measure, "missing_courses", "area") == pytest.approx([9600 * FOOT.metres**2])


def test_two_bearings_have_two_solutions() -> None:
    text = LOT.replace("3,due west,120", "3,?,120").replace("4,due south,80", "4,?,80")
    measure = figure(text, unit=FOOT)
    assert ids(measure, "missing_courses") == ["3", "4", "3", "4"]
    assert cells(measure, "missing_courses", "solution") == [1.0, 1.0, 2.0, 2.0]
    areas = np.array(cells(measure, "missing_courses", "area")) / FOOT.metres**2
    assert max(areas) == pytest.approx(9600.0)
    assert summary(measure)["length"] == pytest.approx(400 * FOOT.metres)


def test_three_missing_numbers_are_faults_with_their_rows() -> None:
    text = LOT.replace("3,due west,120", "3,,").replace("4,due south,80", "4,due south,")
    with pytest.raises(InputError) as caught:
        figure(text, unit=FOOT)
    assert [(p.slug, p.where.line) for p in caught.value.problems] == [
        ("missing-value", 4),
        ("missing-value", 4),
        ("missing-value", 5),
    ]


def test_a_curve_cannot_hang_on_a_missing_bearing() -> None:
    text = (
        "bearing,distance,radius,turn,delta,tangent\n,100,,,,\n,,50,left,90,yes\ndue west,50,,,,\n"
    )
    with pytest.raises(InputError, match="tangent to a course whose bearing is missing"):
        figure(text)


# ---------------------------------------------------------------- misread courses


def test_a_misread_distance_is_offered_first() -> None:
    measure = figure(LOT.replace("2,due north,80", "2,due north,30"), unit=FOOT)
    # Of two parallel courses each could be the one.
    assert set(ids(measure, "alternatives")[:2]) == {"2", "4"}
    row = ids(measure, "alternatives").index("2")
    assert cells(measure, "alternatives", "distance")[row] == pytest.approx(80 * FOOT.metres)
    assert cells(measure, "alternatives", "d_length")[row] == pytest.approx(50 * FOOT.metres)


def test_a_figure_that_closes_is_offered_nothing() -> None:
    assert not figure(LOT, unit=FOOT).supplements


# ---------------------------------------------------------------- curves


def test_a_radial_bearing_gives_a_curve_its_direction() -> None:
    """Half a circle on the east side: by hand its centre lies north of its beginning."""
    text = (
        "bearing,distance,radius,turn,delta,radial bearing\n"
        "due east,100,,,,\n,,50,left,180,due north\ndue west,100,,,,\ndue south,100,,,,\n"
    )
    measure = figure(text)
    assert summary(measure)["misclosure"] == pytest.approx(0.0, abs=1e-9)
    assert summary(measure)["area"] == pytest.approx(100 * 100 + math.pi * 50**2 / 2)


def test_a_radial_bearing_that_contradicts_the_chord_is_listed() -> None:
    text = (
        "bearing,distance,radius,turn,delta,chord bearing,radial bearing\n"
        "due east,100,,,,,\n,,50,left,180,due north,N 1-00-00 E\ndue west,100,,,,,\n"
        "due south,100,,,,,\n"
    )
    assert "1°00′00″ off the radial bearing" in figure(text).whole_undecided


@pytest.mark.parametrize(
    ("given", "row"),
    [
        ("arc,delta", "78.5398,90"),
        ("delta,chord", "90,70.7107"),
        ("arc,chord", "78.5398,70.7107"),
    ],
)
def test_two_elements_fix_a_curve_without_its_radius(given: str, row: str) -> None:
    text = f"bearing,distance,turn,{given},tangent\ndue east,100,,,,\n,,left,{row},yes\n"
    radius = values(figure(text), "radius")[1]
    assert radius == pytest.approx(50.0, abs=2e-3)


def test_a_third_element_must_follow_without_a_radius_too() -> None:
    text = (
        "bearing,distance,turn,arc,delta,chord,tangent\ndue east,100,,,,,\n"
        ",,left,78.54,90-00-00,{},yes\n"
    )
    assert "contradicts" not in figure(text.format("70.71")).whole_undecided
    assert "arc and delta give a chord of 70.71" in figure(text.format("71.71")).whole_undecided


# ---------------------------------------------------------------- area


def area_limit(text: str, stated: float, **more: Any) -> Measure:
    return figure(
        text,
        unit=FOOT,
        area_m2=stated * FOOT.metres**2,
        area_step_m2=FOOT.metres**2,
        tolerance=Tolerance(name="", area=Formula(text="as stated", **more)),
    )


def test_a_tolerance_judges_the_area_in_place_of_the_contradiction() -> None:
    measure = area_limit(LOT, 9500.0, constant=50 * FOOT.metres**2)
    assert measure.whole_undecided == ""
    assert comparison(measure, "area").value[0] == pytest.approx(100 * FOOT.metres**2)
    share = area_limit(LOT, 9500.0, per_length=0.01)
    limit = comparison(share, "area")
    assert limit.length_m is not None
    assert limit.length_m[0] == pytest.approx(9500 * FOOT.metres**2)
    assert "contradicts" in figure(LOT, unit=FOOT, area_m2=9500 * FOOT.metres**2).whole_undecided


# ---------------------------------------------------------------- common lines


def lots(its: str, *, place: tuple[float, float] | None, **line: str) -> Measure:
    """Return LOT measured against another lot east of it."""
    sections = [
        DescribedFigure(
            where=Where(file="job.toml", line=3),
            name="Lot 1",
            file="1.csv",
            unit=FOOT,
            start=None
            if place is None
            else Position(northing_m=0.0, easting_m=0.0, elevation_m=math.nan),
            common=(CommonLine(**{"course": "2", "figure": "Lot 2", "other": "4", **line}),),
            tolerance=Tolerance(
                name="",
                angular=Formula(constant=ARCSEC, text="1 arcsec"),
                distance=Formula(constant=0.01, text="10 mm"),
            ),
        ),
        DescribedFigure(
            where=Where(file="job.toml", line=9),
            name="Lot 2",
            file="2.csv",
            unit=FOOT,
            start=None
            if place is None
            else Position(
                northing_m=place[0] * FOOT.metres,
                easting_m=place[1] * FOOT.metres,
                elevation_m=math.nan,
            ),
        ),
    ]
    books: dict[str, Book] = {
        section.name: read_figure_book(
            Source(path=str(section.file), data=text.encode()),
            unit=FOOT,
            angle_format=AngleFormat.SEXAGESIMAL,
            columns={},
        )
        for section, text in zip(sections, (LOT, its), strict=True)
    }
    job = Job(file="job.toml", root=Path(), title="Invented", unit=FOOT, checks=tuple(sections))
    return measure_figure(sections[0], Inputs(files=(), books=books), job)


@pytest.mark.parametrize(
    ("place", "gap"), [((0.0, 120.0), 0.0), ((0.0, 120.5), 0.5), ((0.0, 119.8), -0.2)]
)
def test_a_gap_is_positive_and_an_overlap_negative(place: tuple[float, float], gap: float) -> None:
    measure = lots(LOT, place=place)
    for key in ("gap_start", "gap_end"):
        assert cells(measure, "common_lines", key) == pytest.approx([gap * FOOT.metres], abs=1e-9)
    assert comparison(measure, "angular").value[0] == pytest.approx(0.0, abs=1e-12)
    assert comparison(measure, "distance").value[0] == pytest.approx(
        abs(gap) * FOOT.metres, abs=1e-9
    )


def test_bearing_and_length_of_a_common_line_are_compared() -> None:
    other = LOT.replace("4,due south,80", "4,S 0-00-30 E,80.05")
    measure = lots(other, place=None)
    assert cells(measure, "common_lines", "d_azimuth_arcsec") == pytest.approx(
        [30 * ARCSEC], abs=1e-10
    )
    assert cells(measure, "common_lines", "d_length") == pytest.approx([-0.05 * FOOT.metres])
    assert np.isnan(cells(measure, "common_lines", "gap_start")).all()


@pytest.mark.parametrize(
    ("line", "slug"),
    [
        ({"course": "9"}, "unknown-course"),
        ({"other": "9"}, "unknown-course"),
        ({"figure": "Lot 9"}, "unknown-section-name"),
        ({"figure": "Lot 1"}, "unknown-section-name"),
    ],
)
def test_a_common_line_that_is_not_there_is_named(line: dict[str, str], slug: str) -> None:
    with pytest.raises(InputError) as caught:
        lots(LOT, place=None, **line)
    assert caught.value.problems[0].slug == slug


# ---------------------------------------------------------------- drawn side by side


def side_by_side(*outlines: list[tuple[float, float]]) -> Measure:
    figures = [
        drawn_figure("LOTS", outline, closed=True, handle=f"{index:X}")
        for index, outline in enumerate(outlines, 16)
    ]
    return drawn(drawing_of(figures), "LOTS", unit=LengthUnit.METRE)


def box(east: float, north: float, width: float, height: float) -> list[tuple[float, float]]:
    return [
        (east, north),
        (east + width, north),
        (east + width, north + height),
        (east, north + height),
    ]


def test_lots_that_fit_say_nothing() -> None:
    measure = side_by_side(box(0, 0, 40, 30), box(40, 0, 40, 30), box(200, 0, 10, 10))
    assert not ids(measure, "neighbours")


def test_an_overlap_has_its_area() -> None:
    """General reference by hand: a strip of 0.2 m along 30 m."""
    measure = side_by_side(box(0, 0, 40, 30), box(39.8, 0, 40, 30))
    overlap = [value for value in cells(measure, "neighbours", "overlap") if np.isfinite(value)]
    assert overlap == pytest.approx([6.0])
    gaps = [value for value in cells(measure, "neighbours", "gap") if np.isfinite(value)]
    assert gaps == [] or max(gaps) <= 0.2 + 1e-9


def test_a_gap_shows_at_the_corners() -> None:
    measure = side_by_side(box(0, 0, 40, 30), box(40.15, 0, 40, 30))
    gaps = [value for value in cells(measure, "neighbours", "gap") if np.isfinite(value)]
    assert gaps == pytest.approx([0.15] * 4)
    assert np.isnan(cells(measure, "neighbours", "overlap")).all()


def test_a_curved_side_between_two_lots_is_no_overlap() -> None:
    """Both lots share one arc; followed by chords it leaves less than the eye of a needle."""
    bow = math.tan(math.radians(30) / 4)
    west = drawn_figure(
        "LOTS",
        [(0, 0), (40, 0), (40, 30), (0, 30)],
        bulge=(0.0, bow, 0.0, 0.0),
        closed=True,
        handle="20",
    )
    east = drawn_figure(
        "LOTS",
        [(40, 0), (80, 0), (80, 30), (40, 30)],
        bulge=(0.0, 0.0, 0.0, -bow),
        closed=True,
        handle="21",
    )
    measure = drawn(drawing_of([west, east]), "LOTS", unit=LengthUnit.METRE)
    assert not ids(measure, "neighbours")


# ---------------------------------------------------------------- areas by other ways


def test_double_meridian_distances_give_the_area_of_the_chords() -> None:
    text = (
        "bearing,distance,radius,turn,delta,tangent\n"
        "N 70 E,100,,,,\n,,50,left,90,yes\nS 70 W,90,,,,\nS 15 E,118,,,,\n"
    )
    measure = figure(text)
    dmd, latitude = values(measure, "dmd"), values(measure, "latitude")
    assert dmd[0] == pytest.approx(values(measure, "departure")[0])
    gap = np.array([summary(measure)["misclosure_n"], summary(measure)["misclosure_e"]])
    # The figure is closed over its misclosure by one more course.
    last = dmd[-1] + values(measure, "departure")[-1] - gap[1]
    double = float(np.sum(dmd * latitude) - gap[0] * last)
    segments = float(np.nansum(values(measure, "segment_area")))
    assert segments == pytest.approx(50**2 * (math.pi / 2 - 1) / 2)
    total = summary(measure)
    assert abs(double) / 2 == pytest.approx(total["area"] - total["area_segments"], abs=1e-6)
    assert total["area_segments"] == pytest.approx(segments)
