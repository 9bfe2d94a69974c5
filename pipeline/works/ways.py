"""Accessible routes and gates: the step where they meet the skin, and the slopes along them on graded ground, before and after.

What a step or a slope may be is for local law; it is worth a look from the figures of the 2010 ADA Standards for Accessible Design
on (303.2: 1/4 in; 403.3: 1 in 20 along, 1 in 48 across; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Iterable

import numpy as np
import shapely
from shapely.ops import nearest_points

from pipeline.diamond.layout import Feature
from pipeline.units import MM_PER_M, inches
from pipeline.works.handoffs import ACCESS, CANNOT_TELL, CROSS, LEAST_CELLS, LOOK, SLOPE, STEP, Z95, Handoff, Level, Site, level_at, row

STEP_M, ALONG_PCT, ACROSS_PCT = inches(0.25), 5.0, 100 / 48
GATE_M = 3.0  # a gate further off the skin does not open onto it
HALF_M, REACH_M, GAP_M = 0.75, 1.5, 0.2  # ground either side of the rim that a step is told from; the rim's own 0.2 m is left out
WIDTH_M, PIECE_M = 1.2, 2.0  # a route drawn as a line; pieces that a slope is told over
LEAST_PIECE_M2 = 0.5


@dataclass(frozen=True)
class Outside:
    """Ground off the skin: heights (ny, nx), m, NaN where unknown, what grass adds to them, and its s.d., m."""

    z: np.ndarray
    grass_m: float
    grass_sigma_m: float


def ways(site: Site, things: Iterable[Feature], skin: shapely.Geometry, outside: Outside) -> list[Handoff]:
    """Steps and slopes worth a look, or that nobody can tell, of routes and gates that meet graded ground."""
    out = []
    for thing in things:
        at = level_at(site, thing.geometry)
        for place in meeting(thing, skin):
            found = _step(site, thing, place, skin, outside)
            if found is not None:
                out.append(found)
        if thing.role == "accessible_route":
            out += _slopes(site, thing, at)
    return out


def meeting(thing: Feature, skin: shapely.Geometry) -> list[tuple[float, float]]:
    """Where a route crosses the skin's rim, or the place of the rim nearest to a gate."""
    rim = skin.boundary
    if thing.role == "gate":
        place = nearest_points(rim, thing.geometry)[0]
        return [(place.x, place.y)] if place.distance(thing.geometry) <= GATE_M else []
    met = thing.geometry.intersection(rim)
    parts = [g for g in shapely.get_parts(shapely.line_merge(met) if thing.geometry.area else met) if not g.is_empty]
    return [(c.x, c.y) for c in (g.interpolate(0.5, normalized=True) if g.geom_type == "LineString" else g.centroid for g in parts)]


def _step(site: Site, thing: Feature, place: tuple[float, float], skin: shapely.Geometry, outside: Outside) -> Handoff | None:
    """Ground outside less skin at the rim, both sides carried to it along one slope: least squares of z = a + b s + c [outside].

    A gate stands in grass, which is taken off; whether a route is paved or grass nobody says, so half of it is taken off and all of
    it is in doubt.
    """
    e, n = site.grid.mesh()
    near = np.isfinite(site.distance(shapely.Point(place), REACH_M))
    inside = near & site.graded
    beyond = near & ~site.grid.mask(skin.buffer(GAP_M)) & np.isfinite(outside.z)
    if min(inside.sum(), beyond.sum()) < LEAST_CELLS or np.abs(site.design - site.existing)[inside].max() < 1e-6:
        return None
    toward = np.array([e[beyond].mean() - e[inside].mean(), n[beyond].mean() - n[inside].mean()])
    toward /= np.hypot(*toward)
    across = (e - place[0]) * toward[1] - (n - place[1]) * toward[0]
    inside, beyond = inside & (np.abs(across) <= HALF_M), beyond & (np.abs(across) <= HALF_M)
    used = inside | beyond
    if min(inside.sum(), beyond.sum()) < LEAST_CELLS:
        return None
    s = (e - place[0]) * toward[0] + (n - place[1]) * toward[1]
    weights = np.zeros(site.grid.shape)
    weights[used] = np.linalg.pinv(np.column_stack([np.ones(used.sum()), s[used], beyond[used]]))[2]
    gate = thing.role == "gate"
    off = outside.grass_m * (1.0 if gate else 0.5)
    doubt = outside.grass_sigma_m if gate else float(np.hypot(outside.grass_m / 12**0.5, outside.grass_sigma_m))
    z = np.where(beyond, outside.z - off, site.existing)
    before = float(weights[used] @ z[used])
    change = float(weights[inside] @ (site.design - site.existing)[inside])
    sigma = float(np.hypot(site.sigma_of(weights), doubt))
    made = site.sigma_of(site.against_all(inside))
    verdict = step_verdict(before + change, sigma, change, made)
    if verdict is None:
        return None
    note = f"step at the skin's rim, up into the {'grass' if gate else 'route'} positive, known to {MM_PER_M * sigma:.0f} mm (one s.d.); the design moves it by {MM_PER_M * change:+.0f} mm"
    level = Level(float(site.existing[inside].mean()), float(site.design[inside].mean()), made, 0.0)
    return row(thing, level, ACCESS, note, STEP, MM_PER_M * before, MM_PER_M * (before + change), MM_PER_M * made, verdict, place)


def step_verdict(after_m: float, sigma_m: float, change_m: float, change_sigma_m: float) -> str | None:
    """A step that is surely worth a look, or that the design surely makes by as much; or one that noise could hide; else None."""
    made = abs(change_m) > max(STEP_M, Z95 * change_sigma_m) and abs(after_m) > STEP_M
    if abs(after_m) - Z95 * sigma_m > STEP_M or made:
        return LOOK
    return CANNOT_TELL if abs(after_m) + Z95 * sigma_m > STEP_M else None


def _slopes(site: Site, thing: Feature, at: Level | None) -> list[Handoff]:
    """The steepest piece of a route on graded ground, along and across it; of one drawn as an area the steepest slope of all."""
    if at is None:
        return []
    line = thing.geometry.length and not thing.geometry.area
    found: dict[str, tuple] = {}
    for shape, way in _pieces(thing.geometry):
        cells = site.grid.mask(shape) & site.graded
        if cells.sum() * site.grid.cell_area_m2 < LEAST_PIECE_M2:
            continue
        grad = _gradient(site, cells)
        after = np.array([float((g * np.nan_to_num(site.design)).sum()) for g in grad])
        before = np.array([float((g * np.nan_to_num(site.existing)).sum()) for g in grad])
        ways_of = {SLOPE: way, CROSS: np.array([-way[1], way[0]])} if line else {SLOPE: after / max(np.hypot(*after), 1e-12)}
        for measure, unit in ways_of.items():
            value = abs(float(after @ unit))
            if measure not in found or value > found[measure][0]:
                was = abs(float(before @ unit)) if line else float(np.hypot(*before))
                found[measure] = value, was, site.sigma_of(unit[0] * grad[0] + unit[1] * grad[1]), shape.centroid
    out = []
    for measure, (after, before, sigma, where) in found.items():
        verdict = slope_verdict(100 * after, 100 * sigma, ACROSS_PCT if measure == CROSS else ALONG_PCT)
        if verdict is not None:
            out.append(row(thing, at, ACCESS, f"steepest piece of {PIECE_M:g} m on graded ground", measure, 100 * before, 100 * after, 100 * sigma, verdict, (where.x, where.y)))
    return out


def slope_verdict(after_pct: float, sigma_pct: float, limit_pct: float) -> str | None:
    """A design's slope is known against the survey, and the survey's own is not: surely over the limit, perhaps over it, or None."""
    if after_pct - Z95 * sigma_pct > limit_pct:
        return LOOK
    return CANNOT_TELL if after_pct + Z95 * sigma_pct > limit_pct else None


def _pieces(shape: shapely.Geometry):
    """Pieces of a route with the unit vector along each; of an area squares, and no direction."""
    if shape.area:
        west, south, east, north = shape.bounds
        for x in np.arange(west, east, PIECE_M):
            for y in np.arange(south, north, PIECE_M):
                yield shape.intersection(shapely.box(x, y, x + PIECE_M, y + PIECE_M)), np.zeros(2)
        return
    for line in shapely.get_parts(shape):
        count = max(int(np.ceil(line.length / PIECE_M)), 1)
        ends = [line.interpolate(k / count, normalized=True) for k in range(count + 1)]
        for a, b in zip(ends, ends[1:]):
            way = np.array([b.x - a.x, b.y - a.y])
            yield shapely.LineString([a, b]).buffer(WIDTH_M / 2, cap_style="flat"), way / max(np.hypot(*way), 1e-12)


def _gradient(site: Site, cells: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weights of the east and north slope of the plane through some cells, each (ny, nx), 1/m."""
    e, n = site.grid.mesh()
    x, y = e[cells] - e[cells].mean(), n[cells] - n[cells].mean()
    rows = np.linalg.pinv(np.column_stack([np.ones(len(x)), x, y]))
    out = np.zeros((2, *site.grid.shape))
    out[:, cells] = rows[1:]
    return out[0], out[1]
