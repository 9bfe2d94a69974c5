"""What could not be judged, and what would settle it, in groups that want the same tool."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Sequence

from pipeline.report.findings import CANNOT_TELL_KIND, FALL, GAP, LOW_SPOT, PLANARITY, MOUND, SEEN_SHARE, EdgeSeen, Finding
from pipeline.report.figures import NBSP, printed
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.words import opened
from pipeline.surface.verdict import UNKNOWN

READINGS = 15  # on one edge: brings its mean height to a few mm (method: ruler calibration)
STATIONS_NAMED, LEAST_READINGS = 6, 3
READINGS_A_STATION = 2  # more at one metre of edge tell nothing new of it


@dataclass(frozen=True)
class Group:
    """What to do, and where: `lines` may be empty."""

    lead: str
    lines: tuple[str, ...] = ()


def unsettled(now: Standing, sayer: Sayer, wanted: dict[str, int | None], strings: Sequence[dict] = ()) -> list[Group]:
    """Limits to be asked for, low spots for a string line, edges for a ruler, edges to walk.

    strings : where a string goes down first on the skin
    wanted : edge id -> how many more ruler readings would halve what its mean height is not known by
    """
    if now.newest is None:
        return []
    words, unknown = sayer.words, now.newest.of(UNKNOWN)
    asked = dict.fromkeys(sayer.why(f) for f in unknown if sayer.owned(f.kind, False) is None)
    out = [Group(opened(why) + ". " + words("ask_owner")) for why in asked]
    judged = [f for f in unknown if sayer.owned(f.kind, False) is not None]
    spots = [words("where_why", where=opened(sayer.where(f)), why=sayer.why(f)) for f in judged if f.kind == LOW_SPOT]
    out += [Group(words("settle_low_spots"), tuple(spots))] if spots else []
    out += [Group(words("settle_planarity", why=sayer.why(f))) for f in judged if f.kind == PLANARITY]
    out += [_string(f, sayer, strings) for f in judged if f.kind == GAP]
    falls = [sayer.where(f) for f in judged if f.kind == FALL]
    out += [Group(words("settle_fall", places=words.listed(falls)))] if falls else []
    if not now.newest.edges:
        return [*out, Group(words("settle_no_edges"))]
    return out + _edges(now, [f for f in judged if f.stretch is not None], sayer, wanted)


def _string(finding: Finding, sayer: Sayer, strings: Sequence[dict]) -> Group:
    """How a string settles the gap under the straightedge, and where it goes down first."""
    length = f"{printed(sayer.straightedge_m / sayer.units.length.size, 0)}{NBSP}{sayer.units.length.name}"
    lead = sayer.words("settle_straightedge", why=sayer.why(finding), length=length, limit=sayer.limit(GAP, False),
                       step=f"{'1' if sayer.units.system == 'us' else '0.3'}{NBSP}{sayer.units.length.name}")  # fmt: skip
    return Group(lead, tuple(opened(sayer.words("string_at", where=sayer.placing.at(s["e"], s["n"]), way=_way(s["bearing_deg"], sayer))) for s in strings))


def _way(bearing_deg: float, sayer: Sayer) -> str:
    """How a string lies, as people on the field would lay it: the nearest of four directions."""
    axes = sayer.placing.layout.axes
    if axes is None:
        return sayer.words("way_bearing", bearing=f"{printed(bearing_deg, 0)}\u00b0")
    turned = (bearing_deg - math.degrees(axes.bearing_rad)) % 180.0
    return sayer.words(("way_out", "way_first", "way_across", "way_third")[int((turned + 22.5) // 45) % 4])


def _edges(now: Standing, unknown: list[Finding], sayer: Sayer, wanted: dict[str, int | None]) -> list[Group]:
    if sayer.tolerances.lip_mm is None:
        return []
    words, ruler, walk = sayer.words, [], []
    for edge in now.newest.edges:
        mine = [f for f in unknown if f.place_id == edge.edge_id]
        name = opened(sayer.placing.edge(edge.edge_id))
        if edge.by_hand:
            continue
        if mine:
            ruler.append(_ruler(edge, name, mine, now, sayer, max(wanted.get(edge.edge_id) or READINGS, LEAST_READINGS)))
        elif edge.told < SEEN_SHARE * edge.stations:
            walk.append(words("settle_unseen_edge", edge=name, told=sayer.length(edge.told), whole=sayer.length(edge.stations)))
    if sayer.mound_untold(now.newest):
        in_grass = any(e.edge_id == MOUND for e in now.newest.edges)
        walk.append(words("settle_mound_edge" if in_grass else "settle_mound_skin", edge=opened(sayer.placing.edge(MOUND))))
    kinds = any(f.verdict.why == CANNOT_TELL_KIND for f in unknown)
    lead = words("settle_edges") + (" " + words("settle_kinds") if kinds else "")
    out = ([Group(lead, tuple(ruler))] if ruler else []) + ([Group(words("settle_walk"), tuple(walk))] if walk else [])
    return out + _means(now, sayer)


def _means(now: Standing, sayer: Sayer) -> list[Group]:
    """Edges of which a walk gave a mean within its limit: where they stand high is not known."""
    named = {f.place_id for f in now.newest.findings}
    edges = [sayer.placing.edge(e.edge_id) for e in now.newest.edges if e.whole and e.told and e.edge_id not in named]
    return [Group(sayer.words("settle_means", edges=sayer.words.listed(edges)))] if edges else []


def _ruler(edge: EdgeSeen, name: str, mine: list[Finding], now: Standing, sayer: Sayer, readings: int) -> str:
    """Where along one edge the ruler goes first, and how often."""
    words = sayer.words
    why = words("kind_unknown") if mine[0].verdict.why == CANNOT_TELL_KIND else sayer.why(mine[0])
    if mine[0].row["station_m"] is None:
        return words("ruler_anywhere", edge=name, why=why, readings=readings)
    at = sorted(r["station_m"] for r in now.newest.rows["lip"] if r["edge_id"] == edge.edge_id and r["station_m"] is not None)
    held = sorted(at[k] for f in mine for k in f.stretch.members)
    readings = min(readings, max(LEAST_READINGS, READINGS_A_STATION * len(held)))
    named = min(STATIONS_NAMED, readings)
    spread = [held[round(i * (len(held) - 1) / (named - 1))] for i in range(named)]
    unit = sayer.units.length
    marks = ", ".join(dict.fromkeys(printed(s / unit.size, 0) for s in spread))
    return words("ruler_at", edge=name, length=sayer.length(len(held)), why=why, stations=f"{marks}{NBSP}{unit.name}", readings=readings)
