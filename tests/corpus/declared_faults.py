"""Exports that a profile declares and that are not as declared; text, packed text, lines of JSON, Parquet."""

from __future__ import annotations

import gzip
import io
import json
from collections.abc import Iterator

import polars as pl
from bad_file import BadFile, Expect, refused, text_of
from packed import OLD, archive

_PRICES = ["item_id", "part", "pack_size", "unit_price", "lead_time_days"]
_FITTINGS = ["Gerät", "Teil", "Gesetzt", "Charge"]


def _prices(kind: str, price: str, expect: Expect) -> BadFile:
    """A list of prices with semicolons, decimal commas and dots between the thousands."""
    name = f"prices_{kind}"
    rows = [
        [f"{name}-{row}", "circuit", "10", said, "14"] for row, said in enumerate(("99,5", price, "7"), 1)
    ]
    return BadFile(f"{name}.csv", text_of([_PRICES, *rows], ";").encode(), expect)


def _price_files() -> Iterator[BadFile]:
    fine, unread = Expect(accepted=3), Expect(accepted=2, quarantined={3: "bad_number:unit_price"})
    yield _prices("with-dots", "1.299,99", fine)
    yield _prices("dots-misplaced", "1.29,99", unread)
    yield _prices("two-commas", "12,5,5", unread)
    yield _prices("apostrophe", "1'299,99", unread)
    yield _prices("spaces", "1 299,99", unread)
    yield _prices("narrow-spaces", "1\u202f299,99", unread)
    yield _prices("no-break-spaces", "1\u00a0299,99", unread)
    other_way = refused("row 3, column 'unit_price': the value can only be read with '.' as the decimal mark")
    yield _prices("decimal-point", "1299.99", other_way)
    yield _prices("marks-swapped", "1,299.99", other_way)
    content = text_of([_PRICES, ["p-comma", "circuit", "10", "5", "14"]]).encode()
    yield BadFile("prices_commas.csv", content, refused("no row holds the column names"))


def _fittings(kind: str, fitted: str, expect: Expect, *, above: str = "", below: str = "") -> BadFile:
    """A log of parts in cp1252, the day first, under a title row."""
    name = f"fittings_{kind}"
    rows = [
        [name, "circuit", said, f"L{row}"]
        for row, said in enumerate(("02.03.2026 08:00", fitted, "04.03.2026 08:00"), 1)
    ]
    text = "Geräte der Station\n" + above + text_of([_FITTINGS, *rows], "\t") + below
    return BadFile(f"{name}.csv", text.encode("cp1252"), expect)


def _fitting_files() -> Iterator[BadFile]:
    fine, unread = Expect(accepted=3), Expect(accepted=2, quarantined={4: "bad_time:fitted_at"})
    good = "03.03.2026 08:00"
    yield _fittings("as-declared", good, fine)
    yield _fittings("midnight-as-24", "02.03.2026 24:00", fine)
    yield _fittings("past-24", "02.03.2026 24:01", unread)
    yield _fittings("no-such-day", "31.02.2026 08:00", unread)
    yield _fittings("short-year", "03.03.26 08:00", unread)
    yield _fittings("iso", "2026-03-03T08:00", unread)
    yield _fittings("second-60", "03.03.2026 08:00:60", unread)
    yield _fittings("day-alone", "03.03.2026", unread)
    yield _fittings("month-first", "03.13.2026 08:00", refused("day and month the other way round"))
    gap = Expect(accepted=2, quarantined={4: "nonexistent_local_time:fitted_at"})
    yield _fittings("spring-gap", "29.03.2026 01:30", gap)
    yield _fittings("footer", good, Expect(accepted=3, skipped=1), below="Summe\t\t\t3\n")
    torn = Expect(accepted=3, quarantined={6: "missing_value,wrong_field_count"})
    yield _fittings("footer-undeclared", good, torn, below="3 rows\n")
    yield _fittings("blank-titles", good, fine, above="\n\n")
    yield _fittings("buried", good, refused("no row holds the column names"), above="x\n" * 60)
    utf8 = _fittings("utf-8", good, fine).content.decode("cp1252").encode()
    yield BadFile("fittings_utf-8.csv", utf8, refused("declares cp1252, but row 1 is UTF-8"))
    utf16 = utf8.decode().encode("utf-16")
    yield BadFile("fittings_utf-16.csv", utf16, refused("begins with the mark of Unicode text"))
    undefined = _fittings("undefined", good, fine).content + b"\x81\n"
    yield BadFile("fittings_undefined-byte.csv", undefined, refused("row 6 is not cp1252"))
    workbook = archive(("xl/workbook.xml", "<x/>"))
    yield BadFile("fittings_a-workbook.csv", workbook, refused("this is a workbook or an archive"))


_READINGS = "unit_id,read_at,cycle_count\n{0},2026-03-02T08:00,7\n{0},soon,8\n"
_ONE_OUT = Expect(accepted=1, quarantined={3: "bad_time:read_at"})


def _packed_files() -> Iterator[BadFile]:
    def text(name: str) -> bytes:
        return _READINGS.format(name).encode()

    def zipped(kind: str, expect: Expect, *members: tuple[str, str | bytes]) -> BadFile:
        return BadFile(f"packed_{kind}.zip", archive(*members), expect)

    yield BadFile("packed_fine.gz", gzip.compress(text("gz"), mtime=0), _ONE_OUT)
    yield BadFile("packed_cut-off.gz", gzip.compress(text("gz-cut"), mtime=0)[:-9], refused("cut off"))
    yield BadFile("packed_not-at-all.gz", text("gz-not"), refused("the gzip file is damaged, or is none"))
    flipped = bytearray(gzip.compress(text("gz-flip"), mtime=0))
    flipped[-6] ^= 255
    yield BadFile("packed_wrong-sum.gz", bytes(flipped), refused("the gzip file is damaged"))
    twice = gzip.compress(gzip.compress(text("gz-gz"), mtime=0), mtime=0)
    yield BadFile("packed_twice.gz", twice, refused("inside it is a gzip file"))
    yield BadFile("packed_bomb.gz", gzip.compress(b"0" * 9_000_000, mtime=0), refused("unpacks to more than"))
    yield BadFile("packed_nothing.gz", gzip.compress(b"", mtime=0), refused("no row holds the column names"))
    yield zipped("fine", _ONE_OUT, ("r.csv", text("zip")))
    yield zipped("mac", _ONE_OUT, ("r.csv", text("mac")), ("__MACOSX/._r.csv", "x"))
    yield zipped("two", refused("the archive holds 2 files"), ("a.csv", "1"), ("b.csv", "2"))
    yield zipped("none", refused("the archive holds 0 files"))
    yield zipped("zip-in-zip", refused("inside it is a zip archive"), ("r.zip", archive(("r.csv", "1"))))
    yield zipped("climbs", refused("leads out of the archive"), ("../../r.csv", text("climb")))
    yield zipped("rooted", refused("leads out of the archive"), ("/etc/r.csv", text("root")))
    yield zipped("drive", refused("leads out of the archive"), ("C:\\r.csv", text("drive")))
    yield zipped("many", refused("holds 201 files"), *((f"{n}.csv", "1") for n in range(201)))
    yield zipped("bomb", refused("unpacks to more than"), ("r.csv", b"0" * 9_000_000))
    yield BadFile("packed_cut-off.zip", archive(("r.csv", text("zc")))[:-30], refused("damaged, or cut off"))
    yield BadFile("packed_old-book.zip", OLD, refused("damaged, or cut off"))


def _lines(kind: str, line: str, expect: Expect) -> BadFile:
    name = f"lines_{kind}"
    good = [json.dumps({"unit_id": name, "read_at": f"2026-03-02T08:0{n}", "cycle_count": n}) for n in (1, 2)]
    return BadFile(f"{name}.jsonl", f"{good[0]}\n{line}\n{good[1]}\n".encode(), expect)


def _json_files() -> Iterator[BadFile]:
    no_count = "missing_value:cycle_count"
    nothing = f"missing_value:unit_id,missing_value:read_at,{no_count}"
    no_object = refused("row 2 is no JSON object, names a value twice, or holds half")
    not_flat = refused("row 2 is no flat JSON object")
    row = '{{"unit_id": "lines_{}", "read_at": {}, "cycle_count": {}}}'
    time = '"2026-03-02T08:05"'
    out = Expect(accepted=2, quarantined={2: "bad_number:cycle_count"})
    yield _lines("cut-off", '{"unit_id": "1", "read', no_object)
    yield _lines("name-twice", '{"unit_id": "1", "unit_id": "2"}', no_object)
    yield _lines("an-array", '["1", "2"]', not_flat)
    yield _lines("nested", row.format("nested", '{"day": 1}', 3), not_flat)
    yield _lines("deep", "[" * 100_000, no_object)
    yield _lines("single-quotes", "{'unit_id': '1'}", no_object)
    yield _lines("two-objects", "{} {}", no_object)
    yield _lines("blank", "", Expect(accepted=2, skipped=1))
    yield _lines("not-a-number", row.format("nan", time, "NaN"), out)
    yield _lines("infinite", row.format("inf", time, "-Infinity"), out)
    yield _lines("power", row.format("power", time, "1e3"), out)
    yield _lines("huge", row.format("huge", time, "9" * 5000), out)
    yield _lines("flag", row.format("flag", time, "true"), out)
    yield _lines(
        "null",
        row.format("null", time, "null"),
        Expect(accepted=2, quarantined={2: no_count}),
    )
    yield _lines("half-a-letter", row.format("half\\ud800", time, 3), no_object)
    yield _lines("other-names", '{"device": "1"}', Expect(accepted=2, quarantined={2: nothing}, undeclared=1))
    yield BadFile(
        "lines_an-array-of-all.jsonl", b'[\n{"unit_id": "1"}\n]\n', refused("row 1 is no JSON object")
    )
    yield BadFile("lines_nothing.jsonl", b"{}\n{}\n", refused("the file holds no objects"))


def _parquet(kind: str, columns: dict[str, pl.Series | list[object]], expect: Expect) -> BadFile:
    made = io.BytesIO()
    pl.DataFrame(columns).write_parquet(made)
    return BadFile(f"columns_{kind}.parquet", made.getvalue(), expect)


def _parquet_files() -> Iterator[BadFile]:
    times = ["2026-03-02T08:00", "2026-03-02T08:01"]

    def with_count(kind: str, counts: pl.Series | list[object], expect: Expect) -> BadFile:
        return _parquet(
            kind, {"unit_id": [f"columns-{kind}"] * 2, "read_at": times, "cycle_count": counts}, expect
        )

    out = Expect(accepted=1, quarantined={2: "bad_number:cycle_count"})
    yield with_count("half", [1.0, 1.5], out)
    yield with_count("not-a-number", [1.0, float("nan")], out)
    yield with_count("null", [1, None], Expect(accepted=1, quarantined={2: "missing_value:cycle_count"}))
    yield with_count("negative", [1, -1], Expect(accepted=1, quarantined={2: "out_of_range:cycle_count"}))
    yield with_count("lists", [[1], [2]], refused("columns of lists or structures"))
    yield with_count("structures", [{"a": 1}, {"a": 2}], refused("columns of lists or structures"))
    yield with_count("no-text", pl.Series([b"1", b"\xff"]), refused("it is no Parquet file, is damaged"))
    yield _parquet("no-time", {"unit_id": ["1"], "cycle_count": [1]}, refused("missing column(s) read_at"))
    yield BadFile("columns_text.parquet", _READINGS.encode(), refused("it is no Parquet file"))
    yield BadFile("columns_magic-alone.parquet", b"PAR1PAR1", refused("it is no Parquet file"))
    whole = with_count("cut-off", [1, 2], out).content
    yield BadFile("columns_cut-off.parquet", whole[: len(whole) // 2], refused("it is no Parquet file"))


def declared_files() -> Iterator[BadFile]:
    """Yield the files of every declared kind but workbooks."""
    yield from _price_files()
    yield from _fitting_files()
    yield from _packed_files()
    yield from _json_files()
    yield from _parquet_files()
