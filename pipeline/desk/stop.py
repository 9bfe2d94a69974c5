"""Being told to stop, by Ctrl-C or by the system, as one exception that ends in one line."""

from __future__ import annotations

import signal
from contextlib import contextmanager
from typing import Iterator


class Stopped(Exception):
    """The process was told to stop. `status`: its exit status, 130 for Ctrl-C, 143 for a request to end; `said`: the last line."""

    said = "Stopped; run again to go on."

    def __init__(self, number: int):
        self.status = 128 + number
        super().__init__(f"signal {number}")


@contextmanager
def stoppable() -> Iterator[None]:
    """Within, SIGINT and SIGTERM raise Stopped, once: what comes after it is not heard until the block has ended."""
    signals = (signal.SIGINT, signal.SIGTERM)

    def raised(number: int, _frame) -> None:
        for each in signals:
            signal.signal(each, signal.SIG_IGN)
        raise Stopped(number)

    before = {each: signal.signal(each, raised) for each in signals}
    try:
        yield
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
