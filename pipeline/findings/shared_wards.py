"""What of each ward may be shared: shares whose hidden counts the site's own cannot tell, and shares of time."""

from __future__ import annotations

import polars as pl

from pipeline.disclosure import WITHHELD, Printed, Profile, Split, printed_rows
from pipeline.findings.model import Column, Measure, Share, Table
from pipeline.findings.shared_measures import Patients, enough, key_and_part, rounded
from pipeline.findings.source import Source, whole

#: Table, count and total of the measures that are told by ward. Pairs of counts are those that can be assessed.
_COUNTS = {
    "overrun_of_due": ("part_overrun_monthly", "overrun", pl.col("due")),
    "fresh_parts": ("fresh_part_monthly", "fresh", pl.col("starts")),
    "unprotected_changeovers": ("changeover_monthly", "unprotected", pl.col("changeovers")),
    "count_agreement": ("count_check_monthly", "agrees", pl.col("pairs") - pl.col("not_assessable")),
}


def ward_shares(measure: Measure, source: Source, profile: Profile) -> dict[str, Printed]:
    """Return what is printed of each ward's count and total in the month; nothing where the site has none.

    ``measure`` is the site's own, with the counts as they are.
    """
    kind, part = key_and_part(measure)
    now = measure.now
    if kind not in _COUNTS or not now.total:
        return {}
    table, count, total = _COUNTS[kind]
    found = source.by_ward(table, part=part) if part else source.by_ward(table)
    rows = found.select("ward", count, total.alias("total"))
    wards = {ward: Split(int(part_of), int(all_of)) for ward, part_of, all_of in rows.rows()}
    return printed_rows(wards, Split(whole(now.count), whole(now.total)), profile)


def share_table(measure: Measure, source: Source, shown: dict[str, Printed]) -> Table:
    """Return the wards' counts as they are printed, with shares and intervals of what is a number."""
    numbers = ("count", "count", "share", "share", "share")
    names = ("Cases", "Of", "Share", "Low", "High")
    rows = []
    for ward, row in sorted(shown.items()):
        share = Share(*row.numbers) if row.numbers else Share(0, 0)
        rows.append((ward, row.count, row.total, share.value, *(share.limits or (None, None))))
    columns = (Column("Ward"), *map(Column, names, numbers))
    return Table(_key(measure), _caption(measure, source), columns, tuple(rows))


def time_table(measure: Measure, source: Source, patients: Patients, profile: Profile) -> Table:
    """Return each ward's share of time in limit where enough patients had therapy there."""
    _, part = key_and_part(measure)
    rows = source.by_ward("part_cover_monthly", part=part).select("ward", "cover_rate").rows()
    cells = tuple(
        (
            ward,
            WITHHELD
            if not enough(patients.get((ward, source.month), 0), profile)
            else None
            if value is None
            else rounded(value, "share"),
        )
        for ward, value in rows
    )
    columns = (Column("Ward"), Column("Share in limit", "share"))
    return Table(_key(measure), _caption(measure, source), columns, cells)


def _key(measure: Measure) -> str:
    return f"wards-{measure.key.replace(':', '-')}"


def _caption(measure: Measure, source: Source) -> str:
    return f"{measure.subject} by ward, {source.month_words}"
