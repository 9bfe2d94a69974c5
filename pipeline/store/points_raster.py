"""GeoTIFFs of heights: the centres of their cells as points. Nothing is resampled."""

from __future__ import annotations

import math
import warnings
from pathlib import Path
from typing import Iterator

import numpy as np

from pipeline.coordinates import UNIT_NAMES
from pipeline.errors import Refused
from pipeline.store.point_file import CHUNK_POINTS, Tally, reading, unreadable
from pipeline.survey.points import Chunk
from pipeline.survey.reading.facts import Facts, readable_wkt

NO_HEIGHT = 1e30  # "no data" is often written as a number near the largest there is, not quite the one declared
LOOKED_AT = 512  # cells along a side that a first look reads


class RasterFile:
    """One raster; see `PointFile`."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.tally = Tally()
        with reading(path.name), _quiet():
            self.facts = self._look()

    def _open(self):
        import rasterio

        return rasterio.open(self._path)

    def _look(self) -> Facts:
        name = self._path.name
        with self._open() as raster:
            _check(name, raster)
            here = raster.transform
            tall, wide = raster.shape
            z = _heights(raster, out_shape=(min(LOOKED_AT, tall), min(LOOKED_AT, wide)))
            wkt, error = readable_wkt(raster.crs.to_wkt()) if raster.crs else (None, None)
            unit, remark = _unit(raster.units[0])
        x, y = _centres(here, np.array([0, wide - 1, 0, wide - 1]), np.array([0, 0, tall - 1, tall - 1]))
        west, south, east, north = float(x.min()), float(y.min()), float(x.max()), float(y.max())
        good = z[np.isfinite(z)]
        if not len(good):
            raise Refused("no_points", f"{name}: found no cell with a height; expected a surface. Export it again.")
        low, high = np.percentile(good, (2, 98))
        pixel = math.hypot(here.a, here.d), math.hypot(here.b, here.e)
        return Facts(
            name, "raster", wide * tall, (west, south, math.nan, east, north, math.nan),
            (west, south, float(low), east, north, float(high)), crs_wkt=wkt, crs_error=error, height_unit=unit,
            pixel=pixel,
            remarks=(f"Cells are {pixel[0]:.6g} by {pixel[1]:.6g}; their centres were read as points.",
                     *([remark] if remark else [])),
        )  # fmt: skip

    def chunks(self, want_rgb: bool = False, want_intensity: bool = False, size: int = CHUNK_POINTS) -> Iterator[Chunk]:
        """See `PointFile`. Cells from the north-west corner, row by row; x, y, z are floats."""
        from rasterio.windows import Window

        self.tally = tally = Tally()
        with reading(self.facts.name, tally), _quiet(), self._open() as raster:
            tall, wide = raster.shape
            deep = _rows_at_a_time(raster, size)
            for top in range(0, tall, deep):
                rows = min(deep, tall - top)
                z = _heights(raster, window=Window(0, top, wide, rows)).ravel()
                there = np.isfinite(z)
                tally.empty += int((~there).sum())
                tally.read += int(there.sum())
                row, col = np.divmod(np.flatnonzero(there), wide)
                x, y = _centres(raster.transform, col, row + top)
                for start in range(0, len(x), size):
                    part = slice(start, start + size)
                    yield Chunk(x[part], y[part], z[there][part])
        if tally.read == 0:
            raise Refused("no_points",
                          f"{self.facts.name}: found no cell with a height; expected a surface. Export it again.")


def _check(name: str, raster) -> None:
    from rasterio.enums import ColorInterp

    bands = [band for band in raster.colorinterp if band != ColorInterp.alpha]
    if len(bands) != 1:
        raise unreadable(name, f"{len(bands)} bands", "one band of heights",
                         "This may be a picture: export the elevation model.")
    if raster.dtypes[0].startswith("complex"):
        raise unreadable(name, "complex numbers", "heights", "Export the elevation model.")
    if raster.transform.is_identity or raster.transform.determinant == 0:
        raise unreadable(name, "a raster without a place on earth", "a GeoTIFF with its corner and cell size",
                         "Export it as GeoTIFF.")


def _heights(raster, **part) -> np.ndarray:
    """Heights of a part of the band, float64, in the unit of the band's scale; NaN where there is none.

    part : `window` or `out_shape` as the raster library takes them
    """
    from rasterio.enums import MaskFlags

    band = raster.read(1, **part)
    with np.errstate(invalid="ignore"):  # a damaged number
        z = band.astype(float)
    empty = ~np.isfinite(z) | (np.abs(z) >= NO_HEIGHT)
    nodata = raster.nodata
    if nodata is not None and abs(nodata) < NO_HEIGHT:
        empty |= z == (float(band.dtype.type(nodata)) if band.dtype.kind == "f" else nodata)
    if MaskFlags.per_dataset in raster.mask_flag_enums[0]:
        empty |= raster.read_masks(1, **part) == 0
    return np.where(empty, np.nan, z * raster.scales[0] + raster.offsets[0])


def _centres(transform, col: np.ndarray, row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """x and y of cell centres."""
    col, row = col + 0.5, row + 0.5
    return transform.a * col + transform.b * row + transform.c, transform.d * col + transform.e * row + transform.f


def _unit(text: str | None) -> tuple[str | None, str | None]:
    """The band's unit as the table's word, and a remark where its own word can be two things."""
    if not text:
        return None, None
    word = UNIT_NAMES.get(text.strip().lower().replace("_", " "))
    if word is None:
        return None, f"Its band says its unit is {text!r}, which can be more than one thing; that was not used."
    return word, None


def _rows_at_a_time(raster, size: int) -> int:
    """Whole rows of at most `size` cells, whole rows of blocks where these fit."""
    rows = max(size // raster.width, 1)
    block = raster.block_shapes[0][0]
    return rows // block * block if rows >= block else rows


class _quiet(warnings.catch_warnings):
    """A raster without georeference warns; it is refused with a sentence instead."""

    def __enter__(self):
        from rasterio.errors import NotGeoreferencedWarning

        entered = super().__enter__()
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        return entered
