"""Each component of a field's state as one survey shows it, from the field's tables; nothing where it does not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Mapping, Sequence

import numpy as np

from pipeline.plan.treatments import LIP, LOST, MIX, PLANARITY, RING

REACH, FEWEST = 5, 3  # metres of edge that a lip is averaged over, and how many of them must be told
TOLD = ("lip", "flush")
SKIN = "skin"


@dataclass(frozen=True)
class Seen:
    """One component on one survey, mm, one s.d., and where it is worst; of the mix its depth."""

    value: float
    sigma: float
    place: str


def observed(rows: Mapping[str, Sequence[dict]], survey: str) -> dict[str, Seen]:
    """What a survey shows of a field. rows: `lip, zones, low_spots, mix_depth, grass_edge` of all its surveys."""
    of = {name: [r for r in rows.get(name, ()) if r["survey_id"] == survey] for name in ("lip", "zones", "low_spots", "mix_depth", "grass_edge")}
    skin = lambda name: [r for r in of[name] if r["zone"] == SKIN]
    found = {
        LIP: _lip(of["lip"]),
        PLANARITY: _worst(skin("zones"), "planarity_mm", "planarity_sigma_mm", "zone"),
        RING: _worst(of["low_spots"], "ring_depth_mm", "ring_depth_sigma_mm", "low_spot_id"),
        MIX: _worst([r for r in skin("mix_depth") if r["basis"] == "cores"], "depth_mm", "depth_sigma_mm", "zone"),
        LOST: _worst([r for r in of["grass_edge"] if r["station_m"] is None], "encroached_mm", "encroached_sigma_mm", "edge_id"),
    }  # fmt: skip
    return {name: seen for name, seen in found.items() if seen is not None}


def _worst(rows: Sequence[dict], value: str, sigma: str, place: str) -> Seen | None:
    told = [r for r in rows if r[value] is not None and r[sigma] is not None]
    if not told:
        return None
    row = max(told, key=lambda r: r[value])
    return Seen(float(row[value]), max(float(row[sigma]), 0.1), row[place])


def _lip(rows: Sequence[dict]) -> Seen | None:
    """The highest mean over REACH metres of one edge of what was told to be a lip or none, its s.d. as if they erred alike; where
    only whole edges are known, as from a walk, the highest of them."""
    best = None
    for edge in sorted({r["edge_id"] for r in rows}):
        told = [r for r in rows if r["edge_id"] == edge and r["kind"] in TOLD and r["height_mm"] is not None and r["height_sigma_mm"] is not None]
        along = sorted((r for r in told if r["station_m"] is not None), key=lambda r: r["station_m"])
        at = np.array([r["station_m"] for r in along])
        windows = [[r for r, d in zip(along, at - a) if 0 <= d < REACH] for a in at]
        full = [w for w in windows if len(w) >= FEWEST] or [[r] for r in told if r["station_m"] is None]
        for window in full:
            seen = Seen(float(np.mean([r["height_mm"] for r in window])), max(float(np.mean([r["height_sigma_mm"] for r in window])), 0.1), edge)
            best = seen if best is None or seen.value > best.value else best
    return best


def why_no_lip(rows: Sequence[dict]) -> str:
    """Why a field shows no lip to plan from, from the rows of lip.csv of its newest survey in use: `low_skin` where most of what was told
    is skin that stands under its edge, which mix mends and no cut; `hardly_told` where a lip is told, but nowhere over FEWEST metres
    together; else `not_measured`."""
    kinds = [r["kind"] for r in rows if r["station_m"] is not None]
    low, told = kinds.count("low_skin"), sum(k in TOLD for k in kinds)
    return "low_skin" if low > told else "hardly_told" if told else "not_measured"


def lip_metres(rows: Sequence[dict], survey: str, over_mm: float) -> float:
    """Metres of edge told to be a lip higher than `over_mm`."""
    return float(sum(r["survey_id"] == survey and r["station_m"] is not None and r["kind"] == LIP and r["height_mm"] is not None and r["height_mm"] > over_mm for r in rows))
