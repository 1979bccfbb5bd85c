"""Takes the README's pictures from the report of the demo: `python tests/browser/take_pictures.py .demo/report`."""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass
from pathlib import Path

from conftest import CHROMIUM, FLAGS
from PIL import Image
from playwright.sync_api import Page, sync_playwright

PICTURES = Path(__file__).parents[2] / "reports" / "pictures"
SITE = "TARN-N"

#: Colours of a picture: a page of few loses nothing that an eye could see, and two thirds of its size.
_COLOURS = 128


@dataclass(frozen=True)
class Picture:
    """A part of the page: from the top of an element, so many pixels high, at a width and in a colour scheme."""

    name: str
    element: str
    height: int
    width: int = 1280
    scheme: str = "light"


WANTED = (
    Picture("report", "body", 1000),
    Picture("overruns", "#overruns", 820),
    Picture("changeovers", "#changeovers", 900),
    Picture("phone", "#first", 844, width=390, scheme="dark"),
)


def main(report: Path) -> None:
    """Take every picture of the newest month of the demo's northern hospital."""
    pages = sorted(report.glob(f"{SITE}_*.html"))
    if not pages:
        sys.exit(f"{report}: holds no page of {SITE}; run 'dewledger demo' first.")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=list(FLAGS))
        for wanted in WANTED:
            context = browser.new_context(
                viewport={"width": wanted.width, "height": wanted.height}, color_scheme=wanted.scheme, offline=True
            )  # fmt: skip
            page = context.new_page()
            page.goto(pages[-1].resolve().as_uri())
            (PICTURES / f"{wanted.name}.png").write_bytes(_small(_taken(page, wanted)))
            context.close()
        browser.close()


def _taken(page: Page, wanted: Picture) -> bytes:
    """Return what stands in the window with the element at its top, its charts live."""
    page.evaluate("element => document.querySelector(element).scrollIntoView()", wanted.element)
    page.wait_for_timeout(1500)
    return page.screenshot()


def _small(picture: bytes) -> bytes:
    colours = (
        Image.open(io.BytesIO(picture))
        .convert("RGB")
        .quantize(_COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    )
    packed = io.BytesIO()
    colours.save(packed, "PNG", optimize=True)
    return packed.getvalue()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
