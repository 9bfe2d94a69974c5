"""`issue`: keep what is handed on, so that the next report can say what changed since."""

from __future__ import annotations

import datetime as dt
import json
import os
import sys
from pathlib import Path
from typing import Sequence

from pipeline import jobs
from pipeline.desk.engine import command, last_word, planned
from pipeline.desk.folders import cannot_write
from pipeline.desk.look import SCENARIO
from pipeline.desk.workflow import root_of, where_of
from pipeline.errors import BadInput, Problem, did_you_mean
from pipeline.fingerprint import fingerprint
from pipeline.project import Project
from pipeline.report.overview_places import FILES
from pipeline.steps.since import VERBS, settings_of
from pipeline.steps.spoken import in_tables
from pipeline.store import files, issued, records, tables
from pipeline.store.added import locked
from pipeline.store.config import find, load
from pipeline.store.provenance import versions
from pipeline.store.where import Where
from pipeline.variables import FIELD_TABLES

DONE, FAILED = 0, 1
PAPERS = ("work_package.pdf", "work_package.html", "keep_out.pdf")
BEHIND = {"simulate", "layout", "grid", "tie", "measure", "change", "grade", "history"}  # while one of these waits, the figures are older than the tables
OVER_ALL = {"season", "plan"}


def issue(config: Path, fields: Sequence[str], to: str = "", note: str = "", on: dt.date | None = None) -> int:
    """Keep the report as it lies in the results and say where. Exit status: 0, or 1 where it cannot be written; BadInput otherwise."""
    with locked(find(config).parent):  # two at once would take one number, and rows that come in meanwhile are in no result yet
        return _keep(config, fields, to, note, on)


def _keep(config: Path, fields: Sequence[str], to: str, note: str, on: dt.date | None) -> int:
    project, folder = load(config)
    root, where = root_of(project, folder), where_of(project, folder)
    there = Where(str(root / where.results))
    on, district = on or dt.date.today(), not fields
    chosen = sorted(set(fields)) or sorted(project.fields)
    before = issued.issues(folder)
    _can_be_issued(project, config, folder, root, there, chosen, district, on, before)
    if (shut := cannot_write(issued.folder_in(folder))) is not None:
        print(f"cannot write to {os.path.relpath(shut)}", file=sys.stderr)
        return FAILED
    made = issued.keep(folder, on.isoformat(), copies(there, chosen, district), manifest(project, folder, there, chosen, district, to, note))
    words = in_tables()
    for old in before:
        if old.altered:
            print(words("said_issue_altered", number=old.number, day=words.date(old.on), files=", ".join(old.altered)))
    for old in issued.broken_chain(before):
        print(words("said_issue_chain", number=old.number, day=words.date(old.on)))
    for number in issued.missing(before):
        print(words("said_issue_gone", number=number))
    print(words("said_issued", number=made.number, day=words.date(made.on), path=os.path.relpath(made.path)))
    return DONE


def _can_be_issued(project: Project, config: Path, folder: Path, root: Path, there: Where, chosen: Sequence[str], district: bool, on: dt.date, before) -> None:
    """Raise BadInput where a field is unknown, its results are not there or older than the tables, or the day is none it can have been."""
    problems = [Problem("issue", None, "FIELD", repr(f), "a field_id of the table of fields", f"Correct the name.{did_you_mean(f, project.fields)}", code="unknown-field") for f in chosen if f not in project.fields]
    if not problems:
        wanted = [there.report(f) for f in chosen] + ([there.index, there.board_paper] if district else [there.portfolio])
        problems += [Problem("issue", None, None, f"no {os.path.relpath(p)}", "the results of a run", "Run the project first: skinplane run.", code="not-run-yet") for p in wanted if not files.is_file(p)]
    if not problems:
        newest = max((r["flown_on"] for f in chosen for r in tables.read(there.table(f, "survey_quality"), "survey_quality")), default="")
        if str(on) < newest:
            problems.append(Problem("issue", None, "--on", str(on), f"the day it was handed on: it shows a survey of {newest}", "Correct the day.", code="issue-day"))
        if on > dt.date.today() and not files.is_file(folder / SCENARIO):  # a story may play in any year
            problems.append(Problem("issue", None, "--on", str(on), "a day that has come", "Correct the day.", code="day-to-come"))
        if before and str(on) < before[-1].on:
            problems.append(Problem("issue", None, "--on", str(on), f"no day before issue {before[-1].number}, of {before[-1].on}", "Correct the day.", code="issue-day"))
    if not problems and (waiting := _waiting(project, config, root, chosen, district)):
        problems.append(Problem("issue", None, None, f"results older than the tables: {waiting}", "results of the tables as they are", "Run the project first: skinplane run.", code="results-out-of-date"))
    if problems:
        raise BadInput(problems)


def _waiting(project: Project, config: Path, root: Path, chosen: Sequence[str], district: bool) -> str:
    """The first job, of those that make figures of what is handed on, that a run would do; empty where none would. Pages alone may wait:
    what is handed on is the page as it lies there.

    raises: BadInput where that cannot be told: a report that may be older than its tables is not kept as theirs
    """
    ended, waiting = planned(command(find(config), root, 1, ""), root)
    if ended.status:
        raise BadInput([Problem("issue", None, None, f"no telling what is out of date: {last_word(ended.said)}", "results of the tables as they are", "Run the project first: skinplane run.", code="results-out-of-date")])
    mine = {s["survey_id"] for f in chosen for s in project.surveys_of(f)}
    for step, names in waiting:
        if step in BEHIND and (names.get("field") in chosen or names.get("survey", "") in mine and "field" not in names) or district and step in OVER_ALL:
            return " ".join((step, *names.values()))
    return ""


def copies(where: Where, chosen: Sequence[str], district: bool) -> dict[str, str]:
    """Name in the issue, as below the results -> the file. Of a field its page, papers, sheets of works, tables and what they were made from."""
    out = []
    for f in chosen:
        out += [where.report(f), where.provenance(f), *(where.paper(f, name) for name in PAPERS), *(where.table(f, t) for t in (*FIELD_TABLES, "quantities", "handoffs"))]
        out += [f"{where.work_records(f)}/{name}" for name in files.below(where.work_records(f))]
        out += [where.record(f, r["survey_id"]) for r in tables.read(where.table(f, "survey_quality"), "survey_quality")]
    out += [where.portfolio, where.hazards]
    if district:
        out += [where.index, where.week("html"), where.week("pdf"), *(f"{where.results}/{name}" for name in FILES if name != Path(where.catalogue).name)]
    return {os.path.relpath(path, where.results): path for path in out if files.is_file(path)}


def manifest(project: Project, folder: Path, where: Where, chosen: Sequence[str], district: bool, to: str, note: str) -> dict:
    """What is to be known of an issue: to whom, made from which inputs, settings and rows, with which code."""
    given = {f: json.loads(jobs.given(project, "report", "", f)) for f in chosen}
    inputs = {s: found for f in chosen for s, found in records.read(where.provenance(f))["inputs"].items()}
    return {
        "to": to, "note": note, "fields": list(chosen), "district": district, "title": project.config.report.title, "versions": versions(), "code": {v: fingerprint(v) for v in VERBS}, "inputs": inputs,
        "tables": {name: records.sha256(folder / path) for name, path in sorted(project.files.items()) if files.is_file(folder / path)},
        "rows": {f: {name: {r[key]: r for r in g["rows"].get(name, ())} for name, key in jobs.SINCE.items()} for f, g in given.items()},
        "settings": {f: settings_of(g["settings"], f) for f, g in given.items()},
    }  # fmt: skip
