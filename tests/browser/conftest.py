"""The browser that looks at the pages."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHROMIUM = os.environ.get("CHROMIUM_PATH", "/usr/bin/chromium")


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    if not Path(CHROMIUM).exists():
        pytest.skip(f"no browser at {CHROMIUM}")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as driver:
        started = driver.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield started
        started.close()
