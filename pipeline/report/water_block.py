"""The block on rain: where water stands, what to open first, where it leaves and what the lip holds of it."""

from __future__ import annotations

from math import inf

from pipeline.report.field_input import FieldInput
from pipeline.report.figures import NBSP, Z95, figure, limit, printed
from pipeline.report.findings import Shown
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.water_map import STEPS_MM, water_map
from pipeline.report.words import opened
from pipeline.surface.puddles import NEAR_M, widening
from pipeline.surface.shares import share_range

RAINS = (("ponded_2mm_m3", 2), ("ponded_5mm_m3", 5), ("ponded_m3", 10), ("ponded_25mm_m3", 25))
MOST_MISSES = 3  # newest ones that are named
SHOWN = 6  # pools in the table
LEAST_MM = 6.0  # hollows no deeper are never looked at
NONE_SHARE, KNOWN_AT_MM = 0.1, 2.0  # a lip that holds less of a pool's water holds none worth a word; rain that the ladder starts at


def pools(shown: Shown) -> list[dict]:
    """Low spots in which water stands that is more than noise, last to dry first: deepest, then fed by most ground."""
    wet = [r for r in shown.rows["low_spots"] if r["ponded_depth_mm"] and r["ponded_m3"] and r["ponded_m3"] >= (r["ponded_sigma_m3"] or 0.0)]
    return sorted(wet, key=lambda r: (-r["ponded_depth_mm"], -(r["catchment_m2"] or 0.0), r["low_spot_id"]))


def _hidden(shown: Shown) -> float:
    """Depth of water that the survey's noise hides, mm: the 95 % of a middling place, LEAST_MM at least."""
    sigmas = sorted(r["pond_depth_sigma_mm"] for r in shown.rows["low_spots"] if r["pond_depth_sigma_mm"] is not None)
    return max(Z95 * sigmas[len(sigmas) // 2], LEAST_MM) if sigmas else LEAST_MM


def water_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict:
    """Everything the page says of rain; empty without a survey or without its flood."""
    if now.newest is None or given.standing_water is None:
        return {}
    words, seen, wider = sayer.words, *puddle_lines(given, sayer)
    found = [_wider(r, wider) for r in pools(now.newest)]
    if not found:
        return {"none": words("rain_none", least=sayer.height(_hidden(now.newest))), "rows": [], "seen": seen}
    keyed = [(words("rain_key", number=i + 1), r) for i, r in enumerate(found[:SHOWN])]
    lip, slow = any(r["lip_held_m3"] is not None for _, r in keyed), _last_full(found) > KNOWN_AT_MM
    heads = ["col_pool", "col_place", "col_deepest", "col_water", *(["col_full"] if slow else []), "col_spills", *(["col_lip_holds"] if lip else [])]
    title = words("rain_title", rain=rained(10, sayer), day=sayer.day(now.newest.flown_on, now.newest.survey_id))
    about = words("rain_about", pools=words.count("pools", len(keyed)), paths=words.count("paths", len(given.water_paths)))
    more = len(found) - len(keyed)
    return {
        "none": "", "seen": seen, "rows": [_row(key, r, lip, slow, sayer) for key, r in keyed], "heads": [words(h) for h in heads], "said": _said(found, sayer),
        "order": words("rain_order"), "lip": words("rain_lip") if lip else "", "more": words.count("rain_more", more) if more else "", "title": title,
        "svg": water_map(given.layout, given.edges, given.standing_water, given.water_paths, keyed, sayer.units, title, about, words("north")),
        "shades": _shades(sayer), "paths": bool(given.water_paths),
    }  # fmt: skip


def puddle_lines(given: FieldInput, sayer: Sayer) -> tuple[list[str], float]:
    """How many of the puddles that were seen had been drawn in advance, those that had not, and by how much ranges are stretched for it."""
    words, told = sayer.words, [p for p in given.puddles if p.drawn is not None]
    if not told:
        return [], 1.0
    hits, wider = sum(p.drawn for p in told), widening(sum(p.drawn for p in told), len(told))
    low, high = (printed(100 * v, 0) for v in share_range(hits, len(told)))
    near = sayer.length(NEAR_M)
    out = [words("puddles_drawn", hits=hits, count=len(told), near=near, low=low, high=high) if len(told) > 1 else words("puddle_drawn" if hits else "puddle_not_drawn", near=near)]
    for p in [p for p in told if not p.drawn][-MOST_MISSES:]:
        out.append(words("puddle_missed", on=words.date(p.on), place=sayer.seen_at(p.place, p.e, p.n)))
    return out + ([words("puddles_widen", more=printed(100 * (wider - 1), 0))] if wider > 1.005 else []), wider


def _wider(row: dict, by: float) -> dict:
    """A pool's row with its ranges stretched."""
    if by == 1.0:
        return row
    return row | {c: row[c] * by for c in ("ponded_depth_sigma_mm", "ponded_sigma_m3") if row[c] is not None}


def rained(mm: float, sayer: Sayer) -> str:
    """'10 mm', '0.4 in': a rain."""
    unit = sayer.units.height
    fine = (0 if mm == round(mm) else 1) if sayer.units.system == "metric" else 1 if mm >= 5 else 2
    return f"{printed(mm / unit.size, fine)}{NBSP}{unit.name}"


def _said(found: list[dict], sayer: Sayer) -> list[str]:
    """How much stands in all of them, and after how much rain."""
    words = sayer.words

    def total(column: str) -> str:
        sigma = sum((r["ponded_sigma_m3"] or 0.0) ** 2 for r in found) ** 0.5
        return figure(sum(r[column] or 0.0 for r in found), sigma, sayer.units.volume)

    out = [words("rain_sum", volume=total("ponded_m3"), rain=rained(10, sayer))]
    if _last_full(found) <= KNOWN_AT_MM:
        out.append(words("rain_full", rain=rained(KNOWN_AT_MM, sayer)))
    else:
        out += [words("rain_ladder", rain=rained(mm, sayer), volume=total(column)) for column, mm in RAINS if mm != 10]
    return [*out, words("rain_left_out")]


def _last_full(found: list[dict]) -> float:
    """Rain after which all of them are full, mm."""
    return max(r["full_at_mm"] if r["full_at_mm"] is not None else inf for r in found)


def _row(key: str, r: dict, lip: bool, slow: bool, sayer: Sayer) -> tuple[str, ...]:
    units = sayer.units
    full = "" if r["full_at_mm"] is None else rained(max(r["full_at_mm"], 0.1), sayer)
    return (
        key, opened(sayer.placing.spot(r["low_spot_id"], r["e"], r["n"])), figure(r["ponded_depth_mm"], r["ponded_depth_sigma_mm"], units.height),
        figure(r["ponded_m3"], r["ponded_sigma_m3"], units.volume), *([full] if slow else []), sayer.placing.at(r["pour_e"], r["pour_n"]),
        *([lip_holds(r, sayer)] if lip else []),
    )  # fmt: skip


def lip_holds(r: dict, sayer: Sayer) -> str:
    """The lip's share of a pool's water: none, so much, or that it cannot be told."""
    held, sigma, words = r["lip_held_m3"], r["lip_held_sigma_m3"], sayer.words
    whole = r["ponded_25mm_m3"]
    if held is None or sigma is None or not whole:
        return words("lip_walk")
    if held + Z95 * sigma < NONE_SHARE * whole:
        return words("lip_none")
    if held > Z95 * sigma:
        return words("lip_holds", share=f"{printed(100 * min(held / whole, 1.0), 0)}{NBSP}%", volume=figure(held, sigma, sayer.units.volume))
    return words("lip_walk")  # no upper figure: noise makes notches in a lip, so that the share reads low


def _shades(sayer: Sayer) -> list[str]:
    low, high = (limit(v, sayer.units.height) for v in STEPS_MM)
    return [sayer.words("rain_shallow", depth=low), sayer.words("rain_middle", low=low, high=high), sayer.words("rain_deep", depth=high)]
