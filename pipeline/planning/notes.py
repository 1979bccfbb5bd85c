"""What a plan rests on, in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import polars as pl

from pipeline.planning import fleet
from pipeline.planning.assumptions import Assumptions
from pipeline.planning.demand import Demand
from pipeline.planning.records import RECENT_MONTHS, SiteRecords


def notes_table(
    records: SiteRecords, assumed: Assumptions, coming: Demand | None, tables: Mapping[str, pl.DataFrame]
) -> pl.DataFrame:
    """Return note_no, topic and note, in the order in which they are read."""
    notes = [*_forecast_notes(records, coming), *_basis_notes(records, assumed), *_fleet_notes(tables)]
    rows = [(records.site_id, number, topic, words) for number, (topic, words) in enumerate(notes, 1)]
    return pl.DataFrame(
        rows, {"site_id": pl.String, "note_no": pl.Int64, "topic": pl.String, "note": pl.String}, orient="row"
    )


def _forecast_notes(records: SiteRecords, coming: Demand | None) -> Iterator[tuple[str, str]]:
    if coming is None:
        return
    found, months = coming.forecast, len(records.months)
    yield (
        "forecast",
        f"Stays are forecast from {months} complete months, {records.months[0]} to {records.months[-1]}.",
    )
    scored = {score.method: score for score in found.scores}
    mine = scored[found.method.name]
    if mine.folds:
        tried = ", ".join(name.replace("_", " ") for name in sorted(scored))
        yield "forecast", f"Taken: {found.method.words}; {mine.folds} back-tests compared {tried}."
    else:
        yield "forecast", f"Taken: {found.method.words}; the history is too short for a back-test."
    if months < 2 * RECENT_MONTHS:
        yield (
            "forecast",
            "Below two years of history a season cannot be told from chance, so that only simple methods compete.",
        )
    if mine.coverage_80 is not None:
        yield (
            "forecast",
            f"In the back-tests {mine.coverage_80:.0%} of months fell within the interval meant to hold 80 %.",
        )


def _basis_notes(records: SiteRecords, assumed: Assumptions) -> Iterator[tuple[str, str]]:
    yield (
        "need",
        "Each stay to come takes the hours, water and parts of a stay drawn from the last two years.",
    )
    yield (
        "need",
        "By the rules: one part at the start and one more for each started limit; bags also by modelled water.",
    )
    yield "need", "Therapy that no unit logged counts with the site's mean water per hour."
    yield (
        "stock",
        "Orders cover the larger of what the rules require and what was used in each stay, and the stores' waste.",
    )
    yield "stock", f"The reorder point lasts through {assumed.service_level:.0%} of simulated lead times."
    yield "stock", "First expired, first out: what is left came with the receipts that expire last."
    if assumed.closed:
        yield "what if", f"Wards taken as closed: {', '.join(sorted(assumed.closed))}."
    for event in records.rules.events:
        if event.kind != "change" and event.ward not in assumed.closed:
            yield (
                "wards",
                f"{event.ward}: {event.kind.removeprefix('ward_')} on {event.on} as declared in the rules.",
            )


def _fleet_notes(tables: Mapping[str, pl.DataFrame]) -> Iterator[tuple[str, str]]:
    plan = tables.get("fleet_plan")
    if plan is None:
        return
    month = plan["month"][0]
    yield (
        "fleet",
        f"The busiest month by units held was {month}; a unit is held from a stay's start until reprocessed.",
    )
    yield (
        "fleet",
        "'target' shortens every turnaround above the site's target to it and leaves the others as they were.",
    )
    for (name, load), rows in plan.filter("in_service").group_by(
        "turnaround", "offered_load", maintain_order=True
    ):
        units, share = rows["units"][0], rows["shortage_probability"][0]
        served = fleet.load_served(units, fleet.SHORTAGE)
        wanted = fleet.units_wanted_at_once(float(load), 1 - fleet.SHORTAGE)
        held = f"Turnaround {name}: {units} units in service, {load:.1f} held on average"
        yield (
            "fleet",
            f"{held}; {share:.2%} of arrivals find none; at {fleet.SHORTAGE:.0%} it serves {served:.1f}.",
        )
        yield "fleet", f"Turnaround {name}: not more than {wanted} are wanted at once in 99 of 100 moments."
