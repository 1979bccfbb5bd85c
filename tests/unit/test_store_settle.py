import datetime
import random

import duckdb
import pytest
from store_rows import at, new_store, put, settled

from pipeline.records import TABLES, stored_name
from pipeline.store.settle import changes, settle

MARCH = [f"2026-03-{day:02d} 08:00" for day in range(1, 32)]


def sample(time, unit_id="007", flow=30.0, **more):
    return {"unit_id": unit_id, "sampled_at": at(time), "flow_l_min": flow, "phase": "in_use", **more}


def cycle(time, unit_id="007", outcome="passed", **more):
    return {"unit_id": unit_id, "started_at": at(time), "outcome": outcome, **more}


def listed(store):
    with duckdb.connect() as connection:
        return changes(connection, store)


def test_every_table_is_there_with_its_types_even_when_nothing_is_stored(tmp_path):
    with duckdb.connect() as connection:
        settle(connection, new_store(tmp_path))
        for name, table in TABLES.items():
            columns = connection.execute(f"describe settled.{name}").fetchall()
            expected = [
                "site_id",
                *(stored_name(column) for column in table.columns),
                "file_sha256",
                "source_row",
            ]
            assert [column[0] for column in columns] == expected
            assert connection.execute(f"select count(*) from settled.{name}").fetchone() == (0,)
        types = {row[0]: row[1] for row in connection.execute("describe settled.disinfections").fetchall()}
    assert (types["started_at"], types["cycle_count"], types["storage_protected"]) == (
        "TIMESTAMP",
        "BIGINT",
        "BOOLEAN",
    )


def test_only_canonical_tables_are_settled(tmp_path):
    with duckdb.connect() as connection:
        settle(connection, new_store(tmp_path))
        names = connection.execute(
            "select table_name from information_schema.tables where table_schema = 'settled'"
        ).fetchall()
    assert {name for (name,) in names} == set(TABLES)


@pytest.mark.parametrize("table", ["usage_samples", "disinfections"])
@pytest.mark.parametrize("order", ["ab", "ba"])
def test_the_later_export_wins_in_either_order(tmp_path, table, order):
    store = new_store(tmp_path)
    make, value = (sample, "flow_l_min") if table == "usage_samples" else (cycle, "outcome")
    old, new = {"flow_l_min": (1.0, 2.0), "outcome": ("failed", "passed")}[value]
    made = {
        "a": ([{**make(time), value: new} for time in MARCH[3:6]], "2026-04-02"),
        "b": ([{**make(time), value: old} for time in MARCH[0:5]], "2026-04-01"),
    }
    for letter in order:
        put(store, letter, table, *made[letter])
    rows = settled(store, table, value, "file_sha256[1:1]")
    assert sorted(rows, key=str) == sorted([(old, "b")] * 3 + [(new, "a")] * 3, key=str)


@pytest.mark.parametrize(
    ("of_a", "of_b", "winner"),
    [
        ("2026-04-01", None, "a"),
        (None, "2026-04-01", "b"),
        (None, None, "b"),
        ("2026-04-01", "2026-04-01", "b"),
        ("2026-04-01 00:00:01", "2026-04-01 00:00:00", "a"),
    ],
    ids=["no time loses", "a time wins", "larger hash", "same time: larger hash", "one second later"],
)
def test_who_wins(tmp_path, of_a, of_b, winner):
    store = new_store(tmp_path)
    put(store, "a", "disinfections", [cycle(MARCH[0])], of_a)
    put(store, "b", "disinfections", [cycle(MARCH[0], outcome="failed")], of_b)
    assert settled(store, "disinfections", "file_sha256[1:1]") == [(winner,)]


@pytest.mark.parametrize("table", ["usage_samples", "disinfections"])
def test_within_a_file_the_later_row_wins(tmp_path, table):
    store = new_store(tmp_path)
    make = sample if table == "usage_samples" else cycle
    put(store, "a", table, [make(MARCH[0]), make(MARCH[0]), make(MARCH[1])])
    assert settled(store, table, "source_row") == [(3,), (4,)]


def test_the_sources_own_number_is_the_key(tmp_path):
    """The moved row replaces the old one; two of one unit and start but other numbers stand."""
    store = new_store(tmp_path)
    put(
        store,
        "a",
        "disinfections",
        [cycle(MARCH[0], source_ref="N1"), cycle(MARCH[0], source_ref="N2")],
        "2026-04-01",
    )
    put(store, "b", "disinfections", [cycle(MARCH[5], source_ref=" n1")], "2026-04-02")
    rows = settled(store, "disinfections", "started_at", "trim(source_ref)")
    assert rows == [(at(MARCH[0]), "N2"), (at(MARCH[5]), "n1")]


def test_the_sources_own_number_counts_in_logs_too(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "usage_samples", [sample(MARCH[0], source_ref="1"), sample(MARCH[1], source_ref="2")])
    put(store, "b", "usage_samples", [sample("2026-04-05", source_ref="1")])
    assert settled(store, "usage_samples", "sampled_at") == [(at(MARCH[1]),), (at("2026-04-05"),)]


def test_a_part_is_the_units_or_else_the_patients(tmp_path):
    store = new_store(tmp_path)
    fitted = {"part": "circuit", "fitted_at": at(MARCH[0])}
    put(
        store,
        "a",
        "part_changes",
        [{"unit_id": "007", "patient_key": "p", **fitted}, {"patient_key": "p", **fitted}],
    )
    put(
        store,
        "b",
        "part_changes",
        [{"unit_id": "007", "patient_key": "q", **fitted}, {"patient_key": "q", **fitted}],
    )
    rows = settled(store, "part_changes", "coalesce(unit_id, '-')", "patient_key")
    assert rows == [("-", "p"), ("-", "q"), ("007", "q")]


def test_sites_have_nothing_to_do_with_each_other(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "disinfections", [cycle(MARCH[0])])
    put(store, "b", "disinfections", [{**cycle(MARCH[0]), "site_id": "WEST"}])
    assert settled(store, "disinfections", "site_id") == [("TARN",), ("WEST",)]


def test_identifiers_are_compared_without_regard_to_case(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "usage_samples", [sample(MARCH[0], "A7"), sample(MARCH[1], "A7")], "2026-04-01")
    put(store, "b", "usage_samples", [sample(MARCH[1], "a7", 9.0), sample(MARCH[2], "a7", 9.0)], "2026-04-02")
    rows = settled(store, "usage_samples", "unit_id", "flow_l_min")
    assert rows == [("A7", 30.0), ("A7", 9.0), ("A7", 9.0)]


def test_all_tables_spell_an_identifier_as_it_was_first_seen(tmp_path):
    """By key time, not by file: the samples are the earliest."""
    store = new_store(tmp_path)
    put(store, "a", "disinfections", [cycle(MARCH[5], "Ab1")])
    put(store, "b", "usage_samples", [sample(MARCH[4], "aB1")])
    put(store, "c", "count_readings", [{"unit_id": "AB1", "read_at": at(MARCH[6]), "cycle_count": 1}])
    for table in ("disinfections", "usage_samples", "count_readings"):
        assert settled(store, table, "unit_id") == [("aB1",)]


def test_the_units_register_has_the_last_word_on_its_own_spelling_only(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "units", [{"unit_id": "AB1", "ward": "ALDER"}])
    put(
        store,
        "b",
        "episodes",
        [{"patient_key": "p", "unit_id": "ab1", "ward": "Alder", "started_at": at(MARCH[0])}],
    )
    put(store, "c", "usage_samples", [sample(MARCH[0], "Ab1")])
    assert settled(store, "units", "unit_id", "ward") == [("AB1", "Alder")]
    assert settled(store, "episodes", "unit_id", "ward") == [("AB1", "Alder")]
    assert settled(store, "usage_samples", "unit_id") == [("AB1",)]


def test_a_spelling_that_many_tables_share_does_not_repeat_the_rows_of_a_log(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "units", [{"unit_id": "a7"}])
    put(store, "b", "disinfections", [cycle(MARCH[0], "A7")])
    put(store, "c", "usage_samples", [sample(MARCH[0], "A7"), sample(MARCH[1], "A7")])
    assert settled(store, "usage_samples", "unit_id", "source_row") == [("a7", 2), ("a7", 3)]


def test_each_site_spells_for_itself(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "disinfections", [cycle(MARCH[0], "ab1"), {**cycle(MARCH[0], "AB1"), "site_id": "WEST"}])
    put(store, "b", "disinfections", [cycle(MARCH[1], "AB1"), {**cycle(MARCH[1], "ab1"), "site_id": "WEST"}])
    rows = settled(store, "disinfections", "site_id", "unit_id")
    assert rows == [("TARN", "ab1"), ("TARN", "ab1"), ("WEST", "AB1"), ("WEST", "AB1")]


def test_of_two_spellings_at_one_instant_the_smaller_text_stands(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "disinfections", [cycle(MARCH[0], "ab1"), cycle(MARCH[1], "AB1")])
    put(store, "b", "count_readings", [{"unit_id": "AB1", "read_at": at(MARCH[0]), "cycle_count": 1}])
    assert settled(store, "disinfections", "unit_id") == [("AB1",), ("AB1",)]


@pytest.mark.parametrize("table", ["usage_samples", "disinfections"])
def test_a_window_takes_away_what_it_leaves_out_and_no_more(tmp_path, table):
    """Exactly on its first and last key time a row is within; one second outside it is not."""
    store = new_store(tmp_path)
    make = sample if table == "usage_samples" else cycle
    old = [
        "2026-03-02 07:59:59",
        "2026-03-02 08:00",
        "2026-03-03 08:00",
        "2026-03-04 08:00",
        "2026-03-04 08:00:01",
    ]
    put(store, "a", table, [make(time, "B2") for time in old], "2026-04-01")
    put(store, "b", table, [make(time) for time in (MARCH[1], MARCH[3])], "2026-04-02", replaces_window=True)
    time = TABLES[table].time
    rows = settled(store, table, "unit_id", time)
    assert rows == [("007", at(MARCH[1])), ("007", at(MARCH[3])), ("B2", at(old[0])), ("B2", at(old[-1]))]


@pytest.mark.parametrize("table", ["usage_samples", "disinfections"])
def test_a_window_takes_nothing_from_later_exports_or_other_sites(tmp_path, table):
    store = new_store(tmp_path)
    make = sample if table == "usage_samples" else cycle
    put(store, "a", table, [make(MARCH[2])], "2026-04-03")
    put(store, "c", table, [{**make(MARCH[2], "B2"), "site_id": "WEST"}], "2026-04-01")
    put(store, "b", table, [make(MARCH[1]), make(MARCH[3])], "2026-04-02", replaces_window=True)
    assert len(settled(store, table, "unit_id")) == 4


def test_what_a_withdrawn_row_had_corrected_does_not_come_back(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "disinfections", [cycle(MARCH[0], source_ref="1")], "2026-04-01")
    put(store, "b", "disinfections", [cycle(MARCH[9], source_ref="1")], "2026-04-02")
    put(
        store,
        "c",
        "disinfections",
        [cycle(MARCH[8], source_ref="2"), cycle(MARCH[10], source_ref="3")],
        "2026-04-03",
        replaces_window=True,
    )
    assert settled(store, "disinfections", "source_ref") == [("2",), ("3",)]


def test_a_window_of_a_register_replaces_all_of_it(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "units", [{"unit_id": "1"}, {"unit_id": "2"}], "2026-04-01")
    put(store, "b", "units", [{"unit_id": "2"}], "2026-04-02", replaces_window=True)
    assert settled(store, "units", "unit_id") == [("2",)]


def test_changes_list_what_differs_and_who_said_so(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "disinfections", [cycle(MARCH[0], "a7", cycle_count=1), cycle(MARCH[1])], "2026-04-01")
    put(
        store,
        "b",
        "disinfections",
        [cycle(MARCH[1]), cycle(MARCH[0], "A7", "failed", ended_at=at("2026-03-01 09:00"), cycle_count=1)],
        "2026-04-02",
    )
    key = "unit_id=A7, started_at=2026-03-01T08:00:00Z"
    assert listed(store).rows() == [
        ("disinfections", "TARN", key, "ended_at", None, "2026-03-01T09:00:00Z", "bb.csv", 3),
        ("disinfections", "TARN", key, "outcome", "passed", "failed", "bb.csv", 3),
    ]


def test_changes_of_logs_and_withdrawals_are_listed_and_nothing_else_is(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "usage_samples", [sample(time) for time in MARCH[:4]], "2026-04-01")
    put(store, "b", "usage_samples", [sample(MARCH[1]), sample(MARCH[3], flow=9.0)], "2026-04-02", True)
    found = listed(store).select("key", "column", "old", "new").rows()
    assert found == [
        ("unit_id=007, sampled_at=2026-03-03T08:00:00Z", "*", "recorded", "withdrawn"),
        ("unit_id=007, sampled_at=2026-03-04T08:00:00Z", "flow_l_min", "30.0", "9.0"),
    ]


def test_no_changes_are_an_empty_list(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "units", [{"unit_id": "1"}])
    assert listed(store).height == 0


def test_a_connection_locked_to_the_store_can_settle(tmp_path):
    (tmp_path / "it's [a] * store?").mkdir()
    store = new_store(tmp_path / "it's [a] * store?")
    put(store, "a", "usage_samples", [sample(MARCH[0])])
    with duckdb.connect() as connection:
        connection.execute("set allowed_directories = ['" + str(store.root).replace("'", "''") + "']")
        connection.execute("set enable_external_access = false")
        connection.execute("set lock_configuration = true")
        settle(connection, store)
        assert connection.execute("select count(*) from settled.usage_samples").fetchone() == (1,)
        assert changes(connection, store).height == 0


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("table", ["usage_samples", "disinfections"])
def test_random_files_settle_as_a_slow_account_of_the_rules_has_it(tmp_path, table, seed):
    store = new_store(tmp_path)
    files = random_files(table, random.Random(seed))
    for letter, rows, exported_at, replaces_window in files:
        put(store, letter, table, rows, exported_at, replaces_window)
    names = ["upper(unit_id)", TABLES[table].time, "file_sha256[1:1]", "source_row"]
    assert settled(store, table, *names) == slowly_settled(TABLES[table].time, files)


def random_files(table, chance):
    make = sample if table == "usage_samples" else cycle
    files = []
    for letter in chance.sample("abcdef", chance.randint(2, 5)):
        start, length = chance.randint(0, 40), chance.randint(1, 25)
        times = [
            at("2026-03-20") + datetime.timedelta(days=start + step % 30, hours=step)
            for step in range(length)
        ]
        units = chance.choice([["7"], ["7", "8"], ["a", "A"], ["b"]])
        rows = [make(str(time), chance.choice(units)) for time in times if chance.random() < 0.8]
        if chance.random() < 0.3:
            rows += chance.sample(rows, len(rows) // 2)
        exported_at = chance.choice([None, "2026-06-01", "2026-06-02"])
        files.append((letter, rows, exported_at, chance.random() < 0.4))
    return files


def slowly_settled(time, files):
    """One row at a time, sharing no code: the latest row of a key, unless a later window leaves it out."""
    standing = {}
    for letter, rows, exported_at, _ in files:
        for number, row in enumerate(rows, start=2):
            rank = (exported_at or "", letter, number)
            key = (row["unit_id"].upper(), row[time])
            standing[key] = max(standing.get(key, rank), rank)
    spans = [
        (exported_at or "", letter, min(row[time] for row in rows), max(row[time] for row in rows))
        for letter, rows, exported_at, replaces_window in files
        if replaces_window and rows
    ]
    return sorted(
        (
            (unit_id, instant, letter, number)
            for (unit_id, instant), (exported_at, letter, number) in standing.items()
            if not any(
                (exported_at, letter) < span[:2] and letter != span[1] and span[2] <= instant <= span[3]
                for span in spans
            )
        ),
        key=str,
    )
