"""Room on disk for points that wait between two looks at them: a file without a name, gone with its handle."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import numpy as np


class FileScratch:
    """A `survey.scratch.Scratch` in an unnamed temporary file, read and written in pieces, never mapped (`with` it)."""

    def __init__(self, folder: str | Path) -> None:
        self._file = tempfile.TemporaryFile(dir=folder, buffering=0)
        self._end = 0

    def __enter__(self) -> FileScratch:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def append(self, data: np.ndarray) -> int:
        start = self._end
        self.write(start, data)
        self._end += data.nbytes
        return start

    def read(self, offset: int, count: int) -> np.ndarray:
        out = np.empty(count, np.int64)
        left = memoryview(out).cast("B")
        while len(left):
            got = os.preadv(self._file.fileno(), [left], offset)
            if got == 0:
                raise EOFError(f"the scratch file ends at {offset}, {len(left)} bytes short")
            left, offset = left[got:], offset + got
        return out

    def write(self, offset: int, data: np.ndarray) -> None:
        left = memoryview(np.ascontiguousarray(data)).cast("B")
        while len(left):
            put = os.pwrite(self._file.fileno(), left, offset)
            left, offset = left[put:], offset + put

    def close(self) -> None:
        """Give the room back; what was kept is lost."""
        self._file.close()
