"""Points of any number of chunks, brought to the field's coordinates and grouped by tile.

One pass over the file feeds every field it covers: a `Buckets` each.
"""

from __future__ import annotations

import threading
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from itertools import chain
from typing import Iterable, Sequence

import numpy as np

from pipeline.frame import Grid
from pipeline.survey.cells.into_tiles import project_and_group
from pipeline.survey.cells.scratch import MemoryScratch, Scratch
from pipeline.survey.cells.tiles import Tiling
from pipeline.survey.points import TICK_M, Chunk, Ground, Projection
from pipeline.survey.reading.rounding import Sample

OUTSIDE, NOISE, NOT_FINITE = "outside", "class_noise", "not_finite"
_INT32 = np.iinfo(np.int32)
_NOTHING = np.empty(0, np.int64)
_ROOM = threading.local()  # work arrays, one set a thread whatever the number of fields


class Buckets:
    """The points of one survey on one field's grid, by tile.

    removed     : points left out so far, by reason
    points_read : points seen so far
    carries     : "rgb" and "intensity" where every chunk brought them
    """

    def __init__(self, grid: Grid, projection: Projection, scratch: Scratch | None = None) -> None:
        self.tiling = Tiling.of(grid)
        self.scratch = MemoryScratch() if scratch is None else scratch
        self.points_read = 0
        self.removed = {OUTSIDE: 0, NOISE: 0, NOT_FINITE: 0}
        self.sample = Sample()
        self.seen_bounds: tuple[float, float, float, float] | None = None  # of chunks that missed, source units
        self.carries: frozenset[str] | None = None
        self.projection = projection
        self._pieces: list[tuple[int, int | None, np.ndarray]] = []  # offset of keys, of colours; starts by tile
        self._lock = threading.Lock()

    def add(self, chunk: Chunk, started: threading.Event | None = None) -> None:
        """Take one chunk in. Chunks may come in any order and size, from several threads: nothing later depends on it.

        started : set just before the long part, during which other threads can run
        """
        keys, grouped, more, hashes, tiles, picked = _room(len(chunk))
        starts = np.zeros(self.tiling.count + 1, np.int64)
        columns = chunk.x, chunk.y, chunk.z, *_given(chunk)
        box, local = _source_box(chunk, self.projection.box), _to_local(chunk, self.projection)
        numbers = box, local, self._terms(), self.tiling.numbers
        if started is not None:
            started.set()
        held, outside, noise, chosen = project_and_group(
            *columns, *numbers, self.sample.threshold, keys, tiles, picked, hashes, starts, grouped, more
        )
        with self._lock:
            self._check_carries(chunk)
            self.points_read += len(chunk)
            not_finite = len(chunk) - held - outside - noise
            for reason, count in ((OUTSIDE, outside), (NOISE, noise), (NOT_FINITE, not_finite)):
                self.removed[reason] += count
            self.sample.add(chunk, picked[:chosen], hashes[:chosen])
            if held:
                at = self.scratch.append(grouped[:held].copy())
                self._pieces.append((at, self.scratch.append(more[:held].copy()) if self.carries else None, starts))
            elif len(chunk):
                self._widen_seen(chunk)

    @property
    def held(self) -> int:
        """Points on the grid so far."""
        return sum(int(starts[-1]) for _, _, starts in self._pieces)

    def tile(self, tile: int) -> tuple[np.ndarray, np.ndarray]:
        """Keys of one tile's points, (n,) int64, and what they carry, (n,) or (0,) int64."""
        return self._gather(tile, 0), self._gather(tile, 1)

    def put_back(self, tile: int, keys: np.ndarray, extra: np.ndarray) -> None:
        """Replace a tile's points by as many others, or by fewer: then the places after them are left as they were."""
        done = 0
        for at, at_extra, starts in self._pieces:
            first, end = int(starts[tile]), int(starts[tile + 1])
            here = slice(done, done + end - first)
            if len(keys[here]):
                self.scratch.write(at + 8 * first, keys[here])
                if at_extra is not None:
                    self.scratch.write(at_extra + 8 * first, extra[here])
            done = here.stop

    def _gather(self, tile: int, which: int) -> np.ndarray:
        runs = [(p[which], int(p[2][tile]), int(p[2][tile + 1] - p[2][tile])) for p in self._pieces]
        parts = [self.scratch.read(at + 8 * first, n) for at, first, n in runs if at is not None and n]
        return np.concatenate(parts) if parts else _NOTHING

    def _check_carries(self, chunk: Chunk) -> None:
        carries = frozenset(n for n, v in (("rgb", chunk.rgb), ("intensity", chunk.intensity)) if v is not None)
        if self.carries is None:
            self.carries = carries
        elif self.carries != carries:
            raise ValueError(f"found a chunk with {sorted(carries)} after chunks with {sorted(self.carries)}")

    def _terms(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Coefficients of the bicubics that give TICK_M east of the west edge and south of the north edge."""
        east, north = np.array(self.projection.east), np.array(self.projection.north)
        east[0] -= self.tiling.grid.west
        north[0] -= self.tiling.grid.north
        return tuple((east / TICK_M).tolist()), tuple((-north / TICK_M).tolist())

    def _widen_seen(self, chunk: Chunk) -> None:
        x = np.asarray(chunk.x) * chunk.scale[0] + chunk.offset[0]
        y = np.asarray(chunk.y) * chunk.scale[1] + chunk.offset[1]
        known = np.isfinite(x) & np.isfinite(y)
        if not known.any():
            return
        new = x[known].min(), y[known].min(), x[known].max(), y[known].max()
        old = self.seen_bounds or new
        self.seen_bounds = (min(old[0], new[0]), min(old[1], new[1]), max(old[2], new[2]), max(old[3], new[3]))


def feed(chunks: Iterable[Chunk], fields: Sequence[Buckets], workers: int = 1) -> None:
    """Give every chunk to every field, each in as many pieces as there are threads, while the next one is read."""
    if workers <= 1:
        for chunk in chunks:
            for field in fields:
                field.add(chunk)
        return
    with ThreadPoolExecutor(workers) as pool:
        pending: list[Future] = []
        for chunk in chunks:
            for piece in pending:
                piece.result()
            started = [threading.Event() for _ in range(workers)]
            pending = [pool.submit(_to_all, _piece(chunk, i, workers), fields, started[i]) for i in range(workers)]
            for event in started:  # a decoder may hold the interpreter for itself: first let all threads get beyond it
                event.wait()
        for piece in pending:
            piece.result()


def _to_all(piece: Chunk, fields: Sequence[Buckets], started: threading.Event) -> None:
    try:
        for field in fields:
            field.add(piece, started)
    finally:
        started.set()


def _piece(chunk: Chunk, which: int, of: int) -> Chunk:
    """One of so many even pieces of a chunk, without a copy."""
    part = slice(which * len(chunk) // of, (which + 1) * len(chunk) // of)
    names = ("x", "y", "z", "klass", "rgb", "intensity")
    columns = {name: getattr(chunk, name) for name in names}
    return replace(chunk, **{name: None if v is None else v[part] for name, v in columns.items()})


def from_ground(parts: Iterable[Ground], grid: Grid, workers: int = 1, scratch: Scratch | None = None) -> Buckets:
    """Ground points that stand in the field's coordinates already, moved perhaps, by tile of `grid`.

    raises : ValueError where the parts do not share one origin, or there is none
    """
    parts = iter(parts)
    first = next(parts, None)
    if first is None:
        raise ValueError("found no part of ground points; expected at least one, were it empty")
    buckets = Buckets(grid, _in_place(first, grid), scratch)
    feed((_as_chunk(part, first) for part in chain([first], parts)), [buckets], workers)
    return buckets


def _as_chunk(part: Ground, first: Ground) -> Chunk:
    if (part.west, part.south) != (first.west, first.south):
        found, before = (part.west, part.south), (first.west, first.south)
        raise ValueError(f"found ground points counted from {found} after some counted from {before}")
    return Chunk(part.x, part.y, part.z, (TICK_M,) * 3, (0.0, 0.0, part.z0), None, part.rgb, part.intensity)


def _room(n: int) -> list[np.ndarray]:
    """Work arrays for n points, this thread's own, kept from chunk to chunk."""
    room = getattr(_ROOM, "arrays", None)
    if room is None or len(room[0]) < n:
        kinds = (np.int64, np.int64, np.int64, np.uint64, np.int32, np.int32)
        room = _ROOM.arrays = [np.empty(n, dtype) for dtype in kinds]
    return [array[:n] for array in room]


def _in_place(part: Ground, grid: Grid) -> Projection:
    """Metres from the points' own west and south edges to the working CRS."""
    east, north = np.zeros(10), np.zeros(10)
    east[:2], north[0], north[2] = (part.west, 1.0), part.south, 1.0
    west, south, east_end, north_end = grid.bounds
    box = (west - part.west - 1, south - part.south - 1, east_end - part.west + 1, north_end - part.south + 1)
    return Projection((0.0, 0.0), 1.0, tuple(east), tuple(north), 1.0, box)


def _source_box(chunk: Chunk, box: tuple[float, float, float, float]) -> tuple[float, ...]:
    """Least x, greatest x, least y, greatest y that can fall on the field, as the chunk's raw numbers are."""
    raw = np.array([
        np.sort((np.array(box[axis::2]) - chunk.offset[axis]) / chunk.scale[axis]) for axis in (0, 1)
    ])  # fmt: skip
    if chunk.x.dtype == np.int32:
        raw = np.stack([np.floor(raw[:, 0]), np.ceil(raw[:, 1])], axis=1).clip(_INT32.min, _INT32.max)
    return tuple(raw.ravel().astype(chunk.x.dtype).tolist())


def _to_local(chunk: Chunk, projection: Projection) -> tuple[float, ...]:
    """Factor and constant from raw numbers to u, to v and to height in TICK_M; what makes whole numbers of raw."""
    (sx, sy, sz), (ox, oy, oz), (cx, cy) = chunk.scale, chunk.offset, projection.centre
    half, z = projection.half, projection.z_factor / TICK_M
    whole = 1.0 if chunk.x.dtype == np.int32 else 1 / TICK_M
    return sx / half, (ox - cx) / half, sy / half, (oy - cy) / half, sz * z, oz * z, whole


def _given(chunk: Chunk) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Classes, colours and intensities of a chunk, empty where it has none."""
    none = np.empty(0, np.uint8), np.empty((0, 3), np.uint8), np.empty(0, np.uint16)
    return tuple(b if a is None else a for a, b in zip((chunk.klass, chunk.rgb, chunk.intensity), none))


def carried(extra: np.ndarray, carries: frozenset[str]) -> tuple[np.ndarray | None, np.ndarray | None]:
    """(n, 3) uint8 colour and (n,) uint16 intensity back from what `Buckets` kept, None for what it did not.

    extra : (n,) red, green, blue and two bytes of intensity in one number
    """
    rgb = np.stack([extra >> s & 255 for s in (32, 24, 16)], axis=1).astype(np.uint8) if "rgb" in carries else None
    return rgb, (extra & 0xFFFF).astype(np.uint16) if "intensity" in carries else None
