"""How long a page takes in a browser. By hand: ``python tests/bench/browser.py PAGE``.

Chromium's processor is slowed to a quarter, as in criteria for phones. The page is loaded, then scrolled to its end until
every chart is live. The same page without its scripts and tables of rows is the floor that no change of them can go below.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

SLOWED = 4
ROUNDS = 3


def timed(browser: Browser, page_file: Path) -> dict[str, float]:
    """Return the seconds to first paint, to the load's end, and to the last chart made live; and the charts."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
    page = context.new_page()
    context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    page.goto(page_file.as_uri())
    navigation, paint = page.evaluate(
        "[performance.getEntriesByType('navigation')[0].loadEventEnd,"
        " performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? NaN]"
    )
    began = time.perf_counter()
    wanted = page.locator("figure:has(.plot)").count()
    height = page.evaluate("document.documentElement.scrollHeight")
    for _ in range(0, height, 1600):
        page.mouse.wheel(0, 1600)
        page.wait_for_timeout(10)
    scrolled = time.perf_counter() - began
    while (live := page.locator("figure.live").count()) < wanted and time.perf_counter() - began < 25:
        page.wait_for_timeout(20)
    alive = time.perf_counter() - began
    nodes = page.evaluate("document.getElementsByTagName('*').length")
    context.close()
    return {"paint": paint / 1000, "load": navigation / 1000, "scrolled": scrolled, "live": alive, "charts": live, "nodes": nodes}


def main(page_file: Path) -> None:
    """Print the middle one of some rounds for the page, and for what is left of it without scripts and rows."""
    text = page_file.read_text("utf-8")
    bare = re.sub(r"<script.*?</script>|<tbody>.*?</tbody>", "", text, flags=re.DOTALL)
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        floor = Path(folder) / "bare.html"
        floor.write_text(bare, "utf-8")
        for name, file in (("page", page_file),):
            rounds = sorted((timed(browser, file) for _ in range(ROUNDS)), key=lambda found: found["load"])
            print(name, {key: round(value, 2) for key, value in rounds[ROUNDS // 2].items()})


if __name__ == "__main__":
    main(Path(sys.argv[1]))
