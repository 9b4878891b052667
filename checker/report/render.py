"""A report from results: its files one after the other, the same results always the same bytes."""

from collections.abc import Iterable
from itertools import chain

from checker.model.finding import Results
from checker.model.past import Since
from checker.report.data_files import write_data
from checker.report.deltas_dxf import deltas_parts
from checker.report.exports import cut_sheet_parts
from checker.report.geojson import map_file
from checker.report.links import Links
from checker.report.outlet import InMemory, OpenFile, Outlet
from checker.report.pages import render_pages
from checker.report.past import made_from
from checker.report.pdf import MOST_ROWS, report_pdf
from checker.report.pdf import NAME as PDF_FILE
from checker.report.since import NAME as CHANGES_FILE
from checker.report.since import changes_json
from checker.report.single import one_page
from checker.report.view import site_view


def write_report(
    results: Results,
    open_file: OpenFile,
    *,
    single_file: bool = False,
    pdf: bool = False,
    since: Since = Since(),  # noqa: B008  (frozen)
) -> None:
    """Write the files of a report, manifest.json last; what is written is not kept.

    single_file: all pages in index.html; the files of numbers stand beside it all the same.
    pdf: report.pdf too; raises OutputError where the library for it is missing. since: what changed
    since the report that stands in the same place.
    """
    outlet = Outlet(open_file)
    links = Links(results, single_file=single_file)
    on_map = map_file(results)
    files: Iterable[tuple[str, Iterable[str]]]
    if single_file:
        files = [("index.html", (one_page(results, links, on_map, since),))]
    else:
        files = render_pages(site_view(results, links, on_map, since=since), links)
    others = [
        ("cut-sheet.csv", cut_sheet_parts(results)),
        ("deltas.dxf", deltas_parts(results)),
        (CHANGES_FILE, (changes_json(made_from(results), since),)),
    ]
    for name, pieces in chain(files, others):
        with outlet.file(name) as write:
            for piece in pieces:
                write(piece)
    write_data(results, on_map, outlet)
    if pdf:
        one = Links(results, single_file=True)
        paper = site_view(results, one, on_map, most_rows=MOST_ROWS, paper=True, since=since)
        outlet.add(PDF_FILE, report_pdf(paper, one))
    outlet.finish()


def render(results: Results, *, single_file: bool = False, pdf: bool = False) -> dict[str, bytes]:
    """Return the files of `write_report` by relative path, all of them in memory."""
    memory = InMemory()
    write_report(results, memory.open, single_file=single_file, pdf=pdf)
    return memory.files
