"""Every page of the demonstration in a browser: what no page of a report may do."""

import json
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from checker.cli import main

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [
    pytest.mark.browser,
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
DEMO = Path(__file__).parents[2] / "demo_job"
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    main(["build", str(DEMO), "--out", str(folder / "report")])
    main(["build", str(DEMO), "--out", str(folder / "single"), "--single-file"])
    main(
        [
            "compare",
            str(folder / "report"),
            str(folder / "single"),
            "--page",
            str(folder / "c.html"),
        ]
    )
    return folder


@pytest.fixture(scope="module")
def pages(report: Path) -> list[Path]:
    found = sorted((report / "report").glob("*.html"))
    assert len(found) > 20
    return [*found, report / "single" / "index.html", report / "c.html"]


@pytest.mark.parametrize(("size", "scheme"), [(DESK, "light"), (PHONE, "light"), (DESK, "dark")])
def test_no_page_complains_asks_or_scrolls_sideways(
    browser: "Browser", report: Path, pages: list[Path], size: dict[str, int], scheme: str
) -> None:
    context = browser.new_context(viewport=size, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda fault: said.append(str(fault)))
    page.on("request", lambda request: asked.append(request.url))
    wide = []
    for path in pages:
        page.goto(path.as_uri())
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > size["width"]:
            wide.append((path.name, width))
    context.close()
    assert said == []
    assert wide == []
    assert all(url.startswith((report.as_uri(), "data:image/svg+xml,")) for url in asked)


@pytest.mark.parametrize(("size", "scheme"), [(DESK, "light"), (PHONE, "light"), (DESK, "dark")])
def test_axe_finds_nothing_on_any_page(
    browser: "Browser", pages: list[Path], size: dict[str, int], scheme: str
) -> None:
    path = os.environ.get("AXE_PATH")
    if not path:
        pytest.skip("AXE_PATH names no axe-core script")
    source = Path(path).read_text(encoding="utf-8")
    context = browser.new_context(
        bypass_csp=True,
        viewport=size,  # type: ignore[arg-type]
        color_scheme=scheme,  # type: ignore[arg-type]
    )
    found = []
    for each in pages:
        page = context.new_page()
        page.goto(each.as_uri())
        page.evaluate(source)
        result = page.evaluate(f"axe.run({{runOnly: {json.dumps(RULES)}}})")
        found += [
            (each.name, rule["id"], [node["html"][:120] for node in rule["nodes"][:3]])
            for rule in result["violations"]
        ]
        page.close()
    context.close()
    assert not found, json.dumps(found, indent=1)


def test_nothing_moves_by_itself(pages: list[Path]) -> None:
    """Whoever asks for less motion gets the same page: there is none in it."""
    for path in pages:
        style = "".join(re.findall(r"<style>(.*?)</style>", path.read_text("utf-8"), re.DOTALL))
        assert not re.search(r"\b(?:animation|transition|scroll-behavior|@keyframes)\b", style)
        assert not re.search(r"<(?:animate|marquee|blink)", path.read_text("utf-8"))


class Fingers:
    """Touches as a phone sends them."""

    def __init__(self, page: "Page") -> None:
        self.client = page.context.new_cdp_session(page)

    def __call__(self, kind: str, *places: tuple[float, float]) -> None:
        points = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(places)]
        self.client.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def test_two_fingers_enlarge_the_plan_and_one_moves_it(browser: "Browser", report: Path) -> None:
    context = browser.new_context(viewport=PHONE, has_touch=True)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto((report / "report" / "index.html").as_uri())
    plan = page.locator("svg#plan")
    plan.scroll_into_view_if_needed()
    page.get_by_role("button", name="Zoom in").first.click()
    page.wait_for_timeout(60)
    zoom = page.locator("svg#plan .zoom")

    def factor() -> float:
        found = re.search(r"scale\(([\d.]+)\)", zoom.get_attribute("transform") or "")
        assert found
        return float(found.group(1))

    before = factor()
    box = plan.bounding_box()
    assert box
    touch = Fingers(page)
    x, y = max(box["x"], 0) + 180, box["y"] + 150
    touch("touchStart", (x - 30, y), (x + 30, y))
    for step in range(1, 6):
        touch("touchMove", (x - 30 - 8 * step, y), (x + 30 + 8 * step, y))
    touch("touchEnd")
    page.wait_for_timeout(80)
    assert factor() > 1.5 * before
    at = zoom.get_attribute("transform")
    touch("touchStart", (x, y))
    for step in range(1, 6):
        touch("touchMove", (x + 10 * step, y + 5 * step))
    touch("touchEnd")
    page.wait_for_timeout(80)
    assert zoom.get_attribute("transform") != at
    context.close()


def test_a_row_rings_its_mark_and_a_mark_leads_to_its_row(browser: "Browser", report: Path) -> None:
    page = browser.new_page(viewport=DESK)  # type: ignore[arg-type]
    page.goto((report / "report" / "check-structure-hubs.html").as_uri())
    rows = page.locator("table.judged tbody tr")
    rows.nth(2).hover()
    assert page.locator("svg.plan .ring").count() == 1
    assert page.locator("svg .lit").count() == 1
    name = rows.nth(2).locator("th").inner_text()
    ringed = page.locator("svg.plan g:has(> .ring) > title").text_content() or ""
    assert ringed.startswith(f"{name} ")
    mark = page.locator("svg.plan .zoom g:has(> title):has(> path.mk)").nth(5)
    title = (mark.locator("title").text_content() or "").rsplit(" ", 1)[0]
    mark.locator("path.mk").click(force=True)
    aimed = page.evaluate("decodeURIComponent(location.hash.slice(1))")
    assert page.locator(f"[id='{aimed}'] th").inner_text() == title
    page.goto((report / "report" / "check-structure-hubs.html").as_uri() + "#c3-110")
    page.reload()
    assert page.locator("svg.plan g:has(> .ring) > title").text_content() == "110 outside"
    page.close()


def test_the_map_of_differences_zooms_like_the_plan(browser: "Browser", report: Path) -> None:
    page = browser.new_page(viewport=DESK)  # type: ignore[arg-type]
    page.goto((report / "report" / "check-apron-subgrade.html").as_uri())
    page.get_by_role("button", name="Zoom in").first.click()
    page.wait_for_timeout(60)
    zoom = page.locator("svg.plan .zoom").first
    assert "scale(1.6)" in (zoom.get_attribute("transform") or "")
    page.get_by_role("button", name="Whole plan").first.click()
    page.wait_for_timeout(60)
    assert "scale(1)" in (zoom.get_attribute("transform") or "")
    page.close()


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_every_page_prints(
    browser: "Browser", pages: list[Path], tmp_path: Path, size: str
) -> None:
    page = browser.new_page()
    for path in pages[:-2]:
        page.goto(path.as_uri())
        page.pdf(path=tmp_path / "out.pdf", format=size)
        data = (tmp_path / "out.pdf").read_bytes()
        assert 1 <= len(re.findall(rb"/Type\s*/Page\b", data)) <= 14, path.name
    page.close()


def test_every_page_is_valid_html(pages: list[Path]) -> None:
    """Parsed by a parser of the HTML standard that stops at the first error."""
    html5lib = pytest.importorskip("html5lib")
    for path in pages:
        parser = html5lib.HTMLParser(strict=True)
        parser.parse(path.read_bytes(), transport_encoding="utf-8")
        assert parser.errors == [], path.name


def test_a_tap_in_the_list_shows_the_reason_without_a_swipe(
    browser: "Browser", report: Path
) -> None:
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto((report / "report" / "index.html").as_uri())
    page.locator(".attention th a", has_text="715").first.tap()
    page.wait_for_selector("tr.told")
    found = page.locator("tr:target td.w").text_content()
    told = page.locator("tr.told span")
    assert told.text_content() == found
    assert found
    box = told.bounding_box()
    assert box
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= PHONE["width"]
    assert 0 <= box["y"] < PHONE["height"]
    rows = page.locator("table.judged tbody tr").count()
    page.locator("table.judged thead button").nth(2).tap()
    assert page.locator("tr.told").count() == 0
    assert page.locator("table.judged tbody tr").count() == rows - 1
    context.close()
    desk = browser.new_page(viewport=DESK)  # type: ignore[arg-type]
    desk.goto((report / "report" / "check-road-right-edge.html").as_uri() + "#c9-715")
    desk.wait_for_selector("tr.told", state="attached")
    assert not desk.locator("tr.told").is_visible()
    desk.close()


def test_the_plan_on_a_phone_begins_whole_with_all_that_is_outside_in_view(
    browser: "Browser", report: Path
) -> None:
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto((report / "report" / "index.html").as_uri())
    box = page.locator("svg#plan").bounding_box()
    assert box
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= PHONE["width"]
    marks = page.locator("svg#plan .m-outside").all()
    assert len(marks) > 3
    for mark in marks:
        place = mark.bounding_box()
        assert place
        assert place["width"] > 6
        assert box["x"] <= place["x"] <= box["x"] + box["width"]
        assert box["y"] <= place["y"] <= box["y"] + box["height"]
    names = "[...document.querySelectorAll('svg#plan .zoom .mk text')]"
    shown = (
        f"{names}.filter(e => e.style.visibility !== 'hidden').map(e => e.getBoundingClientRect())"
    )
    boxes = page.evaluate(f"{shown}.map(r => [r.left, r.top, r.right, r.bottom])")
    assert len(boxes) > 3
    for one, (left, top, right, base) in enumerate(boxes):
        for other in boxes[one + 1 :]:
            assert right < other[0] or other[2] < left or base < other[1] or other[3] < top
    context.close()


def test_the_page_to_pass_on_is_far_shorter_than_a_hundred_screens(
    browser: "Browser", report: Path
) -> None:
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto((report / "single" / "index.html").as_uri())
    assert page.evaluate("document.documentElement.scrollHeight") < 62_000
    laths = page.locator("#laths").bounding_box()
    cautions = page.locator("#cautions").bounding_box()
    attention = page.locator("#attention").bounding_box()
    assert laths
    assert cautions
    assert attention
    assert attention["y"] < laths["y"] < cautions["y"]
    wide = page.evaluate(
        "[...document.querySelectorAll('.pocket')]"
        ".map(table => table.scrollWidth - table.parentNode.clientWidth)"
    )
    assert max(wide) <= 0
    files = page.locator("#inputs table").first
    assert not files.is_visible()
    page.goto((report / "single" / "index.html").as_uri() + "#inputs")
    page.reload()
    assert files.is_visible()
    page.emulate_media(media="print")
    assert page.locator("#measurements table").first.is_visible()
    context.close()
