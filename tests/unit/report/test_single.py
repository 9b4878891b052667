"""The report of one page: small, and saying what it leaves out."""

import re
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import pytest

from checker.report import single, svg
from checker.report.compact import compact
from checker.report.geojson import map_file
from checker.report.links import Links
from checker.report.render import render
from checker.report.view import site_view
from checker.run import check
from tests.unit.report import factory


def drawings(page: str) -> list[str]:
    return re.findall(r'<svg id="[^"]+".*?</svg>', page, re.DOTALL)


@pytest.mark.parametrize("count", [20, 3000, 20_000])
def test_it_stays_small_whatever_the_size_of_the_job(count: int) -> None:
    page = render(factory.many(count), single_file=True)["index.html"]
    assert len(page) < single.LIMIT
    text = page.decode()
    assert "Shortened page. Not on it: the plan of each check" in text
    worst = factory.many(count).findings[0].row_verdict.max()
    assert "Outside" in text or worst < 3


def test_a_cut_table_says_so_and_keeps_what_is_outside() -> None:
    text = render(factory.many(4000), single_file=True)["index.html"].decode()
    assert "The worst rows" in text
    assert re.search(
        r"4,000 rows.*?; the worst [\d,]+ are shown here, all stand in results.csv", text
    )
    table = text[text.index('class="data sortable judged"') :]
    assert 'data-k="outside"' in table[: table.index("</table>")]


def test_what_fits_is_not_cut() -> None:
    text = render(factory.many(20), single_file=True)["index.html"].decode()
    assert "The worst rows" not in text
    assert "cut-sheet.csv." not in text[text.index("Shortened page. Not on it") :][:200]


def test_what_goes_on_the_laths_stands_right_below_what_needs_attention() -> None:
    results = factory.make()
    text = render(results, single_file=True)["index.html"].decode()
    heads = re.findall(r'<h2 id="(\w+)">', text)
    assert heads[heads.index("attention") + 1] == "laths"
    part = text[text.index('<h2 id="laths">') :]
    part = part[: part.index("<h2", 5)]
    rows = re.findall(r'<tr><th scope="row">([^<]*)</th><td>.*?</td><td class="lath">([^<]*)', part)
    stakes = [
        (line.id, line.lath)
        for sheet in site_view(
            results, Links(results, single_file=True), map_file(results)
        ).cut_sheets
        if not sheet.as_built
        for line in sheet.lines
    ]
    assert stakes
    assert [(unescape(name), lath.strip()) for name, lath in rows] == stakes


@pytest.mark.parametrize("count", [4000, 20_000])
def test_of_many_stakes_the_laths_that_are_left_out_are_counted(count: int) -> None:
    text = render(factory.many(count), single_file=True)["index.html"].decode()
    shown = text.count('<td class="lath">')
    assert 0 < shown < count
    assert f"{count - shown:,} more stand in" in text


def test_a_check_that_is_wholly_within_gives_up_its_numbers_before_the_laths_go() -> None:
    job = Path(__file__).parents[3] / "demo_job"
    data = render(check(job), single_file=True)["index.html"]
    assert len(data) < single.LIMIT - 6000
    text = data.decode()
    sections = dict(
        re.findall(r'<section class="page" id="(c\d+)">(.*?)</section>', text, re.DOTALL)
    )
    brief = [part for part in sections.values() if 'class="brief"' in part]
    assert len(brief) > 5
    for part in brief:
        assert "c-within" in part
        assert "<dl" not in part
        assert "<table" not in part
        assert "<figure" not in part
    for part in sections.values():
        assert ('class="brief"' in part) != ("data sortable" in part)


def test_the_drawings_keep_every_shape_and_text() -> None:
    results = factory.make()
    links = Links(results, single_file=True)
    site = site_view(results, links, map_file(results), slim=True)
    figures = [*site.figures, *(f for check in site.checks for f in check.figures)]
    made, rules = compact(figures)
    before = sum(len(str(f.svg)) for f in figures)
    after = sum(len(str(f.svg)) for f in made) + len(rules)
    assert after < 0.75 * before
    for old, new in zip(figures, made, strict=True):
        assert re.findall(r"<text[^>]*>([^<]*)<", old.svg) == re.findall(
            r"<text[^>]*>([^<]*)<", new.svg
        )
        for tag in ("rect", "a"):
            inside = re.sub(r'<g class="m-[a-z]+">.*?</g>', "", old.svg)
            assert inside.count(f"<{tag} ") == new.svg.count(f"<{tag} ")
        marks = len(re.findall(r'<g class="m-', old.svg))
        assert new.svg.count("<use ") == marks
        plain = str(new.svg).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
        ElementTree.fromstring(plain)  # noqa: S314  (our own drawing)
        used = set(re.findall(r'class="(q\d+)', new.svg))
        assert all(f".{name}{{" in rules for name in used)


def test_a_look_becomes_the_rule_that_it_was() -> None:
    parts = [svg.text(1, 2, str(n), anchor="end", size=9.5, bold=True) for n in range(3)]
    figure = svg.Figure(
        id="f",
        title="t",
        caption="c",
        svg=svg.draw("f", 10, 10, parts, name="n", description="d"),
    )
    (made,), rules = compact([figure])
    assert re.search(r"\.q0\{font-size:9\.5px;font-weight:600;text-anchor:end\}", rules)
    assert made.svg.count('class="q0 t"') == 3
    assert "text-anchor" not in made.svg


def test_the_rules_stand_before_those_that_override_them_in_the_dark() -> None:
    page = render(factory.make(), single_file=True)["index.html"].decode()
    styles = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
    assert len(styles) == 3
    assert styles[0].startswith(".q0{")
    assert "prefers-color-scheme:dark" in styles[1]
