"""From the declared encoding to UTF-8; text that contradicts it is refused with the place."""

from __future__ import annotations

import codecs

from pipeline.errors import RefusedFile
from pipeline.ingest.archives import kind_of

BOM = codecs.BOM_UTF8
_UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_ONE_BYTE = ("cp1250", "cp1252", "latin-1")


def require_text(content: bytes) -> None:
    """Raise RefusedFile unless the content is UTF-8 text."""
    _require_unpacked(content)
    if content[:2] in _UTF16_MARKS:
        raise RefusedFile("the text is UTF-16; save it as UTF-8")
    _require_no_nul(content)
    if content.isascii():
        return
    try:
        content.decode("utf-8")
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        raise RefusedFile(f"row {row} is not UTF-8; save the file as CSV (UTF-8)") from error


def decoded(content: bytes, encoding: str) -> bytes:
    """Return text of a declared encoding as UTF-8; raise RefusedFile where it is of another."""
    if encoding in ("utf-8", "utf-8-sig"):
        require_text(content)
        return content.removeprefix(BOM)
    _require_unpacked(content)
    if encoding in _ONE_BYTE:
        _require_one_byte(content, encoding)
    elif encoding == "utf-16" and content[:2] not in _UTF16_MARKS:
        raise RefusedFile("the profile declares utf-16, but the text does not begin as such text does")
    try:
        text = content.decode(encoding).removeprefix("\ufeff").encode("utf-8")
    except UnicodeError as error:
        start = getattr(error, "start", 0)
        newline = "\n".encode("utf-16-le" if encoding == "utf-16" else encoding)
        row = content.count(newline, 0, start) + 1
        raise RefusedFile(f"row {row} is not {encoding}, which the profile declares") from error
    _require_no_nul(text)
    return text


def _require_unpacked(content: bytes) -> None:
    if content[:2] == b"PK":
        raise RefusedFile("this is a workbook or an archive, not text; save the sheet as CSV (UTF-8)")
    if kind := kind_of(content):
        raise RefusedFile(f"this is {kind}, not text; declare its 'compression' in a profile, or unpack it")


def _require_no_nul(content: bytes) -> None:
    if (place := content.find(b"\0")) >= 0:
        row = content.count(b"\n", 0, place) + 1
        raise RefusedFile(f"row {row} holds a NUL byte; export it again as text")


def _require_one_byte(content: bytes, encoding: str) -> None:
    """Text of several bytes to a letter would read as other letters, and nobody would be told."""
    if content.startswith((BOM, *_UTF16_MARKS)):
        raise RefusedFile(
            f"the profile declares {encoding}, but the file begins with the mark of Unicode text"
        )
    if content.isascii():
        return
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return
    place = next(place for place, byte in enumerate(content) if byte > 127)
    row = content.count(b"\n", 0, place) + 1
    raise RefusedFile(
        f"the profile declares {encoding}, but row {row} is UTF-8; declare that as the encoding"
    )
