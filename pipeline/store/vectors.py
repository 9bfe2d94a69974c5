"""Vector files: what operators drew, in; a field's GeoPackage, out."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import shapely

from pipeline.coordinates import label, read_crs
from pipeline.diamond.features import read as read_features
from pipeline.diamond.layout import Feature
from pipeline.errors import Problem
from pipeline.store.atomic import replacing
from pipeline.transform import NoExactStep, step_between

VERSION = "1.2"  # of the GeoPackage standard: nothing newer is needed, and desks with an older GIS read it without complaint
DRAWN_TO_M = 0.25  # shapes that a step between datums would move by more than this are not measured with


def read(path: str | Path, name: str, crs: str) -> tuple[tuple[Feature, ...], list[Problem]]:
    """A features file (GeoPackage or GeoJSON), carried to the working CRS `crs`. `name` is what messages call it."""
    import geopandas
    import pyogrio

    path = Path(path)
    if not path.is_file():
        return (), [Problem(name, None, None, "no such file", "a GeoPackage or GeoJSON", "Correct `features` in the table of fields.", code="no-such-file")]
    frames = []
    try:
        for layer, _ in pyogrio.list_layers(path):
            frames.append(geopandas.read_file(path, layer=layer))
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError) as error:
        return (), [Problem(name, None, None, f"a file that cannot be read ({error})", "a GeoPackage or GeoJSON", "Export it again.", code="cannot-open")]
    drawn, problems, row = [], [], 0
    for frame in frames:
        if frame.crs is None:
            problems.append(Problem(name, None, None, "no coordinate system", "one the file states", "Export it with its CRS.", code="shapes-no-crs"))
            continue
        faults = _degrees(name, frame)
        if faults:
            problems += faults
            continue
        try:
            step = step_between(read_crs(frame.crs.to_wkt()), read_crs(crs))
            if step.accuracy_m > DRAWN_TO_M:
                raise NoExactStep(f"{label(read_crs(frame.crs.to_wkt()))} and the field's coordinates agree to {step.accuracy_m:g} m only")
        except (NoExactStep, ValueError) as error:
            problems.append(Problem(name, None, None, f"coordinates that cannot be carried over well enough: {error}",
                                    f"the field's own coordinates, {label(read_crs(crs))} or its twin in feet", "Draw or export the shapes in them.", code="shapes-not-carried"))  # fmt: skip
            continue
        frame = frame.set_geometry(shapely.transform(frame.geometry.values, lambda xy: np.column_stack(step(xy[:, 0], xy[:, 1]))), crs=crs)
        for props in frame.to_dict("records"):
            row += 1
            shape = props.pop("geometry")
            drawn.append((row, {k: None if v != v else v for k, v in props.items()}, shape))
    features, found = read_features(name, drawn)
    return features, problems + found


def _degrees(name: str, frame) -> list[Problem]:
    """A GeoJSON without a CRS member counts as degrees; numbers that cannot be degrees are not guessed at."""
    west, south, east, north = frame.total_bounds
    if frame.crs.is_geographic and max(abs(west), abs(east)) > 360 or frame.crs.is_geographic and max(abs(south), abs(north)) > 90:
        return [Problem(name, None, None, f"coordinates like {west:.1f}, {south:.1f} in a file that counts as degrees", "longitude and latitude, or a stated CRS",
                        "Export it with a `crs` member or as a GeoPackage.", code="shapes-not-degrees")]  # fmt: skip
    return []


def write(path: str | Path, layers: dict[str, list[dict]], columns: dict[str, dict[str, str]], crs: str, date: str, about: dict) -> None:
    """A GeoPackage: every layer is there, also with nothing in it.

    layers  : layer name -> rows; each row a dict with `geometry` (shapely, or None) and its columns
    columns : layer name -> column -> pandas dtype, in order; the geometry kind under the key `geometry`
    date    : ISO date stamped into the file in place of the clock
    about   : provenance, kept as the file's description
    """
    import geopandas
    import json

    import pandas
    import pyogrio

    with replacing(path) as temporary, warnings.catch_warnings():
        temporary.unlink()
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{date}T00:00:00.000Z"})
        for name, kinds in columns.items():
            rows = layers.get(name, [])
            data = {c: pandas.array([r.get(c) for r in rows], dtype=k) for c, k in kinds.items() if c != "geometry"}
            frame = geopandas.GeoDataFrame(data, geometry=[r["geometry"] for r in rows], crs=crs)
            pyogrio.write_dataframe(frame, temporary, layer=name, driver="GPKG", geometry_type=kinds["geometry"], append=False,
                                    dataset_options={"VERSION": VERSION}, layer_options={"DESCRIPTION": json.dumps(about, sort_keys=True)}, promote_to_multi=False)  # fmt: skip
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
