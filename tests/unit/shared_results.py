"""Published results for shared editions: wards that add up to their site, and canaries in every list of cases."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from report_results import MONTH, SITE, Rows, busy_month, changeovers, overruns, published

from pipeline.disclosure import PROFILES, Left, Profile
from pipeline.findings import findings
from pipeline.findings.shared import SharedEdition, shared_edition
from pipeline.findings.source import Source

ROUNDING, EXACT = PROFILES["hide_1_7_round_5"], PROFILES["hide_1_10"]

#: Names that stand in each case of the month and must never leave.
CANARY_UNIT, CANARY_KEY = "canary-unit", "canarykey" * 3

#: By ward: a count and its total.
Wards = dict[str, tuple[int, int]]


def site_of(wards: Wards) -> tuple[int, int]:
    """The site's count and total."""
    counts, totals = zip(*wards.values(), strict=True)
    return sum(counts), sum(totals)


def edition(
    folder: Path, tables: dict[str, Rows], profile: Profile = ROUNDING, earlier: Sequence[Left] = ()
) -> SharedEdition:
    """Return the shared edition of results made of these rows."""
    results = published(folder, tables)
    found = findings(results, [], [], SITE, MONTH)
    source = Source(results, SITE, MONTH)
    return shared_edition(found, source, profile, earlier, is_poor=False)


def results_of(overrun: Wards, unprotected: Wards, before: int = 11) -> dict[str, Rows]:
    """Return a month of two measures by ward after as many months without a case, and cases full of canaries."""
    return {
        "part_overrun_monthly": [
            *overruns([(0, 120)] * before + [site_of(overrun)]),
            *(row for ward, pair in overrun.items() for row in overruns([pair], ward=ward)),
        ],
        "changeover_monthly": [
            *changeovers([(0, 90)] * before + [site_of(unprotected)]),
            *(row for ward, pair in unprotected.items() for row in changeovers([pair], ward=ward)),
        ],
    } | cases(len(overrun))


def cases(number: int) -> dict[str, Rows]:
    """Return a list of cases of each kind, with canaries for units and patients."""
    kinds = busy_month()
    lists = ("changeovers", "exposure_chains", "turnarounds", "count_checks", "bag_runs", "fresh_part_checks")
    return {name: [_planted(row) for row in kinds[name]] * number for name in lists} | {
        "therapy_days": [therapy_day(number, patient) for patient in range(20)]
    }


def therapy_day(number: int, patient: int, ward: str = "Alder") -> dict[str, Any]:
    """Return one patient's therapy of a day of the month."""
    return {
        "ward": ward, "unit_id": CANARY_UNIT, "patient_key": f"{CANARY_KEY}{patient}", "therapy_h": 1.0 + number,
        "local_date": date(2026, 10, 2), "basis": "episode",
    }  # fmt: skip


def _planted(row: dict[str, Any]) -> dict[str, Any]:
    """Return a case with canaries in the place of its unit and its patients."""
    keys = {name: CANARY_KEY for name in row if name.endswith("patient_key")}
    return row | keys | ({"unit_id": CANARY_UNIT} if "unit_id" in row else {})
