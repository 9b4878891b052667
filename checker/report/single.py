"""The report in one page, small enough to pass on: what has to be left out is said on it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from checker.model.finding import Results
from checker.model.past import Since
from checker.report.compact import compact
from checker.report.cutsheet import CutSheet
from checker.report.geojson import MapFile
from checker.report.links import Links
from checker.report.pages import render_one
from checker.report.svg import Figure
from checker.report.view import CheckView, SiteView, site_view

LIMIT: Final = 300_000
"""Bytes of the page: mail takes it, and a phone opens it at once."""
_LARGE: Final = 40_000
"""A check's figure of more bytes is left out."""
_ENOUGH: Final = LIMIT - 8_000
"""A page of fewer bytes is taken: whoever passes it on may add a line."""
_LONG: Final = 3000
"""A job with more rows than this does not fit whatever the other parts take; it is not tried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """What a page holds. rows: of all tables together at most; None: all.

    fine: the numbers, tables and figures of checks that are wholly within. sheet: the cut sheet
    with hubs and design; methods: the page of methods. laths: how many stakes it names at most with
    what goes on their laths.
    """

    rows: int | None
    fine: bool = False
    sheet: bool = False
    methods: bool = False
    laths: int = 400


_CUTS: Final = (
    _Cut(rows=None, fine=True, sheet=True, methods=True),
    _Cut(rows=None, sheet=True, methods=True),
    _Cut(rows=None, methods=True),
    _Cut(rows=None),
    _Cut(rows=300),
    _Cut(rows=200),
    _Cut(rows=120, laths=200),
    _Cut(rows=40, laths=100),
)
"""From the whole to the least; the first that fits is taken. What goes on the laths stays."""


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
        html = render_one(_cut(sites[cut.rows], cut), links)
        if len(html.encode("utf-8", "replace")) < _ENOUGH:
            break
    return html


def _cut(site: SiteView, cut: _Cut) -> SiteView:
    """Return a report without what the cut leaves out, and saying so."""
    checks = site.checks if cut.fine else tuple(_bare(check) for check in site.checks)
    first = site.figures if cut.fine else _without_detail(site.figures)
    figures, rules = compact([*first, *(f for check in checks for f in check.figures)])
    made = iter(figures)
    left = sum(len(figure.svg) > _LARGE for figure in figures[len(first) :])
    return replace(
        site,
        figures=tuple(next(made) for _ in first),
        checks=tuple(
            replace(check, figures=_small([next(made) for _ in check.figures])) for check in checks
        ),
        looks=rules,
        methods=cut.methods,
        laths=tuple(_first(site.cut_sheets, cut.laths)),
        cut_sheets=site.cut_sheets if cut.sheet else (),
        left_out=_said(cut, sheet=bool(site.cut_sheets), large=bool(left)),
    )


def _first(sheets: Sequence[CutSheet], most: int) -> Iterator[CutSheet]:
    """Yield the sheets of stakes, so many lines of all together; the rest is counted."""
    for sheet in sheets:
        if not sheet.as_built:
            lines = sheet.lines[:most]
            most -= len(lines)
            yield replace(sheet, lines=lines, more=sheet.more + len(sheet.lines) - len(lines))


def _bare(check: CheckView) -> CheckView:
    """Return a check without its numbers, tables and figures where it is wholly within."""
    if check.kind != "within":
        return check
    return replace(check, brief=True, summary=(), risks=(), figures=(), supplements=())


def _small(figures: Sequence[Figure]) -> tuple[Figure, ...]:
    return tuple(figure for figure in figures if len(figure.svg) <= _LARGE)


def _without_detail(figures: Sequence[Figure]) -> tuple[Figure, ...]:
    """Return the figures but the larger plan of a crowded place; the plan itself can be zoomed."""
    return tuple(figure for figure in figures if not figure.id.endswith("-detail"))


def _said(cut: _Cut, *, sheet: bool, large: bool) -> str:
    parts = ["the plan of each check", "the tables of coordinates"]
    if not cut.fine:
        parts.append("statistics, figures and rows of checks that are wholly within")
    if large:
        parts.append("figures with very many marks")
    if not cut.methods:
        parts.append("the methods with their formulas")
    if sheet and not cut.sheet:
        parts.append("the heights of hubs on the cut sheet, which are in cut-sheet.csv")
    text = f"Shortened page. Not on it: {', '.join(parts[:-1])} and {parts[-1]}"
    if cut.rows is not None:
        text += "; of long tables it holds the worst rows"
    return f"{text}. The report in a folder has them."
