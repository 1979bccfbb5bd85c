"""Answers and log sheets as self-contained HTML pages."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import jinja2
from markupsafe import Markup

from pipeline.findings.wording import NUMBERS, shown
from pipeline.tracing.answer import Answer
from pipeline.tracing.log_sheet import LogSheet
from reports.csv_link import csv_link
from reports.drawing import LOOKS
from reports.style import style_sheet


def answer_page(answer: Answer, drawn: Markup, alt: str, keys: Sequence[tuple[str, str]]) -> str:
    """Return an answer's page; ``alt`` says in a line what the picture shows, ``keys`` what its looks mean."""
    looks = {name: Markup(look) for name, look in LOOKS.items()}  # noqa: S704 our own constants
    return _environment().get_template("answer.html.j2").render(
        answer=answer, drawn=drawn, alt=alt, keys=keys, looks=looks, show=shown, csv_link=csv_link, **_page()
    )  # fmt: skip


def log_sheet_page(sheet: LogSheet) -> str:
    """Return a blank log sheet, two A4 pages at most."""
    return _environment().get_template("log_sheet.html.j2").render(sheet=sheet, **_page())


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).with_name("templates")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["numbers"] = NUMBERS
    return environment


def _page() -> dict[str, object]:
    """Return the style sheet and the policy that lets in nothing else."""
    style = f"{style_sheet()}\n{Path(__file__).with_name('answer.css').read_text('utf-8')}"
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; form-action 'none'"
    )
    return {"style": Markup(style), "policy": policy}  # noqa: S704 our own files, no value in them
