"""Pages from templates. Everything is escaped unless it was built as Markup by this room."""

import base64
import hashlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from checker.report import svg
from checker.report.escape import clean
from checker.report.links import Links
from checker.report.tables import bar, tag, word
from checker.report.view import SiteView

if TYPE_CHECKING:
    from jinja2 import Environment

_PACKAGE = Path(__file__).resolve().parent.parent
_LEFT = re.compile(r"^[ \t]+(?://.*\n)?", re.MULTILINE)
"""What a browser has no use for in the script: indents, and lines that are comments."""
_AS_IT_IS = re.compile(
    r'(<script>.*?</script>|<code\b.*?</code>|<pre\b.*?</pre>|<div class="notes">.*?</div>)',
    re.DOTALL,
)
_UNITS = "ft|m|mm|cm|km|mi|usft|ft²|ft³|m²|m³|yd³|ppm|arcsec|deg|h|min|s|%"
_BEFORE_UNIT = re.compile(rf" (?<=[\d∞] )(?=(?:{_UNITS})(?![\w/-])[^<>]*<)")
"""The space between a number and its unit, outside tags."""
_NO_BREAK = "\N{NO-BREAK SPACE}"
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
            *((("methods", "Methods"),) if site.methods else ()),
        )
    ]
    return pages


def render_pages(site: SiteView, links: Links) -> Iterator[tuple[str, Iterable[str]]]:
    """Yield every page's file name and HTML, one after the other: a long report has many."""
    environment = _environment()
    pages = page_list(site, links)
    template = environment.get_template("page.html.j2")
    shared = _shared(site, links, pages, single=False)
    for page in pages:
        html = template.render(shown=[page], here=page, **shared)
        yield page.file, (kept_together(site.speaker.page(html)),)


def render_one(site: SiteView, links: Links) -> str:
    """Return the whole report as one page."""
    pages = page_list(site, links)
    template = _environment().get_template("page.html.j2")
    shared = _shared(site, links, pages, single=True)
    html = template.render(shown=pages, here=pages[0], **shared)
    return kept_together(site.speaker.page(html))


def kept_together(page: str) -> str:
    """Return a page on which no line ends between a number and its unit.

    Style, script, code, and the surveyor's own notes stay as they are.
    """
    head, end, body = page.partition("</head>")
    pieces = _AS_IT_IS.split(body)
    for place in range(0, len(pieces), 2):
        pieces[place] = _BEFORE_UNIT.sub(_NO_BREAK, pieces[place])
    return head + end + "".join(pieces)


def render_alone(template: str, **view: object) -> str:
    """Return a page that is no part of a report; it has the report's look and policy."""
    styles = [asset("style.css"), svg.mark_rules()]
    page = _environment().get_template(template)
    return page.render(
        policy=_policy(["".join(styles)], []),
        style=Markup("".join(styles)),  # noqa: S704  (our own files)
        symbols=_symbols(),
        **view,
    )


def _policy(styles: list[str], scripts: list[str]) -> str:
    """Return the Content-Security-Policy that allows these styles and scripts, and nothing else."""

    def listed(texts: list[str]) -> str:
        return " ".join(f"'{_hash(each)}'" for each in texts) or "'none'"

    return (
        f"default-src 'none'; style-src {listed(styles)}; script-src {listed(scripts)}; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def _shared(site: SiteView, links: Links, pages: list[Page], *, single: bool) -> dict[str, object]:
    style, script = asset("style.css"), _LEFT.sub("", asset("page.js"))
    running = svg.mark_rules() + _running(site)
    styles = [*([site.looks] if site.looks else []), style, running]
    return {
        "site": site,
        "links": links,
        "pages": pages,
        "single": single,
        "policy": _policy(styles, [script]),
        "looks": Markup(site.looks),  # noqa: S704  (our own attributes of drawings)
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
    # in drawings that share them a mark stands about its place, see `compact`
    marks += "".join(f'<g id="at-{kind}">{svg.mark(kind, 5)}</g>' for kind in svg.KINDS)
    return Markup(  # noqa: S704  (our own shapes)
        f'<svg class="store" width="0" height="0" aria-hidden="true"><defs>{marks}</defs></svg>'
    )


def _running(site: SiteView) -> str:
    """Return the running head of printed pages: title, status, page of pages."""
    look = "font:7.5pt system-ui,sans-serif;color:#444"
    head = _css_text(f"{site.title} ({site.status})")
    before, between, after = (_css_text(each) for each in site.speaker.around("Page {1} of {2}"))
    foot = _css_text(f"{site.headline.big}. Certifies nothing.")
    return (
        f"@page{{@top-left{{content:{head};{look}}}"
        f"@bottom-left{{content:{foot};{look}}}"
        f"@bottom-right{{content:{before} counter(page) {between} counter(pages) {after};{look}}}}}"
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


def _seen(value: object) -> object:
    """Return a value of a template with nothing unseen in it; Markup was cleaned where it arose."""
    return clean(value) if type(value) is str else value


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader([str(root) for root in ROOTS]),
        autoescape=True,
        finalize=_seen,
        undefined=StrictUndefined,
        optimized=False,  # what there is to fold costs more time than it would save
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
