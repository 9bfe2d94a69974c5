"""Inlets, outlets and edges whose water a design changes: rows to be decided by whoever answers for drainage."""

from __future__ import annotations

from typing import Mapping, Sequence

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Feature
from pipeline.works.handoffs import CANNOT_TELL, CATCHMENT, DRAINAGE, FALL, LEAST_CELLS, LEVEL, LOOK, OUTFLOW, Handoff, Site, level_at, row, told
from pipeline.works.outflow import NEAR_M, Stretch
from pipeline.units import MM_PER_M

WORTH_M2 = 20.0  # ground whose water goes elsewhere (ours)
MATTERS = 2.0  # so many times that, within the noise, is said as not to be told
WORTH_PCT, LEVEL_M = 0.25, 0.006
FALL_M = (0.4, 4.0)  # a fall toward an inlet is told over this much of the way to it


def inlets(site: Site, things: Sequence[Feature], drains: Mapping[str, Stretch]) -> list[Handoff]:
    """Rows of inlets and outlets: what drains there, the fall toward them, their level. drains: by the thing's name."""
    out = []
    for thing in things:
        at, drain = level_at(site, thing.geometry), drains.get(thing.name)
        if drain is not None and (verdict := _water(drain)) is not None:
            note = "ground that drains into it" if drain.on_ground else f"ground whose water leaves within {NEAR_M:g} m of it; the way from there is not followed"
            out.append(row(thing, at, DRAINAGE, note, CATCHMENT if drain.on_ground else OUTFLOW, drain.before, drain.after, drain.sigma, verdict))
        if at is None:
            continue
        if (verdict := told(at.difference_m, at.sigma_m, LEVEL_M)) is not None:
            out.append(row(thing, at, DRAINAGE, "ground at it", LEVEL, 0.0, MM_PER_M * at.difference_m, MM_PER_M * at.sigma_m, verdict))
        if (fall := _fall(site, thing)) is not None and told(fall[1] - fall[0], fall[2], WORTH_PCT) == LOOK:
            out.append(row(thing, at, DRAINAGE, f"fall toward it within {FALL_M[1]:g} m, negative = away from it", FALL, *fall, LOOK))
    return out


def _fall(site: Site, thing: Feature) -> tuple[float, float, float] | None:
    """Fall toward a thing by the line through height over distance, before and after, pct, and one s.d. of their difference."""
    away = site.distance(thing.geometry, FALL_M[1])
    cells = site.graded & (away >= FALL_M[0]) & np.isfinite(away)
    if cells.sum() < LEAST_CELLS:
        return None
    r = away[cells] - away[cells].mean()
    weights = np.zeros(site.grid.shape)
    weights[cells] = r / (r**2).sum()
    return tuple(100 * float(weights[cells] @ z[cells]) for z in (site.existing, site.design)) + (100 * site.sigma_of(weights),)


def _water(s: Stretch) -> str | None:
    """As `told`, but what noise can move this way and that is only said where it is much."""
    verdict = told(s.after - s.before, s.sigma, WORTH_M2)
    return None if verdict == CANNOT_TELL and abs(s.after - s.before) < MATTERS * WORTH_M2 else verdict


def leaving(stretches: Sequence[Stretch], edges: Sequence[Edge]) -> list[Handoff]:
    """Rows of stretches of edge over which more water would leave the skin than now; neighbours count as one."""
    by_id, out, run = {e.edge_id: e for e in edges}, [], []
    for s in [*stretches, None]:
        more = s is not None and s.after > s.before and _water(s) is not None
        if run and not (more and s.name == run[-1].name and s.start_m <= run[-1].end_m + 1e-6 and _water(s) == _water(run[-1])):
            out.append(_stretch_row(run, by_id[run[0].name]))
            run = []
        if more:
            run.append(s)
    return out


def _stretch_row(run: Sequence[Stretch], edge: Edge) -> Handoff:
    a, b = run[0].start_m, run[-1].end_m
    e, n = (float(v) for v in edge.at(np.array((a + b) / 2)))
    before, after = sum(s.before for s in run), sum(s.after for s in run)
    first = "no water to speak of leaves here now" if before < WORTH_M2 else "more water than now leaves here"
    sigma, nan = float(np.sqrt(sum(s.sigma**2 for s in run))), float("nan")
    return Handoff("edge", f"{edge.edge_id}-{a:.0f}", e, n, nan, nan, nan, DRAINAGE, f"{first}, along {b - a:.0f} m; where it runs from there is not followed", nan,
                   OUTFLOW, before, after, sigma, _water(run[0]) or LOOK)  # fmt: skip
