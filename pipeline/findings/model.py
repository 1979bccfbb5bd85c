"""What a report says, as frozen values: every number, its reference, its words. Renderers only show them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from pipeline.measures.intervals import Limits, wilson

#: A cell of a table; instants are naive UTC.
Cell = str | int | float | datetime | None

DECIDE, LOOK, UNKNOWN, STEADY = "Needs a decision", "Worth a look", "Cannot be judged", "Steady"
NOT_JUDGED = "Not judged"
STATUSES = (DECIDE, LOOK, UNKNOWN, STEADY, NOT_JUDGED)

QUALITY_LEAD, PURCHASING = "Quality lead", "Purchasing"
INFECTION_CONTROL, WARD = "Infection control", "Ward"


@dataclass(frozen=True)
class Share:
    """A count out of a total with Wilson's 95 % limits; value and limits are None without a total."""

    count: int
    total: int

    @property
    def value(self) -> float | None:
        """The share itself."""
        return self.count / self.total if self.total else None

    @property
    def limits(self) -> Limits | None:
        """Its limits."""
        return wilson(self.count, self.total)


@dataclass(frozen=True)
class Point:
    """One month of a measure; what cannot be given is None. ``count`` out of ``total`` where it is charted.

    ``centre``, ``lower`` and ``upper`` belong to the control chart, ``low`` and ``high`` to the value.
    """

    month: str
    value: float | None
    count: float | None = None
    total: float | None = None
    low: float | None = None
    high: float | None = None
    centre: float | None = None
    lower: float | None = None
    upper: float | None = None
    signal: str = ""


@dataclass(frozen=True)
class Reference:
    """The frozen months that a measure is compared with; provisional until they are complete."""

    months: tuple[str, ...]
    provisional: bool
    value: float | None = None
    count: float | None = None
    total: float | None = None


@dataclass(frozen=True)
class Difference:
    """A difference from the reference, with Newcombe's 95 % limits where both are shares."""

    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Measure:
    """One measure of a site up to the month: its last point, what it is compared with, and how it reads.

    ``unit`` is one of the kinds of `wording.shown`; ``counted`` is what its totals are made of: `cases`, `hours`
    or `days`, empty where it has none.
    """

    key: str
    group: str
    label: str
    subject: str
    unit: str
    counted: str
    points: tuple[Point, ...]
    reference: Reference
    difference: Difference | None
    status: str
    reading: str
    section: str

    @property
    def now(self) -> Point:
        """The month of the report."""
        return self.points[-1]


@dataclass(frozen=True)
class Column:
    """A column of a table; ``kind`` is one of those of `wording.shown`."""

    name: str
    kind: str = "text"


@dataclass(frozen=True)
class Table:
    """Rows to be shown as they are, in this order, every one of them; ``folded`` away until asked for."""

    key: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    when_empty: str = "Nothing to list."
    folded: bool = False


@dataclass(frozen=True)
class Figure:
    """A chart: which kind, its finding as the title, what it measures, and the rows it is drawn from.

    ``lines`` are labelled values to draw across it, such as a target; ``events`` are instants or months with what
    happened then; ``ground`` is drawn behind the rows, such as a funnel's limits. ``note`` is printed small below
    the subtitle, and alone where there are no rows to draw. ``size`` is `third`, `half` or `full`.
    ``ward`` names the one ward that it is about, if any.
    """

    key: str
    chart: str
    title: str
    subtitle: str
    table: Table
    lines: tuple[tuple[str, float], ...] = ()
    size: str = "half"
    note: str = ""
    events: tuple[tuple[Cell, str], ...] = ()
    ground: Table | None = None
    ward: str = ""


@dataclass(frozen=True)
class Section:
    """A chapter of the report for one kind of reader; ``model`` names the SQL model that defines it, if any."""

    key: str
    model: str
    title: str
    question: str
    reader: str
    paragraphs: tuple[str, ...]
    caveats: tuple[str, ...]
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()


@dataclass(frozen=True)
class Attention:
    """One row of what needs attention first: a claim, the numbers for it, and who it is for."""

    status: str
    headline: str
    evidence: str
    reader: str
    section: str


@dataclass(frozen=True)
class Definition:
    """What a table or measure means, from the header of the SQL that makes it."""

    key: str
    title: str
    lines: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Span:
    """A time in one state, in words."""

    state: str
    started_at: datetime
    ended_at: datetime


@dataclass(frozen=True)
class UnitLine:
    """A unit's states without a hole between them; ``marks`` are starts of stays after an unprotected changeover."""

    unit_id: str
    spans: tuple[Span, ...]
    marks: tuple[datetime, ...] = ()


@dataclass(frozen=True)
class SiteFindings:
    """Everything that one site's page of one month says; ``shared`` is what one that leaves the team says of itself.

    ``lines`` are units' states over ``line_months``.
    """

    site_id: str
    month: str
    as_of: datetime
    time_zone: str
    run_id: str
    scope: str
    signals: tuple[str, ...]
    attention: tuple[Attention, ...]
    measures: tuple[Measure, ...]
    sections: tuple[Section, ...]
    definitions: tuple[Definition, ...]
    shared: tuple[str, ...] = ()
    line_months: tuple[str, ...] = ()
    lines: tuple[UnitLine, ...] = ()
