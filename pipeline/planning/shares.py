"""Which items a part is bought as, what the stores issue beside what is fitted, and changes before their time."""

from __future__ import annotations

import polars as pl

from pipeline.planning.records import SiteRecords

#: The stores' issues count as waste up to this many pieces for one fitted; beyond, a unit error is likelier.
_MOST_ISSUED = 2.0


def item_shares(records: SiteRecords, part: str) -> dict[str, float]:
    """Return the share of each item of a part: of recent fittings, else of issues, else equal.

    An item that is not in the list of items cannot be ordered and takes no share.
    """
    items = records.tables["purchase_items"].filter(pl.col("part") == part)["item_id"].sort().to_list()
    fitted = records.tables["fitting_reasons"].filter(
        (pl.col("part") == part) & pl.col("month").is_in(records.recent) & pl.col("item_id").is_in(items)
    )
    issued = records.tables["stock_ledger"].filter(
        (pl.col("kind") == "issue") & pl.col("item_id").is_in(items)
    )
    for rows, column in ((fitted, "fitted"), (issued, "quantity")):
        sums = dict(rows.group_by("item_id").agg(pl.col(column).sum()).sort("item_id").iter_rows())
        if sum(sums.values()) > 0:
            return {item: sums[item] / sum(sums.values()) for item in items if sums.get(item, 0) > 0}
    return {item: 1 / len(items) for item in items}


def waste(records: SiteRecords) -> pl.DataFrame:
    """Return by part the pieces needed, fitted and issued in the recent months, and issued to fitted."""
    use = records.tables["part_use_monthly"].filter(
        (pl.col("ward") == "*") & pl.col("month").is_in(records.recent)
    )
    both = pl.col("issued").is_not_null() & (pl.col("fitted") > 0)
    return (
        use.group_by("part")
        .agg(
            pl.lit(records.site_id).alias("site_id"),
            pl.col("month").min().alias("from_month"),
            pl.col("month").max().alias("to_month"),
            pl.col("stays_started").sum(),
            pl.col("needed").sum(),
            pl.col("fitted").sum(),
            pl.when(pl.col("issued").is_not_null().any()).then(pl.col("issued").sum()).alias("issued"),
            (pl.col("issued").filter(both).sum() / pl.col("fitted").filter(both).sum()).alias(
                "issued_to_fitted"
            ),
        )
        .with_columns(pl.col("issued_to_fitted").fill_nan(None))
        .select("site_id", pl.exclude("site_id"))
        .sort("part")
    )


def issue_factor(wasted: pl.DataFrame, part: str) -> float:
    """Return the pieces that leave the stores for each that is used, at least 1; 1 where no issues tell."""
    found = wasted.filter(pl.col("part") == part)["issued_to_fitted"].to_list()
    return min(max(found[0], 1.0), _MOST_ISSUED) if found and found[0] is not None else 1.0


def early_changes(records: SiteRecords) -> pl.DataFrame:
    """Return by part and reason how many parts were changed before their limit, and the hours they had left."""
    rows = records.tables["fitting_reasons"].filter(pl.col("early") & pl.col("month").is_in(records.recent))
    return (
        rows.group_by("site_id", "part", pl.col("reason").fill_null("not_recorded"))
        .agg(pl.col("fitted").sum().alias("changes"), pl.col("before_limit_h").sum())
        .with_columns((pl.col("before_limit_h") / pl.col("changes")).alias("mean_before_limit_h"))
        .sort("part", "reason")
    )


def water_practice(records: SiteRecords) -> pl.DataFrame:
    """Return the bags that the modelled water fills, whole bags per stay, and what was hung (recent months)."""
    water = records.tables["water_monthly"].filter(
        (pl.col("ward") == "*") & pl.col("month").is_in(records.recent)
    )
    if not water["water_modelled_ml"].drop_nulls().len():
        return pl.DataFrame()
    use = waste(records).filter(pl.col("part") == "water_bag")
    beside = pl.col("hung_to_modelled") * pl.col("water_modelled_ml")
    modelled = pl.col("water_modelled_ml").filter(pl.col("hung_to_modelled").is_not_null())
    return water.select(
        pl.lit(records.site_id).alias("site_id"),
        pl.col("water_modelled_ml").sum(),
        pl.col("water_hung_ml").sum(),
        (beside.sum() / modelled.sum()).fill_nan(None).alias("hung_to_modelled"),
        (pl.col("water_modelled_ml").sum() / records.rules.bag_volume_ml).alias("bags_of_modelled_water"),
        pl.lit(use["needed"].sum()).alias("whole_bags_by_stay"),
        pl.lit(use["fitted"].sum()).alias("bags_hung"),
    )
