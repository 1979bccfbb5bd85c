"""The section about parts needed, fitted and issued, and how much therapy there was."""

from __future__ import annotations

from pipeline.findings.figures import control_figure
from pipeline.findings.model import PURCHASING, Figure, Measure, Section
from pipeline.findings.source import Source, as_table, number, ward_table, whole
from pipeline.findings.wording import part_words, sentence, shown

_COLUMNS = {
    "stays_started": ("Stays begun", "count"),
    "therapy_days": ("Therapy days", "number"),
    "needed": ("Needed", "count"),
    "fitted": ("Fitted", "count"),
    "issued": ("Issued", "count"),
    "issued_to_fitted": ("Issued to fitted", "ratio"),
}


def supplies(source: Source, measures: tuple[Measure, ...]) -> Section:
    """Return what the rules required beside what was fitted and what left the stores."""
    model = source.models["part_use_monthly"]
    therapy = next(item for item in measures if item.key == "therapy")
    rate = source.models["rate_monthly"]
    return Section(
        key="parts", model=model.name, title=model.text("title"), question=model.text("question"), reader=PURCHASING,
        paragraphs=("Needed follows from the stays that began in the month; fitted and issued are those of the month itself.",),
        caveats=(*model.header["caveat"], *rate.header["caveat"]),
        figures=(
            *(_by_month(source, part) for part in sorted(source.rules.parts)),
            control_figure(therapy, f"Therapy days per 1,000 patient-days of the ward census, {source.period}", size="third"),
        ),
        tables=(ward_table(source, "part_use_monthly", "Parts", _COLUMNS, by="part"),),
    )  # fmt: skip


def _by_month(source: Source, part: str) -> Figure:
    now = source.now("part_use_monthly", part=part)
    name = sentence(part_words(part))
    amounts = [(word, now.get(word)) for word in ("needed", "fitted", "issued")]
    told = ", ".join(f"{shown(whole(value), 'count')} {word}" for word, value in amounts if number(value) is not None)
    table = as_table(
        source.by_month("part_use_monthly", part=part), f"parts-{part}", f"{name}: pieces by month",
        {"month": ("Month", "month"), **_COLUMNS},
    )  # fmt: skip
    return Figure(
        f"parts-{part}", "part_lines", f"{name}: {told or 'nothing recorded this month'}",
        f"Pieces a month, {source.period}", table, size="third",
    )  # fmt: skip
