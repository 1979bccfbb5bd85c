"""What a plan assumes, and the changes that a buyer may try on it with ``--set KEY=VALUE``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from pipeline.errors import UsageError
from pipeline.planning.projection import Item
from pipeline.planning.reorder import SERVICE_LEVEL
from pipeline.site_events import unknown_setting
from pipeline.site_rules import SiteRules, parse_site_rules

#: Rules that a plan reads itself; any other rule changes the measures and has to be measured anew.
_PLANNED = {"turnaround_target_h", "bag_volume_ml", "events"}

#: Rules in which a larger value lets a part or a unit go longer than the site allows.
_LIMITS = ("grace_h", "turnaround_target_h", "max_storage_days")

_ITEM_FIELDS = (
    "price",
    "pack_size",
    "lead_time_days",
    "lead_time_sd_days",
    "shelf_life_days",
    "min_order_packs",
)
_OWN_KEYS = {"demand", "ward.closed", "service_level"}


@dataclass(frozen=True)
class Assumptions:
    """What one site's plan rests on beside its records. ``growth`` multiplies the stays of every month."""

    rules: SiteRules
    items: tuple[Item, ...]
    growth: float = 1.0
    closed: frozenset[str] = frozenset()
    service_level: float = SERVICE_LEVEL


@dataclass(frozen=True)
class Change:
    """One ``KEY=VALUE``."""

    key: str
    value: str

    def __str__(self) -> str:
        """Return the change as it was written."""
        return f"{self.key}={self.value}"

    @property
    def needs_measuring(self) -> bool:
        """Whether the measured stays or turnarounds would differ."""
        is_part = re.fullmatch(r"parts\.[^.]+\.max_days", self.key)
        return not (is_part or self.key in _PLANNED | _OWN_KEYS or self.key.startswith("items."))


def parse_change(text: str) -> Change:
    """Return a change written KEY=VALUE."""
    key, separator, value = (part.strip() for part in text.partition("="))
    if not (key and separator and value):
        raise UsageError(f"--set {text}: write it as KEY=VALUE, such as --set parts.circuit.max_days=5.")
    return Change(key, value)


def changed(assumed: Assumptions, change: Change) -> Assumptions:
    """Return the assumptions with one change; those of a site that the change is not about stay as they are."""
    if change.key == "demand":
        return replace(assumed, growth=assumed.growth * _growth(change))
    if change.key == "ward.closed":
        return replace(assumed, closed=assumed.closed | {change.value})
    if change.key == "service_level":
        return replace(assumed, service_level=_level(change))
    if change.key.startswith("items."):
        return replace(assumed, items=_items(assumed.items, change))
    return replace(assumed, rules=_rules(assumed.rules, change))


def cautions(rules: SiteRules, changes: Sequence[Change]) -> list[str]:
    """Return a caution for each change that goes beyond the site's own limit."""
    found = []
    for change in changes:
        if change.key in _OWN_KEYS or change.key.startswith("items."):
            continue
        tried = _rules(rules, change)
        for name, own, new in _limits(rules, tried):
            if own is not None and (new is None or new > own):
                shown = "no limit" if new is None else f"{new:g}"
                words = f"{name} {shown} goes beyond the site's own limit of {own:g}: for comparison only,"
                found.append(f"{words} no ground to stretch a part's life, reuse a part or hold a unit back.")
    return found


def _limits(rules: SiteRules, tried: SiteRules) -> list[tuple[str, float | None, float | None]]:
    parts = [
        (f"parts.{part}.max_days", rules.parts[part].max_days, tried.parts[part].max_days)
        for part in sorted(rules.parts)
    ]
    return [*parts, *((name, getattr(rules, name), getattr(tried, name)) for name in _LIMITS)]


def _growth(change: Change) -> float:
    written = re.fullmatch(r"([+-])(\d+(?:\.\d+)?)\s*%", change.value)
    if not written or (written[1] == "-" and float(written[2]) >= 100):
        raise UsageError(f"--set {change}: write a change of demand such as demand=+20% or demand=-10%.")
    return 1 + float(f"{written[1]}{written[2]}") / 100


def _level(change: Change) -> float:
    level = _number(change)
    if not 0.5 <= level < 1:
        raise UsageError(f"--set {change}: a service level lies between 0.5 and 1, such as 0.95.")
    return level


def _number(change: Change) -> float:
    try:
        return float(change.value)
    except ValueError as error:
        raise UsageError(f"--set {change}: '{change.value}' is no number; decimals take a point.") from error


def _items(items: tuple[Item, ...], change: Change) -> tuple[Item, ...]:
    written = re.fullmatch(r"items\.(.+)\.([a-z_]+)", change.key)
    if not written or written[2] not in _ITEM_FIELDS:
        known = ", ".join(_ITEM_FIELDS)
        raise UsageError(f"--set {change}: write items.ITEM.FIELD=NUMBER, with a field of {known}.")
    value = _number(change)
    least = 1 if written[2] == "pack_size" else 0
    if not least <= value < 1e9:
        raise UsageError(f"--set {change}: {written[2]} must be a number of at least {least}.")
    typed: Any = int(value) if written[2] == "min_order_packs" else value
    return tuple(
        replace(item, **{written[2]: typed}) if item.item_id == written[1] else item for item in items
    )


def _rules(rules: SiteRules, change: Change) -> SiteRules:
    """Return the rules with one changed, judged as a rules file would be."""
    *path, name = change.key.split(".")
    stated = _toml_value(change.value)
    if path[:1] == ["parts"] and len(path) == 2:
        part = path[1].lower()
        if part not in rules.parts:
            raise UsageError(f"--set {change}: {unknown_setting(part, '', set(rules.parts))}")
        parsed = _parsed(rules, change, f"[parts.{part}]\n{name} = {stated}").parts[part]
        return replace(
            rules, parts={**rules.parts, part: replace(rules.parts[part], **{name: getattr(parsed, name)})}
        )
    known = {item.name for item in fields(SiteRules)} - {
        "parts",
        "coverage",
        "events",
        "site_id",
        "time_zone",
        "currency",
    }
    if path or name not in known:
        raise UsageError(
            f"--set {change}: {unknown_setting(change.key, '', known | _OWN_KEYS | {'items', 'parts'})}"
        )
    return replace(rules, **{name: getattr(_parsed(rules, change, f"{name} = {stated}"), name)})


def _parsed(rules: SiteRules, change: Change, text: str) -> SiteRules:
    return parse_site_rules(f'time_zone = "{rules.time_zone}"\n{text}\n', f"--set {change}")


def _toml_value(value: str) -> str:
    if re.fullmatch(r"[+-]?\d+(\.\d+)?|true|false", value):
        return value
    return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
