import pytest
from store_rows import at, new_store, put

from pipeline.store.verify import verify


@pytest.fixture
def store(tmp_path):
    made = new_store(tmp_path)
    put(made, "a", "units", [{"unit_id": "007", "ward": "Alder"}])
    put(made, "b", "count_readings", [{"unit_id": "007", "read_at": at("2026-03-01"), "cycle_count": 3}])
    return made


def test_an_untouched_store_has_no_faults(store):
    assert verify(store) == []


@pytest.mark.parametrize("kind", ["tables", "ledger"])
def test_a_flipped_bit_anywhere_is_found_and_its_file_named(store, kind):
    for path in [path for path in (store.root / kind).rglob("*") if path.is_file()]:
        sound = path.read_bytes()
        for place in range(0, len(sound), 1 + len(sound) // 40):
            path.write_bytes(sound[:place] + bytes([sound[place] ^ 4]) + sound[place + 1 :])
            assert path.name in verify(store)[0]
        path.write_bytes(sound)
    assert verify(store) == []


def test_a_missing_file_of_rows_is_found(store):
    path = next(store.tables.rglob("*.parquet"))
    path.unlink()
    assert verify(store) == [f"{path.relative_to(store.root)}: missing; restore it from a backup."]


def test_rows_whose_entry_is_gone_are_found(store):
    store.ledger_file("a" * 64).unlink()
    assert len(verify(store)) == 1
    assert "the ledger does not name it" in verify(store)[0]
