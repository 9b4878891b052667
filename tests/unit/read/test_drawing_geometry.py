"""Exact curves of a drawing, against plane geometry done by hand and the format's own reference."""

import math

import numpy as np
import pytest
from ezdxf.math import OCS, Vec3, bulge_to_arc

from checker.model.arrays import FloatArray
from checker.read.dxf_geometry import (
    MAX_CHORDS,
    Curve,
    Straight,
    conic,
    curved,
    entity_axes,
    flattened,
    moved,
    plan_axes,
    polyline,
    transformed,
    without_repeats,
)


def flat(*points: tuple[float, float]) -> FloatArray:
    return np.array([(x, y, 0.0) for x, y in points])


def arcs(curve: Curve) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Centres in plan, radii, and sweeps with their sign, of parts that are circular in plan."""
    a, b, dot = plan_axes(curve)
    assert np.allclose(a, b, rtol=1e-9)
    assert np.allclose(dot, 0.0, atol=1e-9 * max(float(np.max(a)), 1e-30))
    turned = curve.u[:, 0] * curve.v[:, 1] - curve.u[:, 1] * curve.v[:, 0] < 0.0
    return curve.centre[:, :2], np.sqrt(a), np.where(turned, -curve.sweep_rad, curve.sweep_rad)


def test_a_bulge_of_one_is_half_a_circle_counter_clockwise() -> None:
    # DXF reference: bulge is the tangent of a quarter of the included angle, + counter-clockwise;
    # so from (0, 0) to (10, 0) with +1 the arc passes through (5, -5).
    curve = polyline(flat((0, 0), (10, 0)), np.array([1.0, 0.0]), closed=False)
    centre, radius, sweep = arcs(curve)
    assert centre.tolist() == [[5.0, 0.0]]
    assert radius.tolist() == [5.0]
    assert sweep[0] == pytest.approx(math.pi)
    points = flattened(curve, 1e-4)
    assert np.min(points[:, 1]) == pytest.approx(-5.0, abs=1e-4)
    assert np.max(points[:, 1]) == 0.0


@pytest.mark.parametrize("bulge", [0.2, -0.2, 1.0, -3.0, 1e-6, 0.41421356])
def test_bulges_agree_with_the_reference_library(bulge: float) -> None:
    start, end = (4_000_000.0, 500_000.0), (4_000_010.0, 500_007.0)
    curve = polyline(flat(start, end), np.array([bulge, 0.0]), closed=False)
    found, size, sweep = arcs(curve)
    centre, _, _, radius = bulge_to_arc(start, end, bulge)
    assert size[0] == pytest.approx(radius, rel=1e-9)
    # Coordinates of four millions carry 5e-10; a flat arc's centre lies far off.
    assert np.allclose(found[0], (centre.x, centre.y), rtol=1e-9, atol=1e-8)
    assert sweep[0] == pytest.approx(4 * math.atan(bulge))


def test_lines_and_arcs_mix_and_close() -> None:
    curve = polyline(flat((0, 0), (10, 0), (10, 10)), np.array([0.0, -1.0, 0.0]), closed=True)
    assert curve.closed
    assert (curve.sweep_rad != 0.0).tolist() == [False, True, False]
    assert np.hypot(*curve.u[1, :2]) == pytest.approx(5.0)
    assert np.array_equal(curve.end, np.roll(curve.start, -1, axis=0))


def test_parts_without_length_vanish() -> None:
    curve = polyline(flat((0, 0), (0, 0), (5, 0)), np.array([1.0, 0.0, 0.0]), closed=False)
    assert len(curve) == 1
    assert len(polyline(np.zeros((0, 3)), None, closed=True)) == 0
    assert len(polyline(np.zeros((1, 3)), None, closed=False)) == 0


@pytest.mark.parametrize(
    "extrusion",
    [(0, 0, 1), (0, 0, -1), (1, 0, 0), (0, -1, 0), (0.01, 0.01, 1), (0.3, -0.4, 0.5), (-1, -1, -1)],
)
def test_entity_axes_agree_with_the_reference_library(extrusion: tuple[float, ...]) -> None:
    axes = entity_axes(extrusion)
    reference = OCS(Vec3(extrusion))
    for column, unit in enumerate(((1, 0, 0), (0, 1, 0), (0, 0, 1))):
        assert np.allclose(axes[:, column], reference.to_wcs(Vec3(unit)).xyz, rtol=0, atol=1e-15)


def test_an_extrusion_without_length_counts_as_up() -> None:
    assert np.array_equal(entity_axes((0, 0, 0)), np.eye(3))
    assert np.array_equal(entity_axes((math.nan, 0, 0)), np.eye(3))


def test_an_arc_runs_counter_clockwise_across_east() -> None:
    x, y = np.array((1.0, 0, 0)), np.array((0, 1.0, 0))
    curve = conic(np.zeros(3), 5 * x, 5 * y, (math.radians(350), math.radians(10)))
    _, _, sweep = arcs(curve)
    assert sweep[0] == pytest.approx(math.radians(20))
    assert np.arctan2(*curve.start[0, 1::-1]) == pytest.approx(math.radians(-10))


def test_equal_start_and_end_is_the_whole_circle() -> None:
    x, y = np.array((1.0, 0, 0)), np.array((0, 1.0, 0))
    curve = conic(np.zeros(3), x, y, (1.0, 1.0))
    assert curve.closed
    assert curve.sweep_rad[0] == 2 * math.pi
    assert np.array_equal(curve.start, curve.end)


def test_mirroring_reverses_an_arc_and_keeps_it_exact() -> None:
    curve = polyline(flat((0, 0), (10, 0)), np.array([1.0, 0.0]), closed=False)
    mirror = np.diag([-1.0, 1.0, 1.0, 1.0])
    mirrored = transformed(curve, mirror)
    _, _, sweep = arcs(mirrored)
    assert sweep[0] == pytest.approx(-math.pi)
    assert mirrored.end[:, :2].tolist() == [[-10.0, 0.0]]


def test_huge_arcs_have_a_bounded_number_of_chords() -> None:
    x, y = np.array((1.0, 0, 0)), np.array((0, 1.0, 0))
    curve = conic(np.zeros(3), 1e9 * x, 1e9 * y, (0.0, 0.0))
    assert len(flattened(curve, 1e-3)) == MAX_CHORDS + 1
    tiny = conic(np.zeros(3), 1e-6 * x, 1e-6 * y, (0.0, 0.0))
    assert len(flattened(tiny, 1.0)) == 17


def test_repeats_are_dropped_and_close_a_figure() -> None:
    xy = np.array([(0, 0), (0, 0), (1, 0), (1, 1), (1, 1), (0, 0)], dtype=float)
    kept, closed = without_repeats(xy, closed=False)
    assert closed
    assert kept.tolist() == [[0, 0], [1, 0], [1, 1]]
    there_and_back = np.array([(0, 0), (1, 0), (0, 0)], dtype=float)
    assert without_repeats(there_and_back[:2], closed=True)[1] is False


def test_straight_lines_become_exact_segments_too() -> None:
    points = flat((0, 0), (3, 4), (3, 0))
    line = Straight(points=points, closed=True)
    assert curved(line).end[:, :2].tolist() == [[3, 4], [3, 0], [0, 0]]
    shifted = np.eye(4)
    shifted[:3, 3] = (1.0, 2.0, 0.0)
    got = moved(line, shifted)
    assert isinstance(got, Straight)
    assert np.array_equal(flattened(got, 0.01), points + shifted[:3, 3])


def test_a_bulge_of_next_to_nothing_is_a_line() -> None:
    # Else the centre would lie beyond what numbers can hold; 5e-9 of the chord is no distance.
    curve = polyline(flat((0, 0), (10, 0), (20, 0)), np.array([1e-300, 1e-8, 0.0]), closed=False)
    assert curve.sweep_rad.tolist() == [0.0, 0.0]
    assert np.isfinite(curve.centre).all()
