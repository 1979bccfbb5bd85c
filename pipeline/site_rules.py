"""A site's rules (contract section 3): ``site.toml`` read into frozen dataclasses, every fault named at once."""

from __future__ import annotations

import datetime
import tomllib
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pipeline.errors import UsageError
from pipeline.records import PARTS, TABLES
from pipeline.site_events import SiteEvent, parse_events, unknown_setting

CLOCKS = ("elapsed", "calendar")
FOLLOWS = ("unit", "patient")
_CHOICES = {
    "counter_counts": ("passed", "all"),
    "flow_reference": ("btps", "atpd", "stpd"),
    "disinfection_heat": ("moist", "dry"),
    "signal_rules": ("limits_and_runs", "western_electric", "nelson_1984"),
}


@dataclass(frozen=True)
class PartRule:
    """How long one kind of disposable may stay, and what it stays with."""

    part: str
    max_days: float | None = None
    per_patient: bool = True
    clock: str = "elapsed"
    follows: str = "unit"


#: The parts that every site has, with the contract's defaults.
DEFAULT_PARTS = {
    part: PartRule(part, max_days=7, follows="patient" if part == "interface" else "unit") for part in PARTS
}


@dataclass(frozen=True)
class SiteRules:
    """One site's own policy; the names and defaults are those of contract section 3."""

    site_id: str = ""
    time_zone: str = ""
    currency: str = ""
    parts: dict[str, PartRule] = field(default_factory=lambda: dict(DEFAULT_PARTS))
    coverage: dict[str, tuple[str, ...]] = field(default_factory=dict)
    grace_h: float = 0
    charting_slack_min: float = 120
    prep_window_h: float = 24
    stay_gap_h: float = 24
    clock_slack_min: float = 10
    uncharted_use_min: float = 10
    turnaround_target_h: float = 24
    min_cycle_min: float | None = None
    max_storage_days: float | None = None
    min_a0_s: float | None = None
    disinfection_heat: str | None = None
    hold_c: float | None = None
    hold_min: float | None = None
    require_storage_proof: bool = False
    counter_counts: str = "passed"
    census_time: datetime.time = datetime.time(12)
    max_sample_gap_min: float = 10
    target_dew_point_c: float = 37
    flow_reference: str = "btps"
    room_c: float | None = None
    pressure_kpa: float = 101.325
    inlet_humidity_mg_l: float = 0
    bag_volume_ml: float = 2000
    bag_usable_fraction: float = 1.0
    baseline_from: str | None = None
    baseline_to: str | None = None
    max_quarantined_pct: float = 1
    signal_rules: str = "limits_and_runs"
    events: tuple[SiteEvent, ...] = ()

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.time_zone)


_SPECIAL = {"parts", "coverage", "events"}
_PLAIN = {item.name: item for item in fields(SiteRules) if item.name not in _SPECIAL}
_PART_KEYS = {item.name for item in fields(PartRule)} - {"part"}
_TEXT = {"site_id", "time_zone", "currency", "baseline_from", "baseline_to", *_CHOICES}
_MONTHS = {"baseline_from", "baseline_to"}
_ABOVE_ZERO = {"max_sample_gap_min", "bag_volume_ml", "bag_usable_fraction", "max_days", "pressure_kpa"}


def load_site_rules(path: Path) -> SiteRules:
    """Read a rules file; raise one UsageError that names every fault in it, with what was meant."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise UsageError(f"{path}: cannot read the rules: {reason}. Name an existing TOML file.") from error
    return parse_site_rules(text, str(path))


def parse_site_rules(text: str, name: str = "site.toml") -> SiteRules:
    """Turn the text of a rules file into rules; see `load_site_rules`."""
    try:
        stated = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{name}: not a TOML file: {error}.") from error
    faults: list[str] = []
    values: dict[str, Any] = {}
    for key, value in stated.items():
        if key == "parts":
            values[key] = _parts(value, faults)
        elif key == "coverage":
            values[key] = _coverage(value, faults)
        elif key == "events":
            values[key] = parse_events(value, faults)
        elif key in _PLAIN:
            values[key] = _value(key, value, faults)
        else:
            faults.append(unknown_setting(key, "", {*_PLAIN, *_SPECIAL}))
    if not faults:
        faults += _contradictions(SiteRules(**values))
    if faults:
        raise UsageError("\n".join(f"{name}: {fault}" for fault in faults))
    return SiteRules(**values)


def _value(key: str, value: Any, faults: list[str], where: str = "") -> Any:
    """Return the value in its own type, or note why it cannot be one."""
    wanted = None
    if key == "census_time":
        if isinstance(value, datetime.time):
            return value
        try:
            return datetime.time.fromisoformat(value)
        except (TypeError, ValueError):
            wanted = "a time of day such as 12:00"
    elif key in ("require_storage_proof", "per_patient"):
        wanted = None if isinstance(value, bool) else "true or false"
    elif key in ("clock", "follows", *_CHOICES):
        choices = {"clock": CLOCKS, "follows": FOLLOWS, **_CHOICES}[key]
        wanted = None if value in choices else "one of " + ", ".join(choices)
    elif key in _MONTHS:
        wanted = None if _is_month(value) else "a month such as '2026-04'"
    elif key in _TEXT:
        wanted = None if isinstance(value, str) and value.strip() else "some text"
    elif isinstance(value, bool) or not isinstance(value, int | float):
        wanted = "a number"
    elif not 0 <= value < 1e9 or (key in _ABOVE_ZERO and value == 0):
        wanted = "a number above 0" if key in _ABOVE_ZERO else "a number of at least 0"
    if wanted:
        faults.append(f"{where}'{key}' is {value!r}; it must be {wanted}.")
    return value.strip() if isinstance(value, str) else value


def _is_month(value: Any) -> bool:
    try:
        return isinstance(value, str) and len(value) == 7 and bool(datetime.date.fromisoformat(f"{value}-01"))
    except ValueError:
        return False


def _parts(stated: Any, faults: list[str]) -> dict[str, PartRule]:
    parts = dict(DEFAULT_PARTS)
    if not isinstance(stated, dict) or not all(isinstance(item, dict) for item in stated.values()):
        faults.append("[parts]: each part needs its own table, such as [parts.circuit].")
        return parts
    for name, settings in stated.items():
        part, where = name.strip().lower(), f"[parts.{name}] "
        faults += [unknown_setting(key, where, _PART_KEYS) for key in settings if key not in _PART_KEYS]
        known = {key: _value(key, item, faults, where) for key, item in settings.items() if key in _PART_KEYS}
        parts[part] = replace(parts.get(part, PartRule(part)), **known)
        days = parts[part].max_days
        if parts[part].clock == "calendar" and isinstance(days, float) and not days.is_integer():
            faults.append(f"{where}'max_days' is {days}; by the calendar clock it must be whole days.")
    return parts


def _coverage(stated: Any, faults: list[str]) -> dict[str, tuple[str, ...]]:
    timed = {name for name, table in TABLES.items() if table.time}
    coverage: dict[str, tuple[str, ...]] = {}
    if not isinstance(stated, dict):
        faults.append('[coverage]: write a table of months, such as disinfections = ["2026-04"].')
        return coverage
    for table, months in stated.items():
        if table not in timed:
            faults.append(unknown_setting(table, "[coverage] ", timed))
        elif not isinstance(months, list) or not all(_is_month(month) for month in months):
            faults.append(f"[coverage] '{table}' must be a list of months such as [\"2026-04\"].")
        else:
            coverage[table] = tuple(sorted(set(months)))
    return coverage


def _contradictions(rules: SiteRules) -> list[str]:
    faults = []
    if not rules.time_zone:
        faults.append("'time_zone' is missing; name an IANA zone such as 'Europe/Dublin'.")
    else:
        try:
            ZoneInfo(rules.time_zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            faults.append(
                f"'time_zone' is '{rules.time_zone}', which is no IANA zone such as 'Europe/Dublin'."
            )
    if rules.min_a0_s is not None and rules.disinfection_heat != "moist":
        faults.append(
            "'min_a0_s' is set, but A0 is defined for moist heat only; "
            'set disinfection_heat = "moist" if that is what the cycle uses, or use hold_c with hold_min.'
        )
    if (rules.hold_c is None) != (rules.hold_min is None):
        faults.append("'hold_c' and 'hold_min' go together; set both or neither.")
    if rules.flow_reference == "atpd" and rules.room_c is None:
        faults.append("flow_reference = 'atpd' needs the room's temperature, 'room_c'.")
    if rules.bag_usable_fraction > 1:
        faults.append("'bag_usable_fraction' is a share of the bag and may not exceed 1.")
    if rules.max_sample_gap_min > 720:
        faults.append("'max_sample_gap_min' may not exceed 720 (half a day).")
    if rules.baseline_from and rules.baseline_to and rules.baseline_from > rules.baseline_to:
        faults.append("'baseline_from' lies after 'baseline_to'.")
    return faults
