import json
import subprocess
import sys
import time

import pytest
from store_rows import new_store

from pipeline.errors import StoreBusy
from pipeline.store.lock import hold

HOLDER = """
import sys, time
from pathlib import Path
from pipeline.store.layout import Store
from pipeline.store.lock import hold
with hold(Store(Path(sys.argv[1]))):
    print("held", flush=True)
    time.sleep(60)
"""


def test_another_run_is_named_and_its_death_frees_the_store(tmp_path):
    store = new_store(tmp_path)
    with subprocess.Popen([sys.executable, "-c", HOLDER, store.root], stdout=subprocess.PIPE) as holder:
        assert holder.stdout.readline() == b"held\n"
        since = json.loads(store.lock_holder.read_text())["since"]
        started = time.monotonic()
        with pytest.raises(StoreBusy) as busy, hold(store):
            pass
        assert time.monotonic() - started < 2
        assert f"process {holder.pid} since {since}" in str(busy.value)
        assert busy.value.exit_status == 6
        holder.kill()
        holder.wait()
        with hold(store):
            assert json.loads(store.lock_holder.read_text())["pid"] != holder.pid


def test_a_lock_file_left_behind_does_not_block(tmp_path):
    store = new_store(tmp_path)
    store.lock.write_bytes(b"")
    store.lock_holder.write_text('{"pid": 1, "since": "2026-01-01T00:00:00Z"}')
    with hold(store):
        pass


def test_the_store_is_free_again_after_a_failure(tmp_path):
    store = new_store(tmp_path)
    with pytest.raises(ZeroDivisionError), hold(store):
        _ = 1 / 0
    with hold(store):
        pass


def test_a_holder_without_a_note_is_still_a_holder(tmp_path):
    store = new_store(tmp_path)
    with hold(store):
        store.lock_holder.unlink()
        with pytest.raises(StoreBusy, match="just started"), hold(store):
            pass
