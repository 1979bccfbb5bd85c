"""The worklist as pages to print: one A4 page per ward, with a box to tick for each row."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import jinja2
from markupsafe import Markup

from pipeline.findings.cautions import CAUTIONS, PSEUDONYMS
from pipeline.findings.wording import part_words, shown
from pipeline.store.layout import quoted
from pipeline.store.parquet import write_bytes
from pipeline.worklist import KINDS, STALE_AFTER_H, Worklist
from reports.style import style_sheet

_BEGINS, _UNKNOWN_WARD = "worklist_", "ward not known"

#: What the page adds to the report's style, for the printer before the screen.
_PRINTED = """
@page{size:A4;margin:12mm}
main{max-width:186mm}
h1{font-size:26px;margin-top:18px}
.box{width:5mm;height:5mm;border:1.4px solid currentColor;display:inline-block}
.stale{border:2px solid currentColor;color:var(--signal);padding:8px 14px;font-weight:650}
.tasks{width:100%;margin:16px 0;font-size:13.5px}
.tasks th,.tasks td{padding:7px 10px 7px 0}
.tasks tbody th{white-space:nowrap;font-weight:650}
.cautions{margin-top:12px}
.stale{max-width:none}
.tasks td:last-child{width:34mm;border-left:1px solid var(--rule)}
.tasks tr{break-inside:avoid}
.cautions{break-inside:avoid}
"""


def write_pages(found: Worklist, to: Path, *, all_wards: bool) -> list[Path]:
    """Write a page per ward, empty lists too, and return the files.

    With ``all_wards``, pages of an earlier run for wards that no longer exist are removed: on a wall they
    would pass for today's.
    """
    written = [
        (to / f"{_BEGINS}{quoted(site)}_{quoted(ward or '-')}.html", render(found, site, ward))
        for site, ward in found.wards
    ]
    for path, text in written:
        write_bytes(path, text.encode())
    names = {path.name for path, _ in written}
    if all_wards:
        for left_over in sorted(to.glob(f"{_BEGINS}*.html")):
            if left_over.name not in names:
                left_over.unlink()
    return [path for path, _ in written]


def render(found: Worklist, site: str, ward: str | None) -> str:
    """Return one ward's page; the same worklist gives the same bytes."""
    age = found.age_of(site)
    zone = ZoneInfo(age.time_zone)
    style = style_sheet() + _PRINTED
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return _template().render(
        site=site,
        ward=ward or _UNKNOWN_WARD,
        as_of=shown(found.as_of, "instant", zone),
        age=age,
        latest=shown(age.latest_at, "instant", zone),
        stale_after=STALE_AFTER_H,
        quiet=[source.words for source in found.quiet if source.site_id == site and not age.is_stale],
        rows=[
            {
                "unit": task.unit_id,
                "what": KINDS[task.kind],
                "part": part_words(task.part or ""),
                "patient": (task.patient_key or "")[:8],
                "due": shown(task.due_at, "instant", zone),
                "since": shown(task.since_h, "hours"),
            }
            for task in found.tasks
            if (task.site_id, task.ward) == (site, ward)
        ],
        cautions=CAUTIONS,
        pseudonyms=PSEUDONYMS,
        style=Markup(style),  # noqa: S704 our own text, no value in it
        policy=f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'",
    )


@cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).with_name("templates")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("worklist.html.j2")
