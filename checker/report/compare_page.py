"""The page of `checker compare`: what changed between two reports, in one file of its own."""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from checker import __version__
from checker.errors import OutputError
from checker.model.past import PastReport, Topics
from checker.model.wording import Wording
from checker.report.changes import VERDICT, VERDICTS, changes
from checker.report.escape import clean
from checker.report.pages import kept_together, render_alone
from checker.report.windows import refuse_unusable
from checker.report.wording import Speaker

_MARK: Final = '<meta name="generator" content="checker compare">'
"""What tells such a page from a file of somebody else's."""
_HEAD: Final = 4096
ENGLISH: Final = Wording()
NAMED: Final = 500
"""How many stakes a line of the page names at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareView:
    """What the page shows. counts: word, before, after."""

    title: str
    old: PastReport
    new: PastReport
    old_name: str
    new_name: str
    said: str
    counts: tuple[tuple[str, int, int], ...]
    topics: Topics
    version: str


def compare_html(old: PastReport, new: PastReport, wording: Wording = ENGLISH) -> str:
    """Return the page. The same two reports give the same bytes."""
    found = changes(old, new, named=NAMED)
    view = CompareView(
        title=clean(new.title),
        old=old,
        new=new,
        old_name=_name(old),
        new_name=_name(new),
        said=found.said() if found else "",
        counts=tuple((word, old.counts.get(word, 0), new.counts.get(word, 0)) for word in VERDICTS),
        topics=tuple(
            (clean(head), tuple(clean(line) for line in lines))
            for head, lines in found.topics
            if head != VERDICT
        ),
        version=__version__,
    )
    page = render_alone("compare.html.j2", view=view, mark=_MARK)
    return kept_together(Speaker(wording).page(page))


def write_page(page: Path, old: PastReport, new: PastReport, wording: Wording = ENGLISH) -> None:
    """Write the page whole or not at all; raises OutputError where it cannot be.

    A file that is no such page is never overwritten.
    """
    refuse_unusable(page, "--page")
    data = compare_html(old, new, wording).encode("utf-8", "replace")
    aside = page.with_name(f".{page.name}.new-{os.getpid()}")
    try:
        if page.exists() and (page.is_dir() or _MARK.encode() not in _beginning(page)):
            raise OutputError(
                f"{page} is not a page of checker compare; it was left alone.\n"
                "    hint: name another file with --page"
            )
        aside.write_bytes(data)
        aside.replace(page)
    except OSError as fault:
        raise OutputError(
            f"{page} cannot be written: {fault.strerror or fault}.\n"
            "    hint: name a file in a folder that is there and can be written"
        ) from fault
    finally:
        aside.unlink(missing_ok=True)


def _beginning(page: Path) -> bytes:
    with page.open("rb") as file:
        return file.read(_HEAD)


def _name(report: PastReport) -> str:
    """Return the folder's name, not the path: a page is passed on."""
    return clean(Path(report.path).name or Path(report.path).resolve().name)
