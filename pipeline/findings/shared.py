"""The shared edition: what of a site's findings may leave the team, and nothing that is not named here.

Only the measures listed in `shared_measures`, the months that records cover and the site's own limits are carried
over; a new measure, figure, list or sentence stays at home until it is listed. Every count comes from
`pipeline.disclosure`; titles, intervals, baselines, limits and signals are made anew from what is printed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.disclosure import (
    NOTHING,
    Left,
    Printed,
    Profile,
    changed_months,
    fingerprint,
    hides,
    is_against,
)
from pipeline.findings.control_figures import control_figure
from pipeline.findings.definitions import of_charts
from pipeline.findings.evidence import against, claim
from pipeline.findings.model import (
    DECIDE,
    QUALITY_LEAD,
    STATUSES,
    UNKNOWN,
    Attention,
    Cell,
    Column,
    Figure,
    Measure,
    Section,
    SiteFindings,
    Table,
)
from pipeline.findings.quality import uncovered
from pipeline.findings.shared_measures import (
    SHARES,
    Patients,
    Shared,
    key_and_part,
    patients_by_ward,
    printed_months,
    shared_measure,
)
from pipeline.findings.shared_wards import share_table, time_table, ward_shares
from pipeline.findings.source import Source
from pipeline.findings.wording import listed, lower_first, of_total, part_words, shown
from pipeline.signals.definitions import MEANING, rule_set_in_words

#: Figures and tables that hold no count of people or events, carried over as they are.
_AS_THEY_ARE = ("coverage", "limits")

_READER = "readers outside the team"


@dataclass(frozen=True)
class SharedEdition:
    """A site's findings as they may leave, and what is to be remembered of them."""

    findings: SiteFindings
    left: Left


@dataclass(frozen=True)
class _Told:
    """One measure as it is shared, with its wards unless an earlier edition stands against them."""

    shared: Shared
    wards: dict[str, Printed]
    is_withheld: bool


def shared_edition(
    found: SiteFindings, source: Source, profile: Profile, earlier: Sequence[Left], *, is_poor: bool
) -> SharedEdition:
    """Return a site's findings as they may leave; ``found`` are those of the team's own page.

    ``earlier`` are the site's shared editions so far; ``is_poor`` says that the quality gate was overridden.
    """
    patients = patients_by_ward(source)
    months = printed_months(found.measures, profile)
    changed = changed_months(months, profile, earlier)
    told = [
        _Told(
            shared, wards, source.month in changed or is_against(wards, _of_wards(earlier, source, measure))
        )
        for measure in found.measures
        if (shared := shared_measure(measure, source, patients, profile, changed))
        for wards in [ward_shares(measure, source, profile)]
    ]
    names = {section.key: section.model for section in found.sections}
    chapters = [
        _chapter(source, key, names[key], [item for item in told if item.shared.measure.section == key], patients,
                 profile)
        for key in dict.fromkeys(item.shared.measure.section for item in told)
    ]  # fmt: skip
    sections = (*chapters, _records(found, source))
    models = {section.model for section in sections}
    findings = replace(
        found,
        scope="Site and ward aggregates",
        signals=(rule_set_in_words(source.rules), MEANING),
        attention=_attention(source, [item.shared.measure for item in told], is_poor),
        measures=tuple(item.shared.measure for item in told),
        sections=sections,
        definitions=(
            of_charts(source.rules),
            *(item for item in found.definitions if item.key in models),
        ),
        shared=_notice(profile),
        line_months=(),
        lines=(),
    )
    left = Left(
        month=source.month,
        profile=profile.name,
        wards={
            item.shared.measure.key: (fingerprint(item.wards), hides(item.wards))
            for item in told
            if item.wards and not item.is_withheld
        },
        months={month: fingerprint(rows) for month, rows in months.items() if month not in changed},
    )
    return SharedEdition(findings, left)


def _of_wards(earlier: Sequence[Left], source: Source, measure: Measure) -> list[tuple[str, bool]]:
    """Return what earlier editions of the month showed of a measure's wards, whichever profile hid the rest."""
    same = [left.wards for left in earlier if left.month == source.month]
    return [wards[measure.key] for wards in same if measure.key in wards]


def _notice(profile: Profile) -> tuple[str, ...]:
    return (
        "Shared edition: figures of the site and its wards. Cases, units and patients are in the site's own report.",
        profile.words,
        "Shares, intervals, baselines and limits are computed from the numbers as they are shown here, so sums may "
        f"differ a little. “{NOTHING.count}” stands where a number would tell a hidden one. Hidden is not none.",
    )


def _chapter(
    source: Source, key: str, name: str, told: list[_Told], patients: Patients, profile: Profile
) -> Section:
    """Return the section of some measures: their months, and their wards where these may be told."""
    figures, tables, withheld = [], [], []
    for item in told:
        measure = item.shared.measure
        months = _months(item.shared, source)
        if any(point.value is not None for point in measure.points):
            figures.append(months)
        else:
            tables.append(months.table)
        if item.is_withheld:
            withheld.append(measure.subject)
        elif item.wards:
            tables.append(share_table(measure, source, item.wards))
        elif key_and_part(measure)[0] == "part_cover":
            tables.append(time_table(measure, source, patients, profile))
    reasons = (
        f"{listed(withheld)}: not told by ward, for an earlier shared edition of the month told them otherwise, and "
        "one could be set against the other.",
    )
    model = source.models[name]
    return Section(
        key=key,
        model=name,
        title=model.text("title"),
        question=model.text("question"),
        reader=_READER,
        paragraphs=reasons if withheld else (),
        caveats=model.header.get("caveat", ()),
        figures=tuple(figures),
        tables=tuple(table for table in tables if table.rows),
    )


def _months(shared: Shared, source: Source) -> Figure:
    """Return the chart of the months, with words for counts that are not numbers."""
    measure = shared.measure
    key = f"months-{measure.key.replace(':', '-')}"
    figure = control_figure(source, shared.chart, key, "half") if shared.chart else _unjudged(measure, source)
    names = [column.name for column in figure.table.columns]
    rows = tuple(_in_words(dict(zip(names, row, strict=True)), shared.shown) for row in figure.table.rows)
    return replace(figure, key=key, table=replace(figure.table, key=key, rows=rows))


def _unjudged(measure: Measure, source: Source) -> Figure:
    """Return the chart of months that nothing judges; a count out of a total has its interval."""
    months = measure.points[-len(source.shown_months) :]
    is_share = key_and_part(measure)[0] in SHARES
    counts = (Column("Cases", "count"), Column("Of", "count")) if is_share else ()
    values = (Column(name, measure.unit) for name in (("Value", "Low", "High") if is_share else ("Value",)))
    rows = tuple(
        (item.month, item.count, item.total, item.value, item.low, item.high) if is_share
        else (item.month, item.value)
        for item in months
    )  # fmt: skip
    columns = (Column("Month", "month"), *counts, *values)
    table = Table(measure.key, f"{measure.subject} by month", columns, rows)
    now, told = measure.now.value, lower_first(measure.reading)
    title = f"{measure.subject}: {told if now is None else f'{shown(now, measure.unit)} – {told}'}"
    return Figure(measure.key, f"control_{measure.unit}", title, f"{measure.subject}, {source.period}", table)


def _in_words(row: dict[str, Cell], shown: Mapping[str, Printed]) -> tuple[Cell, ...]:
    told = shown.get(str(row["Month"]))
    if told and not told.numbers:
        row |= {"Cases": told.count, "Of": told.total}
    return tuple(row.values())


def _records(found: SiteFindings, source: Source) -> Section:
    """Return what the records cover, and the site's own limits."""
    figures = tuple(
        item for section in found.sections for item in section.figures if item.key in _AS_THEY_ARE
    )
    tables = tuple(item for section in found.sections for item in section.tables if item.key in _AS_THEY_ARE)
    return Section(
        key="records",
        model="",
        title="What the records cover",
        question="Which months can be judged at all?",
        reader=_READER,
        paragraphs=(),
        caveats=("what was never exported is left out of every rate; it is no good news",),
        figures=figures,
        tables=tables,
    )


def _attention(source: Source, measures: list[Measure], is_poor: bool) -> tuple[Attention, ...]:
    """Return what the shared numbers themselves call for; single cases are told at home."""
    matters = [_signal(measure) for measure in measures if measure.status == DECIDE]
    if is_poor:
        headline = "This page was published although the data fell short of the site's own gate"
        matters.insert(
            0, Attention(DECIDE, headline, "The site's own report says where.", QUALITY_LEAD, "records")
        )
    gaps = [part_words(table) for table in uncovered(source)]
    if gaps:
        evidence = "What rests on them is left out of every rate and is no good news."
        headline = f"No records of {listed(gaps)} for {source.month_words}"
        matters.append(Attention(UNKNOWN, headline, evidence, QUALITY_LEAD, "records"))
    return tuple(sorted(matters, key=lambda matter: STATUSES.index(matter.status)))


def _signal(measure: Measure) -> Attention:
    evidence = f"{of_total(measure.now, measure.unit)}, as it is shown here. {against(measure)}"
    return Attention(measure.status, claim(measure), evidence, QUALITY_LEAD, measure.section)
