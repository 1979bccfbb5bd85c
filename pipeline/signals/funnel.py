"""A fair look at wards side by side: funnel limits, ratios and shrunken rates; never an order of wards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.measures.funnel_limits import LEAST_UNITS, funnel_limits, over_dispersion
from pipeline.measures.intervals import clopper_pearson
from pipeline.measures.shrinkage import Shrunken, shrunken_ratios, shrunken_shares
from pipeline.signals.rates import Ratio
from pipeline.signals.series import SHARES, SITE, Series

#: Months that are taken together.
POOLED_MONTHS = 12

#: A ward is called out only with so many of the rarer outcome: seen where it has more, expected where fewer.
LEAST_EVENTS = 5

#: Wards between these limits look like the rest; the inner pair is drawn, the outer one calls a ward out.
INNER, OUTER = 0.95, 0.998

_CURVE_STEPS = 48


@dataclass(frozen=True)
class FunnelLimits:
    """The inner and outer limits for a ward of so many cases."""

    total: int
    inner_low: float
    inner_high: float
    outer_low: float
    outer_high: float


@dataclass(frozen=True)
class FunnelWard:
    """A ward's share with exact 95 % limits, the funnel's limits at its size, and the share drawn in.

    ``outside`` is `above` or `below` when the ward is called out, else empty. ``ratio`` counts the rarer
    outcome against what the site's share leads to expect; ``shrunken_ratio`` is that drawn in towards 1.
    """

    ward: str
    count: int
    total: int
    value: float
    low: float
    high: float
    limits: FunnelLimits
    outside: str
    ratio: Ratio
    shrunken: Shrunken | None
    shrunken_ratio: Shrunken | None


@dataclass(frozen=True)
class Funnel:
    """Wards of one measure over some months, in the order of the alphabet; limits are around the site's share.

    ``dispersion`` is the variance ratio that the limits were widened by: 1 where none is shown.
    """

    site_id: str
    measure: str
    better: str
    months: tuple[str, ...]
    count: int
    total: int
    centre: float
    dispersion: float
    wards: tuple[FunnelWard, ...]
    curve: tuple[FunnelLimits, ...]
    sentence: str


def funnels(wanted: Sequence[Series], until: str, months: int = POOLED_MONTHS) -> tuple[Funnel, ...]:
    """Return a funnel of each of a site's measures that count cases, over the months up to ``until``.

    Hours in limit and water are left out: hours of one episode go together, so binomial limits do not hold.
    Measures with fewer than two wards, or without any case that went the rarer way, have none.
    """
    series = [item for item in wanted if item.kind == SHARES and item.ward != SITE]
    names = sorted({item.measure for item in series})
    found = (_funnel([item for item in series if item.measure == name], until, months) for name in names)
    return tuple(funnel for funnel in found if funnel)


def _funnel(wards: Sequence[Series], until: str, months: int) -> Funnel | None:
    kept = tuple(month for month in wards[0].months if month <= until)[-months:]
    sums = [(item.ward, *_sums(item, kept)) for item in wards]
    sums = [(ward, count, total) for ward, count, total in sums if total]
    if len(sums) < 2:
        return None
    counts, totals = [count for _, count, _ in sums], [total for _, _, total in sums]
    centre = sum(counts) / sum(totals)
    if not 0 < centre < 1:
        return None
    dispersion = over_dispersion(counts, totals)
    found = _wards(sums, centre, dispersion)
    first = wards[0]
    return Funnel(
        first.site_id, first.measure, first.better, kept, sum(counts), sum(totals), centre, dispersion, found,
        _curve(totals, centre, dispersion), _sentence(found, dispersion),
    )  # fmt: skip


def _sums(series: Series, months: Sequence[str]) -> tuple[int, int]:
    places = [place for place, month in enumerate(series.months) if month in months]
    return round(sum(series.counts[place] for place in places)), round(
        sum(series.totals[place] for place in places)
    )


def _wards(sums: Sequence[tuple[str, int, int]], centre: float, dispersion: float) -> tuple[FunnelWard, ...]:
    counts, totals = [count for _, count, _ in sums], [total for _, _, total in sums]
    rarer = [count if centre <= 0.5 else total - count for count, total in zip(counts, totals, strict=True)]
    expected = [total * min(centre, 1 - centre) for total in totals]
    shares: Sequence[Shrunken | None] = shrunken_shares(counts, totals) or [None] * len(sums)
    ratios = shrunken_ratios(rarer, expected)
    found = []
    for place, (ward, count, total) in enumerate(sums):
        limits = _limits(total, centre, dispersion)
        own = clopper_pearson(count, total)
        assert own is not None
        ratio = Ratio(rarer[place], expected[place])
        outside = _outside(count / total, limits, ratio)
        found.append(
            FunnelWard(
                ward, count, total, count / total, *own, limits, outside, ratio, shares[place], ratios[place]
            )
        )
    return tuple(sorted(found, key=lambda item: item.ward))


def _outside(value: float, limits: FunnelLimits, ratio: Ratio) -> str:
    """Say on which side a ward is called out; not at fewer events than the limits support."""
    events = ratio.observed if ratio.observed > ratio.expected else ratio.expected
    if events < LEAST_EVENTS:
        return ""
    if value > limits.outer_high:
        return "above"
    return "below" if value < limits.outer_low else ""


def _limits(total: int, centre: float, dispersion: float) -> FunnelLimits:
    inner, outer = (funnel_limits(total, centre, level, dispersion) for level in (INNER, OUTER))
    return FunnelLimits(total, *inner, *outer)


def _curve(totals: Sequence[int], centre: float, dispersion: float) -> tuple[FunnelLimits, ...]:
    first, last = max(1, min(totals) // 2), round(max(totals) * 1.1) + 1
    step = max(1, (last - first) // _CURVE_STEPS)
    return tuple(_limits(total, centre, dispersion) for total in range(first, last + 1, step))


def _sentence(wards: Sequence[FunnelWard], dispersion: float) -> str:
    """Say what the funnel shows, and nothing of the wards' order."""
    apart = [ward for ward in wards if ward.outside]
    small = sum(ward.ratio.expected < LEAST_EVENTS for ward in wards)
    told = [
        f"{len(apart)} of {len(wards)} wards lie outside the 99.8% limits: look further there"
        if apart
        else f"No ward of {len(wards)} lies outside the 99.8% limits: they differ as chance has it"
    ]
    if dispersion > 1:
        told.append(
            f"wards vary {dispersion:.1f} times as much as chance alone, and the limits are widened for it"
        )
    if len(wards) < LEAST_UNITS:
        told.append("with so few wards nothing shows whether all of them vary by more than chance")
    if small:
        told.append(
            f"{small} of them with fewer than {LEAST_EVENTS} cases expected can hardly be told from the rest"
        )
    return "; ".join(told) + "."
