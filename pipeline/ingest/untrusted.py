"""Asking the limited process for what a packed or binary file holds; whatever becomes of it, this one goes on."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

import pipeline
from pipeline.errors import RefusedFile
from pipeline.ingest.limits import UNPACKED_BYTES, WALL_S

_MODULE = "pipeline.ingest.limited_process"


@dataclass(frozen=True)
class Sheet:
    """A table of text: ``cells`` (columns "0", "1", …), where its corner stands, whether its workbook counts
    days from 1904, and how many of its rows nobody sees."""

    cells: pl.DataFrame
    first_row: int = 1
    first_column: int = 1
    from_1904: bool = False
    hidden_rows: int = 0


def unpacked(content: bytes, compression: str) -> bytes:
    """Return what a packed file holds; raise RefusedFile when it is too much, or not what is declared."""
    return _ask("unpack", {"compression": compression}, content)[1]


def read_sheet(content: bytes, sheet: str) -> Sheet:
    """Return a workbook's sheet as text; raise RefusedFile with the reason when it is not fit to be read."""
    told, payload = _ask("xlsx", {"sheet": sheet}, content)
    cells = _with_errors(_cells(payload), told)
    return Sheet(cells, told["first_row"], told["first_column"], told["from_1904"], told["hidden_rows"])


def sheet_names(content: bytes) -> list[str]:
    """Return the names of a workbook's sheets."""
    return [str(name) for name in _ask("xlsx", {"sheet": None}, content)[0]["sheets"]]


def read_parquet(content: bytes) -> Sheet:
    """Return a Parquet file as text, its column names as a row before the first."""
    told, payload = _ask("parquet", {}, content)
    rows = _cells(payload)
    header = pl.DataFrame([told["names"]], schema=rows.schema, orient="row")
    return Sheet(pl.concat([header, rows]), first_row=0)


def _ask(kind: str, settings: dict[str, Any], content: bytes) -> tuple[dict[str, Any], bytes]:
    if len(content) > UNPACKED_BYTES:
        raise RefusedFile(f"it is larger than {UNPACKED_BYTES // 1_000_000} MB; export a shorter time")
    command = [sys.executable, "-m", _MODULE, kind, json.dumps(settings)]
    try:
        done = subprocess.run(  # noqa: S603  (our own module, no shell)
            command, input=content, capture_output=True, timeout=WALL_S, env=_environment(), check=False
        )
    except subprocess.TimeoutExpired as error:
        raise RefusedFile(f"it takes more than {WALL_S} s to read; export a shorter time") from error
    line, _, payload = done.stdout.partition(b"\n")
    if done.returncode or not line:
        raise RefusedFile(
            "it takes more memory or time to read than is allowed, or is damaged; save it again"
        )
    told: dict[str, Any] = json.loads(line)
    if "refused" in told:
        raise RefusedFile(str(told["refused"]))
    return told, payload


def _environment() -> dict[str, str]:
    """The process gets where the program lies and nothing else, least of all the key."""
    root = str(Path(pipeline.__file__).parents[1])
    kept = {
        name: os.environ[name] for name in ("PATH", "SYSTEMROOT", "LD_LIBRARY_PATH") if name in os.environ
    }
    return {**kept, "PYTHONPATH": root, "OMP_NUM_THREADS": "1", "ARROW_DEFAULT_MEMORY_POOL": "system"}


def _cells(payload: bytes) -> pl.DataFrame:
    return pl.read_ipc_stream(io.BytesIO(payload)) if payload else pl.DataFrame()


def _with_errors(cells: pl.DataFrame, told: dict[str, Any]) -> pl.DataFrame:
    """Write into the cells what the reader leaves out: errors, and formulas saved without a result."""
    by_column: dict[str, dict[int, str]] = {}
    for row, column, said in told["errors"]:
        place = str(column - told["first_column"])
        if place in cells.columns and 0 <= row - told["first_row"] < cells.height:
            by_column.setdefault(place, {})[row - told["first_row"]] = said
    for place, texts in by_column.items():
        column = cells[place].scatter(list(texts), list(texts.values()))
        cells = cells.with_columns(column.alias(place))
    return cells
