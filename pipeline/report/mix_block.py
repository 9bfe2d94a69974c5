"""Depth of the mix: how deep, how sure, where it is thin, how much to order, how deep a blade may go, where to core next."""

from __future__ import annotations

import math

from pipeline.report.field_input import FieldInput
from pipeline.report.figures import NBSP, TO, Z95, Unit, decimals_of, figure, limit, printed
from pipeline.report.mix_map import mix_map, steps_mm
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.words import opened
from pipeline.surface.mix_depth import AGED_SD_M_PER_YEAR, TOLD_FROM
from pipeline.surface.mix_zones import TOLD_SHARE
from pipeline.surface.verdict import WATCH, WORK

SKIN, CORES, STATED = "skin", "cores", "stated"


def mix_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict:
    """Sentences, the map and its legend; empty where no survey can be used."""
    rows = {} if now.newest is None else {r["zone"]: r for r in now.newest.rows.get("mix_depth", ())}
    row = rows.get(SKIN)
    if row is None:
        return {}
    words = sayer.words
    spoken = [c for c in given.cores if c["used"]]
    wanted = given.cores_wanted if cores_wanted(row) else ()
    day = sayer.day(now.newest.flown_on, now.newest.survey_id)
    known = row["basis"] == CORES and row["depth_mm"] is not None
    title = words("mix_map_title" if known else "cores_map_title", day=day)
    svg = mix_map(
        given.layout, given.edges, given.mix_depth, given.mix_sigma, row["least_mm"], spoken, wanted, sayer.units, title, words("mix_map_about", number=len(spoken)), words("north"),
    ) if spoken or wanted else ""  # fmt: skip
    steps = [sayer.height(s) for s in steps_mm(row["least_mm"])]
    return {
        "lead": _lead(row, sayer) + (_orders(row, given, sayer) if known else []), "thin": _thin_places(rows, sayer), "blade": _blade(rows, given, sayer) if known else [],
        "dropped": [words("core_dropped", core=c["core_id"], why=words.told(c["why"])) for c in given.cores if not c["used"]],
        "wanted": [opened(sayer.placing.at(e, n)) for e, n in wanted], "ask": ask(row, sayer) if wanted else "",
        "svg": svg, "title": title, "shades": known, "unit": sayer.units.height.name,
        "classes": [words("below", h=steps[0]), words("from_to", a=steps[0], b=steps[1]), words("from_to", a=steps[1], b=steps[2]), words("above", h=steps[2])],
    }  # fmt: skip


def cores_wanted(row: dict) -> bool:
    """Whether the skin has too few cores to say how its mix varies, or ground that none speaks for."""
    return (row["cores"] or 0) < TOLD_FROM or (row["told_pct"] or 0.0) < 100 * TOLD_SHARE


def ask(row: dict, sayer: Sayer) -> str:
    """The wish for cores, in a sentence."""
    have = row["cores"] or 0
    return sayer.words("cores_none", number=TOLD_FROM) if not have else sayer.words.count("cores_few", have, least=TOLD_FROM)


def _thin_places(rows: dict[str, dict], sayer: Sayer) -> list[str]:
    """Places under the least depth, surely or perhaps, thinnest first."""
    found = [r for z, r in rows.items() if z != SKIN and r["verdict"] in (WORK, WATCH) and r["depth_mm"] is not None]
    return [
        opened(sayer.words("mix_thin" if r["verdict"] == WORK else "mix_perhaps_thin", place=sayer.placing.place(r["zone"]), depth=sayer.height(r["depth_mm"], r["depth_sigma_mm"])))
        for r in sorted(found, key=lambda r: (r["verdict"] != WORK, r["depth_mm"], r["zone"]))
    ]  # fmt: skip


def _lead(row: dict, sayer: Sayer) -> list[str]:
    words = sayer.words
    if row["basis"] == STATED:
        return [words("mix_unknown"), words("mix_stated", depth=sayer.height(row["depth_mm"], row["depth_sigma_mm"]))]
    if row["depth_mm"] is None:
        return [words("mix_unknown"), opened(words.told(row["reason"])) + "."]
    out = [words.count("mix_is", row["cores"], depth=sayer.height(row["depth_mm"], row["depth_sigma_mm"]), days=_days(row, sayer))]
    if row["least_mm"] is None:
        out.append(words("mix_no_least"))
    else:
        owned = sayer.tolerances.mix_depth_min_mm
        out.append(words("mix_against", least=limit(row["least_mm"], sayer.units.height), signed=sayer.signed_by(owned), chance=_chance(row["probability"], sayer),
                         thin=figure(row["thin_m2"], None, sayer.units.area)))  # fmt: skip
    if row["told_pct"] is not None and row["told_pct"] < 99.5:
        out.append(words("mix_untold", share=printed(100 - row["told_pct"], 0)))
    out.append(words("mix_age", rate=sayer.height(Z95 * AGED_SD_M_PER_YEAR * 1000)))
    return out


def _chance(p: float, sayer: Sayer) -> str:
    """A probability in %, never 0 nor 100."""
    if p >= 0.995:
        return sayer.words("over_99")
    return sayer.words("under_1") if p < 0.005 else printed(100 * p, 0)


def _days(row: dict, sayer: Sayer) -> str:
    first, last = (sayer.words.date(row[k]) if row[k] else "" for k in ("oldest_core", "newest_core"))
    return first if first == last else sayer.words("day_to_day", first=first, last=last)


def ranged(value: float, low: float, high: float, unit: Unit) -> str:
    """'34 tons (21-48)': a figure and its 95 % range, which need not lie evenly about it."""
    half = max((high - low) / 2 / unit.size, 1e-6)
    decimals = max(min(decimals_of(half), unit.finest), 0)
    shown = [printed(v / unit.size, decimals) for v in (value, max(low, 0.0), high)]
    return f"{shown[0]}{NBSP}{unit.name} ({shown[1]}{TO}{shown[2]})"


def order_line(row: dict, sayer: Sayer, truck_t: float | None) -> str:
    """Tonnes that bring the skin to the least depth, loose volume and truckloads; why not where there are none."""
    words, units = sayer.words, sayer.units
    if row["tonnes"] is None:
        return words("mix_no_order", why=words.told(row["reason"])) if row["reason"] else ""
    parts = [words("mix_order", mass=ranged(row["tonnes"], row["tonnes_low95"], row["tonnes_high95"], units.mass))]
    if row["loose_m3"] is not None and row["tonnes"]:
        loose = row["loose_m3"] / row["tonnes"]
        parts.append(words("mix_order_loose", volume=ranged(row["loose_m3"], row["tonnes_low95"] * loose, row["tonnes_high95"] * loose, units.volume)))
    if truck_t:
        few, most = (math.ceil(row[k] / truck_t) for k in ("tonnes_low95", "tonnes_high95"))
        loads = f"{few}" if few == most else f"{few}{TO}{most}"
        parts.append(words("mix_order_loads", loads=loads, truck=f"{printed(truck_t / units.mass.size, 1)}{NBSP}{units.mass.name}"))
    return "; ".join(parts) + "."


def _orders(row: dict, given: FieldInput, sayer: Sayer) -> list[str]:
    line = order_line(row, sayer, given.settings.material.of("truck_t"))
    return [line] if line else []


def _blade(rows: dict[str, dict], given: FieldInput, sayer: Sayer) -> list[str]:
    """How deep a blade may go: over the whole skin, and where it may not go at all."""
    words, reserve = sayer.words, given.settings.material.reserve_mm
    if reserve is None:
        return [words("blade_no_reserve")]
    deep = rows[SKIN]["blade_mm"]
    if deep is None:
        return []
    out = [words("blade_none" if deep <= 0 else "blade_whole", deep=sayer.height(deep), reserve=limit(reserve.value, sayer.units.height), signed=sayer.signed_by(reserve))]
    stop = [sayer.placing.place(z) for z, r in sorted(rows.items()) if z != SKIN and r["blade_mm"] is not None and r["blade_mm"] <= 0]
    return out + ([words("blade_not_at", places=words.listed(stop))] if stop else [])
