"""How many verdicts flip, and how far rates move, with every slack at 0 and doubled.

The facts are made again from the same records, after the run itself: occupancy, spans, stays, changeovers and
turnarounds, in memory. The log of therapy outside episodes is kept as it stands under the rules in force, so the
cost does not grow with the samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.measures.engine import run
from pipeline.measures.sql_files import Model, load_models
from pipeline.signals.trials import UNPROTECTED

if TYPE_CHECKING:
    import duckdb

    from pipeline.measures.published import Published

#: What every slack of the rules is multiplied by.
SCENARIOS = {"at_0": 0, "doubled": 2}

#: The slacks, as the settings name them: how late things may be charted, how far clocks differ, and the grace.
SLACKS = ("charting_slack", "clock_slack", "grace")

COLUMNS = {
    "site_id": pl.String,
    "measure": pl.String,
    "scenario": pl.String,
    "cases": pl.Int64,
    "flipped": pl.Int64,
    "rate": pl.Float64,
    "rate_in_force": pl.Float64,
}

#: For each measure its cases: a name that the slacks do not change, and whether it went amiss (null: not judged).
_CASES = (
    """
    select
        site_id, 'overrun_of_due:' || part as measure, row_no::varchar as name,
        case when due then outcome = 'overrun' end as amiss,
    from facts.part_spans
    """,
    """
    select
        site_id, 'fresh_parts:' || part, concat_ws(' ', unit_id, patient_key, started_at),
        case when verdict in ('fresh', 'carried_over', 'no_record') then verdict <> 'fresh' end,
    from facts.fresh_part_checks
    """,
    f"""
    select
        site_id, 'unprotected_changeovers', concat_ws(' ', unit_id, from_patient_key, to_patient_key, to_started_at),
        case when proof not in ('undecided', 'not_assessable', 'overlap') then proof in {UNPROTECTED} end,
    from facts.changeovers
    """,
    """
    select
        site_id, 'turnaround',
        concat_ws(
            ' ', unit_id, patient_key,
            row_number() over (partition by site_id, unit_id, patient_key order by ended_at)
        ),
        case when status in ('reprocessed', 'bypassed') or turnaround_h * 3600 >= turnaround_target_s
            then status <> 'reprocessed' or turnaround_h * 3600 > turnaround_target_s end,
    from facts.turnarounds
    join run.settings using (site_id)
    """,
)

_COVER = """
    select
        site_id, 'part_cover:' || part as measure,
        (sum(placed_s - over_limit_s - carried_over_s) / nullif(sum(placed_s + undocumented_s), 0))::double as rate,
    from facts.part_cover
    group by all
"""

_NEEDED = (
    "facts.part_spans",
    "facts.fresh_part_checks",
    "facts.changeovers",
    "facts.turnarounds",
    "facts.part_cover",
)


@dataclass(frozen=True)
class _Verdicts:
    cases: pl.DataFrame
    cover: pl.DataFrame


def verdict_flips(connection: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Return the flips of each measure and scenario; the facts in the connection are made again, and left so.

    ``cases`` are those judged under the rules in force or in the scenario, ``flipped`` those of them judged
    otherwise in the other. Part cover has hours in place of cases, so only its rate.
    """
    in_force = _verdicts(connection)
    models = _models_again()
    found = []
    connection.execute("create table run.settings_in_force as select * from run.settings")
    for scenario, factor in SCENARIOS.items():
        changed = ", ".join(f"{slack} * {factor} as {slack}" for slack in SLACKS)
        connection.execute(
            f"create or replace table run.settings as select * replace ({changed}) from run.settings_in_force"
        )
        for model in reversed(models):
            connection.execute(f"drop table {model.table}")
        run(connection, models)
        found.append(_compared(in_force, _verdicts(connection), scenario))
    connection.execute("create or replace table run.settings as select * from run.settings_in_force")
    return pl.concat(found).sort("site_id", "measure", "scenario")


def _models_again() -> list[Model]:
    """Return the models that the verdicts rest on, but for those that reduce samples, in the order of making."""
    models = {model.table: model for model in load_models()}
    wanted: set[str] = set()
    left = list(_NEEDED)
    while left:
        table = left.pop()
        if table in models and table not in wanted and models[table].layer != "samples":
            wanted.add(table)
            left += models[table].reads
    return [model for model in models.values() if model.table in wanted]


def _verdicts(connection: duckdb.DuckDBPyConnection) -> _Verdicts:
    cases = pl.DataFrame(connection.sql(" union all ".join(_CASES)).to_arrow_table())
    return _Verdicts(cases, pl.DataFrame(connection.sql(_COVER).to_arrow_table()))


def _compared(in_force: _Verdicts, other: _Verdicts, scenario: str) -> pl.DataFrame:
    key = ["site_id", "measure"]
    both = in_force.cases.join(other.cases, on=[*key, "name"], how="full", coalesce=True, suffix="_then")
    judged = both.filter(pl.col("amiss").is_not_null() | pl.col("amiss_then").is_not_null())
    cases = judged.group_by(key).agg(
        cases=pl.len().cast(pl.Int64),
        flipped=pl.col("amiss").ne_missing(pl.col("amiss_then")).sum().cast(pl.Int64),
        rate=pl.col("amiss_then").cast(pl.Float64).mean(),
        rate_in_force=pl.col("amiss").cast(pl.Float64).mean(),
    )
    cover = other.cover.join(in_force.cover, on=key, suffix="_in_force").with_columns(
        cases=pl.lit(None, pl.Int64), flipped=pl.lit(None, pl.Int64)
    )
    columns = [name for name in COLUMNS if name != "scenario"]
    rows = pl.concat([cases.select(columns), cover.select(columns)])
    return rows.with_columns(scenario=pl.lit(scenario)).select(
        pl.col(name).cast(kind) for name, kind in COLUMNS.items()
    )


@dataclass(frozen=True)
class Sensitivity:
    """A measure's verdicts with every slack at 0 or doubled, in numbers and in a sentence.

    ``rate`` is of cases that went amiss; for part cover it is the share of hours in limit, and there are no cases.
    """

    measure: str
    scenario: str
    cases: int | None
    flipped: int | None
    rate: float | None
    rate_in_force: float | None
    sentence: str


def sensitivities(published: Published, site_id: str) -> tuple[Sensitivity, ...]:
    """Return the site's rows of the published table of flips, by measure."""
    rows = published.read("sensitivity").filter(site_id=site_id).drop("site_id").rows(named=True)
    return tuple(Sensitivity(**row, sentence=_sentence(**row)) for row in rows)


def _sentence(
    measure: str,
    scenario: str,
    cases: int | None,
    flipped: int | None,
    rate: float | None,
    rate_in_force: float | None,
) -> str:
    slacks = "no slack" if scenario == "at_0" else "every slack doubled"
    moved = "no rate" if rate is None or rate_in_force is None else f"{rate_in_force:.2%} would be {rate:.2%}"
    if cases is None:
        return f"With {slacks}, {moved} of the hours."
    return f"With {slacks}, {flipped:,} of {cases:,} verdicts flip; {moved}."
