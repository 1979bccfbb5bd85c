"""The section that compares: wards side by side by funnels, and before and after what was declared to have changed."""

from __future__ import annotations

from pipeline.findings.model import QUALITY_LEAD, Cell, Column, Figure, Section, Table
from pipeline.findings.months import months_in_words
from pipeline.findings.naming import kind_of
from pipeline.findings.source import SITE, Source
from pipeline.findings.wording import counted, lower_first
from pipeline.signals.change import Comparison, comparisons
from pipeline.signals.funnel import LEAST_EVENTS, Funnel, FunnelWard, funnels

_SHARES = (
    "Share", "Low", "High", "Drawn in", "Drawn in, low", "Drawn in, high", "95% from", "95% to", "99.8% from",
    "99.8% to",
)  # fmt: skip
_RATIOS = ("Observed to expected", "Ratio, low", "Ratio, high", "Ratio, drawn in")
_WARD_COLUMNS = (
    Column("Ward"), Column("Cases", "count"), Column("Of", "count"), *(Column(name, "share") for name in _SHARES),
    *(Column(name, "ratio") for name in _RATIOS), Column("Outside 99.8%"),
)  # fmt: skip
_CURVE_COLUMNS = (
    Column("Of", "count"),
    *(Column(name, "share") for name in ("95% from", "95% to", "99.8% from", "99.8% to")),
)


def compared(source: Source) -> Section:
    """Return the funnels that cases suffice for, the other wards' rates in a table, and changes before and after."""
    found = funnels(source.all_series, source.month)
    drawn = [funnel for funnel in found if _suffices(funnel)]
    changes = comparisons(source.all_series, source.rules, source.month)
    told = [
        "Wards stand in the order of the alphabet and are never ranked. A hollow ring beside a ward's own share is "
        "that share drawn in towards the site's, the more the fewer cases the ward has."
    ]
    if not changes:
        told.append(
            "Nothing is compared before and after: the site's rules declare no change ([[events]] in site.toml) of a "
            "measure that counts cases."
        )
    figures = [_funnel(funnel, number) for number, funnel in enumerate(drawn, 1)]
    return Section(
        key="compared",
        model="",
        title="Wards side by side, before and after",
        question="Do wards differ by more than chance, and did the rates move after a declared change?",
        reader=QUALITY_LEAD,
        paragraphs=tuple(told),
        caveats=(
            "a ward outside the limits is one to look at further: patients, case mix and records differ between wards",
            "a rate that moved after a change does not show that the change is the reason",
        ),
        figures=(*figures, *_change_figures(changes)),
        tables=(_not_drawn([funnel for funnel in found if not _suffices(funnel)]),),
    )


def _suffices(funnel: Funnel) -> bool:
    """Say whether any ward has enough cases expected for its limits to tell something."""
    return any(ward.ratio.expected >= LEAST_EVENTS or ward.outside for ward in funnel.wards)


def _funnel(funnel: Funnel, number: int) -> Figure:
    kind = kind_of(funnel.measure)
    table = Table(
        f"funnel-{number}", f"{kind.subject} by ward", _WARD_COLUMNS, tuple(map(_ward, funnel.wards))
    )
    curve = tuple(
        (step.total, step.inner_low, step.inner_high, step.outer_low, step.outer_high)
        for step in funnel.curve
    )
    outside = sum(bool(ward.outside) for ward in funnel.wards)
    title = f"{counted(outside, 'ward')} outside the limits" if outside else "wards differ as chance has it"
    return Figure(
        table.key, "funnel", f"{kind.subject}: {title}",
        f"{kind.plotted}, by number of cases, {months_in_words((funnel.months[0], funnel.months[-1]))}",
        table, lines=(("site", funnel.centre),), size="third",
        note=f"Exact limits around the site's share. {funnel.sentence}",
        ground=Table(table.key, "Limits of the funnel", _CURVE_COLUMNS, curve),
    )  # fmt: skip


def _ward(ward: FunnelWard) -> tuple[Cell, ...]:
    drawn_in, limits = ward.shrunken, ward.limits
    return (
        ward.ward, ward.count, ward.total, ward.value, ward.low, ward.high,
        *((drawn_in.value, drawn_in.low, drawn_in.high) if drawn_in else (None, None, None)),
        limits.inner_low, limits.inner_high, limits.outer_low, limits.outer_high,
        ward.ratio.value, ward.ratio.low, ward.ratio.high,
        ward.shrunken_ratio.value if ward.shrunken_ratio else None, ward.outside,
    )  # fmt: skip


def _not_drawn(found: list[Funnel]) -> Table:
    rows = tuple((kind_of(funnel.measure).subject, *_ward(ward)) for funnel in found for ward in funnel.wards)
    few = f"fewer than {LEAST_EVENTS} cases are expected in each"
    caption = f"Wards side by side where {few}: no limits could tell them apart"
    return Table("wards-too-few", caption, (Column("Measure"), *_WARD_COLUMNS), rows, "None.", folded=True)


def _change_figures(changes: tuple[Comparison, ...]) -> tuple[Figure, ...]:
    """Return the ratios of all comparisons in one figure, none without any."""
    if not changes:
        return ()
    columns = (
        Column("Compared"), Column("Cases before", "count"), Column("Of, before", "count"),
        Column("Cases since", "count"), Column("Of, since", "count"),
        Column("Ratio", "ratio"), Column("Low", "ratio"), Column("High", "ratio"),
        Column("What it shows", "words"),
    )  # fmt: skip
    table = Table("changes", "Before and after each declared change", columns, tuple(map(_change, changes)))
    thin = sum(item.too_thin for item in changes)
    title = f"{counted(len(changes), 'comparison')} of before and after" + (
        f", {thin} too thin to tell" if thin else ""
    )
    subtitle = "Cases that went amiss, rate since the change over the rate before, exact 95% limits, logarithmic axis"
    return (Figure("changes", "ratios", title, subtitle, table, lines=(("as before", 1.0),), size="full"),)


def _change(item: Comparison) -> tuple[Cell, ...]:
    where = "the site" if item.ward == SITE else item.ward
    name = f"{item.change.what}: {lower_first(kind_of(item.measure).subject)}, {where}"
    low, high = item.limits or (None, None)
    return (
        name, item.before.events, round(item.before.exposure), item.after.events, round(item.after.exposure),
        item.ratio, low, None if high == float("inf") else high, item.sentence,
    )  # fmt: skip
