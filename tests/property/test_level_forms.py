"""Level books in every legal form say the same, and a planted error comes back to a micrometre.

The same marks are levelled once and written as a page of sights (turning points in one row or two,
intermediate sights, one wire or three, booked reductions) or as differences, in any unit and
dialect.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.checks.levels import measure_levels
from checker.errors import Where
from checker.model.inputs import Inputs
from checker.model.job import Levels
from checker.model.measure import Measure
from checker.read.files import Source
from checker.read.level_book import read_level_book
from checker.units import LengthUnit
from tests.support.books import summary


@dataclass(frozen=True, kw_only=True)
class Form:
    """How a crew writes its book."""

    unit: LengthUnit
    separator: str
    comma: bool
    two_rows: bool
    wires: bool
    reduced: bool


@st.composite
def forms(draw: st.DrawFn) -> Form:
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    return Form(
        unit=draw(st.sampled_from(list(LengthUnit))),
        separator=separator,
        comma=separator != "," and draw(st.booleans()),
        two_rows=draw(st.booleans()),
        wires=draw(st.booleans()),
        reduced=draw(st.booleans()),
    )


@dataclass(frozen=True, kw_only=True)
class Setup:
    """One set-up: its height above the start and what is sighted from it, in the job's unit."""

    instrument: float
    between: list[tuple[str, float]]
    end: tuple[str, float]


def table(form: Form, names: list[str], rows: list[dict[str, str]]) -> str:
    lines = [form.separator.join(names)]
    for row in rows:
        line = form.separator.join(row.get(name, "") for name in names)
        lines.append(line.replace(".", ",") if form.comma else line)
    return "\n".join(lines) + "\n"


def page(form: Form, setups: list[Setup], *, error: float, where: int) -> str:
    """Return a page; error is added to the foresight of one set-up, behind the reductions."""
    sights = ("upper", "middle", "lower")
    names = ["point"]
    for sight in ("bs", "is", "fs"):
        names += [f"{sight} {part}" for part in sights] if form.wires else [sight]
    if form.reduced:
        names += ["HI", "RL"]

    def reading(kind: str, value: float) -> dict[str, str]:
        if not form.wires:
            return {kind: f"{value:.9f}"}
        return {
            f"{kind} {part}": f"{value + half:.9f}"
            for part, half in zip(sights, (0.2, 0.0, -0.2), strict=True)
        }

    rows: list[dict[str, str]] = []
    here, height = "M0", 0.0
    shift = 0.0
    for number, each in enumerate(setups):
        back = {"point": here, **reading("bs", each.instrument - height)}
        if form.reduced:
            back["HI"] = f"{100.0 + each.instrument + shift:.9f}"
        if rows and not form.two_rows:
            rows[-1] |= back
        else:
            if form.reduced and not rows:
                back["RL"] = "100.000000000"
            rows.append(back)
        for name, z in each.between:
            row = {"point": name, **reading("is", each.instrument - z)}
            if form.reduced:
                row["RL"] = f"{100.0 + z + shift:.9f}"
            rows.append(row)
        here, height = each.end
        wrong = error if number == where else 0.0
        shift -= wrong
        row = {"point": here, **reading("fs", each.instrument - height + wrong)}
        if form.reduced:
            row["RL"] = f"{100.0 + height + shift:.9f}"
        rows.append(row)
    return table(form, names, rows)


def measured(form: Form, text: str, close: float) -> Measure:
    book = read_level_book(Source(path="book.csv", data=text.encode()), unit=form.unit, columns={})
    metres = form.unit.metres
    section = Levels(
        where=Where(file="job.toml", line=3),
        name="L",
        file="book.csv",
        unit=form.unit,
        start=100.0 * metres,
        close=close * metres,
    )
    return measure_levels(section, Inputs(files=(), books={"L": book}))


@settings(max_examples=120, deadline=None)
@given(form=forms(), data=st.data(), error=st.floats(-0.5, 0.5))
def test_a_planted_foresight_comes_back_whatever_the_form(
    form: Form, data: st.DataObject, error: float
) -> None:
    count = data.draw(st.integers(1, 6))
    heights = data.draw(st.lists(st.floats(-1.0, 1.0), min_size=count, max_size=count))
    setups, before = [], 0.0
    for index, height in enumerate(heights):
        between = data.draw(st.lists(st.floats(-1.0, 1.0), max_size=2))
        setups.append(
            Setup(
                instrument=max(before, height, *between, 0.0) + 1.0,
                between=[(f"I{index}-{number}", z) for number, z in enumerate(between)],
                end=(f"M{index + 1}", height),
            )
        )
        before = height
    where = data.draw(st.integers(0, count - 1))
    text = page(form, setups, error=error, where=where)
    measure = measured(form, text, 100.0 + heights[-1])
    metres = form.unit.metres
    # A foresight that is too great makes everything behind it too low.
    assert summary(measure)["misclosure"] == pytest.approx(-error * metres, abs=1e-6)
    assert measure.whole_undecided == ""
    seen = [name for each in setups for name in (*(n for n, _ in each.between), each.end[0])]
    assert measure.id.tolist() == ["M0", *seen]
    rises = [{"from": "M0", "to": "M1", "rise": f"{heights[0]:.9f}"}]
    for index, (a, b) in enumerate(pairwise(heights), 1):
        rises.append({"from": f"M{index}", "to": f"M{index + 1}", "rise": f"{b - a:.9f}"})
    rises[where]["rise"] = f"{float(rises[where]['rise']) - error:.9f}"
    other = measured(form, table(form, ["from", "to", "rise"], rises), 100.0 + heights[-1])
    assert summary(other)["misclosure"] == pytest.approx(summary(measure)["misclosure"], abs=1e-6)
    carried = np.array([name[0] == "M" for name in measure.id.tolist()])
    assert np.asarray(measure.column("elevation").values)[carried] == pytest.approx(
        np.asarray(other.column("elevation").values), abs=1e-6
    )
