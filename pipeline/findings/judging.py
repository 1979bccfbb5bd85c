"""What a month's charts say: its status, and how it reads."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.findings.charted import is_of_gaps, is_worse, points_in, run_now, side, signals_now
from pipeline.findings.model import DECIDE, LOOK, STEADY, UNKNOWN
from pipeline.findings.source import Source
from pipeline.measures.run_rules import BEYOND_LIMITS, RUN_OF_8
from pipeline.signals.charts import Chart, ChartPoint


def judged(source: Source, charts: Sequence[Chart], value: float | None) -> tuple[str, str]:
    """Return the status and the reading of a measure's month; only a rule of its charts makes a claim.

    ``value`` is the month's own, None where there is nothing to measure.
    """
    if value is None:
        return UNKNOWN, "Nothing to measure this month"
    if not charts:
        return UNKNOWN, "Too few cases or months for a chart"
    if found := signals_now(source, charts):
        chart, point = found[0]
        return DECIDE if is_worse(chart, point) else LOOK, _signal_reading(chart, point)
    if charts[0].points[-1].centre is None:
        return UNKNOWN, "Too few months to compare with"
    return STEADY, "Within its limits, no run"


def reading_of(source: Source, chart: Chart) -> str:
    """Return how one chart reads in the month of the report."""
    points = points_in(source, chart, (source.month,))
    if not points and is_of_gaps(chart):
        return "No such gap ended this month"
    return judged(source, (chart,), points[-1].value if points else None)[1]


def _signal_reading(chart: Chart, point: ChartPoint) -> str:
    above = side(point) > 0
    if is_of_gaps(chart):
        how = "further apart" if above else "closer together"
        return (
            f"Cases {how} than {'its limits allow' if point.signal == BEYOND_LIMITS else 'in the baseline'}"
        )
    if point.signal == BEYOND_LIMITS:
        return "Above its upper limit" if above else "Below its lower limit"
    where = "Above" if above else "Below"
    if point.signal == RUN_OF_8:
        return f"{where} the baseline for {len(run_now(chart.points))} months"
    return f"{where} the baseline: {point.signal.replace('_', ' ')}"
