"""Small files of points for tests: what a pilot's or a surveyor's software would hand over."""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
import pytest
from laspy.vlrs.known import WktCoordinateSystemVlr

from pipeline.errors import Refused
from pipeline.store.point_file import PointFile
from pipeline.store.points import open_points
from pipeline.survey.points import Chunk
from pipeline.survey.reading.facts import Facts


def write_las(
    path: Path, xyz: np.ndarray, *, scale: float = 0.001, wkt: str | None = None, keys: dict[int, int] | None = None,
    rgb: np.ndarray | None = None, intensity: np.ndarray | None = None, withheld: np.ndarray | None = None,
    point_format: int = 7, version: str = "1.4",
) -> Path:  # fmt: skip
    """A LAS or LAZ file, by its name. `wkt` and `keys` become its coordinate records, as they are."""
    header = laspy.LasHeader(point_format=point_format, version=version)
    header.scales = np.full(3, scale)
    header.offsets = np.floor(xyz.min(axis=0))
    if wkt is not None:
        header.vlrs.append(WktCoordinateSystemVlr(wkt))
    if keys is not None:
        table = [(1, 1, 0, len(keys)), *((key, 0, 1, value) for key, value in keys.items())]
        record = np.array(table, "<u2").tobytes()
        header.vlrs.append(laspy.VLR("LASF_Projection", 34735, "", record))
    las = laspy.LasData(header)
    las.x, las.y, las.z = xyz.T
    if rgb is not None:
        las.red, las.green, las.blue = rgb.astype(np.uint16).T
    if intensity is not None:
        las.intensity = intensity
    if withheld is not None:
        las.withheld = withheld
    las.write(path)
    return path


def facts_at(x: float, y: float, z: float = 300.0, reach: float = 40.0, **more) -> Facts:
    """Facts of a cloud around a place, file units."""
    box = (x - reach, y - reach, z - 1.0, x + reach, y + reach, z + 1.0)
    return Facts(**{"name": "june.laz", "kind": "las", "n_points": 1000, "bounds": box, "typical": box, **more})


def all_points(file: PointFile, **wanted) -> Chunk:
    """Every chunk of a file as one."""
    chunks = list(file.chunks(**wanted))
    first = chunks[0]

    def joined(name: str):
        return None if getattr(first, name) is None else np.concatenate([getattr(c, name) for c in chunks])

    return Chunk(joined("x"), joined("y"), joined("z"), first.scale, first.offset,
                 *(joined(n) for n in ("klass", "rgb", "intensity")))


def coordinates(chunk: Chunk) -> np.ndarray:
    raw = np.column_stack([chunk.x, chunk.y, chunk.z])
    return raw * chunk.scale + chunk.offset


def refused(path: Path) -> Refused:
    with pytest.raises(Refused) as caught:
        list(open_points(path).chunks())
    assert caught.value.reason.startswith(path.name)
    return caught.value
