"""Tables of the work package: the handful, what to bring, hauls, edges, stakes, checks by hand."""

from __future__ import annotations

from math import hypot
from typing import Mapping, Sequence

from shapely import Geometry, from_wkt

from pipeline.report.field_input import FieldInput
from pipeline.report.figures import NBSP, Z95, about, figure, printed
from pipeline.report.findings import CREPT, FALL, GAP, LIP, LOW_SKIN, LOW_SPOT, MIX, PLANARITY, STEP, Finding
from pipeline.report.keep_out_block import name_words, tape, tape_words
from pipeline.report.mix_block import SKIN, order_line
from pipeline.report.papers.paper import Block, Heading, Lines, Table
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing, leading
from pipeline.report.todo import Task
from pipeline.report.words import opened
from pipeline.report.papers.work_plan import rod_unit
from pipeline.surface.stretches import Stretch
from pipeline.surface.verdict import UNSAFE, WORK
from pipeline.tables import MOISTURES
from pipeline.works.design import WHOLE_SKIN
from pipeline.works.edge_met import met_along
from pipeline.works.hauls import BRING, TAKE
from pipeline.works.lip_work import TELL
from pipeline.works.moisture import possible
from pipeline.works.tape import taped

WORKS = {LOW_SPOT: "level", LIP: "lip_cut", LOW_SKIN: "mix_add", MIX: "mix_add", PLANARITY: "level", GAP: "level", FALL: "level", CREPT: "edge_recut"}


def works_of(found: Sequence[Task]) -> list[str]:
    """Words of works.csv that the tasks and runs are, in their order; the last is the finishing drag."""
    out = [WORKS[f.kind] for t in found for f in t.findings if f.kind in WORKS]
    return list(dict.fromkeys([*out, "drag"]))


def handful_table(works: Sequence[str], sayer: Sayer) -> Table:
    """What a squeezed handful says about each of these works."""
    words = sayer.words
    rows = [[words(f"handful_{m}"), *(words(f"handful_{possible(w, m)}") for w in works)] for m in MOISTURES]
    return Table(words("handful_caption"), [words("handful_head"), *(words(f"handful_work_{w}") for w in works)], rows, wide=(0,))


def to_bring(given: FieldInput, now: Standing, found: Sequence[Task], sayer: Sayer) -> list[str]:
    """Mix of the chosen design, for low spots beside it, for the skin as a whole; sod."""
    words, record = sayer.words, given.designs
    row, out = chosen_row(record), []
    if row is not None and row["mix_tonnes"] and row["mix_tonnes"] > 0.05:
        half = (row["mix_high95_t"] - row["mix_low95_t"]) / 2
        fed = [r for r in record.get("lip_work", ()) if r["out_m3"] and r["goes_to"] in {f["name"] for f in record.get("filled", ())}]
        if fed:
            out.append(words("bring_fed", volume=figure(sum(r["out_m3"] for r in fed), sum(r["out_sigma_m3"] for r in fed), sayer.units.volume)))
        out.append(words("bring_mix", mass=figure(row["mix_tonnes"], half / Z95, sayer.units.mass), more=about(row["mix_reserve_t"], sayer.units.mass)))
    hauled = record.get("chosen") in WHOLE_SKIN
    beside = [] if hauled else [f.row["fill_tonnes"] for t in found for f in t.findings if f.kind == LOW_SPOT and filled_at(f, record) is None and f.row["fill_tonnes"]]
    if beside:
        out.append(words.count("bring_beside", len(beside), mass=figure(sum(beside), None, sayer.units.mass)))
    skin = next((r for r in now.newest.rows["mix_depth"] if r["zone"] == SKIN and r["verdict"] == WORK), None) if now.newest is not None else None
    if skin is not None and (line := order_line(skin, sayer, given.settings.material.of("truck_t"))):
        out.append(words("bring_skin", line=line))
    low = [r for r in record.get("lip_work", ()) if r["kind"] == LOW_SKIN]
    if low and skin is None:
        out.append(words("bring_low", length=figure(sum(r["length_m"] for r in low), None, sayer.units.length)))
    sod, most = (sum(w[k] or 0.0 for w in record.get("lip_work", ())) for k in ("sod_m2", "sod_most_m2"))
    if most > 0:
        out.append(words("bring_sod", area=figure(sod, None, sayer.units.area), most=figure(most, None, sayer.units.area)))
    return out + ([words("bring_tools")] if found else [])


def chosen_row(record: Mapping) -> Mapping | None:
    """The row of quantities of the design that the crew works to."""
    return next((v for v in record.get("variants", ()) if v["variant"] == record.get("chosen")), None)


def filled_at(finding: Finding, record: Mapping) -> Mapping | None:
    """What the design puts into a low spot: by its name, or of a found one by its place."""
    filled = record.get("filled", ())
    named = next((f for f in filled if f["name"] == finding.place_id and not finding.place_id.startswith("pond-")), None)
    return named or next((f for f in filled if hypot(f["e"] - finding.row["e"], f["n"] - finding.row["n"]) < f["reach_m"]), None)


def haul_table(hauls: Mapping, sayer: Sayer) -> list[Block]:
    """Where to cut, where to carry, where to drop, in order."""
    words, lines = sayer.words, hauls.get("lines", ())
    if all(h["kind"] == BRING for h in lines):  # the steps say what each low spot takes
        return []
    heads = [words(f"haul_head_{k}") for k in ("order", "from", "to", "cut", "loose", "loads", "way")]
    rows = [_haul(h, sayer) for h in lines if not h["minor"]]
    minor = sum(h["minor"] for h in lines)
    out: list[Block] = [Table(words("haul_caption", machine=hauls["machine"]), heads, rows, right=(0, 5), wide=(1, 2))] if rows else []
    notes = ([words.count("haul_minor", minor)] if minor else []) + ([words("haul_lacking", what=words.told(hauls["reason"]))] if hauls["reason"] else [])
    return out + ([Lines(notes, small=True)] if notes else [])


def _haul(h: Mapping, sayer: Sayer) -> list[str]:
    words, at = sayer.words, sayer.placing.at
    start = words("haul_truck") if h["kind"] == BRING else at(h["from_e"], h["from_n"])
    end = words("haul_away") if h["kind"] == TAKE else words("haul_spread") if h["kind"] == "spread" else at(h["to_e"], h["to_n"])
    cut = "" if h["kind"] == BRING else sayer.height(h["cut_mm"]) + ("" if h["passes"] is None else f" ({words.count('haul_passes', h['passes'])})")
    return [str(h["order"]), start, end, cut, figure(h["loose_m3"], None, sayer.units.volume), "" if h["loads"] is None or h["kind"] == BRING else str(h["loads"]),
            "" if h["way_m"] is None else figure(h["way_m"], None, sayer.units.length)]  # fmt: skip


def edge_table(rows: Sequence[Mapping], keys: Mapping[Finding, str], begins: str, sayer: Sayer) -> list[Block]:
    """Work along the grass edge, stretch by stretch, marked as on the plan. begins: where the tapes begin, in words"""
    words, units = sayer.words, sayer.units
    if not rows:
        return []
    heads = [words(f"edge_head_{k}") for k in ("mark", "where", "height", "how", "out", "sod", "to")]
    body = []
    for r in rows:
        span = sayer.span(Stretch(r["from_m"], r["to_m"], r["length_m"], ()))
        goes = "" if not r["goes_to"] else words(f"edge_goes_{r['goes_back']}", place=sayer.placing.place(r["goes_to"]))
        body.append([
            mark_of(r, keys), f"{opened(sayer.placing.edge(r['edge_id']))}, {span}",
            sayer.height(r["height_mm"], r["height_sigma_mm"]) + (f" {words('edge_unsafe')}" if r["unsafe"] else ""),
            words(f"edge_do_{r['remedy']}"), figure(r["out_m3"], r["out_sigma_m3"], units.volume), _sod(r, sayer), goes,
        ])  # fmt: skip
    notes = [" ".join(filter(None, (begins, words("edge_reads"))))] + ([words("edge_tell")] if any(r["remedy"] == TELL for r in rows) else [])
    return [Table(words("edge_caption"), heads, sorted(body, key=lambda row: (row[0] == "", row[0])), wide=(1, 1, 3, 6)), Lines(notes, small=True)]


def mark_of(row: Mapping, keys: Mapping[Finding, str]) -> str:
    """What the plan marks a stretch of edge with; empty where it has no mark."""
    return next((k for f, k in keys.items() if f.stretch is not None and (f.place_id, f.stretch.from_m, f.stretch.to_m) == (row["edge_id"], row["from_m"], row["to_m"])), "")


def met_lines(task: Task, given: FieldInput, keys: Mapping[Finding, str], sayer: Sayer) -> list[str]:
    """What lies in the ground where the stretches of a task are worked, and from where to where along the edge."""
    words, edges = sayer.words, {e.edge_id: e for e in given.edges}
    kept: dict[tuple[str, str], tuple[Geometry, bool]] = {}
    for r in given.designs.get("keep_outs", ()):
        kept[r["kind"], r["name"]] = from_wkt(r["kept_free"]), kept.get((r["kind"], r["name"]), (None, True))[1] and r["found"]
    told: dict[bool, list[str]] = {False: [], True: []}
    for f in (f for f in task.findings if f.stretch is not None and f.place_id in edges):
        for m in met_along(edges[f.place_id], f.stretch.from_m, f.stretch.to_m, (f.row.get("width_mm") or 0.0) / 1000, kept):
            what = words("met_thing", what=name_words({"kind": m.kind, "name": m.name, "end": ""}, sayer), span=sayer.span(Stretch(m.from_m, m.to_m, m.to_m - m.from_m, ())))
            told[m.found].append((f"{mark}: " if (mark := keys.get(f, "")) else "") + what)
    return [words("met_found" if found else "met_lost", what="; ".join(things)) for found, things in told.items() if things]


def _sod(r: Mapping, sayer: Sayer) -> str:
    if not r["sod_most_m2"]:
        return ""
    most = figure(r["sod_most_m2"], None, sayer.units.area)
    if not r["sod_m2"]:
        return sayer.words("edge_sod_most", most=most)
    return most if r["sod_m2"] == r["sod_most_m2"] else sayer.words("edge_sod", area=figure(r["sod_m2"], None, sayer.units.area), most=most)


def stake_tables(record: Mapping, given: FieldInput, sayer: Sayer) -> list[Block]:
    """Stakes of low spots with what to put on, in the crew's units."""
    words = sayer.words
    stakes = [s for s in record.get("stakes", ()) if _in_a_spot(s)]
    if not stakes:
        return []
    rows = [[str(s["point"]), _stake_name(s, sayer), _move(s, sayer), _note(s, given, sayer)] for s in stakes]
    heads = [words(f"stake_head_{k}") for k in ("point", "where", "move", "note")]
    return [Heading(words("stake_caption")), Lines([words("stake_how")]), Table("", heads, rows, right=(0, 2), wide=(1, 3))]


def _note(s: Mapping, given: FieldInput, sayer: Sayer) -> str:
    """No blade here; of a hollow that no base marks two tapes to its middle."""
    out = [sayer.words("stake_hand")] if s["by_hand"] else []
    if s["description"].startswith("pond-") and not s["away_m"]:
        found = taped(s["e"], s["n"], given.layout)
        out += tape_words({"tapes": None if found is None else vars(found)}, sayer)
    return "; ".join(filter(None, out))


def _in_a_spot(s: Mapping) -> bool:
    return "," in s["description"]


def _stake_name(s: Mapping, sayer: Sayer) -> str:
    name, _, side = s["description"].partition(", ")
    place = sayer.words("stake_same") if name.startswith("pond-") and s["away_m"] else sayer.placing.spot(name, s["e"], s["n"])
    return f"{place}, " + sayer.words(f"stake_{side.replace(' ', '_').replace('-', '_')}", away=tape(s["away_m"], sayer))


def _move(s: Mapping, sayer: Sayer) -> str:
    """'fill 1.4 in' or 'cut 0.3 in': to a tenth of an inch or a millimetre, as a rod is read."""
    unit = rod_unit(sayer)
    key, metres = ("fill", s["fill_m"]) if s["fill_m"] >= s["cut_m"] else ("cut", s["cut_m"])
    size = printed(metres / unit.size, unit.finest)
    return sayer.words("stake_level") if float(size) == 0 else sayer.words(f"stake_move_{key}", height=f"{size}{NBSP}{unit.name}")


def checks_table(now: Standing, sayer: Sayer, keys: Mapping[Finding, str]) -> list[Block]:
    """What the survey says of each place that is worked on, and room for what a hand finds before and after."""
    words = sayer.words
    heads = [words(f"check_head_{k}") for k in ("mark", "where", "says", "limit", "before", "after")]
    rows = [
        [keys.get(f, ""), opened(sayer.where(f)), sayer.height(f.value_mm, f.sigma_mm), sayer.limit(f.kind, False), "", ""]
        for f in leading(now, (UNSAFE, WORK)) if f.kind in (LOW_SPOT, LIP, LOW_SKIN, STEP, GAP)
    ]  # fmt: skip
    return [Table(words("check_caption"), heads, rows, blank=(4, 5), wide=(1,))] if rows else []
