"""How far the name of a column means a canonical one."""

from __future__ import annotations

import difflib
import functools
import re

from pipeline.ingest.drafting.words import COLUMN_WORDS, DURATION_WORDS, folded
from pipeline.ingest.profiles import COMMON_COLUMNS
from pipeline.records import Table

#: How sure a name makes: the very words; nearly the same letters; the words among neutral ones; words that may
#: mean another column of the table too.
EXACT, SIMILAR, WITHIN, EITHER = 1.0, 0.9, 0.88, 0.7
_ALIKE = 0.9
_NEUTRAL = {
    *("n", "nr", "no", "number", "id", "name", "code", "the", "of", "at", "on", "am", "um", "day", "value"),
    *("date", "time", "datum", "zeit", "uhrzeit", "wert"),
}
_UNIT_WORDS = re.compile(
    r"(?:\b(?:l min|l s|l h|lpm|ml min|ml|l|c|f|deg c|deg f|celsius|fahrenheit|pct|percent|fraction|h mm|hh mm|min|"
    r"minutes|hours|days|weeks|eur|gbp)\b\s*)+$"
)


def name_score(column: str, name: str, table: Table) -> tuple[float, str]:
    """Return how far a name means a canonical column of a table, and why.

    >>> from pipeline.records import TABLES
    >>> name_score("flow_l_min", "Gas flow [L/min]", TABLES["usage_samples"])
    (1.0, "'Gas flow [L/min]' is a name for flow_l_min")
    """
    bare = re.sub(r"[(\[].*?[)\]]", " ", name)
    variants = {folded(name), folded(bare), _UNIT_WORDS.sub("", folded(bare)).strip()} - {""}
    words = COLUMN_WORDS.get(column, ())
    if folded(column) in variants:
        return EXACT, f"'{name}' is the column's own name"
    if met := variants.intersection(words):
        if _has_other_meaning(met, column, table):
            return EITHER, f"'{name}' may mean {column}, and another column too"
        return EXACT, f"'{name}' is a name for {column}"
    for variant in variants:
        for word in words:
            if _is_similar(variant, word):
                return SIMILAR, f"'{name}' is nearly '{word}', a name for {column}"
            if _stands_in(word, variant) and not _has_other_meaning({word}, column, table):
                return WITHIN, f"'{name}' says '{word}', a name for {column}"
    return 0.0, ""


@functools.lru_cache(maxsize=100_000)
def _is_similar(variant: str, word: str) -> bool:
    if len(word) <= 4 or abs(len(word) - len(variant)) > 2:
        return False
    return difflib.SequenceMatcher(None, variant, word).ratio() >= _ALIKE


def _has_other_meaning(met: set[str], column: str, table: Table) -> bool:
    return any(
        word in COLUMN_WORDS.get(other, ())
        for word in met
        for other in (*table.names, *COMMON_COLUMNS)
        if other != column
    )


def _stands_in(word: str, variant: str) -> bool:
    said, wanted = variant.split(), word.split()
    for start in range(len(said) - len(wanted) + 1):
        if said[start : start + len(wanted)] == wanted:
            rest = said[:start] + said[start + len(wanted) :]
            return len(word) > 3 and bool(rest) and set(rest) <= _NEUTRAL
    return False


def means_duration(name: str) -> bool:
    """Say whether a column's name means how long something took."""
    words = _UNIT_WORDS.sub("", folded(re.sub(r"[(\[].*?[)\]]", " ", name))).strip()
    return words in DURATION_WORDS
