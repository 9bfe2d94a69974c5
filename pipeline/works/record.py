"""What a piece of work changed: figures before and after it, and the change between the two dates with its own s.d.

Where two surveys were compared directly (heights, lips, low spots) that change is taken: most of what a survey does not know
is the same at both dates and leaves it, so it need not be the difference of the two figures beside it, and is surer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Iterator, Mapping, Sequence

import numpy as np

from pipeline.change.zones import detected_together
from pipeline.works.around import Around

LIP, LIP_OVER, RING, PLANARITY, GAP, SLOPE, HEIGHT, VOLUME, MIX, GRASS = (
    "lip", "lip_over_tolerance", "ring_depth", "planarity", "straightedge", "slope", "mean_height", "volume", "mix_depth", "encroachment",
)  # fmt: skip
EDGE = (LIP, LIP_OVER)
SHAPE = (RING, PLANARITY, GAP)
SURFACE = (*SHAPE, HEIGHT, VOLUME)
# What each work resets or should change; other work is upkeep, and progress.csv has it.
SHOULD_CHANGE: dict[str, tuple[str, ...]] = {
    "level": SURFACE, "edge_clean": EDGE, "edge_recut": (*EDGE, GRASS), "lip_cut": EDGE, "sod": EDGE, "mix_add": (HEIGHT, VOLUME, MIX, PLANARITY, GAP),
    "laser_grade": (*SURFACE, SLOPE), "rebuild": (*EDGE, *SURFACE, SLOPE, MIX, GRASS), "drag": (PLANARITY, GAP),
}  # fmt: skip
BETTER = {LIP: -1, LIP_OVER: -1, RING: -1, PLANARITY: -1, GAP: -1, HEIGHT: 1, VOLUME: 1, MIX: 1, GRASS: -1}  # a slope has no better end
UNITS = {LIP_OVER: "m", VOLUME: "m3", SLOPE: "pct"}
SKIN, GRASS_ZONE = "skin", "turf_infield"
NAN = float("nan")

Rows = Mapping[str, Sequence[Mapping]]


@dataclass(frozen=True)
class Changed:
    """One measure at one place (an edge, a zone, a low spot) before and after a work, in `unit`, each with one s.d.; NaN where
    it has no figure. detected: the change differs from none at 95 %, Holm over the places of that measure (the work says beforehand
    which measures it should change, not where); None without an s.d."""

    measure: str
    place: str
    before: float = NAN
    before_sigma: float = NAN
    after: float = NAN
    after_sigma: float = NAN
    change: float = NAN
    change_sigma: float = NAN
    detected: bool | None = None
    reason: str = ""

    @property
    def unit(self) -> str:
        return UNITS.get(self.measure, "mm")


def changes(work: Mapping, seen: Around, rows: Rows, lip_tolerance_mm: float | None) -> list[Changed]:
    """Every measure that the work should change, at every place it may have touched.

    rows : the field's result tables
    lip_tolerance_mm : the owner's, or None: no length over it is then counted
    """
    wanted = SHOULD_CHANGE.get(work["work"], ())
    zone = work.get("zone") or SKIN
    a, b = seen.before.survey_id, seen.after.survey_id
    both = _Both(rows, a, b)
    out: list[Changed] = []
    for measure in wanted:
        out += list(_of(measure, zone, both, lip_tolerance_mm))
    out = [c for c in out if np.isfinite([c.before, c.after, c.change]).any() or c.reason]
    for measure in wanted:
        sure = [k for k, c in enumerate(out) if c.measure == measure and np.isfinite(c.change) and c.change_sigma > 0]
        told = detected_together(np.array([out[k].change for k in sure]), np.array([out[k].change_sigma for k in sure]))
        for k, detected in zip(sure, told):
            out[k] = replace(out[k], detected=bool(detected))
    return out


@dataclass(frozen=True)
class _Both:
    """Rows of two surveys and of their pair."""

    rows: Rows
    a: str
    b: str

    def at(self, table: str, key: str, whole: bool = False) -> dict[str, tuple[Mapping, Mapping]]:
        """Key -> the row of the earlier survey and of the later, empty where it has none."""
        mine = [{r[key]: r for r in self.rows.get(table, ()) if r["survey_id"] == s and (not whole or r["station_m"] is None)} for s in (self.a, self.b)]
        return {k: (mine[0].get(k, {}), mine[1].get(k, {})) for k in sorted({*mine[0], *mine[1]})}

    def pair(self, table: str, key: str) -> dict[str, Mapping]:
        """Key -> the pair's own row; of edges the whole edge's."""
        return {r[key]: r for r in self.rows.get(table, ()) if (r["from_survey"], r["to_survey"]) == (self.a, self.b) and r.get("station_m") is None}


def _of(measure: str, zone: str, both: _Both, lip_tolerance_mm: float | None) -> Iterator[Changed]:
    if measure == LIP:
        pair = both.pair("lip_change", "edge_id")
        for edge, (one, other) in both.at("lip", "edge_id", whole=True).items():
            yield _joined(measure, edge, one, other, "height_mm", "height_sigma_mm", pair.get(edge, {}), "growth_mm", "growth_sigma_mm")
    elif measure == LIP_OVER and lip_tolerance_mm is not None:
        yield from _over(both, lip_tolerance_mm)
    elif measure == RING:
        pair = both.pair("low_spot_change", "low_spot_id")
        for spot, (one, other) in both.at("low_spots", "low_spot_id").items():
            if not spot.startswith("pond-") and zone in (SKIN, spot):
                yield _joined(measure, spot, one, other, "ring_depth_mm", "ring_depth_sigma_mm", pair.get(spot, {}), "depth_change_mm", "depth_change_sigma_mm")
    elif measure in (PLANARITY, GAP, SLOPE):
        unit = "pct" if measure == SLOPE else "mm"
        for name, (one, other) in both.at("zones", "zone").items():
            if name == zone:
                yield _joined(measure, name, one, other, f"{measure}_{unit}", f"{measure}_sigma_{unit}")
    elif measure in (HEIGHT, VOLUME):
        yield from _moved(measure, zone, both)
    elif measure == MIX:
        yield from _mix(zone, both)
    elif measure == GRASS:
        for edge, (one, other) in both.at("grass_edge", "edge_id", whole=True).items():
            straight = other if other.get("last_survey") == both.a else {}
            yield _joined(measure, edge, one, other, "encroached_mm", "encroached_sigma_mm", straight, "since_last_mm", "since_last_sigma_mm")


def _joined(measure, place, one, other, value, sigma, pair=None, change="", change_sigma="") -> Changed:
    """A row from two figures, its change from the pair where that has it, else from the two."""
    before, after = _number(one.get(value)), _number(other.get(value))
    s0, s1 = _number(one.get(sigma)), _number(other.get(sigma))
    straight, its = (_number((pair or {}).get(c)) for c in (change, change_sigma))
    if not np.isfinite(straight):
        straight, its = after - before, float(np.hypot(s0, s1))
    reason = "" if np.isfinite(straight) else "one of the two surveys does not tell it"
    return Changed(measure, place, before, s0, after, s1, straight, its, reason=reason)


def _over(both: _Both, tolerance_mm: float) -> Iterator[Changed]:
    """Length of each edge whose lip is over the tolerance, m.

    Heights along an edge err together: the s.d. is half of what the length changes when all move by one s.d. up and down.
    """
    for edge in both.at("lip", "edge_id"):
        lengths, sigmas = [], []
        for s in (both.a, both.b):
            mine = [r for r in both.rows["lip"] if r["survey_id"] == s and r["edge_id"] == edge and r["station_m"] is not None]
            height, sigma = (np.array([_number(r[c]) for r in mine]) for c in ("height_mm", "height_sigma_mm"))
            lip = np.array([r["kind"] != "low_skin" for r in mine], bool) & np.isfinite(height) & np.isfinite(sigma)
            count = lambda by: float((height + by * sigma > tolerance_mm)[lip].sum()) if lip.any() else NAN
            lengths.append(count(0.0)), sigmas.append((count(1.0) - count(-1.0)) / 2)
        if np.isfinite(lengths).all() and any(lengths):
            yield Changed(LIP_OVER, edge, lengths[0], sigmas[0], lengths[1], sigmas[1], lengths[1] - lengths[0], float(np.hypot(*sigmas)))


def _moved(measure: str, zone: str, both: _Both) -> Iterator[Changed]:
    row = both.pair("change", "zone").get(zone)
    if row is None:
        yield Changed(measure, zone, reason="the two surveys were not compared directly: one was flown while the work went on")
        return
    value, sigma = ("mean_mm", "mean_sigma_mm") if measure == HEIGHT else ("net_m3", "net_sigma_m3")
    known = _number(row[value]), _number(row[sigma])
    reason = "" if np.isfinite(known[0]) else row.get("reason") or "the pair is not tied to stable ground: no height of the whole skin"
    yield Changed(measure, zone, change=known[0], change_sigma=known[1], reason=reason)


def _mix(zone: str, both: _Both) -> Iterator[Changed]:
    """Depth of the mix, where cores told it at both dates."""
    for name, (one, other) in both.at("mix_depth", "zone").items():
        if name == zone and one.get("basis") == other.get("basis") == "cores":
            yield _joined(MIX, name, one, other, "depth_mm", "depth_sigma_mm")


def _number(value) -> float:
    return NAN if value is None else float(value)
