"""Home plate level or not, the pitcher's plate and the bases against it, and the fall along every base line."""

from __future__ import annotations

from typing import Mapping

import numpy as np

from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import PLATE_WIDTH_M, Dimensions
from pipeline.diamond.outline import R2
from pipeline.diamond.places import BASE_ZONE_M, base_centres, home_plate, pitchers_plate
from pipeline.surface.rulebook_heights import Heights, Linear
from pipeline.surface.rulebook_item import Measured, not_seen
from pipeline.surface.rulebook_rules import SIDES
from pipeline.survey.stable.patches import PatchHeight, footprint

LINE_HALF_M = 0.45  # half the strip along a base line: within the skin of a grass infield, 3 ft, less its buffer
END_M = BASE_ZONE_M  # worn ground about the bases is left out of the fall of a base line
BIN_M, BIN_CELLS, LEAST_BINS = 0.5, 1.5, 0.8  # so much of a base line must be seen, counted in bins of no less than cells
LEAST_DISC = 0.3  # of the disc about a base
LEAST_PLATE_CELLS = 6
PLANE_M = 0.001  # a plate is no planer than this
MISFIT_SIGMAS = 3.0  # of the mean square: more than that off a plane is no bare plate


def home_height(heights: Heights, axes: Axes, plates: Mapping[str, PatchHeight]) -> Linear | None:
    """Home plate's height at its centroid."""
    return _plate(heights, "home-plate", home_plate(axes), plates)


def plate_over_home(heights: Heights, axes: Axes, size: Dimensions, plates: Mapping[str, PatchHeight]) -> Measured:
    """Pitcher's plate over home plate, both from the survey's points on them."""
    home = home_height(heights, axes, plates)
    plate = _plate(heights, "pitchers-plate", pitchers_plate(size, axes), plates)
    if home is None or plate is None:
        return not_seen("too few points on home plate" if home is None else "too few points on the pitcher's plate")
    return measured(heights, plate - home)


def plate_level(heights: Heights, axes: Axes) -> dict[str, Measured]:
    """How far home plate is out of level over its 17 in, m: across, + where first base's side is high, and along,
    + where the pitcher's side is high. From the cells that lie wholly on the plate."""
    names = ("plate-level-across", "plate-level-along")
    shape = footprint("home-plate", home_plate(axes)).shape
    x, y = axes.local(*heights.grid.mesh())
    fit = heights.fit(heights.grid.mask(shape), x, y - PLATE_WIDTH_M / 2)
    if fit is None or len(fit.design) < LEAST_PLATE_CELLS:
        return {name: not_seen("home plate was not seen") for name in names}
    found, expected, spread = fit.mean_square()
    dirty = found > expected + MISFIT_SIGMAS * max(spread, expected / 2) + PLANE_M**2
    out = {}
    for j, name in enumerate(names, start=1):
        what = fit.coefficient(j).times(PLATE_WIDTH_M)
        reason = "the plate's cells lie on no plane: dirt, grass or an object on it" if dirty else ""
        out[name] = Measured(what.value, heights.sigma(what), reason, dirty)
    return out


def bases_over_home(heights: Heights, axes: Axes, size: Dimensions, plates, usable: np.ndarray) -> dict[str, Measured]:
    """Mean height of the ground within 0.9 m of each base over home plate, m.

    usable : (ny, nx) bool, skin less keep-outs and the strip along the grass
    """
    home = home_height(heights, axes, plates)
    x, y = axes.local(*heights.grid.mesh())
    out = {}
    for base, (bx, by) in base_centres(size).items():
        disc = np.hypot(x - bx, y - by) <= BASE_ZONE_M
        seen = disc & usable & heights.held
        if home is None:
            out[f"{base}-over-home"] = not_seen("home plate was not seen")
        elif seen.sum() < max(LEAST_DISC * disc.sum(), 1) or not disc.any():
            out[f"{base}-over-home"] = not_seen("too little skin was measured about it")
        else:
            out[f"{base}-over-home"] = measured(heights, heights.mean(seen) - home)
    return out


def line_ends(size: Dimensions) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Where each base line begins and ends, by item, in diamond axes, m."""
    b = size.base_m * R2
    at = {"home": (0.0, 0.0), "first": (b, b), "second": (0.0, 2 * b), "third": (-b, b)}
    return {item: tuple(np.array(at[name]) for name in item.split("-")) for item in SIDES}


def base_line_falls(heights: Heights, axes: Axes, size: Dimensions, usable: np.ndarray) -> dict[str, Measured]:
    """Rise along each base line from the first named base to the second, over the whole base distance, m.

    usable : (ny, nx) bool, as for planes: no mound, no keep-outs, no strip along the grass
    Least squares over a strip 0.9 m wide, in along and across, the worn 0.9 m at each end left out.
    """
    x, y = axes.local(*heights.grid.mesh())
    out, bin_m = {}, max(BIN_M, BIN_CELLS * heights.grid.cell_m)
    for item, (start, end) in line_ends(size).items():
        along = (end - start) / size.base_m
        s = (x - start[0]) * along[0] + (y - start[1]) * along[1]
        t = (y - start[1]) * along[0] - (x - start[0]) * along[1]
        strip = (np.abs(t) <= LINE_HALF_M) & (s >= END_M) & (s <= size.base_m - END_M) & usable & heights.held
        bins = np.unique(np.floor(s[strip] / bin_m))
        fit = heights.fit(strip, s - size.base_m / 2, t)
        if fit is None or len(bins) * bin_m < LEAST_BINS * (size.base_m - 2 * END_M):
            out[f"fall-{item}"] = not_seen("too little skin was measured along it")
            continue
        what = fit.coefficient(1).times(size.base_m)
        sigma = heights.sigma(what)
        pct = 100 / size.base_m
        out[f"fall-{item}"] = Measured(what.value, sigma, f"{what.value * pct:+.2f} % +/- {1.96 * sigma * pct:.2f} %")
    return out


def measured(heights: Heights, what: Linear) -> Measured:
    return Measured(what.value, heights.sigma(what))


def _plate(heights: Heights, patch_id: str, polygon, plates: Mapping[str, PatchHeight]) -> Linear | None:
    """A plate's height, or None where its points are too few."""
    height = plates.get(patch_id)
    if height is None or not np.isfinite(height.height_m):
        return None
    return heights.patch(footprint(patch_id, polygon), height)
