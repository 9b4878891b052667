import math

import numpy as np
import pytest

from checker.checks.chains import join_figures, reversed_figure
from tests.support.lines import figure

QUARTER = math.tan(math.pi / 8)
LINE = figure("CL", [(0, 0), (100, 0)], handle="A", kind="LINE")
ARC = figure("CL", [(100, 0), (150, 50)], [QUARTER], handle="B", kind="ARC")
BACK = figure("CL", [(150, 110), (150, 50)], handle="C", kind="LINE")


def test_figures_are_joined_whatever_way_they_were_drawn() -> None:
    (chain,) = join_figures([BACK, ARC, LINE]).chains
    assert [each.handle for each in chain.figures] == ["A", "B", "C"]
    assert chain.xyz_m[:, :2].tolist() == [[0, 0], [100, 0], [150, 50], [150, 110]]
    assert chain.bulge.tolist() == [0, QUARTER, 0, 0]
    assert chain.course().length_m == pytest.approx(160 + 25 * math.pi, abs=1e-12)
    assert not chain.closed


def test_the_longest_says_which_way() -> None:
    long_back = figure("CL", [(150, 250), (150, 50)], handle="C", kind="LINE")
    (chain,) = join_figures([LINE, ARC, long_back]).chains
    assert [each.handle for each in chain.figures] == ["C", "B", "A"]
    assert chain.bulge.tolist() == [0, -QUARTER, 0, 0]
    assert chain.course().length_m == pytest.approx(300 + 25 * math.pi, abs=1e-12)


def test_turning_a_figure_round_twice_is_nothing() -> None:
    shape = figure("X", [(0, 0), (10, 0), (10, 10), (0, 20)], [0.1, -0.2, 0.3, 0.4], closed=True)
    turned = reversed_figure(shape)
    assert turned.bulge.tolist() == [-0.3, 0.2, -0.1, -0.4]
    again = reversed_figure(turned)
    assert again.xyz_m.tolist() == shape.xyz_m.tolist()
    assert again.bulge.tolist() == shape.bulge.tolist()


def test_a_gap_of_a_millimetre_is_closed_and_one_of_two_is_not() -> None:
    near = figure("CL", [(100.0009, 0), (200, 0)], handle="N")
    far = figure("CL", [(100.002, 0), (200, 0)], handle="F")
    assert len(join_figures([LINE, near]).chains) == 1
    assert len(join_figures([LINE, far]).chains) == 2


def test_where_three_meet_no_line_goes_on() -> None:
    ramp = figure("CL", [(100, 0), (180, -40)], handle="R")
    joined = join_figures([LINE, ARC, ramp])
    assert len(joined.chains) == 3
    assert joined.branches == ((0, 1, 2),)


def test_a_ring_of_lines_is_closed() -> None:
    sides = [
        figure("PAD", [(0, 0), (10, 0)], handle="1"),
        figure("PAD", [(10, 10), (10, 0)], handle="2"),
        figure("PAD", [(10, 10), (0, 10)], handle="3"),
        figure("PAD", [(0, 10), (0, 0)], handle="4"),
    ]
    (chain,) = join_figures(sides).chains
    assert chain.closed
    assert len(chain.xyz_m) == 4
    assert chain.course().length_m == pytest.approx(40)
    unflagged = figure("PAD", [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)])
    (chain,) = join_figures([unflagged]).chains
    assert chain.closed
    assert len(chain.xyz_m) == 4


def test_a_circle_stays_a_circle() -> None:
    circle = figure("TANK", [(5, 0), (-5, 0)], [1, 1], closed=True, kind="CIRCLE")
    (chain,) = join_figures([circle]).chains
    assert chain.closed
    assert chain.course().length_m == pytest.approx(10 * math.pi)


def test_what_has_no_length_is_left_out() -> None:
    point = figure("CL", [(1, 1), (1, 1)])
    assert join_figures([point]).chains == ()
    assert len(join_figures([point, LINE]).chains) == 1


def test_elevations_go_along() -> None:
    up = figure("CL", [(0, 0, 1.0), (100, 0, 2.0)], handle="A")
    down = figure("CL", [(160, 0, 5.0), (100, 0, 2.0)], handle="B")
    (chain,) = join_figures([up, down]).chains
    assert np.array_equal(chain.xyz_m[:, 2], [1.0, 2.0, 5.0])
