"""report.pdf; what needs WeasyPrint says so where it is missing."""

import builtins
import contextlib
import itertools
import re
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from checker.cli import main
from checker.errors import OutputError
from checker.report.geojson import map_file
from checker.report.links import Links
from checker.report.numbers import Outside
from checker.report.pages import render_one
from checker.report.pdf import MOST_ROWS, NAME, paper_html, require_pdf
from checker.report.render import render
from checker.report.rows import rows_of
from checker.report.tables import check_table
from checker.report.view import _room, site_view
from tests.support.jobs import JobFolder
from tests.unit.report import factory


def missing(monkeypatch: pytest.MonkeyPatch, fault: Exception) -> None:
    """Let the import of WeasyPrint fail as it does where it, or Pango, is not installed."""
    real = builtins.__import__

    def fail(
        name: str,
        globals: Mapping[str, object] | None = None,  # noqa: A002
        locals: Mapping[str, object] | None = None,  # noqa: A002
        fromlist: Sequence[str] = (),
        level: int = 0,
    ) -> object:
        if name.split(".", maxsplit=1)[0] == "weasyprint":
            raise fault
        return real(name, globals, locals, fromlist, level)

    monkeypatch.setattr(builtins, "__import__", fail)


def unpacked(data: bytes) -> bytes:
    """Return a PDF with its packed streams opened."""
    parts = [data]
    for packed in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL):
        with contextlib.suppress(zlib.error):
            parts.append(zlib.decompress(packed))
    return b"\n".join(parts)


README = Path(__file__).resolve().parents[3] / "README.md"


@pytest.mark.parametrize(
    "fault", [ImportError("No module named 'weasyprint'"), OSError("cannot load library 'pango'")]
)
def test_without_the_library_the_message_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    missing(monkeypatch, fault)
    with pytest.raises(OutputError) as caught:
        require_pdf()
    assert str(fault) in str(caught.value)
    command = '.venv/bin/pip install ".[pdf]"'
    assert command in str(caught.value)
    assert f"`{command}`" in README.read_text(encoding="utf-8")


def test_the_command_ends_with_2_and_writes_nothing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [("1", 10.0, 20.0, 3.0)]
    job = JobFolder(design=rows, shots=rows).write(tmp_path / "job")
    missing(monkeypatch, ImportError("none"))
    assert main(["build", str(job), "--pdf", "--out", str(tmp_path / "out")]) == 2
    assert "[pdf]" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_page_for_paper_asks_for_nothing_and_leads_nowhere_else() -> None:
    results = factory.make()
    links = Links(results, single_file=True)
    html = render_one(site_view(results, links, map_file(results)), links)
    paper = paper_html(html)
    assert "<script" not in paper
    assert "<use" not in paper
    assert not re.findall(r'href="(?!#|https?:|mailto:)', paper)
    rims = re.findall(r'stroke-linejoin="round">[^<]*</text><text', paper)
    assert len(rims) == len(re.findall(r'class="t(?: dim)? halo"', html)) > 0


def test_the_report_is_tagged_the_same_every_time_and_in_the_manifest() -> None:
    try:
        require_pdf()
    except OutputError as fault:
        pytest.skip(f"the extra [pdf] is not installed: {fault}")
    results = factory.make()
    results = replace(results, findings=results.findings[-2:])
    files = render(results, pdf=True)
    data = files[NAME]
    assert data.startswith(b"%PDF-1.7")
    plain = unpacked(data)
    assert b"/MarkInfo" in plain
    assert b"pdfuaid:part" in plain
    assert len(re.findall(rb"/Type\s*/Page\b", plain)) > 3
    assert data == render(results, pdf=True)[NAME]
    assert NAME.encode() in files["manifest.json"]


def elements(node: Any) -> Iterator[Any]:
    """Yield every element of a PDF's tree of tags."""
    pikepdf = pytest.importorskip("pikepdf")
    if isinstance(node, pikepdf.Array):
        for each in node:
            yield from elements(each)
    elif isinstance(node, pikepdf.Dictionary):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from elements(node.K)


def test_the_tags_are_what_a_reader_of_the_screen_needs(tmp_path: Path) -> None:
    """What ISO 14289-1 (PDF/UA-1) asks for, as far as its public summaries tell."""
    pikepdf = pytest.importorskip("pikepdf")
    try:
        require_pdf()
    except OutputError as fault:
        pytest.skip(f"the extra [pdf] is not installed: {fault}")
    results = factory.make()
    results = replace(results, findings=results.findings[-2:])
    (tmp_path / "report.pdf").write_bytes(render(results, pdf=True)[NAME])
    with pikepdf.open(tmp_path / "report.pdf") as document:
        root = document.Root
        assert str(root.Lang) == "en"
        assert bool(root.MarkInfo.Marked)
        assert bool(root.ViewerPreferences.DisplayDocTitle)
        assert results.job.title in str(document.docinfo["/Title"])
        with document.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"
        for page in document.pages:
            assert "/StructParents" in page
            assert str(page.Tabs) == "/S"
            for font in page.Resources.get("/Font", {}).values():
                descriptor = font.DescendantFonts[0].FontDescriptor
                assert "/ToUnicode" in font
                assert "/FontFile2" in descriptor or "/FontFile3" in descriptor
            for note in page.get("/Annots", []):
                assert "/StructParent" in note
        tags = list(elements(root.StructTreeRoot))
        names = [str(tag.S) for tag in tags]
        headings = [int(name[2]) for name in names if re.fullmatch("/H[1-6]", name)]
        assert headings[0] == 1
        assert headings.count(1) == 1
        assert all(later - one <= 1 for one, later in itertools.pairwise(headings))
        for tag in tags:
            if str(tag.S) == "/Figure":
                assert str(tag.get("/Alt", ""))
        cells = [tag for tag in tags if str(tag.S) == "/TD"]
        known = {str(tag.ID) for tag in tags if str(tag.S) == "/TH"}
        assert len(cells) > 20
        for cell in cells:
            heads = [str(head) for head in cell.A.Headers]
            assert heads
            assert set(heads) <= known


@pytest.mark.parametrize(
    ("lengths", "most", "room"),
    [
        ([10, 20], None, [None, None]),
        ([10, 20], 30, [None, None]),
        ([10, 5000], 1500, [None, 1490]),
        ([4000, 10, 4000], 1500, [745, None, 745]),
    ],
)
def test_long_tables_share_what_short_ones_leave(
    lengths: list[int], most: int | None, room: list[int | None]
) -> None:
    assert _room(lengths, most) == room


def test_a_cut_table_keeps_the_worst_and_says_what_is_left_out() -> None:
    results = factory.many(3000)
    rows = rows_of(results.findings[0], Outside(unit=results.job.unit), "c1")
    (page,) = check_table(rows, MOST_ROWS).pages
    html = str(page.html)
    assert html.count("<tr id=") == MOST_ROWS
    assert "the worst 1,500 are shown here" in html
    kinds = re.findall(r'<tr id="[^"]*" data-k="([a-z]+)"', html)
    order = ["outside", "undecided", "unchecked", "close", "within"]
    assert [order.index(kind) for kind in kinds] == sorted(order.index(kind) for kind in kinds)
    everything = rows.kind.tolist()
    assert kinds.count("outside") == everything.count(0)
