"""Which label belongs to which point: the nearest, one to one.

Where every point's nearest label is another one, that is the answer. Where points compete and
nearly all labels stand off their points by one and the same shift, the shift pairs them. Else those
that compete are paired with the least sum of squared distances, no further than ten times the usual
distance; what is still free beyond takes the nearest free label. Every choice that another label or
point could dispute is marked. Common practice of drawing, no source.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from checker.geometry import neighbours
from checker.model.arrays import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    from shapely import STRtree

GeometryArray = npt.NDArray[np.object_]

FAR: Final = 10.0
"""A label farther off than this many times the median distance is told."""
ALIKE: Final = 1.1
"""A second label nearer than this many times the first one's distance makes the choice doubtful."""
_MAX_TABLE: Final = 4_000_000
_NEIGHBOURS: Final = 12.0
_ROUNDS: Final = 20
_SLACK: Final = 0.05
"""By how much of a shift labels may miss it and still follow it."""
_NEARLY_ALL: Final = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """For every point its label and how sure that is; shape (points,).

    label: index, -1 for none. distance: NaN for none. doubtful: another label or another point
    would do nearly as well. far: beyond `FAR` times the median distance.
    """

    label: IntArray
    distance: FloatArray
    doubtful: BoolArray
    far: BoolArray


def pair(points: FloatArray, labels: FloatArray, radius: float | None) -> Pairing:
    """Pair points with labels in plan.

    points: shape (points, 2). labels: shape (labels, 2). radius: no pair farther apart than this,
    None for no limit; all in one unit.
    """
    import shapely

    count = len(points)
    chosen = np.full(count, -1, dtype=np.int64)
    doubtful = np.zeros(count, dtype=np.bool_)
    nothing = Pairing(
        label=chosen,
        distance=np.full(count, np.nan),
        doubtful=doubtful,
        far=np.zeros(count, dtype=np.bool_),
    )
    if count == 0 or len(labels) == 0:
        return nothing
    # Near the origin the distances keep their last digits.
    origin = points.mean(axis=0)
    points, labels = points - origin, labels - origin
    where = _places(points)
    tree = shapely.STRtree(_places(labels))
    first, nearest = neighbours.nearest(labels, points)
    limit = FAR * float(np.median(first))
    doubtful |= _several(tree, where, np.minimum(first, limit) * ALIKE)

    if radius is not None:
        limit = min(limit, radius)
    wanted = np.bincount(nearest, minlength=len(labels))
    sole = wanted[nearest] == 1
    if bool(np.all(sole)):
        chosen[:] = nearest
        if radius is not None:
            chosen[first > radius] = -1
    else:
        doubtful |= _contested(nearest, first)
        shift = _common_shift(points, labels, tree, limit)
        if shift is not None:
            chosen[:] = _at_shift(points, labels, shift, limit)
        else:
            chosen[sole] = nearest[sole]
            if radius is not None:
                chosen[first > radius] = -1
            if limit > 0.0:
                _resolve(points, labels, tree, chosen, nearest, limit)
        doubtful |= (chosen >= 0) & (chosen != nearest)
        _greedy(points, labels, chosen, np.inf if radius is None else radius)
    gap = np.full(count, np.nan)
    have = chosen >= 0
    gap[have] = np.hypot(*(points[have] - labels[chosen[have]]).T)
    usual = float(np.median(gap[have])) if bool(have.any()) else 0.0
    far = have & (gap > FAR * usual) & (usual > 0.0)
    return Pairing(label=chosen, distance=gap, doubtful=doubtful & have, far=far)


def _places(xy: FloatArray) -> GeometryArray:
    import shapely

    return np.asarray(shapely.points(xy), dtype=np.object_)


def _several(tree: "STRtree", where: GeometryArray, reach: FloatArray) -> BoolArray:
    """Return where more than one label stands within reach; all, if that is the usual thing."""
    step = max(1, len(where) // 64)
    sample, _ = tree.query(where[::step], predicate="dwithin", distance=reach[::step])
    if len(sample) > _NEIGHBOURS * len(where[::step]):
        return np.ones(len(where), dtype=np.bool_)
    found, _ = tree.query(where, predicate="dwithin", distance=reach)
    return np.bincount(found, minlength=len(where)) > 1


def _contested(nearest: IntArray, distance: FloatArray) -> BoolArray:
    """Return which points share their nearest label with one that is about as near, or nearer."""
    order = np.lexsort((distance, nearest))
    label, gap = nearest[order], distance[order]
    same = np.zeros(len(order), dtype=np.bool_)
    same[1:] = label[1:] == label[:-1]
    contested = same.copy()
    # The nearest of several is in doubt only where the next one is about as near.
    close = np.flatnonzero(same[1:] & ~same[:-1] & (gap[1:] <= ALIKE * gap[:-1]))
    contested[close] = True
    out = np.empty(len(order), dtype=np.bool_)
    out[order] = contested
    return out


def _reach(tree: "STRtree", where: GeometryArray, limit: float) -> float | None:
    """Return a distance up to limit at which a place usually has no more than a few labels.

    None where labels are heaped upon each other, so that there is nothing to choose by.
    """
    sample = where[:: max(1, len(where) // 64)]
    for _ in range(40):
        pairs, _ = tree.query(sample, predicate="dwithin", distance=limit)
        if len(pairs) <= _NEIGHBOURS * len(sample):
            return limit
        limit *= 0.7
    return None


def _resolve(
    points: FloatArray,
    labels: FloatArray,
    tree: "STRtree",
    chosen: IntArray,
    nearest: IntArray,
    limit: float,
) -> None:
    """Pair anew, in place, where points compete for labels, with the points next to them."""
    compete = _places(points[np.flatnonzero(chosen < 0)])
    reach = _reach(tree, compete, limit)
    if reach is None:
        return
    _, reached = tree.query(compete, predicate="dwithin", distance=reach)
    touched = np.zeros(len(labels), dtype=np.bool_)
    touched[reached] = True
    some = np.flatnonzero((chosen < 0) | touched[nearest])
    free = np.ones(len(labels), dtype=np.bool_)
    others = np.ones(len(points), dtype=np.bool_)
    others[some] = False
    free[chosen[others & (chosen >= 0)]] = False
    spare = np.flatnonzero(free)
    if len(spare):
        picked = _least_squares(points[some], labels[spare], reach)
        chosen[some] = np.where(picked >= 0, spare[picked], -1)


def _common_shift(
    points: FloatArray, labels: FloatArray, tree: "STRtree", limit: float
) -> FloatArray | None:
    """Return the one shift, shape (2,), at which nearly all labels stand off their points, or None.

    Labels drawn by rule all stand off alike, and then the shift pairs them, not the distance: a
    label may well stand nearer to the next point than to its own.
    """
    some = points[:: max(1, len(points) // 16)]
    row, column = tree.query(_places(some), predicate="dwithin", distance=limit)
    if len(row) == 0 or len(row) > 100 * len(some):
        return None
    shifts = labels[column] - some[row]
    test = points[:: max(1, len(points) // 128)]
    aim = (test[None, :, :] + shifts[:, None, :]).reshape(-1, 2)
    slack = np.repeat(_SLACK * np.hypot(*shifts.T) + 1e-9, len(test))
    hit, _ = tree.query(_places(aim), predicate="dwithin", distance=slack)
    found = np.zeros(len(aim), dtype=np.bool_)
    found[hit] = True
    votes = found.reshape(len(shifts), len(test)).sum(axis=1)
    enough = _NEARLY_ALL * min(1.0, len(labels) / len(points)) * len(test)
    # Among shifts with the most votes the shortest, which is the nearest label after all.
    best = int(np.lexsort((np.hypot(*shifts.T), -votes))[0])
    if votes[best] < enough - 0.5:
        return None
    shift = shifts[best]
    count = int(np.count_nonzero(_at_shift(points, labels, shift, limit) >= 0))
    return shift if count >= _NEARLY_ALL * min(len(points), len(labels)) else None


def _at_shift(points: FloatArray, labels: FloatArray, shift: FloatArray, limit: float) -> IntArray:
    """Return for every point the label at the shift from it, one to one; -1 for none."""
    import shapely

    slack = min(_SLACK * float(np.hypot(*shift)) + 1e-9, limit)
    tree = shapely.STRtree(_places(labels - shift))
    (found, near), gap = tree.query_nearest(
        _places(points), max_distance=slack, return_distance=True, all_matches=False
    )
    order = np.argsort(gap, kind="stable")
    _, best = np.unique(near[order], return_index=True)
    chosen = np.full(len(points), -1, dtype=np.int64)
    chosen[found[order[best]]] = near[order[best]]
    return chosen


def _least_squares(points: FloatArray, labels: FloatArray, limit: float) -> IntArray:
    """Return the pairing within `limit` with the least sum of squares; -1 costs limit squared."""
    import shapely
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import min_weight_full_bipartite_matching

    count = len(points)
    where, tree = _places(points), shapely.STRtree(_places(labels))
    row, column = tree.query(where, predicate="dwithin", distance=limit)
    cost = np.sum((points[row] - labels[column]) ** 2, axis=1) / limit**2
    # Every point may also stay without: then it takes a label of its own that costs the limit.
    # Costs of nothing would not be stored, so all are raised alike, which changes no choice.
    own = np.arange(count)
    table = coo_array(
        (
            np.concatenate((cost, np.ones(count))) + 1.0,
            (np.concatenate((row, own)), np.concatenate((column, len(labels) + own))),
        ),
        shape=(count, len(labels) + count),
    ).tocsr()
    matched_row, matched = min_weight_full_bipartite_matching(table)
    chosen = np.full(count, -1, dtype=np.int64)
    chosen[matched_row] = np.where(matched < len(labels), matched, -1)
    return chosen


def _greedy(points: FloatArray, labels: FloatArray, chosen: IntArray, radius: float) -> None:
    """Give every free point the nearest free label within radius, nearest pair first, in place."""
    import shapely

    free = np.ones(len(labels), dtype=np.bool_)
    free[chosen[chosen >= 0]] = False
    for _ in range(_ROUNDS):
        left, spare = np.flatnonzero(chosen < 0), np.flatnonzero(free)
        if len(left) == 0 or len(spare) == 0:
            return
        if len(left) * len(spare) <= _MAX_TABLE:
            break
        # Too many for a table: the nearest point that wants a label gets it, round by round.
        tree = shapely.STRtree(_places(labels[spare]))
        (_, near), gap = tree.query_nearest(
            _places(points[left]), return_distance=True, all_matches=False
        )
        order = np.argsort(gap, kind="stable")
        _, best = np.unique(near[order], return_index=True)
        settled = order[best][gap[order[best]] <= radius]
        if len(settled) == 0:
            return
        chosen[left[settled]] = spare[near[settled]]
        free[spare[near[settled]]] = False
    else:
        return
    gap2 = np.sum((points[left][:, None, :] - labels[spare][None, :, :]) ** 2, axis=2)
    order = np.argsort(gap2, axis=None, kind="stable")
    open_points, open_labels = np.ones(len(left), np.bool_), np.ones(len(spare), np.bool_)
    remaining = min(len(left), len(spare))
    for flat in order.tolist():
        i, j = divmod(flat, len(spare))
        if gap2[i, j] > radius * radius or remaining == 0:
            return
        if open_points[i] and open_labels[j]:
            open_points[i] = open_labels[j] = False
            chosen[left[i]] = spare[j]
            remaining -= 1
