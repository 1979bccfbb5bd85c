"""The board pack's first page in words: cautions, what needs attention, and every measure in one line."""

from __future__ import annotations

from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.findings.cautions import CAUTIONS, PSEUDONYMS
from pipeline.findings.model import NOT_JUDGED, STEADY, Measure, SiteFindings
from pipeline.findings.months import month_name
from pipeline.findings.opening import known_at, tally
from pipeline.findings.wording import NOT_KNOWN, basis, change, shown
from reports.sparkline import sparkline
from reports.style import light

#: A sparkline gets its look from the page's style sheet; on its own it carries it.
_LOOKS = {
    'class="base"': f'fill="none" stroke="{light("spread")}" stroke-width=".75" stroke-dasharray="2 2"',
    'class="line"': f'fill="none" stroke="{light("mark")}" stroke-width="1.25"',
    'class="signal"': f'fill="{light("signal")}"',
    'class="last"': f'fill="{light("mark")}"',
}


def summary(findings: SiteFindings, zone: ZoneInfo) -> dict[str, Any]:
    """Return the texts of the first page."""
    return {
        "site": findings.site_id,
        "month": month_name(findings.month),
        "shared": list(findings.shared),
        "scope": findings.scope,
        "known": known_at(findings),
        "cautions": list(CAUTIONS),
        "pseudonyms": "" if findings.shared else PSEUDONYMS,
        "tally": tally(findings),
        "attention": [
            {"status": item.status, "headline": item.headline, "evidence": item.evidence,
             "reader": item.reader, "section": item.section}
            for item in findings.attention
        ],
        "groups": [
            {"name": name, "rows": [_row(measure) for measure in group]}
            for name, group in groupby(findings.measures, lambda item: item.group)
        ],
        "signals": list(findings.signals),
        "run": findings.run_id,
    }  # fmt: skip


def _row(measure: Measure) -> dict[str, Any]:
    now, reference, unit = measure.now, measure.reference, measure.unit
    return {
        "label": measure.label,
        "section": measure.section,
        "value": shown(now.value, unit),
        "limits": _limits(now.low, now.high, unit),
        "basis": _basis(now.count, now.total, measure.counted),
        "reference": shown(reference.value, unit),
        "provisional": reference.provisional and reference.value is not None,
        "difference": _difference(measure),
        "spark": _spark(measure),
        "status": measure.status,
        "steady": measure.status == STEADY,
        "charted": measure.status != NOT_JUDGED,
        "reading": measure.reading,
    }


def _limits(low: float | None, high: float | None, unit: str) -> str:
    if low is None or high is None:
        return ""
    return f"{shown(low, unit).removesuffix(' mL')} to {shown(high, unit)}"


def _basis(count: float | None, total: float | None, counted: str) -> str:
    return "" if count is None or total is None else basis(count, total, counted)


def _difference(measure: Measure) -> str:
    found = measure.difference
    if found is None:
        return NOT_KNOWN
    if measure.unit != "share":
        return change(found.value, measure.unit)
    limits = _limits(found.low, found.high, "points").replace(" points", "")
    return f"{shown(found.value, 'points')}{f' ({limits})' if limits else ''}"


def _spark(measure: Measure) -> str:
    drawn = sparkline(measure.points).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    for name, look in _LOOKS.items():
        drawn = drawn.replace(name, look)
    return drawn
