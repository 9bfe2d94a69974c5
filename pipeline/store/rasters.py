"""Rasters out and back: GeoTIFF laid out as COG, stamped with what they are and where they came from."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np

from pipeline.frame import Grid
from pipeline.store.atomic import replacing
from pipeline.variables import RASTERS


def write(path: str | Path, name: str, values: np.ndarray, grid: Grid, tags: dict[str, str]) -> None:
    """One raster of `variables.RASTERS`, shape (ny, nx), as a cloud-optimised GeoTIFF.

    tags : what it was made from; kept in the file's metadata
    """
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import MemoryFile
    from rasterio.shutil import copy

    variable = RASTERS[name]
    if values.shape != grid.shape:
        raise ValueError(f"{name} has shape {values.shape}, its grid {grid.shape}")
    profile = dict(driver="GTiff", width=grid.nx, height=grid.ny, count=1, dtype=variable.dtype, crs=grid.crs,
                   transform=transform(grid), nodata=variable.nodata)  # fmt: skip
    with replacing(path) as temporary, warnings.catch_warnings(), rasterio.Env(GDAL_NUM_THREADS=1):
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with MemoryFile() as memory:
            with memory.open(**profile) as target:
                target.write(values.astype(variable.dtype), 1)
                target.set_band_description(1, variable.long_name)
                target.update_tags(
                    name=variable.name, long_name=variable.long_name, units=variable.unit, sign=variable.sign, **tags
                )
            copy(memory.name, temporary, driver="COG", compress="deflate", predictor="yes" if variable.dtype != "int8" else "no",
                 blocksize=256, overview_resampling="average" if variable.dtype == "float32" else "nearest",
                 num_threads="1")  # fmt: skip


def transform(grid: Grid):
    """Columns and rows to eastings and northings, as rasterio wants it. Its own `from_origin` multiplies in a way that is
    on its way out."""
    from rasterio import Affine

    return Affine(grid.cell_m, 0.0, grid.west, 0.0, -grid.cell_m, grid.north)


def read(path: str | Path, grid: Grid) -> np.ndarray:
    """A raster that `write` wrote, in its own type.

    raises: ValueError when it does not stand on this grid
    """
    import rasterio

    with rasterio.open(path) as source:
        found = source.transform
        if source.shape != grid.shape or not np.allclose(
            (found.c, found.f, found.a), (grid.west, grid.north, grid.cell_m), rtol=0, atol=1e-6
        ):
            raise ValueError(f"{path} does not stand on the field's grid; rerun the field's layout")
        return source.read(1)
