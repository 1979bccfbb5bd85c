"""Charts drawn in a process of their own are those drawn here, and its end is never silent."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipeline.errors import DewledgerError
from reports.drawing_process import DrawingProcess
from reports.drawn import Order, draw

BARS = Order(
    {
        "mark": "bar",
        "data": {"values": [{"ward": "Süd <1>", "cases": 3}, {"ward": "Alder", "cases": 1}]},
        "encoding": {"x": {"field": "ward"}, "y": {"field": "cases", "type": "quantitative"}},
    },
    "bars",
)


def test_a_chart_is_the_same_in_either_process():
    with DrawingProcess() as process:
        on_page, on_paper = process.draw(BARS), process.draw(Order(BARS.spec, None))
        assert on_page.result() == draw(BARS)
        assert on_paper.result() == draw(Order(BARS.spec, None))
    assert "Süd &lt;1&gt;" in on_page.result().svg
    assert 'font-family="Dewledger Sans"' in on_paper.result().svg


def test_a_process_that_was_killed_is_told_and_not_waited_for():
    with DrawingProcess() as process:
        process.draw(BARS).result()
        os.kill(process._process.pid, signal.SIGKILL)
        with pytest.raises(
            DewledgerError, match="stopped by signal 9, most often because the memory was full"
        ):
            process.draw(BARS).result()
        with pytest.raises(DewledgerError, match="stopped by signal 9"):
            process.draw(BARS).result()


def test_a_chart_that_cannot_be_drawn_is_a_fault_of_the_program(capfd):
    with (
        DrawingProcess() as process,
        pytest.raises(DewledgerError, match="status 1, which is a fault of this program"),
    ):
        process.draw(Order({"mark": "no such mark"}, "p")).result()
    assert "ValueError" in capfd.readouterr().err


def test_a_process_that_does_not_start_is_told(monkeypatch):
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    with (
        pytest.raises(DewledgerError, match="did not start \\(No such file or directory\\)"),
        DrawingProcess(),
    ):
        pass


def test_what_has_not_been_drawn_is_given_up_with_the_block():
    with DrawingProcess() as process:
        waiting = [process.draw(BARS) for _ in range(200)]
    assert sum(chart.cancelled() for chart in waiting) > 100
    assert process._process.returncode == 0


def test_nothing_is_taken_from_the_folder_that_the_program_is_run_in(tmp_path, monkeypatch):
    for name in ("reports", "vl_convert", "json"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text("raise SystemExit(3)")
    monkeypatch.chdir(tmp_path)
    with DrawingProcess() as process:
        assert process.draw(BARS).result() == draw(BARS)


def test_the_process_ends_when_the_program_is_killed(tmp_path):
    code = (
        "import sys, time; from reports.drawing_process import DrawingProcess;"
        "process = DrawingProcess().__enter__(); print(process._process.pid, flush=True); time.sleep(60)"
    )
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    with subprocess.Popen(
        [sys.executable, "-c", code], env=environment, stdout=subprocess.PIPE, text=True
    ) as program:
        assert program.stdout is not None
        drawing = int(program.stdout.readline())
        program.kill()
    until = time.monotonic() + 30
    while _runs(drawing) and time.monotonic() < until:
        time.sleep(0.1)
    assert not _runs(drawing)


def _runs(pid: int) -> bool:
    """Say whether a process runs; one that ended and that nobody has asked about since does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False
