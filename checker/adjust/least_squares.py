"""Least squares by observation equations: distances, azimuths, angles, directions, rises, vectors.

Gauss-Newton on sparse normal equations; only those elements of their inverse are computed that
ellipses and redundancies need. Formulas are those of the textbooks (E. M. Mikhail & F. Ackermann,
Observations and Least Squares, 1976; A. Leick; common practice); tests/published/closures/ls-* are
worked examples, and scipy.optimize agrees.

Signs: residual = adjusted - observed. Positions are (n, e, z), azimuths clockwise from north,
metres and radians. scipy is imported where it is needed.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from checker.adjust.datum import free_inverse, least_held, ways_to_move
from checker.adjust.normal import WEAK, Cofactors, Normal, Sparse, empty
from checker.adjust.observations import ANGULAR, Kind, Observations, columns_of
from checker.geometry.plane import wrap_signed
from checker.model.arrays import BoolArray, FloatArray, IntArray

__all__ = (
    "ANGULAR",
    "Adjustment",
    "Kind",
    "NotConvergedError",
    "Observations",
    "RankDefectError",
    "adjust",
)

CONVERGED_M = 1e-9
"""Corrections below this end the iteration: nanometres, or as much in radians of orientation."""
STANDING_M = 1e-6
"""Below this an iteration that gains nothing more is at its end."""
MOST_STEPS = 25
DENSE = 1500
"""Up to so many unknowns a rank defect is found and named by a full decomposition."""
NO_REDUNDANCY = 1e-6
"""An observation of which less than this share is checked by others cannot be tested."""


class RankDefectError(ValueError):
    """The observations do not fix every unknown.

    moving: shape (defects, stations, 3), by how much each station may move without any
    observation changing, unit vectors; circles that may turn are left out.
    """

    def __init__(self, moving: FloatArray) -> None:
        """Keep the directions of the defect."""
        self.moving = moving
        super().__init__(f"rank defect of {len(moving)}")


class NotConvergedError(ValueError):
    """The iteration ran away: approximate positions or an observation are far off.

    station: the index of the one that moved most in the last step, -1 where none can be told.
    moved_m: by how much it did.
    """

    def __init__(self, station: int, moved_m: float) -> None:
        """Keep what moved."""
        self.station, self.moved_m = station, moved_m
        super().__init__("the adjustment does not converge")


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjustment:
    """An adjusted net.

    position_m: shape (stations, 3). cofactor_m2: shape (stations, 3, 3), with unit a priori
    variance; 0 where fixed, NaN for plan with height where no vector ties them. residual: shape
    (rows,). redundancy: shape (rows,), the share of an error of its own that the residual shows,
    diagonal of Qv P; they add up to the degrees of freedom. standardized: the residual weighted by
    P and divided by its own standard deviation (a priori), which for a row that is not correlated
    with others is the residual over its standard deviation; NaN where nothing checks it. strength:
    what the standardized residual grows by per unit of a blunder, sqrt of the diagonal of P Qv P.
    chi2: weighted sum of squares of the residuals. adjusted_variance: shape (rows,), of the
    adjusted observations. moved_m: the largest correction of the last step.
    """

    position_m: FloatArray
    cofactor_m2: FloatArray
    residual: FloatArray
    redundancy: FloatArray
    standardized: FloatArray
    strength: FloatArray
    adjusted_variance: FloatArray
    chi2: float
    degrees_of_freedom: int
    steps: int
    moved_m: float
    inverse: Cofactors
    column: IntArray

    @property
    def sigma0(self) -> float:
        """Standard deviation of unit weight, a posteriori; NaN without redundancy."""
        if self.degrees_of_freedom < 1:
            return float("nan")
        return float(np.sqrt(self.chi2 / self.degrees_of_freedom))

    def relative_plan_cofactors(self, one: IntArray, other: IntArray) -> FloatArray:
        """Return the cofactors of differences in plan, shape (pairs, 2, 2), north first.

        one, other: shape (pairs,), stations that an observation of plan joins.
        """
        found = np.zeros((len(one), 2, 2))
        for first, second, sign in (
            (one, one, 1.0),
            (other, other, 1.0),
            (one, other, -1.0),
            (other, one, -1.0),
        ):
            for a in range(2):
                for b in range(2):
                    row, col = self.column[first, a], self.column[second, b]
                    both = np.flatnonzero((row >= 0) & (col >= 0))
                    if both.size:
                        found[both, a, b] += sign * self.inverse.at(row[both], col[both])
        return found


# ---------------------------------------------------------------- observation equations


def adjust(
    observations: Observations,
    approximate_m: FloatArray,
    fixed: BoolArray,
    *,
    free: bool = False,
) -> Adjustment:
    """Return the adjusted net.

    approximate_m: shape (stations, 3), NaN where nothing observes that coordinate. fixed: shape
    (stations, 3). free: where the datum is missing take the solution whose corrections of the
    approximate positions have the least sum of squares. Raises RankDefectError, NotConvergedError.
    """
    # Seven digits before the point would cost the last ones of every difference.
    origin: FloatArray = np.zeros(3)
    if len(approximate_m):
        origin = np.asarray(np.rint(np.nan_to_num(approximate_m).mean(axis=0)))
    position = np.array(approximate_m, dtype=np.float64) - origin
    seen = _shifted(observations, origin)
    found = (_free if free else _held)(seen, position, fixed)[0]
    moved = found.position_m + origin
    # What is held stays what it is, to the last bit.
    return replace(found, position_m=np.where(fixed, approximate_m, moved))


def _held(
    observations: Observations, position: FloatArray, fixed: BoolArray
) -> tuple[Adjustment, Normal]:
    """Return the net that its fixed coordinates hold, and its normal equations."""
    position = position.copy()
    column, circles = columns_of(observations, fixed)
    size = _size(column, circles)
    circle = _circles(observations, position, len(circles))
    whiten = _whitening(observations)
    pattern = _pattern(observations, column, circles, size)
    steps, before, largest = 0, np.inf, 0.0
    normal: Normal | None = None
    while size:
        design, misfit = _equations(observations, position, circle, column, circles, whiten)
        normal = Normal(design, pattern)
        if normal.is_weak():
            if steps == 0:
                raise RankDefectError(_moving(design, column))
            raise NotConvergedError(-1, float("nan"))
        change = normal.solve(design.T @ misfit)
        movable = column >= 0
        position[movable] += change[column[movable]]
        circle = circle + change[circles] if len(circles) else circle
        steps += 1
        largest = float(np.max(np.abs(change)))
        if not np.isfinite(largest) or steps > MOST_STEPS:
            moved = np.where(movable, np.abs(change[column]), 0.0).max(axis=1)
            raise NotConvergedError(int(np.argmax(np.nan_to_num(moved))), largest)
        # Rounding may keep a weak net from settling to the last digits: it then stands still.
        if largest < CONVERGED_M or (before < STANDING_M and largest > before / 2.0):
            break
        before = largest
    if normal is None:
        normal = Normal(empty(0), empty(0))
    found = _outcome(observations, position, circle, column, circles, whiten, normal)
    return replace(found, steps=steps, moved_m=largest), normal


def _free(
    observations: Observations, start: FloatArray, fixed: BoolArray
) -> tuple[Adjustment, Normal]:
    """Return the net in the middle of the ways in which it may move; see `datum`."""
    column, circles = columns_of(observations, fixed)
    whiten = _whitening(observations)

    def ways(position: FloatArray) -> FloatArray:
        circle = _circles(observations, position, len(circles))
        design, _ = _equations(observations, position, circle, column, circles, whiten)
        return ways_to_move(observations, design, position, column, circles)

    middle = ways(start)
    if not middle.shape[1]:
        return _held(observations, start, fixed)
    whole = middle.copy()
    middle[circles] = 0.0
    held = fixed | least_held(middle, column)
    there = column >= 0
    position, steps = start, 0
    while True:
        try:
            found, normal = _held(observations, position, held)
        except RankDefectError:
            circle = _circles(observations, start, len(circles))
            design, _ = _equations(observations, start, circle, column, circles, whiten)
            raise RankDefectError(_moving(design, column, whole)) from None
        now = ways(found.position_m)
        steps += found.steps
        shift = np.zeros(len(middle))
        shift[column[there]] = (found.position_m - start)[there]
        back = now @ np.linalg.solve(middle.T @ now, middle.T @ shift)
        back[circles] = 0.0
        moved = float(np.max(np.abs(back)))
        if moved < CONVERGED_M * 10.0:
            break
        if steps > 4 * MOST_STEPS:
            raise NotConvergedError(-1, moved)
        position = found.position_m.copy()
        position[there] -= back[column[there]]
    place = np.full(len(middle), -1, dtype=np.int64)
    place[column[there]] = found.column[there]
    own = columns_of(observations, held)[1]
    place[circles] = own
    base = normal.inverse()
    inverse = free_inverse(base, normal, place, middle, now)
    return (
        replace(
            found,
            cofactor_m2=_station_cofactors(column, inverse),
            steps=steps,
            inverse=inverse,
            column=column,
        ),
        normal,
    )


def _size(column: IntArray, circles: IntArray) -> int:
    return int(max(column.max(initial=-1), circles.max(initial=-1))) + 1


def _shifted(observations: Observations, origin: FloatArray) -> Observations:
    """Return the observations as seen from another origin: only coordinates change."""
    value = observations.value.copy()
    for kind, axis in ((Kind.N, 0), (Kind.E, 1), (Kind.Z, 2)):
        value[observations.kind == kind] -= origin[axis]
    return replace(observations, value=value)


def _circles(observations: Observations, position: FloatArray, count: int) -> FloatArray:
    """Return approximate azimuths of the zeros of the circles."""
    circle = np.full(count, np.nan)
    rows = np.flatnonzero(observations.kind == Kind.DIRECTION)
    if rows.size:
        d = position[observations.j[rows]] - position[observations.i[rows]]
        zero = np.arctan2(d[:, 1], d[:, 0]) - observations.value[rows]
        # The first row of every circle: written last.
        circle[observations.k[rows[::-1]]] = zero[::-1]
    return circle


def _whitening(observations: Observations) -> Sparse:
    """Return the sparse matrix that gives every row unit weight, vectors by their covariances."""
    from scipy.sparse import csr_array

    count = len(observations)
    alone = np.flatnonzero(observations.block < 0)
    row, col = [alone], [alone]
    value = [1.0 / observations.sigma[alone]]
    for first, size in observations.vectors():
        covariance = observations.covariance_m2[observations.block[first]][:, :size, :size]
        lower = np.linalg.inv(np.linalg.cholesky(covariance))
        for one in range(size):
            for other in range(one + 1):
                row.append(first + one)
                col.append(first + other)
                value.append(lower[:, one, other])
    places = (np.concatenate(row), np.concatenate(col))
    return csr_array((np.concatenate(value), places), shape=(count, count))


def _pattern(observations: Observations, column: IntArray, circles: IntArray, size: int) -> Sparse:
    """Return which pairs of unknowns belong together: symmetric, true where they do.

    Those of every observation, those of all three components of a vector, and northing with easting
    of every station.
    """
    from scipy.sparse import csr_array

    nothing = np.ones((len(column), 3))
    nothing[:, 0] = np.arange(len(column))  # no two stations in one place: nothing divides by zero
    (row, col, _), _ = _linearised(observations, nothing, np.zeros(len(circles)), column, circles)
    together = np.arange(len(observations))
    for first, many in observations.vectors():
        for more in range(1, many):
            together[first + more] = first
    places = [together[row]]
    unknowns = [col]
    for axis in range(2):
        places.append(len(observations) + np.arange(len(column)))
        unknowns.append(column[:, axis])
    r, c = np.concatenate(places), np.concatenate(unknowns)
    there = c >= 0
    shape = (len(observations) + len(column), size)
    tied = csr_array((np.ones(int(there.sum())), (r[there], c[there])), shape=shape)
    return tied.T @ tied


def _equations(
    observations: Observations,
    position: FloatArray,
    circle: FloatArray,
    column: IntArray,
    circles: IntArray,
    whiten: Sparse,
) -> tuple[Sparse, FloatArray]:
    """Return design and observed minus computed, linearised at the positions, of unit weight."""
    from scipy.sparse import csr_array

    design, misfit = _linearised(observations, position, circle, column, circles)
    row, col, value = design
    known = col >= 0
    shape = (len(observations), _size(column, circles))
    matrix = csr_array((value[known], (row[known], col[known])), shape=shape)
    return (whiten @ matrix).tocsr(), np.asarray(whiten @ misfit)


Triples = tuple[IntArray, IntArray, FloatArray]


def _linearised(
    observations: Observations,
    position: FloatArray,
    circle: FloatArray,
    column: IntArray,
    circles: IntArray,
) -> tuple[Triples, FloatArray]:
    """Return the derivatives as (row, column, value) and observed minus computed."""
    kind, value = observations.kind, observations.value
    i, j, k = observations.i, observations.j, observations.k
    misfit = np.zeros(len(observations))
    row: list[IntArray] = []
    col: list[IntArray] = []
    val: list[FloatArray] = []

    def put(rows: IntArray, station: IntArray, axis: int, derivative: npt.ArrayLike) -> None:
        row.append(rows)
        col.append(column[station, axis])
        val.append(np.broadcast_to(np.asarray(derivative, dtype=np.float64), rows.shape))

    def sight(start: IntArray, end: IntArray) -> tuple[FloatArray, ...]:
        dn, de = (position[end] - position[start])[:, :2].T
        square = dn**2 + de**2
        return dn, de, square

    rows = np.flatnonzero(kind == Kind.DISTANCE)
    dn, de, square = sight(i[rows], j[rows])
    length = np.sqrt(square)
    misfit[rows] = value[rows] - length
    for axis, part in ((0, dn), (1, de)):
        put(rows, j[rows], axis, part / length)
        put(rows, i[rows], axis, -part / length)

    def turn(rows: IntArray, start: IntArray, end: IntArray, sign: float) -> FloatArray:
        """Add the derivatives of an azimuth and return it."""
        dn, de, square = sight(start, end)
        for axis, part in ((0, -de / square), (1, dn / square)):
            put(rows, end, axis, sign * part)
            put(rows, start, axis, -sign * part)
        return np.asarray(np.arctan2(de, dn))

    rows = np.flatnonzero(kind == Kind.AZIMUTH)
    misfit[rows] = wrap_signed(value[rows] - turn(rows, i[rows], j[rows], 1.0))
    rows = np.flatnonzero(kind == Kind.ANGLE)
    ahead = turn(rows, i[rows], k[rows], 1.0)
    back = turn(rows, i[rows], j[rows], -1.0)
    misfit[rows] = wrap_signed(value[rows] - (ahead - back))
    rows = np.flatnonzero(kind == Kind.DIRECTION)
    seen = turn(rows, i[rows], j[rows], 1.0)
    misfit[rows] = wrap_signed(value[rows] - (seen - circle[k[rows]]))
    row.append(rows)
    col.append(circles[k[rows]])
    val.append(np.full(rows.shape, -1.0))
    for what, axis in ((Kind.RISE, 2), (Kind.NORTH, 0), (Kind.EAST, 1), (Kind.UP, 2)):
        rows = np.flatnonzero(kind == what)
        misfit[rows] = value[rows] - (position[j[rows], axis] - position[i[rows], axis])
        put(rows, j[rows], axis, 1.0)
        put(rows, i[rows], axis, -1.0)
    for what, axis in ((Kind.N, 0), (Kind.E, 1), (Kind.Z, 2)):
        rows = np.flatnonzero(kind == what)
        misfit[rows] = value[rows] - position[i[rows], axis]
        put(rows, i[rows], axis, 1.0)
    return (np.concatenate(row), np.concatenate(col), np.concatenate(val)), misfit


# ---------------------------------------------------------------- outcome


def _outcome(
    observations: Observations,
    position: FloatArray,
    circle: FloatArray,
    column: IntArray,
    circles: IntArray,
    whiten: Sparse,
    normal: Normal,
) -> Adjustment:
    from scipy.sparse import csr_array

    inverse = normal.inverse()
    (row, col, value), misfit = _linearised(observations, position, circle, column, circles)
    residual = -misfit
    white = whiten @ residual
    known = col >= 0
    plain = csr_array(
        (value[known], (row[known], col[known])), shape=(len(observations), normal.size)
    )
    plain.sum_duplicates()
    adjusted = _quadratic(plain, inverse)
    variance = observations.variance()
    redundancy = np.clip(1.0 - adjusted / variance, 0.0, 1.0)
    strength = np.sqrt(redundancy / variance)
    weighted = residual / variance
    for first, size in observations.vectors():
        of = (redundancy, strength, weighted)
        _of_vectors(observations, first, size, column, inverse, residual, of)
    standardized = np.full(len(observations), np.nan)
    testable = strength**2 * variance > NO_REDUNDANCY
    standardized[testable] = weighted[testable] / strength[testable]
    return Adjustment(
        position_m=position,
        cofactor_m2=_station_cofactors(column, inverse),
        residual=residual,
        redundancy=redundancy,
        standardized=standardized,
        strength=strength,
        adjusted_variance=adjusted,
        chi2=float(white @ white),
        degrees_of_freedom=len(observations) - normal.size,
        steps=0,
        moved_m=0.0,
        inverse=inverse,
        column=column,
    )


def _of_vectors(
    observations: Observations,
    first: IntArray,
    size: int,
    column: IntArray,
    inverse: Cofactors,
    residual: FloatArray,
    into: tuple[FloatArray, FloatArray, FloatArray],
) -> None:
    """Put redundancy, strength and weighted residual of vectors in place, by their covariances."""
    redundancy, strength, weighted = into
    adjusted = np.zeros((first.size, size, size))
    i, j = column[observations.i[first]], column[observations.j[first]]
    for one, other, sign in ((i, i, 1.0), (j, j, 1.0), (i, j, -1.0), (j, i, -1.0)):
        for a in range(size):
            for b in range(size):
                both = np.flatnonzero((one[:, a] >= 0) & (other[:, b] >= 0))
                if both.size:
                    adjusted[both, a, b] += sign * inverse.at(one[both, a], other[both, b])
    covariance = observations.covariance_m2[observations.block[first]][:, :size, :size]
    weight = np.linalg.inv(covariance)
    shown = (covariance - adjusted) @ weight  # Qv P
    square = np.einsum("rii->ri", weight @ shown)
    whole = np.einsum("rab,rb->ra", weight, residual[first[:, None] + np.arange(size)])
    for axis in range(size):
        rows = first + axis
        redundancy[rows] = shown[:, axis, axis]
        strength[rows] = np.sqrt(np.maximum(square[:, axis], 0.0))
        weighted[rows] = whole[:, axis]


def _quadratic(design: Sparse, inverse: Cofactors) -> FloatArray:
    """Return a Q a' for every row a of a sparse matrix."""
    counts = np.diff(design.indptr)
    result = np.zeros(design.shape[0])
    for width in np.unique(counts[counts > 0]).tolist():
        rows = np.flatnonzero(counts == width)
        at = design.indptr[rows][:, None] + np.arange(width)
        cols = design.indices[at].astype(np.int64)
        values = design.data[at]
        one = np.repeat(cols[:, :, None], width, axis=2)
        other = np.repeat(cols[:, None, :], width, axis=1)
        q = inverse.at(one.reshape(-1), other.reshape(-1)).reshape(one.shape)
        result[rows] = np.einsum("ri,rij,rj->r", values, q, values)
    return result


def _station_cofactors(column: IntArray, inverse: Cofactors) -> FloatArray:
    """Return the cofactors of every station; NaN for plan with height that no vector ties."""
    cofactor = np.zeros((len(column), 3, 3))
    for one in range(3):
        for other in range(one, 3):
            rows = np.flatnonzero((column[:, one] >= 0) & (column[:, other] >= 0))
            if not rows.size:
                continue
            row, col = column[rows, one], column[rows, other]
            known = inverse.knows(row, col)
            found = np.full(rows.size, np.nan)
            found[known] = inverse.at(row[known], col[known])
            cofactor[rows, one, other] = cofactor[rows, other, one] = found
    return cofactor


# ---------------------------------------------------------------- what is not determined


def _moving(design: Sparse, column: IntArray, ways: FloatArray | None = None) -> FloatArray:
    """Return the directions in which stations may move unseen; shape (defects, stations, 3).

    ways: shape (unknowns, ways), in which the net may move as a whole, which are no defect.
    """
    size = design.shape[1]
    if size <= DENSE:
        _, singular, right = np.linalg.svd(_balanced(design).toarray(), full_matrices=True)
        rank = int(np.count_nonzero(singular > np.sqrt(WEAK) * singular[0])) if singular.size else 0
        null = right[rank:]
    else:
        null = _weakest(design)
    norm = _lengths(design)
    null = null / np.where(norm > 0.0, norm, 1.0)
    if ways is not None:
        null = _beyond(null, ways)
    moving = np.zeros((len(null), *column.shape))
    there = column >= 0
    moving[:, there] = null[:, column[there]]
    length = np.sqrt(np.sum(moving**2, axis=(1, 2)))
    return np.asarray(moving[length > 0.0] / length[length > 0.0][:, None, None])


def _beyond(null: FloatArray, ways: FloatArray) -> FloatArray:
    """Return what moves unseen besides the whole net; shape (defects, unknowns).

    Each way is taken off as most of the net shows it (least absolute values, by weights), so that
    what is left moves by itself.
    """
    # What is not a combination of the ways at all.
    apart = null - (null @ ways) @ ways.T
    _, singular, right = np.linalg.svd(apart, full_matrices=False)
    kept = right[singular > 1e-3 * max(float(singular.max(initial=0.0)), 1e-300)]
    left = []
    for each in kept:
        rest = each
        for _ in range(60):
            weight = 1.0 / np.maximum(np.abs(rest), 1e-9)
            root = np.sqrt(weight)[:, None]
            share = np.linalg.lstsq(ways * root, each * root[:, 0], rcond=None)[0]
            rest = each - ways @ share
        rest[np.abs(rest) < 1e-6 * np.abs(rest).max()] = 0.0
        left.append(rest)
    return np.array(left).reshape(-1, null.shape[1])


def _balanced(design: Sparse) -> Sparse:
    """Return the design with columns of unit length, so that metres and radians compare."""
    from scipy.sparse import diags_array

    norm = _lengths(design)
    return design @ diags_array(1.0 / np.where(norm > 0.0, norm, 1.0))


def _lengths(design: Sparse) -> FloatArray:
    """Return the length of every column.

    The largest of each is taken out first: squares of what a tiny distance makes would overflow.
    """
    from scipy.sparse import diags_array

    largest: FloatArray = abs(design).max(axis=0).toarray().reshape(-1)
    scaled = design @ diags_array(1.0 / np.where(largest > 0.0, largest, 1.0))
    return np.asarray(largest * np.sqrt(np.asarray((scaled**2).sum(axis=0)).reshape(-1)))


def _weakest(design: Sparse) -> FloatArray:
    """Return some undetermined directions of a large net by inverse iteration."""
    from scipy.sparse import eye_array
    from scipy.sparse.linalg import eigsh

    balanced = _balanced(design)
    normal = (balanced.T @ balanced + 1e-12 * eye_array(design.shape[1])).tocsc()
    values, vectors = eigsh(normal, k=min(6, design.shape[1] - 1), sigma=0.0)
    return np.asarray(vectors[:, values < 10.0 * WEAK].T)
