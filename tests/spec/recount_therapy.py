"""Therapy again, minute by minute, in plain Python from the rules alone."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, date
from functools import cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from random_wards import AS_OF, Sample, Ward, instant
from recount_episodes import Effective, effective_episodes

ZONE, LONGEST_GAP = ZoneInfo("Europe/Dublin"), 10

#: (ward, unit, patient, local day, basis); the ward and the patient are empty where no episode is
Key = tuple[str | None, str, str | None, date, str]


@cache
def local_day(minutes: int) -> date:
    """Return the site's calendar day of a minute."""
    return instant(minutes).replace(tzinfo=UTC).astimezone(ZONE).date()


def therapy(ward: Ward) -> tuple[Counter[Key], Counter[Key]]:
    """Return the minutes of therapy, and the litres, by patient and local day."""
    minutes: Counter[Key] = Counter()
    litres: Counter[Key] = Counter()
    episodes = effective_episodes(ward)
    sampled = {(row.unit, local_day(row.at)) for row in ward.samples}
    in_session = {(row.unit, local_day(now)) for row in ward.sessions for now in range(row.start, row.end)}

    def note(unit: str, now: int, episode: Effective | None, basis: str, flow: int) -> None:
        of_whom = (episode.ward, episode.patient) if episode else (None, None)
        key = (of_whom[0], unit, of_whom[1], local_day(now), basis)
        minutes[key] += 1
        litres[key] += flow

    for sample, end in _standing(ward.samples):
        for now in range(sample.at, end):
            note(sample.unit, now, _on_unit(episodes, sample.unit, sample.at), "samples", sample.flow)
    for session in ward.sessions:
        for now in range(session.start, session.end):
            if (session.unit, local_day(now)) not in sampled:
                note(session.unit, now, _on_unit(episodes, session.unit, now), "sessions", session.flow)
    for episode in episodes:
        for now in range(episode.start, episode.until):
            if (episode.unit, local_day(now)) not in sampled | in_session:
                note(episode.unit, now, episode, "episode", 0)
    return minutes, litres


def _standing(samples: list[Sample]) -> list[tuple[Sample, int]]:
    """Return each sample in use with the minute up to which it stands."""
    pairs = pairwise([*sorted(samples), Sample("", AS_OF, "", 0)])
    ends = [(one, other.at if other.unit == one.unit else AS_OF) for one, other in pairs]
    return [(row, min(end, row.at + LONGEST_GAP)) for row, end in ends if row.phase == "in_use"]


def _on_unit(episodes: list[Effective], unit: str, now: int) -> Effective | None:
    """Return the episode on a unit at an instant; of several, the one that started last."""
    running = [row for row in episodes if row.unit == unit and row.start <= now < row.until]
    return max(running, key=lambda row: (row.start, row.patient), default=None)
