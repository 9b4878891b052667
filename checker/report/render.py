"""A report from results: every file as bytes, the same results always the same bytes."""

from checker.model.finding import Results
from checker.report.deltas_dxf import deltas_dxf
from checker.report.exports import cut_sheet_csv, results_csv
from checker.report.geojson import NAME as MAP_FILE
from checker.report.geojson import map_file
from checker.report.links import Links
from checker.report.manifest import NAME, manifest
from checker.report.pages import render_one, render_pages
from checker.report.pdf import MOST_ROWS, report_pdf
from checker.report.pdf import NAME as PDF_FILE
from checker.report.results_json import exported, results_text
from checker.report.view import site_view


def render(results: Results, *, single_file: bool = False, pdf: bool = False) -> dict[str, bytes]:
    """Return the files of a report by relative path, manifest.json last.

    single_file: all pages in index.html; the files of numbers stand beside it all the same.
    pdf: report.pdf too; raises OutputError where the library for it is missing.
    """
    links = Links(results, single_file=single_file)
    tables = exported(results)
    on_map = map_file(results, tables)
    site = site_view(results, links, on_map, slim=single_file)
    pages = {"index.html": render_one(site, links)} if single_file else render_pages(site, links)
    texts = {
        **pages,
        "results.json": results_text(results, tables),
        "results.csv": results_csv(results, tables),
        "cut-sheet.csv": cut_sheet_csv(results),
    }
    if on_map.text is not None:
        texts[MAP_FILE] = on_map.text
    files = {name: text.encode("utf-8", "replace") for name, text in sorted(texts.items())}
    files["deltas.dxf"] = deltas_dxf(results)
    if pdf:
        one = Links(results, single_file=True)
        paper = site_view(results, one, on_map, most_rows=MOST_ROWS)
        files[PDF_FILE] = report_pdf(paper, one)
    files[NAME] = manifest(files)
    return files
