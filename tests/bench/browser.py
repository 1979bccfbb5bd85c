"""How long a page takes in a browser. By hand: ``python tests/bench/browser.py PAGE``.

Chromium's processor is slowed to a quarter. The page is loaded, then scrolled to its end until every chart is live. The
floor is the same page without its scripts: what its text, tables and drawings cost in any case.
"""

from __future__ import annotations

import re
import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

SLOWED, ROUNDS, MOST_SECONDS = 4, 5, 60

#: Less than the height of the window and of what comes near it, so that no chart is passed over.
STEP = 1600
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")


def timed(browser: Browser, path: Path) -> tuple[float, float, int]:
    """Return the seconds to the end of loading and, from there, of the page; and how many charts are live there."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
    page = context.new_page()
    context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    page.goto(path.as_uri())
    loaded: float = page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd") / 1000
    wanted = page.locator("figure:has(.plot)").count() if page.locator("script").count() else 0
    began, live = time.perf_counter(), 0
    while (not _at_end(page) or live < wanted) and time.perf_counter() - began < MOST_SECONDS:
        page.mouse.wheel(0, STEP)
        page.wait_for_timeout(10)
        live = page.locator("figure.live").count()
    scrolled = time.perf_counter() - began
    context.close()
    return loaded, scrolled, live


def _at_end(page: Page) -> bool:
    return bool(page.evaluate("scrollY + innerHeight >= document.documentElement.scrollHeight - 2"))


def main(path: Path) -> None:
    """Print the middle of some rounds for the page and for its floor."""
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=[*FLAGS])
        floor = Path(folder) / "floor.html"
        floor.write_text(re.sub("<script.*?</script>", "", path.read_text("utf-8"), flags=re.DOTALL), "utf-8")
        rounds = [[timed(browser, file) for _ in range(ROUNDS)] for file in (path, floor)]
    loaded, scrolled, live = (statistics.median(column) for column in zip(*rounds[0], strict=True))
    least_loaded, least_scrolled, _ = (statistics.median(column) for column in zip(*rounds[1], strict=True))
    print(
        f"{path.name}: loaded in {loaded:.1f} s ({loaded / least_loaded:.1f} times the floor), {live} charts live "
        f"after {scrolled:.1f} s of scrolling ({scrolled / least_scrolled:.1f} times)"
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]))
