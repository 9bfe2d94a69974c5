"""All fields together: the ranked page, and the rows of portfolio.csv and hazards.csv."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Mapping, Sequence

from pipeline.owner import Material, Tolerances
from pipeline.report import changed, palette
from pipeline.report.forecast_block import backtest
from pipeline.report.figures import Z95, figure, plain_text, rounded
from pipeline.report.findings import LOW_SPOT, MIX, MOUND, SEEN_SHARE
from pipeline.report.glossary import Glossary
from pipeline.report.hazards import Hazard
from pipeline.report.limits_named import held_against
from pipeline.report.overview_places import field_files, files, places, sites_of, where_they_lie
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing, leading, over_tolerance
from pipeline.report.this_week import week_block
from pipeline.report.todo import Task, all_steps, fill_sigma, next_steps, tasks
from pipeline.report.unsafe_block import first_act, looked_at
from pipeline.report.words import Words, opened, titled
from pipeline.report.works_block import pooled_rows, progress_lines
from pipeline.surface.verdict import ORDER, UNKNOWN, UNSAFE, WORK

MOST_NAMED = 8  # fields of one verdict named in the page's head; the list below has all
MOST_CHANGES = 4  # lines of change a field; more are counted
ASKED = ("lip_mm", "lip_trip_mm", "low_spot_mm", "low_spot_trip_mm", "planarity_mm")


@dataclass(frozen=True)
class FieldSeen:
    """One field as the overview needs it: `reader` speaks to people in their units, `plain` writes the tables in mm.

    steps, steps_unsafe : what to do next, in one line; of it what mends the unsafe places
    """

    field_id: str
    name: str
    site: str
    now: Standing
    tables: dict[str, list[dict]]
    reader: Sayer
    plain: Sayer
    material: Material

    @cached_property
    def tasks(self) -> list[Task]:
        return tasks(self.now, self.reader, self.material, {})

    @property
    def steps(self) -> str:
        return all_steps(self.now, self.tasks, self.reader)

    @property
    def steps_unsafe(self) -> str:
        return next_steps([t for t in self.tasks if t.unsafe])

    @property
    def mix_t(self) -> tuple[float | None, float]:
        """Tonnes of mix needed, and one s.d.: to fill the low spots over tolerance or to bring the skin to its least depth,
        whichever is more, since the second fills the first; None where some volume or the density is unknown."""
        if self.now.newest is None:
            return 0.0, 0.0
        skin = next((r for r in self.now.newest.rows.get("mix_depth", ()) if r["zone"] == "skin" and r["verdict"] == WORK and r["tonnes"] is not None), None)
        thin = (skin["tonnes"], (skin["tonnes_high95"] - skin["tonnes_low95"]) / (2 * Z95)) if skin is not None else (0.0, 0.0)
        found = over_tolerance(self.now.newest)
        known = [f.row for f in found if f.row["fill_tonnes"] is not None]
        if found and not known:
            return thin if skin is not None else (None, float("nan"))
        filled = float(sum(r["fill_tonnes"] for r in known)), sum(fill_sigma(r) or 0.0 for r in known)  # as if they erred alike, as the density they share does
        return max(thin, filled)


def ranked(fields: Sequence[FieldSeen]) -> list[FieldSeen]:
    """Worst verdict first; within one, what is furthest over its limit; then by name."""

    def rank(seen: FieldSeen) -> tuple:
        found = [f for f in leading(seen.now) if f.word == seen.now.verdict]
        limits = seen.now.limits
        shares = [f.value_mm / limit for f in found if f.value_mm is not None and f.kind != MIX and (limit := limits.low_spot if f.kind == LOW_SPOT else limits.lip)]
        return ORDER.index(seen.now.verdict), -max(shares, default=0.0), -len(found), seen.name

    return sorted(fields, key=rank)


def reason_of(seen: FieldSeen, sayer: Sayer) -> str:
    """Why a field stands as it does, in the sayer's units."""
    return plain_text(" ".join(filter(None, (sayer.headline(seen.now), held_against(seen.now, sayer)))))


def portfolio_row(seen: FieldSeen) -> dict:
    """One field's row of portfolio.csv: its newest survey that is not refused."""
    newest = seen.now.newest
    row = {"field_id": seen.field_id, "site": seen.site, "verdict": seen.now.verdict, "reason": reason_of(seen, seen.plain)}
    if newest is None:
        return row
    lips = [r["height_mm"] for r in newest.rows["lip"] if r["kind"] == "lip" and r["height_mm"] is not None]
    skin = next((r for r in newest.rows["zones"] if r["zone"] == "skin"), {})
    return row | {
        "last_survey": newest.survey_id, "lip_max_mm": max(lips, default=None),
        "lip_over_tolerance_m": float(sum(e.over_m for e in newest.edges)) if newest.edges and seen.now.limits.lip is not None else None,
        "low_spots_over_tolerance": len(over_tolerance(newest)) if seen.now.limits.low_spot is not None else None,
        "planarity_mm": skin.get("planarity_mm"), "mix_needed_tonnes": seen.mix_t[0],
    }  # fmt: skip


def hazard_rows(seen: FieldSeen, tolerances: Tolerances) -> list[dict]:
    """The field's rows of hazards.csv."""
    return [_hazard_row(h, seen, tolerances) for h in seen.now.hazards]


def _hazard_row(h: Hazard, seen: FieldSeen, tolerances: Tolerances) -> dict:
    row = {
        "hazard_id": h.hazard_id, "field_id": h.field_id, "found_on": h.found_on, "source": h.source, "measure": h.measure,
        "action": h.action, "action_on": h.action_on, "state": h.state,
    }  # fmt: skip
    if h.first is None:
        return row | {"place": plain_text(seen.plain.seen_at(h.place_id, h.e, h.n)) if h.by_eye else h.place_id.replace("-", " "), "value": h.finding or (h.measure if h.by_eye else "")}
    owned = seen.plain.owned(h.measure, True)
    value = _value(h.first.value_mm, h.first.sigma_mm)
    if h.last is not h.first:
        value += f"; {_value(h.last.value_mm, h.last.sigma_mm)} on {h.last_on}"
    return row | {
        "place": plain_text(seen.plain.where(h.last)), "value": value, "tolerance": f"{owned.of(h.field_id):g} mm", "set_by": owned.set_by,
    }  # fmt: skip


def progress_rows(fields: Sequence[FieldSeen]) -> list[dict]:
    """Rows of progress.csv over all fields."""
    rows = [{**r, "field_id": s.field_id} for s in fields for r in s.tables["progress"]]
    out = []
    for measure, found, visits, hours in pooled_rows(rows):
        told = {r["field_id"] for r in rows if r["measure"] == measure and r["mm_per_hour"] is not None}
        out.append({"measure": measure, "fields": len(told), "spans": found.spans, "visits": visits, "hours": hours, "mm_per_hour": found.value, "mm_per_hour_low95": found.low95,
                    "mm_per_hour_high95": found.high95, "between_sd": found.between_sd, "word": found.word})  # fmt: skip
    return out


def _value(value_mm: float, sigma_mm: float) -> str:
    text, half = rounded(value_mm, Z95 * sigma_mm, 0)
    return plain_text(f"{text} mm ± {half}")


def index_page(fields: Sequence[FieldSeen], tolerances: Tolerances, title: str, words: Words, season: Mapping | None = None, plan: Mapping | None = None, since: Mapping | None = None, handed: Mapping | None = None,
               record: Mapping | None = None, sizes: Mapping[str, int] | None = None) -> dict:  # fmt: skip
    """Everything on the page over all fields; season: what `season_block` says, plan: what `plan_block` says, since: what
    `since_district` says, handed: what `issued_list` says, or None; record: of the plan; sizes: address from the page -> bytes, of files that are there already."""
    order = ranked(fields)
    days = [s.now.newest.flown_on for s in order if s.now.newest is not None]
    count = words.count("fields", len(order))
    drawn, hours = where_they_lie(order, words), progress_lines([r for s in order for r in s.tables["progress"]], order[0].reader) if order else []
    week = week_block(order, season or {}, record or {}, [words(f"tolerance_{n}") for n in _missing(tolerances)], words)
    return {
        "places": places({"season": season, "map": drawn, "plan": plan, "hours": hours, "since": since, "issued": handed, "week": week["rows"]}, words), "map": drawn, "week": week,
        "sites": sites_of(order, words), "files": files(words, sizes or {}), "field_files": field_files(order, words, sizes or {}), "all": len(order),
        "stand": _stand(order, words), "w": words, "glossed": Glossary(words), "colours": palette.css(), "title": title, "lang": words("lang"),
        "lead": words("index_lead", fields=count, day=words.date(max(days))) if days else words("index_lead_none", fields=count),
        "unsafe": [
            {"name": s.name, "site": titled(s.site), "site_id": s.site, "link": _link(s), "what": [s.reader.open_hazard(h, s.now) for h in s.now.open],
             "act": first_act(s.now, words), "steps": s.steps_unsafe}
            for s in order if s.now.verdict == UNSAFE
        ],
        "unsafe_none": _none_unsafe(order, tolerances, words),
        "rows": [_line(s, rank, words) for rank, s in enumerate(order, start=1)], "season": season or {}, "plan": plan or {}, "since": since or {}, "issued": handed or {},
        "changed": [block for s in order if (block := _changed(s, words))["found"]],
        "changed_none": words("index_changed_none" if any(s.now.before is not None for s in order) else "index_no_pair"),
        "refused": [
            words("refused_line", field=s.name, day=words.date(r["flown_on"]), survey=r["survey_id"], reason=words.told(r["reason"] or ""))
            for s in order for r in s.now.refused
        ],
        "unmeasured": [line for s in order if (line := _unmeasured(s))] + _tolerances(tolerances, words),
        "unmeasured_none": words("index_unmeasured_none" if any(map(_measured, order)) else "index_no_field"),
        "backtest": backtest({s.name: s.tables["forecast"] for s in order}, words),
        "progress": hours,
        "means": [(w, words(f"verdict_{w}"), words(f"verdict_means_{w}")) for w in ORDER],
    }  # fmt: skip


def _stand(order: Sequence[FieldSeen], words: Words) -> list[dict]:
    """Every field under its verdict, worst first, so that the head of the page tells how all of them stand."""
    out = []
    for verdict in ORDER:
        mine = [s for s in order if s.now.verdict == verdict]
        if mine:
            more = words.count("and_more", len(mine) - MOST_NAMED) if len(mine) > MOST_NAMED else ""
            named = [{"name": s.name, "link": _link(s), "site": s.site} for s in mine[:MOST_NAMED]]
            out.append({"verdict": verdict, "word": words(f"verdict_{verdict}"), "fields": named, "more": more, "sites": " ".join(dict.fromkeys(s.site for s in mine))})
    return out


def _measured(seen: FieldSeen) -> bool:
    return any(looked_at(seen.now))


def _none_unsafe(order: Sequence[FieldSeen], tolerances: Tolerances, words: Words) -> str:
    """What is said where no field is unsafe: only of the fields that were measured, and only against limits there are."""
    blind = [s.name for s in order if not _measured(s)]
    if len(blind) == len(order):
        return words("index_unsafe_unmeasured")
    if tolerances.lip_trip_mm is None and tolerances.low_spot_trip_mm is None:
        return words("index_unsafe_no_limit")
    return words("index_unsafe_part", fields=words.listed(blind)) if blind else words("index_unsafe_none")


def _link(seen: FieldSeen) -> str:
    return f"fields/{seen.field_id}/report.html"


def _line(seen: FieldSeen, rank: int, words: Words) -> dict:
    newest, units = seen.now.newest, seen.reader.units
    mix, sigma = seen.mix_t
    return {
        "rank": rank, "name": seen.name, "link": _link(seen), "site": titled(seen.site), "site_id": seen.site, "verdict": seen.now.verdict,
        "word": words(f"verdict_{seen.now.verdict}"), "reason": seen.reader.headline(seen.now),
        "newest": seen.reader.day(newest.flown_on, newest.survey_id) if newest is not None else "",
        "next": opened(seen.steps) or words(f"index_next_{seen.now.verdict}"), "mix": figure(mix, sigma, units.mass) if mix else "",
    }  # fmt: skip


def _changed(seen: FieldSeen, words: Words) -> dict:
    now = seen.now
    if now.before is None:
        return {"found": []}
    pair = changed.Pair.of(seen.tables, now.before.survey_id, now.newest.survey_id)
    earlier, later = (seen.reader.day(s.flown_on, s.survey_id) for s in (now.before, now.newest))
    title = words("index_changed_since", field=seen.name, earlier=earlier, later=later)
    found = changed.detected(pair, seen.reader)
    more = words.count("and_more", len(found) - MOST_CHANGES) if len(found) > MOST_CHANGES else ""
    return {"title": title, "found": found[:MOST_CHANGES], "more": more, "link": _link(seen), "site": seen.site, "relative": pair.relative}


def _unmeasured(seen: FieldSeen) -> str:
    """What of a field its newest survey did not measure, in one line; empty where nothing is missing."""
    words, now, reader = seen.reader.words, seen.now, seen.reader
    if now.newest is None:
        return words("unmeasured_field", field=seen.name)
    names = [reader.where(f) for f in now.newest.of(UNKNOWN) if f.kind == LOW_SPOT and f.value_mm is None]
    names += [] if now.newest.edges else [words("all_edges")]
    for edge in now.newest.edges:
        if edge.told < SEEN_SHARE * edge.stations:
            seen_words = words("seen_part", told=reader.length(edge.told), whole=reader.length(edge.stations)) if edge.told else ""
            names.append(reader.placing.edge(edge.edge_id) + seen_words)
    if reader.mound_untold(now.newest) and not any(e.edge_id == MOUND for e in now.newest.edges):
        names.append(reader.placing.edge(MOUND))
    return words("unmeasured_places", field=seen.name, places=words.listed(names)) if names else ""


def _tolerances(tolerances: Tolerances, words: Words) -> list[str]:
    missing = [words(f"tolerance_{name}") for name in _missing(tolerances)]
    return [words("unmeasured_tolerances", names=words.listed(missing))] if missing else []


def _missing(tolerances: Tolerances) -> list[str]:
    return [name for name in ASKED if getattr(tolerances, name) is None]
