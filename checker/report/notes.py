"""The user's notes: markdown of which only harmless elements and attributes are left.

Raw HTML is never read, links are http, https, mailto or within the page, pictures become their
text. Attributes are rebuilt from a list, so that notes cannot pose as a verdict or catch an anchor.
"""

import re
from typing import Final
from xml.etree.ElementTree import Element

import markdown
from markdown.extensions import Extension
from markdown.extensions.tables import TableExtension
from markdown.treeprocessors import Treeprocessor
from markupsafe import Markup

from checker.report.escape import clean

_ELEMENTS = frozenset(
    (
        *("p", "h3", "h4", "h5", "h6", "em", "strong", "code", "pre", "blockquote", "ul", "ol"),
        *("li", "hr", "br", "a", "table", "thead", "tbody", "tr", "th", "td"),
    )
)
_LOWER = {"h1": "h3", "h2": "h4", "h3": "h5", "h4": "h6", "h5": "h6", "h6": "h6"}
"""Headings of the notes stand below those of the page."""
_LINK = re.compile(r"(?:https?://|mailto:|#)[!-~]*", re.IGNORECASE | re.ASCII)
_ALIGN = re.compile(r"text-align:\s*(left|right|center)")
LONGEST: Final = 50_000
"""Longer notes are shown as they were written: some texts take the library time squared."""
MOST_MARKS: Final = 500
"""So are notes with more marks than this in one block of lines, or ten times as many in all."""
_MARKS = re.compile(r"[\[\]`*_#=\\>!]")
_BLOCKS = re.compile(r"\n\s*\n")
_RAW = (("preprocessors", "html_block"), ("inlinePatterns", "html"))
_AUTO = (("inlinePatterns", "autolink"), ("inlinePatterns", "automail"))


class _Allowed(Treeprocessor):
    """Rebuild the finished tree from what is allowed."""

    def run(self, root: Element) -> Element:
        """Clean every element below the root."""
        for parent in list(root.iter()):
            for child in list(parent):
                self._mend(child)
        return root

    def _mend(self, element: Element) -> None:
        given = dict(element.attrib)
        element.attrib.clear()
        if element.tag == "img":
            element.tag = "span"
            element.text = given.get("alt", "")
            return
        element.tag = _LOWER.get(element.tag, element.tag)
        if element.tag not in _ELEMENTS:
            element.tag = "span"
        if element.tag == "a":
            href = given.get("href", "").strip()
            if _LINK.fullmatch(href):
                element.set("href", href)
                element.set("rel", "noreferrer")
            else:
                element.tag = "span"
        align = _ALIGN.search(given.get("style", ""))
        if align and element.tag in ("td", "th"):
            element.set("class", f"to-{align.group(1)}")
        if element.tag == "ol" and given.get("start", "").isdecimal():
            element.set("start", given["start"])


class _Safe(Extension):
    """Take out what reads raw HTML, and clean the tree when all else is done."""

    def extendMarkdown(self, md: markdown.Markdown) -> None:  # noqa: N802  (the library's name)
        """Change the parser."""
        for registry, name in (*_RAW, *_AUTO):
            getattr(md, registry).deregister(name)
        md.treeprocessors.register(_Allowed(md), "allowed", -5)


def notes_html(text: str) -> Markup:
    """Return the notes as HTML that carries nothing but text, structure and plain links."""
    if not text.strip():
        return Markup("")
    if _is_too_much(text):
        return Markup("<pre>{}</pre>").format(clean(text))
    # Placeholders of the library are made of these two characters: notes must not forge them.
    plain = clean(text.removeprefix("\ufeff")).replace("\x02", "").replace("\x03", "")
    parser = markdown.Markdown(extensions=[TableExtension(), _Safe()], output_format="html")
    return Markup(parser.convert(plain))  # noqa: S704  (cleaned above)


def _is_too_much(text: str) -> bool:
    """Return whether setting a text could take longer than a reader would wait."""
    if len(text) > LONGEST:
        return True
    marks = [len(_MARKS.findall(block)) for block in _BLOCKS.split(text)]
    return max(marks) > MOST_MARKS or sum(marks) > 10 * MOST_MARKS
