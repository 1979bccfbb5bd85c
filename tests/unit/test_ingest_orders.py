"""However the same records are split into exports, and in whatever order these come, the same rows stand.

Which rows these are is told by a few lines of Python that go through the exports in the order of their times.
"""

from __future__ import annotations

import datetime
import os
import random

import duckdb
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from ingest_rows import RULES, new_folder, read_text, store_of

from pipeline.corrections import corrections, in_words
from pipeline.records import TABLES, stored_name
from pipeline.store.keys import patient_key
from pipeline.store.settle import settle

#: The columns that the records of these tests have; a record is one version of a row, as of one export.
COLUMNS = {
    "units": ("unit_id", "ward"),
    "episodes": ("patient_ref", "unit_id", "ward", "started_at", "ended_at"),
    "part_changes": ("source_ref", "unit_id", "patient_ref", "part", "fitted_at", "removed_at", "lot"),
    "usage_samples": ("unit_id", "sampled_at", "flow_l_min", "phase"),
    "patient_merges": ("old_ref", "new_ref"),
}
UNITS, REFERENCES = ["A7", "a7", "007"], ["p1", "P1", "p2", "p3"]
SITE, KEY = "TARN", "0" * 64
HOURS = [f"2026-03-0{day}T08:00:00Z" for day in range(1, 5)]
WORDS = {
    "unit_id": UNITS,
    "ward": ["Alder", "ALDER", "Birch"],
    "patient_ref": REFERENCES,
    "old_ref": REFERENCES,
    "new_ref": REFERENCES,
    "source_ref": ["", "R1", "r1", "R2"],
    "part": ["circuit", "water_bag"],
    "lot": ["", "C1", "c1"],
    "flow_l_min": ["30", "40"],
    "phase": ["in_use", "off"],
    "removed_at": ["", "2026-03-06T08:00:00Z"],
    "ended_at": ["", "2026-03-06T08:00:00Z", "2026-03-07T08:00:00Z"],
}
#: Each example is a dozen ingests: a few in every run, more when asked for, and none spent on a smaller failure.
EXAMPLES = 10 * int(os.environ.get("DEWLEDGER_FUZZ", "1"))
QUICK = (Phase.explicit, Phase.generate)
EXPORTED = datetime.datetime(2026, 4, 1)


def records_of(table):
    # A fitting may name its patient only.
    words = {**WORDS, "unit_id": ["", *UNITS] if table == "part_changes" else UNITS}
    words = [st.sampled_from(words.get(name, HOURS)) for name in COLUMNS[table]]
    return st.tuples(st.just(table), st.tuples(*words))


RECORDS = st.lists(st.one_of(*map(records_of, COLUMNS)), min_size=4, max_size=12)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("DEWLEDGER_KEY", KEY)  # all stores hide a patient behind the same key
    return new_folder(tmp_path, monkeypatch)


def new_place(tmp_path_factory):
    place = tmp_path_factory.mktemp("run") / "in"
    place.mkdir()
    (place.parent / "site.toml").write_text(RULES)
    return place


def exports(records, chance):
    """Split records into files at random, some told twice; each record has an export time of its own."""
    files = {}
    for number, (table, values) in enumerate(records):
        exported = (EXPORTED + datetime.timedelta(minutes=number)).isoformat()
        line = f"{','.join(values)},{exported}Z\n"
        for _ in range(chance.choice([1, 1, 2])):
            files.setdefault((table, chance.randint(1, 2)), []).append(line)
    for lines in files.values():
        chance.shuffle(lines)
    return chance.sample(sorted(files.items()), len(files))


def settled_after(place, files):
    """The rows that stand once the files came in this order; where they came from is left out."""
    for (table, number), lines in files:
        text = f"{','.join(COLUMNS[table])},exported_at\n{''.join(lines)}"
        result = read_text(place, f"{table}_{number}.csv", text)
        assert result.refused is None
    with duckdb.connect() as connection:
        settle(connection, store_of(place))
        return {table: rows(connection, table) for table in COLUMNS}


def rows(connection, table):
    names = ", ".join(stored_name(column) for column in TABLES[table].columns)
    return sorted(connection.execute(f"select {names} from settled.{table}").fetchall(), key=str)


def key_of(table, row):
    """What rows are the same by: the source's own number, else the key, of a fitting its unit or its patient."""
    if row.get("source_ref"):
        return table, row["source_ref"].lower()
    if table == "part_changes":
        who = row["unit_id"].lower() or f"patient {row['patient_ref'].lower()}"
        return table, who, row["part"], row["fitted_at"]
    return table, *(row[name].lower() for name in TABLES[table].key)


def told_by(records):
    """The rows that stand after records in the order of their exports, whatever they are called by."""
    latest = {}
    for table, values in records:
        row = dict(zip(COLUMNS[table], values, strict=True))
        latest[key_of(table, row)] = (table, row)
    return {
        table: sorted((as_stored(table, row) for name, row in latest.values() if name == table), key=str)
        for table in COLUMNS
    }


def as_stored(table, row):
    return tuple(value_of(column, row.get(column.name)) for column in TABLES[table].columns)


def value_of(column, text):
    if not text:
        return None
    if column.kind == "patient":
        return patient_key(bytes.fromhex(KEY), SITE, text)
    if column.kind == "instant":
        return datetime.datetime.fromisoformat(text).replace(tzinfo=None)
    return float(text) if column.kind == "number" else text.lower()


def unspelled(stand):
    """The same rows without regard to case, which only says how an identifier was first written."""
    lowered = {
        table: [tuple(value.lower() if isinstance(value, str) else value for value in row) for row in rows]
        for table, rows in stand.items()
    }
    return {table: sorted(rows, key=str) for table, rows in lowered.items()}


@settings(
    max_examples=EXAMPLES,
    deadline=None,
    phases=QUICK,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(RECORDS, st.integers(0, 10**6))
def test_any_split_and_any_order_end_in_the_same_rows(folder, tmp_path_factory, records, seed):
    found = [
        settled_after(new_place(tmp_path_factory), exports(records, random.Random(seed + turn)))
        for turn in range(2)
    ]
    assert found[0] == found[1]
    assert unspelled(found[0]) == told_by(records)


def test_two_spellings_in_one_file_come_to_the_same_as_in_two(folder, tmp_path_factory):
    lines = ["A7,Alder,2026-04-01T00:00Z\n", "a7,Alder,2026-04-02T00:00Z\n"]
    for files in ([(("units", 1), lines)], [(("units", 1), lines[:1]), (("units", 2), lines[1:])]):
        assert settled_after(new_place(tmp_path_factory), files)["units"] == [("A7", "Alder", None, None)]


FITTINGS = "source_ref,unit_id,part,fitted_at,lot\n"
FOUND = "P1,u1,circuit,2026-03-02T08:00:00Z,C1\n"
MOVED = "P1,u1,circuit,2026-03-02T09:15:00Z,C1\n"


def of_day(day, text):
    """An export with its own time in every row."""
    head, *lines = text.splitlines()
    return "\n".join([f"exported_at,{head}", *(f"2026-03-{day:02d}T00:00Z,{line}" for line in lines)]) + "\n"


def fittings(folder):
    with duckdb.connect() as connection:
        settle(connection, store_of(folder))
        return connection.execute("select fitted_at, lot from settled.part_changes order by all").fetchall()


@pytest.mark.parametrize("order", [(5, 6), (6, 5)])
def test_a_fitting_whose_time_was_moved_is_one_correction_and_no_second_fitting(folder, order):
    texts = {5: of_day(5, FITTINGS + FOUND), 6: of_day(6, FITTINGS + MOVED)}
    results = [read_text(folder, f"part_changes_{day}.csv", texts[day]) for day in order]
    assert sum(result.corrected for result in results) == 1
    assert fittings(folder) == [(datetime.datetime(2026, 3, 2, 9, 15), "C1")]
    assert in_words(corrections(store_of(folder))) == [
        "part_changes at TARN, source_ref=P1: fitted_at was 2026-03-02T08:00:00Z and is 2026-03-02T09:15:00Z"
        " (part_changes_6.csv, row 2)."
    ]


def test_another_patient_of_a_units_fitting_is_a_correction_and_no_second_fitting(folder):
    text = "unit_id,patient_ref,part,fitted_at,lot\nu1,{},circuit,2026-03-02T08:00:00Z,C1\n"
    read_text(folder, "part_changes_5.csv", of_day(5, text.format("p1")))
    assert read_text(folder, "part_changes_6.csv", of_day(6, text.format("p2"))).corrected == 1
    assert len(fittings(folder)) == 1


def test_an_export_is_held_against_the_latest_before_it(folder):
    texts = [of_day(5, FITTINGS + FOUND), of_day(6, FITTINGS + MOVED), of_day(7, FITTINGS + MOVED)]
    told = [read_text(folder, f"part_changes_{day}.csv", text) for day, text in enumerate(texts)]
    assert [(result.corrected, result.duplicates) for result in told] == [(0, 0), (1, 0), (0, 1)]


WINDOW = 'name = "w"\ntable = "part_changes"\nfiles = ["w*.csv"]\nreplaces = "window"\n'
KEPT = ["u1,circuit,2026-03-01T08:00:00Z,C1", "u1,circuit,2026-03-09T08:00:00Z,C9"]
WINDOWS = {
    2: [*KEPT, "u1,circuit,2026-03-02T08:00:00Z,C2", "u1,circuit,2026-03-03T08:00:00Z,C3"],
    3: [*KEPT, "u1,circuit,2026-03-02T08:00:00Z,C2"],
    4: [*KEPT, "u1,circuit,2026-03-02T08:00:00Z,C7", "u1,circuit,2026-03-04T08:00:00Z,C4"],
}


@pytest.mark.parametrize("order", [(2, 3, 4), (4, 2, 3), (4, 3, 2)])
def test_exports_that_replace_their_window_end_alike_in_any_order(folder, order):
    profile = folder.parent / "profile.toml"
    profile.write_text(WINDOW)
    for day in order:
        text = of_day(10 + day, "unit_id,part,fitted_at,lot\n" + "\n".join(WINDOWS[day]))
        read_text(folder, f"w{day}.csv", text, profile_path=profile)
    assert [lot for _, lot in fittings(folder)] == ["C1", "C7", "C4", "C9"]
    told = in_words(corrections(store_of(folder)))
    assert any("08:00:00Z: lot was C2 and is C7 (w4.csv" in line for line in told)
    assert any("2026-03-03T08:00:00Z: withdrawn" in line for line in told)
    assert len(told) == 2


def windows(chance):
    """Four exports of one table, by day; three replace their window, the others' rows are added."""
    replacing = chance.sample([True, True, True, False], 4)
    return {
        day: (
            replaces,
            sorted(
                {
                    (chance.choice(["", "", "R1", "r1"]), "u1", "circuit", hour): chance.choice(["C1", "C2"])
                    for hour in chance.sample(HOURS, chance.randint(1, 3))
                }.items()
            ),
        )
        for day, replaces in enumerate(replacing, 11)
    }


def fittings_told_by(exports):
    """The times and lots that stand once each export replaced what lies between its first and its last row."""
    stand = {}
    for _, (replaces, told) in sorted(exports.items()):
        hours = [row[-1] for row, _ in told]
        if replaces:
            stand = {key: row for key, row in stand.items() if not min(hours) <= row[0] <= max(hours)}
        for (number, *key, hour), lot in told:
            stand[number.lower() or (*key, hour)] = (hour, lot)
    return sorted(
        (datetime.datetime.fromisoformat(hour).replace(tzinfo=None), lot) for hour, lot in stand.values()
    )


@pytest.mark.parametrize("seed", range(5))
def test_windows_and_corrections_end_as_in_the_order_of_their_exports(folder, tmp_path_factory, seed):
    chance = random.Random(seed)
    exports, ended = windows(chance), []
    for _ in range(2):
        place = new_place(tmp_path_factory)
        profile = place.parent / "profile.toml"
        profile.write_text(WINDOW)
        for day in chance.sample(sorted(exports), len(exports)):
            replaces, told = exports[day]
            lines = "\n".join(",".join([*row, lot]) for row, lot in told)
            text = of_day(day, f"source_ref,unit_id,part,fitted_at,lot\n{lines}")
            name = f"w{day}.csv" if replaces else f"part_changes_{day}.csv"
            read_text(place, name, text, profile_path=profile)
        ended.append((fittings(place), in_words(corrections(store_of(place)))))
    assert ended[0] == ended[1]
    assert ended[0][0] == fittings_told_by(exports)


def test_references_written_in_two_ways_are_one_patient_and_merge_as_one(folder):
    profiles = folder.parent / "profiles"
    profiles.mkdir()
    normal = '"strip_zeros", "remove_spaces", "remove_dashes"'
    for table, names in (("episodes", ["patient_ref"]), ("patient_merges", ["old_ref", "new_ref"])):
        rules = "".join(f"{name} = [{normal}]\n" for name in names)
        text = f'name = "{table}"\ntable = "{table}"\nfiles = ["{table}*.csv"]\n[references]\n{rules}'
        (profiles / f"{table}.toml").write_text(text)
    stays = "patient_ref,unit_id,ward,started_at,ended_at\n{},u1,Alder,2026-03-02T08:00Z,2026-03-03T08:00Z\n"
    read_text(folder, "episodes_1.csv", stays.format("000-123 4"), profile_path=profiles)
    again = read_text(folder, "episodes_2.csv", stays.format("1234"), profile_path=profiles)
    assert (again.accepted, again.duplicates) == (0, 1)
    read_text(folder, "patient_merges.csv", "old_ref,new_ref\n01234,09\n", profile_path=profiles)
    with duckdb.connect() as connection:
        settle(connection, store_of(folder))
        keys = connection.execute(
            "select patient_key, old_key from settled.episodes, settled.patient_merges"
        ).fetchall()
    assert [stay == old for stay, old in keys] == [True]
