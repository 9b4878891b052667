"""Which label a point takes. Arrangements are invented; the answers are plain from the figure."""

import numpy as np
import pytest

from checker.model.arrays import FloatArray
from checker.read.dxf_labels import pair


def grid(rows: int, columns: int, step: float) -> FloatArray:
    row, column = np.divmod(np.arange(rows * columns), columns)
    return np.column_stack((column, row)).astype(float) * step + (618000.0, 512000.0)


def test_the_nearest_label_and_nothing_to_dispute() -> None:
    points = grid(5, 5, 10.0)
    order = np.random.default_rng(3).permutation(25)
    pairing = pair(points, points[order] + (1.0, 0.5), None)
    assert np.array_equal(order[pairing.label], np.arange(25))
    assert np.allclose(pairing.distance, np.hypot(1.0, 0.5))
    assert not pairing.doubtful.any()
    assert not pairing.far.any()


@pytest.mark.parametrize("shift", [(2.0, 0.5), (4.0, 1.0), (-3.5, 2.2)])
def test_labels_drawn_by_rule_follow_the_rule_and_are_marked(shift: tuple[float, float]) -> None:
    points = grid(8, 8, 3.0)  # each label stands nearer to the next point than to its own
    pairing = pair(points, points + shift, None)
    assert np.array_equal(pairing.label, np.arange(64))
    assert pairing.doubtful.all()


def test_one_to_one_where_two_points_want_one_label() -> None:
    points = np.array([(0.0, 0.0), (2.0, 0.0)])
    labels = np.array([(0.9, 0.0), (3.5, 0.0)])
    pairing = pair(points, labels, None)
    assert pairing.label.tolist() == [0, 1]
    assert pairing.doubtful.any()


def test_a_point_without_label_does_not_shift_the_others() -> None:
    points = np.array([(0.0, 0.0), (10.0, 0.0), (20.0, 0.0), (30.0, 0.0)])
    labels = np.array([(11.0, 0.0), (21.0, 0.0), (31.0, 0.0), (60.0, 0.0)])
    pairing = pair(points, labels, None)
    assert pairing.label.tolist() == [3, 0, 1, 2]
    assert pairing.far.tolist() == [True, False, False, False]
    assert pairing.doubtful.tolist() == [True, False, False, False]
    assert pair(points, labels, 5.0).label.tolist() == [-1, 0, 1, 2]


def test_two_labels_about_as_near_are_doubtful() -> None:
    points = np.array([(0.0, 0.0), (100.0, 0.0)])
    labels = np.array([(1.0, 0.0), (-1.05, 0.0), (101.0, 0.0)])
    assert pair(points, labels, None).doubtful.tolist() == [True, False]


def test_fewer_labels_than_points_and_none_at_all() -> None:
    points = grid(4, 4, 10.0)
    pairing = pair(points, points[::2] + 0.5, None)
    assert np.array_equal(np.flatnonzero(pairing.label >= 0), np.arange(0, 16, 2))
    assert pair(points, np.zeros((0, 2)), None).label.tolist() == [-1] * 16
    assert pair(np.zeros((0, 2)), points, None).label.tolist() == []


def test_no_label_is_given_twice_however_they_lie() -> None:
    random = np.random.default_rng(8)
    for labels in (300, 200, 400):
        points = random.random((300, 2)) * 100
        pairing = pair(points, random.random((labels, 2)) * 100, None)
        given = pairing.label[pairing.label >= 0]
        assert len(given) == len(set(given.tolist())) == min(300, labels)


def test_heaped_labels_and_points_come_to_an_end() -> None:
    heap = np.zeros((300, 2))
    assert sorted(pair(heap, heap, None).label.tolist()) == list(range(300))
    away = pair(grid(20, 20, 3.0), heap, None)
    assert np.count_nonzero(away.label >= 0) == 300
    assert away.doubtful[away.label >= 0].all()


def test_the_pairing_agrees_with_an_exhaustive_one() -> None:
    # Independent: nearest pair first, by a plain loop over the whole table. Where every point has
    # a label that is nearer than half the way to the next, both must agree.
    random = np.random.default_rng(5)
    points = grid(10, 10, 10.0) + random.normal(0, 0.5, (100, 2))
    labels = points + random.normal(0, 0.8, (100, 2))
    labels = labels[random.random(100) > 0.2]
    table = np.hypot(*(points[:, None] - labels[None]).T).T
    expected = np.full(100, -1)
    left = table.copy()
    for _ in range(len(labels)):
        i, j = np.unravel_index(np.argmin(left), left.shape)
        if left[i, j] > 5.0:
            break
        expected[i] = j
        left[i, :] = left[:, j] = np.inf
    assert np.array_equal(pair(points, labels, 5.0).label, expected)
