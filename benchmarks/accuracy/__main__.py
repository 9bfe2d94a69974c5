"""Accuracy against a known truth, under declared conditions, beside the limits of the methods.

    .venv/bin/python -m benchmarks.accuracy                         100 scenes: 200 long and 200 still edges a condition
    .venv/bin/python -m benchmarks.accuracy --seed 9000             another set of seeds
    .venv/bin/python -m benchmarks.accuracy --part hard             what happens when what is assumed is wrong
    .venv/bin/python -m benchmarks.accuracy --scenes 4 --part growth --part tie

Resumable: records are appended under --keep as they come, and a run goes on where the last one stopped; --minutes stops
it. The table depends on the seeds alone, not on the cores. Exits 1 where a limit is missed. Seeds 1000-1999 are for
choosing constants; what is reported comes from 5000 on and from 9000 on.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only get in each other's way
ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from benchmarks.accuracy import heights, lips, rovers, show_heights, show_lips, ties  # noqa: E402
from benchmarks.accuracy.conditions import NAMES, told  # noqa: E402
from benchmarks.accuracy.judge import Table  # noqa: E402
from benchmarks.accuracy.keep import Kept  # noqa: E402
from benchmarks.accuracy.work import RECORD, simulate  # noqa: E402

PARTS = ("tie", "rover", "height", "growth", "hard")


def jobs_of(part: str, seeds: range) -> list[tuple[str, tuple[str, str, int]]]:
    """(record kind, key) of everything a part needs."""
    if part == "hard":
        return [("tie", k) for k in ties.jobs(True, seeds)] + [("growth", k) for k in lips.jobs(True, seeds)]
    module = {"growth": lips, "height": heights, "tie": ties, "rover": rovers}[part]
    return [(part, k) for k in module.jobs(False, seeds)]


def show(part: str, kept: dict[str, Kept], seeds: range, table: Table) -> None:
    if part == "hard":
        ties.show_hard(kept["tie"], seeds, table)
        show_lips.show_hard(kept["growth"], seeds, table)
    else:
        {"growth": show_lips, "height": show_heights, "tie": ties, "rover": rovers}[part].show(kept[part], seeds, table)


def main(given: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=5000, help="the first; 5000")
    parser.add_argument("--scenes", type=int, default=100, help="a condition; 100")
    parser.add_argument("--part", choices=PARTS, action="append", help="all but `hard` unless given")
    parser.add_argument("--keep", type=Path, default=ROOT / "build" / "accuracy", help="folder of the records")
    parser.add_argument("--cores", type=int, default=2)
    parser.add_argument("--minutes", type=float, default=1e6, help="stop simulating after so long and print what is there")
    asked = parser.parse_args(given)
    seeds = range(asked.seed, asked.seed + asked.scenes)
    parts = asked.part or [p for p in PARTS if p != "hard"]
    kept = {kind: Kept(asked.keep, kind) for kind in RECORD}
    until = time.monotonic() + 60 * asked.minutes
    left = simulate([job for part in parts for job in jobs_of(part, seeds)], kept, asked.cores, until)
    print(f"seeds {seeds.start}..{seeds.stop - 1}; heights in mm; shares with their 95 % binomial interval")
    for name in NAMES:
        print(told(name))
    table = Table()
    for part in parts:
        print()
        show(part, kept, seeds, table)
    if left:
        print(f"\nstopped with {left} records to go: run again to go on")
    print("\n" + ("all limits kept" if not table.missed else "MISSED: " + "; ".join(table.missed)))
    return int(bool(table.missed))


if __name__ == "__main__":
    sys.exit(main())
