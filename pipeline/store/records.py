"""JSON records and checksums."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path

import numpy as np

from pipeline.store.atomic import read_text, write_text


def _plain(value):
    """Numbers of numpy become numbers, NaN becomes null, sets become sorted lists."""
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, (set, frozenset)):
        return sorted(_plain(v) for v in value)
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if hasattr(value, "isoformat"):
        return value.isoformat()
    return value


def write(path: str | Path, record: dict) -> None:
    """A JSON file with sorted keys, so that the same record gives the same bytes."""
    write_text(path, json.dumps(_plain(record), indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n")


def read(path: str | Path) -> dict:
    return json.loads(read_text(path))


def sha256(path: str | Path) -> str:
    """Checksum of a file, read in pieces."""
    digest = hashlib.sha256()
    with open(path, "rb") as stream:
        while piece := stream.read(1 << 20):
            digest.update(piece)
    return digest.hexdigest()
