"""The report in one page, small enough to pass on: what has to be left out is said on it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from checker.model.finding import Results
from checker.model.past import Since
from checker.report.compact import compact
from checker.report.geojson import MapFile
from checker.report.links import Links
from checker.report.pages import render_one
from checker.report.svg import Figure
from checker.report.view import CheckView, SiteView, site_view

LIMIT: Final = 300_000
"""Bytes of the page: mail takes it, and a phone opens it at once."""
_LARGE: Final = 40_000
"""A check's figure of more bytes is left out."""
_NONE: Final = '<p class="dim">All are within; they stand in results.csv.</p>'
_LONG: Final = 3000
"""A job with more rows than this does not fit whatever the other parts take; it is not tried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """What a page holds. rows: of all tables together at most; None: all.

    sheet: the cut sheet. fine: the figures of checks that are within; tables: their tables too.
    methods: the page of methods.
    """

    rows: int | None
    sheet: bool = False
    fine: bool = True
    tables: bool = True
    methods: bool = True


_CUTS: Final = (
    _Cut(rows=None, sheet=True),
    _Cut(rows=None),
    _Cut(rows=300),
    _Cut(rows=200),
    _Cut(rows=300, fine=False),
    _Cut(rows=200, fine=False),
    _Cut(rows=300, fine=False, tables=False),
    _Cut(rows=200, fine=False, tables=False),
    _Cut(rows=300, fine=False, tables=False, methods=False),
    _Cut(rows=120, fine=False, tables=False, methods=False),
    _Cut(rows=40, fine=False, tables=False, methods=False),
)
"""From the whole to the least; the first that fits is taken."""


def one_page(results: Results, links: Links, on_map: MapFile, since: Since) -> str:
    """Return the report as one page below `LIMIT` bytes, or the smallest that says what matters."""
    total = sum(len(finding.measure.id) for finding in results.findings)
    html, sites = "", dict[int | None, SiteView]()
    for cut in _CUTS:
        if cut.rows is None and total > _LONG:
            continue
        if cut.rows not in sites:
            sites[cut.rows] = site_view(
                results, links, on_map, most_rows=cut.rows, slim=True, since=since
            )
        html = "".join(render_one(_cut(sites[cut.rows], cut), links))
        if len(html.encode("utf-8", "replace")) < LIMIT:
            break
    return html


def _cut(site: SiteView, cut: _Cut) -> SiteView:
    """Return a report without what the cut leaves out, and saying so."""
    checks = site.checks if cut.fine else tuple(_bare(check, cut) for check in site.checks)
    first = site.figures if cut.fine else _without_detail(site.figures)
    figures, rules = compact([*first, *(f for check in checks for f in check.figures)])
    made = iter(figures)
    left = sum(len(figure.svg) > _LARGE for figure in figures[len(first) :])
    site = replace(
        site,
        figures=tuple(next(made) for _ in first),
        checks=tuple(
            replace(check, figures=_small([next(made) for _ in check.figures])) for check in checks
        ),
        looks=rules,
        methods=cut.methods,
        left_out=_said(cut, sheet=bool(site.cut_sheets), large=bool(left)),
    )
    return site if cut.sheet else replace(site, cut_sheets=())


def _bare(check: CheckView, cut: _Cut) -> CheckView:
    """Return a check without its figures, and without its rows, where it is within."""
    if check.kind != "within":
        return check
    check = replace(check, figures=(), supplements=())
    if cut.tables:
        return check
    none = replace(check.table.pages[0], rows=0, draw=lambda: _NONE, draw_places=None)
    return replace(check, table=replace(check.table, pages=(none,), filters=False, empty=()))


def _small(figures: Sequence[Figure]) -> tuple[Figure, ...]:
    return tuple(figure for figure in figures if len(figure.svg) <= _LARGE)


def _without_detail(figures: Sequence[Figure]) -> tuple[Figure, ...]:
    """Return the figures but the larger plan of a crowded place; the plan itself can be zoomed."""
    return tuple(figure for figure in figures if not figure.id.endswith("-detail"))


def _said(cut: _Cut, *, sheet: bool, large: bool) -> str:
    parts = ["the plan of each check", "the tables of coordinates"]
    if not cut.fine:
        what = "the figures" if cut.tables else "the figures and rows"
        parts.append(f"{what} of checks that are within")
    if large:
        parts.append("figures with very many marks")
    if not cut.methods:
        parts.append("the methods with their formulas")
    if sheet and not cut.sheet:
        parts.append("the cut sheet, which is in cut-sheet.csv")
    text = f"This one page leaves out {', '.join(parts[:-1])} and {parts[-1]}"
    if cut.rows is not None:
        text += "; of long tables it holds the worst rows"
    return f"{text}. The report in a folder has them."
