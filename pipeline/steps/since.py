"""What was handed on and what the same is made of now: reads the kept reports beside the operator's tables."""

from __future__ import annotations

from pathlib import PurePosixPath
from typing import Mapping
from urllib.parse import quote

from pipeline.errors import BadInput
from pipeline.fingerprint import fingerprint
from pipeline.jobs import SINCE, Job
from pipeline.report.since import Handed
from pipeline.report.since_why import MadeOf
from pipeline.settings import of_field
from pipeline.store import issued, records
from pipeline.store.issued import Issue
from pipeline.store.where import Where

VERBS = ("tie", "measure", "change", "history")  # what makes a figure of a field's tables
TABLES = ("survey_quality", "lip", "low_spots", "zones", "mix_depth", "change", "lip_change", "low_spot_change")


def handed_on(issue: Issue, field_id: str, page: str) -> Handed:
    """What an issue says of one field. page: the page it is told on, from where the workflow runs"""
    at = PurePosixPath("fields") / field_id
    told, unread = issue.manifest, []

    def read(path: str, name: str) -> list[dict]:
        try:
            if path in told.get("files", ()) and not issue.has(path):
                raise FileNotFoundError(path)
            return issue.table(path, name)
        except (BadInput, OSError, ValueError):  # somebody opened it and saved it as something else: no reason to make no page
            unread.append(path)
            return []

    tables = {name: read(f"{at}/{name}.csv", name) for name in TABLES}
    field = next((r for r in read("portfolio.csv", "portfolio") if r["field_id"] == field_id), None)
    hazards = [h for h in read("hazards.csv", "hazards") if h["field_id"] == field_id]
    quality = {r["survey_id"]: r for r in tables["survey_quality"]}
    made_of = MadeOf(issue.record(f"{at}/provenance.json"), {s: issue.record(f"{at}/surveys/{s}/survey.json") for s in quality}, quality,
                     told.get("rows", {}).get(field_id, {}), told.get("settings", {}).get(field_id, {}), told.get("code", {}))  # fmt: skip
    opens = "index.html" if page.endswith("index.html") else f"{at}/report.html"
    return Handed(issue.number, issue.on, told.get("to", ""), told.get("note", ""), address(page, f"{issue.path}/{opens}"), issue.altered, tables, field, hazards, made_of, tuple(unread))


def made_today(job: Job, where: Where, field_id: str, tables: Mapping) -> MadeOf:
    """The same of the results as they are. The verbs' code is looked at where a report was handed on only: it takes a second."""
    quality = {r["survey_id"]: r for r in tables["survey_quality"]}
    mine = {name: {r[SINCE[name]]: cells(r) for r in job.rows[name] if r["field_id"] == field_id} for name in SINCE if name in job.rows and (name != "readings" or job.field)}
    return MadeOf(records.read(where.provenance(field_id)), {s: records.read(where.record(field_id, s)) for s in quality}, quality, mine,
                  settings_of(job.handed, field_id), {v: fingerprint(v) for v in VERBS})  # fmt: skip


def settings_of(handed: Mapping, field_id: str) -> dict:
    """Of settings as handed what bears on a field's figures."""
    return {n: v for n, v in of_field(dict(handed), field_id).items() if n in ("tolerances", "material")}


def cells(row) -> dict[str, str]:
    """A row's cells as text, empty ones and its line number apart."""
    return dict(sorted(row.cells.items()))


def address(page: str, to: str) -> str:
    """The way from a page to a file, both named from one folder, as a link."""
    page_at, to_at = PurePosixPath(page).parent.parts, PurePosixPath(to).parts
    shared = next((k for k, (a, b) in enumerate(zip(page_at, to_at)) if a != b or a == ".."), min(len(page_at), len(to_at)))
    return quote("/".join([".."] * (len(page_at) - shared) + list(to_at[shared:])))


def all_issues(job: Job) -> list[Issue]:
    return issued.issues(job.tables_dir)
