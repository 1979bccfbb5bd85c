"""The sentences that page, board pack and workbook open with."""

from __future__ import annotations

from collections import Counter
from zoneinfo import ZoneInfo

from pipeline.findings.model import DECIDE, LOOK, NOT_JUDGED, STEADY, UNKNOWN, Measure, SiteFindings
from pipeline.findings.wording import listed, shown

_TOLD = {
    DECIDE: ("needs a decision", "need a decision"),
    LOOK: ("is worth a look", "are worth a look"),
    UNKNOWN: ("cannot be judged", "cannot be judged"),
}


def known_at(findings: SiteFindings) -> str:
    """Say when the records were known; an edition that leaves the team tells no more of it than the day."""
    known = shown(findings.as_of, "instant", ZoneInfo(findings.time_zone))
    known = known.split(",")[0] if findings.shared else known
    return f"Records known at {known}; all times are those of {findings.time_zone}."


def tally(findings: SiteFindings) -> str:
    """Say in one line how many matters need attention, and how many measures are steady."""
    counts = [(status, sum(item.status == status for item in findings.attention)) for status in _TOLD]
    told = [f"{number} {_TOLD[status][number != 1]}" for status, number in counts if number]
    if not told:
        told = [
            "Single cases are not told here" if findings.shared else "Nothing asks for a decision this month"
        ]
    return f"{', '.join(told)}. {_measures_told(findings.measures)}"


def _measures_told(measures: tuple[Measure, ...]) -> str:
    """Say how many measures are steady, and of how many that cannot be said."""
    statuses = Counter(measure.status for measure in measures)
    signals = statuses[DECIDE] + statuses[LOOK]
    steady = statuses[STEADY]
    parts = ["1 is steady" if steady == 1 else f"{steady or 'none'} are steady"]
    if signals:
        parts.append(
            "1 differs from its baseline" if signals == 1 else f"{signals} differ from their baseline"
        )
    parts += [f"{statuses[UNKNOWN]} cannot be judged"] if statuses[UNKNOWN] else []
    return f"Of {len(measures) - statuses[NOT_JUDGED]} charted measures {listed(parts)}."
