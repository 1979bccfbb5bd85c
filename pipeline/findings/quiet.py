"""Sources that have gone quiet: a finding of its own, for what rests on them is not as good as it looks."""

from __future__ import annotations

from pipeline.findings.model import Column, Table
from pipeline.findings.source import Source
from pipeline.findings.wording import part_words
from pipeline.freshness import QuietSource, quiet_sources


def quiet(source: Source) -> list[QuietSource]:
    """Return the site's sources that are quiet at the month's end, or at the run's instant where that is earlier."""
    instant = min(source.published.as_of, source.bounds[1])
    return [item for item in quiet_sources(source.published, instant) if item.site_id == source.site_id]


def quiet_table(source: Source) -> Table:
    """Return every quiet source with its silence and its usual rhythm."""
    columns = (
        Column("Records of"), Column("Unit", "unit"), Column("Ward"), Column("Last row", "instant"),
        Column("Silent", "hours"), Column("Usual gap", "hours"), Column("Quiet after", "hours"),
    )  # fmt: skip
    rows = tuple(
        (part_words(item.table), item.unit_id, item.ward, item.last_at, item.silent_h, item.usual_gap_h,
         item.quiet_after_h)
        for item in quiet(source)
    )  # fmt: skip
    caption = f"Sources gone quiet by the end of {source.month_words}: {len(rows) or 'none'}"
    return Table("quiet", caption, columns, rows, "Each source sent rows within its usual rhythm.")
