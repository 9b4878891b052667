import tomllib
from pathlib import Path
from typing import Any, Literal

import pytest

from checker.errors import InputError
from checker.formulas import parse_formula
from checker.model.job import Job
from checker.read.files import Source
from checker.read.job import read_job
from checker.read.standards import FOLDER, LIMITS, closure_classes
from checker.units import LengthUnit, parse_ratio

PUBLISHED = Path(__file__).parents[2] / "published" / "closures"
HEAD = '[job]\ntitle = "Invented"\nunit = "metre"\n'
TRAVERSE = (
    '[[traverse]]\nfile = "t.csv"\nshape = "loop"\nangles = "right"\n'
    "start = { n = 0, e = 0 }\nstart_azimuth = 0\n"
)
LEVELS = '[[levels]]\nfile = "l.csv"\nstart = { elevation = 1 }\n'


def job(text: str) -> Job:
    return read_job(Source(path="job.toml", data=(HEAD + text).encode()), Path())


def case(name: str) -> dict[str, Any]:
    return tomllib.loads((PUBLISHED / f"{name}.toml").read_text(encoding="utf-8"))


def test_every_class_has_limits_a_source_and_where_it_was_read() -> None:
    raw = tomllib.loads((FOLDER / "closures.toml").read_text(encoding="utf-8"))
    assert set(raw) == {"class"}
    for name, found in closure_classes().items():
        assert set(found) <= {*LIMITS, "words", "source", "seen", "status"}, name
        assert found["status"] == "seen"
        assert found["source"]
        assert found["seen"]
        limits = set(found) & set(LIMITS)
        assert limits
        for key in limits - {"ratio"}:
            kind: Literal["angle", "length"] = "angle" if key == "angular" else "length"
            assert parse_formula(found[key], kind, LengthUnit.METRE).text
        if "ratio" in found:
            assert parse_ratio(found["ratio"]) >= 1000


@pytest.mark.parametrize(
    ("name", "cls"),
    [
        ("fgcs-first", "First"),
        ("fgcs-second-1", "Second I"),
        ("fgcs-second-2", "Second II"),
        ("fgcs-third-1", "Third I"),
        ("fgcs-third-2", "Third II"),
    ],
)
def test_angular_constants_are_those_that_were_read(name: str, cls: str) -> None:
    """std-fgcs-angular-confirmed (SEEN)."""
    rows = case("std-fgcs-angular-confirmed")["inputs"]["classes"]
    k = next(row["k"] for row in rows if row["cls"] == cls)
    assert closure_classes()[name]["angular"] == f"{k:g} arcsec * sqrt(n)"


@pytest.mark.parametrize(
    ("name", "source", "cls"),
    [
        ("nc-boundary-aa", "std-nc-56-1603", "AA local control"),
        ("nc-boundary-a", "std-nc-56-1603", "A urban"),
        ("tx-right-of-way-10000", "std-txdot-row", "level 1"),
        ("tx-right-of-way-15000", "std-txdot-row", "level 2"),
        ("before-1998-first", "std-old-orders-glossary", "First"),
        ("before-1998-second", "std-old-orders-glossary", "Second"),
        ("before-1998-third", "std-old-orders-glossary", "Third"),
    ],
)
def test_traverse_classes_are_those_that_were_read(name: str, source: str, cls: str) -> None:
    found = case(source)
    assert found["status"] in ("SEEN", "VERIFIED")
    row = next(row for row in found["inputs"]["classes"] if row["cls"] == cls)
    ours = closure_classes()[name]
    assert ours["angular"] == f"{row['angle_k']:g} arcsec * sqrt(n)"
    assert parse_ratio(ours["ratio"]) == row["ratio"]
    if "level_mm" in row:
        assert ours["misclosure"] == f"{row['level_mm']:g} mm * sqrt(km)"


@pytest.mark.parametrize("cls", ["A", "B", "C"])
def test_classes_of_levels_are_those_that_were_read(cls: str) -> None:
    row = next(row for row in case("std-nc-56-1605")["inputs"]["classes"] if row["cls"] == cls)
    ours = closure_classes()[f"nc-levels-{cls.lower()}"]
    assert ours["misclosure"] == f"{row['ft_k']:g} ft * sqrt(mi)"


def test_classes_of_single_sources_are_those_that_were_read() -> None:
    classes = closure_classes()
    australia = case("std-au-first-order-levelling")["inputs"]
    k = australia["double_run_mm_sqrt_km"]
    assert classes["au-first-order-levels"]["misclosure"] == f"{k:g} mm * sqrt(km)"
    brazil = case("std-br-nbr13133-partial")["inputs"]["level_IIN_mm_per_sqrt_km"]
    assert classes["nbr-13133-levels-2"]["misclosure"] == f"{brazil:g} mm * sqrt(km)"
    washington = case("std-wac-332-130-090")["inputs"]
    asked = {row["ratio"]: row["k"] for row in washington["angular"]}
    for name, ratio in (("wa-land-boundary-city", 10000), ("wa-land-boundary", 5000)):
        assert parse_ratio(classes[name]["ratio"]) == ratio
        assert classes[name]["angular"] == f"{asked[ratio]:g} arcsec * sqrt(n)"


def test_second_readings_agree_with_the_first() -> None:
    second = case("std-txdot-row-second-reading")["inputs"]
    for name, k in zip(
        ("tx-right-of-way-10000", "tx-right-of-way-15000"), second["angular_k_sec"], strict=True
    ):
        assert closure_classes()[name]["angular"] == f"{k:g} arcsec * sqrt(n)"
    for row in case("std-nc-1603-more")["inputs"]["classes"]:
        ours = closure_classes()[f"nc-boundary-{row['cls'].split()[0].lower()}"]
        assert ours["angular"] == f"{row['angle_k']:g} arcsec * sqrt(n)"
        assert ("ratio" in ours) == ("ratio" in row)


@pytest.mark.parametrize("cls", ["First", "Second", "Third"])
def test_highway_orders_are_what_is_safe_of_the_garbled_table(cls: str) -> None:
    found = case("std-caltrans-5-1a-2006")["inputs"]
    row = next(row for row in found["horizontal"] if row["cls"] == cls)
    ours = closure_classes()[f"ca-highway-{cls.lower()}"]
    assert parse_ratio(ours["ratio"]) == row["ratio"]
    if cls == "First":
        assert ours["misclosure"] == f"{found['vertical_first_ft_k']:g} ft * sqrt(mi)"
    else:
        assert "misclosure" not in ours


def test_a_tolerance_takes_the_limits_and_the_source_of_a_class() -> None:
    check = job(TRAVERSE + 'tolerance = { class = "nc-boundary-a" }\n').checks[0]
    assert check.tolerance is not None
    assert check.tolerance.ratio == 10000.0
    assert check.tolerance.angular is not None
    assert check.tolerance.angular.text == "20 arcsec * sqrt(n)"
    assert "21 NCAC 56 .1603" in str(check.tolerance.source)


def test_a_section_takes_of_a_class_what_it_can_compare() -> None:
    check = job(LEVELS + 'tolerance = { class = "before-1998-third" }\n').checks[0]
    assert check.tolerance is not None
    assert check.tolerance.misclosure is not None
    assert check.tolerance.ratio is None
    named = job(
        '[tolerance.t]\nclass = "before-1998-third"\nsource = "contract"\n'
        + LEVELS
        + 'tolerance = "t"\n'
    ).checks[0]
    assert named.tolerance is not None
    assert named.tolerance.misclosure == check.tolerance.misclosure
    assert named.tolerance.source == "contract"


@pytest.mark.parametrize(
    ("tolerance", "slug", "says"),
    [
        ('{ class = "nc-boundary-c" }', "unknown-class", 'did you mean "nc-boundary-'),
        ('{ class = "land-title-relative" }', "useless-tolerance", "before-1998-first"),
        ('{ class = "nc-boundary-a", ratio = "1:5000" }', "conflicting-keys", "without a class"),
    ],
)
def test_a_class_that_cannot_be_used_is_refused(tolerance: str, slug: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        job(TRAVERSE + f"tolerance = {tolerance}\n")
    (problem,) = caught.value.problems
    assert problem.slug == slug
    assert says in problem.hint
