"""Least squares by observation equations: distances, azimuths, angles, directions, rises, vectors.

Gauss-Newton on sparse normal equations; only those elements of their inverse are computed that
ellipses and redundancies need (Takahashi's recursion on the factor). Formulas are those of the
textbooks (E. M. Mikhail & F. Ackermann, Observations and Least Squares, 1976; A. Leick; common
practice); tests/published/closures/ls-* are worked examples, and scipy.optimize agrees.

Signs: residual = adjusted - observed. Positions are (n, e, z), azimuths clockwise from north,
metres and radians. scipy is imported where it is needed.
"""

from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from checker.geometry.plane import wrap_signed
from checker.model.arrays import BoolArray, FloatArray, IntArray

Sparse: TypeAlias = Any
"""A sparse array of scipy, which is imported only where it is needed."""

CONVERGED_M = 1e-9
"""Corrections below this end the iteration: nanometres, or as much in radians of orientation."""
STANDING_M = 1e-6
"""Below this an iteration that gains nothing more is at its end."""
MOST_STEPS = 25
DENSE = 1500
"""Up to so many unknowns a rank defect is found and named by a full decomposition."""
WEAK = 1e-10
"""An unknown whose share of the normal equations is less than this is not determined."""
NO_REDUNDANCY = 1e-6
"""An observation of which less than this share is checked by others cannot be tested."""


class Kind(IntEnum):
    """What one row of the observations is."""

    DISTANCE = 0  # horizontal, i to j
    AZIMUTH = 1  # of i to j
    ANGLE = 2  # clockwise at i, from j to k
    DIRECTION = 3  # at i to j, from the zero of the circle `k`
    RISE = 4  # z of j minus z of i
    NORTH = 5  # n of j minus n of i
    EAST = 6
    UP = 7
    N = 8  # n of i itself
    E = 9
    Z = 10


ANGULAR = frozenset({Kind.AZIMUTH, Kind.ANGLE, Kind.DIRECTION})


@dataclass(frozen=True, slots=True, kw_only=True)
class Observations:
    """One row a number observed; arrays of shape (rows,).

    i, j, k: stations as `Kind` says, -1 where there is none. sigma: one standard deviation.
    block: rows of one vector share a number and stand together; -1: alone. covariance_m2: shape
    (blocks, 3, 3), north, east, up of every block.
    """

    kind: IntArray
    i: IntArray
    j: IntArray
    k: IntArray
    value: FloatArray
    sigma: FloatArray
    block: IntArray
    covariance_m2: FloatArray

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.kind)


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
    """The iteration ran away: approximate positions or an observation are far off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjustment:
    """An adjusted net.

    position_m: shape (stations, 3). cofactor_m2: shape (stations, 3, 3), with unit a priori
    variance; 0 where fixed. residual, redundancy: shape (rows,). standardized: residual divided by
    its own standard deviation (a priori); NaN where nothing checks it. chi2: weighted sum of
    squares of the residuals. adjusted_variance: shape (rows,), of the adjusted observations.
    """

    position_m: FloatArray
    cofactor_m2: FloatArray
    residual: FloatArray
    redundancy: FloatArray
    standardized: FloatArray
    adjusted_variance: FloatArray
    chi2: float
    degrees_of_freedom: int
    steps: int
    inverse: "Inverse"
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Equations:
    """Whitened observation equations: every row has unit weight."""

    design: Sparse
    misfit: FloatArray
    whiten: Sparse


def adjust(
    observations: Observations,
    approximate_m: FloatArray,
    fixed: BoolArray,
    *,
    free: bool = False,
) -> Adjustment:
    """Return the adjusted net.

    approximate_m: shape (stations, 3), NaN where nothing observes that coordinate. fixed: shape
    (stations, 3). free: where the datum is missing take the solution with the least corrections of
    the approximate positions (for small nets). Raises RankDefectError, NotConvergedError.
    """
    column, circles = _columns(observations, fixed)
    size = int(max(column.max(initial=-1), circles.max(initial=-1))) + 1
    # Seven digits before the point would cost the last ones of every difference.
    origin: FloatArray = np.zeros(3)
    if len(approximate_m):
        origin = np.asarray(np.rint(np.nan_to_num(approximate_m).mean(axis=0)))
    position = np.array(approximate_m, dtype=np.float64) - origin
    observations = _shifted(observations, origin)
    circle = _circles(observations, position, len(circles))
    whiten = _whitening(observations)
    steps, before = 0, np.inf
    normal: _Normal | _FreeNormal | None = None
    while size:
        equations = _equations(observations, position, circle, column, circles, whiten, size)
        normal = _FreeNormal(equations.design) if free else _Normal(equations.design)
        if steps == 0 and not free and normal.is_weak():
            raise RankDefectError(_moving(equations.design, column))
        change = normal.solve(equations.design.T @ equations.misfit)
        movable = column >= 0
        position[movable] += change[column[movable]]
        circle = circle + change[circles] if len(circles) else circle
        steps += 1
        largest = float(np.max(np.abs(change)))
        if not np.isfinite(largest) or steps > MOST_STEPS:
            raise NotConvergedError("the adjustment does not converge")
        # Rounding may keep a weak net from settling to the last digits: it then stands still.
        if largest < CONVERGED_M or (before < STANDING_M and largest > before / 2.0):
            break
        before = largest
    if normal is None:
        normal = _Normal(_empty(0))
    found = _outcome(observations, position, circle, column, circles, whiten, normal, steps)
    return replace(found, position_m=found.position_m + origin)


def _shifted(observations: Observations, origin: FloatArray) -> Observations:
    """Return the observations as seen from another origin: only coordinates change."""
    value = observations.value.copy()
    for kind, axis in ((Kind.N, 0), (Kind.E, 1), (Kind.Z, 2)):
        value[observations.kind == kind] -= origin[axis]
    return replace(observations, value=value)


def _columns(observations: Observations, fixed: BoolArray) -> tuple[IntArray, IntArray]:
    """Return the column of every station's n, e, z (-1: fixed or not observed), and of circles."""
    used = np.zeros(fixed.shape, dtype=np.bool_)
    kind = observations.kind
    plan = np.isin(kind, [Kind.DISTANCE, Kind.AZIMUTH, Kind.ANGLE, Kind.DIRECTION])
    for index, axes, rows in (
        (observations.i, (0, 1), plan),
        (observations.j, (0, 1), plan),
        (observations.k, (0, 1), kind == Kind.ANGLE),
        (observations.i, (2,), np.isin(kind, [Kind.RISE, Kind.UP, Kind.Z])),
        (observations.j, (2,), np.isin(kind, [Kind.RISE, Kind.UP])),
        (observations.i, (0,), np.isin(kind, [Kind.NORTH, Kind.N])),
        (observations.j, (0,), kind == Kind.NORTH),
        (observations.i, (1,), np.isin(kind, [Kind.EAST, Kind.E])),
        (observations.j, (1,), kind == Kind.EAST),
    ):
        for axis in axes:
            used[index[rows], axis] = True
    free = used & ~fixed
    column = np.full(fixed.shape, -1, dtype=np.int64)
    column[free] = np.arange(np.count_nonzero(free))
    directions = observations.k[kind == Kind.DIRECTION]
    count = int(directions.max(initial=-1)) + 1
    return column, np.count_nonzero(free) + np.arange(count, dtype=np.int64)


def _circles(observations: Observations, position: FloatArray, count: int) -> FloatArray:
    """Return approximate azimuths of the zeros of the circles."""
    circle = np.full(count, np.nan)
    rows = np.flatnonzero(observations.kind == Kind.DIRECTION)
    if rows.size:
        d = position[observations.j[rows]] - position[observations.i[rows]]
        zero = np.arctan2(d[:, 1], d[:, 0]) - observations.value[rows]
        for row, value in zip(rows.tolist(), zero.tolist(), strict=True):
            if np.isnan(circle[observations.k[row]]):
                circle[observations.k[row]] = value
    return circle


def _empty(size: int) -> Sparse:
    from scipy.sparse import csr_array

    return csr_array((0, size))


def _whitening(observations: Observations) -> Sparse:
    """Return the sparse matrix that gives every row unit weight, vectors by their covariances."""
    from scipy.sparse import csr_array

    count = len(observations)
    alone = np.flatnonzero(observations.block < 0)
    row, col = [alone], [alone]
    value = [1.0 / observations.sigma[alone]]
    if len(observations.covariance_m2):
        first = np.flatnonzero((observations.block >= 0) & (observations.kind == Kind.NORTH))
        block = observations.block[first]
        lower = np.linalg.inv(np.linalg.cholesky(observations.covariance_m2[block]))
        for one in range(3):
            for other in range(one + 1):
                row.append(first + one)
                col.append(first + other)
                value.append(lower[:, one, other])
    places = (np.concatenate(row), np.concatenate(col))
    return csr_array((np.concatenate(value), places), shape=(count, count))


def _equations(
    observations: Observations,
    position: FloatArray,
    circle: FloatArray,
    column: IntArray,
    circles: IntArray,
    whiten: Sparse,
    size: int,
) -> _Equations:
    """Return the equations linearised at the positions, whitened."""
    from scipy.sparse import csr_array

    design, misfit = _linearised(observations, position, circle, column, circles)
    row, col, value = design
    known = col >= 0
    matrix = csr_array((value[known], (row[known], col[known])), shape=(len(observations), size))
    return _Equations(design=(whiten @ matrix).tocsr(), misfit=whiten @ misfit, whiten=whiten)


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


# ---------------------------------------------------------------- normal equations


class _Normal:
    """Normal equations of whitened design, scaled to a unit diagonal and factorised."""

    def __init__(self, design: Sparse) -> None:
        from scipy.sparse import csc_array, diags_array
        from scipy.sparse.linalg import splu

        self.size = design.shape[1]
        self.lu: Sparse = None
        if not self.size:
            return
        normal = csc_array(design.T @ design)
        diagonal = normal.diagonal()
        self.untouched = bool((diagonal <= 0.0).any())
        self.scale = 1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
        # An unknown that nothing observes would stop the factorisation before it can be named.
        filled = diags_array(np.where(diagonal > 0.0, 0.0, 1.0))
        scaled = csc_array(diags_array(self.scale) @ normal @ diags_array(self.scale) + filled)
        self.scaled = scaled
        try:
            self.lu = splu(
                scaled,
                permc_spec="MMD_AT_PLUS_A",
                diag_pivot_thresh=0.0,
                options={"SymmetricMode": True},
            )
        except RuntimeError:  # exactly singular
            self.lu = None

    def is_weak(self) -> bool:
        """Tell whether some unknown is not determined."""
        if not self.size:
            return False
        if self.lu is None or self.untouched:
            return True
        pivots = np.abs(self.lu.U.diagonal())
        return bool(np.min(pivots) < WEAK)

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the solution for one right-hand side or several columns of them."""
        if not self.size:
            return np.zeros_like(right)
        scale = self.scale if right.ndim == 1 else self.scale[:, None]
        return np.asarray(scale * self.lu.solve(np.ascontiguousarray(scale * right)))

    def inverse(self) -> "Inverse":
        """Return those elements of the inverse that lie where its factor has any."""
        return Inverse(self.lu, self.scale) if self.size else Inverse(None, np.empty(0))


class _FreeNormal:
    """Normal equations without a datum: the inverse of least norm, for small nets."""

    def __init__(self, design: Sparse) -> None:
        dense = design.toarray()
        self.size = dense.shape[1]
        # The step that moves the approximate positions least, in the unknowns' own units.
        self.pseudo = np.linalg.pinv(dense.T @ dense, rcond=1e-11, hermitian=True)
        self.rank = int(np.linalg.matrix_rank(dense.T @ dense, tol=None, hermitian=True))

    def is_weak(self) -> bool:
        return False

    def solve(self, right: FloatArray) -> FloatArray:
        return np.asarray(self.pseudo @ right)

    def inverse(self) -> "Inverse":
        found = Inverse(None, np.empty(0))
        found.dense = self.pseudo
        return found


class Inverse:
    """Selected elements of the inverse of a sparse symmetric matrix.

    K. Takahashi, J. Fagan, M.-S. Chen, 1973 (from memory): with the matrix = L D L', from the last
    column backwards Z[s, j] = -Z[s, s] L[s, j] and Z[j, j] = 1/d - L[s, j]' Z[s, j], s the rows
    below the diagonal in column j; s lies within the column of the first of them, so a small full
    matrix a column is all that is needed.
    """

    def __init__(self, lu: Sparse, scale: FloatArray) -> None:
        """Run the recursion over a factor; its memory grows with the factor's."""
        self.dense: FloatArray | None = None
        self._scale = scale
        if lu is None:
            return
        if not np.array_equal(lu.perm_r, lu.perm_c):  # pragma: no cover - symmetric mode keeps it
            self.dense = scale[:, None] * lu.solve(np.diag(scale))
            return
        self._place = np.asarray(lu.perm_c, dtype=np.int64)
        lower = lu.L.tocsc()
        lower.sort_indices()
        pivots = lu.U.diagonal()
        self._columns(lower, pivots)

    def _columns(self, lower: Sparse, pivots: FloatArray) -> None:
        size = lower.shape[0]
        below: list[IntArray] = []
        values: list[FloatArray] = []
        more: list[list[IntArray]] = [[] for _ in range(size)]
        children = np.zeros(size, dtype=np.int64)
        for j in range(size):
            start, stop = lower.indptr[j], lower.indptr[j + 1]
            rows, entries = lower.indices[start:stop], lower.data[start:stop]
            rows, entries = rows[rows > j].astype(np.int64), entries[rows > j]
            if more[j]:
                # What cancelled to zero in the factor still belongs to its pattern.
                every = np.unique(np.concatenate([rows, *more[j]]))
                every = every[every > j]
                if every.size != rows.size:
                    filled = np.zeros(every.size)
                    filled[np.searchsorted(every, rows)] = entries
                    rows, entries = every, filled
                more[j] = []
            below.append(rows)
            values.append(entries)
            if rows.size:
                more[int(rows[0])].append(rows[1:])
                children[rows[0]] += 1
        column: list[FloatArray] = [np.empty(0)] * size
        full: dict[int, FloatArray] = {}
        for j in range(size - 1, -1, -1):
            rows = below[j]
            if not rows.size:
                z = np.array([[1.0 / pivots[j]]])
            else:
                parent = int(rows[0])
                at = np.searchsorted(np.concatenate(([parent], below[parent])), rows)
                inner = full[parent][np.ix_(at, at)]
                side = -inner @ values[j]
                z = np.empty((rows.size + 1, rows.size + 1))
                z[1:, 1:] = inner
                z[0, 1:] = z[1:, 0] = side
                z[0, 0] = 1.0 / pivots[j] - values[j] @ side
                children[parent] -= 1
                if not children[parent]:
                    del full[parent]
            column[j] = z[0].copy()
            if children[j]:
                full[j] = z
        length = np.array([each.size for each in column])
        pattern = np.concatenate([np.concatenate(([j], rows)) for j, rows in enumerate(below)])
        self._size = size
        self._key = np.repeat(np.arange(size), length) * size + pattern
        self._value = np.concatenate(column)

    def at(self, row: IntArray, col: IntArray) -> FloatArray:
        """Return elements; each must lie in the pattern of the matrix or of its factor."""
        if self.dense is not None:
            return np.asarray(self.dense[row, col])
        one, other = self._place[row], self._place[col]
        low, high = np.minimum(one, other), np.maximum(one, other)
        found = np.searchsorted(self._key, low * self._size + high)
        return np.asarray(self._value[found] * self._scale[row] * self._scale[col])


# ---------------------------------------------------------------- outcome


def _outcome(
    observations: Observations,
    position: FloatArray,
    circle: FloatArray,
    column: IntArray,
    circles: IntArray,
    whiten: Sparse,
    normal: "_Normal | _FreeNormal",
    steps: int,
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
    variance = _variance(observations)
    redundancy = np.clip(1.0 - adjusted / variance, 0.0, 1.0)
    testable = redundancy > NO_REDUNDANCY
    standardized = np.full(len(observations), np.nan)
    standardized[testable] = residual[testable] / np.sqrt((redundancy * variance)[testable])
    rank = normal.rank if isinstance(normal, _FreeNormal) else normal.size
    return Adjustment(
        position_m=position,
        cofactor_m2=_station_cofactors(column, inverse),
        residual=residual,
        redundancy=redundancy,
        standardized=standardized,
        adjusted_variance=adjusted,
        chi2=float(white @ white),
        degrees_of_freedom=len(observations) - rank,
        steps=steps,
        inverse=inverse,
        column=column,
    )


def _variance(observations: Observations) -> FloatArray:
    """Return every row's own a priori variance."""
    variance = observations.sigma**2
    for axis, what in enumerate((Kind.NORTH, Kind.EAST, Kind.UP)):
        rows = np.flatnonzero((observations.kind == what) & (observations.block >= 0))
        if rows.size:
            variance[rows] = observations.covariance_m2[observations.block[rows], axis, axis]
    return np.asarray(variance)


def _quadratic(design: Sparse, inverse: Inverse) -> FloatArray:
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


def _station_cofactors(column: IntArray, inverse: Inverse) -> FloatArray:
    """Return the cofactors of every station; those of plan with height only where both are tied."""
    cofactor = np.zeros((len(column), 3, 3))
    for one in range(3):
        for other in range(one, 3):
            rows = np.flatnonzero((column[:, one] >= 0) & (column[:, other] >= 0))
            if rows.size:
                found = inverse.at(column[rows, one], column[rows, other])
                cofactor[rows, one, other] = cofactor[rows, other, one] = found
    return cofactor


# ---------------------------------------------------------------- what is not determined


def _moving(design: Sparse, column: IntArray) -> FloatArray:
    """Return the directions in which stations may move unseen; shape (defects, stations, 3)."""
    size = design.shape[1]
    if size <= DENSE:
        _, singular, right = np.linalg.svd(_balanced(design).toarray(), full_matrices=True)
        rank = int(np.count_nonzero(singular > np.sqrt(WEAK) * singular[0])) if singular.size else 0
        null = right[rank:]
    else:
        null = _weakest(design)
    norm = np.sqrt(np.asarray((design**2).sum(axis=0)).reshape(-1))
    null = null / np.where(norm > 0.0, norm, 1.0)
    moving = np.zeros((len(null), *column.shape))
    there = column >= 0
    moving[:, there] = null[:, column[there]]
    length = np.sqrt(np.sum(moving**2, axis=(1, 2)))
    return np.asarray(moving[length > 0.0] / length[length > 0.0][:, None, None])


def _balanced(design: Sparse) -> Sparse:
    """Return the design with columns of unit length, so that metres and radians compare."""
    from scipy.sparse import diags_array

    norm = np.sqrt(np.asarray((design**2).sum(axis=0)).reshape(-1))
    return design @ diags_array(1.0 / np.where(norm > 0.0, norm, 1.0))


def _weakest(design: Sparse) -> FloatArray:
    """Return some undetermined directions of a large net by inverse iteration."""
    from scipy.sparse import eye_array
    from scipy.sparse.linalg import eigsh

    balanced = _balanced(design)
    normal = (balanced.T @ balanced + 1e-12 * eye_array(design.shape[1])).tocsc()
    values, vectors = eigsh(normal, k=min(6, design.shape[1] - 1), sigma=0.0)
    return np.asarray(vectors[:, values < 10.0 * WEAK].T)
