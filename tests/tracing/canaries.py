"""Searches files for words as a thief would: raw, and after opening whatever is compressed."""

from __future__ import annotations

import base64
import gzip
import io
import re
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path

import polars as pl
from pypdf import PdfReader


def found_in(paths: Iterable[Path], words: Iterable[str]) -> set[str]:
    """Return which words stand in any of the files, without regard to case."""
    wanted = {word: word.lower().encode() for word in words}
    hits: set[str] = set()
    for path in paths:
        for content in _contents(path.name, path.read_bytes()):
            lower = content.lower()
            hits |= {word for word, raw in wanted.items() if raw in lower}
    return hits


def files_below(*folders: Path) -> list[Path]:
    return [path for folder in folders for path in sorted(folder.rglob("*")) if path.is_file()]


def _contents(name: str, payload: bytes) -> Iterator[bytes]:
    yield name.encode()
    yield payload
    if payload[:4] == b"PAR1":
        rows = pl.read_parquet(io.BytesIO(payload))
        for column in rows.iter_columns():
            values = column.drop_nulls().to_list()
            yield b"\n".join(value if isinstance(value, bytes) else str(value).encode() for value in values)
    if payload[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(payload)) as archive:
            for member in archive.namelist():
                yield from _contents(member, archive.read(member))
    if payload[:2] == b"\x1f\x8b":
        yield gzip.decompress(payload)
    for packed in re.findall(rb"H4sI[0-9A-Za-z+/]+=*", payload):
        yield gzip.decompress(base64.b64decode(packed))
    if payload[:4] == b"%PDF":
        # Words are broken anywhere to fit a column.
        printed = "".join(page.extract_text() for page in PdfReader(io.BytesIO(payload)).pages)
        yield re.sub(r"\s", "", printed).encode()
