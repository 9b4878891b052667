"""What needs attention: rows and checks that are not plainly within, worst first."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from checker.model.kinds import kind_name
from checker.report import svg
from checker.report.escape import clean
from checker.report.links import Links
from checker.report.rows import Rows, kind_of
from checker.report.show import percent, true_minus
from checker.report.tables import bar
from checker.report.words import called, found, to_do, whole_to_do

ATTENTION = 200
"""How many rows that need attention the first page lists at most."""
HERE = 12
"""How many rows that need attention a check's own page names above its numbers."""
_WITHIN, _CLOSE = svg.KINDS.index("within"), svg.KINDS.index("close")
_ELSEWHERE = "Hold. It is within here; another check holds it, and says there what to do."


@dataclass(frozen=True, slots=True, kw_only=True)
class Attention:
    """A row of the list of what needs attention."""

    kind: str
    id: str
    href: str
    check: str
    share: str
    bar: Markup
    found: str
    to_do: str


def attention_list(
    every: Sequence[Rows],
    doubts: Sequence[str],
    links: Links,
    most: int,
    *,
    first: int = 0,
    alone: bool = False,
) -> tuple[tuple[Attention, ...], int]:
    """Return what needs attention, worst first, and how much more there is than is listed.

    first: number of the first of these checks. alone: rows that another check holds are listed too.
    """
    kind, use, check, row = [], [], [], []
    for number, rows in enumerate(every, first):
        if rows.by_row:
            shown = rows.kind_anywhere if alone else rows.kind
            chosen = np.flatnonzero(rows.counted & (shown != _WITHIN))
            kind.append(shown[chosen])
            use.append(np.nan_to_num(rows.share[chosen], nan=-1.0))
            row.append(chosen)
        else:
            whole = kind_of(rows.finding)
            chosen = np.array([-1] if whole != _WITHIN else [], dtype=np.int64)
            kind.append(np.full(len(chosen), whole))
            use.append(np.full(len(chosen), np.nan_to_num(rows.finding.share, nan=-1.0)))
            row.append(chosen)
        check.append(np.full(len(chosen), number))
    if not kind:
        return (), 0
    kinds, uses = np.concatenate(kind), np.concatenate(use)
    checks, chosen_rows = np.concatenate(check), np.concatenate(row)
    order = np.lexsort((chosen_rows, checks, -uses, kinds))
    listed = []
    for index in order[:most].tolist():
        number, which = int(checks[index]), int(chosen_rows[index])
        rows = every[number - first]
        listed.append(
            _attention_row(rows, number, which, doubts, links)
            if which >= 0
            else _attention_check(rows, number, links)
        )
    return tuple(listed), max(len(order) - most, 0)


def _attention_row(
    rows: Rows, number: int, row: int, doubts: Sequence[str], links: Links
) -> Attention:
    share_used = float(rows.share[row])
    held = rows.kind[row] >= _CLOSE and bool(rows.finding.row_hold[row])
    return Attention(
        kind=svg.KINDS[int(rows.kind[row])],
        id=clean(str(rows.ids[row])),
        href=links.row(number, row, rows.anchor[row]),
        check=clean(called(rows.finding)),
        share=percent(share_used),
        bar=bar(share_used),
        found=true_minus(clean(found(rows, row))),
        to_do=_ELSEWHERE if held else to_do(rows, row, doubts),
    )


def _attention_check(rows: Rows, number: int, links: Links) -> Attention:
    finding = rows.finding
    use = f"uses {percent(finding.share)} of what is allowed"
    return Attention(
        kind=svg.KINDS[kind_of(finding)],
        id=clean(finding.measure.name),
        href=links.check(number),
        check=kind_name(finding.measure.kind),
        share=percent(finding.share),
        bar=bar(finding.share),
        found=true_minus(clean(finding.reason or use)),
        to_do=whole_to_do(finding),
    )
