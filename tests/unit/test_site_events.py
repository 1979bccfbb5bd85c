"""Events that a site declares in its rules."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.errors import UsageError
from pipeline.site_events import SiteEvent
from pipeline.site_rules import parse_site_rules


def declared(text: str) -> tuple[SiteEvent, ...]:
    return parse_site_rules(f'time_zone = "UTC"\n{text}').events


def fault(text: str) -> str:
    with pytest.raises(UsageError) as raised:
        declared(f"[[events]]\n{text}")
    return str(raised.value)


def test_without_events_there_are_none() -> None:
    assert declared("") == ()


def test_events_stand_in_order_of_time_whatever_their_kind() -> None:
    events = declared(
        """
        [[events]]
        kind = "ward_closed"
        on = 2026-09-01
        ward = "Alder"
        [[events]]
        kind = "change"
        on = 2026-04-01
        what = "new stock round"
        measures = ["turnaround", "part_cover"]
        """
    )
    assert events == (
        SiteEvent("change", date(2026, 4, 1), "new stock round", None, ("part_cover", "turnaround")),
        SiteEvent("ward_closed", date(2026, 9, 1), "", "Alder"),
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('kind = "chnage"\non = 2026-04-01', "'kind' must be one of change, ward_closed, ward_opened"),
        ('kind = "change"\nwhat = "x"\non = "2026-04-01"', "'on' must be a date such as 2026-04-01"),
        ('kind = "change"\nwhat = "x"\non = 2026-04-01T08:00:00', "'on' must be a date"),
        ('kind = "change"\non = 2026-04-01', "a change needs 'what'"),
        ('kind = "ward_closed"\non = 2026-04-01', "a ward_closed needs 'ward'"),
        ('kind = "change"\nwhat = " "\non = 2026-04-01', "'what' must be some text"),
        ('kind = "change"\nwhat = "x"\non = 2026-04-01\nwards = "A"', "Did you mean 'ward'?"),
        (
            'kind = "change"\nwhat = "x"\non = 2026-04-01\nmeasures = ["turnaround_h"]',
            "measures: unknown setting 'turnaround_h'. Did you mean 'turnaround'?",
        ),
        (
            'kind = "change"\nwhat = "x"\non = 2026-04-01\nmeasures = "turnaround"',
            "'measures' must be a list",
        ),
    ],
)
def test_a_fault_names_the_event_and_what_to_write(text: str, said: str) -> None:
    message = fault(text)
    assert "[[events]] number 1" in message
    assert said in message


def test_events_that_are_no_tables_are_refused() -> None:
    with pytest.raises(UsageError, match=r"each event needs its own table under \[\[events\]\]"):
        declared('events = ["2026-04-01"]')


def test_the_rules_for_signals_are_a_closed_list() -> None:
    assert parse_site_rules('time_zone = "UTC"\nsignal_rules = "nelson_1984"').signal_rules == "nelson_1984"
    with pytest.raises(UsageError, match="one of limits_and_runs, western_electric, nelson_1984"):
        parse_site_rules('time_zone = "UTC"\nsignal_rules = "trend"')


def test_an_opened_ward_may_name_the_stays_that_planning_expects_of_it() -> None:
    events = declared(
        '[[events]]\nkind = "ward_opened"\non = 2027-01-01\nward = "Elder"\nstays_per_month = 12'
    )
    assert [event.stays_per_month for event in events] == [12.0]


@pytest.mark.parametrize(
    ("kind", "stays"),
    [("ward_opened", "0"), ("ward_opened", '"12"'), ("ward_opened", "true"), ("ward_closed", "12")],
)
def test_only_an_opened_ward_has_a_number_of_stays_above_0(kind: str, stays: str) -> None:
    text = f'kind = "{kind}"\non = 2027-01-01\nward = "Elder"\nstays_per_month = {stays}'
    assert "'stays_per_month' belongs to a ward_opened" in fault(text)
