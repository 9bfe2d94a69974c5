"""Where points wait between two looks at them: in memory here, in a file in `store`."""

from __future__ import annotations

from bisect import bisect_right
from typing import Protocol

import numpy as np


class Scratch(Protocol):
    """Bytes kept by offset. Every offset and length used here is a multiple of 8."""

    def append(self, data: np.ndarray) -> int:
        """Keep a contiguous array's bytes; returns the offset they begin at. The array is not touched again."""
        ...

    def read(self, offset: int, count: int) -> np.ndarray:
        """(count,) int64 from an offset on, never past the end of one append."""
        ...

    def write(self, offset: int, data: np.ndarray) -> None:
        """Replace bytes kept before, never past the end of one append."""
        ...


class MemoryScratch:
    """A `Scratch` that keeps the arrays themselves."""

    def __init__(self) -> None:
        self._starts: list[int] = []
        self._kept: list[np.ndarray] = []
        self._end = 0

    def append(self, data: np.ndarray) -> int:
        start = self._end
        self._starts.append(start)
        self._kept.append(data.view(np.int64))
        self._end += data.nbytes
        return start

    def read(self, offset: int, count: int) -> np.ndarray:
        return self._slice(offset, count)

    def write(self, offset: int, data: np.ndarray) -> None:
        self._slice(offset, len(data))[:] = data

    def _slice(self, offset: int, count: int) -> np.ndarray:
        which = bisect_right(self._starts, offset) - 1
        first = (offset - self._starts[which]) // 8
        return self._kept[which][first : first + count]
