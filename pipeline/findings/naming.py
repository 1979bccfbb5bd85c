"""How the page names each charted measure, and where it stands."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.findings.wording import part_words, sentence


@dataclass(frozen=True)
class Kind:
    """A charted measure in words; ``{}`` in them stands for its part or step, ``plotted`` is what its charts show.

    ``counted`` is what its totals are made of: `cases`, `hours`, or `days` for an amount a day.
    """

    base: str
    section: str
    table: str
    group: str
    label: str
    subject: str
    plotted: str
    unit: str = "share"
    counted: str = "cases"


_KINDS = (
    Kind("part_cover", "cover", "part_cover_monthly", "Time with a part in limit", "{}", "{} time in limit",
         "Hours in limit, % of those that can be assessed", counted="hours"),
    Kind("overrun_of_due", "overruns", "part_overrun_monthly", "Parts past the limit, of those due", "{}",
         "{}s past the limit", "Spans past the limit, % of those due"),
    Kind("fresh_parts", "fresh", "fresh_part_monthly", "New part for a new patient", "{}",
         "{}s new for a new patient", "Starts with a new part, % of starts"),
    Kind("unprotected_changeovers", "changeovers", "changeover_monthly", "Between patients",
         "Without proof of disinfection", "Changeovers without proof of disinfection",
         "Changeovers without proof, % of those that can be judged"),
    Kind("turnaround", "turnaround", "turnaround_monthly", "Between patients", "Disinfected within the target",
         "Stays disinfected within the target", "Within the target, % of stays whose outcome is known"),
    Kind("count_agreement", "counts", "count_check_monthly", "Between patients", "Counts that agree with records",
         "Counts that agree with the records", "Pairs that agree, % of those that can be assessed"),
    Kind("water_per_therapy_day", "water", "water_monthly", "Water", "Water hung per therapy day",
         "Water hung per therapy day", "mL hung per therapy day", "millilitres", "days"),
    Kind("setup_steps", "setup", "setup_monthly", "Set-up steps done where checked", "{}", "Step done: {}",
         "Done, % of starts at which the step was checked"),
)  # fmt: skip

KINDS = {kind.base: kind for kind in _KINDS}


def kind_of(measure: str) -> Kind:
    """Return the kind of a measure, its words filled in with its part or step.

    >>> kind_of("fresh_parts:water_bag").subject
    'Water bags new for a new patient'
    """
    base, _, item = measure.partition(":")
    kind = KINDS[base]
    name = item if base == "setup_steps" else sentence(part_words(item))
    return Kind(
        base, kind.section, kind.table, kind.group, kind.label.replace("{}", name),
        kind.subject.replace("{}", name), kind.plotted, kind.unit, kind.counted,
    )  # fmt: skip
