"""Text of the user's files never runs, navigates, or passes for ours, in any output."""

from __future__ import annotations

import csv
import io
import json
import re
import unicodedata
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.report.render import render
from checker.run import check
from tests.support.damage import command
from tests.support.drawings import points_drawing

pytestmark = pytest.mark.property

BIDI = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
HOSTILE = (
    "<script>alert(1)</script>",
    "</script><script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "' onload='alert(1)",
    "</style><style>*{display:none}",
    "</title></svg><svg onload=alert(1)>",
    "<!-- <b>",
    "]]>",
    "{{ 7*7 }}{% raw %}",
    "&lt;b&gt;&#60;",
    "[click](javascript:alert(1))",
    "<javascript:alert(1)>",
    "![x](https://example.org/x.png)",
    "<meta http-equiv=refresh content=0>",
    '=HYPERLINK("https://example.org")',
    "@SUM(1+1)*cmd",
    "+1-1",
    "-2+3",
    "\t=1+1",
    "\ufeff=1+1",
    "\x1b[2J\x1b[1;32mWITHIN",
    "\x1b]8;;https://example.org\x1b\\x",
    "\x07\x08\x7f\x9b2J",
    "a\nWITHIN: every stake",
    "a\r\nwithin",
    "a\u2028b\u2029c\x85d\x0be",
    "\u202enihtiw\u202c",
    "\u2066within\u2069",
    "%%d%%u%%c",
    "\\U+202E \\P{\\fArial;x}",
    "0\nEOF\n",
    "  0\nSECTION\n  2\nENTITIES",
    '\\"; drop',
    "null",
    "NaN",
    "../../../etc/passwd",
    "CON",
    "\u0000x",
    "e\u0301\u0323" * 30,
    "W" * 5000,
)
PLAIN = "plain"


def toml(text: str) -> str:
    """Return a text as TOML's quoted string."""
    return json.dumps(text).replace("\x7f", "\\u007f")


@cache
def drawn() -> str:
    """Return a drawing with a point on the layer LAYER, its number LABEL."""
    return points_drawing([("LABEL", 130.0, 230.0, 50.0)], layer="LAYER").decode()


def job(folder: Path, text: str, *, data: bool) -> Path:
    """Write a small job with the text wherever a user may put some: in its data or in job.toml."""
    folder.mkdir(parents=True, exist_ok=True)
    t = toml(PLAIN if data else text)
    text = text if data else PLAIN
    ids = [f"{text}{number}" for number in range(4)]
    rows = [["id", "northing", "easting", "elevation", "description", "session", "solution"]]
    places = ((0.0, 0.0), (0.0, 20.0), (20.0, 20.0), (20.0, 0.0))
    design = [
        [name, repr(100 + n), repr(200 + e), "50", text, "", ""]
        for name, (n, e) in zip(ids, places, strict=True)
    ]
    shots = [
        [name, repr(100.01 + n), repr(200.06 + e), "50.01", text, text, "fixed"]
        for name, (n, e) in zip([*ids[:3], f"{text}extra"], places, strict=True)
    ]
    for name, table in (("design.csv", design), ("shots.csv", shots), ("control.csv", [
        [f"{text}CP", "90", "190", "49", text, "", ""]
    ])):  # fmt: skip
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows([*rows, *table])
        (folder / name).write_text(out.getvalue(), encoding="utf-8", newline="")
    on_a_line = re.sub(r"[\r\n\x00-\x1f\x85\u2028\u2029]", "", text)[:200] or PLAIN
    drawing = drawn().replace("LAYER", on_a_line).replace("LABEL", f"{on_a_line}5")
    (folder / "d.dxf").write_bytes(drawing.encode("utf-8", "replace"))
    (folder / "notes.md").write_text(f"# {text}\n\n{text}\n\n- {text}\n", encoding="utf-8")
    (folder / "job.toml").write_text(
        f"""[job]
title = {t}
number = {t}
client = {t}
surveyed_by = {t}
responsible = {t}
unit = "metre"
notes = "notes.md"
[reference]
vertical = {t}
geoid = {t}
realization = {t}
[design]
drawing = "d.dxf"
points = "design.csv"
revision = {t}
issued = {t}
[measured]
files = ["shots.csv"]
[control]
file = "control.csv"
[[instrument]]
name = {t}
serial = {t}
[tolerance.t]
horizontal = "50 mm"
vertical = "50 mm"
source = {t}
[[stakeout]]
name = {t}
tolerance = "t"
[[relative]]
name = "sides"
group = {{ file = "design.csv" }}
tolerance = {{ distance = "10 mm", source = {t} }}
""",
        encoding="utf-8",
    )
    return folder


class _Tags(HTMLParser):
    """Every kind of element with its attributes' names, and where links lead."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.kinds: set[tuple[str, frozenset[str]]] = set()
        self.scripts: list[str] = []
        self.links: set[str] = set()
        self._inside = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._inside = tag
        self.kinds.add((tag, frozenset(name for name, _ in attrs)))
        self.links |= {v or "" for k, v in attrs if k in {"href", "src", "action", "xlink:href"}}

    def handle_data(self, data: str) -> None:
        if self._inside == "script":
            self.scripts.append(data)
        self._inside = ""


def unseen(text: str) -> set[str]:
    """Return the characters that a reader cannot see and that change what is seen."""
    return {
        each
        for each in text
        if each in BIDI or (unicodedata.category(each) in {"Cc", "Cs"} and each not in "\n\t\r")
    }


LINK = re.compile(
    r"(?:#|https://|http://|mailto:|[A-Za-z0-9._~-]+\.(?:html|csv|json|dxf|geojson)|$)"
)


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> dict[str, _Tags]:
    results = check(job(tmp_path_factory.mktemp("usual") / "job", PLAIN, data=True))
    return {
        f"{single} {name}": _Tags(data.decode())
        for single in (False, True)
        for name, data in render(results, single_file=single).items()
        if name.endswith(".html")
    }


def try_text(text: str, folder: Path, usual: dict[str, _Tags], *, data: bool) -> None:
    status, out, err = command("check", str(job(folder, text, data=data)))
    assert not unseen(out + err), unseen(out + err)
    assert len([line for line in out.splitlines() if line.startswith(("WITHIN", "OUTSIDE"))]) <= 1
    if status == 2:
        return
    results = check(folder)
    kinds = {kind for page in usual.values() for kind in page.kinds}
    scripts = {script for page in usual.values() for script in page.scripts}
    prose = {
        ("strong", frozenset()),
        ("em", frozenset()),
        ("a", frozenset({"href"})),
        ("pre", frozenset()),
        ("code", frozenset()),
        ("hr", frozenset()),
        ("br", frozenset()),
        ("ol", frozenset()),
        ("blockquote", frozenset()),
    }  # fmt: skip  (the notes' Markdown)
    for single in (False, True):
        files = render(results, single_file=single)
        for name, content in files.items():
            assert re.fullmatch(r"[a-z0-9.-]+", name), name
            said = content.decode("utf-8")
            assert not unseen(said), (name, unseen(said))
            if name.endswith(".html"):
                page = _Tags(said)
                assert page.kinds - kinds <= prose, (name, page.kinds - kinds)
                assert set(page.scripts) <= scripts
                assert not [link for link in page.links if not LINK.match(link)], page.links
            elif name.endswith(".csv"):
                table = list(csv.reader(io.StringIO(said)))
                assert len({len(row) for row in table}) == 1
                for cell in (cell for row in table for cell in row):
                    number = re.fullmatch(r"[+-]?[\d.,]+(?:[eE][+-]?\d+)?", cell)
                    assert number or not re.match(r"[\s\ufeff\u200b]*[=+\-@]", cell), cell
            elif name == "deltas.dxf":
                tags = said.split("\n")
                assert len(tags) % 2 == 1
                assert all(code.strip().isdigit() for code in tags[0:-1:2])
                assert tags[-2] == "EOF"
                assert tags[1::2].count("EOF") == 1
            elif name.endswith(".json"):
                json.loads(said)


@pytest.mark.parametrize("data", [False, True], ids=["job", "data"])
@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_stays_text(
    text: str, tmp_path: Path, usual: dict[str, _Tags], *, data: bool
) -> None:
    try_text(text, tmp_path / "job", usual, data=data)


@settings(max_examples=15)
@given(
    data=st.booleans(),
    parts=st.lists(st.sampled_from(HOSTILE) | st.text(max_size=8), min_size=1, max_size=3),
)
def test_any_text_stays_text(
    tmp_path_factory: pytest.TempPathFactory,
    usual: dict[str, _Tags],
    parts: list[str],
    *,
    data: bool,
) -> None:
    try_text("".join(parts), tmp_path_factory.mktemp("text") / "job", usual, data=data)
