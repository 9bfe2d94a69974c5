"""Where the mix went between two dates: what left the skin, what sits in the edge, what the truck brought, what is left over.

unexplained = skin + edge + beyond - delivered, gained positive. Skin and what lies beyond it share the tie, so their s.d.
come from one covariance; a lip's growth is a contrast that no tie enters.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Mapping, Sequence

import numpy as np

from pipeline.change.difference import LEVEL_95, Change
from pipeline.surface.lip_shape import LipShape
from pipeline.survey.edges.edge_shape import Bump, bump
from pipeline.survey.edges.edge_table import ACROSS_M, columns
from pipeline.units import SHORT_TON_T, YARD3_M3

COMPACTED_T_PER_M3, COMPACTED_SD = 1.7, 0.1  # placed infield mix where nobody weighed it (from memory)
OWNERS_DENSITY_SHARE = 0.03  # one s.d. of an owner's or a supplier's density, of itself; a guess
WEIGHED_SHARE, HEAPED_SHARE = 0.02, 0.10  # one s.d. of an amount from a scale, and of a loose volume judged by eye; guesses
UNSEEN_GROWTH_M = 0.005  # s.d. of the growth of an edge that could not be read; a guess
MIN_COVER = 0.60  # of the skin, as for a zone's mean
NEARLY_ALL = 0.95  # of the skin: less is worth a note
UNIT_T = {"short_ton": SHORT_TON_T, "tonne": 1.0}
UNIT_M3 = {"yd3_loose": YARD3_M3, "m3_loose": 1.0}
TERMS = ("skin", "edge", "beyond", "delivered")
NAN = float("nan")


@dataclass(frozen=True)
class EdgeGrown:
    """One edge's share.

    growth_m, sigma_m : of the lip's crest; NaN where it could not be read
    section_m         : area of a lip of unit height beyond the line, m2 per m of height
    length_m          : of the whole edge
    hidden            : share of true growth that new mix between the blades may keep from being seen (`Growth.hidden`)
    """

    edge_id: str
    growth_m: float
    sigma_m: float
    section_m: float
    length_m: float
    hidden: float = 0.0


@dataclass(frozen=True)
class Density:
    """Tonnes in a cubic metre and one s.d.; `assumed` where it is nobody's figure."""

    value: float
    sigma: float
    assumed: bool = False

    @classmethod
    def placed(cls, owners: float | None) -> Density:
        """The owner's placed density, else the usual one, marked as assumed."""
        if owners is None:
            return cls(COMPACTED_T_PER_M3, COMPACTED_SD, True)
        return cls(owners, OWNERS_DENSITY_SHARE * owners)

    @classmethod
    def loose(cls, owners: float | None) -> Density | None:
        """The owner's loose density; None without one: between heaps it differs too much to be assumed."""
        return None if owners is None else cls(owners, OWNERS_DENSITY_SHARE * owners)


@dataclass(frozen=True)
class Delivered:
    """What trucks brought between two dates.

    tonnes, sigma_t : NaN where a loose volume has no density
    volume_m3, sigma_m3 : placed
    work_ids : what was counted; reason: why there is no figure, or ``
    """

    tonnes: float
    sigma_t: float
    volume_m3: float
    sigma_m3: float
    work_ids: tuple[str, ...]
    reason: str


@dataclass(frozen=True)
class Balance:
    """One pair's balance, m3, gained positive; `delivered` as it came, so that it is taken off.

    value, sigma : term -> m3, for skin, edge, beyond, delivered, unexplained; NaN where not told
    covariance   : (4, 4) of TERMS, m6; a term that is not told has 0
    balanced     : |unexplained| within 1.96 s.d.; None without a figure
    seen_m       : edge length that was read, of edge_m
    skin_m2      : skin that both dates saw, and skin_share of the whole
    notes        : what limits the figures, each a sentence fragment
    reason       : why there is no balance, or ``
    """

    value: dict[str, float]
    sigma: dict[str, float]
    covariance: np.ndarray
    balanced: bool | None
    seen_m: float
    edge_m: float
    skin_m2: float
    skin_share: float
    notes: tuple[str, ...]
    reason: str


def section_beyond_line(shape: LipShape) -> float:
    """Area beyond the line of a lip of unit height, m2 per m: what lies on the skin's side is in the skin's cells."""
    return float(shape.lip[shape.d > 0].sum() * ACROSS_M)


def walked_section(lip: Bump) -> float:
    """The same of a lip whose shape a walk gave, or of the usual one where no survey read the edge."""
    d = columns()
    return float(bump(d, lip)[d > 0].sum() * ACROSS_M)


def shows(flown_on: dt.date, day: dt.date, before_work: bool) -> bool:
    """Whether a survey shows work of a day: it came after the work of its own day, unless it was flown before_work."""
    return day < flown_on if before_work else day <= flown_on


def delivered(
    works: Sequence[Mapping],
    earlier: dt.date,
    later: dt.date,
    placed: Density,
    loose: Density | None,
    earlier_before: bool = False,
    later_before: bool = False,
) -> Delivered:
    """Mix brought between two surveys, from rows of works with `mix_amount` and `mix_unit`.

    works : with work_id, done_on and optional ended_on; the amount counts on its last day
    earlier_before, later_before : the survey of that date was flown before the work of its day (`before_work`); else a
            survey came after the work of its day
    One supplier's densities err alike in all loads, amounts each on its own.
    """
    counted, weighed, heaped, variance = [], 0.0, 0.0, 0.0
    for row in works:
        if row.get("mix_amount") is None or row.get("mix_unit") is None:
            continue
        day = row.get("ended_on") or row["done_on"]
        if shows(earlier, day, earlier_before) or not shows(later, day, later_before):
            continue
        counted.append(str(row["work_id"]))
        if row["mix_unit"] in UNIT_T:
            tonnes = row["mix_amount"] * UNIT_T[row["mix_unit"]]
            weighed, variance = weighed + tonnes, variance + (WEIGHED_SHARE * tonnes) ** 2
        else:
            if loose is None:
                return Delivered(NAN, NAN, NAN, NAN, tuple(counted), "a loose volume was delivered and there is no loose density: loose_t_per_m3")
            tonnes = row["mix_amount"] * UNIT_M3[row["mix_unit"]] * loose.value
            heaped, variance = heaped + tonnes, variance + (HEAPED_SHARE * tonnes) ** 2
    if loose is not None:
        variance += (heaped * loose.sigma / loose.value) ** 2
    tonnes, sigma = weighed + heaped, float(np.sqrt(variance))
    volume = tonnes / placed.value
    spread = float(np.hypot(sigma / placed.value, volume * placed.sigma / placed.value))
    return Delivered(tonnes, sigma, volume, spread, tuple(counted), "")


def balance(
    change: Change,
    skin: np.ndarray,
    edges: Sequence[EdgeGrown],
    brought: Delivered,
    beyond: np.ndarray | None = None,
    canopy_change_m: float = 0.0,
    canopy_sigma_m: float | None = None,
    assumed_density: bool = False,
) -> Balance:
    """The balance of one pair.

    skin   : (ny, nx) bool, cells under plants left out; its net is the zone's of change.csv: nothing is put in for cells
             that one date did not see
    beyond : ground beyond the edge strip, bool, or None: nothing told of it. Where grass grows, canopy_change_m (later
             minus earlier, by ruler) is taken off and canopy_sigma_m, one s.d. of it, is put on; None: bare ground
    assumed_density : the placed density is nobody's figure
    """
    used = skin & change.measured
    area = change.grid.cell_area_m2
    share = float(used.sum() / max(int(skin.sum()), 1))
    edge_m, seen_m = sum(e.length_m for e in edges), sum(e.length_m for e in edges if np.isfinite(e.growth_m))
    reason = _refusal(change, share)
    if reason:
        nothing = dict.fromkeys((*TERMS, "unexplained"), NAN)
        return Balance(nothing, dict(nothing), np.zeros((4, 4)), None, seen_m, edge_m, float(used.sum() * area), share, (), reason)
    far = np.zeros(skin.shape, bool) if beyond is None else beyond & change.measured & ~skin
    told_far = bool(far.any())
    weights = [used * area] + ([far * area] if told_far else [])
    cells = change.uncertainty.covariance(weights)
    covariance = np.zeros((4, 4))
    where = [0, 2] if told_far else [0]
    covariance[np.ix_(where, where)] = cells
    far_m2 = float(far.sum() * area)
    if told_far and canopy_sigma_m is not None:
        covariance[2, 2] += (far_m2 * canopy_sigma_m) ** 2
    edge, covariance[1, 1] = _edges(edges)
    covariance[3, 3] = 0.0 if brought.reason else brought.sigma_m3**2
    value = {
        "skin": float(change.dz[used].sum() * area), "edge": edge,
        "beyond": float(change.dz[far].sum() * area) - far_m2 * (canopy_change_m if canopy_sigma_m is not None else 0.0) if told_far else NAN,
        "delivered": brought.volume_m3,
    }  # fmt: skip
    sigma = {t: float(np.sqrt(max(covariance[k, k], 0.0))) if np.isfinite(value[t]) else NAN for k, t in enumerate(TERMS)}
    sign = np.array([1.0, 1.0, 1.0 if told_far else 0.0, -1.0])
    left = NAN if brought.reason else float(value["skin"] + edge + (value["beyond"] if told_far else 0.0) - brought.volume_m3)
    value["unexplained"] = left
    sigma["unexplained"] = NAN if brought.reason else float(np.sqrt(max(sign @ covariance @ sign, 0.0)))
    balanced = None if brought.reason else bool(abs(left) <= LEVEL_95 * sigma["unexplained"])
    notes = _notes(seen_m, edge_m, share, told_far, brought, assumed_density)
    return Balance(value, sigma, covariance, balanced, seen_m, edge_m, float(used.sum() * area), share, notes, brought.reason)


def _refusal(change: Change, share: float) -> str:
    if change.relative:
        return "the pair is not tied to stable ground: its skin's own plane was taken off, and any loss with it"
    if share < MIN_COVER:
        return f"both dates saw {share:.0%} of the skin; {MIN_COVER:.0%} are needed"
    return ""


def _edges(edges: Sequence[EdgeGrown]) -> tuple[float, float]:
    """Volume gained in the edges beyond their lines and its variance, m3 and m6; an edge that was not read counts as
    unchanged, known to UNSEEN_GROWTH_M. What may hide between the blades is an s.d., the same way on all edges: a third of
    the square of its most, as if any share up to that were as likely."""
    volume = variance = unseen = 0.0
    for e in edges:
        per_m = e.section_m * e.length_m
        told = np.isfinite(e.growth_m) and np.isfinite(e.sigma_m)
        volume += e.growth_m * per_m if told else 0.0
        variance += ((e.sigma_m if told else UNSEEN_GROWTH_M) * per_m) ** 2
        unseen += max(e.growth_m, 0.0) * per_m * e.hidden / (1.0 - e.hidden) if told else 0.0
    return float(volume), float(variance + unseen**2 / 3.0)


def _notes(seen_m: float, edge_m: float, share: float, told_far: bool, brought: Delivered, assumed: bool) -> tuple[str, ...]:
    out = []
    if seen_m < edge_m:
        out.append(f"{edge_m - seen_m:.0f} of {edge_m:.0f} m of edge could not be read and count as unchanged")
    if share < NEARLY_ALL:
        out.append(f"{1 - share:.0%} of the skin was not seen at both dates and is not counted")
    if not told_far:
        out.append("nothing is known of what lies beyond the edge: it is in what is unexplained")
    if assumed and brought.work_ids:
        out.append(f"no placed density: placed_t_per_m3; {COMPACTED_T_PER_M3} t/m3 is assumed")
    return tuple(out)
