"""Rows whose values contradict each other, the calendar, the register or other files."""

from __future__ import annotations

from collections.abc import Iterator

from bad_file import BadFile, Expect, refused
from good_rows import as_text, rows_of, store_of

_FUTURE = "2026-07-02T08:00"
_LATE_CYCLE = {"started_at": _FUTURE, "ended_at": "2026-07-02T09:00"}
_SAME = {"item_id": "items_one-item-twice-1", "unit_price": "99"}


def _out(faults: str) -> Expect:
    return Expect(accepted=2, quarantined={3: faults})


def _warned(warning: str) -> Expect:
    return Expect(accepted=3, warnings={warning: 1})


#: By table and kind: what the second of three rows says instead, and what must become of the file.
_ROWS: dict[tuple[str, str], tuple[dict[str, str], Expect]] = {
    ("unit_status", "ends-before-start"): ({"ended_at": "2026-03-02T08:00"}, _out("ends_before_start:ended_at")),
    ("usage_sessions", "negative"): ({"ended_at": "2026-03-01T09:00"}, _out("ends_before_start:ended_at")),
    ("episodes", "second-too-early"): (
        {"started_at": "2026-03-02T08:00:01", "ended_at": "2026-03-02T08:00:00"},
        _out("ends_before_start:ended_at"),
    ),
    ("episodes", "no-time-at-all"): ({"ended_at": "2026-03-02T08:00"}, Expect(accepted=3)),
    ("part_changes", "removed-before-fitted"): (
        {"removed_at": "2026-02-02T20:00"},
        _out("ends_before_start:removed_at"),
    ),
    ("disinfections", "ends-before-start"): ({"ended_at": "2026-03-01T09:00"}, _out("ends_before_start:ended_at")),
    ("disinfections", "offsets-cross"): (
        {"started_at": "2026-03-02T08:00+01:00", "ended_at": "2026-03-02T09:00+03:00"},
        _out("ends_before_start:ended_at"),
    ),
    ("disinfections", "future"): (_LATE_CYCLE, _out("in_future:started_at,in_future:ended_at")),
    ("usage_samples", "future"): ({"sampled_at": _FUTURE}, _out("in_future:sampled_at")),
    ("usage_samples", "next-century"): ({"sampled_at": "2126-03-02T08:02"}, _out("in_future:sampled_at")),
    ("usage_samples", "second-after-ingest"): ({"sampled_at": "2026-06-01T13:00:01"}, _out("in_future:sampled_at")),
    ("part_changes", "future-removal"): ({"removed_at": _FUTURE}, _out("in_future:removed_at")),
    ("stock_moves", "future"): ({"moved_at": _FUTURE}, _out("in_future:moved_at")),
    ("patient_merges", "future"): ({"merged_at": _FUTURE}, _out("in_future:merged_at")),
    ("ward_census", "future"): ({"counted_on": "2026-06-02"}, _out("in_future:counted_on")),
    ("count_readings", "autumn-fold"): ({"read_at": "2025-10-26T01:30"}, _warned("ambiguous_local_time")),
    ("count_readings", "mixed-offsets"): ({"read_at": "2026-03-02T09:02+01:00"}, Expect(accepted=3)),
    ("count_readings", "zulu-in-the-gap"): ({"read_at": "2026-03-29T01:30Z"}, Expect(accepted=3)),
    ("usage_samples", "out-of-order"): ({"sampled_at": "2026-03-02T09:00"}, _warned("out_of_order")),
    ("episodes", "over-60-days"): ({"started_at": "2025-12-02T08:00"}, _warned("long_episode")),
    ("episodes", "no-end"): ({"ended_at": ""}, _warned("missing_end")),
    ("part_changes", "no-lot"): ({"lot": ""}, _warned("missing_lot")),
    ("part_changes", "nobodys-part"): ({"unit_id": "", "patient_ref": " "}, _out("missing_value:unit_id")),
    ("part_changes", "unknown-part"): ({"part": "filter"}, _out("bad_code:part")),
    ("part_changes", "litres"): ({"volume_ml": "1"}, Expect(accepted=3, note="as litres would read")),
    ("part_changes", "litres-with-point"): ({"volume_ml": "0.5"}, _warned("value_dropped")),
    ("part_changes", "too-many-litres"): ({"volume_ml": "10001"}, _warned("value_dropped")),
    ("usage_samples", "millilitres"): ({"flow_l_min": "30000"}, _out("out_of_range:flow_l_min")),
    ("usage_samples", "fahrenheit"): ({"dew_point_c": "98.6"}, _warned("value_dropped")),
    ("usage_samples", "fraction-of-oxygen"): ({"oxygen_pct": "0.4"}, _warned("value_dropped")),
    ("cycle_temperatures", "fahrenheit"): ({"temperature_c": "189.5"}, _out("out_of_range:temperature_c")),
    ("part_changes", "long-number"): ({"lot": "1.23E+15"}, Expect(accepted=3, note="powers of ten")),
    ("part_changes", "date-for-a-lot"): ({"lot": "1-Mar"}, Expect(accepted=3, note="a date where an identifier")),
    ("part_changes", "failed-look-up"): ({"item_id": "#REF!"}, Expect(accepted=3, note="formula that failed")),
    ("count_readings", "unit-with-decimals"): ({"unit_id": "712.0"}, Expect(accepted=3, note="decimal places")),
    ("stock_moves", "sixteen-digits"): ({"lot": "1234567890123450"}, Expect(accepted=3, note="to fifteen digits")),
    ("stock_moves", "formula-for-a-name"): ({"location": "=cmd|' /C calc'!A0"}, Expect(accepted=3)),
    ("items", "one-item-twice"): (_SAME, Expect(accepted=3, corrected=1)),
}  # fmt: skip

#: Columns that any file may have besides its own, with what they say in the second row.
_BESIDE: dict[str, tuple[dict[str, str], Expect]] = {
    "unknown-site": ({"site_id": "ELSEWHERE"}, refused("names the site 'ELSEWHERE', which has no rules")),
    "made-before": ({"exported_at": "2026-03-01T00:00"}, _out("in_future:read_at")),
    "unreadable-export-time": ({"exported_at": "today"}, _out("bad_time:exported_at")),
    "exported-in-the-future": ({"exported_at": _FUTURE}, Expect(accepted=3)),
}


def row_files() -> Iterator[BadFile]:
    """Yield a file for each contradiction, and those that need others beside them."""
    for (table, kind), (change, expect) in _ROWS.items():
        yield _changed(table, kind, change, expect)
    for kind, (change, expect) in _BESIDE.items():
        yield _changed("count_readings", kind, change, expect)
    yield from _misplaced()
    yield from _of_the_register()


def _changed(table: str, kind: str, change: dict[str, str], expect: Expect) -> BadFile:
    first, second, third = rows_of(table, f"{table}_{kind}")
    blank = dict.fromkeys(change.keys() - first.keys(), "")
    content = as_text([first | blank, second | change, third | blank])
    return BadFile(f"{table}_{kind}.csv", content.encode(), expect, store_of(table))


def _misplaced() -> Iterator[BadFile]:
    """Files under the name of another table or of none, and one content under two names."""
    episodes = as_text(rows_of("episodes", "misplaced")).encode()
    yield BadFile("usage_samples_of-episodes.csv", episodes, refused("missing column(s) sampled_at"))
    yield BadFile("notes.csv", episodes, refused("its name fits no table"))
    yield BadFile("episodes_in-a-book.xlsx", episodes, refused("its name fits no table"))
    yield BadFile("episodes_a-copy.csv", episodes, Expect(accepted=3))
    yield BadFile("episodes_b-copy.csv", episodes, Expect(duplicates=3))
    yield BadFile(
        "episodes_c-other-case.csv", episodes.replace(b"misplaced", b"MISPLACED"), Expect(duplicates=3)
    )
    later = episodes.replace(b"T20:00", b"T21:00")
    yield BadFile("episodes_d-corrected.csv", later, Expect(accepted=3, corrected=3))


def _of_the_register() -> Iterator[BadFile]:
    """What is told only where the site has a list of its units."""
    units = rows_of("units", "00712")
    yield BadFile("units.csv", as_text(units).encode(), Expect(accepted=3), "register")
    text = "unit_id,ward\nN1,Alder\nN2,Birch\n"
    again = Expect(accepted=2, quarantined={4: "repeated_header"})
    yield BadFile("units_header-twice.csv", (text + "Unit_ID, ward\n").encode(), again, "register")
    homoglyph = text.replace("ward", "wаrd").replace("N", "M")
    expect = Expect(accepted=2, undeclared=1, note="is almost 'ward'")
    yield BadFile("units_homoglyph.csv", homoglyph.encode(), expect, "register")
    merges = "old_ref,new_ref\nr1,r2\nold_ref,new_ref\n"
    again = Expect(accepted=1, quarantined={3: "repeated_header"})
    yield BadFile("patient_merges_header-twice.csv", merges.encode(), again, "register")
    readings = "unit_id,read_at,cycle_count\n{},2026-03-02T08:00,7\n"
    unknown = Expect(accepted=1, warnings={"unknown_unit": 1})
    yield BadFile("count_readings_unknown.csv", readings.format("nobody").encode(), unknown, "register")
    shorn = Expect(accepted=1, warnings={"unknown_unit": 1}, note="without the leading zeros")
    yield BadFile("count_readings_shorn.csv", readings.format("712-1").encode(), shorn, "register")
