"""The columns of the published tables are those that the contract names, of types that every file format keeps."""

from __future__ import annotations

import pytest
from ward_records import episodes

from pipeline.measures.published import published_models

#: Beside site_id; a monthly table has ward and month too.
COLUMNS = {
    "patient_stays": "unit_id stay_no patient_key ward started_at ended_at overlapping",
    "part_spans": "ward unit_id part lot patient_key fitted_at ended_at end_evidence limit_at decided_at outcome"
    " in_place_h overrun_h due carried_over",
    "fresh_part_checks": "ward unit_id patient_key started_at part verdict",
    "disinfection_cycles": "unit_id started_at ended_at outcome duration_min a0_s hold_min valid invalid_reason"
    " cycle_count",
    "changeovers": "ward unit_id from_patient_key to_patient_key from_ended_at to_started_at gap_h proof",
    "exposure_chains": "unit_id chain_no position patient_key started_at ended_at",
    "turnarounds": "ward unit_id patient_key ended_at cycle_started_at reprocessed_at next_started_at status"
    " turnaround_h wait_h",
    "count_checks": "unit_id from_at to_at from_count to_count expected counted verdict",
    "therapy_days": "ward unit_id patient_key local_date basis therapy_h mean_flow_l_min water_modelled_ml"
    " low_humidity_h",
    "bag_runs": "unit_id hung_at volume_ml modelled_empty_at next_hung_at dry_therapy_min",
    "powered_runs": "ward unit_id powered_at ended_at first_dew_point_c target_reached_at warmup_min in_use_from"
    " in_use_before_target_min",
    "part_need": "ward unit_id stay_no patient_key part started_at needed used",
    "lots": "lot item_id part unit_id ward patient_key fitted_at ended_at",
    "worklist": "kind ward unit_id part patient_key due_at since_h",
}
MONTHLY_COLUMNS = {
    "part_cover_monthly": "part episode_h in_limit_h over_limit_h carried_over_h undocumented_h not_assessable_h"
    " cover_rate",
    "part_overrun_monthly": "part decided overrun due overrun_rate rate_low rate_high overrun_of_due_rate part_days"
    " overrun_days overrun_days_per_100_part_days carried_over_spans",
    "fresh_part_monthly": "part starts fresh carried_over no_record same_patient undecided not_assessable fresh_rate"
    " rate_low rate_high",
    "changeover_monthly": "changeovers disinfected counter_only expired storage_unproven invalid_cycle uncharted_use"
    " no_record undecided not_assessable overlap unprotected unprotected_rate rate_low rate_high",
    "turnaround_monthly": "ended reprocessed bypassed waiting withdrawn not_assessable median_h p90_h within_target"
    " wait_median_h",
    "water_monthly": "therapy_days device_days bags_hung water_hung_ml water_hung_ml_per_therapy_day"
    " water_modelled_ml water_modelled_ml_per_therapy_day hung_to_modelled dry_therapy_min",
    "count_check_monthly": "pairs agrees unrecorded uncounted rollback likely_misread not_assessable",
    "setup_monthly": "step starts starts_checked done done_rate checked_rate rate_low rate_high",
    "part_use_monthly": "part stays_started therapy_days fitted needed issued issued_to_fitted",
    "powered_run_monthly": "runs reached warmup_median_min warmup_p90_min in_use_before_target_min low_humidity_h",
    "fleet_monthly": "units_in_service mean_in_use peak_in_use mean_waiting mean_available",
}
#: Files keep these alike; a wider whole number would become a float in Parquet.
KEPT = {"VARCHAR", "BIGINT", "DOUBLE", "BOOLEAN", "TIMESTAMP", "DATE"}


@pytest.fixture
def described(computed) -> dict[str, dict[str, str]]:
    """Each published table's columns with their types, without the hidden ones."""
    connection = computed({"episodes": episodes("p1 | u1 | Alder | 03-01 08:00 |")})
    return {
        model.name: {
            name: kind
            for name, kind, *_ in connection.execute(f"describe {model.table}").fetchall()
            if name not in model.hidden
        }
        for model in published_models()
    }


def test_every_table_has_the_columns_of_the_contract(described):
    wanted = {name: {"site_id", *columns.split()} for name, columns in COLUMNS.items()}
    wanted |= {
        name: {"site_id", "ward", "month", *columns.split()} for name, columns in MONTHLY_COLUMNS.items()
    }
    assert {name: set(described[name]) for name in wanted} == wanted


def test_every_column_is_of_a_type_that_files_keep(described):
    assert {
        f"{table}.{column}": kind
        for table, columns in described.items()
        for column, kind in columns.items()
        if kind not in KEPT
    } == {}
