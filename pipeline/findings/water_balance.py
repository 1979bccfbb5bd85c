"""Water hung against water modelled by ward and unit, where the gap lies, and how far the model can be trusted."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.findings.model import Cell, Column, Figure, Table
from pipeline.findings.months import months_in_words
from pipeline.findings.source import SITE, Source
from pipeline.findings.wording import counted, shown
from pipeline.signals.water_audit import WaterAudit, WaterGap, WaterRatio, water_audit
from pipeline.signals.water_uncertainty import Uncertainty

_RATIO_COLUMNS = (
    Column("Unit", "unit"), Column("Months", "count"), Column("Hung", "millilitres"), Column("Modelled", "millilitres"),
    Column("Value", "ratio"), Column("Low", "ratio"), Column("High", "ratio"), Column("Pool from", "ratio"),
    Column("Pool to", "ratio"), Column("Stands apart"),
)  # fmt: skip


def water_balance(source: Source) -> tuple[str, tuple[Figure, ...], tuple[Table, ...]]:
    """Return the audit of the last twelve months: in words, the units as a figure, wards and gap as tables."""
    found = water_audit(source.published, source.site_id, source.month)
    period = months_in_words((found.months[0], found.months[-1]))
    told = f"{found.sentence}{_trusted(found.uncertainty)}"
    tables = (_wards(found, period), _gaps(found.gaps, period), *_inputs(found.uncertainty))
    return told, (_units(found, period),), tables


def _trusted(spread: Uncertainty | None) -> str:
    if spread is None:
        return ""
    low, high = (shown(limit, "ratio") for limit in spread.limits)
    return (
        " Flow reference, inlet humidity and bag fill are not known exactly: together they allow a ratio of "
        f"{low} to {high} (about 95%)."
    )


def _units(found: WaterAudit, period: str) -> Figure:
    units = [ratio for ratio in found.ratios if ratio.kind == "unit"]
    apart = sum(bool(ratio.outside) for ratio in units)
    title = (
        f"{apart or 'None'} of {counted(len(units), 'unit')} apart from the pool in water hung to modelled"
    )
    subtitle = f"Ratio by unit in the order of names, 95% limits from how months differ, {period}"
    table = Table("water-units", "Water hung to modelled by unit", _RATIO_COLUMNS, tuple(map(_ratio, units)))
    lines = next(
        ((("pool", unit.lower), ("pool", unit.upper)) for unit in units if unit.lower and unit.upper), ()
    )
    note = "Dashed: three robust sigmas around the pool's median. An estimate: look at the bags and the unit."
    return Figure("water-units", "pool_ratio", title, subtitle, table, lines=lines, size="full", note=note)


def _ratio(ratio: WaterRatio) -> tuple[Cell, ...]:
    return (
        "the site" if ratio.name == SITE else ratio.name, ratio.months, ratio.hung_ml, ratio.modelled_ml, ratio.ratio,
        *(ratio.limits or (None, None)), ratio.lower, ratio.upper, ratio.outside,
    )  # fmt: skip


def _wards(found: WaterAudit, period: str) -> Table:
    columns = (Column("Ward"), *_RATIO_COLUMNS[1:])
    rows = tuple(_ratio(ratio) for ratio in found.ratios if ratio.kind == "ward")
    return Table("water-wards", f"Water hung to modelled by ward, {period}", columns, rows)


def _gaps(gaps: Sequence[WaterGap], period: str) -> Table:
    names = (
        "Hung",
        "Modelled",
        "Hung less modelled",
        "Ends thrown away",
        "Needed, no bag recorded",
        "Not taken up, low dew point",
    )
    columns = (Column("Ward"), *(Column(name, "millilitres") for name in names))
    rows = tuple(
        ("the site" if gap.ward == SITE else gap.ward, gap.hung_ml, gap.modelled_ml, gap.gap_ml, gap.ends_ml,
         gap.missing_ml, gap.low_dew_point_ml)
        for gap in gaps
    )  # fmt: skip
    caption = f"Where hung less modelled lies, {period}: ends thrown away + low dew point − no bag recorded; estimates"
    return Table("water-gap", caption, columns, rows)


def _inputs(spread: Uncertainty | None) -> tuple[Table, ...]:
    if spread is None:
        return ()
    columns = (Column("Input of the model"), Column("In force"), Column("At least"), Column("At most"),
               Column("Ratio at least", "ratio"), Column("Ratio at most", "ratio"))  # fmt: skip
    rows = tuple(
        (item.name, item.in_force, item.low, item.high, item.ratio_at_low, item.ratio_at_high)
        for item in spread.inputs
    )
    return (
        Table("water-inputs", "How far the ratio moves with each input of the model alone", columns, rows),
    )
