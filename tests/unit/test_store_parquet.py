import errno
import io
import os
import stat

import polars as pl
import pytest

from pipeline.errors import StorageTrouble
from pipeline.store import parquet

STEPS = ("open", "write", "fsync", "replace")


class FailingSystem:
    """The operating system as the module sees it, failing one call, or that call and all after it."""

    def __init__(self, failing_call, number=errno.ENOSPC, for_ever=False):
        self.calls, self.failing_call, self.number, self.for_ever = 0, failing_call, number, for_ever

    def __getattr__(self, name):
        real = getattr(os, name)
        return self._counted(real) if name in STEPS else real

    def _counted(self, real):
        def call(*arguments, **named):
            self.calls += 1
            if self.calls == self.failing_call or (self.for_ever and self.calls > self.failing_call):
                raise OSError(self.number, os.strerror(self.number))
            return real(*arguments, **named)

        return call


@pytest.mark.parametrize("for_ever", [False, True], ids=["once", "for ever"])
def test_whichever_step_fails_the_file_is_the_old_one_or_the_new_one(tmp_path, monkeypatch, for_ever):
    path = tmp_path / "rows.parquet"
    for failing_call in range(1, 100):
        path.write_bytes(b"old")
        system = FailingSystem(failing_call, for_ever=for_ever)
        with monkeypatch.context() as patched:
            patched.setattr(parquet, "os", system)
            try:
                parquet.write_bytes(path, b"new")
            except StorageTrouble:
                assert path.read_bytes() in (b"old", b"new")
                assert os.listdir(tmp_path) == ["rows.parquet"]
                continue
        break
    assert path.read_bytes() == b"new"
    assert failing_call == 7  # open, write, flush, rename, and the folder's open and flush succeed


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EDQUOT, "quota is used up"),
        (errno.EROFS, "read-only"),
        (errno.EACCES, "permission denied"),
        (errno.EIO, "Input/output error"),
    ],
)
def test_trouble_with_the_disk_is_one_plain_line(tmp_path, monkeypatch, number, words):
    monkeypatch.setattr(parquet, "os", FailingSystem(1, number))
    with pytest.raises(StorageTrouble) as trouble:
        parquet.write_bytes(tmp_path / "x", b"x")
    assert words in str(trouble.value)
    assert str(tmp_path / "x") in str(trouble.value)
    assert "\n" not in str(trouble.value)


def test_what_does_not_read_back_is_not_published(tmp_path, monkeypatch):
    path = tmp_path / "x"
    path.write_bytes(b"old")
    monkeypatch.setattr(parquet, "_write_all", lambda descriptor, payload: os.write(descriptor, payload[:-1]))
    with pytest.raises(StorageTrouble, match="does not read back"):
        parquet.write_bytes(path, b"new")
    assert path.read_bytes() == b"old"


def test_a_write_cut_short_by_the_system_goes_on(tmp_path, monkeypatch):
    class Slow(FailingSystem):
        def __getattr__(self, name):
            return (
                (lambda descriptor, rest: os.write(descriptor, rest[:2]))
                if name == "write"
                else getattr(os, name)
            )

    monkeypatch.setattr(parquet, "os", Slow(0))
    parquet.write_bytes(tmp_path / "x", b"seven b")
    assert (tmp_path / "x").read_bytes() == b"seven b"


def test_files_and_folders_are_for_their_owner_alone(tmp_path):
    before = os.umask(0)
    try:
        parquet.write_bytes(tmp_path / "a" / "b" / "x", b"x")
        parquet.append_line(tmp_path / "a" / "lines", "x")
    finally:
        os.umask(before)
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in (tmp_path / "a").rglob("*")}
    assert modes == {"b": 0o700, "x": 0o600, "lines": 0o600}
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o700


def test_the_same_rows_give_the_same_bytes_however_they_are_chunked(tmp_path):
    rows = pl.DataFrame({"unit_id": ["007", "é", None], "flow_l_min": [1.0, 2.5, None]})
    chunked = pl.concat([rows[:1], rows[1:]], rechunk=False)
    assert chunked.n_chunks() == 2
    assert parquet.write_frame(tmp_path / "a", rows) == parquet.write_frame(tmp_path / "b", chunked)
    assert pl.read_parquet(io.BytesIO((tmp_path / "b").read_bytes())).equals(rows)


def test_a_torn_last_line_is_cut_off_before_the_next(tmp_path):
    path = tmp_path / "lines"
    path.write_bytes(b"whole\ntor")
    parquet.append_line(path, "next")
    assert path.read_bytes() == b"whole\nnext\n"


def test_stray_temporaries_go_and_nothing_else(tmp_path):
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / f".x.parquet.77{parquet.TEMPORARY}").write_bytes(b"half")
    (tmp_path / "deep" / "x.parquet").write_bytes(b"whole")
    parquet.remove_stray_temporaries(tmp_path)
    assert os.listdir(tmp_path / "deep") == ["x.parquet"]
