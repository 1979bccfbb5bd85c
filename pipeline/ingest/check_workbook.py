"""The findings of a check as a workbook that can be sent back to whoever made the exports."""

from __future__ import annotations

from pathlib import Path

from pipeline.ingest.check import CheckReport
from pipeline.ingest.workbooks import SheetOfText, workbook_bytes
from pipeline.store.parquet import write_bytes

_FINDINGS = {
    "File": 30,
    "Sheet": 14,
    "Row": 9,
    "Column": 22,
    "What becomes of it": 14,
    "What is wrong": 52,
    "What the file says": 26,
    "What to do": 60,
    "Rows": 8,
}
_FILES = {
    "File": 30,
    "Table": 18,
    "Rows read": 10,
    "Accepted": 10,
    "Duplicates": 10,
    "Skipped": 10,
    "Quarantined": 11,
    "Refused because": 60,
}


def write_workbook(report: CheckReport, to: Path) -> None:
    """Write the findings, and the account of every file, as one workbook."""
    findings = [
        (
            found.file,
            found.sheet,
            found.row,
            found.column,
            found.kind,
            found.meaning,
            found.value,
            found.advice,
            found.rows,
        )
        for found in report.findings
    ]
    files = [
        (
            file.name,
            file.table,
            file.rows_read,
            file.accepted,
            file.duplicates,
            file.skipped,
            file.quarantined,
            file.refused,
        )
        for file in report.files
    ]
    sheets = {"Findings": SheetOfText(_FINDINGS, findings), "Files": SheetOfText(_FILES, files)}
    write_bytes(to, workbook_bytes(sheets))
