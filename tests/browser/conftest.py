"""The page of a busy month in Debian's Chromium, with the network off and every word of its console kept."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from filelock import FileLock
from playwright.sync_api import Browser, Page, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "unit"))
from report_results import MONTH, SITE, busy_month, page_of, published

from pipeline.findings import findings

CHROMIUM = Path("/usr/bin/chromium")

#: A browser that asks for nothing by itself.
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip


@dataclass
class Opened:
    """A page and what it said and asked for since it was opened."""

    page: Page
    console: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def scroll_through(self) -> None:
        """Turn the wheel to the end of the page: what is evaluated from outside is not held to the page's policy."""
        height = self.page.evaluate("document.documentElement.scrollHeight")
        for _ in range(0, height, 800):
            self.page.mouse.wheel(0, 800)
            self.page.wait_for_timeout(30)
        self.page.wait_for_timeout(300)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium; without it the tests are skipped, and fail in CI."""
    if not CHROMIUM.exists():
        reason = f"{CHROMIUM} is not there: install Debian's package chromium"
        if os.environ.get("CI"):
            pytest.fail(f"{reason}; in CI no test is skipped")
        pytest.skip(reason)
    with sync_playwright() as playwright:
        yield playwright.chromium.launch(executable_path=str(CHROMIUM), args=list(FLAGS))


@pytest.fixture(scope="session")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page of a month with a case of everything, and hostile names; rendered once for all workers."""
    own = tmp_path_factory.getbasetemp()
    shared = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "busy.html"
    with FileLock(f"{shared}.lock"):
        if not shared.exists():
            results = published(tmp_path_factory.mktemp("busy"), busy_month())
            shared.write_text(page_of(findings(results, [], [], SITE, MONTH)), "utf-8")
    return shared.read_text("utf-8")


@pytest.fixture(scope="module")
def open_page(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., Opened]]:
    """Return a function that opens a page's text from a file, with the options of a browser's context."""
    contexts = []

    def opened(text: str, width: int = 1280, **options: Any) -> Opened:
        context = browser.new_context(viewport={"width": width, "height": 900}, offline=True, **options)
        contexts.append(context)
        found = Opened(context.new_page())
        found.page.on("console", lambda said: found.console.append(f"{said.type}: {said.text}"))
        found.page.on("pageerror", lambda error: found.console.append(f"error: {error}"))
        found.page.on("request", lambda request: found.requests.append(request.url))
        path = tmp_path_factory.mktemp("page") / "page.html"
        path.write_text(text, "utf-8")
        found.page.goto(path.as_uri())
        return found

    yield opened
    for context in contexts:
        context.close()
