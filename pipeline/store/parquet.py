"""The one module that writes files: whole under their final name, or not at all.

Neither DuckDB nor Polars replaces a file safely when killed, so every file goes to a temporary in the same
folder, is flushed to the disk, read back, and only then takes its name.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import io
import os
from collections.abc import Iterator
from pathlib import Path

import polars as pl

from pipeline.errors import StorageTrouble

#: Ends the name of every unfinished file.
TEMPORARY = ".unfinished"

#: Rows per row group: large enough to compress, small enough that a month's file can be read in parallel.
_ROW_GROUP = 122_880

_ADVICE = {
    errno.ENOSPC: "the disk is full; free some space and run again",
    errno.EDQUOT: "the disk quota is used up; free some space and run again",
    errno.EROFS: "the disk is read-only; choose a folder that can be written",
    errno.EACCES: "permission denied; ask for the right to write there",
    errno.EPERM: "permission denied; ask for the right to write there",
}


def write_bytes(path: Path, payload: bytes) -> None:
    """Write a file of mode 0600 atomically; raise StorageTrouble and leave what was there before."""
    unfinished = path.with_name(f".{path.name}.{os.getpid()}{TEMPORARY}")
    with _storage_trouble(path):
        make_folder(path.parent)
        try:
            _write_new(unfinished, payload)
            _check_readable(unfinished, payload)
            os.replace(unfinished, path)
        except BaseException:
            with contextlib.suppress(OSError):
                unfinished.unlink(missing_ok=True)
            raise
        _flush_folder(path.parent)


def sha256_of(payload: bytes) -> str:
    """Return the SHA-256 of a file's bytes, in hexadecimal."""
    return hashlib.sha256(payload).hexdigest()


def write_frame(path: Path, frame: pl.DataFrame) -> str:
    """Write a frame as zstd Parquet, the same bytes for the same rows; return the SHA-256 of the file."""
    payload = parquet_bytes(frame)
    write_bytes(path, payload)
    return sha256_of(payload)


def parquet_bytes(frame: pl.DataFrame) -> bytes:
    """Return a frame as zstd Parquet; rechunked, because the chunks would show in the pages."""
    buffer = io.BytesIO()
    frame.rechunk().write_parquet(buffer, compression="zstd", row_group_size=_ROW_GROUP)
    return buffer.getvalue()


def append_line(path: Path, text: str) -> None:
    """Append one line and flush it to the disk; what a killed run left of a line is cut off first."""
    with _storage_trouble(path):
        make_folder(path.parent)
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            end = _end_of_whole_lines(descriptor)
            os.ftruncate(descriptor, end)
            os.lseek(descriptor, end, os.SEEK_SET)
            _write_all(descriptor, f"{text}\n".encode())
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        _flush_folder(path.parent)


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it that are missing, with mode 0700 and flushed to the disk."""
    missing = [place for place in (folder, *folder.parents) if not place.exists()]
    with _storage_trouble(folder):
        for place in reversed(missing):
            place.mkdir(mode=0o700, exist_ok=True)
            _flush_folder(place.parent)


def remove_stray_temporaries(folder: Path) -> None:
    """Remove what killed runs left unfinished below a folder. Only the holder of its lock may call this."""
    with _storage_trouble(folder):
        for stray in sorted(folder.rglob(f".*{TEMPORARY}")):
            stray.unlink(missing_ok=True)


@contextlib.contextmanager
def _storage_trouble(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        reason = _ADVICE.get(error.errno or 0) or error.strerror or "the disk does not take it"
        raise StorageTrouble(f"{path}: cannot be written: {reason}.") from error


def _write_new(path: Path, payload: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        _write_all(descriptor, payload)
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _write_all(descriptor: int, payload: bytes) -> None:
    rest = memoryview(payload)
    while rest:
        rest = rest[os.write(descriptor, rest) :]


def _check_readable(path: Path, payload: bytes) -> None:
    if path.read_bytes() != payload:
        raise OSError(errno.EIO, "what was written does not read back; the disk may be failing")


def _flush_folder(folder: Path) -> None:
    """A rename lasts only once its folder has reached the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _end_of_whole_lines(descriptor: int) -> int:
    """Return the offset after the last newline."""
    end = os.lseek(descriptor, 0, os.SEEK_END)
    while end and os.pread(descriptor, 1, end - 1) != b"\n":
        end -= 1
    return end
