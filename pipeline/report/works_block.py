"""What work changed: a card for each piece of work with a survey on both sides, and what an hour of the crew's does."""

from __future__ import annotations

from dataclasses import replace
from typing import Iterable, Mapping, Sequence

from pipeline.report.changed import work_line
from pipeline.report.figures import NBSP, TO, Z95, Unit, counted, figure, limit, printed
from pipeline.report.field_input import FieldInput
from pipeline.report.saying import Sayer
from pipeline.report.words import opened
from pipeline.works.around import ORDERED
from pipeline.works.as_built import CANNOT_TELL, OUTSIDE, WITHIN
from pipeline.works.moisture import ALLOWED, JUDGED, possible
from pipeline.works.progress import NONE_YET, NOT_SHOWN, Pooled, pooled
from pipeline.works.record import GAP, GRASS, HEIGHT, LIP, LIP_OVER, MIX, PLANARITY, RING, SLOPE, VOLUME

FEW = 4  # places of one measure that are named; more are counted
EDGES = (LIP, LIP_OVER, GRASS)
FIRST = (LIP, PLANARITY, HEIGHT, RING)  # in this order it is told how a work held
MOST_HELD = 3


def works_block(given: FieldInput, sayer: Sayer) -> dict:
    """Cards, newest work first, and lines on the crew's hours; empty lists where there is nothing to tell.

    given.worked : the record that `history` leaves; upkeep has no card, its many visits are in the lines
    """
    return {"cards": [card(r, given, sayer) for r in told_works(given)], "progress": progress_lines(given.tables["progress"], sayer)}


def told_works(given: FieldInput) -> list[Mapping]:
    """Records of ordered work with a usable survey on both sides, newest first."""
    known = {w["work_id"] for w in given.works}
    told = [r for r in given.worked.get("works", ()) if r["work"] in ORDERED and r["before"] and r["after"] and r["work_id"] in known]
    return sorted(told, key=lambda r: (r["done_on"], r["work_id"]), reverse=True)


def card(record: Mapping, given: FieldInput, sayer: Sayer) -> dict:
    """One work in sentences, all of them and all but what changed, and its places for hand levels."""
    words, rows = sayer.words, {w["work_id"]: w for w in given.works}
    day = lambda side: sayer.day(record[side]["flown_on"], record[side]["survey_id"])
    lasted = record["ended_on"] and record["ended_on"] != record["done_on"]
    until = words("works_until", day=words.date(record["ended_on"])) if lasted else ""
    shares = [work_line(rows[w], sayer).rstrip(".") for w in record["shares"] if w in rows]
    wrong, changed, still = _wrong(record["measures"], sayer), *changed_words(record["measures"], sayer)
    lines = [words("works_wrong", day=day("before"), what=words.listed(wrong)) if wrong else words("works_wrong_none", day=day("before"))]
    lines.append(words("works_done", what=words.listed(done_words(record, given, sayer)) or words("works_done_unsaid")))
    moved = [words("works_changed", day=day("after"), what="; ".join(changed)) if changed else words("works_changed_none", day=day("after"))]
    moved += [words("works_still", what=words.listed(still))] if still else []
    moved += _handful(rows[record["work_id"]], bool(changed), sayer)
    rest = _mix(record, sayer) + _built(record["as_built"], sayer) + held_words(record["measures"], sayer)
    levels = record["hand_levels"]
    return {
        "title": opened(work_line(rows[record["work_id"]], sayer)).rstrip(".") + until + ".", "lines": lines + moved + rest, "but_changes": lines + rest, "paper": f"works/{record['work_id']}.pdf",
        "shares": words.count("works_shares", len(shares), what="; ".join(shares)) if shares else "",
        "levels": _level_lines(levels, sayer), "heads": [words(f"works_head_{k}") for k in ("number", "where", "e", "n")] if levels else [],
        "caption": words("works_level_caption", name=record["work_id"], crs=levels.get("crs", ""), unit=levels.get("unit", "")), "places": [_place(p, sayer) for p in levels.get("places", ())] if levels else [],
    }  # fmt: skip


def unit_of(measure: str, sayer: Sayer) -> Unit:
    """The reader's unit of a measure."""
    units = sayer.units
    return {LIP_OVER: units.length, VOLUME: units.volume, SLOPE: Unit("%", 1, 2)}.get(measure, units.height)


def measure_name(c: Mapping, sayer: Sayer) -> str:
    where = sayer.placing.edge(c["place"]) if c["measure"] in EDGES else sayer.placing.place(c["place"]) if c["place"] != "skin" else sayer.words("place_skin")
    return sayer.words(f"works_measure_{c['measure']}", where=where)


def _wrong(measures: Sequence[Mapping], sayer: Sayer) -> list[str]:
    """What the survey before is sure of: figures whose 95 % range lies above zero, the largest of each measure."""
    out = []
    for measure in (LIP, LIP_OVER, PLANARITY, GAP, RING, MIX):
        mine = [c for c in measures if c["measure"] == measure and c["before"] is not None and c["before_sigma"] is not None and c["before"] > Z95 * c["before_sigma"]]
        for c in sorted(mine, key=lambda c: -c["before"])[:FEW]:
            out.append(sayer.words("works_figure", name=measure_name(c, sayer), figure=figure(c["before"], c["before_sigma"], unit_of(measure, sayer))))
    return out


def done_words(record: Mapping, given: FieldInput, sayer: Sayer) -> list[str]:
    words, units = sayer.words, sayer.units
    out = [words.count("works_hours", record["hours"])] if record["hours"] is not None else []
    out += [words("works_mix", mass=figure(record["tonnes"], None, units.mass))] if record["tonnes"] is not None else []
    out += [words("works_sod", area=figure(record["sod_m2"], None, units.area))] if record["sod_m2"] is not None else []
    out += [f"{given.settings.currency}{NBSP}{counted(round(record['cost']))}"] if record["cost"] is not None else []
    return out + ([words("works_papers", papers=record["documents"])] if record["documents"] else [])


def changed_words(measures: Sequence[Mapping], sayer: Sayer) -> tuple[list[str], list[str]]:
    """Sentences on what changed, largest first within a measure; names of what did not."""
    words, out, still = sayer.words, [], []
    for measure in dict.fromkeys(c["measure"] for c in measures):
        mine = [c for c in measures if c["measure"] == measure and c["change"] is not None]
        unit = unit_of(measure, sayer)
        found = sorted((c for c in mine if c["detected"]), key=lambda c: -abs(c["change"]))
        for c in found[:FEW]:
            sides = words("works_from_to", before=figure(c["before"], None, unit), after=figure(c["after"], None, unit)) if None not in (c["before"], c["after"]) else ""
            out.append(words("works_figure", name=measure_name(c, sayer), figure=figure(c["change"], c["change_sigma"], unit, signed=True)) + sides)
        if len(found) > FEW:
            out.append(words.count("and_more", len(found) - FEW))
        left = [c for c in mine if not c["detected"]]
        if len(left) == 1:
            still.append(words("works_figure", name=measure_name(left[0], sayer), figure=figure(left[0]["change"], left[0]["change_sigma"], unit, signed=True)))
        elif left:
            still.append(words(f"works_many_{measure}", number=len(left)))
    return out, still


def _handful(work: Mapping, changed: bool, sayer: Sayer) -> list[str]:
    """What the handful said that day, where it forbids the work and nothing came of it, or though something did."""
    moisture = work.get("moisture")
    if not moisture or work["work"] not in JUDGED or possible(work["work"], moisture) == ALLOWED:
        return []
    return [sayer.words("works_handful" if changed else "works_handful_poor", handful=sayer.words(f"handful_{moisture}"))]


def _mix(record: Mapping, sayer: Sayer) -> list[str]:
    """What the mix brought would raise the skin by, beside what the surveys show."""
    raised = next((c for c in record["measures"] if c["measure"] == HEIGHT and c["place"] == "skin" and c["change"] is not None), None)
    area = sayer.placing.layout.skin.area
    if raised is None or not record["placed_m3"]:
        return []
    return [sayer.words("works_mix_spread", height=sayer.height(1000 * record["placed_m3"] / area), shown=sayer.height(raised["change"], raised["change_sigma"], signed=True))]


def _built(built: Mapping, sayer: Sayer) -> list[str]:
    """As built in three words, what stands behind them, the share within with its range."""
    if not built:
        return []
    words = sayer.words
    if built["reason"]:
        return [words("works_built_untold", why=words.told(built["reason"]))]
    tolerance = limit(built["tolerance_mm"], sayer.units.height)
    out = [words(f"works_built_{built['word']}", tolerance=tolerance)]
    out.append(words("works_built_places", **{k: built[f"places_{k}"] for k in (WITHIN, OUTSIDE, CANNOT_TELL)}, sure=sayer.height(Z95 * built["sigma_mm"])))
    share = built["share"]
    if share["value"] is None:
        out.append(words("works_share_untold", why=words.told(share["reason"])))
    else:
        low, high = (f"{printed(100 * share[k], 0)}" for k in ("low95", "high95"))
        out.append(words("works_share", share=words("over_99") if share["value"] >= 0.995 else printed(100 * share["value"], 0), range=f"{low}{TO}{high}", tolerance=tolerance))
    out.append(words(f"works_against_{built['against']}", form=built["form"].replace("_", " ")))
    if built["note"]:
        out.append(words(f"works_note_{built['note']}"))
    return [" ".join(out)]


def _level_lines(levels: Mapping, sayer: Sayer) -> list[str]:
    if not levels:
        return []
    words, found = sayer.words, levels["result"]
    lead = words("works_levels", number=len(levels["places"]))
    if found is None:
        return [lead + " " + (words("works_levels_untold", why=words.told(levels["reason"])) if levels["reason"] else words("works_levels_none"))]
    if found["reason"]:
        return [lead + " " + words("works_levels_untold", why=words.told(found["reason"]))]
    ends = f"{printed(100 * found['low95'], 0)}{TO}{printed(100 * found['high95'], 0)}"
    return [lead + " " + words("works_levels_say", within=found["within"], read=found["read"], tolerance=limit(levels["tolerance_mm"], sayer.units.height), range=ends)]


def _place(p: Mapping, sayer: Sayer) -> tuple[str, ...]:
    return p["name"].rsplit("-", 1)[1], opened(sayer.placing.at(p["e"], p["n"])), printed(p["east"], 2), printed(p["north"], 2)


def held_words(measures: Sequence[Mapping], sayer: Sayer) -> list[str]:
    """How the measures that changed went on since, else those that should have; what settled apart from wear."""
    words = sayer.words
    followed = [c for c in measures if c["held"] is not None]
    followed.sort(key=lambda c: (not c["detected"], FIRST.index(c["measure"]), -abs(c["change"] or 0.0)))
    if not followed:
        return []
    if all(c["held"]["since"] == 0 for c in followed):
        return [words("works_held_none")]
    told = [c for c in followed if c["held"]["rate"] is not None]
    if not told:
        few = [c for c in followed if c["held"]["so_far"] is not None][:MOST_HELD]
        so_far = [words("works_figure", name=measure_name(c, sayer), figure=sayer.height(c["held"]["so_far"], c["held"]["so_far_sigma"], signed=True)) for c in few]
        return [words.count("works_held_few", max(c["held"]["since"] for c in few), what=words.listed(so_far))] if few else []
    fine = replace(sayer.units.height, finest=sayer.units.height.finest + 1)
    return [words("works_held", what="; ".join(_rate(c, fine, sayer) for c in told[:MOST_HELD]))]


def _rate(c: Mapping, fine: Unit, sayer: Sayer) -> str:
    held, words = c["held"], sayer.words
    half = Z95 * held["sigma"]
    key = "back" if held["rate"] > half else "better" if held["rate"] < -half else "flat"
    said = words(f"works_rate_{key}", name=measure_name(c, sayer), rate=figure(abs(held["rate"]) if key != "flat" else held["rate"], held["sigma"], fine, signed=key == "flat"))
    if held["settled"] is None:
        return said
    return said + words("works_settled", settled=sayer.height(held["settled"], held["settled_sigma"], signed=True))


def progress_lines(rows: Iterable[Mapping], sayer: Sayer) -> list[str]:
    """What an hour of the crew's work shows of each measure, pooled over spans and zones."""
    return [_progress(m, found, visits, hours, sayer) for m, found, visits, hours in pooled_rows(rows)]


def pooled_rows(rows: Iterable[Mapping]) -> list[tuple[str, Pooled, int, float]]:
    """Measure, what its spans show together, visits and hours in them; measures without any span left out."""
    out, rows = [], [r for r in rows if r["mm_per_hour"] is not None]
    for measure in dict.fromkeys(r["measure"] for r in sorted(rows, key=lambda r: r["measure"])):
        mine = [r for r in rows if r["measure"] == measure]
        sigmas = [(r["mm_per_hour_high95"] - r["mm_per_hour_low95"]) / (2 * Z95) for r in mine]
        found = pooled([r["mm_per_hour"] for r in mine], sigmas)
        if found.word != NONE_YET:
            out.append((measure, found, sum(r["visits"] for r in mine), sum(r["hours"] for r in mine)))
    return out


def _progress(measure: str, found: Pooled, visits: int, hours: float, sayer: Sayer) -> str:
    words = sayer.words
    fine = replace(sayer.units.height, finest=sayer.units.height.finest + 1)
    shown = found.word == NOT_SHOWN
    rate = figure(found.value if shown else abs(found.value), (found.high95 - found.low95) / (2 * Z95), fine, signed=shown)
    behind = words("progress_behind", visits=words.count("progress_visits", visits), hours=f"{hours:.3g}", spans=words.count("progress_spans", found.spans))
    return words(f"progress_{found.word}", what=words(f"progress_of_{measure}"), rate=rate, behind=behind)
