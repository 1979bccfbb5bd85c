import errno

import polars as pl
import pytest
from store_rows import NOTHING_QUARANTINED, at, contents, entry, frame, new_store, put, settled

from pipeline.errors import DewledgerError, StorageTrouble
from pipeline.store import ledger
from pipeline.store.columns import QUARANTINE
from pipeline.store.ledger import commit, entries, remove_unnamed
from pipeline.store.verify import verify

SAMPLES = [
    {"unit_id": "007", "sampled_at": at("2026-01-31 23:59:59"), "flow_l_min": 30.0, "phase": "in_use"},
    {"unit_id": "007", "sampled_at": at("2026-02-01 00:00:00"), "flow_l_min": 31.0, "phase": "in_use"},
]


def test_an_account_that_does_not_add_up_is_refused():
    with pytest.raises(DewledgerError, match="10 rows read, but 9 accounted for"):
        entry("a" * 64, "units", 9, rows_read=10)


def test_rows_are_stored_by_site_and_utc_month(tmp_path):
    store = new_store(tmp_path)
    stored = put(store, "a", "usage_samples", [*SAMPLES, {**SAMPLES[1], "site_id": "West/Wing"}])
    assert [(part.site_id, part.month, part.rows) for part in stored.parts] == [
        ("TARN", "2026-01", 1),
        ("TARN", "2026-02", 1),
        ("West/Wing", "2026-02", 1),
    ]
    assert stored.parts[2].file.startswith(
        f"tables/usage_samples/site_id=West%2FWing/month=2026-02/{'a' * 64}-"
    )
    assert all((store.root / part.file).exists() for part in stored.parts)
    assert stored.parts[0].last_at == "2026-01-31T23:59:59Z"
    assert stored.parts[1].units == {"007": ("2026-02-01T00:00:00Z", "2026-02-01T00:00:00Z")}


def test_rows_are_stored_in_order_of_their_key(tmp_path):
    store = new_store(tmp_path)
    rows = [{**SAMPLES[1], "unit_id": "2"}, {**SAMPLES[1], "unit_id": "1"}, {**SAMPLES[1], "unit_id": "1"}]
    entered = put(store, "a", "usage_samples", rows)
    stored = pl.read_parquet(store.root / entered.parts[0].file, hive_partitioning=False)
    assert stored.select("unit_id", "source_row").rows() == [("1", 3), ("1", 4), ("2", 2)]


def test_rows_without_a_time_lie_in_always(tmp_path):
    stored = put(new_store(tmp_path), "a", "units", [{"unit_id": "007"}])
    assert [(part.month, part.first_at) for part in stored.parts] == [("always", None)]


def test_a_key_told_twice_in_one_file_of_a_log_is_noted(tmp_path):
    store = new_store(tmp_path)
    once = put(store, "a", "usage_samples", SAMPLES)
    twice = put(store, "b", "usage_samples", [*SAMPLES, {**SAMPLES[0], "flow_l_min": 1.0}])
    assert [part.repeats for part in once.parts] == [False, False]
    assert [part.repeats for part in twice.parts] == [True, False]


def test_an_entry_reads_back_as_it_was_written(tmp_path):
    store = new_store(tmp_path)
    stated = entry("b" * 64, "usage_samples", 2, reasons={"bad_time": 1}, quarantined=1, rows_read=3)
    stored = commit(store, stated, frame("usage_samples", SAMPLES), quarantined_rows(1))
    assert entries(store) == [stored]
    assert len(stored.files) == 3


def test_entries_come_in_order_of_table_and_hash(tmp_path):
    store = new_store(tmp_path)
    for letter, table in (("b", "units"), ("c", "items"), ("a", "units")):
        commit(store, entry(letter * 64, table, 0), frame(table, []), NOTHING_QUARANTINED)
    assert [(stored.table, stored.sha256[0]) for stored in entries(store)] == [
        ("items", "c"),
        ("units", "a"),
        ("units", "b"),
    ]


@pytest.mark.parametrize("failing_write", [1, 2, 3, 4])
def test_a_commit_that_fails_anywhere_leaves_the_store_as_it_was(tmp_path, monkeypatch, failing_write):
    """Four writes: the rows of two months, the quarantined rows, and the entry that makes them count."""
    store = new_store(tmp_path)
    put(store, "a", "usage_samples", SAMPLES[:1])
    before = (entries(store), settled(store, "usage_samples", "sampled_at", "flow_l_min"))
    stated = entry("b" * 64, "usage_samples", 2, quarantined=1, rows_read=3)
    with monkeypatch.context() as patched:
        fail_write(patched, failing_write)
        with pytest.raises(StorageTrouble):
            commit(store, stated, frame("usage_samples", SAMPLES), quarantined_rows(1))
    assert (entries(store), settled(store, "usage_samples", "sampled_at", "flow_l_min")) == before


def test_the_run_after_a_failed_one_gives_the_same_store_as_an_undisturbed_one(tmp_path, monkeypatch):
    (tmp_path / "whole").mkdir()
    (tmp_path / "torn").mkdir()
    whole, torn = new_store(tmp_path / "whole"), new_store(tmp_path / "torn")
    put(whole, "b", "usage_samples", SAMPLES)
    with monkeypatch.context() as patched:
        fail_write(patched, 2)
        with pytest.raises(StorageTrouble):
            put(torn, "b", "usage_samples", SAMPLES)
    put(torn, "b", "usage_samples", SAMPLES)
    assert contents(torn.root) == contents(whole.root)


@pytest.mark.parametrize("failing_write", [1, 2, 3])
def test_a_file_read_anew_stands_as_it_was_until_its_new_entry_does(tmp_path, monkeypatch, failing_write):
    """Three writes: the rows of two months and the entry. What the failed run left is removed by the next."""
    store = new_store(tmp_path)
    put(store, "a", "usage_samples", SAMPLES)
    other = [{**row, "flow_l_min": 1.0} for row in SAMPLES]
    before = settled(store, "usage_samples", "sampled_at", "flow_l_min")
    with monkeypatch.context() as patched:
        fail_write(patched, failing_write)
        with pytest.raises(StorageTrouble):
            put(store, "a", "usage_samples", other)
    assert settled(store, "usage_samples", "sampled_at", "flow_l_min") == before
    remove_unnamed(store, entries(store))
    assert verify(store) == []
    put(store, "a", "usage_samples", other)
    assert verify(store) == []
    assert {flow for _, flow in settled(store, "usage_samples", "sampled_at", "flow_l_min")} == {1.0}


def test_what_is_stored_does_not_depend_on_the_order_of_ingestion(tmp_path):
    stores = []
    for order in ("ab", "ba"):
        (tmp_path / order).mkdir()
        store = new_store(tmp_path / order)
        for letter in order:
            put(store, letter, "usage_samples", SAMPLES if letter == "a" else SAMPLES[:1])
        stores.append(contents(store.root))
    assert stores[0] == stores[1]


def test_a_damaged_entry_is_told_from_a_sound_one(tmp_path):
    store = new_store(tmp_path)
    put(store, "a", "units", [{"unit_id": "007"}])
    path = store.ledger_file("a" * 64)
    path.write_text(path.read_text().replace('"rows": 1', '"rows": 2'))
    with pytest.raises(StorageTrouble, match="damaged"):
        entries(store)


def quarantined_rows(count: int) -> pl.DataFrame:
    row = {"table": "usage_samples", "file_name": "b.csv", "sha256": "b" * 64, "reasons": "bad_time"}
    rows = [{**row, "source_row": number, "raw": "{}", "sealed": b""} for number in range(2, 2 + count)]
    return pl.DataFrame(rows, schema=QUARANTINE)


def fail_write(patched: pytest.MonkeyPatch, failing_write: int) -> None:
    """Let the disk be full at one of the writes."""
    real, calls = ledger.write_bytes, []

    def write(path, payload):
        calls.append(path)
        if len(calls) == failing_write:
            raise StorageTrouble(f"{path}: {errno.errorcode[errno.ENOSPC]}")
        real(path, payload)

    patched.setattr(ledger, "write_bytes", write)
