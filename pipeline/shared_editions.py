"""What shared editions of a month have shown before, from the record of what left."""

from __future__ import annotations

from pipeline.store import audit
from pipeline.store.layout import Store

#: How the audit names an edition that left the team.
SHARED = "report --shared"

#: By site and measure: hashes of what was shown of the wards, and whether anything was hidden in it.
Earlier = dict[str, dict[str, list[tuple[str, bool]]]]


def earlier_editions(store: Store, month: str) -> Earlier:
    """Return what was shown of a month's wards so far, whichever profile hid the small counts."""
    found: Earlier = {}
    for line in audit.recorded(store, SHARED):
        if line["month"] != month:
            continue
        for site, wards in line["wards"].items():
            for measure, (shown, hid) in wards.items():
                found.setdefault(site, {}).setdefault(measure, []).append((shown, hid))
    return found
