"""What a measure means, in the words of the header of its SQL, and the site rules that it depends on."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, fields

from pipeline.errors import UsageError
from pipeline.measures.in_memory import models_behind
from pipeline.measures.published import published_models
from pipeline.measures.sql_files import LAYERS, Model
from pipeline.site_rules import PartRule, SiteRules

#: Which column of `run.settings` carries a rule, where it has another name.
_CARRIED_BY = {
    "grace_h": "grace",
    "charting_slack_min": "charting_slack",
    "prep_window_h": "prep_window",
    "stay_gap_h": "stay_gap",
    "clock_slack_min": "clock_slack",
    "max_storage_days": "max_storage",
    "max_sample_gap_min": "max_sample_gap",
    "uncharted_use_min": "uncharted_use_s",
    "turnaround_target_h": "turnaround_target_s",
    "min_cycle_min": "min_cycle_s",
    "hold_c": "hold_centi_c",
    "hold_min": "hold_s",
    "census_time": "census_at",
    "flow_reference": "ng_per_l",
    "inlet_humidity_mg_l": "ng_per_l",
}
_NO_LIMITS = {"site_id", "parts", "coverage", "currency", "time_zone", "max_quarantined_pct"}


@dataclass(frozen=True)
class Definition:
    """A published table in words: the lines of its header by key, and its SQL."""

    name: str
    title: str
    words: tuple[tuple[str, str], ...]
    rests_on: tuple[str, ...]
    sql: str


@dataclass(frozen=True)
class Limit:
    """A rule in force at a site, as text; ``part`` where it is one of a part."""

    site_id: str
    part: str
    rule: str
    value: str


def explained() -> list[tuple[str, str]]:
    """Return the name and title of everything that can be explained, in order."""
    return [(model.name, model.text("title")) for model in published_models()]


def definition(name: str) -> Definition:
    """Return what a published table means; raise UsageError, with what was meant, for an unknown one."""
    model = model_of(name)
    words = tuple(
        (key, text)
        for key, lines in model.header.items()
        if key not in ("title", "reads", "hidden", "section")
        for text in lines
    )
    behind = tuple(item.table for item in models_behind(model.table) if item.table != model.table)
    sql = model.sql.partition("\n\n")[2].strip()
    return Definition(model.name, model.text("title"), words, behind, sql)


def limits_in_force(name: str, sites: dict[str, SiteRules]) -> tuple[Limit, ...]:
    """Return the sites' rules that a table depends on, directly or through what it rests on."""
    behind = models_behind(model_of(name).table)
    text = "\n".join(model.sql for model in behind)
    named = [
        item.name
        for item in fields(SiteRules)
        if item.name not in _NO_LIMITS and re.search(rf"\b{_CARRIED_BY.get(item.name, item.name)}\b", text)
    ]
    # Coverage reads them for every table; that makes no measure one of parts.
    by_part = any("run.part_rules" in model.reads for model in behind if model.layer in LAYERS[2:])
    found = [
        Limit(site, "", rule, _shown(getattr(rules, rule))) for site, rules in sites.items() for rule in named
    ]
    found += [
        Limit(site, part, item.name, _shown(getattr(rule, item.name)))
        for site, rules in sites.items()
        for part, rule in sorted(rules.parts.items())
        for item in fields(PartRule)
        if by_part and item.name != "part"
    ]
    return tuple(found)


def model_of(name: str) -> Model:
    """Return the model of a published table; see `definition`."""
    models = {model.name: model for model in published_models()}
    if name in models:
        return models[name]
    close = difflib.get_close_matches(name, models, n=1)
    hint = f"Did you mean '{close[0]}'?" if close else "See them all with 'dewledger explain --list'."
    raise UsageError(f"'{name}' is no measure. {hint}")


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return "unset" if value is None else f"{value:g}" if isinstance(value, int | float) else str(value)
