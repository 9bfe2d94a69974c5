"""A row of quantities.csv: what one design moves, buys and costs, and how the surface would then score."""

from __future__ import annotations

from math import isfinite, nan

import numpy as np
from scipy.ndimage import binary_closing, binary_dilation, binary_erosion

from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps.grade_ground import GradeGround
from pipeline.steps.grade_wishes import grading_of
from pipeline.steps.spot_given import survey_error
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.evenness import PERCENTILE, gaps, half_samples, lattice
from pipeline.works.design import LASER_PLANE, TOUCH_UP, Design
from pipeline.works.grading.quantities import Money, Volumes, mix_to_buy, money, volumes
from pipeline.works.grading.variants import CROWN, Made

STRAIGHTEDGE_M = 3.0
AROUND_M, RIM_M = 1.5, 1.0
CLOSED_M = 0.4  # holes of less than twice this across are no end of the skin
NOTHING_M3 = 1e-4


def row_of(job: Job, layout: Layout, seen: Surveyed, ground: GradeGround, design: Design | None, found: Made | None, reason: str) -> dict:
    variant = design.variant if design is not None else found.variant
    if design is None:
        return {"variant": variant, "feasible": False, "reason": reason}
    error, grid = survey_error(layout, seen), layout.grid
    graded = np.isfinite(design.design) & np.isfinite(design.existing)
    moved = graded & (np.abs(design.cut_fill) > 1e-6)
    white = np.nan_to_num(seen.white)
    net_sigma = _net_sigma(error, grid, moved, _met(variant, ground, grid, moved), white)
    local = float(np.sqrt(sum(sd**2 for sd, _ in error.noise.parts))) if error.noise.parts else 0.0
    got = volumes(design.cut_fill[graded], grid.cell_area_m2, local, net_sigma)
    material = job.settings.material
    bought = got.fill_m3 if variant == TOUCH_UP else found.solved.bought_m3
    buys = bought > NOTHING_M3  # what the solver leaves of nothing is no order, and needs no reserve
    mix = mix_to_buy(bought if buys else 0.0, net_sigma if buys else 0.0, material.of("placed_t_per_m3"), material.of("truck_t"))
    cost = _money(job, variant, got, mix, float(graded.sum() * grid.cell_area_m2))
    flat, gap = _scores(design, grid, graded, grading_of(job, "form") == CROWN)
    return {
        "variant": variant, "cut_m3": got.cut_m3, "fill_m3": got.fill_m3, "noise_m3": got.noise_m3, "net_m3": got.net_m3, "net_sigma_m3": net_sigma,
        "mix_tonnes": mix.tonnes, "loads": mix.loads, "hours": cost.hours, "cost_low": cost.low, "cost_high": cost.high, "planarity_after_mm": flat,
        "straightedge_after_mm": gap, "mix_low95_t": mix.low, "mix_high95_t": mix.high, "mix_reserve_t": mix.reserve, "worked_m2": got.worked_m2,
        "graded_m2": got.area_m2, "feasible": True, "reason": "; ".join(r for r in (reason, mix.reason, cost.reason) if r),
    }  # fmt: skip


def _met(variant: str, ground: GradeGround, grid, moved: np.ndarray) -> np.ndarray:
    """Where a design hangs on what the same survey saw: the ground around each hollow, else the rim of the skin."""
    if variant == TOUCH_UP:
        return binary_dilation(moved, iterations=max(round(AROUND_M / grid.cell_m), 1)) & ground.workable & ~moved
    return rim(ground.workable, grid.cell_m)


def rim(workable: np.ndarray, cell_m: float) -> np.ndarray:
    """Ground within RIM_M of where the skin ends. A cell that was not seen and an anchor's disc are no end of it: taken as one,
    all of a speckled skin is rim, and a figure against the rim is one against itself, with no s.d. at all."""
    gap = max(round(CLOSED_M / cell_m), 1)
    solid = binary_closing(np.pad(workable, gap), iterations=gap)[gap:-gap, gap:-gap] | workable
    return workable & ~binary_erosion(solid, iterations=max(round(RIM_M / cell_m), 1))


def _net_sigma(error, grid, moved: np.ndarray, met: np.ndarray, white: np.ndarray) -> float:
    """One s.d. of fill minus cut, m3: of the moved ground against the ground its design is met by. What lifts the whole survey
    lifts both and falls out."""
    if not moved.any():
        return 0.0
    weights = moved * grid.cell_area_m2
    if met.any():
        weights = weights - met * (moved.sum() * grid.cell_area_m2 / met.sum())
    return error.sigma(weights, grid, white)


def _scores(design: Design, grid, graded: np.ndarray, crowned: bool) -> tuple[float, float]:
    """Root mean square off its own best plane, a crowned one's off its best surface of second degree (as zones.csv has it), and the 95th percentile of the gap under a straightedge, of the designed surface, mm."""
    e, n = grid.mesh()
    z = design.design[graded]
    if len(z) < 3:
        return nan, nan
    x, y = e[graded] - e[graded].mean(), n[graded] - n[graded].mean()
    basis = np.column_stack([np.ones(len(z)), x, y, *((x * x, x * y, y * y) if crowned else ())])
    left = z - z.mean() - basis @ np.linalg.lstsq(basis, z - z.mean(), rcond=None)[0]
    found = gaps(design.design, graded & lattice(grid), half_samples(STRAIGHTEDGE_M, grid.cell_m))
    return 1000 * float(np.sqrt((left**2).mean())), 1000 * float(np.percentile(found, PERCENTILE)) if len(found) else nan


def _money(job: Job, variant: str, got: Volumes, mix, skin_m2: float) -> Money:
    """Hours of the crew and what a design costs: by the crew its hours, what it moves and the mix; by laser the contractor's prices."""
    costs, prices = job.settings.costs, job.settings.prices
    of = lambda section, name: getattr(costs[section], name).value if section in costs and getattr(costs[section], name) is not None else nan
    price = lambda name: nan if getattr(prices, name) is None else getattr(prices, name).value
    buys = isfinite(mix.tonnes) and mix.tonnes > 0.05
    parts = {"mix_per_t": (mix.low * price("mix_per_t"), mix.high * price("mix_per_t"))} if buys or not isfinite(mix.tonnes) else {}
    if variant == LASER_PLANE:
        fixed = of("laser_grade", "fixed") + of("laser_grade", "per_m2") * skin_m2
        alone, shared = _or_none(of("laser_grade", "mobilisation")), 0.0
        return money(0.0, {**parts, "laser_grade": (fixed + shared, fixed + alone)}, None)
    hours = of("level", "hours_fixed") + of("level", "hours_per_m2") * got.worked_m2
    if got.worked_m2 == 0:
        hours, parts = 0.0, {}
    low, high = (max(v, 0.0) * price("move_per_m3") for v in (got.cut_m3 + got.fill_m3 - 2 * got.noise_m3, got.cut_m3 + got.fill_m3))
    return money(hours, {**parts, **({"move_per_m3": (low, high)} if got.worked_m2 else {})}, prices.hour.value if prices.hour is not None else None)


def _or_none(value: float) -> float:
    return value if isfinite(value) else 0.0
