"""Arrays between steps: one .npz a job, same arrays same bytes."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import numpy as np

from pipeline.store.atomic import replacing
from pipeline.store.records import _plain

_EPOCH = (1980, 1, 1, 0, 0, 0)  # the oldest date a zip entry can carry


def write(path: str | Path, record: dict, **arrays: np.ndarray) -> None:
    """Arrays and a JSON record in one file; numpy's own writer would stamp the clock into it."""
    with replacing(path) as temporary, zipfile.ZipFile(temporary, "w", zipfile.ZIP_STORED) as archive:
        text = json.dumps(_plain(record), sort_keys=True, allow_nan=False)
        archive.writestr(zipfile.ZipInfo("record.json", _EPOCH), text)
        for name in sorted(arrays):
            buffer = io.BytesIO()
            np.lib.format.write_array(buffer, np.asarray(arrays[name], order="C"), allow_pickle=False)
            archive.writestr(zipfile.ZipInfo(f"{name}.npy", _EPOCH), buffer.getbuffer())


def read_record(path: str | Path) -> dict:
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("record.json"))


def read(path: str | Path, *names: str) -> dict[str, np.ndarray]:
    """The arrays named, or all of them."""
    out = {}
    with zipfile.ZipFile(path) as archive:
        for entry in archive.namelist():
            name = entry.removesuffix(".npy")
            if entry.endswith(".npy") and (not names or name in names):
                with archive.open(entry) as stream:
                    out[name] = np.lib.format.read_array(io.BytesIO(stream.read()), allow_pickle=False)
    return out
