"""What a crew of two carries onto the field: what, where, with how much, in which order, what not to hit, what to check."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.owner import LASER_GRADE
from pipeline.report.field_input import FieldInput
from pipeline.report.field_map import Mark
from pipeline.report.figures import TO, figure, printed
from pipeline.report.findings import CREPT, FALL, GAP, LIP, LOW_SKIN, LOW_SPOT, MIX, PLANARITY, STEP, Finding
from pipeline.report.grade_block import conflict_lines, since_line
from pipeline.report.handoffs_block import handed_lines
from pipeline.report.keep_out_block import lost_of
from pipeline.report.mix_block import SKIN
from pipeline.report.papers.head import on_paper
from pipeline.report.papers.paper import Blanks, Block, Caution, Heading, Lines, Paper, Picture, Steps, Ticks
from pipeline.report.runs_block import runs_block
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.todo import Task, filling, mix_needed, remedy
from pipeline.report.papers.work_plan import plan, rod_unit, stake_plan
from pipeline.report.papers.work_tables import checks_table, chosen_row, edge_table, filled_at, handful_table, haul_table, mark_of, met_lines, stake_tables, to_bring, works_of
from pipeline.surface.verdict import WORK
from pipeline.works.design import WHOLE_SKIN

PLAN_MM, RUNS_MM = 80.0, 84.0  # drawings of a package that fills low spots
WHOLE_PLAN_MM, WHOLE_RUNS_MM, STAKES_MM = 72.0, 60.0, 98.0  # of one that levels a whole skin: four sheets are what a crew carries
ON_MOUND = ("landing",)
MOST_THIN = 6


def work_package(given: FieldInput, now: Standing, sayer: Sayer, keys: Mapping[Finding, str], found: Sequence[Task], marks: Sequence[Mark], unsafe: Sequence[str], tape: str) -> Paper:
    """The package as blocks.

    keys, marks : what the page's map marks a finding with, and where
    found : the tasks of the page, in order
    unsafe : sentences on open hazards, as on the field's page; tape: where the tapes along the edges begin
    """
    words, record = sayer.words, given.designs
    title = words("package_title", name=given.name)
    day = str(now.newest.flown_on)[:10] if now.newest is not None else ""
    blocks: list[Block] = [Caution(words("package_first"), _first(given, record, unsafe, sayer))]
    blocks.append(handful_table(works_of(found), sayer))
    blocks += [Heading(words("package_what")), *_steps(given, now, found, keys, sayer)]
    settle = handed_lines(record, record.get("chosen", ""), sayer)
    if settle:
        blocks += [Heading(words("package_settle")), Ticks(settle), Lines([words("package_settle_else")], small=True)]
    bring = to_bring(given, now, found, sayer)
    if bring:
        blocks += [Heading(words("package_bring")), Ticks(bring)]
    if marks or record.get("hauls", {}).get("lines"):
        blocks += _where(given, marks, keys, tape, sayer)
    blocks += [*_stakes(given, sayer), *_runs(given, sayer)]
    checks = checks_table(now, sayer, keys)
    blocks += [Heading(words("package_checks")), *checks, Ticks([words(f"package_check_{k}") for k in (("edge", "straight", "water", "photo") if checks else ("water", "photo"))])]
    blocks += [Caution(words("package_cautions"), [words(f"package_caution_{k}") for k in ("dust", "machine", "hands", "heat", "law")])]
    blocks.append(Blanks(words("package_sign"), [words(f"package_sign_{k}") for k in ("day", "who", "hours", "handful", "bearing", "corner", "mix", "sod", "left", "name")]))
    return on_paper(given, sayer, title, _under(record, day, sayer), blocks, day)


def _under(record: Mapping, day: str, sayer: Sayer) -> list[str]:
    words = sayer.words
    if not day:
        return [words("no_usable_survey")]
    out = [words("package_under", day=words.date(day))]
    if record.get("survey"):
        out.append(words(f"package_chosen_{record['chosen'] or 'none'}"))
    hours = [(key, h) for key, h in (("fill", (chosen_row(record) or {}).get("hours")), ("edge", record.get("lip_hours"))) if h]
    return out + ([words("package_hours", what=words.listed([words(f"package_hours_{key}", hours=printed(h, 1)) for key, h in hours]))] if hours else [])


def _first(given: FieldInput, record: Mapping, unsafe: Sequence[str], sayer: Sayer) -> list[str]:
    words, rows = sayer.words, record.get("keep_outs", ())
    out = [words("package_unsafe", what=" ".join(unsafe))] if unsafe else []
    out += [since] if (since := since_line(given, sayer)) else []
    years = [year for year, field_id in given.settings.plan.pinned(LASER_GRADE) if field_id == given.field_id]
    out += [words("package_pinned", years=words.listed(map(str, years)))] if years else []
    lost, of = lost_of(rows)
    if rows:
        out.append(words.count("package_lost", lost, of=of) if lost else words("keep_all_found"))
    out += conflict_lines(record, record.get("chosen", ""), given, sayer)
    if record.get("depth_from") in ("none", "stated"):
        out.append(words(f"grade_depth_{record['depth_from']}"))
    if record.get("relative"):
        out.append(words("grade_relative"))
    if record.get("probe_places"):
        out.append(words("package_probe"))
    return out + [words("package_notice")]


def _steps(given: FieldInput, now: Standing, found: Sequence[Task], keys: Mapping[Finding, str], sayer: Sayer) -> list[Block]:
    words, finish = sayer.words, (sayer.words("package_finish"), [])
    if not found:
        return [Lines([words("package_nothing")]), Steps([finish])]
    fills = filling(list(found), sayer, given.settings.material)
    return [Steps([*((t.title, _how(t, given, keys, sayer)) for t in _in_order(found, given.designs, words("do_cores"))), finish]), Lines(fills[:1], small=True)]


def _how(task: Task, given: FieldInput, keys: Mapping[Finding, str], sayer: Sayer) -> list[str]:
    """How a task is done; what the survey found is in the tables."""
    words, first = sayer.words, task.findings[0] if task.findings else None
    if first is None:
        return [words("package_probe")] if task.title == words("do_cores") else list(task.lines)
    if first.kind == LOW_SPOT:
        return [" ".join(filter(None, [_mix(first, given, sayer), _staked(task, given.designs, sayer)])), *_fed(first, given.designs, keys, sayer), *([words("package_at_base")] if first.place_id in given.layout.anchors else [])]
    if first.kind in (PLANARITY, GAP, FALL) and given.designs.get("chosen") in WHOLE_SKIN:
        return [words("package_level"), *task.lines]
    if first.kind == MIX:
        return [line for line in task.lines if line != words("mix_where")] + _thin(given, sayer)
    if first.kind == CREPT:
        return [*task.lines, *met_lines(task, given, keys, sayer)]
    if first.kind in (LIP, LOW_SKIN, STEP):
        return [*_remedies(task, keys, sayer), *met_lines(task, given, keys, sayer)]
    return list(task.lines)


def _thin(given: FieldInput, sayer: Sayer) -> list[str]:
    """The thinnest places, where most of the mix goes."""
    rows = [r for r in given.standing.newest.rows["mix_depth"] if r["zone"] != SKIN and r["verdict"] == WORK and r["depth_mm"] is not None and r["least_mm"] is not None]
    rows.sort(key=lambda r: (r["depth_mm"] - r["least_mm"], r["zone"]))
    found = [sayer.words("package_add", place=sayer.placing.place(r["zone"]), height=sayer.height(r["least_mm"] - r["depth_mm"], r["depth_sigma_mm"])) for r in rows[:MOST_THIN]]
    return [sayer.words("package_thin", places="; ".join(found))] if found else []


def _remedies(task: Task, keys: Mapping[Finding, str], sayer: Sayer) -> list[str]:
    """Each way of working an edge with the marks of its stretches: 'A, E: wash ...'."""
    hows: dict[str, list[str]] = {}
    for f in task.findings:
        hows.setdefault(remedy(f.value_mm, f.row["width_mm"]) if f.kind == LIP else f"{f.kind}_how", []).append(keys.get(f, ""))
    lines = [sayer.words("package_stretches")] if any(filter(None, sum(hows.values(), []))) else []
    for how, marks in hows.items():
        named = ", ".join(sorted(filter(None, marks)))
        lines.append((f"{named}: " if named else "") + sayer.words(how))
    return lines


def _fed(finding: Finding, record: Mapping, keys: Mapping[Finding, str], sayer: Sayer) -> list[str]:
    """Which stretches of edge give their mix to a low spot, and how much."""
    spot = filled_at(finding, record)
    rows = [r for r in record.get("lip_work", ()) if spot is not None and r["goes_to"] == spot["name"] and r["out_m3"]]
    if not rows:
        return []
    marks = ", ".join(sorted(filter(None, (mark_of(r, keys) for r in rows))))
    volume = figure(sum(r["out_m3"] for r in rows), sum(r["out_sigma_m3"] for r in rows), sayer.units.volume)
    return [sayer.words("package_fed", marks=marks, volume=volume)]


def _in_order(found: Sequence[Task], record: Mapping, do_cores: str) -> list[Task]:
    """The tasks of the page, probing first, an edge that feeds a low spot before that spot."""
    probing = [t for t in found if t.title == do_cores]  # nobody cuts before the depth is known
    out = probing + [t for t in found if t not in probing]
    for task in found:
        spots = [s["name"] for f in task.findings if f.kind == LOW_SPOT and (s := filled_at(f, record)) is not None]
        feeding = {(r["edge_id"], r["from_m"]) for r in record.get("lip_work", ()) if r["goes_to"] in spots and r["out_m3"]}
        for edge in [t for t in out if any(f.stretch is not None and (f.place_id, f.stretch.from_m) in feeding for f in t.findings)]:
            if out.index(edge) > out.index(task):
                out.remove(edge)
                out.insert(out.index(task), edge)
    return out


def _mix(finding: Finding, given: FieldInput, sayer: Sayer) -> str:
    """Mix for one low spot: as the design fills it, to the plane of the ground around, or as the survey's low spot takes."""
    record = given.designs
    found, loose = filled_at(finding, record), given.settings.material.of("loose_t_per_m3")
    if record.get("chosen") in WHOLE_SKIN and finding.place_id not in ON_MOUND:
        return sayer.words("package_hauled")
    if found is None or found["tonnes"] is None:
        return f"{mix_needed(finding, sayer, given.settings.material)} {sayer.words('package_by_hand')}"
    units = sayer.units
    bucket = sayer.words("fill_loose", volume=figure(found["tonnes"] / loose, None, units.volume)) if loose else ""
    return sayer.words("package_mix", mass=figure(found["tonnes"], found["tonnes_sigma"], units.mass), volume=figure(found["fill_m3"], None, units.volume), loose=bucket)


def _staked(task: Task, record: Mapping, sayer: Sayer) -> str:
    """Which stakes stand in the low spots of a task."""
    names = {at["name"] for f in task.findings if f.kind == LOW_SPOT and (at := filled_at(f, record)) is not None}
    points = [s["point"] for s in record.get("stakes", ()) if s["description"].split(",")[0] in names]
    if not points:
        return ""
    whole = points == list(range(points[0], points[-1] + 1))
    return sayer.words("package_stakes", points=f"{points[0]}{TO}{points[-1]}" if whole and len(points) > 2 else ", ".join(map(str, points)))


def _where(given: FieldInput, marks: Sequence[Mark], keys: Mapping[Finding, str], tape: str, sayer: Sayer) -> list[Block]:
    words, record = sayer.words, given.designs
    hauls = record.get("hauls", {}).get("lines", ())
    title = words("package_plan")
    about = words("package_plan_about", marks=len(marks), hauls=len(hauls))
    moves = haul_table(record.get("hauls", {}), sayer)
    edges = edge_table(record.get("lip_work", ()), keys, tape, sayer)
    reads = words("package_plan_reads") + (" " + words("package_plan_hauls") if any(h["kind"] == "carry" for h in hauls) else "")
    out: list[Block] = [Heading(words("package_where")), Picture(plan(given, hauls, marks, title, about, sayer), title, about, reads, WHOLE_PLAN_MM if record.get("chosen") in WHOLE_SKIN else PLAN_MM)]
    return out + [b for b in (*moves, *edges) if b]


def _stakes(given: FieldInput, sayer: Sayer) -> list[Block]:
    """Of low spots a table; of a whole skin a plan with what to do at each point of the grid."""
    words, record = sayer.words, given.designs
    if record.get("chosen") not in WHOLE_SKIN:
        return stake_tables(record, given, sayer)
    title = words("stake_caption")
    about = words("stake_plan_about", number=len(record["stakes"]))
    return [Heading(title), Lines([words("stake_grid")]), Picture(stake_plan(given, record["stakes"], title, about, sayer), words("stake_plan"), about, words("stake_plan_reads", unit=rod_unit(sayer).name), STAKES_MM)]


def _runs(given: FieldInput, sayer: Sayer) -> list[Block]:
    found = runs_block(given, sayer)
    if not found:
        return []
    out: list[Block] = [Heading(sayer.words("package_runs")), Lines([*found["lines"], sayer.words("package_runs_when")])]
    if found["svg"]:
        out.append(Picture(found["svg"], found["title"], sayer.words("runs_map_about", number=len(given.designs["passes"]["runs"])), sayer.words("runs_read"), WHOLE_RUNS_MM if given.designs.get("chosen") in WHOLE_SKIN else RUNS_MM))
    return out
