"""The section on overruns: parts that stayed past the site's own limit."""

from __future__ import annotations

from pipeline.findings.control_figures import control_figures
from pipeline.findings.days import calendars
from pipeline.findings.figures import section_of
from pipeline.findings.model import WARD, Column, Section, Table
from pipeline.findings.source import Source, ward_table
from pipeline.findings.wording import counted, part_words, sentence, shown
from pipeline.site_rules import PartRule

_TABLE = "part_overrun_monthly"
_COLUMNS = {
    "decided": ("Decided", "count"),
    "overrun": ("Past the limit", "count"),
    "due": ("Due", "count"),
    "overrun_rate": ("Of decided", "share"),
    "rate_low": ("Low", "share"),
    "rate_high": ("High", "share"),
    "overrun_of_due_rate": ("Of due", "share"),
    "overrun_days": ("Days past the limit", "number"),
}


def overruns(source: Source) -> Section:
    """Return how often parts stayed past the site's limit, by month and by ward."""
    told = (
        "A span is decided in the month in which it ended, or ran past its limit. The charts take those that were due: "
        f"in place up to their limit. In {source.month_words}, of all decided: {_of_decided(source)}."
    )
    figures = [
        figure
        for part in source.limited_parts
        for figure in control_figures(source, f"overrun_of_due:{part}", f"overruns-{part}", "third")
    ]
    tables = (_limits(source), ward_table(source, _TABLE, "Overruns", _COLUMNS, by="part"))
    return section_of(
        source,
        "overruns",
        _TABLE,
        WARD,
        paragraphs=(told,),
        figures=(*figures, *calendars(source)),
        tables=tables,
    )


def _of_decided(source: Source) -> str:
    rows = [(part, source.now(_TABLE, part=part)) for part in source.limited_parts]
    told = [
        f"{part_words(part)} {shown(now['overrun'], 'count')} of {shown(now['decided'], 'count')}"
        for part, now in rows
        if now
    ]
    return "; ".join(told) or "none"


def _limit(rule: PartRule, grace_h: float) -> str:
    days = counted(1, "day") if rule.max_days == 1 else f"{rule.max_days:g} days"
    return f"{days} and {grace_h:g} h of grace" if grace_h else days


def _limits(source: Source) -> Table:
    rows = tuple(
        (
            sentence(part_words(part)),
            "no limit" if rule.max_days is None else _limit(rule, source.rules.grace_h),
            "whole local days" if rule.clock == "calendar" else "hours since fitting",
            "yes" if rule.per_patient else "no",
            f"the {rule.follows}",
        )
        for part, rule in sorted(source.rules.parts.items())
    )
    names = ("Part", "Limit", "Counted in", "New for each patient", "Stays with")
    return Table("limits", "The site's own limits, as its rules state them", tuple(map(Column, names)), rows)
