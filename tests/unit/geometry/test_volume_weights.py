"""The derivatives of volumes by corner heights, against differences of the volumes themselves."""

import numpy as np
import pytest
from scipy.spatial import Delaunay

from checker.geometry.arrays import FloatArray
from checker.geometry.surface import Surface, surface
from checker.geometry.volume import volume_between
from checker.geometry.volume_weights import corner_weights

RING = [np.array([[2.0, 1.0], [9.0, 2.0], [8.0, 8.5], [1.5, 7.0]])]
WITH_HOLE = [*RING, np.array([[4.0, 4.0], [6.0, 4.0], [6.0, 6.0], [4.0, 6.0]])]


def tin(
    xy: FloatArray, z: FloatArray
) -> tuple[Surface, np.ndarray[tuple[int, ...], np.dtype[np.int64]]]:
    corner = np.asarray(Delaunay(xy - xy.mean(axis=0)).simplices, dtype=np.int64)
    xyz = np.column_stack((xy, z))
    return surface(xyz[corner]), corner


def by_shot(
    weights: FloatArray, corner: np.ndarray[tuple[int, ...], np.dtype[np.int64]], count: int
) -> FloatArray:
    total = np.zeros((2, count))
    for which in (0, 1):
        np.add.at(total[which], corner.reshape(-1), weights[which].reshape(-1))
    return total


@pytest.mark.parametrize("rings", [None, RING, WITH_HOLE], ids=["everywhere", "ring", "hole"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_weights_are_the_derivatives(rings: list[FloatArray] | None, seed: int) -> None:
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0.0, 10.0, (14, 2)) + np.array([600_000.0, 150_000.0])
    z = rng.normal(0.0, 0.3, 14)
    moved = None if rings is None else [ring + np.array([600_000.0, 150_000.0]) for ring in rings]
    flat = rng.uniform(-0.05, 0.05, 9)
    design, _ = tin(
        np.array([[e, n] for e in (-1.0, 5.0, 11.0) for n in (-1.0, 5.0, 11.0)])
        + np.array([600_000.0, 150_000.0]),
        flat,
    )
    ours, corner = tin(xy, z)
    weights = by_shot(corner_weights(ours, design, moved), corner, len(z))
    step = 1e-4
    for shot in range(len(z)):
        ends = []
        for sign in (1.0, -1.0):
            bent = z.copy()
            bent[shot] += sign * step
            ends.append(volume_between(tin(xy, bent)[0], design, moved))
        cut = (ends[0].cut_m3 - ends[1].cut_m3) / (2 * step)
        net = (ends[0].net_m3 - ends[1].net_m3) / (2 * step)
        assert weights[0, shot] == pytest.approx(cut, abs=2e-4)
        assert weights[1, shot] == pytest.approx(net, abs=1e-6)


def test_weights_of_the_whole_add_up_to_its_area() -> None:
    xy = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0], [5.0, 4.0]])
    ours, _ = tin(xy, np.full(5, 1.0))
    design, _ = tin(np.array([[-5.0, -5.0], [15.0, -5.0], [15.0, 15.0], [-5.0, 15.0]]), np.zeros(4))
    weights = corner_weights(ours, design)
    assert weights[0].sum() == pytest.approx(100.0, rel=1e-12)
    assert weights[1].sum() == pytest.approx(100.0, rel=1e-12)


def test_one_height_common_to_all_moves_the_volume_by_its_area() -> None:
    """Where all is cut the volume is linear: one shot of a prism's corner carries a third."""
    ours = surface(np.array([[[0.0, 0.0, 2.0], [6.0, 0.0, 2.0], [0.0, 6.0, 2.0]]]))
    design = surface(np.array([[[-9.0, -9.0, 0.0], [30.0, -9.0, 0.0], [-9.0, 30.0, 0.0]]]))
    weights = corner_weights(ours, design)
    assert weights[0, 0] == pytest.approx([6.0, 6.0, 6.0], rel=1e-12)
