"""What needs attention, on the first page and on the page of each check."""

import re
from html import unescape
from pathlib import Path

from checker.report.render import render
from checker.run import check
from tests.support.jobs import JobFolder

DESIGN = [(str(n), 5000.0 + 9 * n, 3000.0, 10.0) for n in range(1, 6)]


def plain(page: str) -> str:
    return unescape(re.sub(r"<[^>]*>", " ", page))


LIMITS = 'horizontal = "30 mm"\nvertical = "20 mm"\n'


def pages(tmp_path: Path, off: float, tolerance: str = LIMITS, more: str = "") -> dict[str, str]:
    shots = [(n, a + (off if n == "2" else 0.001), b, z) for n, a, b, z in DESIGN]
    folder = JobFolder(design=DESIGN, shots=shots, tolerance=tolerance, more=more).write(tmp_path)
    files = render(check(folder))
    return {name: data.decode() for name, data in files.items() if name.endswith(".html")}


def test_a_check_says_first_what_needs_attention_and_what_to_do(tmp_path: Path) -> None:
    page = pages(tmp_path, 0.2)["check-all-stakes.html"]
    listed = page.index('<table class="plain attention">')
    assert page.index('class="verdict') < listed < page.index('class="limits"')
    part = page[listed : page.index("</table>", listed)]
    assert part.count("<tr><th") == 2  # heading and stake 2
    assert "re-set the stake" in part


def test_a_check_without_faults_lists_nothing(tmp_path: Path) -> None:
    assert "plain attention" not in pages(tmp_path, 0.001)["check-all-stakes.html"]


def test_a_limit_of_half_a_millimetre_heads_its_column_and_its_sentence(tmp_path: Path) -> None:
    tolerance = 'horizontal = "12.5 mm"\nvertical = "20 mm"\n'
    page = plain(pages(tmp_path, 0.0126, tolerance=tolerance)["check-all-stakes.html"])
    assert "mm, limit 12.5" in page
    assert "horizontal 12.6\N{NO-BREAK SPACE}mm, limit 12.5\N{NO-BREAK SPACE}mm" in page
    assert re.search(r"Allowed in plan\s+12.5\smm", page)
    assert "limit 13" not in page


def test_a_stake_that_another_check_holds_is_held_on_the_plan_and_on_its_page(
    tmp_path: Path,
) -> None:
    more = (
        '[[relative]]\nname = "Bays"\npairs = [["1", "2"], ["3", "4"]]\n'
        'tolerance = { distance = "5 mm" }\n'
    )
    found = pages(tmp_path, 0.02, more=more)
    page = found["check-all-stakes.html"]
    assert "another check holds it" in page
    title = re.search(r"<h3>(\d+ points: [^<]*)</h3>", found["index.html"])
    assert title is not None
    assert "outside" in title.group(1)


def test_heights_without_a_limit_are_said_not_to_be_judged(tmp_path: Path) -> None:
    page = plain(
        pages(tmp_path, 0.001, tolerance='horizontal = "30 mm"\n')["check-all-stakes.html"]
    )
    assert "No limit on height is stated: they are shown, not judged." in page
    assert "pale band is the tolerance" not in page
