"""The mound: height, table, front slope, where it really stands, and how deep its landing spot is worn."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.diamond.dimensions import PLATE_BEHIND_CENTRE_M
from pipeline.diamond.layout import Layout, Mound
from pipeline.diamond.mound import FLAT_FRONT_M, TABLE_M
from pipeline.diamond.places import LANDING_DISC_M, STRIDE_M
from pipeline.surface.mound_fit import ASIDE, FROM_HOME, MoundFit, fit_mound
from pipeline.surface.rulebook_heights import Heights, Linear, window
from pipeline.surface.rulebook_item import Measured, not_seen
from pipeline.surface.rulebook_rules import FALL_PER_M, FRONT_RUN_M
from pipeline.units import feet

RIM_M = 0.25  # off the circle: its edge is frayed
TABLE_RIM_M = 0.10
SEAM_M = 0.15  # the drawing jumps where the front meets the sides; no mound does
LANDING_CLEAR_M = LANDING_DISC_M + 0.2
# What a mound that is not quite the drawing's shape moves (measured on the simulator's mounds, fields falling up to 0.5 %).
DRAWN_WEAR_M, DRAWN_PLACE_M = 0.004, 0.008
LEAST_SEEN, LEAST_CELLS = 0.6, 12
TABLE = ("mound-table-flatness", "mound-table-tilt-across", "mound-table-tilt-along")
PLACE = ("mound-centre-from-home", "mound-centre-aside")


@dataclass(frozen=True)
class Parts:
    """Cells of a mound by what they are; bool, and distances aside and toward home from the table's front, m; (ny, nx)."""

    whole: np.ndarray
    table: np.ndarray
    front: np.ndarray
    landing: np.ndarray
    clear: np.ndarray
    across: np.ndarray
    before: np.ndarray


def mound_items(
    heights: Heights, layout: Layout, usable: np.ndarray, home: Linear | None, sideways_m: float
) -> dict[str, Measured]:
    """All items of the mound but its diameter, by item. Table, front and landing spot are read where the mound really stands.

    usable     : (ny, nx) bool, ground whose height may be used, mound included
    home       : home plate's height on the same grid, or None
    sideways_m : one s.d. of the survey's sideways shift against the given points
    """
    part, at = window(heights, (layout.mound.e, layout.mound.n) * 2, layout.mound.radius_m + 1.0)
    ok = usable[at] & part.held
    drawn = parts_of(part.grid, layout)
    fitted = fit_mound(part, layout, drawn.whole & drawn.clear & ok) if _seen(drawn.whole & drawn.clear, ok) else None
    cells = drawn if fitted is None else parts_of(part.grid, _moved(layout, fitted))
    table = np.zeros(heights.grid.shape, bool)
    table[at] = cells.table & ok
    return (
        _height(heights, table if _seen(cells.table, ok) else None, home)
        | _table(part, cells, ok)
        | _front(part, layout, cells, ok)
        | _place(fitted, layout, sideways_m)
        | _wear(fitted, cells, ok)
    )


def parts_of(grid, layout: Layout) -> Parts:
    """The mound's cells by what they are."""
    mound = layout.mound
    x, y = layout.axes.local(*grid.mesh())
    cx, cy = layout.axes.local(mound.e, mound.n)
    before, across = cy + PLATE_BEHIND_CENTRE_M - FLAT_FRONT_M - y, x - cx
    whole = np.hypot(across, y - cy) <= mound.radius_m - RIM_M
    whole &= (before <= 0) | (np.abs(np.abs(across) - TABLE_M[0] / 2) > SEAM_M)
    wide = np.abs(across) <= TABLE_M[0] / 2 - TABLE_RIM_M
    table = wide & (before <= -TABLE_RIM_M) & (before >= TABLE_RIM_M - TABLE_M[1])
    front = wide & (before >= TABLE_RIM_M) & (before <= _run(layout) - TABLE_RIM_M)
    lx, ly = landing_at(layout)
    away = np.hypot(x - lx, y - ly)
    return Parts(whole, table, front, away <= LANDING_DISC_M, away > LANDING_CLEAR_M, across, before)


def landing_at(layout: Layout) -> tuple[float, float]:
    """Diamond coordinates of the landing spot: 5.5 ft before the pitcher's plate on 60.5 ft, in proportion on less."""
    cx, cy = layout.axes.local(layout.mound.e, layout.mound.n)
    plate = float(cy) + PLATE_BEHIND_CENTRE_M
    return float(cx), plate - STRIDE_M * min(1.0, plate / feet(60.5))


def _run(layout: Layout) -> float:
    return min(FRONT_RUN_M, layout.mound.height_m / FALL_PER_M)


def _moved(layout: Layout, fitted: MoundFit) -> Layout:
    x, y = layout.axes.local(layout.mound.e, layout.mound.n)
    e, n = layout.axes.world(x + fitted.at[ASIDE], y + fitted.at[FROM_HOME])
    return replace(layout, mound=Mound(float(e), float(n), layout.mound.radius_m, layout.mound.height_m))


def _seen(what: np.ndarray, ok: np.ndarray) -> bool:
    return bool(what.any()) and (what & ok).sum() >= max(LEAST_SEEN * what.sum(), LEAST_CELLS)


def _height(heights: Heights, table: np.ndarray | None, home: Linear | None) -> dict[str, Measured]:
    """The table over home plate."""
    if table is None or home is None:
        return {"mound-height": not_seen("the mound's table was not seen" if table is None else "home plate was not seen")}
    what = heights.mean(table) - home
    return {"mound-height": Measured(what.value, heights.sigma(what))}


def _table(part: Heights, cells: Parts, ok: np.ndarray) -> dict[str, Measured]:
    """Tilt of the flat top over its width (+ first base's side high) and depth (+ the front high), and unevenness."""
    fit = part.fit(cells.table & ok, cells.across, cells.before) if _seen(cells.table, ok) else None
    if fit is None:
        return {name: not_seen("the mound's table was not seen") for name in TABLE}
    across, along = fit.coefficient(1).times(TABLE_M[0]), fit.coefficient(2).times(TABLE_M[1])
    found, noise, spread = fit.mean_square()
    flat = float(np.sqrt(max(found - noise, 0.0)))
    sigma = spread / (2 * max(flat, np.sqrt(spread) / 2, 1e-9))
    said = "root mean square off its own plane, noise taken off"
    values = (Measured(flat, float(sigma), said), *(Measured(w.value, part.sigma(w)) for w in (across, along)))
    return dict(zip(TABLE, values))


def _front(part: Heights, layout: Layout, cells: Parts, ok: np.ndarray) -> dict[str, Measured]:
    """How far the front falls over the rule's run, from 6 in before the plate; the landing spot is left out."""
    fit = part.fit(cells.front & cells.clear & ok, cells.before, cells.across) if _seen(cells.front, ok) else None
    if fit is None:
        return {"mound-front-fall": not_seen("the mound's front was not seen")}
    run = _run(layout)
    what = fit.coefficient(1).times(-run)
    said = f"{12 * what.value / run:.2f} in per ft; the landing spot left out"
    return {"mound-front-fall": Measured(what.value, part.sigma(what), said)}


def _place(fitted: MoundFit | None, layout: Layout, sideways_m: float) -> dict[str, Measured]:
    """Where the mound's centre is, by the shape of the ground."""
    if fitted is None:
        return {name: not_seen("the ground there does not show the shape of a mound") for name in PLACE}
    drawn = layout.axes.local(layout.mound.e, layout.mound.n)
    out = {}
    for name, j, base in zip(PLACE, (FROM_HOME, ASIDE), drawn[::-1]):
        what = fitted.parameter(j)
        sigma = float(np.sqrt(fitted.sigma(what) ** 2 + sideways_m**2 + DRAWN_PLACE_M**2))
        out[name] = Measured(float(base) + what.value, sigma, "from the mound's own shape")
    return out


def _wear(fitted: MoundFit | None, cells: Parts, ok: np.ndarray) -> dict[str, Measured]:
    """Mean depth of the landing disc under the mound's shape."""
    if fitted is None or not _seen(cells.landing, ok):
        why = "the landing spot was not seen" if fitted else "the ground there does not show the shape of a mound"
        return {"landing-wear": not_seen(why)}
    what = fitted.over(cells.landing & ok)
    return {"landing-wear": Measured(what.value, float(np.hypot(fitted.sigma(what), DRAWN_WEAR_M)))}
