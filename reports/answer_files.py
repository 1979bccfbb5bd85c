"""Writes an answer into a folder: page, workbook and one CSV file per table that has rows."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from markupsafe import Markup

from pipeline.store.layout import quoted
from pipeline.store.parquet import write_bytes
from pipeline.tracing.answer import Answer
from pipeline.tracing.log_sheet import LogSheet
from pipeline.tracing.trace import Trace
from pipeline.tracing.unit_history import UnitHistory
from reports.answer_page import answer_page, log_sheet_page
from reports.answer_workbook import answer_workbook
from reports.csv_link import csv_text
from reports.timeline import LINE_KEYS, TRACE_KEYS, life_line_picture, trace_picture


def write_trace(found: Trace, answer: Answer, to: Path) -> list[Path]:
    """Write a trace with the timeline of its units."""
    return _write(
        answer, to, trace_picture(found), "Who was on which unit, and the cycles between", TRACE_KEYS
    )


def write_recall(answer: Answer, to: Path) -> list[Path]:
    """Write a recall; it has no picture."""
    return _write(answer, to, Markup(""), "", ())


def write_unit(found: UnitHistory, answer: Answer, to: Path) -> list[Path]:
    """Write a unit's history with its life line."""
    return _write(answer, to, life_line_picture(found), "The unit's time, month by month", LINE_KEYS)


def write_log_sheets(sheets: Sequence[LogSheet], to: Path) -> list[Path]:
    """Write blank log sheets."""
    written = []
    for sheet in sheets:
        path = (
            to
            / f"log-sheet-{quoted(sheet.site_id)}{f'-{quoted(sheet.unit_id)}' if sheet.unit_id else ''}.html"
        )
        write_bytes(path, log_sheet_page(sheet).encode())
        written.append(path)
    return written


def _write(answer: Answer, to: Path, drawn: Markup, alt: str, keys: Sequence[tuple[str, str]]) -> list[Path]:
    files = {
        f"{answer.stem}.html": answer_page(answer, drawn, alt, keys).encode(),
        f"{answer.stem}.xlsx": answer_workbook(answer),
    }
    for table in answer.tables:
        if table.rows:
            # The very file that the page links to.
            files[f"{answer.stem}-{table.key}.csv"] = csv_text(table).encode()
    for name, payload in files.items():
        write_bytes(to / name, payload)
    return [to / name for name in files]
