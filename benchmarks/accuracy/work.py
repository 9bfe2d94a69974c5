"""The simulating, on one core or several: every record hangs on its key alone, so their number changes nothing."""

from __future__ import annotations

import time
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from multiprocessing import get_context

from benchmarks.accuracy import heights, lips, rovers, ties
from benchmarks.accuracy.keep import Kept, Key

RECORD = {"growth": lips.growth, "height": heights.height, "tie": ties.tie, "rover": rovers.rover}
Job = tuple[str, Key]  # kind of record, and which


def simulate(jobs: list[Job], kept: dict[str, Kept], cores: int, until: float) -> int:
    """Do what is not yet kept, the monotonic clock allowing; the number left undone."""
    todo = [(kind, key) for kind, key in dict.fromkeys(jobs) if key not in kept[kind].found]
    if cores == 1:
        for number, (kind, key) in enumerate(todo):
            if time.monotonic() > until:
                return len(todo) - number
            kept[kind].add(key, RECORD[kind](*key))
        return 0
    ahead = iter(todo)
    with ProcessPoolExecutor(cores, mp_context=get_context("spawn")) as pool:
        running = {}
        while True:
            while len(running) < cores + 1 and time.monotonic() < until and (job := next(ahead, None)):
                running[pool.submit(RECORD[job[0]], *job[1])] = job
            if not running:
                return len([job for job in todo if job[1] not in kept[job[0]].found])
            for done in wait(running, return_when=FIRST_COMPLETED).done:
                kind, key = running.pop(done)
                kept[kind].add(key, done.result())
