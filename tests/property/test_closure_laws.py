"""Laws of closures: traverses and level runs made from known places, with planted errors.

The books are made from coordinates by other means than those under test: complex numbers and
`math.dist` (tests/support/books.py).
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from checker.model.job import Adjust, AngleKind, Shape
from checker.model.measure import Measure
from checker.units import ARCSEC
from tests.support.books import (
    NAN,
    Place,
    angle_at,
    comparison,
    direction,
    length,
    level_book,
    levels,
    rise_book,
    summary,
    traverse,
    values,
)

pytestmark = pytest.mark.property

TURNED = (AngleKind.RIGHT, AngleKind.LEFT, AngleKind.INTERIOR, AngleKind.DEFLECTION)
RULES = (Adjust.NONE, Adjust.COMPASS, Adjust.TRANSIT, Adjust.LEAST_SQUARES)
CLOSE_M = 1e-9
BACK_M = 1e-6
BACK_RAD = 0.01 * ARCSEC

Row = tuple[str, str, float, float]


@dataclass(frozen=True)
class Walk:
    """A traverse as it was laid out: its rows without an error, and what the job says of it.

    turned: rows with an angle that the closure counts.
    """

    rows: tuple[Row, ...]
    places: tuple[Place, ...]
    more: dict[str, Any]
    turned: tuple[int, ...]

    def measure(self, rows: tuple[Row, ...] | None = None, **changes: Any) -> Measure:
        return traverse(list(rows or self.rows), **(self.more | changes))

    def planted(self, row: int, *, angle: float = 0.0, distance: float = 0.0) -> tuple[Row, ...]:
        at, to, observed, leg = self.rows[row]
        wrong = (at, to, observed + angle, leg + distance)
        return (*self.rows[:row], wrong, *self.rows[row + 1 :])


@st.composite
def places(draw: st.DrawFn, least: int = 3, most: int = 8) -> tuple[Place, ...]:
    """Stations that no two legs shorter than a metre join, far from the origin as grids are."""
    origin = draw(st.sampled_from([(0.0, 0.0), (512_000.0, 618_000.0)]))
    step = st.integers(-20_000, 20_000)
    found = draw(st.lists(st.tuples(step, step), min_size=least, max_size=most, unique=True))
    stations = tuple((origin[0] + n / 40 + 0.0123, origin[1] + e / 40 + 0.0456) for n, e in found)
    for first in range(len(stations)):
        for second in range(first):
            assume(length(stations[first], stations[second]) > 1.0)
    return stations


@st.composite
def walks(draw: st.DrawFn, kinds: tuple[AngleKind, ...] = TURNED) -> Walk:
    """Every shape that closes, every kind of angle, every way to close the angles."""
    kind = draw(st.sampled_from(kinds))
    clockwise = draw(st.booleans()) if kind is AngleKind.INTERIOR else False
    shape = draw(st.sampled_from([Shape.LOOP, Shape.LINK]))
    stations = draw(places())
    names = [f"S{index}" for index in range(len(stations))]
    ends = shape is Shape.LOOP
    path = [*stations, stations[0]] if ends else list(stations)
    called = [*names, names[0]] if ends else list(names)
    backsight, foresight = draw(places(least=2, most=2))
    known = dict(zip(names, stations, strict=True)) | {"BS": backsight, "FS": foresight}
    assume(min(length(backsight, path[0]), length(foresight, path[-1])) > 1.0)

    def angle(back: Place, station: Place, ahead: Place) -> float:
        return angle_at(kind, back, station, ahead, cw=clockwise)

    way = draw(st.sampled_from(["marks", "azimuths", "itself"] if ends else ["marks", "azimuths"]))
    more: dict[str, Any] = {
        "known": known,
        "shape": shape,
        "angles": kind,
        "clockwise": clockwise,
        "start": names[0],
        "close": None if ends else names[-1],
    }
    back_of_first: Place | None = backsight
    ahead_of_last: Place | None = foresight
    last_name = "FS"
    if way == "marks":
        more |= {"backsight": "BS", "foresight": "FS"}
    elif way == "azimuths":
        back_of_first = ahead_of_last = None
        more |= {
            "start_azimuth_rad": direction(path[0], path[1]),
            "close_azimuth_rad": direction(path[-2], path[-1]),
        }
    elif draw(st.booleans()):  # the first angle is turned from the last station
        back_of_first, ahead_of_last = path[-2], None
        more["start_azimuth_rad"] = direction(path[0], path[-2])
    else:  # the angle at the start comes last
        back_of_first, ahead_of_last, last_name = None, path[1], names[1]
        more["start_azimuth_rad"] = direction(path[0], path[1])
    rows: list[Row] = []
    for index in range(len(path) - 1):
        back = path[index - 1] if index else back_of_first
        turned = NAN if back is None else angle(back, path[index], path[index + 1])
        rows.append(
            (called[index], called[index + 1], turned, length(path[index], path[index + 1]))
        )
    if ahead_of_last is not None:
        rows.append((called[-1], last_name, angle(path[-2], path[-1], ahead_of_last), NAN))
    counted = tuple(index for index, row in enumerate(rows) if not math.isnan(row[2]))
    return Walk(rows=tuple(rows), places=tuple(path), more=more, turned=counted)


@st.composite
def observed_walks(draw: st.DrawFn) -> Walk:
    """A traverse of observed azimuths."""
    stations = draw(places())
    shape = draw(st.sampled_from([Shape.LOOP, Shape.LINK]))
    path = [*stations, stations[0]] if shape is Shape.LOOP else list(stations)
    names = [f"S{index % len(stations)}" for index in range(len(path))]
    rows = tuple(
        (names[i], names[i + 1], direction(path[i], path[i + 1]), length(path[i], path[i + 1]))
        for i in range(len(path) - 1)
    )
    more: dict[str, Any] = {
        "shape": shape,
        "angles": AngleKind.AZIMUTH,
        "start": path[0],
        "close": None if shape is Shape.LOOP else path[-1],
    }
    return Walk(rows=rows, places=tuple(path), more=more, turned=())


@given(walks(), st.sampled_from(RULES))
def test_a_traverse_from_known_places_closes(walk: Walk, rule: Adjust) -> None:
    measure = walk.measure(adjust=rule)
    total = summary(measure)
    assert total["misclosure"] < CLOSE_M
    assert total["angular_misclosure_arcsec"] == pytest.approx(0.0, abs=BACK_RAD / 1000)
    assert total["angles"] == len(walk.turned)
    n, e = np.array(walk.places[1:]).T
    np.testing.assert_allclose(values(measure, "n"), n, atol=CLOSE_M, rtol=0)
    np.testing.assert_allclose(values(measure, "e"), e, atol=CLOSE_M, rtol=0)
    if rule is not Adjust.NONE:
        np.testing.assert_allclose(values(measure, "adjusted_n"), n, atol=CLOSE_M, rtol=0)


@given(observed_walks(), st.sampled_from(RULES))
def test_observed_directions_close(walk: Walk, rule: Adjust) -> None:
    measure = walk.measure(adjust=rule)
    assert summary(measure)["misclosure"] < CLOSE_M
    assert math.isnan(summary(measure)["angular_misclosure_arcsec"])


@given(walks(), st.floats(-2000.0, 2000.0), st.data())
def test_a_planted_angle_comes_back(walk: Walk, seconds: float, data: st.DataObject) -> None:
    row = data.draw(st.sampled_from(walk.turned))
    measure = walk.measure(walk.planted(row, angle=seconds * ARCSEC))
    found = summary(measure)["angular_misclosure_arcsec"]
    assert found == pytest.approx(seconds * ARCSEC, abs=BACK_RAD)
    assert comparison(measure, "angular").value[0] == found


@given(walks(), st.floats(-2000.0, 2000.0), st.data())
def test_shared_angles_close(walk: Walk, seconds: float, data: st.DataObject) -> None:
    row = data.draw(st.sampled_from(walk.turned))
    rows = walk.planted(row, angle=seconds * ARCSEC)
    measure = walk.measure(rows, adjust=Adjust.COMPASS)
    # Putting the angles as used into a book without a rule must leave no angular misclosure.
    share = -seconds * ARCSEC / len(walk.turned)
    again = tuple(
        (at, to, angle + (share if index in walk.turned else 0.0), leg)
        for index, (at, to, angle, leg) in enumerate(rows)
    )
    shared = walk.measure(again)
    assert summary(shared)["angular_misclosure_arcsec"] == pytest.approx(0.0, abs=BACK_RAD)
    for key in ("misclosure_n", "misclosure_e"):
        assert summary(measure)[key] == pytest.approx(summary(shared)[key], abs=BACK_M)
        raw = summary(walk.measure(rows))[key]
        assert summary(measure)[f"raw_{key}"] == pytest.approx(raw, abs=BACK_M)


@given(walks(), st.floats(-0.9, 5.0), st.data())
def test_a_planted_length_comes_back(walk: Walk, error: float, data: st.DataObject) -> None:
    legs = len(walk.places) - 1
    row = data.draw(st.integers(0, legs - 1))
    total = summary(walk.measure(walk.planted(row, distance=error)))
    azimuth = direction(walk.places[row], walk.places[row + 1])
    assert total["misclosure_n"] == pytest.approx(error * math.cos(azimuth), abs=BACK_M)
    assert total["misclosure_e"] == pytest.approx(error * math.sin(azimuth), abs=BACK_M)
    assert total["misclosure"] == pytest.approx(abs(error), abs=BACK_M)


@given(walks(), st.floats(-0.5, 0.5), st.sampled_from(RULES[1:]), st.data())
def test_a_rule_ends_on_the_known_point(
    walk: Walk, error: float, rule: Adjust, data: st.DataObject
) -> None:
    row = data.draw(st.integers(0, len(walk.places) - 2))
    measure = walk.measure(walk.planted(row, distance=error), adjust=rule)
    n, e = walk.places[-1]
    assert values(measure, "adjusted_n")[-1] == pytest.approx(n, abs=BACK_M)
    assert values(measure, "adjusted_e")[-1] == pytest.approx(e, abs=BACK_M)


@given(
    observed_walks(), st.floats(-0.5, 0.5), st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
)
def test_moving_everything_moves_only_coordinates(
    walk: Walk, error: float, by: tuple[float, float]
) -> None:
    def moved(place: Place | None) -> Place | None:
        return None if place is None else (place[0] + by[0], place[1] + by[1])

    rows = walk.planted(0, distance=error)
    before = walk.measure(rows, adjust=Adjust.COMPASS)
    after = walk.measure(
        rows,
        adjust=Adjust.COMPASS,
        start=moved(walk.more["start"]),
        close=moved(walk.more["close"]),
    )
    for key in ("misclosure_n", "misclosure_e", "length"):
        assert summary(after)[key] == pytest.approx(summary(before)[key], abs=BACK_M)
    shift = values(after, "adjusted_n") - values(before, "adjusted_n")
    np.testing.assert_allclose(shift, by[0], atol=BACK_M)


@given(observed_walks(), st.floats(-0.5, 0.5), st.floats(0.0, 2 * math.pi))
def test_turning_everything_turns_the_misclosure(walk: Walk, error: float, turn: float) -> None:
    def turned(place: Place | None) -> Place | None:
        if place is None:
            return None
        cosine, sine = math.cos(turn), math.sin(turn)
        n, e = place[0] - walk.places[0][0], place[1] - walk.places[0][1]
        return (n * cosine - e * sine, n * sine + e * cosine)

    rows = walk.planted(0, distance=error)
    away = tuple((at, to, azimuth + turn, leg) for at, to, azimuth, leg in rows)
    before = summary(walk.measure(rows))
    after = summary(
        walk.measure(away, start=turned(walk.more["start"]), close=turned(walk.more["close"]))
    )
    assert after["misclosure"] == pytest.approx(before["misclosure"], abs=BACK_M)
    expected = complex(before["misclosure_n"], before["misclosure_e"]) * complex(
        math.cos(turn), math.sin(turn)
    )
    assert after["misclosure_n"] == pytest.approx(expected.real, abs=BACK_M)
    assert after["misclosure_e"] == pytest.approx(expected.imag, abs=BACK_M)


@given(observed_walks(), st.floats(0.01, 0.5), st.sampled_from([0.3048, 1200 / 3937, 1000.0]))
def test_another_unit_scales_lengths_and_keeps_the_ratio(
    walk: Walk, error: float, scale: float
) -> None:
    def scaled(place: Place | None) -> Place | None:
        return None if place is None else (place[0] * scale, place[1] * scale)

    rows = walk.planted(0, distance=error)
    small = tuple((at, to, azimuth, leg * scale) for at, to, azimuth, leg in rows)
    before = summary(walk.measure(rows))
    after = summary(
        walk.measure(small, start=scaled(walk.more["start"]), close=scaled(walk.more["close"]))
    )
    assert after["misclosure"] == pytest.approx(before["misclosure"] * scale, abs=BACK_M)
    assert after["ratio"] == pytest.approx(before["ratio"], rel=1e-5)


@given(observed_walks(), st.floats(-0.5, 0.5))
def test_walking_back_turns_the_misclosure_round(walk: Walk, error: float) -> None:
    rows = walk.planted(0, distance=error)
    back = tuple((to, at, azimuth + math.pi, leg) for at, to, azimuth, leg in reversed(rows))
    loop = walk.more["close"] is None
    before = walk.measure(rows, adjust=Adjust.COMPASS)
    after = walk.measure(
        back,
        adjust=Adjust.COMPASS,
        start=walk.places[-1],
        close=None if loop else walk.places[0],
    )
    for key in ("misclosure_n", "misclosure_e"):
        assert summary(after)[key] == pytest.approx(-summary(before)[key], abs=BACK_M)
    # The adjusted stations are the same, whichever way the line was walked.
    for axis in ("adjusted_n", "adjusted_e"):
        there = values(before, axis)[:-1]
        np.testing.assert_allclose(values(after, axis)[:-1][::-1], there, atol=BACK_M, rtol=0)


@given(walks(kinds=(AngleKind.RIGHT,)), st.floats(-100.0, 100.0))
def test_right_and_left_angles_are_the_same_traverse(walk: Walk, seconds: float) -> None:
    rows = walk.planted(walk.turned[0], angle=seconds * ARCSEC)
    left = tuple((at, to, 2 * math.pi - angle, leg) for at, to, angle, leg in rows)
    first, second = walk.measure(rows), walk.measure(left, angles=AngleKind.LEFT)
    for key in ("misclosure_n", "misclosure_e"):
        assert summary(second)[key] == pytest.approx(summary(first)[key], abs=BACK_M)
    assert summary(second)["angular_misclosure_arcsec"] == pytest.approx(
        -summary(first)["angular_misclosure_arcsec"], abs=BACK_RAD
    )


# ---------------------------------------------------------------- levels

heights = st.lists(st.floats(-300.0, 3000.0), min_size=2, max_size=12)
small = st.floats(-0.5, 0.5)


@given(heights, small, st.data())
def test_levels_from_known_heights_close_and_give_a_planted_error_back(
    marks: list[float], error: float, data: st.DataObject
) -> None:
    names = [f"B{index}" for index in range(len(marks))]
    rises = np.diff(marks)
    wrong = data.draw(st.integers(0, len(rises) - 1))
    distance = data.draw(st.lists(st.floats(1.0, 5000.0), min_size=len(rises), max_size=len(rises)))
    for planted in (0.0, error):
        observed = rises.copy()
        observed[wrong] += planted
        book = rise_book(
            list(zip(names[:-1], names[1:], observed.tolist(), strict=True)), distance_m=distance
        )
        measure = levels(book, start=marks[0], close=marks[-1], adjust=Adjust.DISTANCE)
        assert summary(measure)["misclosure"] == pytest.approx(planted, abs=CLOSE_M)
        assert values(measure, "adjusted_elevation")[-1] == pytest.approx(marks[-1], abs=CLOSE_M)
        higher = levels(book, start=marks[0] + 50.0, close=marks[-1] + 50.0)
        assert summary(higher)["misclosure"] == pytest.approx(planted, abs=CLOSE_M)


@given(heights, st.lists(st.floats(0.2, 4.0), min_size=12, max_size=12), small)
def test_sights_and_differences_give_the_same_elevations(
    marks: list[float], instrument: list[float], error: float
) -> None:
    names = [f"B{index}" for index in range(len(marks))]
    page: list[dict[str, Any]] = [{"pt": name} for name in names]
    for index in range(len(marks) - 1):
        high = max(marks[index], marks[index + 1]) + instrument[index]
        page[index]["bs"] = high - marks[index]
        page[index + 1]["fs"] = high - marks[index + 1]
    page[-1]["fs"] -= error
    sights = levels(level_book(page), start=marks[0], close=marks[-1], adjust=Adjust.SETUPS)
    rises = np.diff(marks)
    rises[-1] += error
    book = rise_book(
        list(zip(names[:-1], names[1:], rises.tolist(), strict=True)), setups=[1.0] * len(rises)
    )
    differences = levels(book, start=marks[0], close=marks[-1], adjust=Adjust.SETUPS)
    for key in ("elevation", "adjusted_elevation"):
        np.testing.assert_allclose(
            values(sights, key), values(differences, key), atol=CLOSE_M, rtol=0
        )
    assert summary(sights)["misclosure"] == pytest.approx(error, abs=CLOSE_M)
    assert summary(sights)["setups"] == summary(differences)["setups"]


@given(heights, small)
def test_levelling_back_turns_the_misclosure_round(marks: list[float], error: float) -> None:
    names = [f"B{index}" for index in range(len(marks))]
    rises = np.diff(marks)
    rises[0] += error
    there = list(zip(names[:-1], names[1:], rises.tolist(), strict=True))
    back = [(end, start, -rise) for start, end, rise in reversed(there)]
    first = summary(levels(rise_book(there), start=marks[0], close=marks[-1]))
    second = summary(levels(rise_book(back), start=marks[-1], close=marks[0]))
    assert second["misclosure"] == pytest.approx(-first["misclosure"], abs=CLOSE_M)
