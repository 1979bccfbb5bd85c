"""The section about what happened to a unit between two patients; every case is listed."""

from __future__ import annotations

import polars as pl

from pipeline.findings.control_figures import control_figures
from pipeline.findings.figures import section_of
from pipeline.findings.model import INFECTION_CONTROL, Figure, Section, Table
from pipeline.findings.source import NO_WARD, Source, as_table, ward_table, whole
from pipeline.findings.wording import PROOFS, UNPROTECTED, all_cases, counted

_TABLE = "changeover_monthly"
_COUNTED = {
    "changeovers": ("Changeovers", "count"),
    "disinfected": ("Disinfected", "count"),
    "counter_only": ("Count rose only", "count"),
    "expired": ("Stored too long", "count"),
    "storage_unproven": ("Storage unproven", "count"),
    "invalid_cycle": ("No valid cycle", "count"),
    "uncharted_use": ("Uncharted use", "count"),
    "no_record": ("No record", "count"),
    "not_assessable": ("Not assessable", "count"),
    "overlap": ("Overlap", "count"),
    "undecided": ("Undecided", "count"),
    "unprotected_rate": ("Without proof", "share"),
    "rate_low": ("Low", "share"),
    "rate_high": ("High", "share"),
}


def changeovers(source: Source) -> Section:
    """Return the changeovers without proof of a valid disinfection, and the chains that they make."""
    chains = _chains(source)
    charts = control_figures(source, "unprotected_changeovers", "changeovers", "third")
    figures = (*charts, _by_proof(source), *_chain_figures(source, chains))
    by_ward = ward_table(source, _TABLE, "Changeovers", _COUNTED)
    tables = (case_table(source), _chain_table(source, chains), by_ward)
    told = (_in_words(source),)
    return section_of(
        source, "changeovers", _TABLE, INFECTION_CONTROL, paragraphs=told, figures=figures, tables=tables
    )


def cases(source: Source) -> pl.DataFrame:
    """Return every changeover of the month that is unprotected or rests on the count alone."""
    rows = source.in_month("changeovers", "to_started_at")
    return rows.filter(pl.col("proof").is_in([*UNPROTECTED, "counter_only"]))


def case_table(source: Source) -> Table:
    """Return those changeovers as a table; none is left out."""
    rows = cases(source).with_columns(pl.col("proof").replace(PROOFS), pl.col("ward").fill_null(NO_WARD))
    columns = {
        "to_started_at": ("Next patient from", "instant"),
        "unit_id": ("Unit", "unit"),
        "ward": ("Ward", "text"),
        "from_patient_key": ("From patient key", "key"),
        "to_patient_key": ("To patient key", "key"),
        "from_ended_at": ("Last patient until", "instant"),
        "gap_h": ("Between", "hours"),
        "proof": ("What the records show", "words"),
    }
    caption = all_cases(f"Changeovers to look into, {source.month_words}", rows.height)
    return as_table(rows, "changeover-cases", caption, columns, "None this month.")


def _in_words(source: Source) -> str:
    now = source.now(_TABLE)
    if not now:
        return f"No unit went from one patient to another in {source.month_words}."
    apart = [
        f"{whole(now[name]):,} {words}"
        for name, words in (
            ("not_assessable", "not assessable"),
            ("overlap", "between overlapping stays"),
            ("undecided", "not yet decided"),
        )
        if whole(now[name])
    ]
    told = f"{counted(whole(now['changeovers']), 'changeover')} in {source.month_words} can be judged"
    return f"{told}; {', '.join(apart)} stand outside the rate." if apart else f"{told}."


def _by_proof(source: Source) -> Figure:
    rows = source.by_month(_TABLE)
    now = source.now(_TABLE)
    found = [
        f"{whole(now.get(name)):,} {_COUNTED[name][0].lower()}"
        for name in (*UNPROTECTED, "counter_only")
        if whole(now.get(name))
    ]
    title = f"This month: {', '.join(found)}" if found else "This month: no changeover to look into"
    table = as_table(
        rows, "proofs", "Changeovers by month and proof", {"month": ("Month", "month"), **_COUNTED}
    )
    return Figure(
        "proofs",
        "proof_counts",
        title,
        f"Changeovers to look into, count by what the records show, {source.period}",
        table,
        size="third",
    )


def _chains(source: Source) -> pl.DataFrame:
    """Return the stays of every chain with a stay in the month."""
    first, after = source.bounds
    rows = source.facts("exposure_chains").filter(pl.col("started_at") < after)
    reaches = (pl.col("ended_at").is_null() | (pl.col("ended_at") >= first)).any()
    touching = rows.filter(reaches.over("unit_id", "chain_no"))
    several = touching.filter(pl.col("patient_key").n_unique().over("unit_id", "chain_no") > 1)
    return several.sort("unit_id", "chain_no", "position")


_CHAIN_COLUMNS = {
    "unit_id": ("Unit", "unit"),
    "chain_no": ("Chain", "count"),
    "position": ("Place", "count"),
    "patient_key": ("Patient key", "key"),
    "started_at": ("From", "instant"),
    "ended_at": ("Until", "instant"),
}


def _chain_table(source: Source, chains: pl.DataFrame) -> Table:
    number = chains.select("unit_id", "chain_no").n_unique() if chains.height else 0
    caption = all_cases(
        f"Chains of stays without a valid disinfection between them, reaching {source.month_words}", number
    )
    return as_table(chains, "chains", caption, _CHAIN_COLUMNS, "None reaches this month.")


def _chain_figures(source: Source, chains: pl.DataFrame) -> tuple[Figure, ...]:
    """Return the chains in time, no figure without any."""
    if not chains.height:
        return ()
    sizes = chains.group_by("unit_id", "chain_no").agg(pl.col("patient_key").n_unique().alias("patients"))
    longest = max(sizes["patients"].to_list())
    title = f"{counted(sizes.height, 'chain')} of stays, at most {longest:,} patients on one unit"
    words = (
        f"Stays on a unit with no valid disinfection between them, reaching {source.month_words}, local time"
    )
    table = as_table(chains, "chain-times", "Stays of each chain", _CHAIN_COLUMNS)
    return (Figure("chain-times", "chains", title, words, table, size="full"),)
