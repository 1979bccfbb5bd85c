"""The section on control charts as a whole: how many signal, how many would by chance, and every signal listed."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.findings.charted import charts_of, instant_of, is_of_gaps, points_in, signals_now
from pipeline.findings.control_figures import BETWEEN, CHART_WORDS, control_figure, signal_words
from pipeline.findings.model import QUALITY_LEAD, Cell, Column, Section, Table
from pipeline.findings.months import month_name, months_in_words
from pipeline.findings.naming import kind_of
from pipeline.findings.source import SITE, Source
from pipeline.findings.wording import counted, listed, shown
from pipeline.signals.charts import Chart
from pipeline.signals.definitions import MEANING, rule_set_in_words
from pipeline.signals.false_alarms import expected_by_chance

#: Charts of wards that are drawn; what more of them signal stands in the list of every signal.
_MOST_DRAWN = 6

#: Months whose signals are listed; the charts mark those of all months that they show.
LISTED_MONTHS = 12


def signals_in_time(source: Source) -> Section:
    """Return what the charts of site and wards signal, those of wards that signal this month drawn."""
    own = [chart for chart in every_chart(source) if chart.ward != SITE]
    signalling = [chart for chart in own if signals_now(source, (chart,))]
    drawn = signalling[:_MOST_DRAWN]
    more = len(signalling) - len(drawn)
    told = [by_chance(source, own, "of wards' own"), MEANING]
    told += (
        [f"{counted(more, 'chart')} more of wards signal this month; their signals are listed."]
        if more
        else []
    )
    return Section(
        key="signals",
        model="",
        title="Charts of wards, and every signal",
        question="Where do the charts ask to look further, and how often would they by chance?",
        reader=QUALITY_LEAD,
        paragraphs=tuple(told),
        caveats=(
            "a ward has a chart of its own where its records suffice; the funnels take those of all wards",
        ),
        figures=tuple(
            control_figure(source, chart, f"ward-{number}", "half") for number, chart in enumerate(drawn, 1)
        ),
        tables=(_every_signal(source), _without_chart(source)),
    )


def every_chart(source: Source) -> list[Chart]:
    """Return the charts of the site and its wards, up to the month of the report."""
    pairs = dict.fromkeys((chart.measure, chart.ward) for chart in source.charts.drawn)
    return [chart for measure, ward in pairs for chart in charts_of(source, measure, ward)]


def by_chance(source: Source, charts: Sequence[Chart], whose: str) -> str:
    """Say how many of some charts signal at their latest point this month, and how many would by chance."""
    latest = [points[-1] for chart in charts if (points := points_in(source, chart, (source.month,)))]
    if not latest:
        return f"None {whose} charts has a point in {source.month_words}."
    signals = sum(bool(point.signal) for point in latest)
    chance = expected_by_chance([point.chart for point in latest], source.rules.signal_rules)
    return (
        f"Of {len(latest):,} {whose} charts with a point in {source.month_words}, {signals:,} signal at the latest; "
        f"about {chance:.1f} would though nothing changed."
    )


def _every_signal(source: Source) -> Table:
    months = source.shown_months[-LISTED_MONTHS:]
    rows = [
        (
            "the site" if chart.ward == SITE else chart.ward,
            kind_of(chart.measure).subject,
            CHART_WORDS[point.chart],
            shown(instant_of(point), "instant", source.zone)
            if is_of_gaps(chart)
            else month_name(point.period),
            *(shown(value, _unit(chart)) for value in (point.value, point.centre, point.lower, point.upper)),
            signal_words(point),
        )
        for chart in every_chart(source)
        for point in points_in(source, chart, months)
        if point.signal
    ]
    names = (
        "Where",
        "Measure",
        "Chart",
        "Month or case",
        "Value",
        "Centre",
        "Lower limit",
        "Upper limit",
        "Signal",
    )
    caption = f"Every signal of the charts, {months_in_words(months)}: {len(rows):,}"
    return Table("signals", caption, tuple(map(Column, names)), tuple(rows), "No chart signals.", folded=True)


def _unit(chart: Chart) -> str:
    drawn_as = chart.stretches[-1].chart
    return BETWEEN[drawn_as][0] if is_of_gaps(chart) else kind_of(chart.measure).unit


def _without_chart(source: Source) -> Table:
    """Return for each measure the wards whose records do not suffice; the definitions say what would."""
    wards: dict[str, list[str]] = {}
    for thin in source.charts.too_thin:
        if thin.ward != SITE:
            wards.setdefault(thin.measure, []).append(thin.ward)
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (kind_of(measure).subject, len(names), listed(names)) for measure, names in sorted(wards.items())
    )
    columns = (Column("Measure"), Column("Wards", "count"), Column("Too few cases or months in", "words"))
    return Table("without-chart", "Wards without a chart of their own", columns, rows, "Every ward has one.",
                 folded=True)  # fmt: skip


def about_signals(source: Source) -> tuple[str, ...]:
    """Return what is printed beside the measures at a glance: the rules in force, their meaning, and chance."""
    site = [chart for chart in every_chart(source) if chart.ward == SITE]
    return rule_set_in_words(source.rules), MEANING, by_chance(source, site, "of the site's")
