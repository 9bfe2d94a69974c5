"""The operator's tables that follow from a scenario: what was drawn, what a crew read off a ruler, what was levelled.

Whoever draws, reads and levels in the invented district does so with hands: to a few millimetres, drawn by the seed.
"""

from __future__ import annotations

import json

import numpy as np
import shapely

from pipeline.simulate.ground import design, heights
from pipeline.simulate.aging import state_at
from pipeline.simulate.scenario import Checks, GroundMark, InGround, Readings, Scenario
from pipeline.simulate.scene import build_scene, unit_m
from pipeline.simulate.truth import SKIN_M
from pipeline.units import LENGTH_UNITS

HEIGHT_DATUM = "EPSG:5703"


def features(scenario: Scenario, field_id: str) -> str:
    """A field's drawn features as GeoJSON in the CRS of its table."""
    scene = build_scene(scenario, field_id)
    unit = unit_m(scene.truth.table_crs)
    code = scene.truth.table_crs.removeprefix("EPSG:")
    drawn = [
        {"type": "Feature", "properties": {"role": f.role, "name": f.name} | f.props,
         "geometry": json.loads(shapely.to_geojson(shapely.transform(f.geometry, lambda xy: np.round(xy / unit, 3))))}
        for f in scene.features
    ] + [
        {"type": "Feature", "properties": {"role": "mix_core", "name": c.name, "depth_mm": c.depth_mm, "taken_on": c.taken_on.isoformat()},
         "geometry": {"type": "Point", "coordinates": [round(float(v) / unit, 3) for v in scene.spot(c.at)]}}
        for c in scene.truth.cores
    ] + [
        {"type": "Feature", "properties": {"role": thing.role, "name": thing.name} | _noted(thing), "geometry": json.loads(shapely.to_geojson(shape(scene, thing, unit)))}
        for thing in scene.truth.in_ground
    ]  # fmt: skip
    crs = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{code}"}}
    head = {"type": "FeatureCollection", "name": field_id, "crs": crs, "features": []}
    body = ",\n".join(json.dumps(f) for f in drawn)
    return json.dumps(head)[:-2] + "\n" + body + "\n]}\n"


def _noted(thing: InGround) -> dict:
    """What was noted of a thing in the ground, beside its name."""
    return thing.model_dump(mode="json", exclude_none=True, include={"located_on", "located_by", "sigma_mm", "depth_m"})


def shape(scene, thing: InGround, unit: float) -> shapely.Geometry:
    """Where it was drawn, in the table's CRS, to three decimals."""
    places = [tuple(round(float(v) / unit, 3) for v in scene.spot(at)) for at in thing.at]
    if thing.area:
        return shapely.Polygon(places)
    return shapely.Point(places[0]) if len(places) == 1 else shapely.LineString(places)


def readings(scenario: Scenario) -> list[dict]:
    """Rows of readings.csv: straightedge readings at even stations, mm, and whatever else was noted."""
    rows = []
    for asked in scenario.readings:
        for station, rise_mm in _ruled(scenario, asked):
            rows.append({
                "field_id": asked.field, "read_on": asked.day.isoformat(), "kind": "lip_rise",
                "value": str(round(rise_mm)), "unit": "mm", "edge_id": asked.edge, "station_m": f"{station:.1f}",
                "place": "", "instrument": "straightedge and ruler", "notes": "",
            })  # fmt: skip
    for note in scenario.noted:
        rows.append({
            "field_id": note.field, "read_on": note.day.isoformat(), "kind": note.kind, "value": note.value,
            "unit": note.unit, "edge_id": "", "station_m": "", "place": note.place, "instrument": note.instrument,
            "notes": note.notes,
        })  # fmt: skip
    return [{"reading_id": f"r{i + 1:03d}", **row} for i, row in enumerate(rows)]


def _ruled(scenario: Scenario, asked: Readings) -> list[tuple[float, float]]:
    """Stations and rises, mm: the straightedge lies on the skin before the edge, the ruler stands on the crest."""
    scene = build_scene(scenario, asked.field)
    state = state_at(scene, scenario.first_day, asked.day)
    index = [e.edge_id for e in scene.edges].index(asked.edge)
    edge = scene.edges[index]
    s = np.linspace(1.5, edge.length_m - 1.5, asked.count)
    crest = state.along.between(np.full(s.size, index), s, state.along.crest)
    lies = [_over_design(scene, state, *edge.at(s, np.full(s.size, d))) for d in np.linspace(*SKIN_M, 6)]
    rise = _over_design(scene, state, *edge.at(s, crest)) - np.mean(lies, axis=0)
    noise = scene.rng(asked.day.isoformat(), "ruler", asked.edge).normal(0.0, asked.sd_mm, s.size)
    return list(zip(s.tolist(), (rise * 1000.0 + noise).tolist()))


def _over_design(scene, state, e, n) -> np.ndarray:
    return heights(scene, state, e, n).z - design(scene, e, n)


def control(scenario: Scenario) -> list[dict]:
    """Rows of control.csv: levelled points on slabs (`slab`), on the skin (`checkpoint`, good for that day), and marks (`benchmark`)."""
    rows = []
    for asked in scenario.checks:
        scene = build_scene(scenario, asked.field)
        state = state_at(scene, scenario.first_day, asked.day)
        unit = LENGTH_UNITS[asked.unit]
        for where in asked.at:
            e, n, kind = _mark(scene, where)
            z = heights(scene, state, np.array([e]), np.array([n])).z[0]
            z += scene.rng(asked.day.isoformat(), "level", where).normal(0.0, asked.sd_mm / 1000.0)
            rows.append(_check_row(asked, scene.truth.table_crs, where, kind, e, n, z, unit))
    return rows + [_mark_row(mark, scenario.fields[mark.field].table_crs) for mark in scenario.marks]


def _mark_row(mark: GroundMark, crs: str) -> dict:
    return {
        "point_id": f"{mark.field}-{mark.name}", "e": f"{mark.e:.3f}", "n": f"{mark.n:.3f}", "height": f"{mark.height:.4f}", "unit": mark.unit,
        "crs": crs, "height_reference": HEIGHT_DATUM, "field_id": mark.field, "kind": "benchmark", "sigma_mm": f"{mark.sd_mm:.1f}",
        "measured_on": mark.measured_on.isoformat(), "instrument": "level", "description": mark.description,
    }  # fmt: skip


def _mark(scene, where: str) -> tuple[float, float, str]:
    slabs = {p.patch_id: p.polygon.centroid for p in scene.patches}
    if where in slabs:
        return slabs[where].x, slabs[where].y, "slab"
    return *scene.spot(where), "checkpoint"


def _check_row(asked: Checks, crs: str, where: str, kind: str, e: float, n: float, z: float, unit: float) -> dict:
    across = unit_m(crs)
    return {
        "point_id": f"{asked.field}-{asked.day:%y%m}-{where}", "e": f"{e / across:.3f}", "n": f"{n / across:.3f}",
        "height": f"{z / unit:.4f}", "unit": asked.unit, "crs": crs, "height_reference": HEIGHT_DATUM,
        "field_id": asked.field, "kind": kind, "sigma_mm": f"{asked.sd_mm:.1f}", "measured_on": asked.day.isoformat(),
        "instrument": "level", "description": where.replace("-", " "),
    }  # fmt: skip
