"""What a site declares to have happened: ``[[events]]`` of ``site.toml``, such as a change of practice."""

from __future__ import annotations

import datetime
import difflib
from dataclasses import dataclass, fields
from typing import Any

#: What a site may declare to have happened.
EVENT_KINDS = ("change", "ward_closed", "ward_opened")

#: The measures that are charted; a change may name those that it is about.
CHARTED_MEASURES = (
    "part_cover", "overrun_of_due", "fresh_parts", "unprotected_changeovers", "turnaround",
    "water_per_therapy_day", "setup_steps", "count_agreement",
)  # fmt: skip


@dataclass(frozen=True)
class SiteEvent:
    """A change whose effect is looked for, or a ward that closed or opened, from local midnight of a day.

    A ``change`` without a ``ward`` is of the whole site, and without ``measures`` about all of them. A ward
    that opens and has no history yet may name the ``stays_per_month`` that planning is to expect of it.
    """

    kind: str
    on: datetime.date
    what: str = ""
    ward: str | None = None
    measures: tuple[str, ...] = ()
    stays_per_month: float = 0


_KEYS = {item.name for item in fields(SiteEvent)}
_NEEDED = {"change": "what", "ward_closed": "ward", "ward_opened": "ward"}


def parse_events(stated: Any, faults: list[str]) -> tuple[SiteEvent, ...]:
    """Return the declared events in order of time; an event with a fault is left out."""
    if not isinstance(stated, list) or not all(isinstance(item, dict) for item in stated):
        faults.append("[[events]]: each event needs its own table under [[events]].")
        return ()
    events = []
    for number, item in enumerate(stated, 1):
        found = _event_faults(item, f"[[events]] number {number}: ")
        faults += found
        if not found:
            measures = tuple(sorted(set(item.get("measures", ()))))
            texts = {key: item[key].strip() for key in ("what", "ward") if key in item}
            stays = float(item.get("stays_per_month", 0))
            events.append(
                SiteEvent(item["kind"], item["on"], measures=measures, stays_per_month=stays, **texts)
            )
    return tuple(sorted(events, key=lambda event: (event.on, event.kind, event.ward or "", event.what)))


def _event_faults(item: dict[str, Any], where: str) -> list[str]:
    faults = [unknown_setting(key, where, _KEYS) for key in item if key not in _KEYS]
    kind, measures = item.get("kind"), item.get("measures", [])
    if kind not in EVENT_KINDS:
        faults.append(f"{where}'kind' must be one of {', '.join(EVENT_KINDS)}.")
    elif _NEEDED[kind] not in item:
        faults.append(f"{where}a {kind} needs '{_NEEDED[kind]}'.")
    if type(item.get("on")) is not datetime.date:
        faults.append(f"{where}'on' must be a date such as 2026-04-01, without quotes.")
    for key in sorted({"what", "ward"} & item.keys()):
        if not isinstance(item[key], str) or not item[key].strip():
            faults.append(f"{where}'{key}' must be some text.")
    if "stays_per_month" in item and not _is_number_of_stays(kind, item["stays_per_month"]):
        faults.append(f"{where}'stays_per_month' belongs to a ward_opened and must be a number above 0.")
    if not isinstance(measures, list) or not all(isinstance(name, str) for name in measures):
        faults.append(f"{where}'measures' must be a list such as [\"turnaround\"].")
    else:
        known = set(CHARTED_MEASURES)
        faults += [
            unknown_setting(name, f"{where}measures: ", known) for name in measures if name not in known
        ]
    return faults


def _is_number_of_stays(kind: Any, stays: Any) -> bool:
    is_number = isinstance(stays, int | float) and not isinstance(stays, bool)
    return kind == "ward_opened" and is_number and 0 < stays < 1e6


def unknown_setting(key: str, where: str, known: set[str]) -> str:
    """Say that a setting is unknown, and which one may have been meant."""
    close = difflib.get_close_matches(key, sorted(known), n=1)
    hint = f" Did you mean '{close[0]}'?" if close else f" Known: {', '.join(sorted(known))}."
    return f"{where}unknown setting '{key}'.{hint}"
