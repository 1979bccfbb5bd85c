"""How often charts signal where nothing changed: simulated once, printed in the definitions.

``python -m pipeline.signals.false_alarms`` simulates the figures below again; the tests do so in small.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.measures.control_charts import (
    Point,
    g_chart,
    laney_p_chart,
    laney_u_chart,
    p_chart,
    t_chart,
    u_chart,
)
from pipeline.measures.run_rules import signals

if TYPE_CHECKING:
    import numpy as np

    Generator = np.random.Generator

BASELINE, WATCHED = 12, 12
RULE_SETS = ("limits_and_runs", "western_electric", "nelson_1984")
_SEED, _HISTORIES = 1924, 10_000


@dataclass(frozen=True)
class FalseAlarm:
    """A chart's false alarms: the share of points that signal, and of stretches of twelve with any signal.

    Nothing changes in the setting. Limits come from the twelve points before, as in a chart's first year.
    """

    chart: str
    setting: str
    rule_set: str
    of_points: float
    of_stretches: float


@dataclass(frozen=True)
class _Setting:
    chart: str
    words: str
    course: Callable[[Generator, int], list[Point]]


_FROZEN = slice(0, BASELINE)


def _shares(total: int, share: float) -> Callable[[Generator, int], list[Point]]:
    def course(random: Generator, size: int) -> list[Point]:
        return p_chart(random.binomial(total, share, size).tolist(), [total] * size, _FROZEN)

    return course


def _clustered_hours(random: Generator, size: int) -> list[Point]:
    """Draw a month's hours out of limit as one lapse in ten among 60 episodes, each of exponential length."""
    lapses = random.binomial(60, 0.1, size)
    lost = [float(random.exponential(10.0, count).sum()) for count in lapses]
    totals = random.normal(6000, 300, size).tolist()
    kept = [total - min(hours, total) for total, hours in zip(totals, lost, strict=True)]
    return laney_p_chart(kept, totals, _FROZEN)


def _varying_shares(random: Generator, size: int) -> list[Point]:
    shares = random.beta(20, 80, size)
    return laney_p_chart(random.binomial(300, shares).tolist(), [300] * size, _FROZEN)


def _amounts(random: Generator, size: int) -> list[Point]:
    days = random.normal(400, 40, size)
    return laney_u_chart((days * random.normal(2800, 60, size)).tolist(), days.tolist(), _FROZEN)


def _events(random: Generator, size: int) -> list[Point]:
    return u_chart(random.poisson(5, size).tolist(), [1.0] * size, _FROZEN)


def _gaps(random: Generator, size: int) -> list[Point]:
    return g_chart((random.geometric(1 / 61, size) - 1).tolist(), _FROZEN)


def _times(random: Generator, size: int) -> list[Point]:
    return t_chart(random.exponential(20, size).tolist(), _FROZEN)


SETTINGS = (
    _Setting("p", "1 expected of 30 a month", _shares(30, 1 / 30)),
    _Setting("p", "5 expected of 100 a month", _shares(100, 0.05)),
    _Setting("p", "90 expected of 100 a month", _shares(100, 0.9)),
    _Setting("u", "5 expected a month", _events),
    _Setting("laney_p", "months that vary by twice chance", _varying_shares),
    _Setting("laney_p", "part cover with 6 lapses of 10 h a month", _clustered_hours),
    _Setting("laney_u", "water per therapy day that varies by 2 %", _amounts),
    _Setting("g", "one case in 61", _gaps),
    _Setting("t", "one case in 20 days", _times),
)


def simulate(histories: int, seed: int = _SEED) -> tuple[FalseAlarm, ...]:
    """Return the false alarms of every setting and rule set over so many simulated histories each."""
    import numpy as np

    found = []
    for number, setting in enumerate(SETTINGS):
        random = np.random.default_rng([seed, number])
        courses = [setting.course(random, BASELINE + WATCHED) for _ in range(histories)]
        for rule_set in RULE_SETS:
            watched = [_watched(course, rule_set) for course in courses]
            fired = [sum(map(bool, signal)) for signal in watched]
            found.append(
                FalseAlarm(
                    setting.chart, setting.words, rule_set,
                    sum(fired) / (histories * WATCHED), sum(map(bool, fired)) / histories,
                )
            )  # fmt: skip
    return tuple(found)


def _watched(course: Sequence[Point], rule_set: str) -> list[str]:
    """Return the signals of the points after the baseline, of runs within them alone."""
    return signals(course[BASELINE:], rule_set)


def run_lengths(rule_set: str, runs: int, seed: int = _SEED) -> list[int]:
    """Return how many points it took to a first signal, with known limits and normal values, run after run."""
    import numpy as np

    random = np.random.default_rng([seed, len(rule_set)])
    return [_run_length(rule_set, random) for _ in range(runs)]


def _run_length(rule_set: str, random: Generator) -> int:
    values: list[float] = []
    step = 128
    while True:
        values += random.standard_normal(step).tolist()
        points = [Point(value, 0.0, -3.0, 3.0, value) for value in values]
        first = next((place for place, signal in enumerate(signals(points, rule_set)) if signal), None)
        if first is not None:
            return first + 1
        step = len(values)


#: For each setting, by rule set: the shares of points and of stretches, from 10,000 histories.
_SIMULATED = (
    ((0.0369, 0.2582), (0.0652, 0.3932), (0.0585, 0.3697)),  # p: 1 expected of 30 a month
    ((0.0176, 0.1314), (0.0295, 0.2018), (0.0251, 0.1843)),  # p: 5 expected of 100 a month
    ((0.0143, 0.1054), (0.0256, 0.1803), (0.0217, 0.1634)),  # p: 90 expected of 100 a month
    ((0.0178, 0.1330), (0.0287, 0.2022), (0.0243, 0.1859)),  # u: 5 expected a month
    ((0.0280, 0.2041), (0.0463, 0.2783), (0.0442, 0.2732)),  # laney_p: months that vary by twice chance
    (
        (0.0345, 0.2564),
        (0.0521, 0.3242),
        (0.0494, 0.3192),
    ),  # laney_p: part cover with 6 lapses of 10 h a month
    (
        (0.0287, 0.2042),
        (0.0476, 0.2768),
        (0.0455, 0.2716),
    ),  # laney_u: water per therapy day that varies by 2 %
    ((0.0493, 0.3554), (0.0572, 0.3762), (0.0505, 0.3541)),  # g: one case in 61
    ((0.0252, 0.1750), (0.0450, 0.2637), (0.0432, 0.2592)),  # t: one case in 20 days
)

FALSE_ALARMS = tuple(
    FalseAlarm(setting.chart, setting.words, rule_set, *rates)
    for setting, by_rule_set in zip(SETTINGS, _SIMULATED, strict=True)
    for rule_set, rates in zip(RULE_SETS, by_rule_set, strict=True)
)

#: Mean points to a false signal with known limits and normal values, from 10,000 runs.
MEAN_RUN_LENGTHS = {"limits_and_runs": 152.3, "western_electric": 91.9, "nelson_1984": 72.5}


def sentence(alarm: FalseAlarm) -> str:
    """Say a false-alarm rate in words.

    >>> sentence(FalseAlarm("p", "5 expected of 100 a month", "limits_and_runs", 0.012, 0.11))
    'p chart, 5 expected of 100 a month: 1.2% of points signal though nothing changed, and 11% of stretches of 12.'
    """
    return (
        f"{alarm.chart.replace('_', ' ')} chart, {alarm.setting}: {alarm.of_points:.1%} of points signal though "
        f"nothing changed, and {alarm.of_stretches:.0%} of stretches of {WATCHED}."
    )


def expected_by_chance(kinds: Sequence[str], rule_set: str) -> float:
    """Return how many of some charts' latest points signal on average though nothing changed.

    Of the settings simulated for a kind of chart the worst counts.
    """
    rates = {kind: max(alarm.of_points for alarm in FALSE_ALARMS if (alarm.chart, alarm.rule_set) == (kind, rule_set))
             for kind in set(kinds)}  # fmt: skip
    return sum(rates[kind] for kind in kinds)


if __name__ == "__main__":
    for alarm in simulate(_HISTORIES):
        sys.stdout.write(f"{alarm}\n")
    for name in RULE_SETS:
        lengths = run_lengths(name, _HISTORIES)
        sys.stdout.write(f"{name}: {sum(lengths) / len(lengths):.1f}\n")
