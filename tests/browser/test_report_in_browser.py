"""The report in a browser, from file:// and with the network refused."""

import json
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from checker.cli import main
from checker.report.publish import publish
from checker.report.render import render
from tests.support.jobs import JobFolder
from tests.unit.report import factory

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [
    pytest.mark.browser,
    # The browser's own pipes are closed by the collector, after the driver is gone.
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
NAMES = (
    "index",
    "check-control",
    "check-building-corners",
    "check-fence",
    "check-control-loop",
    "check-bench-mark-run",
    "check-repeats-hours-apart",
    "drawing",
    "measurements",
    "inputs",
    "methods",
)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report")
    publish(render(factory.make()), folder / "site")
    publish(render(factory.make(), single_file=True), folder / "single")
    return folder


class Visit:
    """A page under watch: what it said, and what it asked for outside its folder."""

    def __init__(self, browser: "Browser", path: Path, **options: object) -> None:
        self.context = browser.new_context(**options)  # type: ignore[arg-type]
        self.page: Page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda fault: self.said.append(str(fault)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())

    def __enter__(self) -> "Page":
        return self.page

    def __exit__(self, *_: object) -> None:
        self.context.close()
        assert self.said == []
        assert all(url.startswith("file://") for url in self.asked), self.asked


@pytest.mark.parametrize("name", NAMES)
def test_quiet_and_no_sideways_scroll_on_a_phone(browser: "Browser", site: Path, name: str) -> None:
    options = {"viewport": {"width": 390, "height": 844}}
    with Visit(browser, site / "site" / f"{name}.html", **options) as page:
        assert page.evaluate("document.documentElement.scrollWidth") == 390
    with Visit(
        browser, site / "site" / f"{name}.html", viewport={"width": 1280, "height": 900}
    ) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 1280


def test_one_file_on_a_phone(browser: "Browser", site: Path) -> None:
    visit = Visit(browser, site / "single" / "index.html", viewport={"width": 390, "height": 844})
    with visit as page:
        assert page.evaluate("document.documentElement.scrollWidth") == 390
        sections = page.locator("section.page").count()
        assert sections == page.locator("nav.pages a").count() >= 1 + 8 + 4
    assert len(visit.asked) == 1


def test_readable_without_script(browser: "Browser", site: Path) -> None:
    with Visit(browser, site / "site" / "check-fence.html", java_script_enabled=False) as page:
        assert page.locator("table.judged tbody tr").count() == 26
        assert page.locator(".tools:visible").count() == 0
        assert page.locator("svg.plan").is_visible()
    with Visit(browser, site / "site" / "index.html", java_script_enabled=False) as page:
        assert "outside tolerance" in page.inner_text(".verdict")


def column(page: "Page", number: int) -> list[str]:
    cells: list[str] = page.eval_on_selector_all(
        f"table.data:not(.places) tbody tr:not([hidden]) > :nth-child({number})",
        "cells => cells.map(cell => cell.textContent)",
    )
    return cells


def as_number(text: str) -> float:
    return float(text.replace("−", "-").replace("\u202f", "").replace("%", ""))


def test_sorting_by_number_text_verdict_and_lath(browser: "Browser", site: Path) -> None:
    with Visit(browser, site / "site" / "check-force-main.html") as page:
        heads = [
            text.split("\n")[0]
            for text in page.locator("table.data:not(.places) thead th").all_inner_texts()
        ]
        page.locator("thead button").nth(heads.index("ΔN")).click()
        values = [as_number(text) for text in column(page, heads.index("ΔN") + 1)]
        assert values == sorted(values)
        page.locator("thead button").nth(heads.index("ΔN")).click()
        values = [as_number(text) for text in column(page, heads.index("ΔN") + 1)]
        assert values == sorted(values, reverse=True)
        assert page.locator("th[aria-sort]").count() == 1
        assert "ΔN" in page.inner_text("#live")
        page.locator("thead button").nth(1).click()
        assert column(page, 2)[:2] == ["Outside", "Outside"]
        place = heads.index("Cut / fill")
        page.locator("thead button").nth(place).click()
        cells = column(page, place + 1)
        assert cells[0] == "F 0.07"
        assert cells[-1] == "C 0.0504"
        assert page.locator("table.judged tbody tr").count() == 22


def test_azimuths_sort_by_their_size(browser: "Browser", site: Path) -> None:
    with Visit(browser, site / "site" / "check-control-loop.html") as page:
        heads = page.locator("table.data:not(.places) thead th").all_inner_texts()
        place = next(i for i, text in enumerate(heads) if text.startswith("Azimuth"))
        page.locator("thead button").nth(place).click()
        degrees = [int(text.split("°")[0]) for text in column(page, place + 1)]
        assert degrees == sorted(degrees)


def test_filtering_and_a_link_to_a_hidden_row(browser: "Browser", site: Path) -> None:
    with Visit(browser, site / "site" / "check-building-corners.html") as page:
        page.locator(".tools select").select_option("outside")
        assert column(page, 1) == ["105"]
        assert "1 of 16" in page.inner_text(".count")
        page.evaluate("location.hash = '#c2-116'")
        page.wait_for_function("!document.getElementById('c2-116').hidden")
        assert page.locator("table.judged tbody tr:visible").count() == 16
        page.locator(".tools input").fill("10")
        assert set(column(page, 1)) >= {"101", "110"}
        # The table of coordinates shows the same rows.
        others = page.locator("table.places tbody tr:visible th").all_inner_texts()
        assert others == column(page, 1)


def test_the_list_of_checks_opens_without_script_and_closes_with_it(
    browser: "Browser", site: Path
) -> None:
    path = site / "site" / "check-fence.html"
    with Visit(browser, path, java_script_enabled=False) as page:
        page.locator("nav.pages summary").click()
        assert page.locator("nav.pages details a:visible").count() == 8
    with Visit(browser, path, viewport={"width": 390, "height": 844}) as page:
        page.locator("nav.pages summary").focus()
        page.keyboard.press("Enter")
        assert page.locator("nav.pages details a:visible").count() == 8
        assert page.evaluate("document.documentElement.scrollWidth") == 390
        page.keyboard.press("Escape")
        assert page.locator("nav.pages details a:visible").count() == 0
        page.locator("nav.pages summary").click()
        page.locator("h1").click()
        assert page.locator("nav.pages details a:visible").count() == 0
        page.locator("nav.pages summary").click()
        page.get_by_role("link", name="Control loop").first.click()
        page.wait_for_url("**/check-control-loop.html")


def test_the_plan_zooms_by_button_key_wheel_and_drag(browser: "Browser", site: Path) -> None:
    with Visit(
        browser, site / "site" / "index.html", viewport={"width": 1280, "height": 900}
    ) as page:
        zoom = page.locator("svg#plan .zoom")
        bar = page.locator("svg#plan .scale text")
        before = bar.text_content()
        page.get_by_role("button", name="Zoom in").first.click()
        page.wait_for_timeout(60)
        assert "scale(1.6)" in (zoom.get_attribute("transform") or "")
        assert (
            page.eval_on_selector("svg#plan", "s => s.style.getPropertyValue('--unzoom')")
            == "0.625"
        )
        page.locator(".canvas").first.focus()
        page.keyboard.press("+")
        page.wait_for_timeout(60)
        assert "scale(2.56" in (zoom.get_attribute("transform") or "")
        assert bar.text_content() != before
        at = zoom.get_attribute("transform")
        page.keyboard.press("ArrowLeft")
        page.wait_for_timeout(60)
        assert zoom.get_attribute("transform") != at
        box = page.locator("svg#plan").bounding_box()
        assert box
        at = zoom.get_attribute("transform")
        page.mouse.move(box["x"] + 300, box["y"] + 200)
        page.mouse.down()
        page.mouse.move(box["x"] + 350, box["y"] + 240, steps=5)
        page.mouse.up()
        page.wait_for_timeout(60)
        assert zoom.get_attribute("transform") != at
        page.get_by_role("button", name="Whole plan").first.click()
        page.wait_for_timeout(60)
        assert "scale(1)" in (zoom.get_attribute("transform") or "")
        assert bar.text_content() == before
        page.mouse.move(box["x"] + 300, box["y"] + 200)
        page.keyboard.down("Control")
        page.mouse.wheel(0, -200)
        page.keyboard.up("Control")
        page.wait_for_timeout(60)
        assert "scale(1.2)" in (zoom.get_attribute("transform") or "")


def test_the_scale_bar_is_true(browser: "Browser", site: Path) -> None:
    """Two grid lines and the bar must agree, zoomed or not."""
    with Visit(
        browser, site / "site" / "index.html", viewport={"width": 1280, "height": 900}
    ) as page:
        for clicks in (0, 3):
            for _ in range(clicks):
                page.get_by_role("button", name="Zoom in").first.click()
            page.wait_for_timeout(60)
            script = """() => {
              const plan = document.getElementById('plan');
              const mark = n => [...plan.querySelectorAll('.mk')].find(
                m => m.parentNode.querySelector('title')?.textContent.startsWith(n + ' '));
              const a = mark('101').getScreenCTM(), b = mark('104').getScreenCTM();
              const bar = plan.querySelector('.scale path').getBBox().width * plan.getScreenCTM().a;
              return [b.e - a.e, bar, parseFloat(plan.querySelector('.scale text').textContent)];
            }"""
            apart, bar, feet = page.evaluate(script)
            # Stakes 101 and 104 stand 90 ft apart, east and west; bar lines add a pixel.
            assert bar / feet == pytest.approx(apart / 90.0, rel=0.02)


def luminance(colour: tuple[int, int, int]) -> float:
    """Relative luminance by WCAG 2.2, definition of that term."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (v / 255 for v in colour)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: tuple[int, int, int], other: tuple[int, int, int]) -> float:
    """Contrast ratio by WCAG 2.2."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


COLOUR = """kind => {
    const word = document.createElement("span");
    word.className = "tag c-" + kind;
    document.querySelector(".key").append(word);
    return getComputedStyle(word).color;
}"""
"""The colour of a verdict's word; not every key of a drawing has every verdict."""


def rgb(text: str) -> tuple[int, int, int]:
    values = [int(value) for value in re.findall(r"\d+", text)[:3]]
    return (values[0], values[1], values[2])


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_of_words_and_marks_stand_out(browser: "Browser", site: Path, scheme: str) -> None:
    with Visit(browser, site / "site" / "index.html", color_scheme=scheme) as page:
        ground = rgb(page.evaluate("getComputedStyle(document.body).backgroundColor"))
        assert (luminance(ground) > 0.5) == (scheme == "light")
        for kind in ("outside", "undecided", "unchecked", "close", "within"):
            word = page.evaluate(COLOUR, kind)
            assert contrast(rgb(word), ground) >= 4.5, (scheme, kind)
        for selector, least in ((".dim", 4.5), ("a", 4.5), ("svg .t", 4.5), ("svg .t.dim", 4.5)):
            name = "fill" if selector.startswith("svg") else "color"
            for each in page.eval_on_selector_all(
                selector, f"list => list.map(e => getComputedStyle(e).{name})"
            ):
                assert contrast(rgb(each), ground) >= least, (scheme, selector, each)
        for kind, part in (("outside", "rect"), ("within", "circle"), ("close", ".half")):
            fill = page.eval_on_selector(f"#mark-{kind} {part}", "e => getComputedStyle(e).fill")
            assert contrast(rgb(fill), ground) >= 3.0, (scheme, kind)


def seen_by(colour: tuple[int, int, int], matrix: list[list[float]]) -> tuple[float, float, float]:
    """Return CIE Lab (D65, IEC 61966-2-1 primaries) of a colour as seen through a matrix."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (v / 255 for v in colour)
    ]
    seen = [min(max(sum(m * c for m, c in zip(row, linear, strict=True)), 0), 1) for row in matrix]
    xyz = [
        sum(m * c for m, c in zip(row, seen, strict=True)) / white
        for row, white in zip(
            [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]],
            [0.9505, 1.0, 1.089],
            strict=True,
        )
    ]
    x, y, z = (t ** (1 / 3) if t > 216 / 24389 else (24389 / 27 * t + 16) / 116 for t in xyz)
    return (116 * y - 16, 500 * (x - y), 200 * (y - z))


# Machado, Oliveira, Fernandes (2009), severity 1; values from memory.
VISION: dict[str, list[list[float]]] = {
    "full": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("vision", list(VISION))
def test_verdicts_that_are_solid_marks_differ_for_every_eye(
    browser: "Browser", site: Path, scheme: str, vision: str
) -> None:
    with Visit(browser, site / "site" / "index.html", color_scheme=scheme) as page:
        labs = [
            seen_by(
                rgb(page.evaluate(COLOUR, kind)),
                VISION[vision],
            )
            for kind in ("outside", "close", "within")
        ]
    for index, one in enumerate(labs):
        for other in labs[index + 1 :]:
            assert sum((a - b) ** 2 for a, b in zip(one, other, strict=True)) ** 0.5 >= 15


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["index", "check-building-corners", "check-control-loop"])
def test_print_keeps_every_row_and_hides_the_tools(
    browser: "Browser", site: Path, tmp_path: Path, name: str, size: str
) -> None:
    with Visit(browser, site / "site" / f"{name}.html") as page:
        if name == "check-building-corners":
            page.locator(".tools select").select_option("outside")
        page.emulate_media(media="print")
        assert page.locator("nav:visible").count() == 0
        assert page.locator(".tools:visible").count() == 0
        if name == "check-building-corners":
            assert page.locator("table.judged tbody tr:visible").count() == 16
        page.pdf(path=tmp_path / "out.pdf", format=size)
        data = (tmp_path / "out.pdf").read_bytes()
        assert data.startswith(b"%PDF")
        pages = len(re.findall(rb"/Type\s*/Page\b", data))
        assert 1 <= pages <= 6


def test_injected_script_does_not_run(browser: "Browser", tmp_path: Path) -> None:
    evil = ['"><img src=x onerror="window.bad=1">', "<script>window.bad=1</script>"]
    files = render(
        factory.make(ids=evil, descriptions=evil, title=evil[0], notes="\n\n".join(evil))
    )
    # Even if escaping failed, the policy would hold: plant a script as a fault would.
    files["index.html"] = files["index.html"].replace(
        b"<footer", b"<script>window.bad=2</script><img src=x onerror='window.bad=3'><footer"
    )
    files.pop("manifest.json")
    publish(files, tmp_path / "site")
    context = browser.new_context()
    page = context.new_page()
    for name in ("index", "check-building-corners"):
        page.goto((tmp_path / "site" / f"{name}.html").as_uri())
        page.wait_for_timeout(100)
        assert page.evaluate("window.bad === undefined")
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_nothing(browser: "Browser", site: Path, scheme: str, width: int) -> None:
    path = os.environ.get("AXE_PATH")
    if not path:
        pytest.skip("AXE_PATH names no axe-core script")
    source = Path(path).read_text(encoding="utf-8")
    context = browser.new_context(
        bypass_csp=True,
        color_scheme=scheme,  # type: ignore[arg-type]
        viewport={"width": width, "height": 900},
    )
    found = []
    for name in NAMES:
        page = context.new_page()
        page.goto((site / "site" / f"{name}.html").as_uri())
        page.evaluate(source)
        result = page.evaluate(
            "axe.run({runOnly: ['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa']})"
        )
        found += [
            (name, each["id"], [node["html"][:120] for node in each["nodes"][:3]])
            for each in result["violations"]
        ]
        page.close()
    context.close()
    assert not found, json.dumps(found, indent=1)


def test_a_row_of_a_few_checks_scrolls_by_itself_on_a_phone(
    browser: "Browser", tmp_path: Path
) -> None:
    """Up to five checks stand in the row of pages by name, not in a list that opens."""
    rows = [(str(n), 5000.0 + 9 * n, 3000.0, 10.0) for n in range(1, 5)]
    more = "".join(
        f'[[stakeout]]\nname = "Anchor bolts of frame {n}"\nmeasured = {{ id = "{n}" }}\n'
        f'design = {{ id = "{n}" }}\ntolerance = {{ horizontal = "12.5 mm" }}\n'
        for n in range(1, 4)
    )
    job = JobFolder(design=rows, shots=[(n, a + 0.02, b, z) for n, a, b, z in rows], more=more)
    main(["build", str(job.write(tmp_path / "job")), "--out", str(tmp_path / "out")])
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True
    )
    page = context.new_page()
    for path in sorted((tmp_path / "out").glob("*.html")):
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, path.name
    page.goto((tmp_path / "out" / "index.html").as_uri())
    assert page.evaluate("innerWidth") == 390
    first = page.locator(".attention tbody tr").first.bounding_box()
    assert first is not None
    assert first["y"] < 2 * 844  # what to do stands on the first two screens
    page.goto((tmp_path / "out" / "check-anchor-bolts-of-frame-1.html").as_uri())
    text = page.inner_text("main")
    assert "limit 12.5" in text
    assert "limit 13" not in text
    context.close()
