"""Files made to harm: each is refused with a reason, within 2 s of a processor and 150 MB, and nothing else happens."""

import gzip
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import polars as pl
import pyarrow as pa
import pytest
from packed import BOOK, OLD, PROTECTED, ROWS, SHEET, STRINGS, archive, part, sheet_of, with_doctype
from workbooks import workbook

from pipeline.errors import RefusedFile
from pipeline.ingest import limits, untrusted

ROOT = Path(__file__).resolve().parents[2]
#: Seconds of a processor, and megabytes, of the process that reads it; a shared machine may let it wait longer.
MOST_S, MOST_MB = 2, 150
ZEROS = b"0" * 1_000_000
LAUGHS = '<!DOCTYPE sst [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
OUTSIDE = '<!DOCTYPE w [<!ENTITY x SYSTEM "file:///etc/passwd">]>'


def zstd(pieces):
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as stream:
        for piece in pieces:
            stream.write(piece)
    return bytes(sink.getvalue())


def parquet_of(rows):
    made = io.BytesIO()
    pl.DataFrame({"unit_id": pl.repeat("1", rows, dtype=pl.String, eager=True)}).write_parquet(made)
    return made.getvalue()


def slow_gzip():
    """More than 200 MB at a ratio below 200: a block that deflate finds again each time."""
    block = os.urandom(20_000)
    return gzip.compress(block * 10_500, compresslevel=1)


XLSX, GZIP, ZSTD, ZIP, PARQUET = "xlsx", "gzip", "zstd", "zip", "parquet"
FAR = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c {}><v>1</v></c></row>'

HOSTILE = {
    "gzip bomb": (GZIP, lambda: gzip.compress(ZEROS * 230), "unpacks to more than"),
    "gzip bomb in members": (GZIP, lambda: gzip.compress(ZEROS * 3) * 90, "unpacks to more than"),
    "gzip bomb of a low ratio": (GZIP, slow_gzip, "unpacks to more than 200 MB"),
    "gzip in gzip": (GZIP, lambda: gzip.compress(gzip.compress(b"unit_id\n1\n")), "inside it is a gzip file"),
    "gzip cut off": (GZIP, lambda: gzip.compress(b"unit_id\n" + os.urandom(999))[:-20], "cut off"),
    "zstd bomb": (ZSTD, lambda: zstd([ZEROS] * 230), "unpacks to more than"),
    "zstd that is none": (ZSTD, lambda: b"\x28\xb5\x2f\xfdrest", "damaged"),
    "zip bomb": (ZIP, lambda: archive(("u.csv", [ZEROS] * 230)), "unpacks to more than"),
    "zip of 201 files": (ZIP, lambda: archive(*((f"{n}.csv", "1") for n in range(201))), "201 files"),
    "zip of two tables": (ZIP, lambda: archive(("a.csv", "1"), ("b.csv", "1")), "holds 2 files"),
    "zip in zip": (ZIP, lambda: archive(("u.zip", archive(("u.csv", "1")))), "inside it is a zip"),
    "name that climbs": (ZIP, lambda: archive(("../../u.csv", "1")), "leads out"),
    "name from the root": (ZIP, lambda: archive(("/etc/u.csv", "1")), "leads out"),
    "name of a drive": (ZIP, lambda: archive(("C:\\u.csv", "1")), "leads out"),
    "workbook of spaces": (XLSX, lambda: archive((SHEET, [b" " * 1_000_000] * 230), base=BOOK), "unpacks to"),
    "strings without end": (XLSX, lambda: archive((STRINGS, [ZEROS] * 230), base=BOOK), "unpacks to"),
    "far cell": (XLSX, lambda: sheet_of(FAR.format('r="XFD1048576"')), "1048576"),
    "far cell, other quotes": (XLSX, lambda: sheet_of(FAR.format("s='1' r = 'XFD1048576'")), "1048576"),
    "cell of a wide sheet": (
        XLSX,
        lambda: sheet_of(FAR.replace("1048576", "900000").format('r="Z900000"')),
        "or 20,000,000 cells",
    ),
    "column beyond all": (
        XLSX,
        lambda: sheet_of(FAR.replace("1048576", "2").format('r="ZZZZ2"')),
        "column 475254",
    ),
    "place behind a bracket": (XLSX, lambda: sheet_of(FAR.format('x=">" r="T1048576"')), "column 20"),
    "place behind another": (XLSX, lambda: sheet_of(FAR.format('x:r="A1048576" r="T1048576"')), "column 20"),
    "place in entities": (XLSX, lambda: sheet_of(FAR.format('r="&#84;1048576"')), "column 20"),
    "row of cells without a place": (
        XLSX,
        lambda: sheet_of('<row r="2">' + "<c><v>1</v></c>" * 200_000 + "</row>"),
        "column 2001",
    ),
    "cells without end": (XLSX, lambda: archive((SHEET, ["<c " * 330_000] * 4), base=BOOK), "cannot be read"),
    "rows without end": (
        XLSX,
        lambda: archive((SHEET, ["<row " * 200_000] * 4), base=BOOK),
        "cannot be read",
    ),
    "one long tag": (
        XLSX,
        lambda: archive((SHEET, ["<c r" + " " * 990_000] * 4), base=BOOK),
        "cannot be read",
    ),
    "elements inside each other": (
        XLSX,
        lambda: archive((SHEET, ["<a>" * 330_000] * 4), base=BOOK),
        "cannot be read",
    ),
    "untrue dimension": (
        XLSX,
        lambda: sheet_of('<row r="1"/>', "A1:XFD1048576"),
        "or 20,000,000 cells",
    ),
    "entities that multiply": (XLSX, lambda: with_doctype(STRINGS, LAUGHS), "document type"),
    "entity from outside": (XLSX, lambda: with_doctype("xl/workbook.xml", OUTSIDE), "document type"),
    "document type late in a part": (
        XLSX,
        lambda: archive((SHEET, [" " * 70_000, LAUGHS]), base=BOOK),
        "document type",
    ),
    "part in UTF-16": (XLSX, lambda: archive((SHEET, part(SHEET).encode("utf-16")), base=BOOK), "UTF-8"),
    "macros": (XLSX, lambda: archive(("xl/vbaProject.bin", "x"), base=BOOK), "macros"),
    "binary workbook": (XLSX, lambda: archive(("xl/workbook.bin", "x")), ".xlsb"),
    "other workbooks": (
        XLSX,
        lambda: archive(("xl/externalLinks/externalLink1.xml", "<x/>"), base=BOOK),
        "other",
    ),
    "workbook that climbs": (XLSX, lambda: archive(("xl/../../x.xml", "<x/>"), base=BOOK), "leads out"),
    "archive in a workbook": (XLSX, lambda: archive(("xl/media/x.zip", "x"), base=BOOK), "archive inside"),
    "embedded file": (XLSX, lambda: archive(("xl/embeddings/x.bin", "x"), base=BOOK), "embedded"),
    "workbook of 300 parts": (
        XLSX,
        lambda: archive(*((f"xl/x{n}.xml", "<x/>") for n in range(300)), base=BOOK),
        "no more than 200",
    ),
    "old workbook": (XLSX, lambda: OLD, ".xls"),
    "password": (XLSX, lambda: PROTECTED, "password"),
    "web page": (XLSX, lambda: b"\r\n<html><table><tr><td>1</td></tr></table></html>", "web page"),
    "OpenDocument": (XLSX, lambda: archive(("content.xml", "<x/>")), "OpenDocument"),
    "cut off workbook": (XLSX, lambda: BOOK[: len(BOOK) // 2], "cut off"),
    "no workbook": (XLSX, lambda: archive(("u.csv", "1")), "no workbook"),
    "Parquet of 25 million rows": (PARQUET, lambda: parquet_of(25_000_000), "more than 20,000,000 values"),
    "Parquet that is none": (PARQUET, lambda: b"PAR1 and no more PAR1", "no Parquet"),
}


#: The process as it is, which says at the end how much memory it had at most.
MEASURED = """
import sys, time
from pathlib import Path
from pipeline.ingest import limited_process
limited_process.main(sys.argv[1:])
peak = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
print(peak.split()[1], time.process_time(), file=sys.stderr)
"""


def ask(kind, content):
    """Ask the limited process; what it told, its seconds, and its megabytes."""
    request = (kind, {}) if kind in (XLSX, PARQUET) else ("unpack", {"compression": kind})
    settings = {"sheet": "S"} if kind == XLSX else request[1]
    command = [sys.executable, "-c", MEASURED, request[0], json.dumps(settings)]
    done = subprocess.run(command, input=content, capture_output=True, cwd=ROOT)
    kilobytes, seconds = map(float, done.stderr.split())
    return json.loads(done.stdout.partition(b"\n")[0]), seconds, kilobytes / 1024


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_refused_soon_and_cheaply(name):
    kind, made, words = HOSTILE[name]
    told, seconds, megabytes = ask(kind, made())
    assert words in told["refused"]
    assert seconds < MOST_S
    assert megabytes < MOST_MB


def test_one_text_that_many_cells_share_is_counted_in_each():
    """A few kilobytes packed; the process may take more than 150 MB for it, but never passes it on."""
    rows = "".join(f'<row r="{row}"><c r="A{row}" t="s"><v>0</v></c></row>' for row in range(1, 15_000))
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    texts = f'<sst xmlns="{main}"><si><t>{"x" * 20_000}</t></si></sst>'
    with pytest.raises(RefusedFile, match="more than 200 MB of text"):
        untrusted.read_sheet(sheet_of(rows, base=archive((STRINGS, texts), base=BOOK)), "S")


def test_there_are_enough_of_them():
    assert len(HOSTILE) >= 25


def test_a_process_that_dies_or_never_answers_refuses_the_file(monkeypatch):
    monkeypatch.setattr(untrusted, "_MODULE", "tests.no_such_module")
    with pytest.raises(RefusedFile, match="memory or time"):
        untrusted.read_sheet(BOOK, "S")
    monkeypatch.setattr(untrusted, "_MODULE", "timeit")
    monkeypatch.setattr(untrusted, "WALL_S", 0.01)
    with pytest.raises(RefusedFile, match="to read"):
        untrusted.read_sheet(BOOK, "S")


def test_a_file_too_large_to_hand_over_is_refused(monkeypatch):
    monkeypatch.setattr(untrusted, "UNPACKED_BYTES", 10)
    with pytest.raises(RefusedFile, match="larger than"):
        untrusted.read_sheet(BOOK, "S")


def test_the_process_is_told_no_secret(monkeypatch):
    monkeypatch.setenv("DEWLEDGER_KEY", "ab" * 32)
    assert "DEWLEDGER_KEY" not in untrusted._environment()


def test_a_workbook_that_needs_more_memory_than_allowed_is_refused():
    """The limit holds where the scan lets a workbook pass: 300 MB stand in for too much."""
    program = (
        "import sys; from pipeline.ingest import limited_process as process\n"
        "process.MEMORY_BYTES = 300_000_000\n"
        "process._KINDS['xlsx'] = lambda content, settings: ({'length': len(bytearray(10**9))}, b'')\n"
        "process.main(['xlsx', '{\"sheet\": \"S\"}'])"
    )
    done = subprocess.run([sys.executable, "-c", program], input=BOOK, capture_output=True, cwd=ROOT)
    assert "more memory" in json.loads(done.stdout)["refused"]
    assert limits.MEMORY_BYTES == 1 << 30


def test_a_name_of_a_sheet_may_hold_anything():
    assert untrusted.sheet_names(workbook(("O'Hara & <x>", ROWS), ("2", ROWS))) == ["O'Hara & <x>", "2"]
    assert untrusted.read_sheet(workbook(("O'Hara", ROWS)), "o'hara ").cells.height == 2
    with pytest.raises(RefusedFile, match=r"no sheet 'T'; it has 'S'"):
        untrusted.read_sheet(BOOK, "T")


def test_rows_and_columns_keep_their_numbers_below_and_beside_nothing():
    found = untrusted.read_sheet(
        workbook(("S", [[], [], [None, None, "unit_id"], [], [None, None, "1"]])), "S"
    )
    assert (found.first_row, found.first_column, found.cells.rows()) == (
        3,
        3,
        [("unit_id",), (None,), ("1",)],
    )
