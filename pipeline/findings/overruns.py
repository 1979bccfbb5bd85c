"""The section on overruns: parts that stayed past the site's own limit."""

from __future__ import annotations

from pipeline.findings.figures import control_figure, interval_table, section_of, ward_sums, ward_title
from pipeline.findings.model import WARD, Column, Figure, Measure, Section, Table
from pipeline.findings.source import Source
from pipeline.findings.wording import counted, part_words, sentence
from pipeline.site_rules import PartRule

_TABLE = "part_overrun_monthly"

#: Months pooled beside a single one, which is too small to judge a ward by.
POOLED_MONTHS = 12


def overruns(source: Source, measures: tuple[Measure, ...]) -> Section:
    """Return how often parts stayed past the site's limit, by month and by ward."""
    by_key = {measure.key: measure for measure in measures}
    figures = [
        figure
        for part in source.limited_parts
        for measure in [by_key[f"overruns-{part}"]]
        for figure in (_by_month(source, part, measure), _by_ward(source, part, measure))
    ]
    told = (
        "A span is decided in the month in which it ended, or ran past its limit. Wards stand in the order of the "
        "alphabet: the intervals of small wards are wide, and their order would say nothing."
    )
    tables = (_limits(source),)
    return section_of(
        source, "overruns", _TABLE, WARD, paragraphs=(told,), figures=tuple(figures), tables=tables
    )


def _by_month(source: Source, part: str, measure: Measure) -> Figure:
    limit = _limit(source.rules.parts[part], source.rules.grace_h)
    return control_figure(measure, f"Spans past the limit of {limit}, % of those decided, {source.period}")


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


def _by_ward(source: Source, part: str, measure: Measure) -> Figure:
    months = min(POOLED_MONTHS, len(source.months))
    month = source.by_ward(_TABLE, part=part)
    pooled = source.by_ward(_TABLE, months, part=part)
    rows = [
        (ward, period, count, total)
        for period, found in ((source.month_words, month), (f"{months} months to then", pooled))
        for ward, count, total in ward_sums(found, "overrun", "decided")
    ]
    subject = f"{sentence(part_words(part))}s past the limit"
    key = f"wards-overruns-{part}"
    return Figure(
        key,
        "intervals",
        ward_title(subject, measure, month, "overrun", "decided"),
        f"% of spans decided, 95% intervals: {source.month_words}, and faint the {months} months to then",
        interval_table(key, f"{subject} by ward", "Ward", rows),
        lines=() if measure.now.value is None else (("site", measure.now.value),),
    )
