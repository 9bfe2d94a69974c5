"""Where a design touches what is not the grading crew's to settle: who decides, and the figures it is decided by.

A thing is flagged where a difference is worth a look and more than the survey's noise; where noise alone could hide such a
difference it is said that nobody can tell. The rest is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan
from typing import Callable, Iterable, Sequence

import numpy as np
import shapely

from pipeline.diamond.layout import Feature
from pipeline.frame import Grid
from pipeline.units import MM_PER_M, inches

RAISE, LOWER, LOOK, CANNOT_TELL = "raise", "lower", "look", "cannot_tell"
IRRIGATION = "irrigation designer or contractor"
DRAINAGE = "licensed engineer or drainage designer"
ACCESS = "licensed designer; local law decides"
LEVEL, STEP, SLOPE, CROSS, FALL, CATCHMENT, OUTFLOW = "level_mm", "step_mm", "slope_pct", "cross_slope_pct", "fall_pct", "catchment_m2", "outflow_m2"
Z95 = 1.96
FLUSH_M = inches(0.25)  # a head or a lid further off the ground than this wants setting anew (ours)
NEAR_M, REACH_M, WIDE_M = 0.8, 1.5, 0.5  # ground that is a thing's own; how far off graded ground still reaches it, and over how much beyond
LEAST_CELLS = 10
TOUCHED_M = 1e-6


@dataclass(frozen=True)
class Handoff:
    """One row of handoffs.csv.

    existing_m, design_m : ground at the thing or graded ground nearest to it, m, NaN where it has none; difference_mm and its s.d.
    measure              : what is looked at; before and after: of the surveyed ground and of the design; change_sigma: one s.d. of
                           their difference, all in the measure's unit
    verdict              : raise, lower, look or cannot_tell
    """

    kind: str
    id: str
    e: float
    n: float
    existing_m: float
    design_m: float
    difference_mm: float
    who_decides: str
    note: str
    sigma_mm: float
    measure: str
    before: float
    after: float
    change_sigma: float
    verdict: str


@dataclass(frozen=True)
class Site:
    """A design and how well the ground under it is known.

    existing, design : (ny, nx), m; NaN off the ground that is graded
    sigma_of : one s.d., m, of a weighted sum of the survey's cells, weights (ny, nx)
    """

    grid: Grid
    existing: np.ndarray
    design: np.ndarray
    sigma_of: Callable[[np.ndarray], float]

    @property
    def graded(self) -> np.ndarray:
        return np.isfinite(self.design) & np.isfinite(self.existing)

    def distance(self, shape: shapely.Geometry, reach_m: float) -> np.ndarray:
        """Distance of each cell from a shape, (ny, nx), m; inf beyond reach_m."""
        out = np.full(self.grid.shape, np.inf)
        near = self.grid.mask(shape.buffer(reach_m))
        e, n = self.grid.mesh()
        out[near] = shapely.distance(shapely.points(e[near], n[near]), shape)
        return out

    def against_all(self, cells: np.ndarray) -> np.ndarray:
        """Weights of the mean over some cells less the mean over all graded ground: what lifts the whole survey lifts its design, too."""
        graded = self.graded
        return cells / cells.sum() - graded / graded.sum()

    def near(self, shape: shapely.Geometry, near_m: float = NEAR_M, reach_m: float = REACH_M) -> tuple[np.ndarray | None, float]:
        """Graded cells that are a thing's own, else those nearest to it, and how far off they begin, m; None where none is in reach."""
        away = np.where(self.graded, self.distance(shape, reach_m + WIDE_M), np.inf)
        first = float(away.min())
        if first > reach_m:
            return None, first
        cells = away <= (near_m if first <= near_m / 2 else first + WIDE_M)
        return (cells if cells.sum() >= LEAST_CELLS else None), first


@dataclass(frozen=True)
class Level:
    """Ground at a thing on the surveyed ground and on the design, m, the difference's s.d., and how far off that ground begins."""

    existing_m: float
    design_m: float
    sigma_m: float
    off_m: float

    @property
    def difference_m(self) -> float:
        return self.design_m - self.existing_m


def level_at(site: Site, shape: shapely.Geometry) -> Level | None:
    """None where no graded ground is in reach, or where the design moves none of it."""
    cells, off = site.near(shape)
    if cells is None or np.abs(site.design[cells] - site.existing[cells]).max() < TOUCHED_M:
        return None
    return Level(float(site.existing[cells].mean()), float(site.design[cells].mean()), site.sigma_of(site.against_all(cells)), off)


def told(difference: float, sigma: float, worth: float) -> str | None:
    """`look` where a difference is worth it and surely none of the noise's, `cannot_tell` where noise could hide one that is; else None."""
    if abs(difference) > max(worth, Z95 * sigma):
        return LOOK
    return CANNOT_TELL if abs(difference) + Z95 * sigma > worth else None


def levels(site: Site, things: Iterable[Feature]) -> list[Handoff]:
    """Heads and boxes whose ground a design raises or lowers."""
    out = []
    for thing in things:
        at = level_at(site, thing.geometry)
        if at is None:
            continue
        verdict = told(at.difference_m, at.sigma_m, FLUSH_M)
        if verdict is not None:
            verdict = verdict if verdict == CANNOT_TELL else RAISE if at.difference_m > 0 else LOWER
            out.append(row(thing, at, IRRIGATION, "" if at.off_m <= NEAR_M / 2 else beside(at.off_m), LEVEL, 0.0, MM_PER_M * at.difference_m, MM_PER_M * at.sigma_m, verdict))
    return out


def beside(off_m: float) -> str:
    return f"{off_m:.1f} m off the graded ground: the figure is of the ground beside it"


def row(thing: Feature, at: Level | None, who: str, note: str, measure: str, before: float, after: float, change_sigma: float, verdict: str, place: Sequence[float] | None = None) -> Handoff:
    """A row about a drawn thing. place: where, m; None: the thing's middle."""
    e, n = (thing.geometry.centroid.x, thing.geometry.centroid.y) if place is None else place
    known = (nan, nan, nan, nan) if at is None else (at.existing_m, at.design_m, MM_PER_M * at.difference_m, MM_PER_M * at.sigma_m)
    return Handoff(thing.role, thing.name, float(e), float(n), *known[:3], who, note, known[3], measure, before, after, change_sigma, verdict)
