"""Rules side by side, sets and their limits, azimuths from another north, blunders as tables."""

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from checker.adjust.shares import compass_rule
from checker.errors import InputError
from checker.model.books import RepeatedSets, TraverseBook
from checker.model.job import Adjust, AngleKind, AzimuthKind, Shape, Tolerance
from checker.model.measure import Measure, Supplement
from checker.units import ARCSEC, Formula, parse_angle
from tests.support.books import (
    NAN,
    comparison,
    direction,
    length,
    summary,
    traverse,
    traverse_book,
    values,
)

SQUARE = [
    ("A", "B", parse_angle("270-00-04"), 100.02),
    ("B", "C", parse_angle("270-00-00"), 149.99),
    ("C", "D", parse_angle("269-59-58"), 100.0),
    ("D", "A", parse_angle("270-00-10"), 150.0),
]
RULES = [Adjust.COMPASS, Adjust.TRANSIT, Adjust.CRANDALL, Adjust.LEAST_SQUARES]


def square(adjust: Adjust) -> Measure:
    return traverse(SQUARE, start_azimuth_rad=parse_angle("90-00-00"), adjust=adjust)


def table(measure: Measure, key: str) -> Supplement:
    return next(each for each in measure.supplements if each.key == key)


def cells(measure: Measure, key: str, name: str) -> np.ndarray:
    return np.asarray(next(each for each in table(measure, key).columns if each.key == name).values)


@pytest.mark.parametrize("rule", RULES)
def test_the_rule_that_is_used_drives_the_rows(rule: Adjust) -> None:
    measure = square(rule)
    word = rule.value.replace("-", "_")
    for axis in "ne":
        beside = cells(measure, "coordinates_by_rule", f"{word}_{axis}")
        assert values(measure, f"adjusted_{axis}") == pytest.approx(beside)
    used = cells(measure, "rules", "used").tolist()
    assert used == ["this rule" if each is rule else "" for each in RULES]


def test_every_rule_ends_on_the_start_and_gives_the_same_whichever_is_used() -> None:
    tables = [table(square(rule), "coordinates_by_rule") for rule in RULES]
    for one, other in pairwise(tables):
        for a, b in zip(one.columns, other.columns, strict=True):
            assert a.key == b.key
            assert a.values == pytest.approx(b.values)
    for column in tables[0].columns:
        assert column.values[-1] == pytest.approx(0.0, abs=1e-9)


def test_crandalls_rule_turns_nothing() -> None:
    measure = square(Adjust.CRANDALL)
    turned = values(measure, "adjusted_azimuth") - values(measure, "azimuth")
    assert np.remainder(turned + 1.0, math.tau) == pytest.approx(np.ones(4), abs=1e-12)
    assert cells(measure, "rules", "largest_turn_arcsec")[2] == pytest.approx(0.0, abs=1e-9)


def test_legs_in_one_line_leave_crandalls_rule_out() -> None:
    rows = [("A", "B", NAN, 100.0), ("B", "A", parse_angle("0-00-20"), 100.01)]
    measure = traverse(rows, start_azimuth_rad=0.0, adjust=Adjust.CRANDALL)
    assert np.isnan(values(measure, "adjusted_n")).all()
    assert any("Crandall's rule cannot be applied" in text for text in measure.remarks)
    assert "Crandall" not in table(measure, "rules").id.tolist()


def test_without_a_rule_nothing_stands_beside() -> None:
    assert not [each for each in square(Adjust.NONE).supplements if each.key != "blunders"]


def test_courses_say_what_the_rule_changed() -> None:
    measure = square(Adjust.COMPASS)
    total = summary(measure)
    change = compass_rule(
        np.array([row[3] for row in SQUARE]), total["misclosure_n"], total["misclosure_e"]
    )
    assert cells(measure, "courses", "correction_latitude") == pytest.approx(change[0])
    assert cells(measure, "courses", "correction_departure") == pytest.approx(change[1])
    assert cells(measure, "angles", "correction_arcsec") == pytest.approx(
        np.full(4, -total["angular_misclosure_arcsec"] / 4)
    )


# ---------------------------------------------------------------- sets


def with_sets(angle: list[float], distance: list[float]) -> TraverseBook:
    book = traverse_book(SQUARE)
    count = len(angle)
    return TraverseBook(
        **{
            name: getattr(book, name)
            for name in (
                *("path", "line", "at", "to", "angle_rad", "distance_m", "slope_m"),
                *("zenith_rad", "hi_m", "ht_m"),
            )
        },
        sets=RepeatedSets(
            row=np.zeros(count, dtype=np.int64),
            line=np.arange(count, dtype=np.int64) + 2,
            face=np.zeros(count, dtype=np.int64),
            angle_rad=np.array(angle),
            distance_m=np.array(distance),
        ),
    )


def test_the_spread_of_sets_is_that_of_statistics() -> None:
    """General reference library: numpy's standard deviation with one degree of freedom less."""
    seconds = np.array([358.0, 2.0, 4.0])
    book = with_sets((seconds * ARCSEC + math.tau).tolist(), [100.0, 100.006, NAN])
    measure = traverse(book, start_azimuth_rad=0.0)
    found = {
        column.key: column.values[0]
        for column in table(measure, "sets").columns
        if column.key != "to"
    }
    assert found["angle_sets"] == 3
    assert found["angle_sigma_arcsec"] / ARCSEC == pytest.approx(np.std(seconds, ddof=1))
    assert found["angle_sigma_mean_arcsec"] / ARCSEC == pytest.approx(
        np.std(seconds, ddof=1) / math.sqrt(3)
    )
    assert found["angle_range_arcsec"] / ARCSEC == pytest.approx(356.0)
    assert found["angle_off_arcsec"] / ARCSEC == pytest.approx(358.0 - seconds.mean())
    assert found["distance_sets"] == 2
    assert found["distance_off"] == pytest.approx(0.003)
    total = summary(measure)
    assert total["set_distance"] == pytest.approx(0.003)


def limited(name: str) -> Tolerance:
    return Tolerance(
        name=name,
        set_angle=Formula(constant=2 * ARCSEC, text="2 arcsec"),
        set_distance=Formula(constant=0.002, text="2 mm"),
    )


def test_a_limit_of_sets_compares_the_one_furthest_off() -> None:
    book = with_sets([0.0, 6.0 * ARCSEC], [100.0, 100.006])
    measure = traverse(book, start_azimuth_rad=0.0, tolerance=limited(""))
    assert comparison(measure, "set_angle").value[0] == pytest.approx(3.0 * ARCSEC)
    assert comparison(measure, "set_distance").value[0] == pytest.approx(0.003)


def test_a_limit_of_its_own_must_be_shown_and_a_shared_one_is_said() -> None:
    own = traverse(SQUARE, start_azimuth_rad=0.0, tolerance=limited(""))
    absent = comparison(own, "set_angle").absent
    assert absent is not None
    assert absent[0] == "no angle was measured in more than one set"
    shared = traverse(SQUARE, start_azimuth_rad=0.0, tolerance=limited("third order"))
    assert {each.limit for each in shared.comparisons} == {"angular", "misclosure", "ratio"}
    assert any("that limit was not used" in text for text in shared.remarks)


# ---------------------------------------------------------------- azimuths from another north


ZONE = "EPSG:25833"
"""A transverse Mercator zone of 6 degrees: convergence of some degrees away from its middle."""


def geodetic(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return the geodetic azimuth of a line on the grid, by pyproj's geodesics."""
    from pyproj import CRS, Transformer

    frame = CRS.from_user_input(ZONE)
    to_degrees = Transformer.from_crs(frame, frame.geodetic_crs, always_xy=True)
    (lon1, lat1), (lon2, lat2) = (to_degrees.transform(e, n) for n, e in (a, b))
    geod = frame.get_geod()
    assert geod is not None
    return math.radians(geod.inv(lon1, lat1, lon2, lat2)[0]) % math.tau


STATIONS = [(5_400_000.0, 560_000.0), (5_400_300.0, 562_500.0), (5_399_800.0, 565_500.0)]


def test_stated_geodetic_azimuths_close_a_link_on_the_grid() -> None:
    """General reference library: pyproj's geodesic azimuths, of lines so short that they are grid
    azimuths plus convergence to a tenth of a second."""
    near = [(n + 50.0, e + 20.0) for n, e in STATIONS]
    back, ahead = near[0], near[2]
    a, b, c = STATIONS
    right = [
        (direction(a, b) - direction(a, back)) % math.tau,
        (direction(b, c) - direction(b, a)) % math.tau,
        (direction(c, ahead) - direction(c, b)) % math.tau,
    ]
    rows = [
        ("A", "B", right[0], length(a, b)),
        ("B", "C", right[1], length(b, c)),
        ("C", "M", right[2], NAN),
    ]
    more: dict[str, Any] = {
        "shape": Shape.LINK,
        "start": a,
        "close": c,
        "start_azimuth_rad": geodetic(a, back),
        "close_azimuth_rad": geodetic(c, ahead),
        "crs": ZONE,
    }
    found = summary(traverse(rows, azimuths=AzimuthKind.GEODETIC, **more))
    assert found["angular_misclosure_arcsec"] / ARCSEC == pytest.approx(0.0, abs=0.1)
    assert found["misclosure"] < 0.01
    told = traverse(rows, **more)
    assert any("the convergence of the meridians changes by" in text for text in told.remarks)
    as_grid = summary(told)
    # Convergence changes by about sin(latitude) times the difference of longitude: minutes.
    assert abs(as_grid["angular_misclosure_arcsec"]) > 100.0 * ARCSEC


@pytest.mark.parametrize("kind", [AzimuthKind.GEODETIC, AzimuthKind.ASTRONOMIC])
def test_observed_directions_are_brought_to_the_grid_where_they_were_observed(
    kind: AzimuthKind,
) -> None:
    path = [(n, e) for n, e in STATIONS]
    # Short stubs give the direction at each station free of the arc's curvature.
    rows = []
    for at, to in pairwise(path):
        unit = np.subtract(to, at) / length(at, to)
        stub = tuple(np.add(at, 50.0 * unit))
        rows.append(
            (
                f"P{path.index(at)}",
                f"P{path.index(to)}",
                geodetic(at, (float(stub[0]), float(stub[1]))),
                length(at, to),
            )
        )
    measure = traverse(
        rows,
        shape=Shape.LINK,
        angles=AngleKind.AZIMUTH,
        start=path[0],
        close=path[-1],
        azimuths=kind,
        crs=ZONE,
    )
    assert summary(measure)["misclosure"] < 0.005
    assert any("convergence" in text for text in measure.remarks)
    assert any("deflection of the vertical" in text for text in measure.remarks) == (
        kind is AzimuthKind.ASTRONOMIC
    )


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:999999", ""])
def test_no_grid_no_convergence(crs: str) -> None:
    with pytest.raises(InputError) as caught:
        traverse(SQUARE, start_azimuth_rad=0.0, azimuths=AzimuthKind.GEODETIC, crs=crs)
    assert caught.value.problems[0].slug == "no-convergence"


# ---------------------------------------------------------------- blunders


def test_a_wrong_leg_stands_first_with_its_size() -> None:
    rows = [*SQUARE[:2], ("C", "D", SQUARE[2][2], 110.0), SQUARE[3]]
    measure = traverse(rows, start_azimuth_rad=parse_angle("90-00-00"))
    first = table(measure, "blunders")
    assert first.id[0] in ("distance C to D", "distance A to B")
    assert {"distance C to D", "distance A to B"} == set(first.id[:2])
    assert abs(cells(measure, "blunders", "error")[0]) == pytest.approx(10.0, abs=0.05)
    assert cells(measure, "blunders", "explained")[0] > 0.99


def test_a_wrong_angle_is_where_the_runs_from_both_ends_meet() -> None:
    rows = [
        row if row[0] != "C" else (*row[:2], row[2] + math.radians(1.0), row[3]) for row in SQUARE
    ]
    measure = traverse(rows, start_azimuth_rad=parse_angle("90-00-00"))
    assert table(measure, "blunders").id[0] == "angle at C (to D)"
    ways = table(measure, "both_ways")
    apart = cells(measure, "both_ways", "apart")
    assert ways.id[int(np.argmin(apart))] == "C"
    assert float(apart.min()) < 0.1 < float(np.sort(apart)[1])


def test_a_station_that_is_reached_twice_is_compared_with_itself() -> None:
    """Out and home over the same station, 3 mm short."""
    rows = [
        ("A", "B", NAN, 100.0),
        ("B", "C", math.pi, 50.0),
        ("C", "B", 0.0, 49.997),
        ("B", "A", math.pi, 100.0),
    ]
    measure = traverse(rows, start_azimuth_rad=0.0)
    assert "Station B was reached twice: later minus earlier +3.0 mm north" in " ".join(
        measure.remarks
    )


def test_a_leg_without_an_angle_between_two_stated_azimuths_shares_nothing() -> None:
    measure = traverse(
        [("A", "B", NAN, 100.0)],
        shape=Shape.LINK,
        close=(100.0, 0.0),
        start_azimuth_rad=0.0,
        close_azimuth_rad=20.0 * ARCSEC,
        adjust=Adjust.COMPASS,
    )
    assert summary(measure)["angular_misclosure_arcsec"] == pytest.approx(-20.0 * ARCSEC)
    assert any(text.startswith("No angle was observed") for text in measure.remarks)
