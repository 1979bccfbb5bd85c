"""What every figure means, taken from the headers of the SQL that makes it."""

from __future__ import annotations

from pipeline.findings.model import Definition
from pipeline.measures.sql_files import Model
from pipeline.signals.definitions import chart_definitions
from pipeline.site_rules import SiteRules

_WORDS = {
    "question": "Question",
    "numerator": "Counted",
    "denominator": "Out of",
    "unit": "Unit",
    "better": "Better",
    "grain": "One row per",
    "caveat": "Mind",
    "note": "Note",
}


def definitions(models: dict[str, Model]) -> tuple[Definition, ...]:
    """Return a definition of each table that the measures rest on, measures first; plans have their own."""
    published = sorted(
        (model for model in models.values() if model.text("section")[:1].isdigit()),
        key=lambda model: (model.layer != "measures", model.text("title")),
    )
    return tuple(_definition(model) for model in published)


def of_charts(rules: SiteRules) -> Definition:
    """Return what charts and comparisons rest on, with the false alarms of the rule set in force."""
    return Definition("charts", "Control charts and comparisons", chart_definitions(rules))


def _definition(model: Model) -> Definition:
    lines = tuple(
        (word, line.removeprefix("one row per "))
        for key, word in _WORDS.items()
        for line in model.header.get(key, ())
    )
    return Definition(model.name, model.text("title"), lines)
