"""Where to cut, where to carry it, where to drop it: a transport plan between zones of a designed surface.

source : the transport problem as a linear programme (Hitchcock 1941, from memory), solved by HiGHS
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, nan

import numpy as np
import shapely
from scipy.ndimage import label

from pipeline.works.design import TOUCH_UP, Design
from pipeline.works.driving import STRAY_M

ZONES_M = (3.0, 6.0, 9.0, 12.0, 18.0)  # sides of the squares tried, the finest first
MOST_HAULS = 20  # lines a crew follows on paper; ours
DEEPEST_SHARE = 0.95  # of a zone's cut cells: its depth of cut; the deepest cell alone may be a stone
LEAST_M3 = 1e-4
CARRY, SPREAD, BRING, TAKE = "carry", "spread", "bring", "take_away"  # zone to zone, within one, from the truck, off the field


@dataclass(frozen=True)
class Zones:
    """Squares, or single hollows, that hold any cut or fill, (k,).

    cut_e, cut_n, fill_e, fill_n : middles of what is cut and filled in each, weighted by depth, m; NaN where there is none
    cut_m3, fill_m3 : 0 or more, in place
    cut_m           : depth of cut, m
    """

    cut_e: np.ndarray
    cut_n: np.ndarray
    fill_e: np.ndarray
    fill_n: np.ndarray
    cut_m3: np.ndarray
    fill_m3: np.ndarray
    cut_m: np.ndarray


@dataclass(frozen=True)
class Haul:
    """One line of the plan. Volumes in m3; NaN where a figure of the owner's is missing.

    order    : deepest cut first; what is brought comes last
    kind     : CARRY, SPREAD, BRING or TAKE
    from_e, from_n, to_e, to_n : m; NaN at the truck's end of BRING and TAKE
    way_m    : length of the way on the skin, NaN for BRING and TAKE
    cut_m3   : in place where it is cut; fill_m3: settled where it is placed; loose_m3: on the blade
    cut_mm   : depth of cut in the zone it comes from; passes: cuts of the machine's deepest to get there
    loads    : blade loads
    minor    : under half a blade load: done in passing
    """

    order: int
    kind: str
    from_e: float
    from_n: float
    to_e: float
    to_n: float
    way_m: float
    cut_m3: float
    fill_m3: float
    loose_m3: float
    cut_mm: float
    passes: int | None
    loads: int | None
    minor: bool


@dataclass(frozen=True)
class Figures:
    """The owner's: ratio is cut needed for one of settled fill, loosening loose volume over volume in place."""

    ratio: float = 1.0
    loosening: float | None = None
    blade_load_m3: float | None = None
    max_cut_m: float | None = None


def zones_of(design: Design, zone_m: float = ZONES_M[0]) -> Zones:
    """Cut and fill of a design by squares of zone_m, south to north and west to east; where low spots alone are filled by
    hollow. Cells without a figure count for nothing."""
    u, grid = design.cut_fill, design.grid
    rows, cols = np.nonzero(np.isfinite(u) & (u != 0))
    e, n, v = grid.centres()[0][cols], grid.centres()[1][rows], u[rows, cols]
    if design.variant == TOUCH_UP:
        key = label(np.nan_to_num(u) != 0, np.ones((3, 3)))[0][rows, cols][:, None]
    else:
        key = np.column_stack([np.floor(n / zone_m), np.floor(e / zone_m)])
    _, of = np.unique(key, axis=0, return_inverse=True)
    of, count = of.ravel(), int(of.max()) + 1 if len(v) else 0
    cut, fill = np.maximum(-v, 0.0), np.maximum(v, 0.0)

    def summed(weight: np.ndarray) -> np.ndarray:
        return np.bincount(of, weight, count)

    with np.errstate(invalid="ignore"):
        middles = [summed(w * x) / summed(w) for w in (cut, fill) for x in (e, n)]
    deep = np.array([np.quantile(cut[(of == k) & (cut > 0)], DEEPEST_SHARE) if (cut[of == k] > 0).any() else 0.0 for k in range(count)])
    area = grid.cell_area_m2
    return Zones(*middles, summed(cut) * area, summed(fill) * area, deep)


def ways_on(skin: shapely.Geometry, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Length of the way on the skin from each of `a` (p, 2) to each of `b` (q, 2), m: straight where nothing else lies between,
    else round over the other places; straight as well where they do not lead there."""
    from scipy.sparse.csgraph import shortest_path

    both = np.vstack([a, b])
    away = np.hypot(*(both[:, None] - both[None]).transpose(2, 0, 1))
    room = skin.buffer(STRAY_M).simplify(0.1)
    shapely.prepare(room)
    i, j = np.triu_indices(len(both), 1)
    clear = np.zeros(away.shape, bool)
    clear[i, j] = clear[j, i] = shapely.covers(room, shapely.linestrings(np.stack([both[i], both[j]], axis=1)))
    found = away.copy()
    if not clear[i, j].all():
        round_ = shortest_path(np.where(clear, np.maximum(away, 1e-9), 0.0), directed=False)
        found = np.where(np.isfinite(round_), round_, away)
    return found[: len(a), len(a) :]


def transported(cut_m3: np.ndarray, fill_m3: np.ndarray, way_m: np.ndarray, ratio: float = 1.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What goes from each cut (p,) to each fill (q,): least volume times way, and as much as can be kept on the field.

    returns : T (p, q) in volume cut, what is left over of each cut (p,), what must be brought to each fill (q,), settled
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_array, eye_array, hstack, kron, vstack

    p, q = way_m.shape
    if not p or not q:
        return np.zeros((p, q)), cut_m3.copy(), fill_m3.copy()
    dear = 1.0 + float(way_m.max())
    leaves = hstack([kron(eye_array(p), np.ones((1, q))), eye_array(p), csr_array((p, q))])
    comes = hstack([kron(np.ones((1, p)), eye_array(q)) / ratio, csr_array((q, p)), eye_array(q)])
    cost = np.concatenate([way_m.ravel(), np.full(p + q, dear)])
    solved = linprog(cost, A_eq=vstack([leaves, comes]).tocsr(), b_eq=np.concatenate([cut_m3, fill_m3]), bounds=(0, None), method="highs")
    if solved.status != 0:
        raise ValueError(f"no transport plan: {solved.message}")
    x = np.where(solved.x > LEAST_M3, solved.x, 0.0)
    return x[: p * q].reshape(p, q), x[p * q : p * q + p], x[p * q + p :]


def hauls_of(design: Design, skin: shapely.Geometry, figures: Figures) -> tuple[Haul, ...]:
    """The plan of one design, deepest cut first, of equal cuts the nearest drop first.

    In squares of 3 m; where that makes more than MOST_HAULS lines, in the next larger ones: what then lies within one square is
    spread there.
    """
    for zone_m in ZONES_M:
        found = _planned(zones_of(design, zone_m), skin, figures)
        if len(found) <= MOST_HAULS or design.variant == TOUCH_UP:
            break
    rank = sorted(found, key=lambda h: (h.kind == BRING, -round(h.cut_mm, 3), h.way_m if h.way_m == h.way_m else 0.0, -h.fill_m3, str(h)))
    return tuple(replace(h, order=k) for k, h in enumerate(rank, start=1))


def _planned(z: Zones, skin: shapely.Geometry, figures: Figures) -> list[Haul]:
    cuts, fills = np.nonzero(z.cut_m3 > LEAST_M3)[0], np.nonzero(z.fill_m3 > LEAST_M3)[0]
    a, b = np.column_stack([z.cut_e, z.cut_n])[cuts], np.column_stack([z.fill_e, z.fill_n])[fills]
    way = ways_on(skin, a, b) if len(a) and len(b) else np.zeros((len(a), len(b)))
    moved, left, brought = transported(z.cut_m3[cuts], z.fill_m3[fills], way, figures.ratio)
    out, nowhere = [], (nan, nan)
    for i, j in zip(*np.nonzero(moved)):
        kind = SPREAD if cuts[i] == fills[j] else CARRY
        out.append(_haul(kind, a[i], b[j], float(way[i, j]), float(moved[i, j]), float(moved[i, j]) / figures.ratio, float(z.cut_m[cuts[i]]), figures))
    out += [_haul(TAKE, a[i], nowhere, nan, float(left[i]), 0.0, float(z.cut_m[cuts[i]]), figures) for i in np.nonzero(left)[0]]
    return out + [_haul(BRING, nowhere, b[j], nan, 0.0, float(brought[j]), 0.0, figures) for j in np.nonzero(brought)[0]]


def _haul(kind: str, a, b, way_m: float, cut_m3: float, fill_m3: float, cut_m: float, of: Figures) -> Haul:
    in_place = fill_m3 if kind == BRING else cut_m3
    loose = nan if of.loosening is None else in_place * of.loosening
    loads = ceil(loose / of.blade_load_m3 - 1e-9) if of.blade_load_m3 and loose == loose else None
    passes = ceil(cut_m / of.max_cut_m - 1e-9) if of.max_cut_m and kind != BRING else None
    minor = bool(of.blade_load_m3 and loose < of.blade_load_m3 / 2)
    return Haul(0, kind, float(a[0]), float(a[1]), float(b[0]), float(b[1]), way_m, cut_m3, fill_m3, loose, 1000 * cut_m, passes, loads, minor)
