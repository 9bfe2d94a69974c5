"""Grass that has come into the skin: where it begins at a date, against the edge as given and against an earlier date.

The line a field's edge is given as, drawn or from the layout, is what the skin should end at, and is never moved by
what a survey shows: the difference is the figure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Callable

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_fit import FAR, RAGGED_M, beginning
from pipeline.survey.edges.edge_frame import edge_frame
from pipeline.survey.edges.edge_level import column_mean, within
from pipeline.survey.edges.edge_shape import ramp
from pipeline.survey.edges.edge_table import ACROSS_M, CLEAR_M, D_LOW_M, STATION_M, EdgeTable, rows

SEGMENT_M = 5.0
LEAST_SHARE = 0.5  # of a segment, or of the edge clear of ends and corners, along which the grass must be seen to begin
JOINED_M = 5.3  # rows are joined by Gaussian weights of s.d. 1.5 m: so much edge is worth one independent row
RAGGED_OVER_M = 0.8  # the ragged line of the grass is another one after so much edge
# What the length of an edge does not average away: blur, the light, blades that hang over the skin. Measured on the
# simulated edges; roughness tells by the scatter of heights, which a lip's flank has too.
FLOOR_M = {"colour": 0.005, "intensity": 0.007, "roughness": 0.035, "drawn": 0.0}
# Dust, or a lip that thins the grass, takes green from the first decimetres: half way from skin to the turf far off then
# stands too far in the grass (by 30 mm under 30 % of dust), half way to the turf beside it does not.
BESIDE = ((-0.80, -0.20), (0.22, 0.45))  # d windows of skin and turf from where the grass begins
BESIDE_SHARE = 0.9  # of the rows first seen that must be seen so too
ROUGH_OVER_M = 1.0  # roughness is pooled so far to either hand first: one cell's scatter says little
ROUGH_LIKE = 0.90  # correlation with a ramp of cover below which roughness shows something else, a lip's flank for one
ROUGH_WIDER = 1.6  # true over formal error of a row so pooled
ROUGH_ROWS = 20  # fewer usable rows than these, 10 m, and a lip's flank passes for it too often
OTHER_SIGNAL_M = 0.020  # s.d. put on the difference of two dates that were not told by the same signal
BEND_OVER_M = 1.0  # curvature is read over so much of the line to either hand
NAN = float("nan")


@dataclass(frozen=True)
class GrassLine:
    """Where the grass begins along one edge at one date.

    edge     : the line that stations and offsets are counted from
    station  : (ns,) its rows, m
    offset_m : (ns,) so far in the grass the beginning lies, m; negative inside the skin; NaN where it was not seen
    sigma_m  : (ns,) one s.d. of it, m, the survey's own sideways place not included
    told_by  : `colour`, `intensity`, `roughness`, `drawn`, or `` where nothing told
    """

    edge: Edge
    station: np.ndarray
    offset_m: np.ndarray
    sigma_m: np.ndarray
    told_by: str

    @property
    def seen(self) -> np.ndarray:
        return np.isfinite(self.offset_m) & np.isfinite(self.sigma_m)

    def places(self) -> tuple[np.ndarray, np.ndarray]:
        """Easting and northing of the line, (ns,) each, m; NaN where it was not seen."""
        return self.edge.at(self.station, self.offset_m)


@dataclass(frozen=True)
class Stretch:
    """One line of an edge's encroachment, positive = grass has come into the skin.

    station_m     : middle of a 5 m segment, or None for the whole edge
    encroached_m, sigma_m : mean over what was seen and its s.d., m; NaN where refused
    skin_lost_m2, skin_lost_sigma_m2 : area between the two lines along what was seen, not extended to what was not
    seen_m        : so much edge
    reason        : why there is no figure, or ``
    """

    edge_id: str
    station_m: float | None
    encroached_m: float
    sigma_m: float
    skin_lost_m2: float
    skin_lost_sigma_m2: float
    seen_m: float
    reason: str


@dataclass(frozen=True)
class Encroachment:
    """One edge against a reference.

    against : `drawn`, `layout` or `fitted` (whose line it is held to), or `earlier` for an earlier date
    told_by : as in GrassLine; of two dates both, joined by ` and ` where they differ
    """

    whole: Stretch
    segments: tuple[Stretch, ...]
    against: str
    told_by: str


def grass_line(table: EdgeTable, edge: Edge, told_by: str | None = None) -> GrassLine:
    """Where a survey shows the grass begin along the line of its table: by colour or intensity, else by roughness.

    edge    : the line the table was made along
    told_by : take this signal alone
    """
    for signal in ("colour", "intensity") if told_by is None else (told_by,):
        if signal != "roughness":
            found, offset, sigma = beginning(table, FAR, signal)
            if found:
                return GrassLine(edge, table.s, *_beside(table, signal, offset, sigma), found)
    nothing = np.full(table.s.shape, np.nan)
    if told_by in (None, "roughness"):
        rough = _pooled_roughness(table)
        found, offset, sigma = beginning(rough, FAR, "roughness")
        if found and rough.usable.sum() >= ROUGH_ROWS and _likeness(rough, offset) >= ROUGH_LIKE:
            return GrassLine(edge, table.s, offset - _late(rough), ROUGH_WIDER * sigma, found)
    return GrassLine(edge, table.s, nothing, nothing.copy(), "")


def nothing_seen(edge: Edge) -> GrassLine:
    """The line of a survey that does not show where the grass begins."""
    s = rows(edge)
    return GrassLine(edge, s, np.full(s.shape, np.nan), np.full(s.shape, np.nan), "")


def drawn_line(edge: Edge, sigma_m: float) -> GrassLine:
    """An operator's line as the beginning of the grass: what it says of a layout's edge, and of a survey's line.

    sigma_m : one s.d. of how well it was drawn, m
    """
    s = rows(edge)
    usable = edge.usable(s, CLEAR_M)
    return GrassLine(edge, s, np.where(usable, 0.0, np.nan), np.where(usable, sigma_m, np.nan), "drawn")


def onto(line: GrassLine, given: Edge) -> GrassLine:
    """The same beginning, counted from another edge: a survey is read along the series' line, and held to the given one.

    Rows of `given` near its ends and corners, or with nothing seen within STATION_M, are NaN, as is grass further
    than 3 m from it.
    """
    if given.line.equals(line.edge.line) and given.grass_left == line.edge.grass_left:
        return GrassLine(given, line.station, line.offset_m, line.sigma_m, line.told_by)
    s = rows(given)
    nothing = np.full(s.shape, np.nan)
    told = line.seen
    if not told.any():
        return GrassLine(given, s, nothing, nothing.copy(), line.told_by)
    along, across = edge_frame(given, -D_LOW_M).project(*line.edge.at(line.station[told], line.offset_m[told]))
    on = np.isfinite(along)
    if not on.any():
        return GrassLine(given, s, nothing, nothing.copy(), line.told_by)
    order = np.argsort(along[on], kind="stable")
    along, across, sigma = (v[on][order] for v in (along, across, line.sigma_m[told]))
    near = (np.abs(s[:, None] - along).min(axis=1) <= STATION_M) & given.usable(s, CLEAR_M)
    offset, spread = np.interp(s, along, across), np.interp(s, along, sigma)
    return GrassLine(given, s, np.where(near, offset, np.nan), np.where(near, spread, np.nan), line.told_by)


def against_edge(line: GrassLine, given: Edge, place_sigma_m: float) -> Encroachment:
    """Grass inside of an edge as it was given.

    place_sigma_m : one s.d. of the survey's sideways place, each axis, m: along a straight edge all of it counts, round
                    a closed one next to nothing
    """
    held = onto(line, given)
    return _figures(held, -held.offset_m, held.sigma_m**2, place_sigma_m, FLOOR_M.get(line.told_by, 0.0) ** 2, given.source)


def since(earlier: GrassLine, later: GrassLine, shift_sigma_m: float) -> Encroachment:
    """Grass that has come into the skin between two dates, along what both saw.

    earlier, later : along one line, the later survey's points moved sideways first
    shift_sigma_m  : one s.d. of what sideways shift is left between the dates, each axis, m
    raises         : ValueError for lines counted from different edges
    """
    if not np.array_equal(earlier.station, later.station) or not earlier.edge.line.equals(later.edge.line):
        raise ValueError(f"edge {later.edge.edge_id}: the two dates are counted from different lines")
    gone = earlier.offset_m - later.offset_m
    floor = FLOOR_M.get(earlier.told_by, 0.0) ** 2 + FLOOR_M.get(later.told_by, 0.0) ** 2
    told_by = later.told_by
    if earlier.told_by != later.told_by:
        told_by = " and ".join(t for t in (earlier.told_by, later.told_by) if t)
        floor += OTHER_SIGNAL_M**2
    mixed = GrassLine(later.edge, later.station, later.offset_m, later.sigma_m, told_by)
    return _figures(
        mixed, gone, earlier.sigma_m**2 + later.sigma_m**2, shift_sigma_m, floor, "earlier",
        lambda s: _area(later.edge, s, -later.offset_m) - _area(later.edge, s, -earlier.offset_m),
    )  # fmt: skip


def moved_as_one(line: GrassLine, given: Edge) -> tuple[float, float, float, float]:
    """How far the given edge as a whole stands off: east and north by which the grass's line would have to be met, and the
    root mean square off the given edge before and after, m.

    A layout's arc about another centre stands decimetres off all along: that is no encroachment, and the line should be
    drawn. The rest that a move leaves is what grass has done. NaN where nothing was seen.
    """
    held = onto(line, given)
    seen = held.seen
    if seen.sum() < 4:
        return NAN, NAN, NAN, NAN
    normal = _normals(given, held.station[seen])
    off = held.offset_m[seen]
    design = np.column_stack([normal, np.ones(len(off))])  # the constant is what grows in or out evenly
    found = np.linalg.lstsq(design, off, rcond=0.05)[0]
    left = off - normal @ found[:2]
    return float(found[0]), float(found[1]), float(np.sqrt(np.mean(off**2))), float(np.sqrt(np.mean(left**2)))


def _beside(table: EdgeTable, signal: str, offset: np.ndarray, sigma: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Offset and s.d. once more, against the turf beside the edge in place of the turf far off: see BESIDE."""
    name = {"colour": "green", "intensity": "intensity"}[signal]
    middle = float(np.nanmedian(offset)) if np.isfinite(offset).any() else 0.0
    last = max(middle + BESIDE[1][1] + 0.05, 0.27)  # enough columns must be left for a row to count as seen
    cells = np.where(table.d > last, np.nan, getattr(table, name))
    far = tuple((a + middle, b + middle) for a, b in BESIDE)
    found, again, spread = beginning(replace(table, **{name: cells}), far, signal)
    enough = np.isfinite(again).sum() >= BESIDE_SHARE * np.isfinite(offset).sum()
    return (again, spread) if found and enough else (offset, sigma)


def _pooled_roughness(table: EdgeTable) -> EdgeTable:
    """The table with its scatter of heights averaged over ROUGH_OVER_M of edge to either hand, usable rows alone."""
    if len(table.s) == 0:
        return table
    half = round(ROUGH_OVER_M / STATION_M)
    seen = np.isfinite(table.spread) & table.usable[:, None]
    reach = np.abs(np.subtract.outer(np.arange(len(table.s)), np.arange(len(table.s)))) <= half
    side = np.cumsum(~table.usable)
    near = (reach & (side[:, None] == side)).astype(float)
    count = near @ seen
    mean = near @ np.where(seen, table.spread, 0.0) / np.maximum(count, 1)
    return replace(table, spread=np.where(count > 0, mean, np.nan))


def _likeness(table: EdgeTable, offset: np.ndarray) -> float:
    """Correlation of the edge's mean roughness, rows laid over each other by their offsets, with a ramp of cover."""
    across = np.round((table.d - offset[:, None]) / ACROSS_M)
    near = np.isfinite(across) & (np.abs(across) < 1.0 / ACROSS_M) & np.isfinite(table.spread) & table.usable[:, None]
    if near.sum() < 40:
        return 0.0
    steps = np.unique(across[near])
    profile = np.array([table.spread[near & (across == k)].mean() for k in steps])
    model = ramp(steps * ACROSS_M)
    return float(np.corrcoef(profile, model)[0, 1]) if model.std() > 0 and profile.std() > 0 else 0.0


def _late(table: EdgeTable) -> float:
    """How much further in the grass half the rise of roughness stands than half the rise of cover, m.

    The blades' scatter c k adds to the instrument's w in quadrature, sqrt(w^2 + (c k)^2): half way up c is over 1/2,
    0.68 where turf is a third rougher than skin.
    """
    skin, turf = (float(np.nanmean(column_mean(table.spread, table.usable)[within(table.d, w)])) for w in FAR)
    if not turf > skin > 0:
        return 0.0
    ratio = turf / skin
    cover = np.sqrt((((1 + ratio) / 2) ** 2 - 1) / (ratio**2 - 1))
    d = np.linspace(-0.02, 0.10, 241)
    return float(np.interp(cover, ramp(d), d) - np.interp(0.5, ramp(d), d))


def _figures(
    line: GrassLine, encroached: np.ndarray, variance: np.ndarray, place_sigma_m: float, floor: float, against: str,
    area: Callable[[np.ndarray], np.ndarray] | None = None,
) -> Encroachment:  # fmt: skip
    """Whole edge and segments of (ns,) encroachment with its variance per row, m and m2."""
    edge, s = line.edge, line.station
    seen = np.isfinite(encroached) & np.isfinite(variance)
    dates = (2 if against == "earlier" else 1) * (line.told_by != "drawn")
    lost = np.full(s.shape, np.nan)
    lost[seen] = (_area(edge, s, encroached) if area is None else area(s))[seen]
    normal = np.full((len(s), 2), np.nan)
    normal[seen] = _normals(edge, s[seen])

    def stretch(of: np.ndarray, station: float | None, wanted: int) -> Stretch:
        told = of & seen
        metres = float(told.sum() * STATION_M)
        if not told.any() or told.sum() < LEAST_SHARE * wanted:
            why = f"the beginning of the grass was seen along {metres:.1f} of {wanted * STATION_M:.1f} m"
            why = why if line.told_by else "nothing tells grass from skin"
            return Stretch(edge.edge_id, station, NAN, NAN, NAN, NAN, metres, why)
        ragged = min(float(variance[told].mean()), dates * RAGGED_M**2)  # of it what the grass's own line adds, row by row
        own = float(variance[told].mean()) - ragged
        own = own * min(1.0, JOINED_M / metres) + ragged * min(1.0, RAGGED_OVER_M / metres)
        facing = normal[told].mean(axis=0)
        sigma = float(np.sqrt(own + floor + place_sigma_m**2 * float(facing @ facing)))
        gone = float(lost[told].sum() * STATION_M)
        return Stretch(edge.edge_id, station, float(encroached[told].mean()), sigma, gone, sigma * metres, metres, "")

    middles = edge.stations(SEGMENT_M)
    per = round(SEGMENT_M / STATION_M)
    number = np.minimum(np.arange(len(s)) // per, len(middles) - 1) if len(middles) else np.zeros(len(s), int)
    parts = [stretch(number == k, float(m), int(np.minimum((number == k).sum(), per))) for k, m in enumerate(middles)]
    clear = int(edge.usable(s, CLEAR_M).sum())
    return Encroachment(stretch(np.ones(len(s), bool), None, max(clear, 4)), tuple(parts), against, line.told_by)


def _area(edge: Edge, s: np.ndarray, encroached: np.ndarray) -> np.ndarray:
    """Skin between the line and one so far inside it, m2 per metre of the line, (ns,): e + k e^2 / 2, k the line's
    curvature, positive where it bends about the grass."""
    ahead, behind = edge.tangent(s + BEND_OVER_M), edge.tangent(s - BEND_OVER_M)
    turn = np.arctan2(behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0], (behind * ahead).sum(axis=1))
    bend = np.clip(turn / (2 * BEND_OVER_M), -1.0, 1.0) * (1.0 if edge.grass_left else -1.0)
    if not edge.closed:  # beyond its ends an open line does not bend
        bend[(s < BEND_OVER_M + 0.25) | (s > edge.length_m - BEND_OVER_M - 0.25)] = 0.0
    return encroached + bend * encroached**2 / 2


def _normals(edge: Edge, s: np.ndarray) -> np.ndarray:
    """Unit vectors into the grass, east and north, (k, 2)."""
    tangent = edge.tangent(s) * (1.0 if edge.grass_left else -1.0)
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])
