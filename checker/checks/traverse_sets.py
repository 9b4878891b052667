"""Legs measured in several sets: how far the sets lie apart."""

from dataclasses import dataclass

import numpy as np

from checker.checks.closing import column, item, once
from checker.geometry.plane import wrap_signed
from checker.model.arrays import FloatArray, IntArray
from checker.model.books import RepeatedSets, TraverseBook
from checker.model.measure import Comparison, Item, Quantity, Supplement


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spread:
    """What the sets of every repeated row show; shape (rows,), NaN where fewer than two.

    range: largest minus smallest. single, mean: standard deviations of one set and of their mean.
    off: largest difference of a set from the mean.
    """

    count: IntArray
    mean: FloatArray
    range: FloatArray
    single: FloatArray
    of_mean: FloatArray
    off: FloatArray


def _spread(sets: RepeatedSets, rows: IntArray, values: FloatArray, *, circle: bool) -> _Spread:
    found = np.full((5, rows.size), np.nan)
    count = np.zeros(rows.size, dtype=np.int64)
    for index, row in enumerate(rows.tolist()):
        mine = values[(sets.row == row) & np.isfinite(values)]
        count[index] = mine.size
        if mine.size < 2:
            continue
        first = mine[0]
        off = wrap_signed(mine - first) if circle else mine - first
        middle = float(np.mean(off))
        single = float(np.std(off, ddof=1))
        found[:, index] = (
            first + middle,
            np.ptp(off),
            single,
            single / np.sqrt(mine.size),
            np.max(np.abs(off - middle)),
        )
    return _Spread(
        count=count,
        mean=found[0],
        range=found[1],
        single=found[2],
        of_mean=found[3],
        off=found[4],
    )


def _both(book: TraverseBook) -> tuple[IntArray, _Spread, _Spread] | None:
    if book.sets is None:
        return None
    rows = np.unique(book.sets.row)
    return (
        rows,
        _spread(book.sets, rows, book.sets.angle_rad, circle=True),
        _spread(book.sets, rows, book.sets.distance_m, circle=False),
    )


def set_tables(book: TraverseBook) -> tuple[Supplement, ...]:
    """Return the means of repeated sets with their spread; () where nothing was repeated."""
    found = _both(book)
    if found is None:
        return ()
    rows, angle, distance = found
    small, length = Quantity.SMALL_ANGLE, Quantity.LENGTH
    return (
        Supplement(
            key="sets",
            title="Sets, their means and spread",
            head="At",
            id=np.array([str(book.at[row]).strip() for row in rows], dtype=object),
            columns=(
                column(
                    "to",
                    "To",
                    Quantity.TEXT,
                    np.array([str(book.to[row]).strip() for row in rows], dtype=object),
                ),
                column("angle_sets", "Sets of the angle", Quantity.COUNT, _number(angle.count)),
                column("angle_mean", "Mean angle", Quantity.ANGLE, book.angle_rad[rows]),
                column("angle_range_arcsec", "Range", small, angle.range),
                column("angle_off_arcsec", "Largest off the mean", small, angle.off),
                column("angle_sigma_arcsec", "σ of one set", small, angle.single),
                column("angle_sigma_mean_arcsec", "σ of the mean", small, angle.of_mean),
                column("distance_sets", "Distances", Quantity.COUNT, _number(distance.count)),
                column("distance_mean", "Mean distance", Quantity.DISTANCE, distance.mean),
                column("distance_range", "Range of distances", length, distance.range),
                column("distance_off", "Distance, largest off the mean", length, distance.off),
            ),
            note="A row measured more than once was computed with the mean of its sets.",
        ),
    )


def _number(count: IntArray) -> FloatArray:
    return count.astype(np.float64)


def set_items(book: TraverseBook) -> tuple[Item, ...]:
    """Return the largest difference of a set from its mean; () where nothing was repeated."""
    found = _both(book)
    if found is None:
        return ()
    _, angle, distance = found
    return (
        item("sets", "Rows measured in sets", Quantity.COUNT, float(angle.count.size)),
        item(
            "set_angle_arcsec",
            "Largest difference of an angle's set from its mean",
            Quantity.SMALL_ANGLE,
            _largest(angle.off),
        ),
        item(
            "set_distance",
            "Largest difference of a distance's set from its mean",
            Quantity.LENGTH,
            _largest(distance.off),
        ),
    )


def _largest(values: FloatArray) -> float:
    return float(np.max(values[np.isfinite(values)], initial=-1.0)) if _any(values) else np.nan


def _any(values: FloatArray) -> bool:
    return bool(np.isfinite(values).any())


def set_comparisons(book: TraverseBook) -> tuple[Comparison, ...]:
    """Return how far sets differ from their means, for tolerances that limit it."""
    found = _both(book)
    angle = np.nan if found is None else _largest(found[1].off)
    distance = np.nan if found is None else _largest(found[2].off)
    return (
        once(
            "set_angle",
            "Sets of an angle",
            angle,
            absent="no angle was measured in more than one set" if np.isnan(angle) else "",
        ),
        once(
            "set_distance",
            "Sets of a distance",
            distance,
            absent="no distance was measured in more than one set" if np.isnan(distance) else "",
        ),
    )
