"""Reads an XLSX file as what it is: cells of text, numbers or dates."""

from __future__ import annotations

import io
import zipfile
from datetime import datetime, timedelta
from typing import Any
from xml.etree import ElementTree

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RELATED = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}"
_EPOCH = datetime(1899, 12, 30)

Cell = str | float | None


def parts(content: bytes) -> dict[str, bytes]:
    """Return the files inside a workbook."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def sheets(content: bytes) -> dict[str, ElementTree.Element]:
    """Return every sheet by its name, in the order of the tabs."""
    files = parts(content)
    targets = {
        item.get("Id"): item.get("Target")
        for item in ElementTree.fromstring(files["xl/_rels/workbook.xml.rels"])
    }
    book = ElementTree.fromstring(files["xl/workbook.xml"])
    return {
        str(item.get("name")): ElementTree.fromstring(files[f"xl/{targets[item.get(f'{_RELATED}id')]}"])
        for item in book.iter(f"{_MAIN}sheet")
    }


def rows(content: bytes) -> dict[str, list[list[Cell]]]:
    """Return the rows of every sheet, without the empty cells at their end; a row without cells is empty."""
    files = parts(content)
    shared = [
        "".join(part.text or "" for part in item.iter(f"{_MAIN}t"))
        for item in ElementTree.fromstring(files["xl/sharedStrings.xml"])
    ]
    return {name: _rows(sheet, shared) for name, sheet in sheets(content).items()}


def as_instant(serial: float) -> datetime:
    """Return a spreadsheet's date, to the second."""
    found = _EPOCH + timedelta(days=serial)
    return (found + timedelta(microseconds=500_000)).replace(microsecond=0)


def nearly(cell: Any) -> Any:
    """Return a number to the twelve digits that every program keeps of it; all else as it is."""
    return float(f"{cell:.12g}") if isinstance(cell, float) else cell


def _rows(sheet: ElementTree.Element, shared: list[str]) -> list[list[Cell]]:
    found: list[list[Cell]] = []
    for row in sheet.iter(f"{_MAIN}row"):
        found += [[] for _ in range(int(row.get("r", 0)) - 1 - len(found))]
        cells: list[Cell] = []
        for cell in row:
            cells += [None] * (_place(str(cell.get("r"))) - len(cells))
            value = cell.find(f"{_MAIN}v")
            text = value.text or "" if value is not None else None
            cells.append(text if text is None else shared[int(text)] if cell.get("t") == "s" else float(text))
        while cells and cells[-1] is None:
            cells.pop()
        found.append(cells)
    return found


def _place(reference: str) -> int:
    """Return the column of a reference such as C7, from 0."""
    place = 0
    for letter in reference.rstrip("0123456789"):
        place = place * 26 + ord(letter) - ord("A") + 1
    return place - 1
