"""The report on paper runs nothing, leads nowhere that a user's text says, and holds no file."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from checker.errors import OutputError
from checker.report.pdf import NAME, require_pdf
from checker.report.render import render
from checker.run import check
from tests.property.test_hostile_text_fuzz import HOSTILE, job, unseen

ACTIVE = {"/JavaScript", "/Launch", "/SubmitForm", "/ImportData", "/GoToR", "/GoToE", "/Rendition"}
"""Actions of ISO 32000-1, 12.6.4, that run something or lead out of the document."""


def dictionaries(document: Any) -> Iterator[Any]:
    """Yield every dictionary of a PDF, wherever it stands."""
    pikepdf = pytest.importorskip("pikepdf")

    def inside(node: Any, depth: int) -> Iterator[Any]:
        if depth > 20:
            return
        if isinstance(node, pikepdf.Dictionary | pikepdf.Stream):
            yield node
            values = [node.get(key) for key in node.keys()]  # noqa: SIM118  (no mapping of Python)
        elif isinstance(node, pikepdf.Array):
            values = list(node)
        else:
            return
        for value in values:
            if not getattr(value, "is_indirect", False):  # those come by themselves
                yield from inside(value, depth + 1)

    for each in document.objects:
        yield from inside(each, 0)


@pytest.mark.parametrize("data", [False, True], ids=["job", "data"])
@pytest.mark.parametrize("half", [0, 1])
def test_hostile_text_stays_text_on_paper(tmp_path: Path, half: int, *, data: bool) -> None:
    pikepdf = pytest.importorskip("pikepdf")
    try:
        require_pdf()
    except OutputError as fault:
        pytest.skip(f"the extra [pdf] is not installed: {fault}")
    text = " ".join(each for each in HOSTILE[half::2] if len(each) < 100 and "\0" not in each)
    if not data:
        text = re.sub(r"[\x00-\x1f\x7f-\x9f]", "", text)  # the job file refuses those
    results = check(job(tmp_path / "job", text, data=data))
    (tmp_path / NAME).write_bytes(render(results, pdf=True)[NAME])
    with pikepdf.open(tmp_path / NAME) as document:
        found = list(dictionaries(document))
        assert len(found) > 100
        for each in found:
            assert str(each.get("/S", "")) not in ACTIVE
            assert not {"/JS", "/JavaScript", "/AA", "/OpenAction", "/EF", "/AcroForm"} & set(
                each.keys()
            )
            if str(each.get("/S", "")) == "/URI":
                assert re.match(r"https?://|mailto:", str(each.URI)), str(each.URI)
        for key in ("/Title", "/Author", "/Subject", "/Keywords"):
            assert not unseen(str(document.docinfo.get(key, "")))
        for page in document.pages:
            for note in page.get("/Annots", []):
                assert str(note.Subtype) == "/Link"
