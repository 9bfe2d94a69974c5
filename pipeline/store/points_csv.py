"""Tables of points: headed e, n, z or lon, lat, h, or bare point, northing, easting, height, description."""

from __future__ import annotations

import csv
import gzip
import itertools
import math
from pathlib import Path
from typing import Iterator

import numpy as np

from pipeline.errors import Refused, did_you_mean
from pipeline.store.point_file import CHUNK_POINTS, Tally, reading, unreadable
from pipeline.store.points_las import eight_bit
from pipeline.survey.points import Chunk
from pipeline.survey.reading.facts import Facts
from pipeline.survey.walks.walk import FIXED, FLOAT, SINGLE, Walk

BARE = ("point", "northing", "easting", "height", "description")
PLACES = (("e", "n", "z"), ("lon", "lat", "h"))
WALK = ("quality", "receiver", "line")
COLOURS = ("red", "green", "blue")
SCAN_ROWS, SAMPLE_ROWS = 100_000, 2_000  # rows read at a time to learn what is there, and kept of them as a sample
UNKNOWN = 0  # a walk's row whose quality cell is empty


class CsvFile:
    """One table; see `PointFile`. Every cell is read once on opening, so that a fault is found before any use."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.tally = Tally()
        with reading(path.name):
            self._headed, self.columns = self._header()
            self.facts, self._shift = self._scan()

    @property
    def _xyz(self) -> tuple[str, str, str]:
        """Names of the columns of x, y and z."""
        if not self._headed:
            return "easting", "northing", "height"
        return PLACES[0] if "e" in self.columns else PLACES[1]

    def chunks(self, want_rgb: bool = False, want_intensity: bool = False, size: int = CHUNK_POINTS) -> Iterator[Chunk]:
        """See `PointFile`. x, y, z are floats."""
        self.tally = tally = Tally()
        with reading(self._path.name, tally):
            for lines, rows in self._rows(min(size, SCAN_ROWS)):
                xyz, kept = self._coordinates(lines, rows)
                tally.empty += int((~kept).sum())
                tally.read += int(kept.sum())
                if not kept.any():
                    continue
                rgb = None
                if want_rgb and self.facts.has_rgb:
                    rgb = eight_bit(self._colour(lines, rows)[kept], self._shift, tally)
                yield Chunk(*(np.ascontiguousarray(xyz[kept, axis]) for axis in range(3)), rgb=rgb)

    def walk(self) -> Walk:
        """All rows with a place and a height as a rover's walk, in the file's order."""
        parts, number = [], []
        with reading(self._path.name):
            for lines, rows in self._rows(SCAN_ROWS):
                xyz, kept = self._coordinates(lines, rows)
                numbers = np.flatnonzero(kept)
                number.append(np.asarray(lines)[numbers])
                quality = self._quality(lines, rows)[kept] if "quality" in self.columns else None
                parts.append((xyz[kept], quality, *(self._names(rows, numbers, column) for column in WALK[1:])))
        xyz = np.concatenate([p[0] for p in parts])
        receiver, receivers = _coded(itertools.chain.from_iterable(p[2] for p in parts))
        line, lines = _coded(itertools.chain.from_iterable(p[3] for p in parts))
        quality = np.concatenate([p[1] for p in parts]) if "quality" in self.columns else None
        x, y, z = (np.ascontiguousarray(v) for v in xyz.T)
        return Walk(x, y, z, quality, receiver, receivers, line, lines, np.concatenate(number))

    def _text(self):
        if self._path.name.lower().endswith(".gz"):
            return gzip.open(self._path, "rt", encoding="utf-8-sig", newline="")
        return self._path.open("r", encoding="utf-8-sig", newline="")

    def _header(self) -> tuple[bool, tuple[str, ...]]:
        """Whether there is a header, and the columns."""
        name = self._path.name
        with self._text() as stream:
            first = next((cells for cells in csv.reader(stream) if any(c.strip() for c in cells)), None)
        if first is None:
            raise unreadable(name, "an empty table", "rows of points", "Export it again.")
        cells = [c.strip() for c in first]
        if len(cells) == 1 and any(sign in cells[0] for sign in ";\t "):
            raise unreadable(name, f"{cells[0][:40]!r} without commas", "columns separated by commas",
                             "Export it again as CSV.")
        numbers = len(cells) > 3 and all(_is_number(c) for c in cells[1:4])
        if numbers and len(cells) == len(BARE):
            return False, BARE
        if numbers or all(_is_number(c) or not c for c in cells):
            raise unreadable(name, f"no header and {len(cells)} columns",
                             f"a header such as e,n,z, or {','.join(BARE)} without one",
                             "Write the header: which number is which cannot be told from the numbers. Put a "
                             "description that holds a comma in double quotes.")  # fmt: skip
        return True, _columns(name, tuple(c.lower() for c in cells))

    def _rows(self, size: int) -> Iterator[tuple[list[int], list[list[str]]]]:
        """Rows of cells, `size` at a time, each with its line in the file as an editor counts it: from 1, the header's."""
        read, header = 0, self._headed
        with self._text() as stream:
            reader = csv.reader(stream)
            while part := list(itertools.islice(reader, size)):
                if reader.line_num - read != len(part):
                    broken = next(i for i, cells in enumerate(part, read + 1) if any("\n" in c or "\r" in c for c in cells))
                    raise unreadable(f"{self._path.name}, row {broken}", "a double quote that is not closed on its line",
                                     "each row on one line", "Close the quote or take it out.")  # fmt: skip
                filled = [i for i, cells in enumerate(part) if cells and any(map(str.strip, cells))]
                if header and filled:
                    filled, header = filled[1:], False
                lines = [read + 1 + i for i in filled]
                rows = [part[i] for i in filled]
                read = reader.line_num
                self._check_width(lines, rows)
                if rows:
                    yield lines, rows

    def _check_width(self, lines: list[int], rows: list[list[str]]) -> None:
        wide = len(self.columns)
        for line, cells in zip(lines, rows):
            if len(cells) != wide:
                raise unreadable(f"{self._path.name}, row {line}", f"{len(cells)} cells",
                                 f"{wide} ({','.join(self.columns)})",
                                 "Put text that holds a comma in double quotes; a last row cut short means a "
                                 "broken copy.")  # fmt: skip

    def _coordinates(self, lines: list[int], rows: list[list[str]]) -> tuple[np.ndarray, np.ndarray]:
        """x, y, z of rows, (n, 3), NaN for an empty cell; and which rows have all three, (n,) bool."""
        xyz = np.column_stack([self._numbers(lines, rows, column) for column in self._xyz])
        return xyz, np.isfinite(xyz).all(axis=1)

    def _numbers(self, lines: list[int], rows: list[list[str]], column: str) -> np.ndarray:
        """One column as numbers, (n,); NaN for an empty cell, refused for anything else that is no number."""
        at = self.columns.index(column)
        cells = [row[at] for row in rows]
        values = _floats(cells)
        for i in np.flatnonzero(~np.isfinite(values)):
            if cells[i].strip():
                raise self._fault(lines[i], column, cells[i], "a number with a point as decimal mark")
        return values

    def _fault(self, row: int, column: str, found: str, expected: str,
               todo: str = "Correct the cell or export again.") -> Refused:
        return unreadable(f"{self._path.name}, row {row}, column {column}", repr(found.strip()[:40]), expected, todo)

    def _colour(self, lines: list[int], rows: list[list[str]]) -> np.ndarray:
        """Colours of rows, (n, 3) uint16."""
        values = np.column_stack([self._numbers(lines, rows, column) for column in COLOURS])
        wrong = ~((values >= 0) & (values <= 65535) & (values == np.floor(values)))
        for i, band in np.argwhere(wrong):
            raise self._fault(lines[i], COLOURS[band], rows[i][self.columns.index(COLOURS[band])],
                              "a whole number, 0 to 65535")
        return values.astype(np.uint16)

    def _quality(self, lines: list[int], rows: list[list[str]]) -> np.ndarray:
        """Quality of rows, (n,) uint8; UNKNOWN for an empty cell."""
        values = np.nan_to_num(self._numbers(lines, rows, "quality"), nan=UNKNOWN)
        for i in np.flatnonzero(~np.isin(values, (UNKNOWN, FIXED, FLOAT, SINGLE))):
            raise self._fault(
                lines[i], "quality", rows[i][self.columns.index("quality")],
                f"{FIXED} fixed, {FLOAT} float or {SINGLE} single",
                "A receiver's own codes may mean something else (NMEA: 4 fixed, 5 float, 1 single): translate the "
                "whole column.",
            )  # fmt: skip
        return values.astype(np.uint8)

    def _names(self, rows: list[list[str]], numbers: np.ndarray, column: str) -> list[str]:
        """Cells of one column in some of the rows; empty where the table has no such column."""
        if column not in self.columns:
            return [""] * len(numbers)
        at = self.columns.index(column)
        return [rows[i][at].strip() for i in numbers]

    def _scan(self) -> tuple[Facts, int]:
        low, high = np.full(3, np.inf), np.full(3, -np.inf)
        count, most, empty, sample = 0, 0, 0, []
        for lines, rows in self._rows(SCAN_ROWS):
            xyz, kept = self._coordinates(lines, rows)
            if "red" in self.columns:
                most = max(most, int(self._colour(lines, rows).max()))
            if "quality" in self.columns:
                self._quality(lines, rows)
            count += len(rows)
            empty += int((~kept).sum())
            if kept.any():
                low, high = np.minimum(low, xyz[kept].min(axis=0)), np.maximum(high, xyz[kept].max(axis=0))
                sample.append(xyz[kept][:: max(len(rows) // SAMPLE_ROWS, 1)])
        if not sample:
            raise Refused("no_points",
                          f"{self._path.name}: found no row with a place and a height; expected points. Export it "
                          "again.")
        inner = np.percentile(np.concatenate(sample), (2, 98), axis=0)
        remarks = []
        if empty:
            remarks.append(f"{empty:,} of {count:,} rows lack a coordinate and were left out.")
        if "quality" in self.columns:
            remarks.append(f"Quality was read as {FIXED} fixed, {FLOAT} float, {SINGLE} single.")
        kind = "bare" if not self._headed else "walk" if set(WALK) & set(self.columns) else "csv"
        facts = Facts(
            self._path.name, kind, count, (*low.tolist(), *high.tolist()), tuple(inner.ravel().tolist()),
            has_rgb=most > 0,
            columns=self.columns, remarks=tuple(remarks),
        )  # fmt: skip
        return facts, 8 if most > 255 else 0


def _columns(name: str, columns: tuple[str, ...]) -> tuple[str, ...]:
    """The header's columns, checked."""
    known = {*PLACES[0], *PLACES[1], *WALK, *COLOURS}
    for column in columns:
        if column not in known:
            raise unreadable(name, f"a column {column!r}", f"{' or '.join(','.join(p) for p in PLACES)}, with "
                             f"{', '.join((*WALK, *COLOURS))} if there",
                             f"Correct the header.{did_you_mean(column, known)}")  # fmt: skip
        if columns.count(column) > 1:
            raise unreadable(name, f"two columns {column!r}", "each column once", "Correct the header.")
    if sum(all(c in columns for c in place) for place in PLACES) != 1 or any(
        any(c in columns for c in place) and not all(c in columns for c in place) for place in PLACES
    ):
        raise unreadable(name, f"columns {','.join(columns)}", " or ".join(f"all of {','.join(p)}" for p in PLACES),
                         "Correct the header.")
    if 0 < sum(c in columns for c in COLOURS) < 3:
        raise unreadable(name, f"columns {','.join(columns)}", "all of red,green,blue or none", "Correct the header.")
    return columns


def _floats(cells: list[str]) -> np.ndarray:
    """Cells as numbers, (n,); NaN for what is none. Python alone would read 1_000 as a number."""
    try:
        if any("_" in c for c in cells):
            raise ValueError
        return np.array([float(c) if c else math.nan for c in cells])
    except ValueError:
        return np.array([float(c) if _is_number(c) else math.nan for c in cells])


def _is_number(cell: str) -> bool:
    try:
        return "_" not in cell and math.isfinite(float(cell))
    except ValueError:
        return False


def _coded(names: Iterator[str]) -> tuple[np.ndarray, tuple[str, ...]]:
    """Numbers for names in the order of their first appearance, (n,), and the names."""
    codes: dict[str, int] = {}
    numbers = [codes.setdefault(name, len(codes)) for name in names]
    return np.asarray(numbers, np.int64), tuple(codes)
