"""Where a field's grid lies on the earth: its outline in longitude and latitude, or why it cannot be said."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from pyproj import CRS

from pipeline.coordinates import epsg_code, lon_lat, read_crs
from pipeline.frame import Grid
from pipeline.transform import NoExactStep, step_between

WGS84 = 4326
ALONG_M = 20.0  # a point of the outline at least so often: a straight line of the grid bows by less than 1 mm between two
DECIMALS = 8  # of a degree, about 1 mm


@dataclass(frozen=True)
class Footprint:
    """geometry   : GeoJSON (RFC 7946): outer ring counter-clockwise, longitude first; None where the place is not known
    bbox       : west, south, east, north, degrees; None likewise; west > east where it crosses 180 degrees
    accuracy_m : what the step to WGS 84 is known to, m
    reason     : why there is none
    """

    geometry: dict | None
    bbox: list[float] | None
    accuracy_m: float | None = None
    reason: str = ""


def footprint(grid: Grid) -> Footprint:
    """A grid's outline on WGS 84, by the best step the library knows; none where there is no step known to metres."""
    crs = read_crs(grid.crs)
    place = lon_lat(crs, (grid.west + grid.east) / 2, (grid.south + grid.north) / 2)
    try:
        step = step_between(crs, CRS.from_epsg(WGS84), place)
    except NoExactStep as none:
        return Footprint(None, None, reason=str(none))
    lon, lat = step(*_outline(grid))
    if not (np.isfinite(lon).all() and np.isfinite(lat).all() and (np.abs(lat) <= 90).all()):
        return Footprint(None, None, reason="the field's coordinates name no place on the earth")
    return _on_the_earth(np.round((lon + 180) % 360 - 180, DECIMALS), np.round(lat, DECIMALS), step.accuracy_m)


def _outline(grid: Grid) -> tuple[np.ndarray, np.ndarray]:
    """Eastings and northings round the grid, counter-clockwise from its south-west corner, closed, m."""
    corners = shapely.linearrings([(grid.west, grid.south), (grid.east, grid.south), (grid.east, grid.north), (grid.west, grid.north)])
    e, n = shapely.get_coordinates(shapely.segmentize(corners, ALONG_M)).T
    return e, n


def _on_the_earth(lon: np.ndarray, lat: np.ndarray, accuracy_m: float) -> Footprint:
    """Polygon and box; cut in two where it crosses 180 degrees, as RFC 7946, 3.1.9 and 5.2 have it."""
    south, north = float(lat.min()), float(lat.max())
    if np.ptp(lon) <= 180:
        ring = shapely.Polygon(np.column_stack([lon, lat]))
        return Footprint(_plain(ring), [float(lon.min()), south, float(lon.max()), north], accuracy_m)
    whole = shapely.Polygon(np.column_stack([lon % 360, lat]))
    west, east = (shapely.intersection(whole, shapely.box(low, -90, low + 180, 90)) for low in (0, 180))
    east = shapely.transform(east, lambda xy: xy - (360, 0))
    box = [round(west.bounds[0], DECIMALS), south, round(east.bounds[2], DECIMALS), north]
    return Footprint({"type": "MultiPolygon", "coordinates": [_plain(part)["coordinates"] for part in (west, east)]}, box, accuracy_m)


def _plain(polygon: shapely.Polygon) -> dict:
    ring = shapely.get_coordinates(shapely.orient_polygons(polygon).exterior)
    return {"type": "Polygon", "coordinates": [[[round(x, DECIMALS), round(y, DECIMALS)] for x, y in ring.tolist()]]}


def projection(text: str) -> dict:
    """What the projection extension says of a CRS: EPSG's code, else null and WKT 2 beside it."""
    crs = read_crs(text)
    code = epsg_code(crs)
    return {"proj:epsg": code} if code else {"proj:epsg": None, "proj:wkt2": crs.to_wkt("WKT2_2019")}


def union_box(boxes: list[list[float]]) -> list[float] | None:
    """The smallest box over some, degrees; None of none. Boxes over 180 degrees keep west > east where all lie near it."""
    if not boxes:
        return None
    near = any(w > e for w, _, e, _ in boxes)
    turned = [(w % 360, s, e % 360, n) if near else (w, s, e, n) for w, s, e, n in boxes]
    west, south, east, north = (f(b[k] for b in turned) for k, f in enumerate((min, min, max, max)))
    back = lambda lon: round(math.remainder(lon, 360), DECIMALS) if near else lon
    return [back(west), south, back(east), north]
