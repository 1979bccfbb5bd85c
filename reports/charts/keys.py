"""What the colours and shapes of each kind of chart stand for, said once for the chart and for its key."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.findings.model import Figure


@dataclass(frozen=True)
class Key:
    """A column, or a value, of a figure's table: the word for it, and a colour or the name of a shape."""

    column: str
    word: str
    look: str


IN_LIMIT = Key("In limit", "in limit", "calm")
NOT_IN_LIMIT = (
    Key("Over limit", "over limit", "dark"),
    Key("Carried over", "carried over", "gold"),
    Key("Undocumented", "undocumented", "sand"),
    Key("Not assessable", "not assessable", "hollow"),
)
COVER = (IN_LIMIT, *NOT_IN_LIMIT)
FRESH = (Key("Carried over", "carried over", "dark"), Key("No record", "no record of a new one", "sand"))
PROOFS = (
    Key("No record", "no record", "dark"),
    Key("No valid cycle", "no valid cycle", "gold"),
    Key("Uncharted use", "uncharted use", "teal"),
    Key("Stored too long", "stored too long", "mauve"),
    Key("Storage unproven", "storage unproven", "sand"),
    Key("Count rose only", "count rose, no record", "hollow"),
)
VERDICTS = (
    Key("Count above records", "count above records", "dark"),
    Key("Records above count", "records above count", "gold"),
    Key("Count went down", "count went down", "teal"),
    Key("Likely misread", "likely misread", "hollow"),
)
TURNAROUND = (Key("Median", "median", "mark"), Key("90% by", "nine tenths", "gold"))
WATER = (Key("Hung per therapy day", "hung", "mark"), Key("Modelled per therapy day", "modelled", "gold"))
WARMTH = (Key("Median warm-up", "median", "mark"), Key("90% by", "nine tenths", "gold"))
PARTS = (Key("Needed", "needed", "teal"), Key("Fitted", "fitted", "mark"), Key("Issued", "issued", "gold"))
CURVE = (
    Key("Disinfected", "disinfected", "mark"),
    Key("Used again first", "used again first, from the top", "gold"),
)
COVERED = "covered by its rows"
COVERAGE = (
    Key(COVERED, COVERED, "calm"),
    Key("covered, as the rules declare", "covered, as the rules declare", "gold"),
    Key("not covered", "not covered", "hollow"),
)
_CONTROL = (
    Key("Low", "95% interval", "band"),
    Key("Upper limit", "limits of the baseline", "dash"),
    Key("Signal", "signal", "diamond"),
)
_FUNNEL = (
    Key("Share", "the ward's own share", "dot"),
    Key("Drawn in", "drawn in towards the site's", "ring"),
    Key("95% from", "95% limits", "dash"),
    Key("99.8% from", "99.8% limits", "line"),
)
_POOL = (Key("Low", "95% limits", "band"), Key("Stands apart", "stands apart from the pool", "square"))
_FAN = (
    Key("Needed", "needed so far", "solid"),
    Key("Expected", "expected", "dashed"),
    Key("High", "8 in 10 futures", "band"),
)
_STOCK = (Key("Pieces", "in store", "solid"), Key("High", "8 in 10 futures", "band"))
_STAIRCASE = (
    Key("Own count", "the unit's own count", "mark"),
    Key("By the records", "by the records", "gold"),
)
_SHORTAGE = (Key("Observed", "turnaround as observed", "mark"), Key("At the target", "at the target", "gold"))

_KEYS: dict[str, tuple[Key, ...]] = {
    "cover_now": COVER, "cover_by_month": NOT_IN_LIMIT, "cover_by_ward": NOT_IN_LIMIT, "fresh_counts": FRESH,
    "proof_counts": PROOFS, "count_verdicts": VERDICTS, "curve": CURVE,
    "control": _CONTROL, "raised": _CONTROL, "gaps": _CONTROL, "funnel": _FUNNEL, "pool": _POOL,
    "fan": _FAN, "stock": _STOCK, "shortage": _SHORTAGE, "staircase": _STAIRCASE, "ward_months": NOT_IN_LIMIT,
}  # fmt: skip


def keys_of(figure: Figure) -> tuple[Key, ...]:
    """Return the keys of what the figure really shows, in order."""
    names = [column.name for column in figure.table.columns]
    if figure.chart == "coverage":
        found = {row[names.index("State")] for row in figure.table.rows}
        return tuple(key for key in COVERAGE if key.column in found)
    keys = _KEYS.get(figure.chart) or _KEYS.get(figure.chart.partition("_")[0], ())
    columns = dict(zip(names, zip(*figure.table.rows, strict=True), strict=False))
    return tuple(key for key in keys if any(columns.get(key.column, ())))
