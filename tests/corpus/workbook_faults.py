"""Workbooks that are damaged, hostile or no workbooks at all, and sheets that are not as declared."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import replace

from bad_file import BadFile, Expect, refused
from packed import OLD, PROTECTED, SHEET, STRINGS, archive, part, sheet_of, with_doctype
from workbooks import Cell, workbook

HEAD = ["unit_id", "read_at", "cycle_count"]
_AT = datetime.datetime(2026, 3, 2, 8, 0)
_SHEET = "Ward's readings"
BOOK = workbook((_SHEET, [HEAD, ["B1", _AT, 7]]))


def _out(row: int, faults: str, accepted: int = 2, note: str | None = None) -> Expect:
    return Expect(accepted=accepted, quarantined={row: faults}, sheet=_SHEET, note=note)


def _cell(kind: str, unit: Cell, at: Cell, count: Cell, expect: Expect) -> BadFile:
    """A good row, one with these cells, a good row."""
    rows = [
        HEAD,
        [kind, _AT, 7],
        [f"{kind}-2" if unit == "X" else unit, at, count],
        [kind, _AT + datetime.timedelta(hours=1), 8],
    ]
    return BadFile(f"book_{kind}.xlsx", workbook((_SHEET, rows)), expect)


def _cell_files() -> Iterator[BadFile]:
    unread, number = _out(3, "bad_time:read_at"), _out(3, "bad_number:cycle_count")
    failed = "a formula that failed"
    later = _AT + datetime.timedelta(minutes=1)
    yield _cell("time-as-text", "X", "2026-03-02T08:01", 7, Expect(accepted=3))
    yield _cell("number-as-text", "X", later, "7", Expect(accepted=3))
    yield _cell("serial-number", "X", 46083.25, 7, unread)
    yield _cell("day-alone", "X", datetime.date(2026, 3, 2), 7, Expect(accepted=3))
    yield _cell("clock-alone", "X", datetime.time(8, 1), 7, unread)
    yield _cell("day-first-text", "X", "02/03/2026 08:01", 7, unread)
    yield _cell("time-failed", "X", "=#VALUE!", 7, replace(unread, note=failed))
    yield _cell("number-failed", "X", later, "=#DIV/0!", replace(number, note=failed))
    yield _cell("name-failed", "=#REF!", later, 7, _out(3, "missing_value:unit_id", note=failed))
    yield _cell("no-result", "X", later, "=1+1", replace(number, note=failed))
    yield _cell("name-without-result", "=A2", later, 7, _out(3, "missing_value:unit_id", note=failed))
    yield _cell("flag-for-a-number", "X", later, True, number)
    yield _cell("half", "X", later, 7.5, number)
    yield _cell("empty-cell", "X", later, None, _out(3, "missing_value:cycle_count"))
    yield _cell("merged", None, later, 7, _out(3, "missing_value:unit_id"))
    yield _cell(
        "long-number", 1234567890123450000, later, 7, Expect(accepted=3, note="rounded to fifteen digits")
    )
    yield _cell(
        "date-for-a-name", datetime.date(2026, 3, 1), later, 7, Expect(accepted=3, note="a date where")
    )
    yield _cell("future", "X", datetime.datetime(2031, 3, 2), 7, _out(3, "in_future:read_at"))
    yield _cell(
        "spring-gap", "X", datetime.datetime(2026, 3, 29, 1, 30), 7, _out(3, "nonexistent_local_time:read_at")
    )
    yield _cell("before-spreadsheets", "X", 0, 7, unread)


def _sheets(
    kind: str, expect: Expect, *sheets: tuple[str, Sequence[Sequence[Cell]]], **stated: bool
) -> BadFile:
    return BadFile(f"book_{kind}.xlsx", workbook(*sheets, **stated), expect)


def _sheet_files() -> Iterator[BadFile]:
    def rows(name: str) -> list[list[Cell]]:
        return [HEAD, [name, _AT, 7]]

    yield _sheets("several-sheets", Expect(accepted=1), ("Notes", [["x"]]), (_SHEET, rows("several")))
    yield _sheets("other-sheet", refused("it has no sheet"), ("Sheet1", rows("other")))
    yield _sheets("nearly-the-sheet", refused("it has no sheet"), ("Wards readings", rows("nearly")))
    yield _sheets("sheet-in-capitals", Expect(accepted=1), (_SHEET.upper(), rows("capitals")))
    yield _sheets("empty-sheet", refused("no row holds the column names"), (_SHEET, []))
    yield _sheets("only-header", Expect(), (_SHEET, [HEAD]))
    yield _sheets("no-header", refused("no row holds the column names"), (_SHEET, rows("headless")[1:]))
    yield _sheets("titles", Expect(accepted=1), (_SHEET, [["Count of cycles"], [], *rows("titles")]))
    yield _sheets("blank-rows", Expect(accepted=1, skipped=2), (_SHEET, [HEAD, [], [], ["blank", _AT, 7]]))
    yield _sheets("beside", Expect(accepted=1), (_SHEET, [[None, None, *row] for row in rows("beside")]))
    yield _sheets(
        "header-twice",
        _out(3, "bad_number:cycle_count,bad_time:read_at", 1),
        (_SHEET, [*rows("twice"), HEAD]),
    )
    yield _sheets(
        "footer",
        _out(3, "missing_value:unit_id,missing_value:read_at", 1),
        (_SHEET, [*rows("footer"), [None, None, 7]]),
    )
    yield _sheets("counts-from-1904", Expect(accepted=1, note="1904"), (_SHEET, rows("1904")), date_1904=True)
    wide = [[*HEAD, *(f"c{number}" for number in range(2_500))], ["wide", _AT, 7]]
    yield _sheets("2500-columns", refused("and column 2503, more than 2,000 columns"), (_SHEET, wide))


def _row(
    number: int,
    unit: str,
    *,
    cells: str = "<c r='B{0}' t='inlineStr'><is><t>2026-03-02T08:00</t></is></c><c r='C{0}'><v>7</v></c>",
) -> str:
    """A row of XML with texts in its cells."""
    first = f"<c r='A{number}' t='inlineStr'><is><t>{unit}</t></is></c>"
    return f"<row r='{number}'>{first}{cells.format(number)}</row>"


_HEAD_XML = (
    "<row r='1'>"
    + "".join(
        f"<c r='{letter}1' t='inlineStr'><is><t>{name}</t></is></c>"
        for letter, name in zip("ABC", HEAD, strict=True)
    )
    + "</row>"
)


def _xml(kind: str, rows: str, expect: Expect, extra: str = "") -> BadFile:
    return BadFile(f"book_{kind}.xlsx", sheet_of(rows, base=BOOK, extra=extra), expect)


def _xml_files() -> Iterator[BadFile]:
    """Sheets as no program that people use writes them."""
    far = "<row r='1048576'><c r='{}1048576'><v>1</v></c></row>"
    times = "<c t='inlineStr'><is><t>2026-03-02T08:00</t></is></c><c><v>7</v></c>"
    yield _xml("by-hand", _HEAD_XML + _row(2, "by-hand"), Expect(accepted=1))
    yield _xml(
        "no-references",
        (_HEAD_XML + _row(2, "no-references", cells=times)).replace(" r='A2'", ""),
        Expect(accepted=1),
    )
    yield _xml(
        "hidden-row",
        _HEAD_XML + _row(2, "hidden").replace("<row ", "<row hidden='1' "),
        Expect(accepted=1, note="hidden"),
    )
    yield _xml(
        "rows-out-of-order", _HEAD_XML + _row(3, "order-3") + _row(2, "order-2"), refused("not in order")
    )
    yield _xml(
        "cell-twice", _HEAD_XML + _row(2, "cell-a") + _row(2, "cell-b"), refused("two stand in one place")
    )
    yield _xml("far-cell", _HEAD_XML + far.format("XFD"), refused("reaches to row 1048576"))
    yield _xml(
        "far-column",
        _HEAD_XML + "<row r='900000'><c r='Z900000'><v>1</v></c></row>",
        refused("reaches to row 900000"),
    )
    yield _xml(
        "column-beyond-all",
        _HEAD_XML + "<row r='2'><c r='ZZZZ2'><v>1</v></c></row>",
        refused("and column 475254"),
    )
    yield _xml("row-0", _HEAD_XML + "<row r='0'><c r='A0'><v>1</v></c></row>", refused("not in order"))
    yield _xml(
        "no-such-string",
        _HEAD_XML + "<row r='2'><c r='A2' t='s'><v>99999</v></c></row>",
        refused("cannot be read"),
    )
    yield _xml("unclosed-element", _HEAD_XML + "<row r='2'><c r='A2'>", refused("its sheet cannot be read"))
    yield _xml(
        "merged-over-all",
        _HEAD_XML + _row(2, "merged-all"),
        Expect(accepted=1),
        "<mergeCells><mergeCell ref='A1:XFD1048576'/></mergeCells>",
    )


def _hostile_files() -> Iterator[BadFile]:
    def book(kind: str, content: bytes, words: str) -> BadFile:
        return BadFile(f"book_{kind}.xlsx", content, refused(words))

    laughs = '<!DOCTYPE sst [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>'
    yield book("old", OLD, "it is an old workbook (.xls)")
    yield book("password", PROTECTED, "protected by a password")
    yield book(
        "web-page", b"<html><table><tr><td>unit_id</td></tr></table></html>", "it is a web page or XML"
    )
    yield book("xml-of-2003", b'<?xml version="1.0"?><Workbook/>', "it is a web page or XML")
    yield book("text", b"unit_id,read_at,cycle_count\n", "it is no workbook")
    yield book("opendocument", archive(("mimetype", "x"), ("content.xml", "<x/>")), "OpenDocument")
    yield book("binary", archive(("xl/workbook.bin", "x")), ".xlsb")
    yield book("archive", archive(("r.csv", "x")), "it is an archive, but no workbook")
    yield book("macros", archive(("xl/vbaProject.bin", "x"), base=BOOK), "it holds macros")
    yield book(
        "other-books",
        archive(("xl/externalLinks/externalLink1.xml", "<x/>"), base=BOOK),
        "draws on other workbooks",
    )
    yield book("embedded", archive(("xl/embeddings/o.bin", "x"), base=BOOK), "embedded files")
    yield book("zip-inside", archive(("xl/media/x.zip", "x"), base=BOOK), "an archive inside")
    yield book("climbs", archive(("../x.xml", "<x/>"), base=BOOK), "leads out of the archive")
    yield book(
        "many-parts", archive(*((f"xl/x{n}.xml", "<x/>") for n in range(300)), base=BOOK), "no more than 200"
    )
    yield book("bomb", archive((SHEET, [b" " * 1_000_000] * 9), base=BOOK), "unpacks to more than")
    yield book("entities", with_doctype(STRINGS, laughs, BOOK), "document type or entities")
    yield book(
        "part-in-utf-16",
        archive((SHEET, part(SHEET, BOOK).encode("utf-16")), base=BOOK),
        "not written in UTF-8",
    )
    yield book("cut-off", BOOK[: len(BOOK) // 2], "damaged, or cut off")
    yield book("cut-off-at-end", BOOK[:-10], "damaged, or cut off")
    yield book("no-sheet-part", archive((SHEET, None), base=BOOK), "its sheet cannot be read")
    yield book("empty-part", archive((SHEET, ""), base=BOOK), "its sheet cannot be read")
    yield book("no-list", archive(("xl/workbook.xml", "<x"), base=BOOK), "its list of sheets cannot be read")
    yield book("nothing", b"PK\x05\x06" + b"\0" * 18, "no workbook")
    flipped = bytearray(BOOK)
    flipped[BOOK.index(b"xl/worksheets/sheet1.xml") + 60] ^= 255
    yield book("flipped-byte", bytes(flipped), "damaged")


def workbook_files() -> Iterator[BadFile]:
    """Yield every workbook."""
    yield from _cell_files()
    yield from _sheet_files()
    yield from _xml_files()
    yield from _hostile_files()
