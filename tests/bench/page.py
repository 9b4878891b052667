"""How quickly a report opens in a browser: ``python -m tests.bench.page REPORT [--repeat N]``.

Opens the first page, and the first page of the largest check, from the disk in Chromium, each time
in a context of its own, and prints the medians: milliseconds from the request to the first content
on the screen and to the load event, which is after the page's script has run. Nothing is asserted.
"""

import argparse
import os
import shutil
import statistics
from collections.abc import Iterator
from pathlib import Path

TIMES = """() => {
  const run = performance.getEntriesByType("navigation")[0];
  const paint = performance.getEntriesByName("first-contentful-paint")[0];
  return [paint ? paint.startTime : NaN, run.loadEventEnd, run.decodedBodySize,
          document.getElementsByTagName("*").length];
}"""
SETTLED = "performance.getEntriesByName('first-contentful-paint').length > 0"


def measure(report: Path, repeat: int) -> Iterator[str]:
    """Yield a line for each of the pages that are opened."""
    from playwright.sync_api import sync_playwright

    where = os.environ.get("CHROMIUM_PATH") or shutil.which("chromium")
    first = report / "index.html"
    checks = sorted(report.glob("check-*.html"), key=lambda page: page.stat().st_size)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=where, args=["--no-sandbox"])
        for page in (first, *checks[-1:]):
            runs: list[list[float]] = []
            for _ in range(repeat):
                context = browser.new_context()
                tab = context.new_page()
                tab.goto(page.resolve().as_uri(), wait_until="load")
                tab.wait_for_function(SETTLED)
                runs.append(tab.evaluate(TIMES))
                context.close()
            paint, load, _, elements = (
                statistics.median(column) for column in zip(*runs, strict=True)
            )
            yield (
                f"{page.name:<34}{page.stat().st_size / 1e6:6.2f} MB, {elements:7,.0f} elements: "
                f"first content after {paint:5.0f} ms, loaded after {load:5.0f} ms"
            )
        browser.close()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Time a report's pages in Chromium.")
    parser.add_argument("report", type=Path, help="the folder of a report")
    parser.add_argument("--repeat", type=int, default=5, help="runs, of which the median counts")
    options = parser.parse_args()
    for line in measure(options.report, options.repeat):
        print(line)


if __name__ == "__main__":
    main()
