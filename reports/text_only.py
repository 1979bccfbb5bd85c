"""How every workbook is opened: nothing that a cell says may become a formula, a link or a number."""

from __future__ import annotations

TEXT_STAYS_TEXT = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}
