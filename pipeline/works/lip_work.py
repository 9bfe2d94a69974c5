"""Work along the grass edge, stretch by stretch: the remedy that fits, what comes out of the grass, sod, and where it goes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import gamma, hypot, inf, isfinite, log, nan
from typing import Mapping, Sequence

from pipeline.surface.stretches import LIP, LOW_SKIN, STATION_M, STEP, Stretch, judge_station, kind_of_edge, stretches
from pipeline.surface.verdict import UNSAFE, WORK
from pipeline.survey.edges.edge_shape import SHARPNESS

# How high and how wide a lip is before the next stronger remedy is named: common practice, no source; ours to choose.
SWEEP_MM, CUT_MM, WIDE_MM = 25.0, 50.0, 600.0
SWEEP, WASH, CUT, WIDE, ADD_MIX, TELL = "sweep", "wash", "cut", "wide", "add_mix", "tell_first"
YES, SCREENED, NO = "yes", "screened", "no"  # whether what comes out goes back onto the skin
GOES_BACK = {SWEEP: YES, WASH: YES, CUT: SCREENED, WIDE: SCREENED, ADD_MIX: NO, TELL: NO}
WHOLE_SKIN = "skin"
# Area of a lip of unit height over its width at half height: of exp(-|x/w|^s) either side, integral and half-height width.
AREA_OVER_WIDTH = gamma(1 + 1 / SHARPNESS) / log(2.0) ** (1 / SHARPNESS)


@dataclass(frozen=True)
class Spot:
    """A low spot that wants filling: need_m3 is what it still takes, settled; NaN where not known."""

    name: str
    e: float
    n: float
    need_m3: float


@dataclass(frozen=True)
class EdgeWork:
    """One stretch of edge.

    kind        : `lip`, `low_skin` or `step` (it rises over the trip limit, of which kind is not known)
    e, n        : its middle station
    height_mm, height_sigma_mm, width_mm : of its highest station
    remedy      : SWEEP, WASH, CUT, WIDE; ADD_MIX for low skin, whose grass is never cut; TELL where the kind is not known
    out_m3      : in place, out of the grass; NaN where none is told. out_sigma_m3: one s.d., as if all of the stretch erred alike
    sod_m2      : sod to be cut and laid again, along those metres alone that are too high or too wide to be washed;
                  sod_most_m2: along all of it, if washing does not bring the rest under the tolerance
    goes_back   : YES, SCREENED (roots and stones out of it first) or NO
    goes_to     : the nearest low spot that still wants mix, else WHOLE_SKIN, else ""; away_m: how far it is, NaN for the skin
    unsafe      : whether it is over the trip limit somewhere
    """

    edge_id: str
    from_m: float
    to_m: float
    length_m: float
    kind: str
    e: float
    n: float
    height_mm: float
    height_sigma_mm: float
    width_mm: float
    remedy: str
    out_m3: float
    out_sigma_m3: float
    sod_m2: float
    sod_most_m2: float
    goes_back: str
    goes_to: str
    away_m: float
    unsafe: bool
    reason: str


def remedy_of(height_mm: float, width_mm: float | None) -> str:
    """The mildest way of taking a lip off that its height and width leave."""
    if width_mm is not None and width_mm > WIDE_MM:
        return WIDE
    if height_mm > CUT_MM:
        return CUT
    return WASH if height_mm > SWEEP_MM else SWEEP


def lip_work(rows: Sequence[Mapping], tolerance_mm: float | None, trip_mm: float | None, spots: Sequence[Spot] = (), lengths: Mapping[str, float] | None = None) -> list[EdgeWork]:
    """Every stretch over the tolerance, in order of edge and start.

    rows    : one survey's rows of lip.csv; a whole edge's row counts only where the edge has no other, as of a walk
    spots   : low spots that want filling; each stretch's mix goes to the nearest with need left, nearest stretch first
    lengths : of each edge, m, for edges of which only the mean is known
    """
    out: list[EdgeWork] = []
    for edge_id in dict.fromkeys(r["edge_id"] for r in rows):
        mine = [r for r in rows if r["edge_id"] == edge_id]
        along = sorted((r for r in mine if r["station_m"] is not None), key=lambda r: r["station_m"])
        words = {id(r): judge_station(r, tolerance_mm, trip_mm).word for r in mine}
        if along:
            labels = [kind_of_edge(r) if words[id(r)] in (WORK, UNSAFE) and r["height_mm"] is not None else None for r in along]
            found = stretches([r["station_m"] for r in along], labels)
            out += [_worked(edge_id, kind, s, [along[k] for k in s.members], words) for kind, s in found]
        elif words[id(mine[0])] in (WORK, UNSAFE) and lengths and edge_id in lengths:
            whole = Stretch(0.0, lengths[edge_id], lengths[edge_id], (0,))
            out.append(_worked(edge_id, kind_of_edge(mine[0]), whole, mine[:1], words))
    return _assigned(out, spots)


def _worked(edge_id: str, kind: str, stretch: Stretch, rows: list[Mapping], words: Mapping[int, str]) -> EdgeWork:
    top = max(rows, key=lambda r: r["height_mm"])
    middle = rows[len(rows) // 2]
    remedy = {LOW_SKIN: ADD_MIX, STEP: TELL}.get(kind) or remedy_of(top["height_mm"], top["width_mm"])
    out, sigma, reason = volume(rows, STATION_M if rows[0]["station_m"] is not None else stretch.length_m) if kind == LIP else (nan, nan, "")
    strip, each = sod_strip_m(top), stretch.length_m / len(rows)
    lifted = each * sum(remedy_of(r["height_mm"], r["width_mm"]) in (CUT, WIDE) for r in rows)
    figures = [nan if v is None else float(v) for v in (middle["e"], middle["n"], top["height_mm"], top["height_sigma_mm"], top["width_mm"])]
    return EdgeWork(
        edge_id, stretch.from_m, stretch.to_m, stretch.length_m, kind, *figures, remedy, out, sigma, strip * lifted if remedy in (CUT, WIDE) else 0.0,
        strip * stretch.length_m if remedy in (WASH, CUT, WIDE) else 0.0, GOES_BACK[remedy], "", nan, any(words[id(r)] == UNSAFE for r in rows), reason,
    )  # fmt: skip


def volume(rows: Sequence[Mapping], step_m: float) -> tuple[float, float, str]:
    """Volume of the lip along rows that each stand for step_m of edge, its s.d., m3, and why there is none.

    The section times the length. One s.d. as the height's, times the area of a lip of unit height, all rows erring alike: what the
    canopy hides is the same all along an edge, so that this errs on the wide side.
    """
    if any(r["section_m2"] is None or r["width_mm"] is None for r in rows):
        return nan, nan, "no section across the edge was measured"
    out = sum(r["section_m2"] for r in rows) * step_m
    sigma = sum(r["height_sigma_mm"] / 1000 * r["width_mm"] / 1000 for r in rows) * AREA_OVER_WIDTH * step_m
    return max(out, 0.0), sigma, ""


def sod_strip_m(row: Mapping) -> float:
    """Width of the sod to be lifted, m: from where the grass begins to a width of the lip beyond its crest, so that the new
    ground runs out level; NaN where the width is not known. Common practice, no source."""
    if row["width_mm"] is None or row["crest_offset_mm"] is None:
        return nan
    return (max(row["crest_offset_mm"], 0.0) + row["width_mm"]) / 1000


def _assigned(works: list[EdgeWork], spots: Sequence[Spot]) -> list[EdgeWork]:
    """Each stretch's mix to the nearest low spot that still wants some, the nearest pairs first."""
    left, goes = {s.name: s.need_m3 if isfinite(s.need_m3) else inf for s in spots}, {}
    pairs = sorted((hypot(s.e - w.e, s.n - w.n), k, s.name) for k, w in enumerate(works) if isfinite(w.e) for s in spots if w.goes_back != NO and w.out_m3 > 0)
    for away, k, name in pairs:
        if k not in goes and left[name] > 0:
            goes[k] = (name, away)
            left[name] -= works[k].out_m3
    return [replace(w, goes_to=goes[k][0], away_m=goes[k][1]) if k in goes else replace(w, goes_to=WHOLE_SKIN if w.goes_back != NO else "") for k, w in enumerate(works)]
