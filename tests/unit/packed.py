"""Packed files for tests: archives made by hand, and workbooks some of whose parts were put in by hand."""

import io
import zipfile

from workbooks import workbook

ROWS = [["unit_id", "ward"], ["1", "Alder"]]
BOOK = workbook(("S", ROWS))
SHEET = "xl/worksheets/sheet1.xml"
STRINGS = "xl/sharedStrings.xml"
#: What old workbooks begin with, and those that a password protects.
OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600
PROTECTED = OLD + "EncryptedPackage".encode("utf-16-le")
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def archive(*members, base=None, kind=zipfile.ZIP_DEFLATED):
    """A zip of (name, content) members, over those of a base; a content may be a list of pieces, or None for
    a member that the base alone has."""
    made = io.BytesIO()
    named = [name for name, _ in members]
    with zipfile.ZipFile(made, "w", kind) as written:
        if base:
            with zipfile.ZipFile(io.BytesIO(base)) as old:
                for item in old.infolist():
                    if item.filename not in named:
                        written.writestr(_entry(item.filename, kind), old.read(item))
        for name, content in members:
            if content is None:
                continue
            with written.open(_entry(name, kind), "w") as member:
                for piece in content if isinstance(content, list) else [content]:
                    member.write(piece.encode() if isinstance(piece, str) else piece)
    return made.getvalue()


def _entry(name, kind):
    """A member that says nothing of when it was made."""
    entry = zipfile.ZipInfo(name)
    entry.compress_type = kind
    return entry


def part(name, base=BOOK):
    """The text of a workbook's part."""
    with zipfile.ZipFile(io.BytesIO(base)) as book:
        return book.read(name).decode()


def sheet_of(rows, dimension="A1", base=BOOK, extra=""):
    """A workbook whose first sheet holds these rows of XML."""
    body = f'<worksheet xmlns="{_MAIN}"><dimension ref="{dimension}"/><sheetData>{rows}</sheetData>{extra}'
    return archive((SHEET, body + "</worksheet>"), base=base)


def with_doctype(name, doctype, base=BOOK):
    """A workbook one part of which declares a document type."""
    head, _, rest = part(name, base).partition("?>")
    return archive((name, f"{head}?>{doctype}{rest}"), base=base)
