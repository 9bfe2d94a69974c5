"""LAS, LAZ and COPC clouds."""

from __future__ import annotations

from pathlib import Path
from typing import Iterator

import numpy as np

from pipeline.errors import Refused
from pipeline.store.point_file import CHUNK_POINTS, Tally, reading, unreadable
from pipeline.survey.points import Chunk
from pipeline.survey.reading.facts import Facts, readable_wkt

SAMPLE_POINTS = 20_000  # read at the start, the middle and the end to learn what the header does not say
COORDINATES = "LASF_Projection"
WKT_RECORD, KEYS_RECORD = 2112, 34735
GROUND = 2  # of the standard's classes
UNEVEN = 0xFFFFFFFF  # a LAZ compression record's packet size where packets differ


class LasFile:
    """One cloud; see `PointFile`."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.tally = Tally()
        with reading(path.name):
            self.facts, self._shift = self._look()

    def _open(self, colour: bool, intensity: bool):
        import laspy

        pick = laspy.DecompressionSelection
        wanted = pick.XY_RETURNS_CHANNEL | pick.Z | pick.CLASSIFICATION | pick.FLAGS
        if colour:
            wanted |= pick.RGB
        if intensity:
            wanted |= pick.INTENSITY
        return laspy.open(
            self._path, laz_backend=laspy.LazBackend.LazrsParallel, decompression_selection=wanted,
            encoding_errors="replace"
        )

    def _look(self) -> tuple[Facts, int]:
        """The file's account of itself, and by how many bits its colours are shifted to make 8."""
        name = self._path.name
        with self._open(True, True) as reader:
            header = reader.header
            _check_header(self._path, header)
            parts = list(_sampled(reader))
            records = [*header.vlrs, *(getattr(reader, "evlrs", None) or [])]
        raw = np.concatenate([np.column_stack([p.X, p.Y, p.Z]) for p in parts])
        xyz = raw * header.scales + header.offsets
        low, high = np.percentile(xyz, (2, 98), axis=0)
        colours = _colours(header)
        most = max((int(np.max(p[c])) for p in parts for c in colours), default=0)
        wkt, error, keys = _coordinates(records)
        remarks = []
        if np.any(low < header.mins - header.scales) or np.any(high > header.maxs + header.scales):
            remarks.append("Most points lie outside the box its header states; the points were believed.")
        if most and most <= 255:
            remarks.append("Colours are 8-bit numbers in 16-bit fields and were taken as they are.")
        facts = Facts(
            name, "las", int(header.point_count), (*map(float, header.mins), *map(float, header.maxs)),
            (*low.tolist(), *high.tolist()), tuple(header.scales.tolist()), tuple(header.offsets.tolist()), wkt, error,
            keys,
            has_rgb=most > 0, has_intensity=any(int(np.max(p.intensity)) > 0 for p in parts), remarks=tuple(remarks),
        )  # fmt: skip
        return facts, 8 if most > 255 else 0

    def chunks(self, want_rgb: bool = False, want_intensity: bool = False, size: int = CHUNK_POINTS) -> Iterator[Chunk]:
        """See `PointFile`. x, y, z are the stored integers."""
        self.tally = tally = Tally()
        colour, intensity = want_rgb and self.facts.has_rgb, want_intensity and self.facts.has_intensity
        seen = 0
        with reading(self.facts.name, tally), self._open(colour, intensity) as reader:
            box = _raw_box(reader.header)
            for points in reader.chunk_iterator(size):
                seen += len(points)
                chunk = self._chunk(points, box, colour, intensity)
                tally.read += len(chunk)
                if len(chunk):
                    yield chunk
        if seen < self.facts.n_points:
            raise unreadable(self.facts.name, f"{seen:,} points", f"the {self.facts.n_points:,} its header states",
                             "Copy it again.")
        if tally.read == 0:
            raise Refused("no_points",
                          f"{self.facts.name}: found all {seen:,} points marked withheld; expected some that are "
                          "not. Export the file again.")  # fmt: skip

    def _chunk(self, points, box: np.ndarray, colour: bool, intensity: bool) -> Chunk:
        kept = slice(None)
        withheld = np.asarray(points.withheld).astype(bool)
        if withheld.any():
            kept = ~withheld
            self.tally.withheld += int(withheld.sum())
        raw = [np.ascontiguousarray(points[axis][kept]) for axis in "XYZ"]
        if len(raw[0]) and any(v.min() < lo or v.max() > hi for v, (lo, hi) in zip(raw, box)):
            beyond = np.zeros(len(raw[0]), bool)
            for values, (lo, hi) in zip(raw, box):
                beyond |= (values < lo) | (values > hi)
            self.tally.beyond_header += int(beyond.sum())
        rgb = None
        if colour:
            deep = np.column_stack([points[c][kept] for c in ("red", "green", "blue")])
            rgb = eight_bit(deep, self._shift, self.tally)
        klass = np.asarray(points.classification)[kept].astype(np.uint8)
        self.tally.ground += int(np.count_nonzero(klass == GROUND))
        return Chunk(
            *raw, scale=self.facts.scale, offset=self.facts.offset, klass=klass, rgb=rgb,
            intensity=np.ascontiguousarray(points.intensity[kept]) if intensity else None,
        )  # fmt: skip


def eight_bit(deep: np.ndarray, shift: int, tally: Tally) -> np.ndarray:
    """Colours as 8-bit numbers, (n, 3) uint8; in a file of 8-bit colours a deeper one is counted and brought down.

    deep  : (n, 3) uint16
    shift : 8 where the file's colours are 16-bit, else 0
    """
    if shift:
        return (deep >> shift).astype(np.uint8)
    odd = (deep > 255).any(axis=1)
    if odd.any():
        tally.mixed_colour += int(odd.sum())
        deep = np.where(odd[:, None], deep >> 8, deep)
    return deep.astype(np.uint8)


def _check_header(path: Path, header) -> None:
    if header.point_count == 0:
        raise Refused("no_points", f"{path.name}: found no points; expected a survey. Export the file again.")
    if not (np.isfinite(header.scales).all() and np.isfinite(header.offsets).all() and (header.scales > 0).all()):
        raise unreadable(path.name, f"scales {header.scales} and offsets {header.offsets}", "positive numbers",
                         "Export it again.")
    if header.are_points_compressed:
        return
    needed = header.offset_to_point_data + header.point_count * header.point_format.size
    if path.stat().st_size < needed:
        raise unreadable(path.name, f"a file of {path.stat().st_size:,} bytes",
                         f"{needed:,} for the {header.point_count:,} points its header "
                         "states", "It breaks off: copy it again.")  # fmt: skip


def _sampled(reader) -> Iterator:
    """Points from the start, the middle and the end; from the start alone where nobody can jump into the file.

    LAZ of uneven packets (all COPC is) comes back wrong after a jump, without a word from the decoder. A COPC file
    begins with the coarse levels of its octree, which span the whole cloud.
    """
    count = int(reader.header.point_count)
    if count <= 3 * SAMPLE_POINTS or _uneven_packets(reader.header):
        yield reader.read_points(min(count, 3 * SAMPLE_POINTS))
        return
    for start in (0, (count - SAMPLE_POINTS) // 2, count - SAMPLE_POINTS):
        reader.seek(start)
        yield reader.read_points(SAMPLE_POINTS)


def _uneven_packets(header) -> bool:
    """Whether a LAZ file packs differing numbers of points together, by its compression record."""
    for record in header.vlrs:
        if record.user_id == "laszip encoded":
            return int.from_bytes(record.record_data[12:16], "little") == UNEVEN
    return False


def _colours(header) -> tuple[str, ...]:
    names = set(header.point_format.dimension_names)
    return tuple(c for c in ("red", "green", "blue") if c in names)


def _raw_box(header) -> np.ndarray:
    """Least and greatest stored integer the header's box allows, one unit of rounding to spare, (3, 2)."""
    low = np.floor((header.mins - header.offsets) / header.scales) - 1
    high = np.ceil((header.maxs - header.offsets) / header.scales) + 1
    return np.column_stack([low, high])


def _coordinates(records) -> tuple[str | None, str | None, tuple[tuple[int, int], ...]]:
    """WKT, why there is none, and GeoTIFF keys, from the standard's own records."""
    wkt = error = None
    keys: list[tuple[int, int]] = []
    for record in records:
        if record.user_id != COORDINATES:
            continue
        if record.record_id == WKT_RECORD and wkt is None:
            wkt, error = readable_wkt(record.record_data_bytes().decode("utf-8", "replace"))
        elif record.record_id == KEYS_RECORD:
            keys = _geokeys(record.record_data_bytes())
    return wkt, None if wkt else error, tuple(keys)


def _geokeys(record: bytes) -> list[tuple[int, int]]:
    """Keys with a short value from a GeoTIFF key directory: four numbers of header, then key, place, count, value."""
    numbers = np.frombuffer(record[: len(record) // 8 * 8], "<u2").reshape(-1, 4)[1:]
    return [(int(key), int(value)) for key, place, _, value in numbers if key and not place]
