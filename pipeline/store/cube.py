"""A field's surveys as one CF cube: elevation, sigma and count over time."""

from __future__ import annotations

from pathlib import Path
from typing import Sequence

import numpy as np

from pipeline.frame import Grid
from pipeline.store.atomic import replacing
from pipeline.variables import RASTERS

CONVENTIONS = "CF-1.8"
SIGNED = {"uint32": np.int32}  # CF-1.8, section 2.2, knows no unsigned numbers of this size


def write(path: str | Path, grid: Grid, days: Sequence[str], surveys: Sequence[str], stacks: dict[str, Sequence[np.ndarray]], about: dict[str, str]) -> None:
    """A NetCDF-4 file with dimensions time, y, x; time is the day of the survey.

    days, surveys : ISO date and id of each survey, oldest first
    stacks        : raster name -> one (ny, nx) array a survey
    about         : global attributes; no clock in them
    """
    import xarray
    from pyproj import CRS

    e, n = grid.centres()
    time = np.array(days, dtype="datetime64[ns]")
    variables, encoding = {}, {}
    for name, arrays in stacks.items():
        variable = RASTERS[name]
        kind = SIGNED.get(variable.dtype, variable.dtype)
        data = np.stack([np.asarray(a, kind) for a in arrays]) if arrays else np.zeros((0, *grid.shape), kind)
        attributes = {"long_name": variable.long_name, "units": variable.unit, "grid_mapping": "crs", "coordinates": "survey"}
        if variable.standard_name:
            attributes["standard_name"] = variable.standard_name
        variables[name] = (("time", "y", "x"), data, attributes)
        encoding[name] = {"zlib": True, "complevel": 1, "shuffle": True, "chunksizes": (1, *grid.shape)} if arrays else {}
        if variable.dtype == "float32":
            encoding[name]["_FillValue"] = np.float32(np.nan)
    crs = CRS.from_user_input(grid.crs)
    dataset = xarray.Dataset(
        {**variables, "crs": ((), np.int32(0), {**crs.to_cf(), "long_name": "coordinate reference system"})},
        {
            "time": ("time", time, {"long_name": "day of the survey", "standard_name": "time", "axis": "T"}),
            "y": ("y", n, {"long_name": "northing", "standard_name": "projection_y_coordinate", "units": "m", "axis": "Y"}),
            "x": ("x", e, {"long_name": "easting", "standard_name": "projection_x_coordinate", "units": "m", "axis": "X"}),
            "survey": ("time", np.array(list(surveys), dtype=str), {"long_name": "survey_id"}),
        },
        {"Conventions": CONVENTIONS, "title": "Ground heights of one ball field over its surveys", **about},
    )
    encoding["time"] = {"units": "days since 2000-01-01", "calendar": "standard", "dtype": "int32", "_FillValue": None}
    encoding |= {axis: {"_FillValue": None} for axis in ("x", "y")}
    with replacing(path) as temporary:
        dataset.to_netcdf(temporary, engine="netcdf4", format="NETCDF4", encoding=encoding)
