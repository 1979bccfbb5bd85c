"""The first rows of a file as they would be stored by a drafted profile."""

from __future__ import annotations

import datetime
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.errors import RefusedFile, UsageError
from pipeline.ingest.drafting.draft import Draft
from pipeline.ingest.profile_faults import checked
from pipeline.ingest.read_files import fingerprint, open_export, read_content
from pipeline.ingest.sites import Sites
from pipeline.ingest.sort_rows import Judging, sort_rows
from pipeline.records import TABLES
from pipeline.site_rules import SiteRules

_SHOWN = 5
_LEFT_OUT = ("site_id", "exported_at")


@dataclass(frozen=True)
class FirstRows:
    """Rows by column, instants in UTC, patients as their key; of all rows those accepted and kept out; else why
    the profile cannot read the file as yet."""

    rows: tuple[dict[str, Any], ...] = ()
    accepted: int = 0
    quarantined: int = 0
    unreadable: str | None = None


def first_rows(path: Path, draft: Draft, rules: SiteRules, now: datetime.datetime) -> FirstRows:
    """Read a file by its draft; ``now`` is UTC, without zone."""
    if draft.table is None:
        return FirstRows(unreadable="the table is open")
    table, content = TABLES[draft.table], read_content(path)
    try:
        export = open_export(
            path.name, fingerprint(content), content, table, checked(draft.settings, "the draft")
        )
        sites = Sites("site", {}, rules, {})
        told = sort_rows(Judging(export, table, sites, secrets.token_bytes(32), now))
    except (RefusedFile, UsageError) as error:
        return FirstRows(unreadable=str(error))
    frames = [kept.rows for kept in told.good.values()]
    stored = pl.concat(frames) if frames else pl.DataFrame()
    filled = [
        name for name in stored.columns if name not in _LEFT_OUT and stored[name].null_count() < stored.height
    ]
    rows = tuple(stored.select(filled).head(_SHOWN).to_dicts()) if frames else ()
    return FirstRows(rows, stored.height, told.quarantined.height)
