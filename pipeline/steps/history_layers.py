"""The layers of a field's GeoPackage. A layer with nothing in it is there and empty."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import Point, Polygon

from pipeline.diamond.layout import Layout
from pipeline.diamond.parts import parts
from pipeline.steps import surveyed
from pipeline.steps.surveyed import Surveyed
from pipeline.store import rasters
from pipeline.store.where import Where
from pipeline.survey.cells.plants import UNDER
from pipeline.variables import DECIMALS, TABLES

TYPES = {"word": "string", "text": "string", "date": "string", "flag": "boolean", "count": "Int64"}


def _of_table(name: str, geometry: str) -> dict[str, str]:
    return {c.name: "float64" if c.kind in DECIMALS else TYPES[c.kind] for c in TABLES[name]} | {"geometry": geometry}


COLUMNS: dict[str, dict[str, str]] = {
    "zones": _of_table("zones", "MultiPolygon"),
    "grass_edge": {"edge_id": "string", "source": "string", "length_m": "float64", "survey_id": "string", "told_by": "string", "encroached_mm": "float64",
                   "sigma_mm": "float64", "geometry": "LineString"},
    "lip": _of_table("lip", "Point"),
    "lip_change": _of_table("lip_change", "LineString"),
    "low_spots": _of_table("low_spots", "Point"),
    "detected_change": {"from_survey": "string", "to_survey": "string", "direction": "string", "area_m2": "float64", "geometry": "MultiPolygon"},
    "patches": {"patch_id": "string", "survey_id": "string", "residual_mm": "float64", "expected_mm": "float64", "used": "boolean", "geometry": "Polygon"},
    "keep_out": {"name": "string", "geometry": "MultiPolygon"},
    "anchors": {"base": "string", "geometry": "Point"},
    "weeds": {"survey_id": "string", "area_m2": "float64", "told_by": "string", "geometry": "Polygon"},
    "passes": {"run": "Int64", "bearing_deg": "float64", "purpose": "string", "entry": "string", "length_m": "float64", "minutes": "float64", "geometry": "LineString"},
    "stakeout": {"point": "Int64", "description": "string", "existing_m": "float64", "design_m": "float64", "cut_m": "float64", "fill_m": "float64", "by_hand": "boolean", "geometry": "Point"},
}  # fmt: skip


def layers(where: Where, layout: Layout, kept: list[str], rows: dict[str, list[dict]], surveys: dict[str, dict], grass: list[dict],
           weeds: list[dict], designs: dict) -> dict[str, list[dict]]:  # fmt: skip
    """Rows with geometry for every layer, in the working CRS; grass: where each survey shows it begin; weeds: their patches;
    designs: record of the designs."""
    edges = surveyed.edges_used(where, layout, kept)
    lines = {e.edge_id: e for e in edges}
    skin = {k: _many(v) for k, v in {**layout.zones, **parts(layout)}.items()}
    out = {
        "zones": [{**r, "geometry": skin[r["zone"]]} for r in rows["zones"]],
        "grass_edge": [{"edge_id": e.edge_id, "source": e.source, "length_m": e.length_m, "geometry": e.line} for e in edges] + grass,
        "lip": [{**r, "geometry": Point(r["e"], r["n"])} for r in rows["lip"] if r["station_m"] is not None],
        "lip_change": [{**r, "geometry": _segment(lines[r["edge_id"]], r["station_m"])} for r in rows["lip_change"]],
        "low_spots": [{**r, "geometry": Point(r["e"], r["n"])} for r in rows["low_spots"]],
        "detected_change": [d for pair in _pairs(rows) for d in _detected(where, layout, *pair)],
        "patches": _patches(layout, kept, surveys),
        "keep_out": [] if layout.keep_out.is_empty else [{"name": "keep out", "geometry": _many(layout.keep_out)}],
        "anchors": [{"base": name, "geometry": Point(at)} for name, at in sorted(layout.anchors.items())],
        "weeds": weeds,
        "passes": [{**r, "geometry": shapely.LineString(r["line"])} for r in designs.get("passes", {}).get("runs", [])],
        "stakeout": [{**s, "geometry": Point(s["e"], s["n"])} for s in designs.get("stakes", [])],
    }
    return {name: [_clean(r, COLUMNS[name]) for r in found] for name, found in out.items()}


def patches_of_weeds(layout: Layout, made: Surveyed) -> list[dict]:
    """One survey's patches of plants on the skin, largest first."""
    from rasterio.features import shapes

    mask = made.plants.classes >= UNDER
    parts = [shapely.geometry.shape(s) for s, _ in shapes(mask.astype(np.uint8), mask, connectivity=8, transform=rasters.transform(layout.grid))] if mask.any() else []
    found = [{"survey_id": made.survey_id, "area_m2": p.area, "told_by": made.plants.told_by, "geometry": p} for p in parts]
    return sorted(found, key=lambda w: (-w["area_m2"], w["geometry"].bounds))


def _clean(row: dict, columns: dict[str, str]) -> dict:
    """Only the layer's columns; NaN is no value."""
    return {c: None if isinstance(row.get(c), float) and np.isnan(row[c]) else row.get(c) for c in columns}


def _pairs(rows: dict) -> list[tuple[str, str]]:
    return list(dict.fromkeys((r["from_survey"], r["to_survey"]) for r in rows["change"]))


def _segment(edge, station_m: float | None) -> shapely.LineString:
    """The 5 m of edge about a station; the whole edge without one."""
    if station_m is None:
        return edge.line
    s = np.clip(np.linspace(station_m - 2.5, station_m + 2.5, 11), 0.0, edge.length_m)
    return shapely.LineString(np.column_stack(edge.at(np.unique(s))))


def _detected(where: Where, layout: Layout, a: str, b: str) -> list[dict]:
    """Detected cells as outlines, one feature for gained and one for lost."""
    from rasterio.features import shapes

    grid = layout.grid
    cells = rasters.read(where.change(layout.field_id, a, b, "detected"), grid)
    out = []
    for value, word in ((1, "gained"), (-1, "lost")):
        mask = cells == value
        if not mask.any():
            continue
        parts = [shapely.geometry.shape(s) for s, _ in shapes(mask.astype(np.uint8), mask, transform=rasters.transform(grid))]
        out.append({"from_survey": a, "to_survey": b, "direction": word, "area_m2": float(mask.sum() * grid.cell_area_m2), "geometry": _many(shapely.union_all(parts))})
    return out


def _patches(layout: Layout, kept: list[str], surveys: dict[str, dict]) -> list[dict]:
    shape = {p.patch_id: p.polygon for p in layout.patches}
    return [
        {"patch_id": p["id"], "survey_id": s, "residual_mm": p["residual_mm"], "expected_mm": p["expected_mm"], "used": p["used"], "geometry": shape[p["id"]]}
        for s in kept for p in surveys[s]["tie"]["patches"]
    ]  # fmt: skip


def _many(geometry) -> shapely.MultiPolygon:
    """Polygons as one MultiPolygon."""
    return geometry if isinstance(geometry, shapely.MultiPolygon) else shapely.MultiPolygon([geometry] if isinstance(geometry, Polygon) else [])
