"""Where a sheet's cells lie, and which of them hold an error, read off its XML without parsing it.

Runs in the limited process only.
"""

from __future__ import annotations

import re
from itertools import pairwise

from pipeline.ingest.archives import Refusal
from pipeline.ingest.limits import CELLS, COLUMNS

_TAG = rb"<(?:\w+:)?"
_REFERENCE = rb"""\br\s*=\s*["']([A-Z]{1,4})([0-9]{1,8})["']"""
_CELL = re.compile(_TAG + rb"c\s[^>]*?" + _REFERENCE + rb"[^>]*?(/?)>")
_ROW = re.compile(_TAG + rb"""row\s[^>]*?\br\s*=\s*["']([0-9]{1,8})["']""")
_HIDDEN = re.compile(_TAG + rb"""row\s[^>]*?\bhidden\s*=\s*["'](?:1|true)["']""")
_DIMENSION = re.compile(
    _TAG + rb"""dimension\s[^>]*?\bref\s*=\s*["']([A-Z]{1,4})([0-9]{1,8}):([A-Z]{1,4})([0-9]{1,8})["']"""
)
_ERROR = re.compile(
    _TAG
    + rb"""c\s(?=[^>]*\bt\s*=\s*["']e["'])[^>]*?"""
    + _REFERENCE
    + rb"[^>]*>(?:(?!</(?:\w+:)?c>).)*?<(?:\w+:)?v>([^<]*)</",
    re.DOTALL,
)
_UNCALCULATED = re.compile(
    _TAG + rb"c\s[^>]*?" + _REFERENCE + rb"[^>]*>\s*<(?:\w+:)?f(?:\s[^>]*)?(?:/>|>[^<]*</(?:\w+:)?f>)\s*"
    rb"(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)
#: Stands for a formula that was saved without its result.
UNCALCULATED = "#NO VALUE!"


class Extent:
    """The corners of all cells seen so far, which a workbook need not state truly."""

    def __init__(self) -> None:
        self.first_row = self.first_column = self._last_row = self._last_column = self.hidden_rows = 0
        self._last_cell = (0, 0)
        self._numbers: dict[bytes, int] = {}

    def widen(self, text: bytes) -> None:
        """Take in more cells; raise Refusal when the rectangle they span is too large to be held."""
        for left, top, right, bottom in _DIMENSION.findall(text):
            _require_few(int(top), self._number(left), int(bottom), self._number(right))
        self.hidden_rows += len(_HIDDEN.findall(text))
        self._last_row = max(self._last_row, *map(int, _ROW.findall(text)), 0)
        cells = [(int(row), self._number(letters), not empty) for letters, row, empty in _CELL.findall(text)]
        if not cells:
            _require_few(self.first_row or 1, 1, self._last_row, max(self._last_column, 1))
            return
        self._require_order([(row, column) for row, column, _ in cells])
        # Only cells that hold something count for where a table begins: others are left out when it is read.
        filled = [(row, column) for row, column, is_filled in cells if is_filled]
        if filled:
            self.first_row = min(self.first_row or filled[0][0], *(row for row, _ in filled))
            self.first_column = min(self.first_column or filled[0][1], *(column for _, column in filled))
        self._last_row = max(self._last_row, *(row for row, _, _ in cells))
        self._last_column = max(self._last_column, *(column for _, column, _ in cells))
        _require_few(self.first_row or 1, self.first_column or 1, self._last_row, self._last_column)

    def _require_order(self, cells: list[tuple[int, int]]) -> None:
        """Of two cells in one place a reader keeps one, and nobody would be told."""
        before = self._last_cell
        if cells[0] <= before or any(later <= earlier for earlier, later in pairwise(cells)):
            raise Refusal("its cells are not in order, or two stand in one place; save it again as .xlsx")
        self._last_cell = cells[-1]

    def _number(self, letters: bytes) -> int:
        if letters not in self._numbers:
            self._numbers[letters] = column_number(letters.decode())
        return self._numbers[letters]


def column_number(letters: str) -> int:
    """Return a column's number, from 1.

    >>> column_number("A"), column_number("AB")
    (1, 28)
    """
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def errors_in(text: bytes) -> list[tuple[int, int, str]]:
    """Return the cells (row, column, text) that show an error, or hold a formula without its result."""
    found = []
    for letters, row, said in _ERROR.findall(text):
        found.append((int(row), column_number(letters.decode()), said.decode("utf-8", "replace")))
    for letters, row in _UNCALCULATED.findall(text) if b"<f" in text or b":f" in text else []:
        found.append((int(row), column_number(letters.decode()), UNCALCULATED))
    return found


def _require_few(top: int, left: int, bottom: int, right: int) -> None:
    columns = right - left + 1
    if columns > COLUMNS or (bottom - top + 1) * columns > CELLS:
        raise Refusal(
            f"a sheet reaches to row {bottom} and column {right}, more than {COLUMNS:,} columns or {CELLS:,} "
            "cells; delete the rows and columns beyond the table"
        )
