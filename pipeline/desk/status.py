"""`status`: per field what is done, refused, missing, open and due, without running anything."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Mapping, Sequence

from pipeline.desk.columns import lined_up
from pipeline.desk.engine import command, last_word, planned
from pipeline.desk.roots import root_of, where_of
from pipeline.project import Project
from pipeline.store import files, records, tables
from pipeline.store.config import find, load
from pipeline.store.where import Where

DONE, REFUSED = 0, 3
HEAD = ("field", "newest survey", "surveys", "verdict", "hazards", "due", "results")
Job = tuple[str, dict[str, str]]


@dataclass(frozen=True)
class SurveyState:
    """One survey of one field. state : `done`, `refused`, `not run`, `to run` (again, or on); why : of a refused one its code and sentence"""

    survey_id: str
    state: str
    why: str = ""


def status(config: Path, quick: bool = False) -> int:
    """Print a row a field, then what is refused or missing. Exit status: 0, or 3 where a survey is refused. raises: BadInput

    quick : the engine is not asked what is out of date
    """
    project, folder = load(config)
    root, where = root_of(project, folder), where_of(project, folder)
    ended, jobs = (None, []) if quick else planned(command(find(config), root, 0, ""), root)
    if ended is not None and ended.status:
        print(f"What is out of date cannot be told: {last_word(ended.said)}")
        ended, jobs = None, []
    waiting = None if ended is None else jobs
    states = {field_id: survey_states(project, root, where, field_id, jobs) for field_id in sorted(project.fields)}
    there = Where(str(root / where.results))
    for line in lined_up(HEAD, rows(project, there, states, waiting)):
        print(line)
    for line in below(states, waiting, config):
        print(line)
    return REFUSED if any(s.state == "refused" for of_field in states.values() for s in of_field) else DONE


def survey_states(project: Project, root: Path, where: Where, field_id: str, jobs: Sequence[Job]) -> list[SurveyState]:
    """What became of each survey of a field, oldest first."""
    again = {w.get("survey") for _, w in jobs if w.get("field", field_id) == field_id}
    out = []
    for row in project.surveys_of(field_id):
        name = row["survey_id"]
        path = root / where.record(field_id, name)
        record = records.read(path) if files.is_file(path) else None
        if record is not None and record["verdict"] == "refused" and record.get("reason_code") == "elsewhere":
            continue
        if record is None:
            out.append(SurveyState(name, "not run"))
        elif name in again:
            out.append(SurveyState(name, "to run"))
        elif record["verdict"] == "refused":
            out.append(SurveyState(name, "refused", f"{record['reason_code']}: {record['reason']}"))
        else:
            out.append(SurveyState(name, "done"))
    return out


def rows(project: Project, there: Where, states: Mapping[str, Sequence[SurveyState]], waiting: Sequence[Job] | None) -> list[tuple[str, ...]]:
    """A row a field. waiting : jobs that would run; None where nobody asked"""
    verdict = {r["field_id"]: r["verdict"] for r in _table(there.portfolio, "portfolio")}
    hazards = [r["field_id"] for r in _table(there.hazards, "hazards") if r["state"] == "open"]
    due = _due(_table(there.season_queue, "season_queue"))
    out = []
    for field_id, surveys in states.items():
        newest = project.surveys_of(field_id)
        last = f"{newest[-1]['survey_id']} {newest[-1]['flown_on']}" if newest else "none"
        made = files.is_file(there.report(field_id))
        out.append((field_id, last, counted(surveys), verdict.get(field_id, "-"), str(hazards.count(field_id)) if made else "-", due.get(field_id, "-"), _results(field_id, made, waiting)))
    return out


def counted(surveys: Sequence[SurveyState]) -> str:
    """`4 done, 1 refused`."""
    words = ("done", "refused", "to run", "not run")
    counts = {word: sum(s.state == word for s in surveys) for word in words}
    return ", ".join(f"{n} {word}" for word, n in counts.items() if n) or "none"


def _results(field_id: str, made: bool, waiting: Sequence[Job] | None) -> str:
    if not made:
        return "not made"
    if waiting is None:
        return "made"
    n = sum(w.get("field") == field_id for _, w in waiting)
    return f"out of date, {n} job{'s' * (n != 1)}" if n else "up to date"


def _due(queue: Sequence[dict]) -> dict[str, str]:
    """The first week of the season's queue in which a field has something, and what."""
    out: dict[str, tuple] = {}
    for row in sorted((r for r in queue if r["done"] == "planned"), key=lambda r: (str(r["week_start"]), r["order"])):
        week, tasks = out.setdefault(row["field_id"], (row["week_start"], []))
        if week == row["week_start"] and row["task"] not in tasks:
            tasks.append(row["task"])
    return {field_id: f"{week}: {', '.join(tasks)}" for field_id, (week, tasks) in out.items()}


def _table(path: str, name: str) -> list[dict]:
    """A result's rows; none where it is not made, or was made by a version whose columns are others."""
    try:
        return tables.read(path, name) if files.is_file(path) else []
    except ValueError:
        return []


def below(states: Mapping[str, Sequence[SurveyState]], waiting: Sequence[Job] | None, config: Path) -> list[str]:
    """What the table cannot hold: each survey that is not done, and the next command."""
    out = []
    for field_id, surveys in states.items():
        if not surveys:
            out.append(f"{field_id}: no survey yet: skinplane add FILE {config}")
        out += [f"{field_id}: {s.survey_id} {s.state}" + (f" ({s.why})" if s.why else "") for s in surveys if s.state != "done"]
    codes = dict.fromkeys(s.why.split(":")[0] for surveys in states.values() for s in surveys if s.state == "refused")
    if codes:
        out.append("What a refusal means: " + ", ".join(f"skinplane explain {code}" for code in codes))
    if waiting:
        out.append(f"{len(waiting)} job{'s' * (len(waiting) != 1)} would run: skinplane run {config}")
    elif waiting is None and any(s.state == "not run" for surveys in states.values() for s in surveys):
        out.append(f"skinplane run {config} makes what is missing.")
    return ["", *out] if out else []
