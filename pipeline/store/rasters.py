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


def described(path: str | Path) -> dict:
    """What a raster says of itself: name, long_name, unit, dtype, nodata, shape (rows, columns), transform (6 numbers, row by
    row), relative (whether a change is one of shape alone; None where not said) and statistics over the cells that hold something."""
    import rasterio

    with rasterio.open(path) as source:
        values, tags = source.read(1), source.tags()
        nodata = source.nodata
        held = values[np.ones(values.shape, bool) if nodata is None else ~np.isnan(values) if np.isnan(nodata) else values != nodata].astype(float)
        return {
            "name": tags["name"], "long_name": tags["long_name"], "unit": tags["units"], "dtype": source.dtypes[0],
            "nodata": nodata if nodata is None or np.isnan(nodata) else int(nodata), "shape": list(source.shape), "transform": list(source.transform)[:6],
            "relative": {"true": True, "false": False}.get(tags.get("relative", "")), "statistics": _statistics(held, values.size),
        }  # fmt: skip


def _statistics(held: np.ndarray, cells: int) -> dict:
    """Least, most, mean, standard deviation and share of the cells that hold something, %, to nine figures."""
    figures = {"valid_percent": 100 * held.size / cells}
    if held.size:
        figures |= {"minimum": held.min(), "maximum": held.max(), "mean": held.mean(), "stddev": held.std()}
    return {name: float(f"{value:.9g}") for name, value in figures.items()}
