"""The tables agree with a recount in plain Python that shares nothing with the SQL but the rules."""

from __future__ import annotations

from collections import Counter

from hypothesis import HealthCheck, given, settings
from random_wards import AS_OF, LOGGED_WARDS, RULES, WARDS, as_tables, instant, site
from recount_cover import cover_minutes
from recount_episodes import effective_episodes, stays
from recount_therapy import therapy
from recount_units import chains, changeovers, turnarounds

few = settings(
    max_examples=8,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
AS_OF_TEXT = str(instant(AS_OF)).removeprefix("2026-")


def _at(minutes):
    return None if minutes is None else instant(minutes)


@few
@given(wards=WARDS)
def test_effective_episodes_and_stays(computed, wards):
    connection = computed(
        as_tables(wards), AS_OF_TEXT, tables=("facts.patient_stays", "occupancy.effective_episodes")
    )
    assert connection.execute(
        "select site_id, patient_key, unit_id, ward, started_at, ended_at, overlapping"
        " from occupancy.effective_episodes order by site_id, unit_id, started_at, patient_key"
    ).fetchall() == [
        (site(number), row.patient, row.unit, row.ward, _at(row.start), _at(row.end), row.overlapping)
        for number, ward in enumerate(wards)
        for row in sorted(effective_episodes(ward), key=lambda row: (row.unit, row.start, row.patient))
    ]
    assert connection.execute(
        "select site_id, stay_no, patient_key, unit_id, ward, started_at, ended_at, overlapping"
        " from facts.patient_stays order by site_id, unit_id, stay_no"
    ).fetchall() == [
        (site(number), stay_no, row.patient, unit, row.ward, _at(row.start), _at(row.end), row.overlapping)
        for number, ward in enumerate(wards)
        for unit in ("u1", "u2")
        for stay_no, row in enumerate(stays(ward, unit), 1)
    ]


@few
@given(wards=WARDS)
def test_part_cover_ten_minutes_by_ten_minutes(computed, wards):
    connection = computed(as_tables(wards), AS_OF_TEXT, RULES, tables=("measures.part_cover_monthly",))
    kinds = ("in_limit", "over_limit", "carried_over", "undocumented", "not_assessable")
    columns = ", ".join(f"cast(round({kind}_h * 60) as bigint)" for kind in kinds)
    rows = connection.execute(
        f"select site_id, ward, month, part, {columns} from measures.part_cover_monthly where ward <> '*'"
    ).fetchall()
    found = Counter(
        {(*row[:4], kind): minutes for row in rows for kind, minutes in zip(kinds, row[4:], strict=True)}
    )
    wanted = Counter(
        {
            (site(number), *key): minutes
            for number, ward in enumerate(wards)
            for key, minutes in cover_minutes(ward).items()
        }
    )
    assert +found == +wanted


@few
@given(wards=WARDS)
def test_changeovers_turnarounds_and_chains(computed, wards):
    tables = ("facts.changeovers", "facts.turnarounds", "facts.exposure_chains")
    connection = computed(as_tables(wards), AS_OF_TEXT, tables=tables)
    found = connection.execute(
        "select site_id, unit_id, from_patient_key, to_patient_key, to_started_at, proof from facts.changeovers"
    ).fetchall()
    assert Counter(found) == Counter(
        (site(number), row.unit, row.before.patient, row.after.patient, _at(row.after.start), row.proof)
        for number, ward in enumerate(wards)
        for row in changeovers(ward)
    )
    found = connection.execute(
        "select site_id, unit_id, patient_key, ended_at, status, cast(round(turnaround_h * 60) as bigint)"
        " from facts.turnarounds"
    ).fetchall()
    assert Counter(found) == Counter(
        (site(number), stay.unit, stay.patient, _at(stay.end), status, minutes)
        for number, ward in enumerate(wards)
        for stay, status, minutes in turnarounds(ward)
    )
    found = connection.execute(
        "select site_id, unit_id, chain_no, position, patient_key from facts.exposure_chains"
    ).fetchall()
    assert Counter(found) == Counter(
        (site(number), *row) for number, ward in enumerate(wards) for row in chains(ward)
    )


@few
@given(wards=LOGGED_WARDS)
def test_therapy_minute_by_minute(computed, wards):
    rules = 'time_zone = "Europe/Dublin"'
    connection = computed(as_tables(wards), AS_OF_TEXT, rules, tables=("facts.therapy_days",))
    rows = connection.execute(
        "select site_id, ward, unit_id, patient_key, local_date, basis, cast(round(therapy_h * 60) as bigint),"
        " cast(round(therapy_h * 60 * coalesce(mean_flow_l_min, 0)) as bigint) from facts.therapy_days"
    ).fetchall()
    wanted = [
        (site(number), *key, minutes, litres[key])
        for number, ward in enumerate(wards)
        for minute_counts, litres in [therapy(ward)]
        for key, minutes in minute_counts.items()
    ]
    assert Counter(rows) == Counter(wanted)
