"""Text that the board pack's own fonts can show: a character that they lack is printed as its code point."""

from __future__ import annotations

import re
from typing import Any

#: The family of the pack's text and charts, in `reports/fonts`.
FAMILY = "Dewledger Sans"

#: What `reports/fonts` holds: Latin, Greek, Cyrillic, Vietnamese, punctuation and signs. A PDF for archives may hold no
#: character without a glyph, and one that turns the direction of the text around must not act.
COVERED = (
    r"\u0020-\u007e\u00a0-\u00ac\u00ae-\u017e\u0192\u0218-\u021b\u02c6-\u02c7\u02d8-\u02dd\u0384-\u038a\u038c"
    r"\u038e-\u03a1\u03a3-\u03ce\u0400-\u045f\u0490-\u0493\u1e80-\u1e85\u1ea0-\u1ef9\u2012-\u2015\u2018-\u201a"
    r"\u201c-\u201e\u2020-\u2022\u2026\u2030\u2032-\u2033\u2039-\u203a\u2044\u2070-\u2071\u2074-\u2079\u2080-\u2089"
    r"\u20ac\u2116\u2122\u2126\u2190-\u2193\u2202\u2206\u220f\u2211-\u2212\u221a\u221e\u2248\u2260\u2264-\u2265"
    r"\u25a0\u25c6"
)
_LACKING = re.compile(f"[^{COVERED}]")


def printable(text: str) -> str:
    """Return a text in which each character that the fonts lack stands as its code point.

    >>> printable("Ward 3 – Süd, 東")
    'Ward 3 – Süd, ‹U+6771›'
    """
    return _LACKING.sub(lambda found: f"‹U+{ord(found[0]):04X}›", text)


def all_printable(value: Any) -> Any:
    """Return lists and mappings with every text in them made printable; keys stay."""
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, dict):
        return {key: all_printable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [all_printable(item) for item in value]
    return value
