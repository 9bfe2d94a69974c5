"""Writing invented surveys: LAZ and CSV clouds, and the truth beside them. Same content, same bytes.

Every file appears under its name only when it is whole.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
from datetime import date
from pathlib import Path
from typing import Sequence
from uuid import UUID

import numpy as np

from pipeline.store.atomic import replacing, write_text

SOFTWARE = "skinplane simulate"


def write_laz(
    path: Path, x: np.ndarray, y: np.ndarray, z: np.ndarray, offset: Sequence[float], scale: float, crs: str,
    made_on: date, guid: UUID, rgb: np.ndarray | None = None, intensity: np.ndarray | None = None,
    source: np.ndarray | None = None, time_s: np.ndarray | None = None,
) -> None:
    """LAS 1.4 compressed, point format 7 with colour, else 6; single returns, never classified.

    x, y, z : (n,) int32 counts; coordinate = count * scale + offset
    crs     : what the header's WKT says, horizontal or compound
    rgb     : (n, 3) uint8, stored in the high byte as well as in the low one (0..65535)
    """  # fmt: skip
    import laspy
    from pyproj import CRS

    header = laspy.LasHeader(version="1.4", point_format=6 if rgb is None else 7)
    header.scales, header.offsets = [scale] * 3, list(offset)
    header.creation_date, header.uuid = made_on, guid
    header.generating_software, header.system_identifier = SOFTWARE, "invented survey"
    header.add_crs(CRS.from_user_input(crs))
    las = laspy.LasData(header, laspy.ScaleAwarePointRecord.zeros(len(x), header=header))
    las.X, las.Y, las.Z = x, y, z
    las.return_number, las.number_of_returns = np.ones(len(x), np.uint8), np.ones(len(x), np.uint8)
    if rgb is not None:
        for channel, name in enumerate(("red", "green", "blue")):
            las[name] = rgb[:, channel].astype(np.uint16) * 257
    if intensity is not None:
        las.intensity = intensity
    if source is not None:
        las.point_source_id = source
    if time_s is not None:
        las.gps_time = time_s
    with replacing(path) as part, open(part, "wb") as out:
        las.write(out, do_compress=True, laz_backend=laspy.LazBackend.Lazrs)


def write_columns(path: Path, columns: dict[str, Sequence[str]]) -> None:
    """A CSV of ready-made text columns of one length; gzipped, without a time stamp, where the name ends in .gz."""
    text = _csv(list(columns), zip(*columns.values(), strict=True))
    if path.suffix != ".gz":
        return write_text(path, text)
    with replacing(path) as part:
        part.write_bytes(gzip.compress(text.encode(), 6, mtime=0))


def write_rows(path: Path, rows: Sequence[dict[str, str]]) -> None:
    """A CSV of rows that all have the same columns."""
    write_text(path, _csv(list(rows[0]), (row.values() for row in rows)))


def write_features(path: Path, geojson: str) -> None:
    """Drawn features, as GeoJSON text."""
    write_text(path, geojson)


def write_truth(folder: Path, name: str, plain: dict, arrays: dict[str, np.ndarray]) -> None:
    """`name`.json and `name`.npz in a folder; the array file's bytes carry no time."""
    write_text(folder / f"{name}.json", json.dumps(plain, indent=1, sort_keys=True) + "\n")
    with replacing(folder / f"{name}.npz") as part, open(part, "wb") as out:
        np.savez_compressed(out, **arrays)


def _csv(names: list[str], rows) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    writer.writerows(rows)
    return text.getvalue()
