"""Delimited text that is torn, mixed, mislabelled or from elsewhere: what is wrong with the file or its lines."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from bad_file import BadFile, Expect, refused
from good_rows import as_text, rows_of

_TABLE = "count_readings"
#: From a good file of three rows to a bad one.
Change = Callable[[str], str | bytes]
#: A row whose fields are too few for a required column, and one that has too many.
_SHORT, _LONG = "missing_value,wrong_field_count", "wrong_field_count"
_FINE = Expect(accepted=3)
_NO_HEADER = refused("row 1 is no header of count_readings")


def _line(number: int, change: Callable[[str], str]) -> Change:
    """Change one line; the header is 1."""

    def changed(text: str) -> str:
        lines = text.splitlines(keepends=True)
        lines[number - 1] = change(lines[number - 1])
        return "".join(lines)

    return changed


def _put(number: int, line: str) -> Change:
    """Put a line before another."""
    return _line(number, lambda old: line + old)


def _out(row: int, faults: str, accepted: int = 2, skipped: int = 0) -> Expect:
    return Expect(accepted=accepted, skipped=skipped, quarantined={row: faults})


_AS_TEXT = "missing_value:unit_id"
_HEADER_AGAIN = "bad_number:cycle_count,bad_time:read_at"

#: By kind: the change, and what must become of the file.
_SHAPES: dict[str, tuple[Change, Expect]] = {
    "only-header": (lambda text: text.splitlines()[0] + "\n", Expect()),
    "only-header-no-end": (lambda text: text.splitlines()[0], Expect()),
    "only-line-ends": (lambda _: "\n\n\n", _NO_HEADER),
    "only-spaces": (lambda _: "   ", _NO_HEADER),
    "only-delimiters": (lambda _: ",,\n,,\n", _NO_HEADER),
    "no-header": (lambda text: text.split("\n", 1)[1], _NO_HEADER),
    "header-twice": (lambda text: text + text.splitlines()[0] + "\n", _out(5, _HEADER_AGAIN, 3)),
    "file-twice": (lambda text: text * 2, Expect(accepted=3, duplicates=3, quarantined={5: _HEADER_AGAIN})),
    "title-row": (lambda text: "Count of cycles, March\n" + text, _NO_HEADER),
    "blank-above-header": (lambda text: "\n" + text, _NO_HEADER),
    "spreadsheet-hint": (lambda text: "sep=,\n" + text, _NO_HEADER),
    "blank-lines": (lambda text: text.replace("\n", "\n\n"), Expect(accepted=3, skipped=4)),
    "lines-of-spaces": (_put(3, "  \t \n"), Expect(accepted=3, skipped=1)),
    "lines-of-delimiters": (_put(3, ",,\n"), Expect(accepted=3, skipped=1)),
    "footer": (lambda text: text + "Total,3\n", _out(5, _SHORT, 3)),
    "footer-sum": (lambda text: text + ",,36\n", _out(5, "missing_value:unit_id,missing_value:read_at", 3)),
    "footer-words": (lambda text: text + "end of the export\n", _out(5, _SHORT, 3)),
    "short-row": (_line(3, lambda line: line.rpartition(",")[0] + "\n"), _out(3, _SHORT)),
    "long-row": (_line(3, lambda line: line.strip() + ",more\n"), _out(3, _LONG)),
    "one-short-one-long": (
        lambda text: _line(4, lambda line: f"{line.strip()},1\n")(_line(3, lambda line: line[:6] + "\n")(text)),
        Expect(accepted=1, quarantined={3: _SHORT, 4: _LONG}),
    ),
    "delimiter-at-ends": (
        lambda text: text.replace("\n", ",\n").replace(",\n", "\n", 1),
        Expect(quarantined=dict.fromkeys((2, 3, 4), _LONG)),
    ),
    "delimiter-at-all-ends": (lambda text: text.replace("\n", ",\n"), _FINE),
    "comma-in-a-number": (_line(3, lambda line: line.strip() + ",5\n"), _out(3, _LONG)),
    "unclosed-quote": (_line(3, lambda line: f'"{line}'), refused("row 3: a quote is opened and never closed")),
    "unclosed-at-end": (_line(4, lambda line: f'"{line}'), refused("row 4: a quote is opened")),
    "text-after-quote": (_line(3, lambda line: f'"K"{line}'), refused("row 3: ")),
    "unclosed-in-header": (_line(1, lambda line: f'"{line}'), refused("row 1: the header's quotes")),
    "quote-inside-field": (_line(3, lambda line: line.replace(",", '",', 1)), _FINE),
    "quotes-round-all": (lambda text: '"' + text.strip().replace(",", '","').replace("\n", '"\n"') + '"\n', _FINE),
    "quote-over-two-rows": (
        lambda text: _line(4, lambda line: line.replace(",", '",', 1))(_line(3, lambda line: f'"{line}')(text)),
        Expect(accepted=2, note="cannot be seen"),  # the lines are one record, which a quoted text may be
    ),
    "line-end-in-a-name": (
        _line(3, lambda line: '"K\n' + line.replace(",", '",', 1)),
        Expect(accepted=3, note="cannot be seen"),
    ),
    "crlf": (lambda text: text.replace("\n", "\r\n"), _FINE),
    "cr": (lambda text: text.replace("\n", "\r"), _FINE),
    "mixed-line-ends": (
        lambda text: text.replace("\n", "\r\n", 1).replace("\n", "\r", 2),
        Expect(accepted=3, skipped=1),
    ),
    "cr-in-a-row": (
        _line(3, lambda line: line.replace(",", "\r,", 1)),
        Expect(accepted=2, quarantined={3: _SHORT, 4: _AS_TEXT}),
    ),
    "nul": (_line(3, lambda line: line.replace(",", "\0,", 1)), refused("row 3 holds a NUL byte")),
    "nul-at-end": (lambda text: text + "\0" * 512, refused("row 5 holds a NUL byte")),
    "no-final-line-end": (lambda text: text.strip(), _FINE),
    "cut-off-in-a-row": (lambda text: text[:-6], _out(4, _SHORT)),
    "end-of-file-mark": (lambda text: text + "\x1a", _out(5, _SHORT, 3)),
    "semicolon-row": (_line(3, lambda line: line.replace(",", ";")), _out(3, _SHORT)),
    "tab-row": (_line(3, lambda line: line.replace(",", "\t")), _out(3, _SHORT)),
    "semicolons": (lambda text: text.replace(",", ";"), _NO_HEADER),
    "tabs": (lambda text: text.replace(",", "\t"), _NO_HEADER),
    "pipes": (lambda text: text.replace(",", "|"), _NO_HEADER),
    "semicolons-below-header": (
        lambda text: text.splitlines()[0] + "\n" + text.split("\n", 1)[1].replace(",", ";"),
        Expect(quarantined=dict.fromkeys((2, 3, 4), _SHORT)),
    ),
    "row-twice": (lambda text: text + text.splitlines()[1] + "\n", Expect(accepted=3, duplicates=1)),
    "key-twice": (lambda text: text + text.splitlines()[1] + "9\n", Expect(accepted=4, corrected=1)),
    "rows-of-no-count": (_line(3, lambda line: line.rpartition(",")[0] + ",\n"), _out(3, "missing_value:cycle_count")),
    "spaces-round-all": (lambda text: text.replace(",", " , "), _FINE),
}  # fmt: skip

_ENCODINGS: dict[str, tuple[Change, Expect]] = {
    "empty": (lambda _: b"", refused("the file is empty")),
    "only-bom": (lambda _: b"\xef\xbb\xbf", _NO_HEADER),
    "bom": (lambda text: b"\xef\xbb\xbf" + text.encode(), _FINE),
    "bom-twice": (lambda text: b"\xef\xbb\xbf" * 2 + text.encode(), refused("missing column(s) unit_id")),
    "utf-16": (lambda text: text.encode("utf-16"), refused("UTF-16")),
    "utf-16-be": (lambda text: b"\xfe\xff" + text.encode("utf-16-be"), refused("UTF-16")),
    "utf-16-no-mark": (lambda text: text.encode("utf-16-le"), refused("NUL")),
    "utf-32": (lambda text: text.encode("utf-32"), refused("UTF-16")),
    "utf-32-be": (lambda text: text.encode("utf-32-be"), refused("NUL")),
    "cp1252": (_line(3, lambda line: f"Gerät{line}"), refused("row 3 is not UTF-8")),
    "mixed-encodings": (
        lambda text: text.encode() + "ä1,2026-03-02T08:00,1\n".encode() + "ä2,2026-03-02T08:00,1\n".encode("cp1252"),
        refused("row 6 is not UTF-8"),
    ),
    "cut-off-in-a-letter": (lambda text: text.encode() + "ä".encode()[:1], refused("row 5 is not UTF-8")),
    "overlong": (lambda text: text.encode() + b"\xc0\xaf,2026-03-02T08:00,1\n", refused("row 5 is not UTF-8")),
    "surrogate": (lambda text: text.encode() + b"\xed\xa0\x80,2026-03-02T08:00,1\n", refused("row 5 is not UTF-8")),
    "byte-255": (lambda text: text.encode() + b"\xff\n", refused("row 5 is not UTF-8")),
    "bom-in-the-middle": (_line(3, lambda line: f"\ufeff{line}"), Expect(accepted=3, note="cannot be seen")),
    "zero-width": (_line(3, lambda line: f"K\u200b{line}"), Expect(accepted=3, note="cannot be seen")),
    "right-to-left": (_line(3, lambda line: f"\u202e{line}"), Expect(accepted=3, note="cannot be seen")),
    "soft-hyphen": (_line(3, lambda line: f"K\u00ad{line}"), Expect(accepted=3, note="cannot be seen")),
    "escape": (_line(3, lambda line: f"\x1b[31m{line}"), Expect(accepted=3, note="cannot be seen")),
    "lost-letters": (_line(3, lambda line: f"Ger\ufffdt{line}"), Expect(accepted=3, note="letters that were lost")),
    "no-break-space-round": (_line(3, lambda line: f"\u00a0{line}"), _FINE),
}  # fmt: skip

_HEADERS: dict[str, tuple[Change, Expect]] = {
    "renamed": (lambda text: text.replace("unit_id", "unit", 1), refused("Did you mean 'unit'?")),
    "homoglyph": (lambda text: text.replace("unit_id", "unіt_id", 1), refused("missing column(s) unit_id")),
    "zero-width-header": (lambda text: text.replace("unit_id", "unit\u200b_id", 1), refused("missing column(s)")),
    "missing-column": (
        lambda text: "".join(f"{line.partition(',')[2]}\n" for line in text.splitlines()),
        refused("missing column(s) unit_id"),
    ),
    "other-language": (lambda text: _line(1, lambda _: "Gerät,Zeit,Zähler\n")(text), _NO_HEADER),
    "named-twice": (_line(1, lambda _: "unit_id,read_at,Unit_ID\n"), refused("row 1 names a column twice: unit_id")),
    "blank-name": (lambda text: text.replace("unit_id", "", 1), refused("missing column(s) unit_id")),
    "blank-name-beside": (lambda text: text.replace("\n", ",x\n").replace(",x\n", ",\n", 1), _FINE),
    "other-order": (
        lambda text: "".join(",".join(reversed(line.split(","))) + "\n" for line in text.splitlines()),
        _FINE,
    ),
    "other-case": (_line(1, str.upper), _FINE),
    "column-beside": (
        lambda text: text.replace("\n", ",x\n").replace(",x\n", ",comment\n", 1),
        Expect(accepted=3, undeclared=1),
    ),
    "column-almost-named": (
        lambda text: text.replace("\n", ",r1\n").replace(",r1\n", ",source ref\n", 1),
        Expect(accepted=3, undeclared=1, note="almost 'source_ref'"),
    ),
    "columns-beside-named-twice": (
        lambda text: text.replace("\n", ",x,x\n").replace(",x,x\n", ",note,note\n", 1),
        Expect(accepted=3, undeclared=2),
    ),
    "ten-thousand-columns": (
        lambda text: text.replace("\n", "," + ",".join(f"c{n}" for n in range(10_000)) + "\n", 1),
        refused("10,003 columns"),
    ),
    "field-of-10-mb": (_line(3, lambda line: "K" * 10_000_000 + line), refused("row 3 is longer")),
    "quoted-field-of-10-mb": (_line(3, lambda line: '"' + "K" * 10_000_000 + '"' + line), refused("row 3")),
    "header-of-10-mb": (_line(1, lambda line: "K" * 10_000_000 + line), refused("row 1 is longer")),
}  # fmt: skip


def text_files() -> Iterator[BadFile]:
    """Yield a file of the plain layout for each kind."""
    for kind, (change, expect) in (_SHAPES | _ENCODINGS | _HEADERS).items():
        name = f"{_TABLE}_{kind}"
        content = change(as_text(rows_of(_TABLE, name)))
        if isinstance(content, str):
            content = content.encode("cp1252" if kind == "cp1252" else "utf-8")
        yield BadFile(f"{name}.csv", content, expect)
