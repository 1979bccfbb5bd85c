"""From a file's text to the rows that are accepted and those that are not."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field

import polars as pl

from pipeline.ingest.blocks import SOURCE_ROW
from pipeline.ingest.damage import Damage, find_damage, merged
from pipeline.ingest.headers import repeated
from pipeline.ingest.judge import QUARANTINED, judge
from pipeline.ingest.labels import with_labels
from pipeline.ingest.normalise import EXPORTED_AT, text_of
from pipeline.ingest.quarantine import Hiding, header_rows, quarantined_rows, torn_rows
from pipeline.ingest.read_files import Export, read_blocks
from pipeline.ingest.repeats import Distinct, distinct
from pipeline.ingest.restate import restate, restate_mended, with_ends
from pipeline.ingest.row_rules import broken_by_rule, faults, named, table_at_site
from pipeline.ingest.sites import Sites, by_site
from pipeline.records import Table, stored_name
from pipeline.store.columns import QUARANTINE, good_schema
from pipeline.store.keys import patient_keys

#: How far a unit's sample may stand against the file's order without a warning.
_OUT_OF_ORDER = pl.duration(minutes=5)
_OUT_OF_ORDER_NAME = "out_of_order"


@dataclass(frozen=True)
class Sorted:
    """A file's rows: the ``good`` ones of each site, as they are stored, and the ``quarantined`` ones; the
    patient references of the good ones by (site, key); how many rows were read, and skipped as blank; what a
    spreadsheet did to them; where asked for, the rows accepted with a warning as `QUARANTINE` has rows; and the
    latest time of export that any row tells."""

    good: dict[str, Distinct]
    quarantined: pl.DataFrame
    references: dict[tuple[str, str], str]
    read: int
    skipped: int
    damage: tuple[Damage, ...]
    warned: pl.DataFrame
    exported_at: datetime.datetime | None


@dataclass(frozen=True)
class Judging:
    """How the rows of one file are judged: by the rules of their sites, as of ``now`` (UTC, without zone)."""

    export: Export
    table: Table
    sites: Sites
    key: bytes
    now: datetime.datetime
    keep_warned: bool = False


@dataclass(frozen=True)
class _Gathered:
    """What block after block of a file comes to."""

    good: dict[str, list[pl.DataFrame]] = field(default_factory=dict)
    kept_out: list[pl.DataFrame] = field(default_factory=lambda: [pl.DataFrame(schema=QUARANTINE)])
    warned: list[pl.DataFrame] = field(default_factory=lambda: [pl.DataFrame(schema=QUARANTINE)])
    references: dict[tuple[str, str], str] = field(default_factory=dict)
    exported: list[datetime.datetime] = field(default_factory=list)


def sort_rows(judging: Judging) -> Sorted:
    """Read a file to its end and judge every row."""
    export, table, gathered = judging.export, judging.table, _Gathered()
    damage: list[Damage] = []
    read = skipped = 0
    for block in read_blocks(export):
        read, skipped = read + block.read, skipped + block.skipped
        gathered.kept_out.append(torn_rows(block.ragged, export, table))
        again = repeated(block.rows, export.header, table)
        gathered.kept_out.append(header_rows(again, export))
        rows = block.rows.filter(~pl.col(SOURCE_ROW).is_in(again[SOURCE_ROW].implode()))
        damage += find_damage(rows, export.header, table)
        _sort_block(rows, restate(rows, export, table), judging, gathered)
    return _sorted(gathered, table, read, skipped, merged(damage))


def sort_mended(raw: pl.DataFrame, judging: Judging) -> Sorted:
    """Judge rows of a file that were mended by hand: ``raw`` as they were typed, by field."""
    gathered = _Gathered()
    rows = restate_mended(raw, judging.export, judging.table)
    _sort_block(raw, rows, judging, gathered)
    return _sorted(gathered, judging.table, raw.height, 0, ())


def _sort_block(raw: pl.DataFrame, restated: pl.DataFrame, judging: Judging, gathered: _Gathered) -> None:
    """Judge rows (``raw`` as the file has them) and add each to those of its kind."""
    export, table = judging.export, judging.table
    for site_id, rows in by_site(restated, judging.sites):
        rules = judging.sites.rules_of(site_id)
        at_site, hiding = table_at_site(table, rules), Hiding(judging.key, site_id)
        zone = export.profile.time_zone or rules.time_zone
        told = with_labels(with_ends(rows, export.profile, table, zone), table)
        judged = judge(told, at_site, zone, judging.now)
        if isinstance(latest := judged[EXPORTED_AT.name].max(), datetime.datetime):
            gathered.exported.append(latest)
        kept_out, kept = judged.filter(QUARANTINED), judged.filter(~pl.col(QUARANTINED))
        reasons = _reasons(kept_out, rows, at_site, quarantines=True)
        gathered.kept_out.append(quarantined_rows(raw, reasons, export, table, hiding))
        if judging.keep_warned:
            reasons = _reasons(kept, rows, at_site, quarantines=False)
            gathered.warned.append(quarantined_rows(raw, reasons, export, table, hiding))
        accepted = _stored(kept, at_site, hiding, gathered.references)
        gathered.good.setdefault(site_id, []).append(accepted)


def _sorted(gathered: _Gathered, table: Table, read: int, skipped: int, damage: tuple[Damage, ...]) -> Sorted:
    told = {
        site_id: _warn_of_order(pl.concat(frames), table) for site_id, frames in sorted(gathered.good.items())
    }
    return Sorted(
        good={site_id: distinct(rows, table) for site_id, rows in told.items() if rows.height},
        quarantined=pl.concat(gathered.kept_out),
        references=gathered.references,
        read=read,
        skipped=skipped,
        damage=damage,
        warned=pl.concat(gathered.warned),
        exported_at=max(gathered.exported, default=None),
    )


def _reasons(judged: pl.DataFrame, rows: pl.DataFrame, table: Table, quarantines: bool) -> pl.DataFrame:
    """Return number, reasons and patient references of the judged rows that break a rule of the one kind."""
    patients = [column.name for column in table.columns if column.kind == "patient"]
    told = judged.select(
        SOURCE_ROW,
        _names(table, quarantines).alias("reasons"),
        faults(table, quarantines).alias("faults"),
    ).filter(pl.col("reasons") != "")
    references = rows.select(SOURCE_ROW, *(name for name in patients if name in rows.columns))
    return told.join(references, on=SOURCE_ROW, how="left", maintain_order="left")


def _names(table: Table, quarantines: bool) -> pl.Expr:
    return named(broken_by_rule(table, quarantines))


def _stored(
    judged: pl.DataFrame, table: Table, hiding: Hiding, references: dict[tuple[str, str], str]
) -> pl.DataFrame:
    """Return accepted rows as they are stored, and note the patient references that their keys stand for."""
    site = pl.repeat(hiding.site_id, judged.height, dtype=pl.String, eager=True).alias("site_id")
    warnings = _names(table, quarantines=False).replace("", None).alias("warnings")
    hidden = []
    for column in (column for column in table.columns if column.kind == "patient"):
        told = judged.select(text_of(column)).to_series()
        keys = patient_keys(hiding.key, site, told).alias(stored_name(column))
        pairs = pl.DataFrame([keys, told]).drop_nulls().unique(maintain_order=True)
        for patient, reference in pairs.iter_rows():
            place = (hiding.site_id, patient)
            references[place] = min(reference, references.get(place, reference))
        hidden.append(keys)
    return judged.with_columns(site, warnings, *hidden).select(good_schema(table).names())


def _warn_of_order(rows: pl.DataFrame, table: Table) -> pl.DataFrame:
    """Add the warning that more than the row itself decides; ``rows`` stand in the file's order."""
    if table.name != "usage_samples":
        return rows
    time = pl.col("sampled_at")
    late = time.cum_max().over(pl.col("unit_id").str.to_lowercase()) - time > _OUT_OF_ORDER
    name = pl.when(late).then(pl.lit(_OUT_OF_ORDER_NAME))
    return rows.with_columns(
        pl.concat_str(["warnings", name], separator=",", ignore_nulls=True).replace("", None)
    )
