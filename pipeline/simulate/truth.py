"""What is true of a field on the day of a survey, on the definitions that the pipeline measures by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from pipeline.diamond.edges import Edge
from pipeline.diamond.places import Place
from pipeline.frame import Grid
from pipeline.simulate.cloud import Look, Seeing
from pipeline.simulate.ground import design, heights, mound_height
from pipeline.simulate.aging import State
from pipeline.simulate.scene import Scene
from pipeline.simulate.weeds import stand

STATION_M = 1.0
SKIN_M, TURF_M = (-0.8, -0.3), (0.9, 1.4)  # windows that a lip is judged against, distance into the grass
CREST_M = (-0.10, 0.15)  # window about the crest
PROFILE_STEP_M = 0.01
LIP_RISE_M, LIP_FALL_M = 0.006, 0.004
EDGE_BAND_M = 0.3  # a ring keeps so far from the grass


@dataclass(frozen=True)
class Truth:
    """plain: names and numbers for JSON. z: true height less `z0`, (ny, nx) float32, m. skin: bool. grid: of both."""

    survey_id: str
    field_id: str
    plain: dict
    grid: Grid
    z0: float
    z: np.ndarray
    skin: np.ndarray


def answers(look: Look) -> Truth:
    """True heights, lips, ring depths, zone means and what the survey itself added."""
    scene, state, survey = look.scene, look.state, look.survey
    grid, z0 = scene.layout.grid, float(np.floor(scene.truth.height_m))
    e, n = (np.ravel(v) for v in grid.mesh())
    ground = heights(scene, state, e, n)
    z, d = ground.z.reshape(grid.shape), ground.d.reshape(grid.shape)
    bare = (d < 0) & (ground.patch.reshape(grid.shape) < 0)
    built = (design(scene, e, n) + mound_height(scene, e, n)).reshape(grid.shape)
    added = look.seen.at(e, n).reshape(grid.shape)
    over = stand(scene, state.on, e, n).share.reshape(grid.shape)
    plain = {
        "survey_id": look.survey_id,
        "field_id": scene.field_id,
        "flown_on": survey.day.isoformat(),
        "instrument": survey.instrument,
        "canopy_mm": survey.canopy_mm,
        "added_by_survey": _added(look.seen, added[bare].mean()),
        "design": scene.truth.fall.model_dump(),
        "skin": {
            "area_m2": _r(bare.sum() * grid.cell_area_m2, 2),
            "mean_height_m": _r(z[bare].mean(), 6),
            "mean_over_design_mm": _mm((z - built)[bare].mean()),
            "volume_over_design_m3": _r((z - built)[bare].sum() * grid.cell_area_m2, 4),
        },
        "weeds": {"skin_pct": _r(100 * (over[bare] > 0.2).mean(), 3)},
        "zones": {k: _zone(grid, shape, z, d) for k, shape in sorted(scene.layout.zones.items())},
        "places": {p.place_id: _ring_depth_mm(p, grid, z, bare & (d < -EDGE_BAND_M)) for p in scene.layout.places},
        "pits": {p.name: {"e": _r(row[0], 3), "n": _r(row[1], 3), "depth_mm": _mm(row[2]), "sd_m": p.sd_m}
                 for p, row in zip(scene.truth.pits, state.pits)},
        "patches": {p.patch_id: {"over_design_mm": _mm(lift)} for p, lift in zip(scene.patches, state.lifts_m)},
        "edges": {edge.edge_id: _edge(scene, state, index, edge) for index, edge in enumerate(scene.edges)},
    }  # fmt: skip
    return Truth(look.survey_id, scene.field_id, plain, grid, z0, (z - z0).astype(np.float32), bare)


def _added(seen: Seeing, mean_m: float) -> dict:
    error = seen.error
    return {
        "shift_mm": _mm(error.shift), "tilt_e_mm_per_m": _mm(error.tilt_e), "tilt_n_mm_per_m": _mm(error.tilt_n),
        "dome_mm": _mm(error.dome), "dome_at_m": _r(error.radius_m, 2), "centre": [_r(v, 3) for v in error.centre],
        "mean_over_skin_mm": _mm(mean_m), "east_mm": _mm(error.east), "north_mm": _mm(error.north),
    }  # fmt: skip


def _zone(grid: Grid, shape, z, d) -> dict:
    mask = grid.mask(shape)
    skin = mask & (d < 0)
    return {"area_m2": _r(mask.sum() * grid.cell_area_m2, 2), "skin_m2": _r(skin.sum() * grid.cell_area_m2, 2),
            "mean_height_m": _r(z[mask].mean(), 6) if mask.any() else None}  # fmt: skip


def _ring_depth_mm(place: Place, grid: Grid, z, usable) -> float | None:
    """Plane through the ring's cells at the disc's middle, less the disc's mean; None where skin is missing."""
    e, n = grid.mesh()
    r = np.hypot(e - place.e, n - place.n)
    disc, ring = usable & (r <= place.disc_m), usable & (r >= place.ring_in_m) & (r <= place.ring_out_m)
    if disc.sum() < 0.8 * np.pi * place.disc_m**2 / grid.cell_area_m2 or ring.sum() < 100:
        return None
    x, y = e - place.e, n - place.n
    fit = np.linalg.lstsq(np.column_stack([np.ones(ring.sum()), x[ring], y[ring]]), z[ring], rcond=None)[0]
    return _mm(fit @ [1.0, x[disc].mean(), y[disc].mean()] - z[disc].mean())


def _edge(scene: Scene, state: State, index: int, edge: Edge) -> dict:
    """Columns over the middles of 1 m pieces. `lip_mm` is the mix alone; `peak_mm` the crest over the skin's line,
    `rise_mm` the mean over the crest's window over it, `fall_mm` the same over the turf."""
    s = edge.stations(STATION_M)
    crest = state.along.between(np.full(s.size, index), s, state.along.crest)
    d = np.arange(SKIN_M[0], TURF_M[1] + PROFILE_STEP_M / 2, PROFILE_STEP_M)
    e, n = (v.ravel() for v in edge.at(s[:, None], d))
    z = (heights(scene, state, e, n).z - design(scene, e, n) - mound_height(scene, e, n)).reshape(s.size, -1)

    def window(low, high) -> np.ndarray:
        inside = (d >= np.asarray(low)[..., None] - 1e-9) & (d <= np.asarray(high)[..., None] + 1e-9)
        return (z * inside).sum(axis=1) / np.broadcast_to(inside, z.shape).sum(axis=1)

    skin, turf = window(*SKIN_M), window(*TURF_M)
    top = window(crest + CREST_M[0], crest + CREST_M[1])
    peak = z[np.arange(s.size), np.rint((crest - d[0]) / PROFILE_STEP_M).astype(int)]
    lip = state.along.between(np.full(s.size, index), s, state.along.lip)
    rise, fall = top - skin, top - turf
    kind = np.where(rise <= LIP_RISE_M, "flush", np.where(fall > LIP_FALL_M, "lip", "low_skin"))
    east, north = edge.at(s)
    return {
        "length_m": _r(edge.length_m, 3), "station_m": [_r(v, 2) for v in s],
        "e": [_r(v, 3) for v in east], "n": [_r(v, 3) for v in north], "usable": [bool(v) for v in edge.usable(s)],
        "lip_mm": [_mm(v) for v in lip], "peak_mm": [_mm(v) for v in peak - skin], "rise_mm": [_mm(v) for v in rise],
        "fall_mm": [_mm(v) for v in fall], "crest_offset_mm": [_mm(v) for v in crest], "kind": [str(v) for v in kind],
        "encroached_mm": _mm(state.encroach_m), "line": shapely.to_wkt(edge.line, rounding_precision=3),
    }  # fmt: skip


def _mm(value_m: float) -> float:
    return round(float(value_m) * 1000.0, 3)


def _r(value: float, digits: int) -> float:
    return round(float(value), digits)
