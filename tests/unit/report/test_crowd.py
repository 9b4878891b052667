"""The larger plan of the place where marks crowd, and what a plan says of lines it leaves out."""

import re

import numpy as np
import pytest

from checker.model.drawing import Polyline
from checker.report.numbers import Outside
from checker.report.plots import plan
from checker.report.svg import KINDS
from checker.units import LengthUnit

OUTSIDE = Outside(unit=LengthUnit.METRE)


def marks(n: list[float], e: list[float], kinds: list[str]) -> plan.Marks:
    count = len(n)
    return plan.Marks(
        id=[f"p{index}" for index in range(count)],
        href=[f"#p{index}" for index in range(count)],
        n=np.array(n),
        e=np.array(e),
        kind=np.array([KINDS.index(kind) for kind in kinds]),
        share=np.full(count, 0.5),
        step_n=np.full(count, 0.5),
        step_e=np.full(count, 0.5),
    )


def crowded() -> plan.Marks:
    n = [0.0, 1000.0, *(500.0 + index for index in range(6)), 503.0]
    e = [0.0, 1600.0, *(800.0 + 2 * index for index in range(6)), 804.0]
    return marks(n, e, ["within", "within", *["outside"] * 6, "within"])


def test_a_crowd_is_framed_and_drawn_larger() -> None:
    whole, detail = plan.overview(crowded(), (), OUTSIDE, "plan", "Title")
    assert whole is not None
    assert detail is not None
    assert 'stroke-dasharray="5 3"' in whole.svg
    found = re.search(r"(\d+) times as large: (\d+) points, (\d+) of which need", detail.title)
    assert found
    assert int(found.group(1)) > 10
    assert found.groups()[1:] == ("7", "6")
    assert all(f"p{index} " in detail.svg for index in range(2, 9))
    assert "p0 " not in detail.svg


def test_every_framed_point_lies_in_the_frame() -> None:
    many = crowded()
    window = plan._crowd(many)
    assert window is not None
    inside = window.holds(many.n, many.e)
    assert inside.tolist() == [False, False, *[True] * 7]


@pytest.mark.parametrize("kinds", [["within"] * 9, ["outside"] * 4 + ["within"] * 5])
def test_few_marks_that_need_attention_are_no_crowd(kinds: list[str]) -> None:
    (whole,) = plan.overview(
        marks([0.0, 900.0, *[5.0] * 7], [0.0, 900.0, *[5.0] * 7], kinds), (), OUTSIDE, "plan", "T"
    )
    assert whole is not None
    assert 'stroke-dasharray="5 3"' not in whole.svg


def test_marks_all_over_are_no_crowd() -> None:
    """Nine on a grid: no window of a fifth of the plan holds five."""
    spread = [float(100 * row) for row in range(3) for _ in range(3)]
    across = [float(160 * column) for _ in range(3) for column in range(3)]
    assert plan._crowd(marks(spread, across, ["outside"] * 9)) is None


def test_linework_that_cannot_be_drawn_is_said_to_be_left_out() -> None:
    rng = np.random.default_rng(5)
    xy = rng.uniform(0.0, 1600.0, (60_000, 2))
    lines = [Polyline(layer="A", xy_m=xy, closed=False)]
    figure = plan.plan(crowded(), lines, OUTSIDE, "plan", "Title")
    assert figure is not None
    assert "lines are left out" in figure.caption
    few = plan.plan(
        crowded(), [Polyline(layer="A", xy_m=xy[:50], closed=False)], OUTSIDE, "plan", "Title"
    )
    assert few is not None
    assert "left out" not in few.caption
