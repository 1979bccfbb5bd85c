"""Patient references: hidden behind keyed hashes, kept encrypted, readable only with the store's key."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Collection, Mapping
from pathlib import Path

import polars as pl
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from pipeline.errors import PrivacyGuard, StorageTrouble
from pipeline.store.layout import Store
from pipeline.store.parquet import write_bytes

ENVIRONMENT = "DEWLEDGER_KEY"
_SEPARATOR = "\x1f"
_NONCE_BYTES = 12


def load_key(store: Store, create: bool) -> bytes:
    """Return the store's key (32 bytes), from the environment or the key file; make one for a new store.

    Raises PrivacyGuard when it is missing, malformed, open to others, or not the store's own.
    """
    stated = os.environ.get(ENVIRONMENT)
    if stated:
        key = _parse(stated, ENVIRONMENT)
    elif store.key_file.exists():
        key = _read_key_file(store.key_file)
    elif create and not store.key_check.exists():
        key = secrets.token_bytes(32)
        write_bytes(store.key_file, f"{key.hex()}\n".encode())
    else:
        raise PrivacyGuard(
            f"{store.key_file}: the key of this store is missing; put it back, or set {ENVIRONMENT} to it."
        )
    _check(store, key, create)
    return key


def patient_key(key: bytes, site_id: str, reference: str) -> str:
    """Return what stands for a patient reference (contract section 7): 32 hex digits."""
    message = f"{site_id}{_SEPARATOR}{reference.strip().upper()}".encode()
    return hmac.digest(key, message, "sha256").hex()[:32]


def patient_keys(key: bytes, site_ids: pl.Series, references: pl.Series) -> pl.Series:
    """Return the key of each reference, computed once per distinct pair; empty stays empty."""
    rows = pl.DataFrame({"site_id": site_ids.cast(pl.String), "reference": references.cast(pl.String)})
    distinct = rows.unique().drop_nulls()
    known = distinct.with_columns(
        pl.Series("patient_key", [patient_key(key, *pair) for pair in distinct.iter_rows()], dtype=pl.String)
    )
    return rows.join(known, on=["site_id", "reference"], how="left", maintain_order="left")["patient_key"]


def remember(store: Store, key: bytes, references: Mapping[tuple[str, str], str]) -> None:
    """Add references by (site_id, patient_key) to the encrypted file.

    Call it before the rows are committed, so that every stored key can be traced. Of two spellings of one
    reference the smaller is kept, so that the order of ingestion does not show.
    """
    known = recall(store, key)
    merged = dict(known)
    for place, reference in references.items():
        merged[place] = min(reference, known.get(place, reference))
    if merged != known:
        _write(store, key, merged)


def forget(store: Store, key: bytes, patients: Collection[tuple[str, str]]) -> int:
    """Remove the references of patients, given as (site_id, patient_key); return how many there were."""
    known = recall(store, key)
    kept = {place: reference for place, reference in known.items() if place not in patients}
    if kept != known:
        _write(store, key, kept)
    return len(known) - len(kept)


def recall(store: Store, key: bytes) -> dict[tuple[str, str], str]:
    """Return all references by (site_id, patient_key); empty when there are none."""
    try:
        sealed = store.reidentify.read_bytes()
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise StorageTrouble(f"{store.reidentify}: cannot be read: {error.strerror}.") from error
    listed = json.loads(_decrypt(key, "reidentify", sealed))
    return {(site_id, patient): reference for site_id, patient, reference in listed}


def _write(store: Store, key: bytes, references: Mapping[tuple[str, str], str]) -> None:
    listed = [[*place, reference] for place, reference in sorted(references.items())]
    write_bytes(store.reidentify, _encrypt(key, "reidentify", json.dumps(listed).encode()))


def seal(key: bytes, text: bytes) -> bytes:
    """Encrypt what stood in a quarantined row."""
    return _encrypt(key, "quarantine", text)


def unseal(key: bytes, sealed: bytes) -> bytes:
    """Return what `seal` encrypted; raise PrivacyGuard with another key or for damaged bytes."""
    return _decrypt(key, "quarantine", sealed)


def _parse(stated: str, source: str) -> bytes:
    try:
        key = bytes.fromhex(stated.strip())
    except ValueError:
        key = b""
    if len(key) != 32 or len(stated.strip()) != 64:
        raise PrivacyGuard(f"{source}: this is not a key of 64 hex digits; put the store's own key back.")
    return key


def _read_key_file(path: Path) -> bytes:
    try:
        if path.stat().st_mode & 0o077:
            raise PrivacyGuard(f"{path}: others may read the key; run: chmod 600 '{path}'")
        return _parse(path.read_text(encoding="ascii", errors="replace"), str(path))
    except OSError as error:
        raise PrivacyGuard(f"{path}: the key cannot be read: {error.strerror}.") from error


def _check(store: Store, key: bytes, create: bool) -> None:
    """Compare the key with the store's check value, and write that at the first ingest."""
    value = _derived(key, "check").hex()
    if store.key_check.exists():
        if not hmac.compare_digest(store.key_check.read_bytes(), value.encode()):
            raise PrivacyGuard(f"{store.root}: this is not the key the store was made with; use that one.")
    elif create:
        write_bytes(store.key_check, value.encode())


def _derived(key: bytes, purpose: str) -> bytes:
    return HKDF(SHA256(), 32, salt=None, info=f"dewledger {purpose}".encode()).derive(key)


def _encrypt(key: bytes, purpose: str, text: bytes) -> bytes:
    """AES-GCM; the nonce is a keyed hash of the text, so that the same content gives the same bytes."""
    nonce = hmac.digest(_derived(key, f"{purpose} nonce"), text, hashlib.sha256)[:_NONCE_BYTES]
    return nonce + AESGCM(_derived(key, purpose)).encrypt(nonce, text, purpose.encode())


def _decrypt(key: bytes, purpose: str, sealed: bytes) -> bytes:
    nonce, rest = sealed[:_NONCE_BYTES], sealed[_NONCE_BYTES:]
    try:
        return AESGCM(_derived(key, purpose)).decrypt(nonce, rest, purpose.encode())
    except (InvalidTag, ValueError) as error:
        raise PrivacyGuard(
            "The encrypted patient references do not open: the key is another store's, or they are damaged."
        ) from error
