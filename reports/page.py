"""One site's findings as one HTML page that needs no other file and no network, and is whole without its scripts."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from itertools import groupby
from pathlib import Path
from zoneinfo import ZoneInfo

import jinja2
from markupsafe import Markup

from pipeline import __version__
from pipeline.findings.cautions import CAUTIONS, PSEUDONYMS
from pipeline.findings.model import (
    Measure,
    SiteFindings,
    Table,
)
from pipeline.findings.months import month_name
from pipeline.findings.opening import known_at, tally
from pipeline.findings.wording import NUMBERS, basis, change, shown
from reports.charts.keys import keys_of
from reports.closer import packed_lines, state_keys, wards_and_units
from reports.csv_link import csv_file, gzipped
from reports.drawings import Drawings
from reports.live_charts import packed
from reports.paper import printed, told_more
from reports.scripts import policy, scripts
from reports.slug import slug
from reports.sparkline import sparkline
from reports.style import style_sheet

#: Rows of what needs attention that stand open; the others are one click away.
FIRST_ROWS = 6
UNBROKEN = frozenset({"instant", "unit", "month", "day"})

#: The class of a cell, as an attribute, by the kind of its column: none for numbers, which most cells are.
LOOKS = (
    dict.fromkeys(NUMBERS, "")
    | dict.fromkeys(UNBROKEN, " class=idle")
    | {"key": " class=key", "words": " class=words"}
)


def render(findings: SiteFindings, drawings: Drawings) -> str:
    """Return the site's page; the same findings, with their charts, give the same bytes."""
    zone = ZoneInfo(findings.time_zone)
    return _environment().get_template("page.html.j2").render(
        found=findings,
        month=month_name(findings.month),
        first=findings.attention[:FIRST_ROWS],
        others=findings.attention[FIRST_ROWS:],
        groups=[(name, list(group)) for name, group in groupby(findings.measures, lambda item: item.group)],
        cautions=CAUTIONS,
        pseudonyms=PSEUDONYMS,
        tally=tally(findings),
        known=known_at(findings),
        keys=keys_of,
        printed=printed,
        told_more=told_more,
        draw=lambda figure: Markup(drawings.on_page(figure.key)),  # noqa: S704 Vega escapes the text of its marks
        live=lambda: _live(drawings),
        **_closer(findings),
        spark=_spark,
        show=lambda value, kind: shown(value, kind, zone),
        csv_file=csv_file,
        change=change,
        basis=basis,
        version=__version__,
        **_page(scripts()),
    )  # fmt: skip


def render_index(pages: list[tuple[SiteFindings, str]], month: str) -> str:
    """Return the page that leads to those of the sites; each comes with its files' name, bare of its ending."""
    rows = [(findings, name, tally(findings)) for findings, name in pages]
    return _environment().get_template("index.html.j2").render(rows=rows, month=month_name(month), **_page())


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).with_name("templates")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "slug": slug,
    }
    environment.globals |= {"numbers": NUMBERS, "looks": LOOKS}
    return environment


def _page(own: tuple[str, ...] = ()) -> dict[str, object]:
    """Return what every page needs: its style sheet, its scripts, and the policy that lets in nothing else."""
    style = style_sheet()
    texts = [Markup(text) for text in own]  # noqa: S704 our own files, no value in them
    return {"style": Markup(style), "scripts": texts, "policy": policy(style, own)}  # noqa: S704 likewise


def _live(drawings: Drawings) -> Markup:
    text = packed({slug(key): chart for key, chart in drawings.to_draw_anew().items()})
    return Markup(gzipped(text))  # noqa: S704 letters and digits


def _closer(findings: SiteFindings) -> dict[str, object]:
    """Return what a reader may look closer at: nothing in what leaves the team."""
    wards, units = wards_and_units(every_table(findings), findings.lines)
    return {
        "wards": () if findings.shared else wards,
        "units": () if findings.shared else units,
        "states": list(state_keys()),
        "lines": gzipped(packed_lines(findings)),
    }


def _spark(measure: Measure) -> Markup:
    return Markup(sparkline(measure.points))  # noqa: S704 numbers only


def every_table(findings: SiteFindings) -> Iterable[Table]:
    """Yield every table of the page, those behind the figures included."""
    for section in findings.sections:
        yield from (figure.table for figure in section.figures)
        yield from section.tables
