import os
import stat

import polars as pl
import pytest
from store_rows import new_store

from pipeline.errors import PrivacyGuard
from pipeline.store import keys

KEY = b"\x5a" * 32
OTHER = b"\xa5" * 32


@pytest.fixture(autouse=True)
def _no_key_in_the_environment(monkeypatch):
    monkeypatch.delenv(keys.ENVIRONMENT, raising=False)


def test_a_known_reference_has_its_known_key():
    """By another program: printf 'TARN\\x1fM-101' | openssl dgst -sha256 -mac HMAC -macopt hexkey:5a…"""
    assert keys.patient_key(KEY, "TARN", "m-101") == "d5d0d7cec0cca9bf7f45c4a1b2d2d76a"


@pytest.mark.parametrize("spelling", ["M-101", " m-101 ", "\tm-101\n"])
def test_case_and_surrounding_blanks_do_not_matter(spelling):
    assert keys.patient_key(KEY, "TARN", spelling) == keys.patient_key(KEY, "TARN", "m-101")


@pytest.mark.parametrize(("site_id", "reference"), [("WEST", "m-101"), ("TARN", "m-0101"), ("TARNM", "-101")])
def test_another_site_or_reference_has_another_key(site_id, reference):
    assert keys.patient_key(KEY, site_id, reference) != keys.patient_key(KEY, "TARN", "m-101")


def test_a_column_of_references_keeps_its_order_and_its_gaps():
    sites = pl.Series(["TARN", "WEST", "TARN", None, "TARN"])
    references = pl.Series(["b", "b", None, "b", "B "])
    found = keys.patient_keys(KEY, sites, references).to_list()
    of_b = keys.patient_key(KEY, "TARN", "b")
    assert found == [of_b, keys.patient_key(KEY, "WEST", "b"), None, None, of_b]


def test_the_first_ingest_makes_a_key_beside_the_store(tmp_path):
    store = new_store(tmp_path)
    key = keys.load_key(store, create=True)
    assert bytes.fromhex((tmp_path / "store.key").read_text()) == key
    assert stat.S_IMODE((tmp_path / "store.key").stat().st_mode) == 0o600
    assert keys.load_key(store, create=False) == key
    assert key.hex().encode() not in b"".join(path.read_bytes() for path in store.root.iterdir())


def test_the_environment_goes_before_the_file(tmp_path, monkeypatch):
    monkeypatch.setenv(keys.ENVIRONMENT, KEY.hex())
    assert keys.load_key(new_store(tmp_path), create=True) == KEY
    assert not (tmp_path / "store.key").exists()


def test_a_lost_key_is_not_replaced_by_a_new_one(tmp_path):
    store = new_store(tmp_path)
    keys.load_key(store, create=True)
    store.key_file.unlink()
    with pytest.raises(PrivacyGuard, match="is missing"):
        keys.load_key(store, create=True)


def test_another_stores_key_is_refused(tmp_path, monkeypatch):
    store = new_store(tmp_path)
    keys.load_key(store, create=True)
    monkeypatch.setenv(keys.ENVIRONMENT, OTHER.hex())
    with pytest.raises(PrivacyGuard, match="not the key"):
        keys.load_key(store, create=True)


@pytest.mark.parametrize("stated", ["5a" * 31, "5a" * 33, "zz" * 32, "5a " * 32])
def test_a_malformed_key_is_refused_without_being_shown(tmp_path, monkeypatch, stated):
    monkeypatch.setenv(keys.ENVIRONMENT, stated)
    with pytest.raises(PrivacyGuard, match="64 hex digits") as guard:
        keys.load_key(new_store(tmp_path), create=True)
    assert stated not in str(guard.value)


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660])
def test_a_key_that_others_may_read_is_refused(tmp_path, mode):
    store = new_store(tmp_path)
    keys.load_key(store, create=True)
    os.chmod(store.key_file, mode)
    with pytest.raises(PrivacyGuard, match="chmod 600"):
        keys.load_key(store, create=False)


def test_references_are_remembered_and_merged_but_not_in_clear(tmp_path):
    store = new_store(tmp_path)
    keys.remember(store, KEY, {("TARN", "k1"): "CANARY-1"})
    keys.remember(store, KEY, {("TARN", "k2"): "CANARY-2"})
    assert keys.recall(store, KEY) == {("TARN", "k1"): "CANARY-1", ("TARN", "k2"): "CANARY-2"}
    assert b"CANARY" not in store.reidentify.read_bytes()


def test_the_order_of_ingestion_does_not_show_in_the_references(tmp_path):
    written = []
    for name, order in (("one", ("m-1", "M-1")), ("two", ("M-1", "m-1"))):
        (tmp_path / name).mkdir()
        store = new_store(tmp_path / name)
        for reference in order:
            keys.remember(store, KEY, {("TARN", "k"): reference})
        written.append(store.reidentify.read_bytes())
        assert keys.recall(store, KEY) == {("TARN", "k"): "M-1"}
    assert written[0] == written[1]


def test_with_another_key_nothing_opens(tmp_path):
    store = new_store(tmp_path)
    keys.remember(store, KEY, {("TARN", "k1"): "CANARY-1"})
    with pytest.raises(PrivacyGuard, match="another store's, or they are damaged"):
        keys.recall(store, OTHER)
    with pytest.raises(PrivacyGuard):
        keys.unseal(OTHER, keys.seal(KEY, b"CANARY-1"))


def test_a_sealed_text_opens_and_a_damaged_one_does_not():
    sealed = keys.seal(KEY, b"CANARY-1")
    assert b"CANARY" not in sealed
    assert keys.unseal(KEY, sealed) == b"CANARY-1"
    with pytest.raises(PrivacyGuard):
        keys.unseal(KEY, sealed[:-1] + bytes([sealed[-1] ^ 1]))
    with pytest.raises(PrivacyGuard):
        keys.unseal(KEY, b"")
