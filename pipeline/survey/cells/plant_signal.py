"""Which share of the ground plants cover, cell by cell, from colour or intensity: the skin's own against the turf's own.

Light, shade, chalk, concrete and wet mix must not pass for plants: colours are taken as shares of their brightness, and a
colour is made up of three: bare skin, turf, and grey. What stands toward grey is paint, chalk, concrete or shade; what stands
away from it is wet. Only what stands toward the turf is plants.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.survey.cells.cell_sums import CellSums, pooled

LEAST_GREEN = 0.02  # of brightness: so much greener than the skin the turf must be before colour is believed
LEAST_CELLS = 200  # of skin and of turf, or their own colour is not known
BARE_SHARE = 0.10  # of the skin must be bare, or its own colour is not known
APART = 0.25  # sine of the angle between turf and grey as seen from the skin: below, grey cannot be told apart
GREY_OFF = 0.03  # a skin so near to grey that chalk is no other colour
LOW_PART, LOW_SIGMAS = 0.30, 0.3853  # 30 % of |N(0, 1)| lie below 0.3853: wet mix in a third of the cells moves it by half
MOST_SIGMA = 0.15  # of the pooled share on bare skin: beyond, plants over half of a spot would not stand out


@dataclass(frozen=True)
class PlantShare:
    """Share of each cell's ground under plants, 0 as the bare skin, 1 as the turf.

    told_by : `colour` or `intensity`
    pooled, own : (ny, nx) over the cells around and of the cell alone; NaN where nothing was measured
    pooled_sigma, own_sigma : (ny, nx) one s.d. of them on bare skin, by the points and the light that the cell has
    """

    told_by: str
    pooled: np.ndarray
    own: np.ndarray
    pooled_sigma: np.ndarray
    own_sigma: np.ndarray


def plant_share(sums: CellSums, skin: np.ndarray, turf: np.ndarray, half: int) -> PlantShare | None:
    """Share under plants by colour, else by intensity; None where neither tells turf from skin.

    skin, turf : (ny, nx) bool, cells that are skin and cells that are turf, both well clear of the edge
    half       : cells to either hand that are pooled
    """
    for told_by, values in (("colour", sums.rgb), ("intensity", sums.intensity)):
        if values is None:
            continue
        own = _signal(values, sums.count, told_by)
        around = _signal(pooled(values, skin, half), pooled(sums.count, skin, half), told_by)
        beyond = _signal(pooled(values, turf, half), pooled(sums.count, turf, half), told_by)
        found = _shares(told_by, own, around, beyond, skin, turf)
        if found is not None:
            return found
    return None


@dataclass(frozen=True)
class _Signal:
    """Coordinates of each cell's colour (ny, nx, k): red and green as shares of brightness, or intensity alone; and by what
    its noise goes: 1 / s.d. up to a factor."""

    at: np.ndarray
    weight: np.ndarray

    def of(self, cells: np.ndarray) -> np.ndarray:
        return self.at[cells & np.isfinite(self.at[..., 0])]


def _signal(total: np.ndarray, count: np.ndarray, told_by: str) -> _Signal:
    """Ratios of sums: bright points weigh more, and few dark points do not make a colour."""
    n = np.maximum(count, 1)
    bright = total.sum(axis=-1) if told_by == "colour" else total
    with np.errstate(invalid="ignore", divide="ignore"):
        at = total[..., :2] / bright[..., None] if told_by == "colour" else (total / n)[..., None]
    seen = (count > 0) & (bright > 0)
    weight = bright / np.sqrt(n) if told_by == "colour" else np.sqrt(n)
    return _Signal(np.where(seen[..., None], at, np.nan), np.where(seen, weight, 0.0))


def _shares(told_by: str, own: _Signal, around: _Signal, beyond: _Signal, skin: np.ndarray, turf: np.ndarray) -> PlantShare | None:
    here, there = around.of(skin), beyond.of(turf)
    if min(len(here), len(there)) < LEAST_CELLS:
        return None
    grass = np.median(there, axis=0)
    bare = _bare(here, grass, told_by)
    if bare is None or (told_by == "colour" and grass[1] - bare[1] < LEAST_GREEN):
        return None
    parts = [_share(s.at, bare, grass, told_by) for s in (around, own)]
    sigmas = [_sigma(part, s.weight, skin) for part, s in zip(parts, (around, own))]
    typical = np.median(sigmas[0][skin & np.isfinite(sigmas[0])]) if np.isfinite(sigmas[0][skin]).any() else np.inf
    if not typical < MOST_SIGMA:
        return None
    return PlantShare(told_by, parts[0], parts[1], sigmas[0], sigmas[1])


def _bare(here: np.ndarray, grass: np.ndarray, told_by: str) -> np.ndarray | None:
    """The bare skin's own colour: the densest half of what lies on the skin's side of half way to the turf.

    So weeds over more than half of the skin do not move it: bare mix is one colour, mix with plants is many.
    """
    along = here[:, 1] if told_by == "colour" else here[:, 0]
    to = grass[1] if told_by == "colour" else grass[0]
    way = 1.0 if to >= np.median(along) else -1.0
    low = np.quantile(way * along, 0.05)
    near = way * along < (low + way * to) / 2
    if near.sum() < max(BARE_SHARE * len(here), LEAST_CELLS / 2):
        return None
    chosen = here[near]
    order = np.argsort(along[near], kind="stable")
    sorted_along = along[near][order]
    held = max(len(order) // 2, 1)
    first = int(np.argmin(sorted_along[held - 1 :] - sorted_along[: len(order) - held + 1]))
    return np.median(chosen[order[first : first + held]], axis=0)


def _share(at: np.ndarray, bare: np.ndarray, grass: np.ndarray, told_by: str) -> np.ndarray:
    """How far each colour stands from the bare skin toward the turf, (ny, nx)."""
    off, to = at - bare, grass - bare
    if told_by == "intensity":
        return off[..., 0] / to[0]
    grey = np.full(2, 1.0 / 3.0) - bare
    cross = to[0] * grey[1] - to[1] * grey[0]
    if np.hypot(*grey) < GREY_OFF or abs(cross) < APART * np.hypot(*grey) * np.hypot(*to):
        return off[..., 1] / to[1]
    return (off[..., 0] * grey[1] - off[..., 1] * grey[0]) / cross


def _sigma(share: np.ndarray, weight: np.ndarray, skin: np.ndarray) -> np.ndarray:
    """One s.d. of the share on bare skin, from the cells below 0, where no plant can put one; dark and thin cells are wider."""
    below = skin & (share < 0) & (weight > 0)
    if below.sum() < LEAST_CELLS / 4:
        return np.full(share.shape, np.inf)
    scale = np.quantile(-share[below] * weight[below], LOW_PART) / LOW_SIGMAS
    return np.where(weight > 0, scale / np.maximum(weight, 1e-9), np.inf)
