"""Ready tolerances are what their sources printed, and are taken only where they are named."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from checker.errors import InputError
from checker.formulas import parse_formula
from checker.model.job import Job
from checker.read.files import Source
from checker.read.job import read_job
from checker.read.standards import closure_classes
from checker.units import LengthUnit, UnitError

PUBLISHED = Path(__file__).parents[2] / "published" / "accuracy"
INCH = 0.0254
FOOT = 0.3048
MM = 0.001
HEAD = (
    '[job]\ntitle = "Invented"\nunit = "foot"\n[design]\npoints = "d.csv"\n'
    '[measured]\nfiles = ["m.csv"]\n'
)


def case(name: str) -> dict[str, Any]:
    found = tomllib.loads((PUBLISHED / f"{name}.toml").read_text(encoding="utf-8"))
    assert found["status"] in ("SEEN", "VERIFIED")
    return found


def limit(name: str, key: str) -> float:
    value = parse_formula(closure_classes()[name][key], "length", LengthUnit.FOOT).at()
    return float(value)


@pytest.mark.parametrize(
    ("name", "key", "source", "printed", "metres"),
    [
        (
            "anchor-rods-group",
            "distance",
            "tol-aisc303-anchor-rods",
            "within_group_center_to_center",
            INCH,
        ),
        (
            "anchor-rods-adjacent",
            "distance",
            "tol-aisc303-anchor-rods",
            "between_adjacent_groups",
            INCH,
        ),
        ("concrete-members", "horizontal", "tol-ufgs-03700-concrete", "lateral_members", INCH),
        (
            "concrete-slab-openings",
            "horizontal",
            "tol-ufgs-03700-concrete",
            "lateral_slab_openings",
            INCH,
        ),
        ("concrete-slab", "vertical", "tol-ufgs-03700-concrete", "slab_on_grade_elevation", INCH),
        (
            "subgrade-lawrenceburg",
            "vertical",
            "tol-lawrenceburg-subgrade",
            "subgrade_grade_and_cross_section",
            INCH,
        ),
        ("subgrade-kentucky", "vertical", "tol-kytc-earthwork", "subgrade_grade", FOOT),
        ("subgrade-rock-kentucky", "vertical", "tol-kytc-earthwork", "rock_subgrade_grade", FOOT),
        ("rough-grading-overland-park", "vertical", "tol-overland-park", "rough_grading_ft", FOOT),
        ("water-pipe-tauranga", "horizontal", "tol-nz-tauranga-pipes", "water_horizontal_mm", MM),
        ("water-pipe-tauranga", "vertical", "tol-nz-tauranga-pipes", "water_vertical_mm", MM),
        ("control-check-missouri", "horizontal", "tol-modot-qa", "control_check_horizontal", FOOT),
        ("control-check-missouri", "vertical", "tol-modot-qa", "control_3d_vertical", FOOT),
    ],
)
def test_limits_are_those_that_were_read(
    name: str, key: str, source: str, printed: str, metres: float
) -> None:
    assert limit(name, key) == pytest.approx(case(source)["expected"][printed] * metres, rel=1e-12)


@pytest.mark.parametrize("layer", ["surface", "binder", "base", "capping"])
def test_layers_of_a_road_are_those_whose_labels_were_read(layer: str) -> None:
    found = case("tol-uk-road-layers")
    at = found["inputs"]["order"].index(layer)
    assert limit(f"road-{layer}-uk", "above") == pytest.approx(found["expected"]["upper"][at] * MM)
    assert limit(f"road-{layer}-uk", "below") == pytest.approx(-found["expected"]["lower"][at] * MM)


def test_rows_whose_labels_were_lost_are_left_out() -> None:
    assert not {"road-subbase-uk", "road-formation-uk"} & set(closure_classes())


def test_both_sides_of_a_section_and_of_a_sub_base() -> None:
    low, high = case("tol-ufgs-03700-concrete")["expected"]["cross_section_le_12in"]
    assert limit("concrete-section", "shorter") == pytest.approx(-low * INCH)
    assert limit("concrete-section", "longer") == pytest.approx(high * INCH)
    low, high = case("tol-nz-tauranga-subbase")["expected"]["subbase"]
    assert -low == high
    assert limit("subbase-tauranga", "vertical") == pytest.approx(high * MM)


@pytest.mark.parametrize(
    ("name", "row"),
    [
        ("concrete-upright", "lines_surfaces"),
        ("concrete-upright-exposed", "exposed_corner_columns"),
    ],
)
def test_a_limit_that_grows_with_the_height_and_has_a_cap(name: str, row: str) -> None:
    """tol-ufgs-03700-concrete: a constant up to 100 ft, above that height / N, with a maximum."""
    found = case("tol-ufgs-03700-concrete")["expected"]
    short = found["vertical_alignment_height_le_100ft"][row]
    match = re.fullmatch(
        r"height/(\d+), max (\d+)", found["vertical_alignment_height_gt_100ft"][row]
    )
    assert match is not None
    run, most = float(match[1]), float(match[2])
    formula = parse_formula(closure_classes()[name]["plumb"], "length", LengthUnit.FOOT)
    for feet in (1.0, 50.0, 100.0):
        assert formula.at(length_m=feet * FOOT) == pytest.approx(short * INCH)
    for feet in (100.001, 150.0, 400.0, 499.0, 501.0, 1000.0):
        expected = min(feet * 12.0 / run, most)
        assert formula.at(length_m=feet * FOOT) == pytest.approx(expected * INCH)


def job(text: str) -> Job:
    return read_job(Source(path="job.toml", data=(HEAD + text).encode()), Path())


def test_a_section_names_a_class_and_gets_its_clause() -> None:
    text = '[[relative]]\npairs = [["1", "2"]]\ntolerance = { class = "anchor-rods-group" }\n'
    tolerance = job(text).checks[0].tolerance
    assert tolerance is not None
    assert tolerance.distance is not None
    assert tolerance.distance.at() == pytest.approx(0.125 * INCH)
    assert "AISC 303" in str(tolerance.source)
    assert "7.5.1" in str(tolerance.source)


def test_a_class_that_limits_something_else_is_refused() -> None:
    text = '[[relative]]\npairs = [["1", "2"]]\ntolerance = { class = "concrete-slab" }\n'
    with pytest.raises(InputError) as fault:
        job(text)
    assert [each.slug for each in fault.value.problems] == ["useless-tolerance"]


def test_nothing_is_applied_that_was_not_asked_for() -> None:
    text = '[[relative]]\npairs = [["1", "2"]]\ntolerance = { elevation = "1 in" }\n'
    tolerance = job(text).checks[0].tolerance
    assert tolerance is not None
    assert tolerance.distance is None
    assert tolerance.source is None


@pytest.mark.parametrize(
    ("text", "at_m"),
    [
        ("1:500", {0.0: 0.0, 10.0: 0.02}),
        ("1 : 500, at most 25 mm", {10.0: 0.02, 12.5: 0.025, 40.0: 0.025}),
        ("1:500, at least 5 mm, at most 25 mm", {1.0: 0.005, 10.0: 0.02, 40.0: 0.025}),
        ("1:500; at most 25 mm; at least 5 mm", {1.0: 0.005, 10.0: 0.02, 40.0: 0.025}),
        ("0.2 %, at most 1 in", {5.0: 0.01, 100.0: 0.0254}),
        ("1/4 in per 10 ft", {3.048: 0.00635, 30.48: 0.0635}),
        ("2 mm + 50 ppm, at most 3 mm", {10.0: 0.0025, 100.0: 0.003}),
        ("10 mm up to 5 m, then 1:500", {4.0: 0.01, 5.0: 0.01, 5.001: 0.010002, 50.0: 0.1}),
        ("3 mm UP TO 2 m; THEN 1:400, AT MOST 20 mm", {1.0: 0.003, 4.0: 0.01, 100.0: 0.02}),
    ],
)
def test_limits_of_a_length(text: str, at_m: dict[float, float]) -> None:
    formula = parse_formula(text, "length", LengthUnit.METRE)
    assert formula.needs_length
    assert formula.text == text
    for length, value in at_m.items():
        assert formula.at(length_m=length) == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1:0", "ratio"),
        ("1:500, at most 1:400", "no fixed value"),
        ("1:500, at most 5 mm, at most 6 mm", "twice"),
        ("1:500, at least 9 mm, at most 6 mm", "at least more than it is at most"),
        ("0 mm up to 5 m, then 1:500", "0 mm"),
        ("10 mm up to 5 m", "is not a unit"),
        ("1 in per 0 ft", "0 ft"),
        ("1:500, at most", "at most"),
    ],
)
def test_faults_of_limits_of_a_length(text: str, says: str) -> None:
    with pytest.raises(UnitError, match=re.escape(says)):
        parse_formula(text, "length", LengthUnit.METRE)


def test_a_limit_on_plan_cannot_depend_on_a_length() -> None:
    text = (
        '[tolerance.t]\nhorizontal = "1:500, at most 1 in"\n'
        '[[stakeout]]\nname = "s"\ntolerance = "t"\n'
    )
    with pytest.raises(InputError) as fault:
        job(text)
    assert fault.value.problems[0].slug == "bad-value"
    assert "depends on a length" in fault.value.problems[0].message


def test_both_sides_of_a_distance_cannot_be_limited_twice() -> None:
    text = (
        '[[relative]]\npairs = [["1", "2"]]\ntolerance = { distance = "1 in", longer = "1/2 in" }\n'
    )
    with pytest.raises(InputError) as fault:
        job(text)
    assert [each.slug for each in fault.value.problems] == ["conflicting-keys"]
