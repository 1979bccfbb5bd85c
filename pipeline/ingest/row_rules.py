"""What a row must be like (contract section 2), each rule said once: its name, its meaning, its expression.

The same list makes the reasons of quarantined rows, the warnings of accepted ones, the words that explain
them, and the expectations that judge a whole file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import polars as pl

from pipeline.ingest.normalise import EXPORTED_AT, NEVER, TWICE, text_of
from pipeline.records import DATE, INSTANT, Column, Table
from pipeline.site_rules import SiteRules

#: The latest instant that a row can know of: its export's own time, else the time of ingest.
KNOWN_UNTIL = "known_until"
#: The same as a calendar day of the site.
KNOWN_UNTIL_ON = "known_until_on"

_LONG_EPISODE = pl.duration(days=60)


@dataclass(frozen=True)
class Rule:
    """One row rule. ``broken`` gives for each column it concerns an expression, true where it is broken.

    A rule that quarantines keeps the row out; the others let it in with a warning.
    """

    name: str
    meaning: str
    quarantines: bool
    broken: Callable[[Table], dict[str, pl.Expr]]


def table_at_site(table: Table, rules: SiteRules) -> Table:
    """Return the table with the parts that the site's rules know as the codes of its column ``part``."""
    columns = tuple(
        replace(column, codes=tuple(sorted(rules.parts))) if column.name == "part" else column
        for column in table.columns
    )
    return replace(table, columns=columns, _by_name={})


def _timed(table: Table) -> list[Column]:
    return [column for column in (*table.columns, EXPORTED_AT) if column.kind in (INSTANT, DATE)]


def _unread(column: Column) -> pl.Expr:
    """True where the file says something that is no value of the column."""
    return text_of(column).is_not_null() & pl.col(column.name).is_null()


def _outside(column: Column) -> pl.Expr:
    value = pl.col(column.name)
    low = pl.lit(False) if column.low is None else value < column.low
    high = pl.lit(False) if column.high is None else value > column.high
    return low | high


def _missing_value(table: Table) -> dict[str, pl.Expr]:
    broken = {column.name: text_of(column).is_null() for column in table.columns if column.required}
    if table.name == "part_changes":  # its key is the unit, or the patient where no unit is given
        broken["unit_id"] = text_of("unit_id").is_null() & text_of("patient_ref").is_null()
    return broken


def _bad_number(table: Table) -> dict[str, pl.Expr]:
    return {
        column.name: _unread(column)
        for column in table.columns
        if column.required and column.kind in ("number", "whole")
    }


def _bad_time(table: Table) -> dict[str, pl.Expr]:
    return {
        column.name: _unread(column) & ~pl.col(column.name + NEVER)
        if column.kind == INSTANT
        else _unread(column)
        for column in _timed(table)
    }


def _nonexistent(table: Table) -> dict[str, pl.Expr]:
    return {column.name: pl.col(column.name + NEVER) for column in _timed(table) if column.kind == INSTANT}


def _bad_code(table: Table) -> dict[str, pl.Expr]:
    return {
        column.name: _unread(column)
        for column in table.columns
        if column.required and column.kind in ("code", "flag")
    }


def _bad_label(table: Table) -> dict[str, pl.Expr]:
    return {column.name: _unread(column) for column in table.columns if column.name == "lot"}


def _out_of_range(table: Table) -> dict[str, pl.Expr]:
    bounded = [column for column in table.columns if (column.low, column.high) != (None, None)]
    return {column.name: _outside(column) for column in bounded if column.required}


def _ends_before_start(table: Table) -> dict[str, pl.Expr]:
    if not table.ended or not table.time:
        return {}
    return {table.ended: pl.col(table.ended) < pl.col(table.time)}


def _in_future(table: Table) -> dict[str, pl.Expr]:
    """Instants of any column, and the day of a table that is placed by days; a date may else lie ahead."""
    broken = {c.name: pl.col(c.name) > pl.col(KNOWN_UNTIL) for c in table.columns if c.kind == INSTANT}
    if table.time and table.column(table.time).kind == DATE:
        broken[table.time] = pl.col(table.time) > pl.col(KNOWN_UNTIL_ON)
    return broken


def _value_dropped(table: Table) -> dict[str, pl.Expr]:
    return {column.name: _unread(column) | _outside(column) for column in droppable(table)}


def droppable(table: Table) -> list[Column]:
    """Return the columns that are emptied where their value is unreadable or outside; never a time."""
    kinds = ("number", "whole", "flag", "code")
    return [column for column in table.columns if not column.required and column.kind in kinds]


def _ambiguous(table: Table) -> dict[str, pl.Expr]:
    return {column.name: pl.col(column.name + TWICE) for column in _timed(table) if column.kind == INSTANT}


def _long_episode(table: Table) -> dict[str, pl.Expr]:
    if table.name != "episodes":
        return {}
    return {"ended_at": pl.col("ended_at") - pl.col("started_at") > _LONG_EPISODE}


def _missing_end(table: Table) -> dict[str, pl.Expr]:
    return {"ended_at": text_of("ended_at").is_null()} if table.name == "episodes" else {}


def _missing_lot(table: Table) -> dict[str, pl.Expr]:
    return {"lot": text_of("lot").is_null()} if table.name == "part_changes" else {}


#: Every rule that one row can be judged by on its own, in the order in which reasons and warnings are listed.
ROW_RULES: tuple[Rule, ...] = (
    Rule("missing_value", "a required column is empty", True, _missing_value),
    Rule("bad_number", "a required number cannot be read as one", True, _bad_number),
    Rule("bad_time", "a date or time is not written as declared, or does not exist", True, _bad_time),
    Rule("nonexistent_local_time", "the site's clock skipped this time in spring", True, _nonexistent),
    Rule("bad_code", "a required value is not in the column's list of codes", True, _bad_code),
    Rule("bad_label", "the lot is a GS1 label with a wrong check digit, or not to be read", True, _bad_label),
    Rule("out_of_range", "a required number lies outside what is possible", True, _out_of_range),
    Rule("ends_before_start", "the end lies before the start", True, _ends_before_start),
    Rule("in_future", "a time lies after the export's own time, or else after the ingest", True, _in_future),
    Rule(
        "value_dropped", "an optional value was unreadable or outside, and was emptied", False, _value_dropped
    ),
    Rule("ambiguous_local_time", "the clock showed this time twice; the earlier counts", False, _ambiguous),
    Rule("long_episode", "an episode of more than 60 days", False, _long_episode),
    Rule("missing_end", "an episode without an end", False, _missing_end),
    Rule("missing_lot", "a part without its lot number", False, _missing_lot),
)

#: What else a row can be quarantined or warned for, where more than the row itself decides.
OTHER_MEANINGS = {
    "wrong_field_count": "the row has more or fewer fields than the header, so they cannot be told apart",
    "repeated_header": "the row repeats the names of the columns",
    "out_of_order": "a unit's sample stands more than 5 minutes against the file's order",
    "unknown_unit": "the unit is not in the site's list of units",
}

#: Every reason and warning in plain words.
MEANINGS = {rule.name: rule.meaning for rule in ROW_RULES} | OTHER_MEANINGS


def flag_name(rule: Rule, column: str) -> str:
    """Return the name of the column that says where a rule is broken in a column.

    >>> flag_name(ROW_RULES[0], "ward")
    'missing_value:ward'
    """
    return f"{rule.name}:{column}"


def flags(table: Table) -> list[pl.Expr]:
    """Return a true-or-false column for each rule and column; what cannot be judged is not broken."""
    return [
        expression.fill_null(False).alias(flag_name(rule, column))
        for rule in ROW_RULES
        for column, expression in rule.broken(table).items()
    ]


def broken_by_rule(table: Table, quarantines: bool) -> dict[str, pl.Expr]:
    """Return for each rule, of the one kind or the other, whether a row breaks it in any column."""
    return {
        rule.name: pl.any_horizontal(flag_name(rule, column) for column in rule.broken(table))
        for rule in ROW_RULES
        if rule.quarantines == quarantines and rule.broken(table)
    }


def faults(table: Table, quarantines: bool) -> pl.Expr:
    """Return the rules of the one kind or the other that a row breaks, each with its column, joined by commas."""
    flagged = [
        flag_name(rule, column)
        for rule in ROW_RULES
        if rule.quarantines == quarantines
        for column in rule.broken(table)
    ]
    return named({name: pl.col(name) for name in flagged})


def named(broken: dict[str, pl.Expr]) -> pl.Expr:
    """Return the names of the rules that a row breaks, joined by commas; empty where it breaks none."""
    names = [pl.when(expression).then(pl.lit(name)) for name, expression in broken.items()]
    return pl.concat_str(names, separator=",", ignore_nulls=True) if names else pl.lit("")
