"""The report of one page: small, and saying what it leaves out."""

import re
from xml.etree import ElementTree

import pytest

from checker.report import single, svg
from checker.report.compact import compact
from checker.report.geojson import map_file
from checker.report.links import Links
from checker.report.render import render
from checker.report.view import site_view
from tests.unit.report import factory


def drawings(page: str) -> list[str]:
    return re.findall(r'<svg id="[^"]+".*?</svg>', page, re.DOTALL)


@pytest.mark.parametrize("count", [20, 3000, 20_000])
def test_it_stays_small_whatever_the_size_of_the_job(count: int) -> None:
    page = render(factory.many(count), single_file=True)["index.html"]
    assert len(page) < single.LIMIT
    text = page.decode()
    assert "This one page leaves out the plan of each check" in text
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
    assert "cut-sheet.csv." not in text[text.index("This one page leaves out") :][:200]


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
