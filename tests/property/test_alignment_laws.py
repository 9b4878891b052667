"""Laws of alignments and lines, through whole job folders."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from checker.model.drawing import Figure
from tests.support.lines import DRAWN, check, dxf, figure, row, run, table, write

HEAD = """[job]
title = "Invented road"
unit = "metre"
[measured]
files = ["shots.csv"]
[tolerance.t]
horizontal = "0.03 m"
across = "0.02 m"
"""
STAKES = (
    '[alignment.CL]\nelements = "cl.csv"\nstart = "1+000"\n'
    '[[stakeout]]\nname = "S"\nalignment = "CL"\nmatch = "station"\n'
    'design = { stakes = "stakes.csv" }\ntolerance = "t"\n'
)
LINE = '[[stakeout]]\nname = "L"\nmatch = "line"\ndesign = { layer = "CL" }\ntolerance = "t"\n'
slow = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.generate],  # whole jobs are too slow to be shrunk
)
turn = st.sampled_from(["left", "right"])
length = st.floats(20.0, 120.0)
radius = st.floats(150.0, 800.0)


@st.composite
def elements(draw: st.DrawFn) -> str:
    """Return a table of lines, arcs and spirals that runs smoothly and never comes back."""
    place = st.floats(0, 9e5)
    start = f"{draw(place)!r},{draw(place)!r},{draw(st.floats(0, 359))!r}"
    rows = [f"line,{draw(length)!r},,,{start}"]
    for _ in range(draw(st.integers(1, 3))):
        spirals = draw(st.booleans())
        if spirals:
            rows.append(f"spiral,{draw(st.floats(20, 60))!r},,,,,")
        rows.append(f"arc,{draw(length)!r},{draw(radius)!r},{draw(turn)},,,")
        if spirals:
            rows.append(f"spiral,{draw(st.floats(20, 60))!r},,,,,")
        rows.append(f"line,{draw(length)!r},,,,,")
    return "type,length,radius,turn,northing,easting,azimuth\n" + "\n".join(rows) + "\n"


@slow
@given(table_=elements(), share=st.floats(0.01, 0.99), offset=st.floats(-30, 30))
def test_a_stake_shot_where_it_should_stand_has_its_own_station_and_offset(
    tmp_path: Path, table_: str, share: float, offset: float
) -> None:
    lengths = [float(line.split(",")[1]) for line in table_.splitlines()[1:]]
    station = 1000 + share * sum(lengths)
    files = {"cl_csv": table_, "stakes_csv": f"id,station,offset\nA,{station!r},{offset!r}\n"}
    write(tmp_path, HEAD + STAKES, shots_csv="id,northing,easting\nA,0,0\n", **files)
    design = row(run(tmp_path), "S", "A")
    place = (design["design_n"], design["design_e"])
    write(tmp_path, HEAD + STAKES, shots_csv=table("id,northing,easting", [("A", *place)]), **files)
    found = row(run(tmp_path), "S", "A")
    assert found["station"] == pytest.approx(station, abs=2e-8)
    assert found["offset"] == pytest.approx(offset, abs=2e-8)
    assert found["horizontal"] == pytest.approx(0.0, abs=1e-9)
    assert abs(found["along"]) < 1e-8
    assert abs(found["across"]) < 1e-8


# ---------------------------------------------------------------- drawn lines

bulges = st.lists(st.integers(-600, 600).map(lambda each: each / 1000), min_size=4, max_size=4)
VERTICES = [(0.0, 0.0), (80.0, 10.0), (150.0, -20.0), (230.0, 5.0), (300.0, 40.0)]
shots = st.lists(
    st.tuples(st.integers(-60_000, 90_000), st.integers(-40_000, 340_000)).map(
        lambda place: (place[0] / 1000, place[1] / 1000)
    ),
    min_size=4,
    max_size=12,
    unique=True,
)


def lined(folder: Path, places: list[tuple[float, float]], figures: list[Figure]) -> dict[str, Any]:
    rows = [(f"P{number}", n, e) for number, (n, e) in enumerate(places)]
    write(
        folder, HEAD + DRAWN + LINE, shots_csv=table("id,northing,easting", rows), design_dxf=dxf()
    )
    return run(folder, figures)


@slow
@given(bulge=bulges, places=shots)
def test_the_way_a_line_is_drawn_turns_the_sides_and_nothing_else(
    tmp_path: Path, bulge: list[float], places: list[tuple[float, float]]
) -> None:
    one = figure("CL", VERTICES, bulge)
    other = figure("CL", VERTICES[::-1], [-each for each in bulge[::-1]])
    there, back = (lined(tmp_path, places, [each]) for each in (one, other))
    length_ = sum(
        math.dist(a, b)
        * (1.0 if abs(c) < 1e-300 else 2 * math.atan(c) / math.sin(2 * math.atan(c)))
        for a, b, c in zip(VERTICES, VERTICES[1:], bulge, strict=False)
    )
    for mine, theirs in zip(check(there, "L")["rows"], check(back, "L")["rows"], strict=True):
        if "as near" in mine["reason"]:
            continue
        assert mine["across"] == pytest.approx(-theirs["across"], abs=1e-7)
        assert mine["along"] == pytest.approx(length_ - theirs["along"], abs=1e-6)
        assert mine["horizontal"] == pytest.approx(theirs["horizontal"], abs=1e-7)


@slow
@given(bulge=bulges, places=shots)
def test_the_offset_is_the_least_distance_to_the_line(
    tmp_path: Path, bulge: list[float], places: list[tuple[float, float]]
) -> None:
    """Against points close together on the arcs, found from the bulges by complex numbers."""
    dots = []
    for a, b, c in zip(VERTICES, VERTICES[1:], bulge, strict=False):
        start, end = complex(*a), complex(*b)
        share = np.linspace(0, 1, 20_001)
        if abs(c) < 1e-9:
            dots.append(start + share * (end - start))
            continue
        angle = 4 * math.atan(c)
        centre = start + (end - start) / (1 - np.exp(1j * angle))
        dots.append(centre + (start - centre) * np.exp(1j * angle * share))
    curve = np.concatenate(dots)
    found = lined(tmp_path, places, [figure("CL", VERTICES, bulge)])
    for (n, e), each in zip(places, check(found, "L")["rows"], strict=True):
        least = float(np.abs(curve - complex(e, n)).min())
        if "beyond" in each["reason"] or each["along"] < 0:
            assert abs(each["across"]) <= least + 1e-9
            continue
        # The points stand 9 mm apart at most.
        assert abs(each["across"]) <= least + 1e-9
        assert least <= math.hypot(each["across"], 0.005)


@slow
@given(
    places=shots,
    angle=st.floats(0, 6.28),
    shift=st.tuples(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5)),
)
def test_turning_and_moving_everything_changes_nothing(
    tmp_path: Path, places: list[tuple[float, float]], angle: float, shift: tuple[float, float]
) -> None:
    bulge = [0.2, 0.0, -0.35, 0.1]

    def moved(e: float, n: float) -> tuple[float, float]:
        return (
            shift[0] + e * math.cos(angle) - n * math.sin(angle),
            shift[1] + e * math.sin(angle) + n * math.cos(angle),
        )

    here = lined(tmp_path, places, [figure("CL", VERTICES, bulge)])
    turned = [moved(e, n)[::-1] for n, e in places]
    there = lined(tmp_path, turned, [figure("CL", [moved(*each) for each in VERTICES], bulge)])
    for mine, theirs in zip(check(here, "L")["rows"], check(there, "L")["rows"], strict=True):
        if "as near" in mine["reason"] or "as near" in theirs["reason"]:
            continue
        assert mine["across"] == pytest.approx(theirs["across"], abs=1e-7)
        assert mine["along"] == pytest.approx(theirs["along"], abs=1e-6)
        assert mine["verdict"] == theirs["verdict"] or abs(abs(mine["across"]) - 0.02) < 1e-6


def test_splitting_a_line_into_figures_changes_nothing(tmp_path: Path) -> None:
    bulge = [0.2, 0.0, -0.35, 0.1]
    parts = [
        figure(
            "CL", [a, b][:: -1 if number % 2 else 1], [-c if number % 2 else c], handle=str(number)
        )
        for number, (a, b, c) in enumerate(zip(VERTICES, VERTICES[1:], bulge, strict=False))
    ]
    rng = np.random.default_rng(5)
    places = [tuple(each) for each in rng.uniform((-40, -20), (60, 320), (200, 2)).tolist()]
    whole = check(lined(tmp_path, places, [figure("CL", VERTICES, bulge)]), "L")["rows"]
    split = check(lined(tmp_path, places, parts), "L")["rows"]
    # The longest part, the third, is drawn as it stands; so the way is the same.
    for mine, theirs in zip(whole, split, strict=True):
        assert mine["along"] == pytest.approx(theirs["along"], abs=1e-9)
        assert mine["across"] == pytest.approx(theirs["across"], abs=1e-9)
        assert mine["verdict"] == theirs["verdict"]
