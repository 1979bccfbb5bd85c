"""Good files with a few blows to them, the same for the same seed."""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Callable
from random import Random

from good_rows import GOOD, as_text, rows_of
from packed import archive
from workbooks import workbook

#: From bytes to bytes with one blow more.
Blow = Callable[[Random, bytes], bytes]

_TEXT_PIECES = (
    *(
        b'"',
        b"'",
        b",",
        b";",
        b"\t",
        b"\r",
        b"\n",
        b"\r\n",
        b"\0",
        b"\x1a",
        b"\xff",
        b"\xc3",
        b"=",
        b"-",
        b" ",
    ),
    *(letter.encode() for letter in "\ufeff\u200b\u202e\u00a0\ud7ff\U0001f600"),
    *(
        b"9" * 400,
        b"1e999",
        b"NaN",
        b"#REF!",
        b"2026-03-29T01:30",
        b"0000-00-00",
        b"\n\n\n",
        b'""',
        b",,,,,,",
    ),
)
_XML_PIECES = (
    *(
        b"<",
        b">",
        b"/>",
        b'"',
        b"&",
        b"&#0;",
        b"&x;",
        b"]]>",
        b"<!--",
        b"<!DOCTYPE x>",
        b"\0",
        b"\xff",
        b"<c>",
    ),
    *(b'<c r="XFD1048576"><v>1</v></c>', b'<c r="A2" t="s"><v>-1</v></c>', b' r="A0"', b' t="e"', b' t="d"'),
    *(b"<v>1e999</v>", b"<v>-1</v>", b'<row r="4294967296">', b"<f>1/0</f>", b"99999999999999999999"),
)


def mutated_text(seed: int) -> tuple[str, bytes]:
    """Return a file's name and content: an export of the plain layout or a declared one after a few blows."""
    random = Random(f"text {seed}")
    table = random.choice(list(GOOD))
    content = as_text(rows_of(table, f"m{seed}", 6)).encode()
    for _ in range(random.randint(1, 4)):
        content = random.choice(_TEXT_BLOWS)(random, content)
    return f"{table}_{seed}.csv", content


def mutated_workbook(seed: int) -> tuple[str, bytes]:
    """Return a workbook's name and content after a blow to its bytes, or to those of some of its parts."""
    random = Random(f"workbook {seed}")
    at = datetime.datetime(2026, 3, 2, 8, 0)
    rows = [(f"m{seed}", at + datetime.timedelta(hours=row), row) for row in range(6)]
    content = workbook(("Ward's readings", [("unit_id", "read_at", "cycle_count"), *rows]))
    if random.random() < 0.25:
        return f"book_{seed}.xlsx", random.choice(_BLOWS)(random, content)
    for _ in range(random.randint(1, 3)):
        content = _part_hit(random, content)
    return f"book_{seed}.xlsx", content


def _part_hit(random: Random, content: bytes) -> bytes:
    """Return a workbook with a blow to one of its parts, most often its sheet; now and then the part is gone."""
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    names = list(parts) + [name for name in parts if "sheet1" in name or "sharedStrings" in name] * 6
    name = random.choice(names)
    hit = None if random.random() < 0.05 else random.choice(_XML_BLOWS)(random, parts[name])
    return archive((name, hit), base=content)


def _flip(random: Random, content: bytes) -> bytes:
    place = _place(random, content)
    return content[:place] + bytes([random.randrange(256)]) + content[place + 1 :]


def _cut_off(random: Random, content: bytes) -> bytes:
    return content[: _place(random, content)]


def _cut_out(random: Random, content: bytes) -> bytes:
    place = _place(random, content)
    return content[:place] + content[place + random.randint(1, 30) :]


def _repeat(random: Random, content: bytes) -> bytes:
    place = _place(random, content)
    piece = content[place : place + random.randint(1, 200)]
    return content[:place] + piece * random.randint(2, 40) + content[place:]


def _swap_lines(random: Random, content: bytes) -> bytes:
    lines = content.split(b"\n")
    random.shuffle(lines)
    return b"\n".join(lines)


def _other_encoding(random: Random, content: bytes) -> bytes:
    return content.decode("utf-8", "replace").encode(random.choice(["utf-16", "utf-32", "cp1252"]), "replace")


def _other_delimiter(random: Random, content: bytes) -> bytes:
    return content.replace(b",", random.choice([b";", b"\t", b"|", b", "]), random.choice([-1, 1, 9]))


def _inserting(pieces: tuple[bytes, ...]) -> Blow:
    def insert(random: Random, content: bytes) -> bytes:
        place = _place(random, content)
        return content[:place] + random.choice(pieces) + content[place:]

    return insert


def _place(random: Random, content: bytes) -> int:
    return random.randrange(len(content) + 1)


_BLOWS: tuple[Blow, ...] = (_flip, _cut_off, _cut_out, _repeat)
_TEXT_BLOWS = (*_BLOWS, _swap_lines, _other_encoding, _other_delimiter, *[_inserting(_TEXT_PIECES)] * 5)
_XML_BLOWS = (*_BLOWS, *[_inserting(_XML_PIECES)] * 4)
