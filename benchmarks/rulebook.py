"""How well the rulebook check reads what it can: heights, slopes and circles of simulated fields, known truth.

    .venv/bin/python benchmarks/rulebook.py [--surveys 60] [--only verdicts heights flown arcs circles]

verdicts: share of within, outside and cannot_tell over fields built right, built to the very limit, and built wrong by
twice the limit. heights: error fields of the very model that judges them, on the simulator's mounds. flown: whole clouds of the simulator
(grass, blur, wandering edges, arcs set off the chart), gridded and read along their edges as in the chain, the plates from their points; with the verdicts they get. arcs: strips
of points along an exact circle. circles: lines that wander like laid edges do. Seeds here were not used for tuning.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
from shapely.affinity import translate

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.edge_scene import INSTRUMENTS as STRIPS, Options, Scene, single_arc  # noqa: E402
from support.flat_field import SOURCES  # noqa: E402
from support.quiet_field import plain  # noqa: E402
from support.random_ground import random_line  # noqa: E402
from support.rule_field import Truth, surveyed  # noqa: E402

from pipeline.diamond.dimensions import LAYOUTS  # noqa: E402
from pipeline.simulate import draws  # noqa: E402
from pipeline.simulate.aging import state_at  # noqa: E402
from pipeline.simulate.cloud import Look, see, seeing  # noqa: E402
from pipeline.simulate.ground import heights as true_heights  # noqa: E402
from pipeline.simulate.instruments import INSTRUMENTS, draw_error  # noqa: E402
from pipeline.simulate.scenario import parse  # noqa: E402
from pipeline.simulate.scene import build_scene  # noqa: E402
from pipeline.surface.masks import masks_of  # noqa: E402
from pipeline.surface.rulebook import RuleInput, RuleTolerances, rulebook  # noqa: E402
from pipeline.surface.rulebook_arcs import MeasuredLine, fit_circle, line_from_table, measured_line  # noqa: E402
from pipeline.surface.rulebook_bases import Located  # noqa: E402
from pipeline.surface.rulebook_heights import Heights  # noqa: E402
from pipeline.surface.survey_error import SurveyError  # noqa: E402
from pipeline.survey.cells.gridding import regrid  # noqa: E402
from pipeline.survey.edges.edge_fit import fit_edge  # noqa: E402
from pipeline.survey.edges.edge_table import edge_table  # noqa: E402
from pipeline.survey.noise import declared  # noqa: E402
from pipeline.survey.points import TICK_M, Ground  # noqa: E402
from pipeline.survey.stable.patches import footprint, height_from_ground  # noqa: E402
from pipeline.units import inches  # noqa: E402

SEED = 7100
OWNER = RuleTolerances(25.0, 10.0, 25.0, 1.0)  # invented, as any owner's
TRUTH = Truth(aside=0.002, along=0.001, mound_up=0.012, mound_moved=(0.05, -0.08), worn=0.030)
DAY = date(2025, 4, 7)


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--surveys", type=int, default=60)
    parts = {"verdicts": verdicts, "heights": heights, "flown": flown, "arcs": arcs, "circles": circles}
    asked.add_argument("--only", nargs="*", choices=parts, default=list(parts))
    args = asked.parse_args()
    for name in args.only:
        parts[name](args.surveys)
    return 0


def line(name: str, off: np.ndarray, sigma: np.ndarray) -> str:
    z = off / sigma
    return (f"  {name:26s} bias {off.mean():+6.1f}  rmse {np.sqrt((off**2).mean()):6.1f}  sigma {sigma.mean():6.1f}"
            f"  s.d. of z {z.std():.2f}  cover {(np.abs(z) < 1.96).mean():.2f}  n {len(off)}")  # fmt: skip


def built(share: float) -> dict[str, Truth]:
    """Fields off by a share of OWNER's limits, each way of being wrong on its own; 0: built right."""
    tilt, limit = share * OWNER.plate_level_mm / 431.8, share * OWNER.base_line_pct / 100
    if share == 0:
        return {"built right": Truth()}
    return {
        "mound": Truth(mound_up=share * OWNER.mound_height_mm / 1000), "worn": Truth(worn=share * OWNER.mound_height_mm / 1000),
        "moved": Truth(mound_moved=(share * OWNER.base_distance_mm / 1000, 0.0)), "plate": Truth(plate_tilt=(tilt, 0.0)),
        "fall": Truth(aside=limit * 2**0.5), "base": Truth(),
    }  # fmt: skip


CHANGED = {"mound": ("mound-height", "pitchers-plate-over-home"), "worn": ("landing-wear",), "moved": ("mound-centre-aside",), "plate": ("plate-level-across",),
           "fall": ("fall-home-first", "fall-first-second", "fall-second-third", "fall-third-home"),
           "base": ("home-first",)}  # fmt: skip
SIGMA_M = 0.004  # of a base located with a total station
WORDS = ("outside", "within", "cannot_tell", "not_seen")


def verdicts(surveys: int) -> None:
    """Shares in %: over every item of a field built right, over the item that is off where one is."""
    for share, title in ((0.0, "built right"), (1.0, "off by the very limit"), (2.0, "off by twice the limit")):
        print(f"\nverdicts, {title}: outside / within / cannot tell, %")
        for source in SOURCES:
            count = defaultdict(lambda: dict.fromkeys(WORDS, 0))
            for layout in LAYOUTS if share == 0 else ("baseball-90", "baseball-60"):
                for name, truth in built(share).items():
                    rng = np.random.default_rng([SEED, 4, int(share), sorted(SOURCES).index(source), sorted(LAYOUTS).index(layout)])
                    for _ in range(max(surveys // (1 if share == 0 else 2) // (1 if layout == "baseball-90" else 4), 2)):
                        given = surveyed(layout, truth, source, rng)
                        given = replace(given, tolerances=OWNER, points=located(given, layout, share if name == "base" else 0.0, rng))
                        for i in rulebook(given):
                            if np.isfinite(i.rule_mm) and np.isfinite(i.tolerance_mm) and (share == 0 or i.item in CHANGED[name]) and i.verdict != "not_seen":
                                count[i.item][i.verdict] += 1
            print(f" {source}")
            for item, found in count.items():
                n = sum(found.values())
                print(f"  {item:26s} " + " / ".join(f"{100 * found[w] / n:5.1f}" for w in WORDS[:3]) + f"   n {n}")


def located(given: RuleInput, layout: str, share: float, rng: np.random.Generator) -> dict:
    """The bases as a crew located them: each off by its s.d., first base a share of the limit too far out along its line."""
    out, b = {}, share * OWNER.base_distance_mm / 1000 * 2**-0.5
    for base, p in given.points[layout].items():
        x, y = given.layout.axes.local(p.e, p.n)
        e, n = given.layout.axes.world(x + b * (base == "first"), y + b * (base == "first"))
        off = SIGMA_M * rng.standard_normal(2)
        out[base] = Located(float(e + off[0]), float(n + off[1]), SIGMA_M, bag_m=inches(15))
    return {layout: out}


def heights(surveys: int) -> None:
    """Every height item: off the same item of an error-free survey, mm."""
    for layout in ("baseball-90", "baseball-60"):
        exact = {i.item: i.measured_mm for i in rulebook(surveyed(layout, TRUTH))}
        for source in SOURCES:
            rng, found, began = np.random.default_rng([SEED, 1]), defaultdict(list), time.process_time()
            for _ in range(surveys):
                for i in rulebook(surveyed(layout, TRUTH, source, rng)):
                    found[i.item].append((i.measured_mm - exact[i.item], i.sigma_mm))
            print(f"\nheights, {layout}, {source}, untied tilt in it ({(time.process_time() - began) / surveys:.2f} s each)")
            for item, rows in found.items():
                off, sigma = np.array(rows).T
                if np.isfinite(off).all() and off.any():
                    print(line(item, off, sigma))


def flown(surveys: int) -> None:
    """Whole clouds: what the chain reads against the simulator's truth, mm; a tenth of the surveys, they are slow."""
    for layout, grass in (("baseball-90", True), ("baseball-60", False), ("softball-55", False)):
        for source in ("good", "weak", "lidar"):
            found, words = defaultdict(list), defaultdict(lambda: dict.fromkeys(WORDS, 0))
            for k in range(max(surveys // 10, 2)):
                arc_off = float(np.random.default_rng([SEED, 2, k]).choice([0.0, -0.457, 0.152]))
                for i, true in one_flight(layout, grass, source, SEED + k, arc_off):
                    found[i.item].append((i.measured_mm - true, i.sigma_mm))
                    if np.isfinite(i.rule_mm) and np.isfinite(i.tolerance_mm) and abs(true - i.rule_mm) <= i.tolerance_mm:
                        words[i.item][i.verdict] += 1
            judged = {w: sum(v[w] for v in words.values()) for w in WORDS}
            print(f"\nflown, {layout}, {source}; items that are within in truth: " + ", ".join(f"{v} {k}" for k, v in judged.items() if v))
            print("  called outside: " + (", ".join(f"{k} {v['outside']} of {sum(v.values())}" for k, v in words.items() if v["outside"]) or "none"))
            for item, rows in found.items():
                off, sigma = np.array(rows).T
                print(line(item, off, sigma))


def one_flight(layout: str, grass: bool, source: str, seed: int, arc_off_m: float):
    """(item, its truth mm) of one simulated cloud, every item that was seen."""
    scenario = parse({**plain({"layout": layout, "grass": grass, "arc_off_m": arc_off_m, "fall": {"slope_pct": 0.5, "bearing_deg": 120.0}, "slabs": []},
                              {"instrument": source, "spacing_m": INSTRUMENTS[source].spacing, "canopy_mm": 30.0}), "seed": seed})  # fmt: skip
    scene, survey = build_scene(scenario, "quiet"), scenario.surveys["once"]
    state, instrument = state_at(scene, DAY, DAY), INSTRUMENTS[source]
    error = draw_error(draws.rng(seed, "once", "error"), instrument, survey.drift, scene.flown)
    cloud = see(Look(scene, state, "once", survey, seeing(scene, "once", instrument, error)))
    made = scene.layout
    grid = made.grid
    z0 = float(np.floor(cloud.z.min()))
    on = (cloud.e > grid.west) & (cloud.e < grid.east) & (cloud.n > grid.south) & (cloud.n < grid.north) & (np.abs(cloud.z - np.median(cloud.z)) < 0.6)
    counts = (np.rint((v[on] - o) / TICK_M).astype(np.int32) for v, o in ((cloud.e, grid.west), (cloud.n, grid.south), (cloud.z, z0)))
    ground = Ground(grid.west, grid.south, z0, *counts, *(None if v is None else v[on] for v in (cloud.rgb, cloud.intensity)))
    noise = declared(instrument.kind, instrument.white)
    cells = regrid(ground, grid, grid.mask(made.skin))
    plates = {p.patch_id: height_from_ground(ground, footprint(p.patch_id, p.polygon), noise.white_m) for p in made.patches}
    fits = {e.edge_id: fit_edge(ground, e) for e in made.edges if e.edge_id in ("outer", "home", "mound")}
    lines = {k: line_from_table(f.measured, edge_table(ground, f.measured)) for k, f in fits.items() if f.edge.source != "layout"}
    lines = {k: line for k, line in lines.items() if line is not None}
    given = RuleInput(made, layout, None, Heights(grid, cells.z, cells.white, SurveyError.of(noise, made.centre)), masks_of(made), plates,
                      lines, {}, noise.horizontal_m, OWNER)  # fmt: skip
    truth = true_items(scene, state, arc_off_m)
    for i in rulebook(given):
        if i.item in truth and np.isfinite(i.measured_mm):
            yield i, truth[i.item]


def true_items(scene, state, arc_off_m: float) -> dict[str, float]:
    """What the simulator built, mm: true heights through the very same check, arcs from its drawing."""
    made = scene.layout
    grid = made.grid
    e, n = (v.ravel() for v in grid.mesh())
    z = true_heights(scene, state, e, n).z.reshape(grid.shape)
    plates = {}
    for p in made.patches:
        foot = footprint(p.patch_id, p.polygon)
        mean = true_heights(scene, state, *foot.places.T).z.mean()
        plates[p.patch_id] = replace(height_from_ground(Ground(0, 0, 0, *(np.zeros(0, np.int32),) * 3), foot, 0.01), height_m=float(mean), sigma_m=0.0)
    exact = SurveyError.of(declared("raster", 1e-6), made.centre, np.zeros((4, 4)))
    seen = Heights(grid, z, np.zeros(grid.shape), exact)
    given = RuleInput(made, scene.truth.layout, None, seen, masks_of(made), plates, {}, {}, 0.0)
    out = {i.item: i.measured_mm for i in rulebook(given) if np.isfinite(i.measured_mm)}
    size = scene.size
    return out | {"arc-radius": 1000 * size.arc_m, "arc-centre-from-home": 1000 * (size.arc_from_m + arc_off_m), "arc-centre-aside": 0.0,
                  "home-circle-radius": 1000 * size.home_m, "mound-diameter": 2000 * size.mound_m}  # fmt: skip


def arcs(surveys: int) -> None:
    """Strips of points along 36 m of an exact circle of 20 m: radius and centre across and along its axis, mm."""
    for source in STRIPS:
        found = defaultdict(list)
        for k in range(max(surveys // 3, 4)):
            scene = Scene(SEED + k, STRIPS[source], single_arc(20.0, 36.0), options=Options(horizontal=False))
            true = scene.true_edge("outer")
            given = replace(true, line=translate(true.line, 0.20, 0.15), source="layout")
            circle = fit_circle(measured_line(given, fit_edge(scene.survey(0), given)))
            if circle is not None:
                s = np.sqrt(np.diag(circle.covariance))
                for name, off, sigma in (("across", circle.e, s[0]), ("along", circle.n, s[1]), ("radius", circle.radius_m - 20.0, s[2])):
                    found[name].append((1000 * off, 1000 * sigma))
        print(f"\narcs, {source}")
        for name, rows in found.items():
            print(line(name, *np.array(rows).T))


def circles(surveys: int) -> None:
    """Lines about a circle of 20 m that wander by 25 mm over 3 m, seen with 12 mm: cover of radius and centre."""
    for sweep, wander in ((103, 0.025), (103, 0.0), (180, 0.025), (60, 0.025)):
        rng, found = np.random.default_rng([SEED, 3, sweep]), defaultdict(list)
        for _ in range(10 * surveys):
            for name, off, sigma in one_circle(rng, sweep, wander):
                found[name].append((1000 * off, 1000 * sigma))
        print(f"\ncircles, {sweep} degrees, wander {1000 * wander:.0f} mm")
        for name, rows in found.items():
            print(line(name, *np.array(rows).T))


def one_circle(rng: np.random.Generator, sweep_deg: float, wander_m: float, radius_m: float = 20.0, sigma_m: float = 0.012):
    length = np.radians(sweep_deg) * radius_m
    s = np.arange(0.25, length, 0.5)
    off = wander_m * random_line(rng, int(length / 0.1) + 60, 3.0)
    own = rng.standard_normal(len(s) + 40)
    kernel = np.exp(-0.5 * (np.arange(-20, 21) * 0.5 / 1.5) ** 2)
    own = sigma_m * np.convolve(own, kernel / np.sqrt((kernel**2).sum()), "valid")
    a = s / radius_m - np.radians(sweep_deg) / 2
    r = radius_m + np.interp(s, np.arange(len(off)) * 0.1, off) + own
    circle = fit_circle(MeasuredLine("outer", s, r * np.sin(a), r * np.cos(a), np.full(len(s), sigma_m)))
    sd = np.sqrt(np.diag(circle.covariance))
    return ("across", circle.e, sd[0]), ("along", circle.n, sd[1]), ("radius", circle.radius_m - radius_m, sd[2])


if __name__ == "__main__":
    sys.exit(main())
