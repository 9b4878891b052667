"""Whatever stands in a book of a closure, out comes a measure or a message; nothing else."""

import random
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.checks.figure import measure_figure
from checker.checks.levels import measure_levels
from checker.checks.traverse import measure_traverse
from checker.errors import InputError, Problem, Where
from checker.formulas import parse_formula
from checker.model.inputs import Inputs
from checker.model.job import (
    Adjust,
    AngleKind,
    AzimuthKind,
    DescribedFigure,
    Job,
    Levels,
    Position,
    Shape,
    Tolerance,
    Traverse,
)
from checker.model.measure import Measure
from checker.read.figure_book import read_figure_book
from checker.read.files import Source
from checker.read.level_book import read_level_book
from checker.read.traverse_book import read_traverse_book
from checker.units import AngleFormat, Formula, LengthUnit
from checker.verdicts.judge import judge

METRE, DEGREES = LengthUnit.METRE, AngleFormat.SEXAGESIMAL
WHERE = Where(file="job.toml", line=1)
ODD = (
    *("", "", "?", "-", "1", "100", "90-00-00", "0", "N 10 E", "S 80-00-00 W", "left", "right"),
    *("yes", "no", "50", "1.5", "1.2345", "A", "B", "TP1", "180", "360", "L", "R", "-1", "1e3"),
    *("12-30 L", "99999", "nan", "ü"),
)
MORE = {
    "traverse": ["back", "face", "slope_distance", "zenith", "hi", "ht"],
    "levels": [
        "is",
        "rise",
        "fall",
        "rl",
        "hi",
        "distance",
        "setups",
        "rise_back",
        "bs_distance",
        "fs_distance",
        "bs_upper",
        "bs_middle",
        "bs_lower",
        "fs_upper",
        "fs_middle",
        "fs_lower",
    ],
    "figure": [
        "course",
        "radius",
        "turn",
        "arc",
        "delta",
        "chord",
        "chord_bearing",
        "radial_bearing",
        "tangent",
    ],
}


def usual(dice: random.Random, name: str, row: int) -> str:
    """Return what may well stand in a column of the books that are usual."""
    words: dict[str, tuple[str, ...]] = {
        "at": ("ABCDE"[row % 5],),
        "to": ("ABCDE"[(row + 1) % 5],),
        "angle": ("90-00-00", "108-00-00", "200", "359-59-59", "0-00-02"),
        "bearing": ("N 10 E", "S 80 W", "N 45 W", "S 20 E", "?"),
        "distance": ("100", "100.01", "50", ""),
        "point": (f"P{row % 4}",),
        "bs": ("1.5",),
        "fs": ("1.4" if row else "",),
        "from": (f"P{row % 3}",),
        "rise": ("0.1", "-0.1"),
    }
    return dice.choice(words[name])


USUAL = {
    "traverse": (("at", "to", "angle", "distance"), ("at", "to", "bearing", "distance")),
    "levels": (("point", "bs", "fs"), ("from", "to", "rise")),
    "figure": (("bearing", "distance"),),
}


def table(dice: random.Random, kind: str) -> Source:
    names = list(dice.choice(USUAL[kind]))
    plain = set(names)
    names += [name for name in dice.sample(MORE[kind], dice.randint(0, 3)) if name not in plain]
    dice.shuffle(names)
    lines = [",".join(names)]
    for index in range(dice.randint(1, 7)):
        row = index if dice.random() > 0.15 else max(index - 1, 0)
        lines.append(
            ",".join(
                usual(dice, name, row)
                if name in plain and dice.random() < 0.97
                else dice.choice(ODD)
                for name in names
            )
        )
    return Source(path="book.csv", data="\n".join(lines).encode())


def of_traverse(dice: random.Random) -> Measure:
    angles = dice.choice(list(AngleKind))
    shape = dice.choice(list(Shape))
    book = read_traverse_book(
        table(dice, "traverse"), unit=METRE, angles=angles, angle_format=DEGREES, columns={}
    )
    section = Traverse(
        where=WHERE,
        name="X",
        file="book.csv",
        unit=METRE,
        shape=shape,
        angles=angles,
        start=Position(northing_m=5e5, easting_m=5e5, elevation_m=10.0),
        close=Position(northing_m=5.001e5, easting_m=5e5, elevation_m=np.nan)
        if shape is Shape.LINK
        else None,
        start_azimuth_rad=dice.choice((0.0, 1.0, None)),
        close_azimuth_rad=dice.choice((None, 2.0)),
        adjust=dice.choice(
            [Adjust.NONE, Adjust.COMPASS, Adjust.TRANSIT, Adjust.CRANDALL, Adjust.LEAST_SQUARES]
        ),
        azimuths=dice.choice(list(AzimuthKind)),
        crs="EPSG:25833",
        grid_factor=dice.choice((None, 0.9999)),
        tolerance=Tolerance(
            name="",
            ratio=5000.0,
            angular=parse_formula("5 arcsec * sqrt(n)", "angle", METRE),
            set_angle=parse_formula("5 arcsec", "angle", METRE),
        ),
    )
    return measure_traverse(section, Inputs(files=(), books={"X": book}))


def of_levels(dice: random.Random) -> Measure:
    limit = parse_formula("5 mm * sqrt(km)", "length", METRE)
    section = Levels(
        where=WHERE,
        name="X",
        file="book.csv",
        unit=METRE,
        start=100.0,
        close=dice.choice((None, 100.0, 101.0)),
        adjust=dice.choice([Adjust.NONE, Adjust.SETUPS, Adjust.DISTANCE, Adjust.LEAST_SQUARES]),
        collimation=dice.choice((None, None, 1e-5)),
        tolerance=Tolerance(name=dice.choice(("", "a")), misclosure=limit, section=limit),
    )
    book = read_level_book(table(dice, "levels"), unit=METRE, columns={})
    return measure_levels(section, Inputs(files=(), books={"X": book}))


def of_figure(dice: random.Random) -> Measure:
    section = DescribedFigure(
        where=WHERE,
        name="X",
        file="book.csv",
        unit=METRE,
        area_m2=dice.choice((None, 1e4)),
        area_step_m2=1.0,
        tolerance=Tolerance(name="", ratio=5000.0, area=Formula(constant=5.0, text="5 m2")),
    )
    book = read_figure_book(table(dice, "figure"), unit=METRE, angle_format=DEGREES, columns={})
    job = Job(file="job.toml", root=Path(), title="Invented", unit=METRE, checks=(section,))
    return measure_figure(section, Inputs(files=(), books={"X": book}), job)


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), of=st.sampled_from([of_traverse, of_levels, of_figure]))
def test_a_measure_or_a_message(seed: int, of: Callable[[random.Random], Measure]) -> None:
    dice = random.Random(seed)
    problems: Sequence[Problem] = ()
    measure = None
    try:
        measure = of(dice)
    except InputError as fault:
        problems = fault.problems
    assert all(each.slug and each.message and each.hint for each in problems)
    if measure is None:
        assert problems
        return
    finding = judge(measure, np.full(0, "", dtype=object), METRE)
    assert finding.measure.id.size == len(measure.id)
    for each in measure.supplements:
        assert all(len(column.values) == len(each.id) for column in each.columns)
