"""Books of vectors: one row a vector between two marks, with its covariances where known."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from checker.errors import InputError
from checker.model.arrays import FloatArray
from checker.model.books import VectorBook
from checker.model.drawing import Notice
from checker.read.books import BookTable
from checker.read.cells import is_blank
from checker.read.files import Source
from checker.read.headings import Vocabulary, field
from checker.text import quoted
from checker.units import LengthUnit

VECTORS: Final = Vocabulary(
    (
        field("from", "from frompoint frommark fromstation start startpoint base", "at f"),
        field("to", "to topoint tomark tostation end endpoint rover", "t"),
        field("dx", "dx deltax δx x", "de deltae deltaeast deltaeasting east"),
        field("dy", "dy deltay δy y", "dn deltan deltanorth deltanorthing north"),
        field("dz", "dz deltaz δz z", "du deltau deltaup up dh deltah"),
        *(
            field(name, f"{name} cov{name} c{name} q{name} var{name} s{name} cov{name[::-1]}")
            if name[0] != name[1]
            else field(name, f"{name} cov{name} c{name} q{name} var{name[0]} var{name}")
            for name in ("xx", "xy", "xz", "yy", "yz", "zz")
        ),
    )
)
_COVARIANCES: Final = ("xx", "xy", "xz", "yy", "yz", "zz")
_PLACES: Final = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
_SHORTEST_M: Final = 1e-3
"""A vector shorter than this joins no two marks."""


def read_vector_book(
    source: Source,
    *,
    unit: LengthUnit,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> VectorBook:
    """Read a book of vectors: from, to, dx, dy, dz, and the covariances xx to zz where it has them.

    unit: of components that do not name their own; covariances are in its square. A row has all six
    covariances or none. Raises InputError with all faults.
    """
    book = BookTable(source, VECTORS, unit, columns)
    book.require(("from", "to", "dx", "dy", "dz"))
    book.refuse_short_rows()
    start, end = book.names("from"), book.names("to")
    book.faults_where(
        np.array([a == b and a != "" for a, b in zip(start, end, strict=True)], dtype=np.bool_),
        "to",
        lambda row: (
            "same-station",
            f"this row goes from {quoted(start[row])} to itself",
            "name the mark at which the vector ends",
        ),
    )
    parts = []
    for name in ("dx", "dy", "dz"):
        values = book.cells.lengths(name)
        blank = np.array([is_blank(text) for text in book.cells.text(name)], dtype=np.bool_)
        book.faults_where(
            np.isnan(values) & blank,
            name,
            lambda _row, name=name: (  # type: ignore[misc]
                "missing-value",
                f"this vector has no {name}",
                "fill it in, or take the row out of the file",
            ),
        )
        parts.append(values)
    d = np.column_stack(parts)
    with np.errstate(invalid="ignore"):
        nothing = np.linalg.norm(d, axis=1) < _SHORTEST_M
    book.faults_where(
        nothing,
        None,
        lambda row: (
            "not-positive",
            f"the vector from {quoted(start[row])} to {quoted(end[row])} has no length",
            "check its components",
        ),
    )
    covariance = _covariances(book, unit)
    book.finish(notices)
    return VectorBook(
        path=book.table.path,
        line=book.table.lines,
        from_=start,
        to=end,
        d_m=d,
        covariance_m2=covariance,
    )


def _covariances(book: BookTable, unit: LengthUnit) -> FloatArray:
    """Return the covariances in square metres.

    A row with some of the six, or with an impossible matrix, is a fault.
    """
    count = len(book)
    given = [name for name in _COVARIANCES if name in book.cells]
    covariance = np.full((count, 3, 3), np.nan)
    if not given:
        return covariance
    before = len(book.faults.problems)
    lacking = [name for name in _COVARIANCES if name not in given]
    if lacking:
        book.faults.add(
            "missing-column",
            book.where,
            f"the table has the covariances {', '.join(given)}, and not {', '.join(lacking)}",
            "give all six (xx, xy, xz, yy, yz, zz), or none; write 0 where two are not correlated",
        )
        raise InputError(book.faults.listed())
    for name, (row, column) in zip(_COVARIANCES, _PLACES, strict=True):
        values = book.cells.numbers(name, factor=unit.metres**2)
        covariance[:, row, column] = covariance[:, column, row] = values
    known = np.isfinite(covariance)
    partly = known.any(axis=(1, 2)) & ~known.all(axis=(1, 2))
    book.faults_where(
        partly & (len(book.faults.problems) == before),
        "xx",
        lambda _row: (
            "missing-value",
            "this vector has some of its covariances and not all six",
            "fill in all six, or leave all six empty",
        ),
    )
    whole = known.all(axis=(1, 2))
    definite = np.ones(count, dtype=np.bool_)
    if whole.any():
        lowest = np.linalg.eigvalsh(covariance[whole])[:, 0]
        definite[whole] = lowest > 0.0
    book.faults_where(
        ~definite,
        "xx",
        lambda _row: (
            "bad-covariance",
            "these covariances are of no vector: they make a negative variance in some direction",
            "check the order of the columns and the signs; the variances are xx, yy and zz",
        ),
    )
    return covariance
