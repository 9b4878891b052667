import json
import os
import random
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from checker.model.finding import Results
from checker.model.job import Status
from checker.report.links import Links
from checker.report.plots.share import _curve_title
from checker.report.render import render
from checker.report.rows import part_of
from checker.report.tables import PAGE_ROWS
from tests.unit.report import factory

VOID = {"meta", "link", "br", "hr", "img", "input", "col"}
EVIL = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'><svg/onload=alert(1)>",
    "javascript:alert(1)",
    "{{ 7*7 }}{% raw %}",
    "</style><script>x</script>",
    "</title><b>",
    "]]>&lt;&amp;",
    "%s%d%(x)s",
]


class Page(HTMLParser):
    """Collects what the tests ask of a page, and sees to it that every tag is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.hrefs: list[str] = []
        self.refers: list[str] = []
        self.tags: list[str] = []
        self.attributes: set[str] = set()
        self.open: list[str] = []
        self.data: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag not in VOID:
            self.open.append(tag)
        self._note(attrs)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self._note(attrs)

    def _note(self, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names))
        for name, value in attrs:
            self.attributes.add(name)
            if name == "id":
                self.ids.append(value or "")
            elif name == "href":
                self.hrefs.append(value or "")
            elif name in ("aria-labelledby", "aria-describedby", "for"):
                self.refers += (value or "").split()
            elif name in ("clip-path", "fill") and (value or "").startswith("url(#"):
                self.refers.append((value or "")[5:-1])

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.data.append(data)


def pages(files: dict[str, bytes]) -> dict[str, Page]:
    parsed = {n: Page(b.decode()) for n, b in files.items() if n.endswith(".html")}
    assert all(not page.open for page in parsed.values())
    return parsed


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return render(factory.make())


def broken_links(files: dict[str, bytes]) -> list[str]:
    parsed = pages(files)
    broken = []
    for name, page in parsed.items():
        for href in page.hrefs:
            target, _, anchor = href.partition("#")
            where = target or name
            if where not in files or (
                anchor and where in parsed and anchor not in parsed[where].ids
            ):
                broken.append(f"{name}: {href}")
        broken += [f"{name}: {each}" for each in page.refers if each not in page.ids]
        assert len(page.ids) == len(set(page.ids)), name
    return broken


def test_every_link_leads_somewhere_and_ids_are_unique(files: dict[str, bytes]) -> None:
    assert broken_links(files) == []
    assert broken_links(render(factory.make(), single_file=True)) == []


def test_every_row_has_a_permalink(files: dict[str, bytes]) -> None:
    parsed = pages(files)
    document = json.loads(files["results.json"])
    for number, check in enumerate(document["checks"], 1):
        ids = [each for page in parsed.values() for each in page.ids]
        rows = [each for each in ids if each.startswith(f"c{number}-")]
        for row in check["rows"]:
            assert f"c{number}-{row['id'].replace(' ', '_20')}" in rows


@pytest.mark.parametrize("single", [False, True])
def test_users_text_never_becomes_markup(*, single: bool) -> None:
    results = factory.make(
        title=EVIL[0] + EVIL[1] + EVIL[5] + EVIL[4],
        notes="\n\n".join(EVIL),
        ids=EVIL,
        descriptions=EVIL,
    )
    made = render(results, single_file=single)
    plain = render(factory.make(), single_file=single)
    allowed = {tag for page in pages(plain).values() for tag in page.tags} | {"em", "code", "pre"}
    known = {name for page in pages(plain).values() for name in page.attributes}
    for name, page in pages(made).items():
        assert set(page.tags) <= allowed, name
        assert page.attributes <= known, name
        assert page.tags.count("script") == 1, name
        assert not any(href.lower().strip().startswith("javascript") for href in page.hrefs)
        assert "49" not in "".join(page.data).split("{{", 1)[0][:200]
    assert broken_links(made) == []


def test_the_policy_allows_exactly_our_own_style_and_script(files: dict[str, bytes]) -> None:
    import base64
    import hashlib

    for name, data in files.items():
        if not name.endswith(".html"):
            continue
        text = data.decode()
        policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
        assert policy
        head = text.index("Content-Security-Policy")
        assert head < text.index("<title>") < text.index("<style>")
        for tag, rule in (("style", "style-src"), ("script", "script-src")):
            found = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.DOTALL)
            hashes = {
                "sha256-" + base64.b64encode(hashlib.sha256(each.encode()).digest()).decode()
                for each in found
            }
            stated = re.search(rf"{rule} ([^;]*);", policy.group(1).replace("&#39;", "'"))
            assert stated
            assert set(re.findall(r"sha256-[^']+", stated.group(1))) == hashes, (name, tag)
        assert " style=" not in text
        assert not re.search(r"\son\w+=", text)
        assert not re.search(r"(src|href)=\"(https?:)?//", text)


def test_same_results_same_bytes(files: dict[str, bytes]) -> None:
    assert render(factory.make()) == files
    assert list(files)[-1] == "manifest.json"


def test_bytes_do_not_depend_on_the_machine() -> None:
    program = (
        "import hashlib; from tests.unit.report import factory;"
        "from checker.report.render import render;"
        "print([(n, hashlib.sha256(b).hexdigest()) for n, b in render(factory.make()).items()])"
    )
    root = Path(__file__).parents[3]
    outputs = set()
    for seed, zone, language in (("0", "UTC", "C"), ("77", "Asia/Tokyo", "C.UTF-8")):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "LANG": language}
        environment["PYTHONPATH"] = str(root)
        done = subprocess.run(
            [sys.executable, "-c", program], env=environment, capture_output=True, check=True
        )
        outputs.add(done.stdout)
    assert len(outputs) == 1


def test_no_path_of_the_machine_and_no_minus_zero(files: dict[str, bytes]) -> None:
    for name, data in files.items():
        text = data.decode()
        assert "/nowhere" not in text, name
        assert "\r" not in text, name
        if name.endswith(".html"):
            assert not re.search(r">[−-]0\.0*<", text), name
            assert (
                "nan"
                not in re.sub(r"<(script|style)>.*?</\1>", "", text, flags=re.DOTALL)
                .lower()
                .split()
            )


def test_headline_counts_come_from_the_data(files: dict[str, bytes]) -> None:
    counts = json.loads(files["results.json"])["counts"]
    text = files["index.html"].decode()
    total = sum(counts.values())
    assert f"{counts['outside']} of {total} outside tolerance" in text
    assert f"{counts['undecided']} undecided and {counts['unchecked']} unchecked" in text
    assert "which is not a pass either" in text


def test_a_failure_never_prints_as_its_limit(files: dict[str, bytes]) -> None:
    text = files["check-force-main.html"].decode()
    row = re.search(r'<tr id="c4-137".*?</tr>', text, re.DOTALL)
    assert row
    assert "C 0.0504" in row.group()
    assert "+0.0504" in row.group()
    assert "limit ±0.050" in text


def test_attention_lists_the_worst_first(files: dict[str, bytes]) -> None:
    text = files["index.html"].decode()
    table = text[text.index('class="plain attention"') : text.index("</table>")]
    kinds = re.findall(r'class="tag c-(\w+)"', table)
    order = ["outside", "undecided", "unchecked", "close"]
    assert kinds == sorted(kinds, key=order.index)
    assert len(kinds) == 14


def test_a_name_is_never_invented() -> None:
    results = factory.make()
    bare = replace(results, job=replace(results.job, responsible=None, surveyed_by=None))
    text = render(bare)["index.html"].decode()
    assert "C. Responsible" not in text
    assert "In responsible charge: name and licence" in text
    assert "C. Responsible, LS 00000" in render(results)["index.html"].decode()


@pytest.mark.parametrize("status", list(Status))
def test_status_is_said(status: Status) -> None:
    results = factory.make()
    text = render(replace(results, job=replace(results.job, status=status)))["index.html"].decode()
    assert f'<p class="status s-{status.value}">{status.value}</p>' in text
    assert ("do not use" in text) == (status is Status.SUPERSEDED)


def test_long_tables_have_pages_with_an_index() -> None:
    results = factory.many(2 * PAGE_ROWS + 5)
    files = render(results)
    assert broken_links(files) == []
    names = [name for name in files if name.startswith("check-grid")]
    assert sorted(names) == ["check-grid-part-2.html", "check-grid-part-3.html", "check-grid.html"]
    rows = {name: files[name].decode().count('<tr id="c1-') for name in names}
    assert rows == {
        "check-grid.html": PAGE_ROWS,
        "check-grid-part-2.html": PAGE_ROWS,
        "check-grid-part-3.html": 5,
    }
    assert f"S{PAGE_ROWS + 1} … S{2 * PAGE_ROWS}" in files["check-grid.html"].decode()


def test_a_check_that_is_called_like_a_part_of_another_keeps_its_page() -> None:
    results = factory.many(PAGE_ROWS + 2)
    whole = results.findings[0]
    short = part_of(whole, slice(0, 2))
    names = ("A", "A part 2", "a-PART-2", "A part", "A part", "A part 2 of 3")
    findings = [
        replace(each, measure=replace(each.measure, name=name))
        for each, name in zip((whole, *[short] * 5), names, strict=True)
    ]
    files = render(replace(results, findings=tuple(findings)))
    assert broken_links(files) == []
    pages = [name for name in files if name.startswith("check-")]
    assert len(pages) == len({page.casefold() for page in pages}) == 7
    for number, finding in enumerate(findings, 1):
        rows = sum(files[page].decode().count(f'<tr id="c{number}-') for page in pages)
        assert rows == len(finding.measure.id)


@pytest.mark.parametrize("seed", range(5))
def test_no_two_pages_have_one_name(seed: int) -> None:
    chance = random.Random(seed)
    results = factory.many(1)
    names = [
        chance.choice(("a", "A part", "a part 2", "x", "part 2", "-", "日")) for _ in range(12)
    ]
    findings = tuple(
        replace(f, measure=replace(f.measure, name=name))
        for f, name in zip(results.findings * 12, names, strict=True)
    )
    links = Links(replace(results, findings=findings), single_file=False)
    pages = [links.check_file(number, part) for number in range(12) for part in range(1, 16)]
    assert len(pages) == len(set(pages))


def test_a_large_plan_keeps_what_needs_attention_and_says_what_it_leaves_out() -> None:
    results = factory.many(9000)
    text = render(results)["index.html"].decode()
    document = json.loads(render(results)["results.json"])
    plan = text[text.index('<svg id="plan"') : text.index("</svg>", text.index('<svg id="plan"'))]
    urgent = [
        row["id"]
        for row in document["checks"][0]["rows"]
        if row["verdict"] != "within" or row["close"]
    ]
    assert len(re.findall("<a href=", plan)) == len(urgent)
    drawn = re.search(r"([\d,]+) of 9,000 points are drawn", text)
    assert drawn
    marks = re.findall(r'<g transform="translate\([^)]*\)"><title>(?!Grid north)', plan)
    assert int(drawn.group(1).replace(",", "")) == len(marks)


def test_one_file_holds_every_page_and_asks_for_nothing(files: dict[str, bytes]) -> None:
    single = render(factory.make(), single_file=True)
    html = [name for name in single if name.endswith(".html")]
    assert html == ["index.html"]
    text = single["index.html"].decode()
    for title in ("Building corners", "Methods", "Inputs and settings", "Sign-off"):
        assert title in text
    assert single["results.json"] == files["results.json"]


def test_checks_of_one_name_get_pages_of_their_own() -> None:
    results = factory.make()
    twins = replace(
        results,
        findings=tuple(
            replace(f, measure=replace(f.measure, name=name))
            for f, name in zip(
                results.findings, ["墙", "A b", "a-B", "墙 ", "A b", "c", "d", "e"], strict=True
            )
        ),
    )
    made = render(twins)
    assert broken_links(made) == []
    assert len([name for name in made if name.startswith("check-")]) == len(twins.findings)


def test_a_job_without_anything_still_has_its_pages() -> None:
    results: Results = factory.make()
    bare = replace(
        results,
        findings=(),
        inputs=replace(results.inputs, measured=None, drawings=(), design=None, notes=""),
        job=replace(results.job, design=None, measured=None, control=None, gate=None),
        doubts=results.doubts[:0],
        unused=results.unused[:0],
        counts={},
    )
    assert broken_links(render(bare)) == []


def test_one_file_is_small_enough_to_pass_on() -> None:
    single = render(factory.make(), single_file=True)["index.html"]
    assert len(single) < 300_000
    text = single.decode()
    assert "Not on it: the plan of each check" in text
    assert 'class="data sortable places"' not in text


@pytest.mark.parametrize(
    ("share", "title"),
    [
        ([0.1, 0.2, 0.3, 0.4], "All 4 keep their limits; half use 20\u202f% or less"),
        ([0.1, 0.2, 0.3, 1.4], "3 of 4 keep their limits; half use 20\u202f% or less"),
        ([0.1, 1.2, 1.3, 1.4], "1 of 4 keeps its limits; half use 120\u202f% or less"),
        ([1.1, 1.2, 1.3, 1.4], "None of 4 keeps its limits; half use 120\u202f% or less"),
    ],
)
def test_the_curve_tells_how_many_keep_their_limits(share: list[float], title: str) -> None:
    assert _curve_title(np.array(share)) == title


def test_many_checks_share_a_list_and_many_closures_a_tile() -> None:
    results = factory.make()
    closure = next(f for f in results.findings if f.measure.kind == "levels")
    many = replace(results, findings=(*results.findings, *[closure] * 4))
    text = render(many)["index.html"].decode()
    assert "<summary>12 checks</summary>" in text
    assert "<h3>Closures</h3>" in text
    few = render(replace(results, findings=results.findings[:3]))["index.html"].decode()
    assert "<summary>" not in few


def test_cautions_are_those_of_what_was_checked() -> None:
    results = factory.make()
    words = "A figure that closes agrees with itself"
    assert words not in render(results)["index.html"].decode()
    levels = next(f for f in results.findings if f.measure.kind == "levels")
    figure = replace(levels, measure=replace(levels.measure, kind="figure", name="Lot"))
    more = replace(results, findings=(*results.findings, figure))
    assert words in render(more)["index.html"].decode()
