"""The section about how soon a unit is disinfected after a stay."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.findings.control_figures import control_figures
from pipeline.findings.figures import section_of
from pipeline.findings.model import QUALITY_LEAD, Column, Figure, Section, Table
from pipeline.findings.source import MONTH, Source, as_table, number, ward_table, whole
from pipeline.findings.turnaround_parts import breakdown
from pipeline.findings.wording import counted, sentence, shown
from pipeline.measures.competing_risks import COMPETING, EVENT, cumulative_incidence

_TABLE = "turnaround_monthly"
_COLUMNS = {
    "ended": ("Stays ended", "count"),
    "reprocessed": ("Disinfected", "count"),
    "bypassed": ("Used again first", "count"),
    "waiting": ("Waiting", "count"),
    "withdrawn": ("Withdrawn", "count"),
    "not_assessable": ("Not assessable", "count"),
    "median_h": ("Median", "hours"),
    "p90_h": ("90% by", "hours"),
    "within_target": ("Within target", "share"),
    "wait_median_h": ("Median wait for the cycle", "hours"),
}

_ENDS = {
    "reprocessed": "disinfected",
    "bypassed": "used again before a valid cycle",
    "waiting": "still waiting",
    "withdrawn": "withdrawn from use",
    "not_assessable": "not assessable",
}

#: A curve's steps are thinned to this many: more cannot be seen.
_STEPS = 400


def turnaround(source: Source) -> Section:
    """Return the turnaround of the month's stays, its course over the months, and where the hours go."""
    told, parted, where = breakdown(source)
    charts = control_figures(source, "turnaround", "turnaround", "third")
    tables = (where, ward_table(source, _TABLE, "Turnaround", _COLUMNS))
    return section_of(
        source, "turnaround", _TABLE, QUALITY_LEAD, paragraphs=(_in_words(source), told),
        figures=(_curve(source), _by_month(source), *charts, *parted), tables=tables,
    )  # fmt: skip


def _in_words(source: Source) -> str:
    now = source.now(_TABLE)
    if not now:
        return f"No stay ended in {source.month_words}."
    target = f"{source.rules.turnaround_target_h:g} h"
    told = ", ".join(f"{whole(now[name]):,} {words}" for name, words in _ENDS.items() if whole(now[name]))
    within = number(now["within_target"])
    share = "cannot be given yet" if within is None else f"is {shown(within, 'share')}"
    ended = f"{counted(whole(now['ended']), 'stay')} ended in {source.month_words}: {told}."
    return f"{ended} The share disinfected within the site's target of {target} {share}."


def curve_steps(times: Sequence[int], statuses: Sequence[str]) -> list[tuple[int, float, float]]:
    """Return (second, share disinfected by then, share used again first by then) at each step.

    The second share is the same estimate with the two events in each other's place.
    """
    swapped = {EVENT: COMPETING, COMPETING: EVENT}
    ready = {time: float(share) for time, share in cumulative_incidence(times, statuses)}
    other = [swapped.get(status, status) for status in statuses]
    again = {time: float(share) for time, share in cumulative_incidence(times, other)}
    steps, now_ready, now_again = [(0, 0.0, 0.0)], 0.0, 0.0
    for time in sorted({*ready, *again, max(times, default=0)}):
        now_ready, now_again = ready.get(time, now_ready), again.get(time, now_again)
        steps.append((time, now_ready, now_again))
    return steps


def _curve(source: Source) -> Figure:
    rows = source.in_month("turnarounds", "ended_at").filter(pl.col("turnaround_h").is_not_null())
    seconds = [round(hours * 3600) for hours in rows["turnaround_h"]]
    steps = curve_steps(seconds, rows["status"].to_list()) if seconds else []
    thinned = steps[:: len(steps) // _STEPS + 1] + steps[-1:] if len(steps) > _STEPS else steps
    cells = tuple((time / 3600, ready, again) for time, ready, again in thinned)
    columns = (
        Column("Hours since the stay ended", "number"),
        Column("Disinfected", "share"),
        Column("Used again first", "share"),
    )
    table = Table("curve", f"Shares of stays by time since their end, {source.month_words}", columns, cells)
    target = source.rules.turnaround_target_h
    return Figure(
        "curve", "curve", _curve_title(source),
        f"Share of stays, cumulative incidence (Aalen-Johansen), stays that ended in {source.month_words}",
        table, lines=(("target", target),), size="third",
    )  # fmt: skip


def _curve_title(source: Source) -> str:
    now = source.now(_TABLE)
    if number(now.get("median_h")) is None:
        return "Half of the stays have not been seen disinfected"
    tail = now["p90_h"]
    later = f", nine tenths by {shown(tail, 'hours')}" if tail is not None else ", nine tenths not reached"
    return f"Half disinfected by {shown(now['median_h'], 'hours')}{later}"


def _by_month(source: Source) -> Figure:
    table = as_table(source.by_month(_TABLE), "turnaround-months", "Turnaround by month", MONTH | _COLUMNS)
    bypassed = whole(source.now(_TABLE).get("bypassed"))
    title = f"{sentence(counted(bypassed, 'unit'))} used again before a valid cycle; times month by month"
    subtitle = f"Hours from the end of a stay until disinfected, median and 90th percentile, {source.period}"
    target = (("target", source.rules.turnaround_target_h),)
    return Figure("turnaround-months", "turnaround_lines", title, subtitle, table, lines=target, size="third")
