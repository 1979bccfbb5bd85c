"""Each drawing becomes a live chart that shows the same, under a policy that lets nothing else run."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect
from report_results import HOSTILE_WARD

from reports.scripts import policy, scripts

#: The texts of each figure, drawn or live; a value that is the same all along may name its axis once or twice.
_CONTENT = """() => Object.fromEntries([...document.querySelectorAll("figure:has(.plot)")].map((figure) => [
    figure.id, [...new Set([...figure.querySelectorAll(".plot text")].map((text) => text.textContent))].sort(),
]))"""

#: Tries that would be worth something to whoever smuggled a name into a record.
_PROBES = """
    addEventListener("securitypolicyviolation", (event) => (window.stopped ??= []).push(event.effectiveDirective));
    document.body.append(Object.assign(document.createElement("script"), { textContent: "window.ran = true" }));
    document.body.append(Object.assign(document.createElement("img"), { src: "https://example.org/x.png" }));
    document.body.insertAdjacentHTML("beforeend", '<p style="color:red" onclick="window.ran = true">x</p>');
    document.body.lastElementChild.click();  // some versions look at a handler only when it is called
    fetch("https://example.org/").catch(() => {});
    try { new Function("window.ran = true")(); } catch {}
"""


@pytest.fixture(scope="module")
def live(open_page, text):
    """The page, scrolled to its end once for all tests that only look at it."""
    found = open_page(text)
    found.drawn = found.page.evaluate(_CONTENT)
    found.scroll_through()
    return found


def test_every_chart_becomes_live_when_it_is_scrolled_to(live):
    charts = live.page.locator("figure:has(.plot)").count()
    assert charts > 30
    assert live.page.locator("figure.live").count() == charts


def test_the_page_asks_for_nothing_and_has_nothing_to_complain_of(live):
    assert live.requests == [live.page.url]
    assert live.console == []


def test_a_live_chart_says_what_its_drawing_said(live):
    assert live.page.evaluate(_CONTENT) == live.drawn


def test_a_live_chart_has_a_mark_for_each_row_that_the_drawing_has(live):
    for key in ("overruns-circuit-p", "funnel-1", "cover-now"):
        rows = live.page.locator(f"#{key} tbody tr").count()
        told = live.page.evaluate(
            "key => new Set(marksOf.get(document.getElementById(key)).map((mark) => mark.__data__.datum.row)).size", key
        )  # fmt: skip
        assert told == rows, key


def test_without_the_interpreter_no_chart_becomes_live(open_page, text):
    bundle, own = scripts()
    mutant = own.replace("{ ast: true }", "{}").replace("expr: vega.expressionInterpreter, ", "")
    assert mutant != own
    page = open_page(
        re.sub('content="default-src[^"]*"', lambda _: f'content="{policy(_style(text), (bundle, mutant))}"', text)
        .replace(own, mutant)
    )  # fmt: skip
    page.scroll_through()
    assert page.page.locator("figure.live").count() == 0
    assert page.page.locator("figure:has(.plot svg)").count() > 30
    assert any("unsafe-eval" in said for said in page.console)


def _style(text: str) -> str:
    return re.findall("<style>(.*?)</style>", text, re.DOTALL)[0]


def test_what_a_record_smuggles_in_is_stopped(open_page, text):
    found = open_page(text)
    found.page.evaluate(f"setTimeout(() => {{ {_PROBES} }})")
    found.page.wait_for_timeout(200)
    stopped = set(found.page.evaluate("window.stopped"))
    assert stopped >= {"script-src-elem", "img-src", "style-src-attr", "script-src-attr", "connect-src"}
    assert "script-src" in stopped
    assert found.page.evaluate("window.ran") is None


def test_hostile_names_are_shown_and_never_obeyed(live):
    assert live.page.locator("img").count() == 0
    assert HOSTILE_WARD in live.page.locator("#cover-wards-circuit table").text_content()
    assert any("</script><img" in said for said in live.page.evaluate(_CONTENT)["funnel-1"])


def test_pointing_at_a_mark_shows_its_row_of_the_table_and_escape_takes_it_away(live):
    figure = live.page.locator("#overruns-circuit-p")
    figure.scroll_into_view_if_needed()
    live.page.wait_for_timeout(100)
    box = figure.locator(".mark-symbol path").last.bounding_box()
    live.page.mouse.move(box["x"] + 2, box["y"] + 2)
    tip = live.page.locator(".tip")
    expect(tip).to_contain_text("October 2026")
    cells = figure.locator("tbody tr").last.locator("th, td").all_text_contents()
    assert [part.strip() for part in tip.locator("span:last-child").all_text_contents()] == [
        cell.strip() for cell in cells if cell.strip()
    ]
    live.page.keyboard.press("Escape")
    expect(tip).to_be_empty()


def test_arrow_keys_step_through_the_rows(live):
    plot = live.page.locator("#overruns-circuit-p .plot")
    live.page.mouse.move(0, 0)
    plot.focus()
    tip = live.page.locator(".tip")
    live.page.keyboard.press("ArrowLeft")
    expect(tip).to_contain_text("October 2026")
    live.page.keyboard.press("ArrowLeft")
    expect(tip).to_contain_text("September 2026")
    live.page.keyboard.press("ArrowRight")
    expect(tip).to_contain_text("October 2026")
    live.page.keyboard.press("Escape")
    expect(tip).to_be_empty()
