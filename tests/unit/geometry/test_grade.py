import numpy as np
import pytest

from checker.geometry.grade import (
    slope_stake_offset,
)
from tests.support.catch import catch_point


def test_catch_on_level_ground() -> None:
    cut = catch_point(8.0, 100.0, [-50, 50], [104, 104], cut_slope=1.5, fill_slope=2.0)
    assert cut.offset_m == pytest.approx(14.0)
    assert cut.elevation_m == pytest.approx(104.0)
    assert cut.is_cut
    assert cut.cut_m == pytest.approx(4.0)
    left = catch_point(-8.0, 100.0, [-50, 50], [97, 97], cut_slope=1.5, fill_slope=2.0)
    assert left.offset_m == pytest.approx(-14.0)
    assert left.cut_m == pytest.approx(-3.0)
    assert left.out_m == pytest.approx(6.0)
    assert not left.is_cut


def test_catch_on_broken_ground() -> None:
    offset = np.array([-40.0, -12.0, 0.0, 9.0, 15.0, 30.0])
    ground = np.array([95.0, 99.0, 101.0, 102.0, 105.0, 106.0])
    for hinge in (-6.0, 6.0):
        catch = catch_point(hinge, 100.0, offset, ground, cut_slope=1.5, fill_slope=1.5)
        # On the ground and on the slope at once, and nowhere nearer the hinge.
        assert catch.elevation_m == pytest.approx(np.interp(catch.offset_m, offset, ground))
        slope = 1.0 if catch.is_cut else -1.0
        assert catch.elevation_m == pytest.approx(100.0 + slope * catch.out_m / 1.5)
        between = np.linspace(0.0, catch.out_m - 1e-6, 500)
        there = np.interp(hinge + np.sign(hinge) * between, offset, ground)
        assert (slope * (there - 100.0 - slope * between / 1.5) > -1e-9).all()


def test_the_offset_rule_agrees_with_the_catch_point() -> None:
    catch = catch_point(8.0, 100.0, [0, 60], [102, 112], cut_slope=1.5, fill_slope=2.0)
    assert slope_stake_offset(8.0, 1.5, catch.cut_m) == pytest.approx(catch.offset_m)
