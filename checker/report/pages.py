"""Pages from templates. Everything is escaped unless it was built as Markup by this room."""

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from checker.report import svg
from checker.report.links import Links
from checker.report.tables import bar, tag, word
from checker.report.view import SiteView

if TYPE_CHECKING:
    from jinja2 import Environment

_PACKAGE = Path(__file__).resolve().parent.parent
ROOTS = (_PACKAGE / "site_templates", _PACKAGE.parent / "site_templates")
"""Where the templates lie: in the installed package, or beside it in a checkout."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A page or, in one file, a section. key: its anchor there; part: of a check's table."""

    key: str
    file: str
    title: str
    template: str
    check: int = -1
    part: int = 1


def page_list(site: SiteView, links: Links) -> list[Page]:
    """Return the pages in the order of the navigation; further parts follow their check."""
    pages = [Page(key="index", file="index.html", title="Result", template="result.html.j2")]
    for number, check in enumerate(site.checks):
        pages += [
            Page(
                key=check.key if part.number == 1 else f"{check.key}-part-{part.number}",
                file=links.check_file(number, part.number),
                title=check.name,
                template="check.html.j2",
                check=number,
                part=part.number,
            )
            for part in check.table.pages
        ]
    sheet = (("cut-sheet", "Cut sheet"),) if site.cut_sheets else ()
    pages += [
        Page(key=key, file=f"{key}.html", title=title, template=f"{key}.html.j2")
        for key, title in (
            *sheet,
            ("drawing", "Drawings"),
            ("measurements", "Measurements"),
            ("inputs", "Inputs"),
            ("methods", "Methods"),
        )
    ]
    return pages


def render_pages(site: SiteView, links: Links) -> dict[str, str]:
    """Return every page's HTML by its file name."""
    environment = _environment()
    pages = page_list(site, links)
    template = environment.get_template("page.html.j2")
    shared = _shared(site, links, pages, single=False)
    return {page.file: template.render(shown=[page], here=page, **shared) for page in pages}


def render_one(site: SiteView, links: Links) -> str:
    """Return the whole report as one page."""
    pages = page_list(site, links)
    template = _environment().get_template("page.html.j2")
    shared = _shared(site, links, pages, single=True)
    return template.render(shown=pages, here=pages[0], **shared)


def _shared(site: SiteView, links: Links, pages: list[Page], *, single: bool) -> dict[str, object]:
    style, script = asset("style.css"), asset("page.js")
    running = _running(site)
    policy = (
        f"default-src 'none'; style-src '{_hash(style)}' '{_hash(running)}'; "
        f"script-src '{_hash(script)}'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    return {
        "site": site,
        "links": links,
        "pages": pages,
        "single": single,
        "policy": policy,
        "style": Markup(style),  # noqa: S704  (our own file)
        "running": Markup(running),  # noqa: S704  (every character of the user's is escaped)
        "script": Markup(script),  # noqa: S704  (our own file)
        "symbols": _symbols(),
    }


def _symbols() -> Markup:
    """Return the marks, which tables refer to."""
    marks = "".join(
        f'<symbol id="mark-{kind}" viewBox="-7 -7 14 14">{svg.mark(kind, 5)}</symbol>'
        for kind in svg.KINDS
    )
    return Markup(  # noqa: S704  (our own shapes)
        f'<svg class="store" width="0" height="0" aria-hidden="true"><defs>{marks}</defs></svg>'
    )


def _running(site: SiteView) -> str:
    """Return the running head of printed pages: title, status, page of pages."""
    look = "font:7.5pt system-ui,sans-serif;color:#444"
    head = _css_text(f"{site.title} ({site.status})")
    foot = _css_text(f"{site.headline.big}. Certifies nothing.")
    return (
        f"@page{{@top-left{{content:{head};{look}}}"
        f"@bottom-left{{content:{foot};{look}}}"
        f'@bottom-right{{content:"Page " counter(page) " of " counter(pages);{look}}}}}'
    )


def _css_text(text: str) -> str:
    """Return a text as a CSS string with every character but plain letters and digits escaped."""
    return (
        '"'
        + "".join(
            each if each.isascii() and each.isalnum() else f"\\{ord(each):x} " for each in text
        )
        + '"'
    )


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


@cache
def asset(name: str) -> str:
    """Return a stylesheet or script, with the line ends that its hash is taken of."""
    for root in ROOTS:
        path = root / name
        if path.is_file():
            return path.read_bytes().decode().replace("\r\n", "\n")
    raise FileNotFoundError(name)


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader([str(root) for root in ROOTS]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.globals.update(
        tag=lambda kind: Markup(tag(kind)),  # noqa: S704  (our own shapes)
        word=word,
        bar=bar,
    )
    return environment
