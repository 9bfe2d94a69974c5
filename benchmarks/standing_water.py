"""Parts of benchmarks/condition.py on water: what a lip holds and what stands after rain, under drawn surveys of known ground."""

from __future__ import annotations

import numpy as np
from shapely.geometry import LineString
from support.flat_field import SOURCES, bowl, error_of, middle, plane, square

from pipeline.diamond.edges import Edge
from pipeline.surface.lip_dam import capped, held_without, strips
from pipeline.surface.ponds import find_ponds
from pipeline.surface.pools import RAINS_M, standing_water
from pipeline.surface.runoff import main_paths
from pipeline.surface.water_chance import Heights, water_chance

TEN = RAINS_M.index(0.010)
CANOPY_M, CANOPY_SIGMA_M = 0.032, 0.008


def lip(fields: int, seed: int) -> None:
    """A skin falling to a lip between banks: what the lip holds, grass of nearly known height on it."""
    print("\nlip dams, the canopy off by its own s.d.: true m3, mean found, its scatter, sigma, cover; share of surveys that tell of it, and their cover")
    grid = square(24.0)
    e, n = grid.mesh()
    e0, n0 = middle(grid)
    into = n0 - 8.0 - n
    edge = Edge("outer", LineString([(grid.west, n0 - 8.0), (grid.east, n0 - 8.0)]), False, "drawn")
    skin, ground = into < 0, into < 0.5
    level = plane(grid, north=0.01)[skin][-1] - 0.0005
    bank = 0.05 * np.maximum(np.abs(e - e0) - 8.0, 0.0) * ground
    laid = strips(grid, [edge], skin)
    for source in SOURCES:
        for height in (0.030, 0.0):
            truth = np.where(skin, plane(grid, north=0.01), level + np.where(into < 0.6, height, 0.0)) + bank
            exact = find_ponds(truth, grid, ground, skin)
            cells = [p.cells for p in exact.ponds]
            true = sum(p.volume_m3 for p in exact.ponds) - float(held_without(exact, capped(exact.smoothed, truth, 0.0, laid), cells, grid.cell_area_m2).sum())
            error, white = error_of(source, grid)
            rng = np.random.default_rng(seed + 11)
            rows = []
            for f in error.fields(grid, white, fields, rng):
                off = CANOPY_SIGMA_M * rng.standard_normal()
                z = truth + f + np.where(skin, 0.0, CANOPY_M + off)
                found = find_ponds(z - np.where(skin, 0.0, CANOPY_M), grid, ground, skin)
                heights = Heights(z, white, ~skin & ground, CANOPY_M, CANOPY_SIGMA_M)
                chance = water_chance(found, (), heights, grid, skin, skin, error, [edge], rng, 16)
                told = [k for k in range(len(found.ponds)) if chance.lip_m3[k] > 1.96 * chance.lip_sigma_m3[k]]
                rows.append((chance.lip_m3.sum(), float(np.sqrt((chance.lip_sigma_m3**2).sum())), len(told) > 0))
            m, s, t = np.array(rows, float).T
            held = np.abs(m - true) <= 1.96 * s
            told = f"told {t.mean():.2f}" + (f", of those cover {held[t > 0].mean():.2f}" if t.any() else "")
            print(f"  {source:6s} lip {1e3 * height:.0f} mm  {true:.3f} {m.mean():.3f} {m.std():.3f} {s.mean():.3f} {held.mean():.2f}   {told}")


def rain(fields: int, seed: int) -> None:
    """A hollow in a falling skin: depth and water after 10 mm of rain, and how far the main path of a swale is held."""
    print("\nwater after 10 mm: depth mm true, bias, sigma, cover; m3 true, ratio, cover; swale: share of surveys whose path runs within 1 m")
    grid = square(30.0)
    whole = np.ones(grid.shape, bool)
    e, n = grid.mesh()
    e0, n0 = middle(grid)
    truth = plane(grid, north=0.008) - bowl(grid, e0 + 6, n0 + 2, 0.040, 1.8) + 0.02 * np.minimum(np.abs(e - e0 + 6), 4.0)
    exact = find_ponds(truth, grid, whole, whole)
    water = standing_water(exact, grid).pools[0]
    for source in SOURCES:
        error, white = error_of(source, grid)
        rng = np.random.default_rng(seed + 12)
        rows, near = [], []
        for f in error.fields(grid, white, fields, rng):
            z = truth + f
            found = find_ponds(z, grid, whole, whole)
            here = [k for k, p in enumerate(found.ponds) if np.intersect1d(p.cells, exact.ponds[0].cells).size]
            paths = main_paths(found.drainage, grid, whole)
            near.append(bool(paths) and np.median(np.abs(paths[0].e[-100:] - e0 + 6)) < 1.0)
            if not here:
                continue
            k = max(here, key=lambda k: found.ponds[k].depth_m)
            pool = standing_water(found, grid).pools[k]
            chance = water_chance(found, paths, Heights(z, white, ~whole, 0.0, 0.0), grid, whole, whole, error, (), rng, 16)
            rows.append((pool.deepest_m[TEN], chance.deepest_sigma_m[k, TEN], pool.stands_m3[TEN], chance.stands_sigma_m3[k, TEN]))
        d, ds, v, vs = np.array(rows).T
        depth, held = water.deepest_m[TEN], water.stands_m3[TEN]
        print(
            f"  {source:6s} {1e3 * depth:.1f} {1e3 * (d.mean() - depth):+.1f} {1e3 * ds.mean():.1f} {np.mean(np.abs(d - depth) < 1.96 * ds):.2f}"
            f"   {held:.3f} {v.mean() / held:.2f} {np.mean(np.abs(v - held) < 1.96 * vs):.2f}   path {np.mean(near):.2f}"
        )
