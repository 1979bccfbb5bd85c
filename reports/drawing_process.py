"""Draws charts in a process of its own, while the rest of a report is made.

Drawing takes as long as most else together, needs none of it, and holds up every thread of the process that it runs in.
Orders and charts go to and fro as lines of JSON.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from types import TracebackType
from typing import IO

from pipeline.errors import DewledgerError
from reports.drawn import Drawn, Order, draw

#: A chart of nothing. Drawing it starts the engine while the first findings are still being made.
_NOTHING = Order({"mark": "point", "data": {"values": []}}, None)


class DrawingProcess:
    """A process that draws one chart after another; it ends with its block, and when the program itself is killed."""

    def __enter__(self) -> DrawingProcess:
        # Its modules are found as this one's are, never in the folder that the program is run in.
        command = [sys.executable, "-P", "-m", __name__]
        try:
            self._process = subprocess.Popen(  # noqa: S603 this very program
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, encoding="utf-8"
            )
        except OSError as error:
            raise DewledgerError(
                f"The charts could not be drawn: their process did not start ({error.strerror})."
            ) from error
        self._waiting = ThreadPoolExecutor(1)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._waiting.shutdown(cancel_futures=True)
        self._process.communicate()

    def draw(self, order: Order) -> Future[Drawn]:
        """Return what will be the chart; DewledgerError comes from it when the process has ended."""
        return self._waiting.submit(self._ask, order)

    def _ask(self, order: Order) -> Drawn:
        orders, answers = self._process.stdin, self._process.stdout
        assert orders is not None
        assert answers is not None
        try:
            _write(orders, order)
            answer = answers.readline()
        except OSError:
            answer = ""
        if not answer:
            raise DewledgerError(f"The charts could not be drawn: {_why(self._process.wait())}.")
        return Drawn(**json.loads(answer))


def _why(status: int) -> str:
    """Say why the process ended, from the status that it ended with."""
    if status < 0:
        return (
            f"their process was stopped by signal {-status}, most often because the memory was full; "
            "close other programs and run the command again"
        )
    return (
        f"their process ended with status {status}, which is a fault of this program; report what it printed"
    )


def _write(to: IO[str], message: Order | Drawn) -> None:
    to.write(f"{json.dumps(vars(message))}\n")
    to.flush()


def main() -> None:
    """Answer each order with its chart, until there is nobody to order."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interrupt is told once, by the program itself
    with os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8") as answers:
        os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what a library prints is no answer
        draw(_NOTHING)
        for line in sys.stdin:
            _write(answers, draw(Order(**json.loads(line))))


if __name__ == "__main__":
    main()
