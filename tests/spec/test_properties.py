"""What must hold of every ward, whatever its records."""

from __future__ import annotations

import random
from dataclasses import replace

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from random_wards import AS_OF, LOGGED_WARDS, RULES, WARDS, Episode, Fitting, as_tables, instant, site

from pipeline.measures.published import check_invariants, published_models

few = settings(
    max_examples=3,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
AS_OF_TEXT = str(instant(AS_OF)).removeprefix("2026-")
#: Counted over the whole site, these are less than the sum over wards: a patient may be on two.
NOT_SUMS = {"device_days", "peak_in_use"}


def _published(connection):
    return {
        model.table: connection.execute(f"select * from {model.table} order by all nulls first").fetchall()
        for model in published_models()
    }


@few
@given(wards=LOGGED_WARDS, seed=st.integers(0, 999))
def test_the_order_of_the_records_changes_no_published_table(computed, wards, seed):
    tables = as_tables(wards)
    shuffled = {}
    for name, text in tables.items():
        columns, *rows = text.splitlines()
        random.Random(seed).shuffle(rows)
        shuffled[name] = "\n".join((columns, *rows))
    assert _published(computed(shuffled, AS_OF_TEXT, RULES)) == _published(
        computed(tables, AS_OF_TEXT, RULES)
    )


@few
@given(wards=LOGGED_WARDS)
def test_the_tables_do_not_contradict_each_other(computed, wards):
    check_invariants(computed(as_tables(wards), AS_OF_TEXT, RULES))


@few
@given(wards=LOGGED_WARDS)
def test_whole_numbers_of_the_wards_add_up_to_the_site(computed, wards):
    connection = computed(as_tables(wards), AS_OF_TEXT, RULES)
    for model in published_models():
        if model.layer != "measures":
            continue
        kinds = dict(
            connection.execute(f"select name, type from pragma_table_info('{model.table}')").fetchall()
        )
        keys = ", ".join(sorted(kinds.keys() & {"site_id", "month", "part", "step"}))
        for count in sorted(
            name for name, kind in kinds.items() if kind == "BIGINT" and name not in NOT_SUMS
        ):
            of_site, of_wards = (
                f"coalesce(sum({count}) filter (where ward is {distinct} from '*'), 0)"
                for distinct in ("not distinct", "distinct")
            )
            torn = f"select {keys} from {model.table} group by all having {of_site} <> {of_wards}"
            assert connection.execute(torn).fetchall() == [], f"{model.table}.{count}"


@few
@given(wards=WARDS)
def test_one_more_part_used_within_its_limit_adds_no_overrun_and_raises_no_rate(computed, wards):
    assume(any(ward.fittings for ward in wards))

    def overruns(of):
        rows = computed(as_tables(of), AS_OF_TEXT, RULES, tables=("measures.part_overrun_monthly",)).execute(
            "select site_id, month, overrun, decided, coalesce(overrun_rate, 0) from measures.part_overrun_monthly"
            " where ward = '*' and part = 'circuit'"
        )
        return {row[:2]: row[2:] for row in rows.fetchall()}

    with_one_more = []
    for ward in wards:
        at = [fitting.at for fitting in ward.fittings[:1]]  # in a month that is covered already
        with_one_more.append(
            replace(
                ward,
                episodes=ward.episodes + [Episode("p9", "u9", "Alder", start, start + 60) for start in at],
                fittings=ward.fittings + [Fitting("u9", None, "circuit", start, start + 30) for start in at],
            )
        )
    before, after = overruns(wards), overruns(with_one_more)
    assert sum(decided for _, decided, _ in after.values()) == sum(
        decided for _, decided, _ in before.values()
    ) + sum(bool(ward.fittings) for ward in wards)
    for key, (overrun, _, rate) in after.items():
        assert overrun == before.get(key, (0, 0, 0))[0]
        assert rate <= before.get(key, (0, 0, 0))[2]
    assert {key[0] for key in after} <= {site(number) for number in range(len(wards))}
