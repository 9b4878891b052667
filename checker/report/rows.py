"""A finding's rows as figures, tables and lists all need them: what each is, where it stands."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from checker.lengths import LARGE_M, is_fine
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.finding import Finding, Judgement, Verdict
from checker.model.measure import Measure, Quantity
from checker.report.escape import anchors
from checker.report.numbers import Outside
from checker.report.svg import KINDS

PLAN_LIMITS = frozenset({"horizontal", "along", "across"})
HEIGHT_LIMITS = frozenset({"vertical", "elevation"})
NO_LENGTHS = frozenset({"ratio", "angular", "set_angle", "slope", "grade", "crossfall", "area"})
"""Limits of what is no length."""
_KIND_OF = {
    Verdict.OUTSIDE: KINDS.index("outside"),
    Verdict.UNDECIDED: KINDS.index("undecided"),
    Verdict.UNCHECKED: KINDS.index("unchecked"),
    Verdict.WITHIN: KINDS.index("within"),
}
_CLOSE = KINDS.index("close")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """One check's rows. All arrays have shape (rows,).

    key: prefix of the anchors, ``c2``. kind: index into `svg.KINDS`, the severity too; where the
    check is judged as one, every row has the check's. share: largest share of a limit used, NaN
    where none. governs: index of the judgement that this is, -1 where none.
    """

    finding: Finding
    outside: Outside
    key: str
    anchor: tuple[str, ...]
    kind: IntArray
    share: FloatArray
    governs: IntArray
    counted: BoolArray

    @property
    def ids(self) -> TextArray:
        """What the rows are called."""
        return self.finding.measure.id

    @property
    def by_row(self) -> bool:
        """True where every row has a verdict of its own."""
        return self.finding.measure.judged_by_row

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.finding.measure.id)

    @property
    def kind_anywhere(self) -> IntArray:
        """As `kind`, or what another check makes of the row's shot where that is worse."""
        elsewhere = self.finding.row_elsewhere
        if not len(elsewhere):
            return self.kind
        held = np.full(len(self), len(KINDS))
        for verdict in (Verdict.UNDECIDED, Verdict.OUTSIDE):
            held[elsewhere == verdict] = _KIND_OF[verdict]
        worse: IntArray = np.minimum(self.kind, held)
        return worse

    def lengths(self, key: str) -> FloatArray:
        """Return a column in the job's unit (angles in degrees); all NaN where there is none."""
        for column in self.finding.measure.columns:
            if column.key == key and column.quantity not in (Quantity.TEXT, Quantity.FLAG):
                values = column.values.astype(np.float64)
                return self.outside.convert(column.quantity, key, values)
        return np.full(len(self), np.nan)

    def smalls(self, key: str) -> FloatArray:
        """Return a column of differences as a page shows them, see `Outside.small`."""
        return self.outside.in_small(self.lengths(key))

    def small_limit(self, limit: str, side: int = 1) -> FloatArray:
        """Return `limit` as a page shows it, see `Outside.small`."""
        return self.outside.in_small(self.limit(limit, side))

    def texts(self, key: str) -> list[str]:
        """Return a column of text; empty texts where there is none."""
        return self.finding.measure.texts(key)

    def flags(self, key: str) -> BoolArray:
        """Return a column of flags; all False where there is none."""
        return self.finding.measure.flags(key)

    def judgement(self, limit: str) -> Judgement | None:
        """Return the comparison with that limit, by row where rows are judged; None: no limit."""
        for judgement in self.finding.judgements:
            if judgement.limit == limit and (not self.by_row or len(judgement.value) == len(self)):
                return judgement
        return None

    def limit(self, limit: str, side: int = 1) -> FloatArray:
        """Return the size of a limit for every row, in the job's unit; NaN where there is none.

        side: 1 the upper (above, right), -1 the lower.
        """
        judgement = self.judgement(limit)
        if judgement is None:
            return np.full(len(self), np.nan)
        bound = judgement.upper if side > 0 else -judgement.lower
        size = self.outside.unit.from_metres(np.broadcast_to(bound, (len(self),)))
        return np.where(np.isfinite(size), size, np.nan)

    def at(self, wanted: str) -> IntArray:
        """Return the rows of one kind."""
        return np.flatnonzero(self.kind == KINDS.index(wanted))

    def part(self, which: IntArray | slice) -> "Rows":
        """Return some of the rows, by their numbers and in that order."""
        anchor = (
            self.anchor[which]
            if isinstance(which, slice)
            else tuple(self.anchor[row] for row in which.tolist())
        )
        return replace(
            self,
            finding=part_of(self.finding, which),
            anchor=anchor,
            kind=self.kind[which],
            share=self.share[which],
            governs=self.governs[which],
            counted=self.counted[which],
        )


def rows_of(finding: Finding, outside: Outside, key: str) -> Rows:
    """Gather what every part of the report asks of a finding's rows."""
    count = len(finding.measure.id)
    kind: IntArray = np.full(count, kind_of(finding), dtype=np.int64)
    share, governs = np.full(count, np.nan), np.full(count, -1, dtype=np.int64)
    if finding.measure.judged_by_row:
        table = np.zeros(max(_KIND_OF) + 1, dtype=np.int64)
        for verdict, index in _KIND_OF.items():
            table[verdict] = index
        kind = table[finding.row_verdict.astype(np.int64)]
        kind[finding.row_close & (finding.row_verdict == Verdict.WITHIN)] = _CLOSE
        share, governs = finding.row_share, _governs(finding, count)
    return Rows(
        finding=finding,
        outside=replace(
            outside,
            station_digits=finding.measure.station_digits,
            fine=_any_fine(finding.judgements),
            large=_large(finding.measure),
        ),
        key=key,
        anchor=tuple(anchors(finding.measure.id.tolist(), key)),
        kind=kind,
        share=share,
        governs=governs,
        counted=finding.measure.counted,
    )


def least_reach(rows: Rows) -> float:
    """Return what an axis of differences reaches to at least: three thousandths of the unit."""
    return float(rows.outside.in_small(np.array([0.003]))[0])


def part_of(finding: Finding, which: IntArray | slice) -> Finding:
    """Return a check with some of its rows, by their numbers: long tables are written in parts.

    What concerns the check as a whole, and its comparisons, which no output shows, stay as they
    are.
    """
    measure = finding.measure
    part = replace(
        measure,
        id=measure.id[which],
        columns=tuple(
            replace(
                each,
                values=each.values[which],
                angular=None if each.angular is None else each.angular[which],
            )
            for each in measure.columns
        ),
        shots=measure.shots[which],
        unchecked=measure.unchecked[which],
        undecided=measure.undecided[which],
        said=measure.said[which],
        counted=measure.counted[which],
    )
    if not measure.judged_by_row:
        return replace(finding, measure=part)
    return replace(
        finding,
        measure=part,
        judgements=tuple(
            replace(
                each,
                value=each.value[which],
                lower=np.broadcast_to(each.lower, each.value.shape)[which],
                upper=np.broadcast_to(each.upper, each.value.shape)[which],
                guard=np.broadcast_to(each.guard, each.value.shape)[which],
                share=each.share[which],
                verdict=each.verdict[which],
            )
            for each in finding.judgements
        ),
        row_verdict=finding.row_verdict[which],
        row_reason=finding.row_reason[which],
        row_close=finding.row_close[which],
        row_share=finding.row_share[which],
        p_within=finding.p_within[which],
        row_elsewhere=(
            finding.row_elsewhere[which] if len(finding.row_elsewhere) else finding.row_elsewhere
        ),
    )


def kind_of(finding: Finding) -> int:
    """Return the index into `svg.KINDS` of a whole check."""
    if finding.verdict is Verdict.WITHIN and finding.close:
        return _CLOSE
    return _KIND_OF[finding.verdict]


def batches(count: int, size: int) -> Iterator[range]:
    """Return the row numbers of every page of a table."""
    for first in range(0, max(count, 1), size):
        yield range(first, min(first + size, count))


def _large(measure: Measure) -> frozenset[str]:
    """Return the columns of which half the values are a metre or more."""
    keys = set()
    for column in measure.columns:
        if column.quantity is Quantity.LENGTH:
            values = np.abs(column.values.astype(np.float64))
            values = values[np.isfinite(values)]
            if values.size and np.median(values) >= LARGE_M:
                keys.add(column.key)
    return frozenset(keys)


def _any_fine(judgements: tuple[Judgement, ...]) -> bool:
    """Tell whether a limit of a length is so small that a whole millimetre says too little."""
    return any(
        is_fine(float(np.min(sizes, where=sizes > 0.0, initial=np.inf)))
        for each in judgements
        if each.limit not in NO_LENGTHS
        for sizes in (np.abs(each.lower), np.abs(each.upper))
    )


def _governs(finding: Finding, count: int) -> IntArray:
    shares = [
        np.nan_to_num(judgement.share, nan=-1.0, posinf=np.finfo(np.float64).max)
        for judgement in finding.judgements
        if len(judgement.share) == count
    ]
    numbers = [
        index for index, judgement in enumerate(finding.judgements) if len(judgement.share) == count
    ]
    if not shares or not count:
        return np.full(count, -1, dtype=np.int64)
    stacked = np.stack(shares)
    best = stacked.argmax(axis=0)
    governs: IntArray = np.asarray(numbers, dtype=np.int64)[best]
    return np.where(stacked.max(axis=0) >= 0, governs, -1)
