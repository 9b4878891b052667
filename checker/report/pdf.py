"""report.pdf: the report on paper, by the extra library WeasyPrint.

It is the one-page report, laid out by its rules for print: tagged, with running heads and page
numbers. Of long tables the worst rows are printed; how many are left out stands above each.
Nothing is fetched: whatever a page might ask for is refused.
"""

import hashlib
import logging
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from checker.errors import OutputError
from checker.report import svg
from checker.report.links import Links
from checker.report.pages import asset, render_one
from checker.report.tables import word
from checker.report.view import SiteView

NAME: Final = "report.pdf"
MOST_ROWS: Final = 1500
"""Rows of all tables together at most: about ninety pages, half a minute."""
_MARK = re.compile(r'(<svg class="[a-z-]+")[^>]*><use href="#mark-([a-z]+)"/>')
_TAG = re.compile(r'<span class="tag c-([a-z]+)">([^<]*)')
_NARROW = re.compile(r'<tspan class="nr">[^<]*</tspan>')
_BAR = re.compile(r'<svg class="bar"[^>]*>')
_STORE = re.compile(r'<svg class="store".*?</svg>', re.DOTALL)
_AWAY = re.compile(r'<a href="(?!#|https?:|mailto:)[^"]*"')
_SCRIPT = re.compile(r"<script>.*?</script>", re.DOTALL)
_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>')
_MISSING = (
    "--pdf needs the library WeasyPrint, which is not installed ({why}). Nothing was written.\n"
    '    hint: where the README and the .venv lie: .venv/bin/pip install ".[pdf]"; on Debian also'
    " the packages libpango-1.0-0, libpangoft2-1.0-0 and libharfbuzz-subset0. Or print the pages"
    " from a browser"
)


def require_pdf() -> None:
    """Raise OutputError where WeasyPrint or a system library that it needs is missing."""
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError) as fault:
        first = (str(fault).strip() or type(fault).__name__).splitlines()[0]
        raise OutputError(_MISSING.format(why=first)) from fault


def report_pdf(site: SiteView, links: Links) -> bytes:
    """Return the report as PDF/UA-1; the same report gives the same bytes with the same fonts.

    site, links: of the report in one file, its tables cut to what paper can hold.
    """
    require_pdf()
    from weasyprint import HTML

    html = paper_html(render_one(site, links))
    # The library tells of every rule for screens that paper does not know.
    logging.getLogger("weasyprint").setLevel(logging.CRITICAL)
    logging.getLogger("fontTools").setLevel(logging.CRITICAL)
    with _fixed_time():
        data = HTML(string=html, url_fetcher=_refuse).write_pdf(
            pdf_variant="pdf/ua-1",
            pdf_identifier=hashlib.sha256(html.encode("utf-8", "replace")).digest()[:16],
        )
    if not isinstance(data, bytes):
        raise TypeError("WeasyPrint gave no bytes")
    return data


def paper_html(html: str) -> str:
    """Return a page without what paper has no use for, its marks drawn where they stand."""
    html = _NARROW.sub("", _POLICY.sub("", _SCRIPT.sub("", html)))
    html = _AWAY.sub("<a", html).replace(
        "</head>", f"<style>{asset('paper.css')}</style></head>", 1
    )
    html = _STORE.sub("", html.replace(svg.mark_rules(), "", 1))
    html = _MARK.sub(
        lambda found: f"{found.group(1)}{_drawn(found.group(2), word(found.group(2)))}", html
    )
    html = _TAG.sub(
        lambda found: (
            f'<span class="tag c-{found.group(1)}"><svg class="ic"'
            f"{_drawn(found.group(1), found.group(2))}</svg>{found.group(2)}"
        ),
        html,
    )
    html = _BAR.sub(r"\g<0><title>share of the limit</title>", html)
    return svg.rimmed(html)


def _drawn(kind: str, name: str) -> str:
    """Return the rest of a drawing that shows a mark, with a name for who cannot see it."""
    return f' viewBox="-7 -7 14 14"><title>{name}</title>{svg.mark(kind, 5)}'


def _refuse(url: str) -> dict[str, object]:
    raise ValueError(f"a report asks for nothing: {url}")


@contextmanager
def _fixed_time() -> Iterator[None]:
    """Let embedded fonts carry no clock; a time that the user set himself is kept."""
    name = "SOURCE_DATE_EPOCH"
    if name in os.environ:
        yield
        return
    os.environ[name] = "0"
    try:
        yield
    finally:
        del os.environ[name]
