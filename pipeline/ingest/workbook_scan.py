"""What a workbook is, looked at before any library opens it: a few bytes of one can ask for all memory there is.

Runs in the limited process only. Every part is unpacked once, counted, and searched for what has no place in a
table; of the sheet that is asked for, the extent and the cells that hold an error are noted.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
import zipfile
from dataclasses import dataclass, field

from pipeline.ingest.archives import Meter, Refusal, checked_members, open_zip, pieces_of
from pipeline.ingest.sheet_extent import Extent

_OLD = b"\xd0\xcf\x11\xe0"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_LIST_BYTES = 1 << 20
_DOCUMENT_TYPE = b"<!DOCTYPE"
_XML = (".xml", ".rels", ".vml")
_UNWANTED = (
    (re.compile(r"vbaProject\.bin$", re.I), "it holds macros; save it as .xlsx without them"),
    (re.compile(r"^xl/workbook\.bin$", re.I), "it is a binary workbook (.xlsb); save it as .xlsx"),
    (re.compile(r"^xl/externalLinks/", re.I), "it draws on other workbooks; save a copy with values only"),
    (re.compile(r"^xl/embeddings/", re.I), "it holds embedded files; save a copy of the sheet alone"),
    (re.compile(r"\.(zip|gz|7z|rar|xlsx?|xlsm)$", re.I), "it holds an archive inside; save the sheet alone"),
    (re.compile(r"^content\.xml$"), "it is an OpenDocument sheet; save it as .xlsx"),
)


@dataclass
class Scan:
    """A sheet's place: its first row and column (from 1), how many of its rows are hidden, the cells that hold
    an error as (row, column, text), whether the workbook counts its days from 1904, and the names of all its sheets."""

    first_row: int = 1
    first_column: int = 1
    hidden_rows: int = 0
    errors: list[tuple[int, int, str]] = field(default_factory=list)
    from_1904: bool = False
    sheets: list[str] = field(default_factory=list)


def scan(content: bytes, sheet: str | None) -> Scan:
    """Look through a workbook; raise Refusal for anything but a harmless one that has the sheet.

    Without a sheet only the names of the sheets are found.
    """
    _require_workbook(content)
    with open_zip(content) as archive:
        members = checked_members(archive)
        for member in members:
            for pattern, reason in _UNWANTED:
                if pattern.search(member.filename):
                    raise Refusal(reason)
        if "xl/workbook.xml" not in {member.filename for member in members}:
            raise Refusal("it is an archive, but no workbook; save it as .xlsx")
        for member in members:
            _require_no_document_type(archive, member)
        places, from_1904 = _sheets(archive)
        found = Scan(from_1904=from_1904, sheets=list(places))
        wanted = _place_of(places, sheet) if sheet is not None else None
        meter = Meter(len(content))
        for member in members:
            _look_through(archive, member, meter, found if member.filename == wanted else None)
        return found


def _require_workbook(content: bytes) -> None:
    if content.startswith(_OLD):
        if _ENCRYPTED in content:
            raise Refusal("it is protected by a password; save it without one")
        raise Refusal("it is an old workbook (.xls), whatever its name says; save it as .xlsx")
    if content.lstrip()[:1] == b"<":
        raise Refusal("it is a web page or XML under a workbook's name; save it as .xlsx")
    if not content.startswith(b"PK"):
        raise Refusal("it is no workbook; save it as .xlsx")


def _require_no_document_type(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> None:
    """A document type stands before the first element, and so at the start."""
    if not member.filename.lower().endswith(_XML):
        return
    start = next(pieces_of(archive, member), b"")[:65536]
    if start.startswith((b"\xff\xfe", b"\xfe\xff", b"\0")) or start[1:2] == b"\0":
        raise Refusal("its parts are not written in UTF-8; save it again as .xlsx")
    if _DOCUMENT_TYPE in start or b"<!ENTITY" in start:
        raise Refusal("it declares a document type or entities, which no table needs")


def _sheets(archive: zipfile.ZipFile) -> tuple[dict[str, str], bool]:
    """Return each sheet's part by its name, and whether days count from 1904."""
    book, relations = (_parsed(archive, name) for name in ("xl/workbook.xml", "xl/_rels/workbook.xml.rels"))
    targets = {item.get("Id"): item.get("Target") or "" for item in relations}
    places = {}
    for item in book.iter():
        if _tag(item) == "sheet":
            key = next((value for name, value in item.attrib.items() if name.endswith("}id")), None)
            target = targets.get(key, "")
            places[item.get("name") or ""] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    settings = next((item for item in book.iter() if _tag(item) == "workbookPr"), None)
    from_1904 = settings is not None and (settings.get("date1904") or "").lower() in ("1", "true")
    return places, from_1904


def _tag(element: ET.Element) -> str:
    return element.tag.rpartition("}")[2]


def _parsed(archive: zipfile.ZipFile, name: str) -> ET.Element:
    try:
        text = b""
        for piece in pieces_of(archive, archive.getinfo(name)):
            text += piece
            if len(text) > _LIST_BYTES or _DOCUMENT_TYPE in text or b"<!ENTITY" in text:
                raise Refusal("its list of sheets is not what a workbook has")
        return ET.fromstring(text)  # noqa: S314
    except (KeyError, ET.ParseError, ValueError, LookupError) as error:
        raise Refusal("its list of sheets cannot be read; save it again as .xlsx") from error


def _place_of(places: dict[str, str], sheet: str) -> str:
    found = next((name for name in places if name.strip().lower() == sheet.strip().lower()), None)
    if found is None:
        raise Refusal(f"it has no sheet '{sheet}'; it has {', '.join(repr(name) for name in places)}")
    return places[found]


def _look_through(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, meter: Meter, sheet: Scan | None
) -> None:
    """Count a part while it unpacks; of the sheet asked for, note its extent and the cells with errors."""
    is_xml = member.filename.lower().endswith(_XML)
    is_sheet = is_xml and (sheet is not None or member.filename.startswith("xl/worksheets/"))
    extent, before = Extent(with_errors=sheet is not None), b""
    for piece in pieces_of(archive, member):
        meter.add(len(piece))
        if is_sheet:
            extent.widen(piece)
        elif is_xml and _DOCUMENT_TYPE in before[-len(_DOCUMENT_TYPE) :] + piece:
            raise Refusal("it declares a document type or entities, which no table needs")
        before = piece
    if is_sheet:
        extent.widen(b"", is_last=True)
    if sheet is not None:
        sheet.first_row, sheet.first_column = extent.first_row or 1, extent.first_column or 1
        sheet.hidden_rows, sheet.errors = extent.hidden_rows, extent.errors
