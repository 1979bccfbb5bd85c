"""Water hung against water modelled, per ward and unit, and where the gap between them lies."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.measures.humidity import WATER_G_PER_ML, water_per_litre_ng
from pipeline.measures.intervals import Limits
from pipeline.measures.robust import ratio_limits, robust_scale
from pipeline.signals.months import months_up_to, with_month
from pipeline.signals.series import SITE
from pipeline.signals.water_uncertainty import Uncertainty, uncertainty
from pipeline.site_rules import SiteRules

if TYPE_CHECKING:
    from pipeline.measures.published import Published

POOLED_MONTHS = 12

#: A unit or ward is judged only with so many litres modelled, and only beside so many of its kind.
LEAST_LITRES, LEAST_POOL = 20, 5

#: Robust sigmas from the pool's median at which a ratio stands apart.
FAR = 3.0

_MINUTES_PER_DAY = 1440


@dataclass(frozen=True)
class WaterRatio:
    """Water hung to water modelled of one ward or unit, with 95 % limits from how its months differ.

    ``lower`` and ``upper`` are the robust limits of its pool, ``outside`` the side on which it stands apart;
    both are empty where it, or its pool, is too small.
    """

    kind: str
    name: str
    months: int
    hung_ml: float
    modelled_ml: float
    ratio: float
    limits: Limits | None
    lower: float | None
    upper: float | None
    outside: str


@dataclass(frozen=True)
class WaterGap:
    """Where hung less modelled went, in mL; estimates, that add up.

    The gap is ends + low dew point - missing: ``missing_ml`` was needed while no bag is on record,
    ``low_dew_point_ml`` was not taken up because the gas was drier than the target, and ``ends_ml`` is what is
    left, the ends of bags thrown away. A part that cannot be told is None and lies in the ends.
    """

    ward: str
    hung_ml: float
    modelled_ml: float
    ends_ml: float
    missing_ml: float | None
    low_dew_point_ml: float | None

    @property
    def gap_ml(self) -> float:
        """Hung less modelled."""
        return self.hung_ml - self.modelled_ml


@dataclass(frozen=True)
class WaterAudit:
    """A site's water over some months; ``uncertainty`` is that of the site's ratio."""

    site_id: str
    months: tuple[str, ...]
    ratios: tuple[WaterRatio, ...]
    gaps: tuple[WaterGap, ...]
    uncertainty: Uncertainty | None
    sentence: str


def water_audit(published: Published, site_id: str, until: str, months: int = POOLED_MONTHS) -> WaterAudit:
    """Return the audit over the months up to ``until``, of the months in which bags are covered."""
    rules = published.sites[site_id]
    kept = months_up_to(rules, until, months)
    monthly = published.read("water_monthly").filter(
        pl.col("month").is_in(kept), pl.col("hung_to_modelled").is_not_null(), site_id=site_id
    )
    wards = _ward_months(monthly)
    units = _unit_months(published, site_id, rules, monthly.filter(ward=SITE)["month"].to_list())
    ratios = (*_ratios("ward", wards), *_ratios("unit", units))
    site = next((ratio for ratio in ratios if ratio.name == SITE), None)
    spread = uncertainty(site.ratio, rules) if site else None
    gaps = _gaps(published, site_id, rules, monthly)
    return WaterAudit(site_id, kept, ratios, gaps, spread, _sentence(site, ratios))


def _ward_months(monthly: pl.DataFrame) -> pl.DataFrame:
    return monthly.filter(pl.col("ward").is_not_null()).select(
        name="ward", month="month", modelled_ml="water_modelled_ml",
        hung_ml=pl.col("hung_to_modelled") * pl.col("water_modelled_ml"),
    )  # fmt: skip


def _unit_months(published: Published, site_id: str, rules: SiteRules, months: Sequence[str]) -> pl.DataFrame:
    """Return each unit's water by month: bags hung on its days with modelled water, and that water."""
    days = published.read("therapy_days").filter(pl.col("water_modelled_ml").is_not_null(), site_id=site_id)
    days = days.group_by("unit_id", "local_date").agg(modelled_ml=pl.col("water_modelled_ml").sort().sum())
    bags = with_month(published.read("bag_runs").filter(site_id=site_id), "hung_at", rules)
    hung = bags.group_by("unit_id", "local_date").agg(hung_ml=pl.col("volume_ml").sum())
    water = days.join(hung, on=["unit_id", "local_date"], how="left")
    water = water.with_columns(month=pl.col("local_date").dt.strftime("%Y-%m")).filter(
        pl.col("month").is_in(months)
    )
    water = water.sort("unit_id", "local_date")
    sums = water.group_by("unit_id", "month", maintain_order=True).agg(pl.col("modelled_ml", "hung_ml").sum())
    return sums.select("month", "hung_ml", "modelled_ml", name="unit_id")


def _ratios(kind: str, rows: pl.DataFrame) -> Iterable[WaterRatio]:
    """Yield the ratio of each ward or unit in the order of its name."""
    known = rows.filter(pl.col("modelled_ml") > 0).sort("name", "month")
    sums = {name: part for (name,), part in known.group_by("name", maintain_order=True)}
    whole = {
        name: (math.fsum(part["hung_ml"]), math.fsum(part["modelled_ml"])) for name, part in sums.items()
    }
    pool = [
        math.log(hung / modelled)
        for name, (hung, modelled) in whole.items()
        if name != SITE and hung and modelled >= 1000 * LEAST_LITRES
    ]
    scale = robust_scale(pool) if len(pool) >= LEAST_POOL else None
    for name, (hung, modelled) in whole.items():
        lower, upper, outside = None, None, ""
        if scale and scale.spread and name != SITE and modelled >= 1000 * LEAST_LITRES:
            lower, upper = (math.exp(scale.centre + sign * FAR * scale.spread) for sign in (-1, 1))
            outside = "above" if hung / modelled > upper else "below" if hung / modelled < lower else ""
        limits = ratio_limits(sums[name]["hung_ml"].to_list(), sums[name]["modelled_ml"].to_list())
        yield WaterRatio(
            kind, str(name), sums[name].height, hung, modelled, hung / modelled, limits, lower, upper, outside
        )


def _gaps(
    published: Published, site_id: str, rules: SiteRules, monthly: pl.DataFrame
) -> tuple[WaterGap, ...]:
    cover = published.read("part_cover_monthly").filter(site_id=site_id, part="water_bag")
    rows = monthly.join(cover.select("ward", "month", "undocumented_h"), on=["ward", "month"], how="left")
    dry = _low_dew_point(published, site_id, rules, monthly["month"].unique().to_list())
    found = []
    for ward in sorted(rows["ward"].drop_nulls().unique()):
        water = rows.filter(ward=ward)
        hung = math.fsum(water["hung_to_modelled"] * water["water_modelled_ml"])
        modelled = math.fsum(water["water_modelled_ml"])
        missing, low = _missing(water), dry.get(ward) if dry else None
        ends = hung - modelled + (missing or 0.0) - (low or 0.0)
        found.append(WaterGap(ward, hung, modelled, ends, missing, low))
    return tuple(found)


def _missing(water: pl.DataFrame) -> float | None:
    """Return the water that therapy took while no bag is on record, or after the model has it empty."""
    if water["undocumented_h"].null_count() or water["dry_therapy_min"].null_count():
        return None
    minutes = water["dry_therapy_min"] + 60 * water["undocumented_h"]
    return math.fsum(minutes * water["water_modelled_ml_per_therapy_day"] / _MINUTES_PER_DAY)


def _low_dew_point(
    published: Published, site_id: str, rules: SiteRules, months: Sequence[str]
) -> dict[str, float] | None:
    """Return by ward the water that days of low humidity took less than at the target; None where none is logged."""
    days = published.read("therapy_days").filter(
        pl.col("local_date").dt.strftime("%Y-%m").is_in(months), pl.col("low_humidity_h").is_not_null(),
        site_id=site_id, basis="samples",
    )  # fmt: skip
    if days.is_empty():
        return None
    ml_per_litre = water_per_litre_ng(rules.target_dew_point_c, rules) / 1e9 / WATER_G_PER_ML
    at_target = pl.col("mean_flow_l_min") * pl.col("therapy_h") * 60 * ml_per_litre
    short = days.filter(pl.col("low_humidity_h") > 0).select(
        "ward", short_ml=(at_target - pl.col("water_modelled_ml")).clip(0)
    )
    by_ward = {
        ward: math.fsum(short.filter(ward=ward)["short_ml"]) for ward in days["ward"].drop_nulls().unique()
    }
    return by_ward | {SITE: math.fsum(short["short_ml"])}


def _sentence(site: WaterRatio | None, ratios: Sequence[WaterRatio]) -> str:
    if site is None:
        return "No month has both water hung and water modelled, so they cannot be compared."
    apart = sum(bool(ratio.outside) for ratio in ratios)
    told = f"{site.ratio:.2f} mL hung for each mL modelled over {site.months} months"
    if site.limits:
        told += f" (95% limits {site.limits[0]:.2f} to {site.limits[1]:.2f} from how months differ)"
    return f"{told}; {apart} of {len(ratios) - 1} wards and units stand apart from their pool."
