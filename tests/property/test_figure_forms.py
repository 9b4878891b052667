"""Deeds in every legal form: bearings or azimuths, any two elements of a curve, any unit.

A closed figure of straight and curved sides is described as some deed would, a course is stretched,
and misclosure and area come back: to a micrometre, and against shapely where all is straight.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.model.measure import Measure
from checker.units import LengthUnit
from tests.support.books import summary, values
from tests.support.closures import figure

Place = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Side:
    """A side from one corner to the next: delta 0 straight, else turning left (+) or right (-)."""

    delta: float
    elements: tuple[str, str]
    radial: bool


@dataclass(frozen=True, kw_only=True)
class Deed:
    """Corners (n, e) in the unit, counter-clockwise, and how the sides are written."""

    corners: list[Place]
    sides: list[Side]
    unit: LengthUnit
    azimuths: bool
    separator: str
    comma: bool


ELEMENTS = [
    ("radius", "arc"),
    ("radius", "delta"),
    ("radius", "chord"),
    ("arc", "delta"),
    ("delta", "chord"),
]


@st.composite
def deeds(draw: st.DrawFn, *, curved: bool) -> Deed:
    count = draw(st.integers(3, 7))
    out = draw(st.lists(st.floats(50.0, 300.0), min_size=count, max_size=count))
    corners = [
        (size * math.cos(-2 * math.pi * k / count), size * math.sin(-2 * math.pi * k / count))
        for k, size in enumerate(out)
    ]
    sides = []
    for _ in range(count):
        delta = 0.0
        if curved and draw(st.booleans()):
            delta = draw(st.floats(0.1, 3.0)) * draw(st.sampled_from([1.0, -1.0]))
        sides.append(
            Side(
                delta=delta,
                elements=draw(st.sampled_from(ELEMENTS)),
                radial=draw(st.booleans()),
            )
        )
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    return Deed(
        corners=corners,
        sides=sides,
        unit=draw(st.sampled_from(list(LengthUnit))),
        azimuths=draw(st.booleans()),
        separator=separator,
        comma=separator != "," and draw(st.booleans()),
    )


def written(angle: float, *, azimuths: bool) -> str:
    if azimuths:
        return f"{math.degrees(angle) % 360.0:.11f}"
    north, east = math.cos(angle), math.sin(angle)
    inner = math.degrees(math.atan2(abs(east), abs(north)))
    return f"{'N' if north >= 0 else 'S'} {inner:.11f} {'E' if east >= 0 else 'W'}"


def described(deed: Deed, *, longer: tuple[int, float]) -> str:
    """Return the deed; the straight side of that number is written longer by so much."""
    first = "azimuth" if deed.azimuths else "bearing"
    names = [
        *(first, "distance", "turn", "radius", "arc", "delta", "chord"),
        *("chord bearing", "radial bearing"),
    ]
    lines = [deed.separator.join(names)]
    around = [*deed.corners[1:], deed.corners[0]]
    for number, (start, end, side) in enumerate(zip(deed.corners, around, deed.sides, strict=True)):
        chord, angle = math.dist(start, end), math.atan2(end[1] - start[1], end[0] - start[0])
        row = dict.fromkeys(names, "")
        if side.delta == 0.0:
            more = longer[1] if number == longer[0] else 0.0
            row[first] = written(angle, azimuths=deed.azimuths)
            row["distance"] = f"{chord + more:.10f}"
        else:
            size = abs(side.delta)
            radius = chord / (2 * math.sin(size / 2))
            right = side.delta < 0
            found = {
                "radius": radius,
                "arc": radius * size,
                "delta": math.degrees(size),
                "chord": chord,
            }
            for name in side.elements:
                row[name] = f"{found[name]:.11f}"
            row["turn"] = "right" if right else "left"
            if side.radial:
                # From the beginning to the centre: a quarter turn from the tangent, to the right.
                tangent = angle + (-size / 2 if right else size / 2)
                to_centre = tangent + (math.pi / 2 if right else -math.pi / 2)
                row["radial bearing"] = written(to_centre, azimuths=deed.azimuths)
            else:
                row["chord bearing"] = written(angle, azimuths=deed.azimuths)
        line = deed.separator.join(row[name] for name in names)
        lines.append(line.replace(".", ",") if deed.comma else line)
    return "\n".join(lines) + "\n"


def measured(deed: Deed, longer: tuple[int, float] = (-1, 0.0)) -> Measure:
    return figure(described(deed, longer=longer), unit=deed.unit)


def straight_area(corners: list[Place]) -> float:
    from shapely import Polygon

    return float(Polygon([(e, n) for n, e in corners]).area)


@settings(max_examples=120, deadline=None)
@given(deed=deeds(curved=True))
def test_any_two_elements_and_any_direction_describe_the_same_figure(deed: Deed) -> None:
    measure = measured(deed)
    total, metres = summary(measure), deed.unit.metres
    assert total["misclosure"] == pytest.approx(0.0, abs=1e-6)
    segments = 0.0
    for start, end, side in zip(
        deed.corners, [*deed.corners[1:], deed.corners[0]], deed.sides, strict=True
    ):
        if side.delta:
            size = abs(side.delta)
            radius = math.dist(start, end) / (2 * math.sin(size / 2))
            # A left turn bulges out of a figure that is run counter-clockwise.
            segments += math.copysign(radius**2 * (size - math.sin(size)) / 2, side.delta)
    expected = straight_area(deed.corners) + segments
    signed = abs(expected) if expected > 0 else -expected
    assert total["area"] / metres**2 == pytest.approx(signed, rel=1e-8, abs=1e-4)
    assert measure.whole_undecided == ""


@settings(max_examples=80, deadline=None)
@given(deed=deeds(curved=True), stretch=st.floats(-5.0, 5.0), data=st.data())
def test_a_stretched_course_comes_back(deed: Deed, stretch: float, data: st.DataObject) -> None:
    straight = [k for k, side in enumerate(deed.sides) if side.delta == 0.0]
    if not straight:
        return
    row = data.draw(st.sampled_from(straight))
    measure = measured(deed, (row, stretch))
    around = [*deed.corners[1:], deed.corners[0]]
    unit = np.subtract(around[row], deed.corners[row]) / math.dist(around[row], deed.corners[row])
    total, metres = summary(measure), deed.unit.metres
    assert total["misclosure_n"] == pytest.approx(stretch * unit[0] * metres, abs=1e-6)
    assert total["misclosure_e"] == pytest.approx(stretch * unit[1] * metres, abs=1e-6)
    offered = [each for each in measure.supplements if each.key == "alternatives"]
    if offered and str(row + 1) in offered[0].id.tolist():
        at = offered[0].id.tolist().index(str(row + 1))
        cells = {column.key: column.values[at] for column in offered[0].columns}
        assert cells["d_length"] == pytest.approx(-stretch * metres, abs=1e-6)
        assert cells["left_length"] == pytest.approx(0.0, abs=1e-6)
    if len(straight) == len(deed.sides):
        area = straight_area(deed.corners)
        slack = abs(stretch) * float(np.sum(values(measure, "distance"))) / metres
        assert total["area"] / metres**2 == pytest.approx(area, abs=slack + 1e-3)
