import math
from typing import Any

import numpy as np
import pytest

from checker.model.books import TraverseBook
from checker.model.job import Adjust, AngleKind, Shape
from checker.model.measure import Measure
from checker.units import ARCSEC
from tests.support.books import NAN, angle_at, direction, length, summary, traverse, values

# An invented link of six legs, (n, e), between two known ends with sights to two known marks.
PLACES = [
    (1000.0, 1000.0),
    (1100.0, 1180.0),
    (1040.0, 1390.0),
    (1210.0, 1520.0),
    (1330.0, 1700.0),
    (1290.0, 1890.0),
    (1400.0, 2050.0),
]
NAMES = [f"S{index}" for index in range(len(PLACES))]
BACK, FORE = (900.0, 900.0), (1550.0, 2100.0)
KNOWN = {
    "S0": PLACES[0],
    "S6": PLACES[-1],
    "BS": BACK,
    "FS": FORE,
}


def rows() -> list[tuple[str, str, float, float]]:
    path = [BACK, *PLACES, FORE]
    found = []
    for index in range(len(PLACES)):
        angle = angle_at(AngleKind.RIGHT, path[index], path[index + 1], path[index + 2], cw=False)
        last = index == len(PLACES) - 1
        leg = NAN if last else length(PLACES[index], PLACES[index + 1])
        found.append((NAMES[index], "FS" if last else NAMES[index + 1], angle, leg))
    return found


def link(book: list[tuple[str, str, float, float]], **more: Any) -> Measure:
    given: dict[str, Any] = {"backsight": "BS", "foresight": "FS"} | more
    return traverse(book, known=KNOWN, shape=Shape.LINK, start="S0", close="S6", **given)


def blunder(measure: Measure) -> str:
    found = [text for text in measure.remarks if "would explain the misclosure" in text]
    assert len(found) <= 1
    return found[0] if found else ""


def test_nothing_is_suspected_of_a_sound_traverse() -> None:
    book = [
        (at, to, angle + ARCSEC * (index - 3), leg + 0.003 * (-1) ** index)
        for index, (at, to, angle, leg) in enumerate(rows())
    ]
    assert blunder(link(book)) == ""


@pytest.mark.parametrize("row", range(6))
def test_one_wrong_distance_is_named(row: int) -> None:
    book = rows()
    at, to, angle, leg = book[row]
    book[row] = (at, to, angle, leg + 1.0)
    says = blunder(link(book))
    assert f"distance {at} to {to}, observed minus right +1.000" in says


@pytest.mark.parametrize("row", range(7))
@pytest.mark.parametrize("adjust", [Adjust.NONE, Adjust.COMPASS])
def test_one_wrong_angle_is_named(row: int, adjust: Adjust) -> None:
    book = rows()
    at, to, angle, leg = book[row]
    book[row] = (at, to, angle + math.radians(1.0), leg)
    says = blunder(link(book, adjust=adjust))
    assert says.startswith("One blunder")
    assert f"the angle at {at} (to {to}), observed minus right 1°00′00″" in says


@pytest.mark.parametrize("row", range(1, 6))
def test_one_wrong_angle_is_named_where_no_azimuth_closes_the_angles(row: int) -> None:
    book = rows()[:-1]
    at, to, angle, leg = book[row]
    book[row] = (at, to, angle + math.radians(1.0), leg)
    says = blunder(link(book, foresight=None))
    assert f"the angle at {at} (to {to}), observed minus right 1°00′00″" in says


def test_two_parallel_legs_cannot_be_told_apart() -> None:
    places = [(0.0, 0.0), (0.0, 200.0), (100.0, 200.0), (100.0, 0.0)]
    ring = [*places, places[0]]
    book = [
        (f"S{index}", f"S{(index + 1) % 4}", direction(*ring[index : index + 2]), 0.0)
        for index in range(4)
    ]
    book = [
        (*row[:3], length(*ring[index : index + 2]) + (0.5 if index == 1 else 0.0))
        for index, row in enumerate(book)
    ]
    says = blunder(traverse(book, angles=AngleKind.AZIMUTH))
    assert says.startswith("Each of these alone")
    assert "distance S1 to S2, observed minus right +500.0 mm" in says
    assert "distance S3 to S0, observed minus right -500.0 mm" in says


# ---------------------------------------------------------------- heights and grid


def sloped(dz: list[float], *, hi: float = 1.5, ht: float = 1.7) -> TraverseBook:
    """The link as slope distances and zenith angles, worked out by Pythagoras."""
    book = rows()
    flat = np.array([row[3] for row in book])
    rise = np.array([*dz, NAN]) - hi + ht
    nothing = np.full(len(book), NAN)
    return TraverseBook(
        path="t.csv",
        line=np.arange(2, len(book) + 2),
        at=np.array([row[0] for row in book], dtype=object),
        to=np.array([row[1] for row in book], dtype=object),
        angle_rad=np.array([row[2] for row in book]),
        distance_m=nothing,
        slope_m=np.hypot(flat, rise),
        zenith_rad=np.array([math.atan2(d, h) for d, h in zip(flat, rise, strict=True)]),
        hi_m=np.full(len(book), hi),
        ht_m=np.full(len(book), ht),
    )


DZ = [3.0, -1.0, 4.0, 1.0, -5.0, 2.0]


def test_trigonometric_heights_close_on_the_known_elevation() -> None:
    known = {name: (*each, 50.0 if name == "S0" else 53.96) for name, each in KNOWN.items()}
    measure = traverse(
        sloped(DZ),
        known=known,
        shape=Shape.LINK,
        start="S0",
        close="S6",
        backsight="BS",
        foresight="FS",
        adjust=Adjust.COMPASS,
    )
    assert values(measure, "dz") == pytest.approx(DZ)
    assert values(measure, "elevation") == pytest.approx(50.0 + np.cumsum(DZ))
    assert summary(measure)["misclosure_z"] == pytest.approx(0.04)
    assert values(measure, "adjusted_elevation")[-1] == pytest.approx(53.96)
    assert summary(measure)["misclosure"] == pytest.approx(0.0, abs=1e-9)


def test_refraction_lifts_the_far_end() -> None:
    plain = traverse(
        sloped(DZ),
        known=KNOWN,
        shape=Shape.LINK,
        start="S0",
        close="S6",
        backsight="BS",
        foresight="FS",
    )
    lifted = traverse(
        sloped(DZ),
        known=KNOWN,
        shape=Shape.LINK,
        start="S0",
        close="S6",
        backsight="BS",
        foresight="FS",
        refraction=0.13,
    )
    legs = values(plain, "distance")
    # Common practice: 0.067 m a kilometre squared, worked out with the usual 0.13.
    assert values(lifted, "dz") - values(plain, "dz") == pytest.approx(
        0.0683 * (legs / 1000) ** 2, rel=0.01
    )


def test_distances_come_to_grid_and_both_closures_stand() -> None:
    factor = 0.9996
    book = [(at, to, angle, leg / factor) for at, to, angle, leg in rows()]
    measure = link(book, grid_factor=factor)
    total = summary(measure)
    assert total["misclosure"] == pytest.approx(0.0, abs=1e-9)
    straight = math.dist(PLACES[0], PLACES[-1])
    assert total["ground_misclosure"] == pytest.approx(straight * (1 / factor - 1), rel=1e-6)
    assert values(measure, "ground_distance") == pytest.approx([row[3] for row in book[:-1]])
    assert total["length"] == pytest.approx(total["ground_length"] * factor)


def test_heights_that_nothing_known_closes_are_said_to_be_open() -> None:
    book = sloped(DZ)
    measure = traverse(
        book,
        known=KNOWN,
        shape=Shape.LINK,
        start=PLACES[0],
        close=PLACES[-1],
        backsight="BS",
        foresight="FS",
    )
    assert math.isnan(summary(measure)["misclosure_z"])
    assert any("nothing known closes them" in text for text in measure.remarks)
