"""Every slip planted in the invented hospitals is found, and none that was not planted."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import pytest
from truth import found, unmet

from pipeline.store.ledger import entries

if TYPE_CHECKING:
    from conftest import Hospitals

SITES = ("TARN-N", "TARN-S")


@pytest.mark.parametrize("site", SITES)
def test_each_planted_slip_is_found(hospitals: Hospitals, site: str) -> None:
    slips = hospitals.truth["sites"][site]["slips"]
    assert len(slips) > 20
    assert unmet(slips, found(hospitals.store, hospitals.published, site)) == []


@pytest.mark.parametrize("site", SITES)
def test_a_slip_that_was_not_made_is_not_seen(hospitals: Hospitals, site: str) -> None:
    slips = hospitals.truth["sites"][site]["slips"]
    tables = found(hospitals.store, hospitals.published, site)
    # Some slips show in more than one table: a carried-over circuit means that no cycle came between.
    planted = {
        proof: len(
            {
                (expected["where"]["unit_id"], expected["where"]["to_started_at"])
                for slip in slips
                for expected in slip["expect"]
                if expected["table"] == "changeovers" and expected["values"].get("proof") == proof
            }
        )
        for proof in ("no_record", "invalid_cycle", "uncharted_use", "counter_only", "expired", "overlap")
    }
    seen = Counter(row["proof"] for row in tables["changeovers"])
    assert {proof: seen[proof] for proof in planted} == planted
    late = sum(1 for slip in slips if slip["slip"] in ("late_change", "missed_change"))
    assert sum(row["outcome"] == "overrun" for row in tables["part_spans"]) == late


def test_every_row_of_every_file_is_accounted_for(hospitals: Hospitals) -> None:
    ledger = entries(hospitals.store)
    assert len(ledger) == len(list(hospitals.exports.glob("*/*.csv")))
    for entry in ledger:
        told = entry.accepted + entry.duplicates + entry.skipped + entry.quarantined
        assert entry.rows_read == told
    read = sum(entry.rows_read for entry in ledger)
    written = sum(sum(1 for _ in path.open("rb")) - 1 for path in hospitals.exports.glob("*/*.csv"))
    assert read == written
