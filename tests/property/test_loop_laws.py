"""Laws of loops of vectors and of described figures: planted errors come back."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.adjust.loops import independent_loops, parts_of
from checker.model.arrays import FloatArray
from checker.units import LengthUnit
from tests.support.books import summary, values
from tests.support.closures import figure, vectors

pytestmark = pytest.mark.property


@st.composite
def nets(draw: st.DrawFn) -> tuple[int, list[tuple[int, int]]]:
    marks = draw(st.integers(2, 9))
    every = [(one, other) for one in range(marks) for other in range(one)]
    ends = draw(st.lists(st.sampled_from(every), unique=True, min_size=1, max_size=16))
    return marks, ends


@given(nets())
def test_loops_are_as_many_as_are_independent_and_span_all_others(
    net: tuple[int, list[tuple[int, int]]],
) -> None:
    marks, ends = net
    loops = independent_loops(ends, marks)
    incidence = np.zeros((marks, len(ends)))
    for line, (one, other) in enumerate(ends):
        incidence[one, line], incidence[other, line] = -1.0, 1.0
    # Against linear algebra: loops are the kernel of the incidence matrix.
    wanted = len(ends) - np.linalg.matrix_rank(incidence)
    assert len(loops) == wanted
    assert max(parts_of(ends, marks)) + 1 == marks - np.linalg.matrix_rank(incidence)
    flow = np.zeros((len(loops), len(ends)))
    for row, loop in enumerate(loops):
        for line, way in loop:
            flow[row, line] = way
    assert not (incidence @ flow.T).any()
    if wanted:
        assert np.linalg.matrix_rank(flow) == wanted


@given(nets(), st.data())
def test_a_planted_error_stands_in_every_loop_that_runs_over_it(
    net: tuple[int, list[tuple[int, int]]], data: st.DataObject
) -> None:
    marks, ends = net
    if not independent_loops(ends, marks):
        return
    place = np.array(
        [[100.0 * mark, 37.0 * mark * mark + 11.0, 3.0 * mark] for mark in range(marks)]
    )
    wrong = data.draw(st.integers(0, len(ends) - 1))
    error = np.array([0.02, -0.03, 0.05])
    rows = []
    for line, (one, other) in enumerate(ends):
        d = place[other] - place[one] + (error if line == wrong else 0.0)
        rows.append(f"M{one},M{other},{d[0]!r},{d[1]!r},{d[2]!r}".replace("np.float64", ""))
    text = "from,to,dx,dy,dz\n" + "\n".join(rows).replace("(", "").replace(")", "") + "\n"
    measure = vectors(text)
    first, last = (f"M{mark}" for mark in ends[wrong])
    for row, name in enumerate(measure.id):
        if measure.unchecked[row]:
            continue
        steps = list(zip(str(name).split("-"), str(name).split("-")[1:], strict=False))
        sign = ((first, last) in steps) - ((last, first) in steps)
        found = [values(measure, f"misclosure_{axis}")[row] for axis in "xyz"]
        assert found == pytest.approx((sign * error).tolist(), abs=1e-9)


@st.composite
def corners(draw: st.DrawFn) -> FloatArray:
    """Corners around a middle, so that the sides do not cross; metres, (n, e)."""
    count = draw(st.integers(3, 8))
    radii = draw(st.lists(st.floats(20.0, 200.0), min_size=count, max_size=count))
    turn = np.arange(count) * 2 * math.pi / count
    return np.column_stack((radii * np.cos(turn), radii * np.sin(turn)))


@given(corners(), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
def test_a_figure_returns_its_planted_misclosure_and_its_area(
    places: FloatArray, north: float, east: float
) -> None:
    from shapely import Polygon

    closed = np.vstack((places, places[:1] + np.array([[north, east]])))
    step = np.diff(closed, axis=0)
    rows = [
        f"{math.degrees(math.atan2(de, dn)) % 360.0:.12f},{math.hypot(dn, de):.12f}"
        for dn, de in step.tolist()
    ]
    measure = figure("azimuth,distance\n" + "\n".join(rows) + "\n", unit=LengthUnit.METRE)
    total = summary(measure)
    assert total["misclosure_n"] == pytest.approx(north, abs=1e-6)
    assert total["misclosure_e"] == pytest.approx(east, abs=1e-6)
    assert total["length"] == pytest.approx(float(np.sum(np.hypot(*step.T))), abs=1e-6)
    # Against shapely, an independent library; the last side runs over the misclosure.
    ring = np.vstack((closed, closed[:1]))
    assert total["area"] == pytest.approx(Polygon(ring).area, abs=1e-4)


@given(corners(), st.floats(0.0, 360.0))
def test_turning_a_figure_changes_no_misclosure_and_no_area(
    places: FloatArray, turn: float
) -> None:
    step = np.diff(np.vstack((places, places[:1] + np.array([[0.03, 0.04]]))), axis=0)

    def run(by: float) -> dict[str, float]:
        rows = [
            f"{(math.degrees(math.atan2(de, dn)) + by) % 360.0:.12f},{math.hypot(dn, de):.12f}"
            for dn, de in step.tolist()
        ]
        return summary(figure("azimuth,distance\n" + "\n".join(rows) + "\n"))

    before, after = run(0.0), run(turn)
    assert after["misclosure"] == pytest.approx(before["misclosure"], abs=1e-6)
    assert after["area"] == pytest.approx(before["area"], abs=1e-4)
