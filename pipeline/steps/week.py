"""week: the crew's sheet of the week, for a phone and on paper, from small records of the last run."""

from __future__ import annotations

from typing import Mapping

from pipeline.coordinates import read_crs, unit_m
from pipeline.jobs import Job
from pipeline.report.standing import JUDGED_BY
from pipeline.report.week.field_week import FieldWeek, Planned, planned_of
from pipeline.report.week.page import week_page
from pipeline.report.week.paper import week_paper
from pipeline.report.words import Words
from pipeline.steps.portfolio import field_seen
from pipeline.steps.report import usable
from pipeline.steps.season import newest
from pipeline.steps.spoken import to_crew
from pipeline.steps.surveyed import edges_used
from pipeline.store import arrays, pages, pdf, records, tables
from pipeline.store.where import Where
from pipeline.tables import Read


def run(job: Job, where: Where) -> None:
    """Write week.html and week.pdf: every field of the project, with or without a plan for it."""
    words, settings = to_crew(job.settings), job.settings
    queue = tables.read(where.season_queue, "season_queue")
    planned: dict[str, list[Mapping]] = {}
    for row in queue:
        planned.setdefault(row["field_id"], []).append(row)
    whys = {(field_id, task, rank): why for field_id, task, rank, why in records.read(where.season_said).get("crew_whys", ())}
    fields = [field_week(job, where, row, planned_of(planned.get(row["field_id"], []), row["field_id"], whys), words) for row in sorted(job.rows["fields"], key=lambda r: r["field_id"])]
    told = fields, newest(job), settings.report.title, settings.week.quiet_weeks
    pages.write(where.week("html"), "week/week.html", week_page(*told, words))
    paper = week_paper(*told, settings.units, words)
    pdf.write(where.week("pdf"), "papers/paper.typ", paper.plain(pages.style()), paper.day)


def field_week(job: Job, where: Where, row: Read, planned: tuple[Planned, ...], words: Words) -> FieldWeek:
    """One field as the sheet needs it: the tables it is judged by and the records of its layout, edges and designs; no raster."""
    field_id = row["field_id"]
    seen = field_seen(job, where, row, words, JUDGED_BY)
    order = [s["survey_id"] for s in sorted(job.rows["surveys"], key=lambda s: (s["flown_on"], s.row))]
    edges = edges_used(where, seen.reader.placing.layout, usable(seen.tables["survey_quality"], order))
    mine = {name: [r for r in job.rows[name] if r["field_id"] == field_id] for name in ("works", "games")}
    return FieldWeek(
        seen, arrays.read_record(where.graded(field_id)), edges, mine["works"], mine["games"], row.get("layout") or "", row.get("other_layout") or "",
        unit_m(read_crs(row["crs"])), planned,
    )  # fmt: skip
