"""One run at a time writes to a store."""

from __future__ import annotations

import contextlib
import datetime
import json
import os
from collections.abc import Iterator

from filelock import FileLock, Timeout

from pipeline.errors import StorageTrouble, StoreBusy
from pipeline.store.layout import Store
from pipeline.store.parquet import write_bytes


@contextlib.contextmanager
def hold(store: Store) -> Iterator[None]:
    """Hold the store for the time of the block; raise StoreBusy, naming who does, when another run holds it.

    The lock is the system's own and ends with its process: a file left behind never blocks.
    """
    lock = FileLock(store.lock, timeout=0, mode=0o600)
    try:
        lock.acquire()
    except Timeout as error:
        raise StoreBusy(
            f"{store.root}: another run holds the store ({_holder(store)}); try again later."
        ) from error
    except OSError as error:
        raise StorageTrouble(f"{store.root}: the store cannot be locked: {error.strerror}.") from error
    try:
        started = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        write_bytes(store.lock_holder, json.dumps({"pid": os.getpid(), "since": started}).encode())
        yield
    finally:
        lock.release()


def _holder(store: Store) -> str:
    """Say who holds the store; the note may be missing for the moment between locking and writing it."""
    try:
        note = json.loads(store.lock_holder.read_bytes())
        return f"process {int(note['pid'])} since {note['since']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "it has just started"
