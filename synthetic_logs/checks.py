"""Set-up checks: an invented list of steps in everyday words, which follows no maker's guide."""

from __future__ import annotations

import numpy as np
import polars as pl

from synthetic_logs.scenario import MINUTE, Scenario, Site
from synthetic_logs.stays import Leg

STEPS = ("unit looks clean", "new circuit on", "bag hung and full", "warm before use", "name on unit")


def setup_checks_table(scenario: Scenario, site: Site, legs: list[Leg]) -> pl.DataFrame:
    """Return the steps charted before each leg; wards that chart late leave more of them out."""
    generator = scenario.stream("setup", site.site_id)
    practice = {ward.name: ward.late_charting for ward in site.wards}
    rows = []
    for leg in legs:
        left_out = generator.random(len(STEPS)) < 0.04 + practice[leg.ward]
        minutes = np.sort(generator.integers(4, 45, len(STEPS)))[::-1]
        luck = generator.random(len(STEPS))
        for step, missing, minute, chance in zip(STEPS, left_out, minutes, luck, strict=True):
            if not missing:
                result = "done" if chance < 0.965 else "not_done" if chance < 0.99 else "failed"
                rows.append(
                    (leg.unit_id, leg.patient_ref, leg.started_at - int(minute) * MINUTE, step, result)
                )
    schema = {
        "unit_id": pl.String,
        "patient_ref": pl.String,
        "checked_at": pl.Int64,
        "step": pl.String,
        "result": pl.String,
    }
    return pl.DataFrame(rows, schema=schema, orient="row").sort("checked_at", "unit_id", "step")
