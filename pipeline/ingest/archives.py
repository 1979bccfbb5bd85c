"""Unpacking what nobody vouches for: everything is counted while it is unpacked, before any of it is kept.

Runs in the limited process only (`limited_process`), so it imports next to nothing.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable, Iterator

from pipeline.ingest.limits import HARMLESS_BYTES, MEMBERS, UNPACKED_BYTES, UNPACKED_RATIO

_CHUNK = 1 << 20
_MAGIC = {
    b"\x1f\x8b": "a gzip file",
    b"PK\x03\x04": "a zip archive or workbook",
    b"\x28\xb5\x2f\xfd": "a zstd file",
    b"\xd0\xcf\x11\xe0": "an old or password-protected workbook",
    b"7z\xbc\xaf": "a 7z archive",
    b"Rar!": "a rar archive",
}
_DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    ValueError,
    NotImplementedError,
    RuntimeError,
    OSError,
)


class Refusal(Exception):
    """Why a file is not read."""


def kind_of(content: bytes) -> str | None:
    """Return what a packed file is by its first bytes, None for anything else."""
    return next((said for magic, said in _MAGIC.items() if content.startswith(magic)), None)


class Meter:
    """Counts unpacked bytes against the limits for a packed size."""

    def __init__(self, packed: int) -> None:
        self._most = min(UNPACKED_BYTES, max(HARMLESS_BYTES, packed * UNPACKED_RATIO))
        self._seen = 0

    def add(self, size: int) -> None:
        """Count some bytes; raise Refusal once there are more than a table can need."""
        self._seen += size
        if self._seen > self._most:
            raise Refusal(
                f"it unpacks to more than {self._most // 1_000_000} MB, which no export of this size needs; "
                "export a shorter time, or save it unpacked"
            )


def unpack(content: bytes, compression: str) -> bytes:
    """Return what a gzip, zstd or zip file with one member holds; counted first, and kept only then."""
    meter = Meter(len(content))
    for piece in _PIECES[compression](content):
        meter.add(len(piece))
    unpacked = b"".join(_PIECES[compression](content))
    if nested := kind_of(unpacked):
        raise Refusal(f"inside it is {nested}; pack the table itself, once")
    return unpacked


def checked_members(archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    """Return an archive's files; raise Refusal for too many of them and for what none of them may be."""
    members = [member for member in archive.infolist() if not member.is_dir()]
    if len(members) > MEMBERS:
        raise Refusal(f"it holds {len(members)} files, and no more than {MEMBERS} are unpacked")
    if len({member.filename for member in members}) < len(members):
        raise Refusal("it holds two files of one name")
    for member in members:
        name = member.filename.replace("\\", "/")
        if ".." in name.split("/") or name.startswith("/") or ":" in name[:3]:
            raise Refusal("it holds a file whose name leads out of the archive")
        if member.flag_bits & 1:
            raise Refusal("it is protected by a password; save it without one")
    return members


def open_zip(content: bytes) -> zipfile.ZipFile:
    """Open an archive; raise Refusal when it is none or is damaged."""
    try:
        return zipfile.ZipFile(io.BytesIO(content))
    except _DAMAGED as error:
        raise Refusal("it is damaged, or cut off: its list of contents cannot be read") from error


def pieces_of(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> Iterator[bytes]:
    """Yield a member unpacked, piece by piece; raise Refusal where it is damaged."""
    try:
        with archive.open(member) as stream:
            while piece := stream.read(_CHUNK):
                yield piece
    except _DAMAGED as error:
        raise Refusal("it is damaged: a part of it does not unpack") from error


def _from_gzip(content: bytes) -> Iterator[bytes]:
    rest = content
    while rest:
        stream = zlib.decompressobj(wbits=31)
        pending = rest
        while not stream.eof:
            try:
                piece = stream.decompress(pending, _CHUNK)
            except zlib.error as error:
                raise Refusal("the gzip file is damaged, or is none") from error
            pending = stream.unconsumed_tail
            if not piece and not pending and not stream.eof:
                raise Refusal("the gzip file is cut off; copy it again")
            yield piece
        rest = stream.unused_data


def _from_zip(content: bytes) -> Iterator[bytes]:
    with open_zip(content) as archive:
        members = [item for item in checked_members(archive) if not item.filename.startswith("__MACOSX/")]
        if len(members) != 1:
            raise Refusal(f"the archive holds {len(members)} files; pack one table into it, and nothing else")
        yield from pieces_of(archive, members[0])


def _from_zstd(content: bytes) -> Iterator[bytes]:
    import pyarrow as pa

    try:
        with pa.CompressedInputStream(pa.BufferReader(content), "zstd") as stream:
            while piece := stream.read(_CHUNK):
                yield piece
    except (OSError, pa.ArrowException) as error:
        raise Refusal("the zstd file is damaged, or is none") from error


_PIECES: dict[str, Callable[[bytes], Iterator[bytes]]] = {
    "gzip": _from_gzip,
    "zstd": _from_zstd,
    "zip": _from_zip,
}
