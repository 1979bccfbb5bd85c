"""A forgotten patient in closed months: the key is struck out of frozen tables and pages, and the edition marked.

A frozen month keeps its figures; only who they were of goes, from what a page carries packed, too. Files of which the
text cannot be changed (workbooks, board packs) are removed, those of the patient's site: a key is of one site alone.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import io
import json
import re
from collections.abc import Collection
from dataclasses import asdict, replace
from pathlib import Path

import polars as pl

from pipeline.editions import Edition, content_of, editions
from pipeline.store.layout import Store, quoted
from pipeline.store.parquet import parquet_bytes, write_bytes

#: What stands in place of a key.
STRUCK_OUT = "forgotten"
#: Lists what was changed and removed in an edition.
_MARK = "forgotten.json"
_EDITION = "edition.json"
_TEXTS = (".html", ".csv", ".json", ".toml", ".svg")
#: Charts' data, life lines and long lists in a page: gzip as base 64 always begins like this.
_PACKED = re.compile(rb"H4sI[0-9A-Za-z+/]+=*")


def editions_with(store: Store, patients: Collection[str]) -> list[Edition]:
    """Return the editions in which some of the keys stand."""
    return [edition for edition in editions(store) if _files_with(store, edition, patients)]


def strike_out(store: Store, site_id: str, patients: Collection[str]) -> None:
    """Strike a site's keys out of every edition; each that held one says so in ``forgotten.json``."""
    for edition in editions_with(store, patients):
        _strike_out(store, edition, site_id, patients)
    for edition in editions(store):
        _remove_unnamed(_folder(store, edition), edition)


def _strike_out(store: Store, edition: Edition, site_id: str, patients: Collection[str]) -> None:
    folder = _folder(store, edition)
    changed, removed = {}, []
    for name in edition.files:
        if name.endswith((*_TEXTS, ".parquet")):
            payload = content_of(store, edition, name)
            if (masked := _masked(name, payload, patients)) != payload:
                changed[name] = masked
        elif Path(name).stem == f"{quoted(site_id)}_{edition.month}":
            removed.append(name)
    mark = {"changed": sorted(changed), "removed": sorted(removed)}
    write_bytes(folder / _MARK, json.dumps(mark, indent=1).encode())
    files = {name: sha256 for name, sha256 in edition.files.items() if name not in removed}
    for name, payload in changed.items():
        files[name] = hashlib.sha256(payload).hexdigest()
        write_bytes(folder / files[name], payload)
    marked = replace(edition, files=files, struck_out=True)
    write_bytes(folder / _EDITION, json.dumps(asdict(marked), indent=1).encode())


def _files_with(store: Store, edition: Edition, patients: Collection[str]) -> list[str]:
    return [
        name
        for name in edition.files
        if name.endswith((*_TEXTS, ".parquet"))
        and _masked(name, payload := content_of(store, edition, name), patients) != payload
    ]


def _masked(name: str, payload: bytes, patients: Collection[str]) -> bytes:
    """Return a file with the keys struck out; the very bytes given when there are none in it."""
    if not name.endswith(".parquet"):
        return _PACKED.sub(lambda found: _masked_pack(found[0], patients), _masked_text(payload, patients))
    rows = pl.read_parquet(io.BytesIO(payload))
    masked = rows.with_columns(pl.col(pl.String).str.replace_many(sorted(patients), [STRUCK_OUT]))
    return payload if masked.equals(rows) else parquet_bytes(masked)


def _masked_text(text: bytes, patients: Collection[str]) -> bytes:
    for patient in sorted(patients):
        text = text.replace(patient.encode(), STRUCK_OUT.encode())
    return text


def _masked_pack(packed: bytes, patients: Collection[str]) -> bytes:
    text = gzip.decompress(base64.b64decode(packed))
    masked = _masked_text(text, patients)
    return packed if masked == text else base64.b64encode(gzip.compress(masked, mtime=0))


def _remove_unnamed(folder: Path, edition: Edition) -> None:
    named = {*edition.files.values(), _MARK, _EDITION}
    for path in sorted(folder.iterdir()):
        if path.name not in named:
            path.unlink()


def _folder(store: Store, edition: Edition) -> Path:
    return store.root / "editions" / edition.month / str(edition.number)
