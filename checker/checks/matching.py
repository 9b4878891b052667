"""Which shot stands at which design point when numbers do not say so: the nearest, one to one."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from checker.model.arrays import BoolArray, FloatArray, IntArray

_SAME_M = 1e-6
"""Metres: design points closer than this stand at one place."""
_MOST_PAIRS = 3_000_000
"""More pairs than this within reach: each shot keeps only its nearest design points."""
_KEPT = 8
_MOST_CELLS = 4_000_000
"""Larger tangles of pairs are matched by mutual nearness instead of the smallest total."""
_RIVALS = 4
"""How many neighbours are looked at as rivals of a match."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """A one-to-one matching of shots and targets.

    shot: shape (targets,), position of the target's shot, or -1. reach_m: shape (targets,), how far
    a shot may stand from the target. distance_m: shape (targets,), NaN without a shot.
    free_target, free_shot, exchange: shape (targets,), position of a target without a shot, of a
    shot without a target, of a target with a shot of its own that might as well be meant, or -1.
    """

    shot: IntArray
    reach_m: FloatArray
    distance_m: FloatArray
    free_target: IntArray
    free_shot: IntArray
    exchange: IntArray


def match_nearest(
    targets_m: FloatArray, shots_m: FloatArray, within_m: float | None, tolerance_m: float
) -> Nearest:
    """Match shots to targets with the smallest total distance, an unmatched one counting its reach.

    targets_m, shots_m: shape (n, 2) and (m, 2), metres. within_m: reach; None: half the way to the
    next target, without limit for a lone one. A rival is another target or shot less than twice as
    far, or within the tolerance; a pair that is taken is a rival where exchanging the shots less
    than doubles the distances. Targets at one place are no rivals of each other.
    """
    reach = reach_m(targets_m, within_m)
    shot = np.full(len(targets_m), -1, dtype=np.int64)
    if len(targets_m) and len(shots_m):
        target_of_pair, shot_of_pair, distance = _pairs(targets_m, shots_m, reach)
        for chosen in _assigned(target_of_pair, shot_of_pair, distance, reach):
            shot[target_of_pair[chosen]] = shot_of_pair[chosen]
    own = _lengths(shots_m[shot] - targets_m) if len(shots_m) else np.full(len(shot), np.nan)
    own = np.where(shot >= 0, own, np.nan)
    bound = np.full(len(shot), np.inf) if within_m is None else reach
    free_target, exchange = _rival_targets(targets_m, shots_m, shot, own, bound, tolerance_m)
    return Nearest(
        shot=shot,
        reach_m=reach,
        distance_m=own,
        free_target=free_target,
        free_shot=_rival_shots(targets_m, shots_m, shot, own, bound, tolerance_m),
        exchange=exchange,
    )


def reach_m(targets_m: FloatArray, within_m: float | None) -> FloatArray:
    """Return how far a shot may stand from each target, metres; shape (targets,)."""
    from scipy.spatial import KDTree

    if within_m is not None:
        return np.full(len(targets_m), within_m)
    places, inverse = np.unique(np.round(targets_m / _SAME_M), axis=0, return_inverse=True)
    if len(places) < 2:
        return np.full(len(targets_m), np.inf)
    apart, _ = KDTree(places * _SAME_M).query(places * _SAME_M, k=2)
    half: FloatArray = 0.5 * np.asarray(apart, dtype=np.float64)[:, 1]
    return half[inverse.reshape(-1)]


def _lengths(vectors: FloatArray) -> FloatArray:
    """Return the lengths of vectors of shape (..., 2)."""
    result: FloatArray = np.hypot(vectors[..., 0], vectors[..., 1])
    return result


def _pairs(
    targets_m: FloatArray, shots_m: FloatArray, reach: FloatArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the pairs within reach as positions of target and shot, with their distance."""
    from scipy.spatial import KDTree

    tree = KDTree(shots_m)
    span = float(np.ptp(np.vstack((targets_m, shots_m)), axis=0).sum()) + 1.0
    radius = np.minimum(reach, span) + _SAME_M
    count = np.asarray(tree.query_ball_point(targets_m, radius, return_length=True), dtype=np.int64)
    if count.sum() <= _MOST_PAIRS:
        lists = tree.query_ball_point(targets_m, radius, return_sorted=True)
        target = np.repeat(np.arange(len(targets_m)), count)
        shot = np.array([position for found in lists for position in found], dtype=np.int64)
    else:
        kept = min(_KEPT, len(targets_m))
        _, near = KDTree(targets_m).query(shots_m, k=kept)
        target = np.asarray(near, dtype=np.int64).reshape(-1)
        shot = np.repeat(np.arange(len(shots_m)), kept)
    distance = _lengths(shots_m[shot] - targets_m[target])
    near_enough = distance <= radius[target]
    return target[near_enough], shot[near_enough], distance[near_enough]


def _assigned(
    target: IntArray, shot: IntArray, distance: FloatArray, reach: FloatArray
) -> Iterator[IntArray]:
    """Yield positions of the pairs that are chosen, a tangle of connected pairs at a time."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if not len(target):
        return
    targets, shots = int(target.max()) + 1, int(shot.max()) + 1
    graph = coo_array(
        (np.ones(len(target)), (target, targets + shot)), shape=(targets + shots, targets + shots)
    )
    _, label = connected_components(graph, directed=False)
    tangle = label[target]
    order = np.argsort(tangle, kind="stable")
    starts = np.flatnonzero(np.diff(tangle[order], prepend=-1))
    sizes = np.diff(np.append(starts, len(order)))
    yield order[starts[sizes == 1]]
    longest = float(distance.max())
    for start, size in zip(starts[sizes > 1].tolist(), sizes[sizes > 1].tolist(), strict=True):
        part = order[start : start + size]
        worth = np.minimum(reach[target[part]], 2.0 * longest + 1.0) + 2.0 * _SAME_M
        yield part[_solved(target[part], shot[part], distance[part], worth)]


def _solved(target: IntArray, shot: IntArray, distance: FloatArray, worth: FloatArray) -> IntArray:
    """Return which pairs of one tangle are chosen."""
    from scipy.optimize import linear_sum_assignment

    rows, row = np.unique(target, return_inverse=True)
    columns, column = np.unique(shot, return_inverse=True)
    if len(rows) * len(columns) > _MOST_CELLS:
        return _mutual(row, column, distance)
    gain = np.zeros((len(rows), len(columns)))
    gain[row, column] = worth - distance
    pair = np.full(gain.shape, -1, dtype=np.int64)
    pair[row, column] = np.arange(len(target))
    chosen = pair[linear_sum_assignment(gain, maximize=True)]
    return chosen[chosen >= 0]


def _mutual(row: IntArray, column: IntArray, distance: FloatArray) -> IntArray:
    """Return the pairs that are nearest to each other, then those among the rest, and so on."""
    taken_row: set[int] = set()
    taken_column: set[int] = set()
    chosen = []
    for position in np.argsort(distance, kind="stable").tolist():
        here, there = int(row[position]), int(column[position])
        if here not in taken_row and there not in taken_column:
            taken_row.add(here)
            taken_column.add(there)
            chosen.append(position)
    return np.array(chosen, dtype=np.int64)


def _first(rival: BoolArray, near: IntArray) -> IntArray:
    """Return the nearest rival of each row, or -1; both of shape (rows, k)."""
    column = rival.argmax(axis=1)
    found = near[np.arange(len(near)), column]
    return np.where(rival.any(axis=1), found, -1)


def _neighbours(places_m: FloatArray, from_m: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return distance and position of the nearest few places; shape (rows, k)."""
    from scipy.spatial import KDTree

    few = min(_RIVALS, len(places_m))
    distance, position = KDTree(places_m).query(from_m, k=few)
    shape = (len(from_m), few)
    return (
        np.asarray(distance, dtype=np.float64).reshape(shape),
        np.asarray(position, dtype=np.int64).reshape(shape),
    )


def _rival_targets(
    targets_m: FloatArray,
    shots_m: FloatArray,
    shot: IntArray,
    own: FloatArray,
    bound: FloatArray,
    tolerance_m: float,
) -> tuple[IntArray, IntArray]:
    """Return for each target the nearest free target, and the target to exchange with, or -1."""
    free_target = np.full(len(shot), -1, dtype=np.int64)
    exchange = free_target.copy()
    rows = np.flatnonzero(shot >= 0)
    if not rows.size:
        return free_target, exchange
    mine = own[rows][:, None]
    distance, near = _neighbours(targets_m, shots_m[shot[rows]])
    elsewhere = _lengths(targets_m[near] - targets_m[rows][:, None, :]) > _SAME_M
    elsewhere &= distance <= bound[near] + _SAME_M
    free = shot[near] < 0
    close = (distance < 2.0 * mine) | (distance <= tolerance_m)
    free_target[rows] = _first(elsewhere & free & close, near)
    other = np.where(free, 0, shot[near])
    back = _lengths(shots_m[other] - targets_m[rows][:, None, :])
    as_well = distance + back < 2.0 * (mine + own[near])
    exchange[rows] = _first(elsewhere & ~free & as_well, near)
    return free_target, exchange


def _rival_shots(
    targets_m: FloatArray,
    shots_m: FloatArray,
    shot: IntArray,
    own: FloatArray,
    bound: FloatArray,
    tolerance_m: float,
) -> IntArray:
    """Return for each matched target the nearest shot that stands at no target, or -1."""
    free_shot = np.full(len(shot), -1, dtype=np.int64)
    rows = np.flatnonzero(shot >= 0)
    idle = np.ones(len(shots_m), dtype=np.bool_)
    idle[shot[rows]] = False
    idle_shots = np.flatnonzero(idle)
    if not rows.size or not idle_shots.size:
        return free_shot
    distance, near = _neighbours(shots_m[idle_shots], targets_m[rows])
    close = (distance < 2.0 * own[rows][:, None]) | (distance <= tolerance_m)
    close &= distance <= bound[rows][:, None] + _SAME_M
    found = _first(close, near)
    free_shot[rows] = np.where(found >= 0, idle_shots[found], -1)
    return free_shot
