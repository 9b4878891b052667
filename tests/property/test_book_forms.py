"""Books in every legal form say the same: units, angles, separators, decimal commas, sets.

A traverse from known places is written as some crew would write it, read, and closed: the planted
angle and the planted length come back to 0.01 seconds and a micrometre.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.checks.traverse import measure_traverse
from checker.errors import Where
from checker.model.inputs import Inputs
from checker.model.job import AngleKind, Position, Shape, Traverse
from checker.model.measure import Measure
from checker.read.files import Source
from checker.read.traverse_book import read_traverse_book
from checker.units import ARCSEC, AngleFormat, LengthUnit
from tests.support.books import NAN, Place, angle_at, direction, length, summary, values

HEADINGS = {
    AngleKind.RIGHT: "Angle right",
    AngleKind.LEFT: "Angle left",
    AngleKind.INTERIOR: "Interior angle",
    AngleKind.DEFLECTION: "Deflection",
    AngleKind.AZIMUTH: "Azimuth",
    AngleKind.BEARING: "Bearing",
}


def dms(angle: float, mark: str = "-") -> str:
    seconds = round(math.degrees(abs(angle)) * 3600, 5)
    whole = int(seconds // 60)
    sign = "-" if angle < 0 else ""
    return f"{sign}{whole // 60}{mark}{whole % 60:02d}{mark}{seconds - 60 * whole:08.5f}"


def packed(angle: float) -> str:
    units = round(math.degrees(abs(angle)) * 3600 * 1e5)
    whole, part = divmod(units, 100_000)
    sign = "-" if angle < 0 else ""
    return f"{sign}{whole // 3600}.{whole // 60 % 60:02d}{whole % 60:02d}{part:05d}"


def quadrant(angle: float) -> str:
    north, east = math.cos(angle), math.sin(angle)
    inner = dms(math.atan2(abs(east), abs(north)), " ")
    return f"{'N' if north >= 0 else 'S'} {inner} {'E' if east >= 0 else 'W'}"


def sided(angle: float) -> str:
    return f"{dms(abs(angle))} {'L' if angle < 0 else 'R'}"


FORMATS: dict[AngleFormat, list[Callable[[float], str]]] = {
    AngleFormat.SEXAGESIMAL: [dms, lambda a: f"{math.degrees(a):.10f}", lambda a: dms(a, " ")],
    AngleFormat.PACKED: [packed],
    AngleFormat.GON: [lambda a: f"{a * 200 / math.pi:.10f}"],
    AngleFormat.RADIANS: [lambda a: f"{a:.12f}"],
}


@dataclass(frozen=True, kw_only=True)
class Form:
    """How a crew writes its book."""

    kind: AngleKind
    angle_format: AngleFormat
    write: Callable[[float], str]
    unit: LengthUnit
    separator: str
    comma: bool
    sets: int
    clockwise: bool


@st.composite
def forms(draw: st.DrawFn) -> Form:
    kind = draw(st.sampled_from(list(AngleKind)))
    fmt = draw(st.sampled_from(list(AngleFormat)))
    write = draw(st.sampled_from(FORMATS[fmt]))
    if kind is AngleKind.BEARING:
        fmt, write = AngleFormat.SEXAGESIMAL, quadrant
    elif kind is AngleKind.DEFLECTION and fmt is AngleFormat.SEXAGESIMAL and draw(st.booleans()):
        write = sided
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    return Form(
        kind=kind,
        angle_format=fmt,
        write=write,
        unit=draw(st.sampled_from(list(LengthUnit))),
        separator=separator,
        comma=separator != "," and draw(st.booleans()),
        sets=draw(st.integers(1, 3)),
        clockwise=draw(st.booleans()),
    )


@st.composite
def loops(draw: st.DrawFn) -> list[Place]:
    """Return stations around a middle, counter-clockwise on the map, 40 to 300 m out."""
    count = draw(st.integers(3, 7))
    out = draw(st.lists(st.floats(40.0, 300.0), min_size=count, max_size=count))
    turn = [2 * math.pi * index / count for index in range(count)]
    n0, e0 = draw(st.tuples(st.floats(0.0, 4e5), st.floats(0.0, 4e5)))
    return [
        (n0 + size * math.cos(-angle), e0 + size * math.sin(-angle))
        for size, angle in zip(out, turn, strict=True)
    ]


def written(form: Form, rows: list[tuple[str, str, float, float]]) -> str:
    """Return the book as a table; sets lie evenly about the right value."""
    sep = form.separator
    lines = [sep.join(("At", "To", HEADINGS[form.kind], "Distance"))]
    for at, to, angle, distance in rows:
        for one in range(form.sets):
            off = one - (form.sets - 1) / 2
            value = angle + 4.0 * ARCSEC * off
            if form.kind is not AngleKind.DEFLECTION:
                value %= 2 * math.pi
            size = "" if math.isnan(distance) else f"{(distance + 0.002 * off):.9f}"
            line = sep.join((at, to, form.write(value), size))
            lines.append(line.replace(".", ",") if form.comma else line)
    return "\n".join(lines) + "\n"


def measured(form: Form, text: str, start: Place, start_rad: float) -> Measure:
    book = read_traverse_book(
        Source(path="book.csv", data=text.encode()),
        unit=form.unit,
        angles=form.kind,
        angle_format=form.angle_format,
        columns={},
    )
    section = Traverse(
        where=Where(file="job.toml", line=3),
        name="T",
        file="book.csv",
        unit=form.unit,
        shape=Shape.LOOP,
        angles=form.kind,
        angle_format=form.angle_format,
        clockwise=form.clockwise,
        start=Position(northing_m=start[0], easting_m=start[1], elevation_m=NAN),
        start_azimuth_rad=start_rad,
    )
    return measure_traverse(section, Inputs(files=(), books={"T": book}))


@settings(max_examples=120, deadline=None)
@given(
    form=forms(),
    places=loops(),
    seconds=st.floats(-90.0, 90.0),
    stretch=st.floats(-0.5, 0.5),
    data=st.data(),
)
def test_planted_errors_come_back_whatever_the_form(
    form: Form, places: list[Place], seconds: float, stretch: float, data: st.DataObject
) -> None:
    if form.clockwise:
        places = [*reversed(places)]
    count = len(places)
    names = [f"S{index + 1}" for index in range(count)]
    metres = form.unit.metres
    leg = data.draw(st.integers(0, count - 1))
    turned = data.draw(st.integers(0, count - 1))
    observed = form.kind in (AngleKind.AZIMUTH, AngleKind.BEARING)
    rows = []
    for index in range(count):
        back, here, ahead = (places[(index + step) % count] for step in (-1, 0, 1))
        if observed:
            angle = direction(here, ahead)
        else:
            angle = angle_at(form.kind, back, here, ahead, cw=form.clockwise)
            angle += seconds * ARCSEC if index == turned else 0.0
        size = length(here, ahead) + (stretch if index == leg else 0.0)
        rows.append((names[index], names[(index + 1) % count], angle, size / metres))
    start_rad = direction(places[0], places[-1])
    if form.kind is AngleKind.DEFLECTION and abs(rows[turned][2]) > math.radians(179.9):
        return
    measure = measured(form, written(form, rows), places[0], start_rad)
    total = summary(measure)
    if observed:
        at, to = places[leg], places[(leg + 1) % count]
        unit = np.subtract(to, at) / length(at, to)
        assert total["misclosure_n"] == pytest.approx(stretch * unit[0], abs=2e-6)
        assert total["misclosure_e"] == pytest.approx(stretch * unit[1], abs=2e-6)
        return
    found = total["angular_misclosure_arcsec"] / ARCSEC
    assert found == pytest.approx(seconds, abs=0.01)
    if abs(seconds) < 1e-3:
        at, to = places[leg], places[(leg + 1) % count]
        unit = np.subtract(to, at) / length(at, to)
        assert total["misclosure_n"] == pytest.approx(stretch * unit[0], abs=1e-5)
    assert np.sum(values(measure, "distance")) == pytest.approx(
        sum(row[3] for row in rows) * metres, abs=1e-6
    )
