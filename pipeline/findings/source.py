"""The published tables of one site, read once and cut to the months up to that of the report."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.findings.model import Cell, Column, Table
from pipeline.findings.months import month_bounds, month_name, month_range, months_in_words
from pipeline.measures.published import Published
from pipeline.measures.sql_files import Model, load_models
from pipeline.signals.bounds import Bounds, bounds
from pipeline.signals.control_chart import SiteCharts, site_charts
from pipeline.signals.sensitivity import Sensitivity, sensitivities
from pipeline.signals.series import Series, site_series
from pipeline.site_rules import SiteRules

#: The ward of a monthly row that stands for the whole site.
SITE = "*"

#: Months that a chart shows.
SHOWN_MONTHS = 24

#: First columns of many tables.
MONTH, WARD_COLUMN = {"month": ("Month", "month")}, {"ward": ("Ward", "text")}

#: What a row without a ward is listed under.
NO_WARD = "ward not known"


@dataclass(frozen=True)
class Source:
    """One site's published results, seen from the month of the report."""

    published: Published
    site_id: str
    month: str

    @cached_property
    def rules(self) -> SiteRules:
        """The rules that the site was judged by."""
        return self.published.sites[self.site_id]

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return self.rules.zone

    @cached_property
    def models(self) -> dict[str, Model]:
        """Every SQL model by name: the one source of titles, questions and caveats."""
        return {model.name: model for model in load_models()}

    @cached_property
    def charts(self) -> SiteCharts:
        """Every control chart of the site and its wards, as of the run."""
        return site_charts(self.published, self.site_id, self.all_series)

    @cached_property
    def all_series(self) -> tuple[Series, ...]:
        """What the charts of the site and its wards are made from."""
        return site_series(self.published, self.site_id)

    @cached_property
    def series(self) -> dict[str, Series]:
        """What the whole site's charts are made from, by measure."""
        return {series.measure: series for series in self.all_series if series.ward == SITE}

    @property
    def steps(self) -> list[str]:
        """The measures of the site's own set-up steps."""
        return sorted(name for name in self.series if name.startswith("setup_steps:"))

    @cached_property
    def assessed(self) -> dict[str, Bounds]:
        """How far the site's rate of each measure could move if all that cannot be assessed were known."""
        found = bounds(self.published, self.site_id, self.month)
        return {item.measure: item for item in found if item.ward == SITE}

    @cached_property
    def slacks(self) -> dict[tuple[str, str], Sensitivity]:
        """What other slacks would change, by measure and scenario."""
        found = sensitivities(self.published, self.site_id)
        return {(item.measure, item.scenario): item for item in found}

    @cached_property
    def bounds(self) -> tuple[datetime, datetime]:
        """First instant (naive UTC) of the month and of the next."""
        return month_bounds(self.rules, self.month)

    @cached_property
    def months(self) -> tuple[str, ...]:
        """All months from the first with any row to that of the report."""
        first = min(
            (found for name in self.monthly for found in self._all(name)["month"]), default=self.month
        )
        return month_range(min(first, self.month), self.month)

    @property
    def shown_months(self) -> tuple[str, ...]:
        """The latest months, those that charts show."""
        return self.months[-SHOWN_MONTHS:]

    @property
    def period(self) -> str:
        """The months that charts show, in words."""
        return months_in_words(self.shown_months)

    @property
    def month_words(self) -> str:
        """The month in words."""
        return month_name(self.month)

    @property
    def monthly(self) -> list[str]:
        """The tables by month."""
        return sorted(name for name in self.published.tables if name.endswith("_monthly"))

    @property
    def patient_parts(self) -> list[str]:
        """The parts that must be new for each patient."""
        return [part for part, rule in sorted(self.rules.parts.items()) if rule.per_patient]

    @property
    def limited_parts(self) -> list[str]:
        """The parts that have a limit."""
        return [part for part, rule in sorted(self.rules.parts.items()) if rule.max_days is not None]

    def covered_by(self, tables: Collection[str]) -> set[str]:
        """Return the months that records of each of these tables cover."""
        covered = self.facts("covered_months")
        return set.intersection(*(set(covered.filter(table_name=table)["month"]) for table in tables))

    def facts(self, table: str) -> pl.DataFrame:
        """Return the site's rows of a table of facts."""
        return self._all(table)

    def by_month(self, table: str, **only: str) -> pl.DataFrame:
        """Return the whole site's rows, one for each shown month, empty where it has none; no row without any."""
        rows = self.up_to_now(table, **only).filter(pl.col("month").is_in(self.shown_months))
        months = pl.DataFrame({"month": self.shown_months}, schema={"month": pl.String})
        return months.join(rows, on="month", how="left", maintain_order="left") if rows.height else rows

    def up_to_now(self, table: str, **only: str) -> pl.DataFrame:
        """Return the whole site's rows of all months up to that of the report."""
        return (
            self._all(table)
            .filter(pl.col("ward") == SITE, pl.col("month") <= self.month, **only)
            .sort("month")
        )

    def by_ward(self, table: str, **only: str) -> pl.DataFrame:
        """Return each ward's rows of the month in the order of the alphabet, never of rank."""
        wards = self._all(table).filter(
            (pl.col("ward") != SITE) | pl.col("ward").is_null(),
            month=self.month,
            **only,
        )
        return wards.with_columns(pl.col("ward").fill_null(NO_WARD)).sort("ward", maintain_order=True)

    def now(self, table: str, **only: str) -> dict[str, Cell]:
        """Return the whole site's row of the month, empty when there is none."""
        rows = self.up_to_now(table, month=self.month, **only).to_dicts()
        return rows[0] if rows else {}

    def in_month(self, table: str, time: str) -> pl.DataFrame:
        """Return the rows of a table of facts whose time lies in the month, in order of time."""
        first, after = self.bounds
        rows = self._all(table).filter((pl.col(time) >= first) & (pl.col(time) < after))
        return rows.sort(time, *(name for name in rows.columns if name != time), nulls_last=True)

    def _all(self, table: str) -> pl.DataFrame:
        if table not in self._read:
            self._read[table] = self.published.read(table).filter(site_id=self.site_id)
        return self._read[table]

    @cached_property
    def _read(self) -> dict[str, pl.DataFrame]:
        return {}


def as_table(
    rows: pl.DataFrame,
    key: str,
    caption: str,
    columns: dict[str, tuple[str, str]],
    when_empty: str = "Nothing to list.",
    folded: bool = False,
) -> Table:
    """Return rows as a table; ``columns`` gives the name shown and the kind for each column kept."""
    return Table(
        key,
        caption,
        tuple(Column(*shown) for shown in columns.values()),
        tuple(rows.select(columns.keys()).rows()),
        when_empty,
        folded,
    )


def ward_table(
    source: Source, table: str, caption: str, columns: dict[str, tuple[str, str]], by: str = ""
) -> Table:
    """Return the month's rows of each ward, folded away; ``by`` is a column that divides a ward's rows."""
    rows = source.by_ward(table).sort("ward", *([by] if by else []))
    divided = {by: (by.capitalize(), "part" if by == "part" else "text")} if by else {}
    words = f"{caption} by ward, {source.month_words}"
    return as_table(
        rows, f"{table}-wards", words, {"ward": ("Ward", "text"), **divided, **columns}, folded=True
    )


def whole(value: Cell) -> int:
    """Return a count as a whole number, 0 for one that is missing."""
    return int(value) if isinstance(value, int | float) else 0


def number(value: Cell) -> float | None:
    """Return a number, None for a cell that holds none."""
    return float(value) if isinstance(value, int | float) else None
