"""Where a sheet's cells lie, and which of them hold an error, read off its XML before any library opens it.

Runs in the limited process only. The parser sees a sheet as its reader will: what patterns over the text miss, a
reader may still find, and patterns can be made to take hours.
"""

from __future__ import annotations

import re
from xml.parsers import expat

from pipeline.ingest.archives import Refusal
from pipeline.ingest.limits import CELLS, COLUMNS, LINE_BYTES

_REFERENCE = re.compile("([A-Z]{1,4})([0-9]{1,8})")
_ROW = re.compile("[0-9]{1,8}")
#: Elements inside each other: a sheet has fewer than ten.
_DEEPEST = 100
#: Stands for a formula that was saved without its result.
UNCALCULATED = "#NO VALUE!"
_NOT_IN_ORDER = "its cells are not in order, or two stand in one place; save it again as .xlsx"
_UNREADABLE = "its sheet cannot be read; save it again as .xlsx"


class Extent:
    """The corners of all cells seen so far, which a workbook need not state truly, its hidden rows and, where
    they are asked for, the cells (row, column, text) that show an error or hold a formula without its result."""

    def __init__(self, with_errors: bool) -> None:
        self.first_row = self.first_column = self.hidden_rows = 0
        self.errors: list[tuple[int, int, str]] = []
        self._with_errors = with_errors
        self._last_row = self._last_column = 0
        self._row = self._column = 0
        self._is_filled = self._is_error = self._has_formula = self._in_value = False
        self._said = ""
        self._numbers: dict[str, int] = {}
        self._fed = self._depth = 0
        self._parser = expat.ParserCreate("utf-8")
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.StartDoctypeDeclHandler = self._refuse_document_type

    def widen(self, piece: bytes, is_last: bool = False) -> None:
        """Take in more of the sheet; raise Refusal when it is no sheet that could be held in memory."""
        try:
            self._parser.Parse(piece, is_last)
        except expat.ExpatError as error:
            raise Refusal(_UNREADABLE) from error
        self._fed += len(piece)
        # The parser begins again at the start of what it has not understood yet.
        if self._fed - self._parser.CurrentByteIndex > LINE_BYTES + len(piece):
            raise Refusal(_UNREADABLE)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        kind = name.rpartition(":")[2] if ":" in name else name
        self._depth += 1
        if self._depth > _DEEPEST:
            raise Refusal(_UNREADABLE)
        if kind == "c":
            self._begin_cell(attributes)
        elif kind == "row":
            self._begin_row(attributes)
        elif kind == "dimension":
            self._require_true(attributes.get("ref", ""))
        elif self._column:
            self._is_filled = True
            self._has_formula |= kind == "f"
            if kind == "v" and (self._is_error or self._has_formula):
                self._in_value = True
                self._parser.CharacterDataHandler = self._hear

    def _hear(self, text: str) -> None:
        self._said += text

    def _end(self, name: str) -> None:
        self._depth -= 1
        if self._in_value:
            self._in_value = False
            self._parser.CharacterDataHandler = None
        if name == "c" or name.endswith(":c"):
            self._end_cell()

    def _begin_row(self, attributes: dict[str, str]) -> None:
        stated = attributes.get("r")
        if stated is not None and not _ROW.fullmatch(stated):
            raise Refusal(_UNREADABLE)
        row = int(stated) if stated else self._row + 1
        if row < self._row or not row:
            raise Refusal(_NOT_IN_ORDER)
        if row > self._row:
            self._row, self._column = row, 0
        self.hidden_rows += attributes.get("hidden") in ("1", "true")
        self._last_row = max(self._last_row, row)

    def _begin_cell(self, attributes: dict[str, str]) -> None:
        """Go on to the place that a cell states, else to the one after the cell before it."""
        row, column = self._row, self._column + 1
        if stated := attributes.get("r"):
            found = _REFERENCE.fullmatch(stated)
            if found is None:
                raise Refusal(_UNREADABLE)
            row, column = int(found[2]), self._number(found[1])
        if not row or (row, column) <= (self._row, self._column):
            raise Refusal(_NOT_IN_ORDER)
        self._row, self._column = row, column
        self._is_error, self._is_filled, self._has_formula, self._said = (
            attributes.get("t") == "e",
            False,
            False,
            "",
        )
        if row > self._last_row or column > self._last_column:
            self._last_row, self._last_column = max(row, self._last_row), max(column, self._last_column)
            self._require_few()

    def _end_cell(self) -> None:
        """Only cells that hold something count for where a table begins: others are left out when it is read."""
        if not self._is_filled:
            return
        if not self.first_row or self._column < self.first_column:
            self.first_row = self.first_row or self._row
            self.first_column = min(self.first_column or self._column, self._column)
            self._require_few()
        if self._with_errors and (self._is_error or (self._has_formula and not self._said.strip())):
            said = self._said if self._is_error else UNCALCULATED
            self.errors.append((self._row, self._column, said))

    def _number(self, letters: str) -> int:
        if letters not in self._numbers:
            self._numbers[letters] = column_number(letters)
        return self._numbers[letters]

    def _require_true(self, stated: str) -> None:
        corners = [_REFERENCE.fullmatch(corner) for corner in stated.split(":")]
        if len(corners) == 2 and corners[0] and corners[1]:
            (left, top), (right, bottom) = corners[0].groups(), corners[1].groups()
            _require_few(int(top), self._number(left), int(bottom), self._number(right))

    def _require_few(self) -> None:
        _require_few(self.first_row or 1, self.first_column or 1, self._last_row, self._last_column)

    def _refuse_document_type(self, *_: object) -> None:
        raise Refusal("it declares a document type or entities, which no table needs")


def column_number(letters: str) -> int:
    """Return a column's number, from 1.

    >>> column_number("A"), column_number("AB")
    (1, 28)
    """
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def _require_few(top: int, left: int, bottom: int, right: int) -> None:
    columns = right - left + 1
    if columns > COLUMNS or (bottom - top + 1) * columns > CELLS:
        raise Refusal(
            f"a sheet reaches to row {bottom} and column {right}, more than {COLUMNS:,} columns or {CELLS:,} "
            "cells; delete the rows and columns beyond the table"
        )
