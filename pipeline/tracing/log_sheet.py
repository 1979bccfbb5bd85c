"""What stands on the printable log sheet for rounds without a terminal: the site's own steps and parts."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.store.layout import Store
from pipeline.tracing import subject
from pipeline.tracing.judge import known_at

#: A site's steps in the order in which its records first list them.
_STEPS = """
    select step from records.setup_checks where site_id = $site
    group by step order by min(checked_at), step
"""


@dataclass(frozen=True)
class LogSheet:
    """One unit's sheet; ``steps`` is empty where the site has recorded none yet."""

    site_id: str
    unit_id: str
    time_zone: str
    steps: tuple[str, ...]
    parts: tuple[str, ...]


def log_sheets(store: Store, unit_id: str | None, site: str | None = None) -> list[LogSheet]:
    """Return the sheet of a unit at each site that has it; without a unit, one with the name left free."""
    with known_at(store, None, site=site) as records:
        units = subject.unit(records, unit_id).units if unit_id else [(name, "") for name in records.sites]
        sheets = []
        for site_id, name in units:
            steps = records.connection.execute(_STEPS, {"site": site_id}).fetchall()
            rules = records.sites[site_id]
            sheets.append(
                LogSheet(
                    site_id,
                    name,
                    rules.time_zone,
                    tuple(step for (step,) in steps),
                    tuple(sorted(rules.parts)),
                )
            )
    return sheets
