"""Whatever happens to a file on its way, it ends accepted, quarantined or refused, and every row is accounted for.

`DEWLEDGER_MUTATIONS=25` tries 25 times as many; a file that does harm becomes a line of the corpus.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit"))
sys.path.insert(0, str(Path(__file__).parent))
from ingest_rows import new_folder, read, store_of
from mutations import mutated_text, mutated_workbook

from pipeline.ingest.quarantine import listing

TIMES = int(os.environ.get("DEWLEDGER_MUTATIONS", "1"))
PROFILES = Path(__file__).parent / "profiles"
TEXTS, WORKBOOKS, AT_ONCE = 200 * TIMES, 50 * TIMES, 50
CASES = [(mutated_text, start) for start in range(0, TEXTS, AT_ONCE)]
CASES += [(mutated_workbook, start) for start in range(0, WORKBOOKS, AT_ONCE)]


@pytest.mark.parametrize(("mutated", "start"), CASES)
def test_every_mutated_file_ends_well(mutated, start, tmp_path, monkeypatch):
    folder = new_folder(tmp_path, monkeypatch)
    made = dict(mutated(seed) for seed in range(start, start + AT_ONCE))
    for name, content in made.items():
        (folder / name).write_bytes(content)
    read_last = []
    try:
        told = read(folder, profile_path=PROFILES, progress=lambda name, *_: read_last.append(name)).files
    except Exception as error:
        pytest.fail(f"{read_last[-1]}: {error!r}")
    assert sorted(file.name for file in told) == sorted(made)
    kept_out = listing(store_of(folder))["file_name"].to_list()
    for file in told:
        account = file.accepted + file.duplicates + file.skipped + file.quarantined
        assert (file.name, file.rows_read) == (file.name, account)
        assert (file.name, file.quarantined) == (file.name, kept_out.count(file.name))
        assert "takes more than" not in (file.refused or "")
        if not file.refused and file.name.endswith(".csv") and b'"' not in made[file.name]:
            assert (file.name, file.rows_read) == (file.name, _lines(made[file.name]) - 1)


def _lines(content: bytes) -> int:
    """Count the lines of a text, whatever they end in; the last may have no end."""
    text = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return len(text.removesuffix(b"\n").split(b"\n"))
