"""The words of `words.toml`, by which columns, codes and tables are told."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from pathlib import Path

_WORDS = tomllib.loads(Path(__file__).with_name("words.toml").read_text("utf-8"))

#: Names of canonical columns, as `folded` has them.
COLUMN_WORDS: dict[str, list[str]] = _WORDS["columns"]
DURATION_WORDS: list[str] = _WORDS["durations"]["words"]
TABLE_WORDS: dict[str, list[str]] = _WORDS["tables"]
_CODE_WORDS: dict[str, dict[str, list[str]]] = _WORDS["codes"]
_FLAG_WORDS: dict[str, list[str]] = _WORDS["flags"]


def folded(name: str) -> str:
    """Return a name as words: without accents, case, punctuation and the seams of CamelCase.

    >>> folded("GeräteNr."), folded("Flow (L/min)"), folded("started_at")
    ('gerate nr', 'flow l min', 'started at')
    """
    seamed = re.sub(r"(?<=[a-zäöüß0-9])(?=[A-ZÄÖÜ])", " ", name)
    plain = unicodedata.normalize("NFKD", seamed.replace("ß", "ss"))
    letters = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return " ".join(re.findall(r"[a-z0-9]+", letters.lower()))


def code_of(column: str, said: str) -> str | None:
    """Return the code that a word stands for, None for one that is not known.

    >>> code_of("phase", "Therapie"), code_of("status_tagged", "Ja"), code_of("phase", "?")
    ('in_use', 'true', None)
    """
    for code, words in _CODE_WORDS.get(column, _FLAG_WORDS).items():
        if folded(said) in (folded(code), *words):
            return code
    return None
