"""Further tables of a check: what a reviewer reads between the figure and the rows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from markupsafe import Markup

from checker.model.finding import Finding
from checker.model.measure import Column, Quantity, Supplement
from checker.report.escape import clean, escape, escape_all
from checker.report.rows import Rows
from checker.report.show import column_texts, column_unit, true_minus
from checker.report.tables import PAGE_ROWS, kind_table, rows_of_kind, scroller
from checker.report.words import called

SLIM_ROWS = 40
"""So many rows of a table stand in a report of one page."""
SLIM_OBSERVATIONS = 15
"""And so many observations of a network, the worst."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplementView:
    """A further table, ready to be shown."""

    title: str
    html: Markup
    note: str


def repeated(findings: Sequence[Finding]) -> dict[tuple[int, int], str]:
    """Return the further tables that an earlier check has too, such as the curves of a road.

    By number of the check and of its table, from 0: what the earlier check is called.
    """
    first: dict[str, str] = {}
    again: dict[tuple[int, int], str] = {}
    for check, finding in enumerate(findings):
        for number, each in enumerate(finding.measure.supplements):
            cells = [(column.key, column.values.tolist()) for column in each.columns]
            content = repr((each.key, each.title, each.note, each.id.tolist(), cells))
            if content in first:
                again[check, number] = first[content]
            else:
                first[content] = called(finding)
    return again


def supplement_views(
    rows: Rows, *, slim: bool, again: Mapping[int, str] = MappingProxyType({})
) -> tuple[SupplementView, ...]:
    """Return the further tables of a check; slim: long ones cut, saying so, and no details.

    again: tables that stand under another check, by their number from 0; that one is named.
    """
    found = []
    for number, each in enumerate(rows.finding.measure.supplements, 1):
        if slim and each.detail:
            continue
        if number - 1 in again:
            note = f"The same table as under {clean(again[number - 1])}; it is not repeated here."
            found.append(SupplementView(title=clean(each.title), html=Markup(""), note=note))
            continue
        most = min(len(each.id), SLIM_ROWS) if slim else len(each.id)
        left = len(each.id) - most
        note = each.note
        if left:
            note = f"{note} {left:,} more rows stand in results.json.".strip()
        found.append(
            SupplementView(
                title=clean(each.title),
                html=Markup(_table(rows, each, f"{rows.key}-more-{number}", most)),  # noqa: S704  (escaped)
                note=true_minus(clean(note)),
            )
        )
    return (*_observations(rows, slim=slim), *found)


def _observations(rows: Rows, *, slim: bool) -> tuple[SupplementView, ...]:
    """Return the table of a network's observations; where it is cut, the worst are shown."""
    which = rows_of_kind(rows, "observation")
    if which is None:
        return ()
    most, note = SLIM_OBSERVATIONS if slim else PAGE_ROWS, "Residual = adjusted − observed."
    if len(which) > most:
        size = np.nan_to_num(np.abs(rows.lengths("standardized")[which]))
        note += f" The {most:,} with the largest standardized residuals of {len(which):,}; all "
        note += "stand in results.json."
        which = which[np.sort(np.argsort(-size, kind="stable")[:most])]
    table = kind_table(rows, which, f"{rows.key}-observations", "observations")
    return (
        SupplementView(
            title="Observations and their residuals",
            html=Markup(table),  # noqa: S704  (ids and cells are escaped)
            note=note,
        ),
    )


def _table(rows: Rows, each: Supplement, name: str, most: int) -> str:
    shown = [
        (column, cells)
        for column in each.columns
        if not column.detail and (cells := _cells(column, rows, most)) is not None
    ]
    head = f'<th scope="col" data-sort="text" class="x">{escape(each.head)}</th>'
    for column, _ in shown:
        unit = column_unit(column.quantity, column.key, rows.outside)
        text = column.quantity in (Quantity.TEXT, Quantity.FLAG)
        sort = "angle" if column.quantity is Quantity.ANGLE else "text" if text else "number"
        small = f" <small>{escape(unit)}</small>" if unit and not text else ""
        look = ' class="x"' if text else ""
        head += f'<th scope="col" data-sort="{sort}"{look}>{escape(column.label)}{small}</th>'
    pattern = '<tr><th scope="row">%s</th>'
    for column, _ in shown:
        text = column.quantity in (Quantity.TEXT, Quantity.FLAG)
        pattern += '<td class="x">%s</td>' if text else "<td>%s</td>"
    names = escape_all(each.id.tolist()[:most])
    body = [
        (pattern + "</tr>\n") % cells for cells in zip(names, *(c for _, c in shown), strict=True)
    ]
    caption = (
        f"{escape(rows.finding.measure.name)}: {escape(each.title[:1].lower() + each.title[1:])}, "
        f"lengths in {rows.outside.words}."
    )
    return (
        f'<div class="{scroller(len(body))}" tabindex="0" role="region" '
        f'aria-labelledby="{name}-cap">'
        f'<table class="data sortable" id="{name}"><caption id="{name}-cap"><span>{caption}</span>'
        f"</caption><thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table></div>"
    )


def _cells(column: Column, rows: Rows, most: int) -> Sequence[str] | None:
    """Return the cells of a column, escaped; None where none of them has anything."""
    values = column.values[:most]
    if column.quantity is Quantity.TEXT:
        texts = ["" if value is None else str(value) for value in values.tolist()]
        return escape_all(texts) if any(texts) else None
    if column.quantity is Quantity.FLAG:
        flags = ["yes" if value else "" for value in values.tolist()]
        return flags if any(flags) else None
    numbers = values.astype(np.float64)
    if not np.isfinite(column.values.astype(np.float64)).any():
        return None
    return escape_all(column_texts(column.quantity, column.key, numbers, rows.outside))
