"""Sparse normal equations, and those elements of their inverse that an adjustment needs.

The factor is SuperLU's; of the inverse only the elements are computed that lie in the pattern of
the factor, so that memory grows with the observations (Takahashi's recursion).
"""

from typing import Any, Protocol, TypeAlias

import numpy as np

from checker.model.arrays import FloatArray, IntArray

Sparse: TypeAlias = Any
"""A sparse array of scipy, which is imported only where it is needed."""

WEAK = 1e-10
"""An unknown whose share of the normal equations is less than this is not determined."""


class Cofactors(Protocol):
    """Elements of the cofactor matrix of the unknowns."""

    def at(self, row: IntArray, col: IntArray) -> FloatArray:
        """Return elements; shape as given."""
        ...

    def knows(self, row: IntArray, col: IntArray) -> "np.typing.NDArray[np.bool_]":
        """Tell which elements were computed; shape as given."""
        ...


def empty(size: int) -> Sparse:
    """Return a design without rows."""
    from scipy.sparse import csr_array

    return csr_array((0, size))


class Normal:
    """Normal equations of a whitened design, scaled to a unit diagonal and factorised.

    pattern: symmetric; its elements belong to the equations whether or not they happen to be 0,
    and so does every element of the inverse that lies there.
    """

    def __init__(self, design: Sparse, pattern: Sparse) -> None:
        """Take the design, shape (rows, unknowns)."""
        from scipy.sparse import coo_array, csc_array, diags_array
        from scipy.sparse.linalg import splu

        self.size = design.shape[1]
        self.lu: Sparse = None
        self.pattern = pattern
        if not self.size:
            return
        normal = csc_array(design.T @ design)
        diagonal = normal.diagonal()
        self.untouched = bool((diagonal <= 0.0).any())
        self.scale = 1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
        # An unknown that nothing observes would stop the factorisation before it can be named.
        filled = diags_array(np.where(diagonal > 0.0, 0.0, 1.0))
        scaled = coo_array(diags_array(self.scale) @ normal @ diags_array(self.scale) + filled)
        shape = coo_array(pattern)
        self.scaled = csc_array(
            coo_array(
                (
                    np.concatenate((scaled.data, np.zeros(shape.nnz))),
                    (
                        np.concatenate((scaled.row, shape.row)),
                        np.concatenate((scaled.col, shape.col)),
                    ),
                ),
                shape=scaled.shape,
            )
        )
        try:
            self.lu = splu(
                self.scaled,
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
        return Inverse(self)


class Inverse:
    """Selected elements of the inverse of a sparse symmetric matrix.

    K. Takahashi, J. Fagan, M.-S. Chen, 1973 (from memory): with the matrix = L D L', from the last
    column backwards Z[s, j] = -Z[s, s] L[s, j] and Z[j, j] = 1/d - L[s, j]' Z[s, j], s the rows
    below the diagonal in column j; s lies within the column of the first of them, so a small full
    matrix a column is all that is needed. The pattern of L is that of the matrix with what the
    elimination adds, whatever happens to be 0 in it.
    """

    def __init__(self, normal: Normal) -> None:
        """Run the recursion over a factor; its memory grows with the factor's."""
        self.dense: FloatArray | None = None
        self._size = normal.size
        self._key = np.empty(0, dtype=np.int64)
        if not normal.size:
            return
        self._scale = normal.scale
        lu = normal.lu
        if not np.array_equal(lu.perm_r, lu.perm_c):  # pragma: no cover - symmetric mode keeps it
            self.dense = normal.scale[:, None] * lu.solve(np.diag(normal.scale))
            return
        self._place = np.asarray(lu.perm_c, dtype=np.int64)
        lower = lu.L.tocsc()
        lower.sort_indices()
        self._columns(lower, lu.U.diagonal(), _below(normal.scaled, self._place))

    def _columns(self, lower: Sparse, pivots: FloatArray, structure: Sparse) -> None:
        size = lower.shape[0]
        below: list[IntArray] = []
        values: list[FloatArray] = []
        more: list[list[IntArray]] = [[] for _ in range(size)]
        children = np.zeros(size, dtype=np.int64)
        indices = structure.indices.astype(np.int64)
        for j in range(size):
            rows = indices[structure.indptr[j] : structure.indptr[j + 1]]
            if more[j]:
                rows = np.unique(np.concatenate([rows, *more[j]]))
                more[j] = []
            start, stop = lower.indptr[j], lower.indptr[j + 1]
            at, entries = lower.indices[start:stop], lower.data[start:stop]
            filled = np.zeros(rows.size)
            filled[np.searchsorted(rows, at[at > j])] = entries[at > j]
            below.append(rows)
            values.append(filled)
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
        self._key = np.repeat(np.arange(size), length) * size + pattern
        self._value = np.concatenate(column)

    def _found(self, row: IntArray, col: IntArray) -> tuple[IntArray, IntArray]:
        one, other = self._place[row], self._place[col]
        key = np.minimum(one, other) * self._size + np.maximum(one, other)
        return key, np.minimum(np.searchsorted(self._key, key), len(self._key) - 1)

    def knows(self, row: IntArray, col: IntArray) -> "np.typing.NDArray[np.bool_]":
        """Tell which elements lie in the pattern; shape as given."""
        if self.dense is not None:
            return np.ones(np.shape(row), dtype=np.bool_)
        key, found = self._found(row, col)
        return np.asarray(self._key[found] == key)

    def at(self, row: IntArray, col: IntArray) -> FloatArray:
        """Return elements; each must lie in the pattern of the matrix or of its factor."""
        if self.dense is not None:
            return np.asarray(self.dense[row, col])
        key, found = self._found(row, col)
        if not np.array_equal(self._key[found], key):
            raise KeyError("an element of the inverse outside the pattern")
        return np.asarray(self._value[found] * self._scale[row] * self._scale[col])


def _below(matrix: Sparse, place: IntArray) -> Sparse:
    """Return the structure below the diagonal of a matrix in the order of its factor."""
    from scipy.sparse import coo_array

    every = coo_array(matrix)
    row, col = place[every.row], place[every.col]
    low = row > col
    structure = coo_array((np.ones(int(low.sum())), (row[low], col[low])), shape=matrix.shape)
    found = structure.tocsc()
    found.sort_indices()
    return found
