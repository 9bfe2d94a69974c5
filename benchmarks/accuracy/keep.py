"""Records of what was simulated, kept as they come, so that a stopped run goes on.

One file a part and state of the code: figures made by other sources than today's are left where they are, unread.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HERE = "benchmarks/accuracy"
EDGES = ("pipeline/diamond/edges.py", "pipeline/survey/*.py", "pipeline/survey/edges/edge_*.py", "pipeline/survey/edges/horizontal.py",
         "pipeline/survey/edges/registration.py", "tests/support/edge_scene.py", "tests/support/random_ground.py",
         "tests/support/lip_trials.py", "pipeline/surface/lip_shape.py")  # fmt: skip
SOURCES = {
    "flown": (*EDGES, f"{HERE}/lips.py"),
    "growth": (*EDGES, "pipeline/surface/lip_noise.py", "pipeline/change/lip_growth.py", f"{HERE}/lips.py"),
    "height": (*EDGES, "pipeline/surface/lip*.py", "pipeline/surface/calibration.py", f"{HERE}/heights.py"),
    "tie": ("pipeline/survey/*.py", "pipeline/survey/stable/*.py", "tests/support/tied_field.py", f"{HERE}/ties.py"),
    "rover": (*EDGES, "pipeline/survey/walks/walk_edges.py", "pipeline/change/rover_growth.py", "tests/support/rover_scene.py",
              f"{HERE}/rovers.py"),
}  # fmt: skip

Key = tuple[str, str, int]  # condition, case, seed


def stamp(part: str) -> str:
    """Eight hex digits over the sources a part's figures hang on."""
    found = sorted({p for pattern in (*SOURCES[part], f"{HERE}/conditions.py") for p in ROOT.glob(pattern)})
    digest = hashlib.sha256()
    for path in found:
        digest.update(path.read_bytes())
    return digest.hexdigest()[:8]


class Kept:
    """The records of one part."""

    def __init__(self, folder: Path, part: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.path = folder / f"{part}-{stamp(part)}.jsonl"
        self.found: dict[Key, dict] = {}
        if not self.path.exists():
            return
        whole = b""
        for line in self.path.read_bytes().splitlines(keepends=True):
            if not line.endswith(b"\n"):
                break  # the run was stopped while it wrote this
            record = json.loads(line)
            self.found[record["condition"], record["case"], record["seed"]] = record["told"]
            whole += line
        self.path.write_bytes(whole)

    def add(self, key: Key, told: dict) -> None:
        record = dict(zip(("condition", "case", "seed"), key), told=told)
        with self.path.open("a") as file:
            file.write(json.dumps(record, separators=(",", ":")) + "\n")
        self.found[key] = told

    def told(self, condition: str, case: str, seeds: range) -> list[dict]:
        """In order of seeds, whatever the order they were made in."""
        return [self.found[condition, case, s] for s in seeds if (condition, case, s) in self.found]
