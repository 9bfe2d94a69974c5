"""What the workflow has to do, and what each job is handed: settings and rows as one line of JSON.

Only what a job uses is in it, so that only that makes it run again: no line numbers, no empty cells, no other
section's knobs. Pure: the caller says where the tables lie.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Iterable

from pipeline.project import Project
from pipeline.settings import Config, from_handed, handed, of_field
from pipeline.tables import TABLES, Read, Rows, read

# Tables whose rows of the job's field are handed to a verb.
FIELD_TABLES = {
    "layout": (),
    "measure": ("readings", "works"),
    "change": ("works",),
    "grade": ("works", "control"),
    "history": ("works", "walks", "readings", "use"),
    "report": ("works", "walks", "readings"),
    "bid": ("works", "walks", "readings", "control"),
}
# Tables of which a verb over all fields is handed every row, beside fields and surveys.
OVER_ALL = {"season": ("walks", "readings", "works", "sites", "stock", "games"), "day": ("walks", "readings", "works", "sites", "games"), "week": ("walks", "readings", "works", "games"), "portfolio": ("walks", "readings", "works"), "workbook": (), "catalogue": ()}
ALSO_OF_A_FIELD = ("workbook", "catalogue")  # verbs with a job a field and one over all
# Of such a table the column and words by which a verb takes its rows: whatever else is written down gives it nothing to do.
SEEN = ("seen",)
USED = ("lip_rise", "distance", "mix_depth", "level")  # readings that change a result: the page is made again after it anyway, and says since which report they were added
SINCE = {"works": "work_id", "walks": "walk_id", "readings": "reading_id"}  # tables whose rows a page holds against those of a report handed on, by id
TAKEN = {
    ("measure", "readings"): ("kind", ("lip_rise", "distance", "mix_depth")),
    ("measure", "works"): ("work", ("lip_cut", "sod", "edge_recut", "edge_clean", "roll", "laser_grade", "rebuild", "mix_add", "level", "bases")),
    ("history", "readings"): ("kind", ("level",)),
    **{(verb, "readings"): ("kind", SEEN) for verb in ("bid", *OVER_ALL)},
    ("report", "readings"): ("kind", (*SEEN, *USED)),
}


@dataclass(frozen=True)
class Job:
    """One job, as a step sees it.

    field, survey : ids, empty where the job is not about one
    settings      : the settings handed to the verb
    rows          : table name -> rows
    order         : survey ids whose order matters to the verb
    tables_dir    : folder that paths in the tables are relative to, from where the workflow runs
    """

    field: str
    survey: str
    settings: Config
    rows: dict[str, tuple[Read, ...]]
    order: tuple[str, ...]
    tables_dir: str
    handed: dict = field(default_factory=dict)

    @property
    def survey_row(self) -> Read:
        return next(r for r in self.rows["surveys"] if r["survey_id"] == self.survey)

    @property
    def field_row(self) -> Read:
        return next(r for r in self.rows["fields"] if r["field_id"] == self.field)


def given(project: Project, verb: str, tables_dir: str, field_id: str = "", survey_id: str = "") -> str:
    """The JSON a job is handed. Keys sorted: the same job gives the same line."""
    rows: dict[str, list[Read]] = {}
    order: tuple[str, ...] = ()
    if verb == "grid":
        survey = project.surveys[survey_id]
        rows["surveys"], order = [survey], project.fields_of(survey)
    elif verb == "tie":
        survey = project.surveys[survey_id]
        rows["surveys"] = [survey]
        rows["control"] = [r for r in project.tables["control"] if r["point_id"] in survey.get("checkpoints", ())]
        order = earlier_baselines(project, field_id, survey_id)
    elif verb == "measure":
        rows["surveys"] = [project.surveys[survey_id]]
    elif verb in ("change", "grade", "history", "report", "bid") or verb in ALSO_OF_A_FIELD and field_id:
        rows["surveys"] = list(project.surveys_of(field_id))
        order = (survey_id,) if verb == "bid" else project.baseline_order(field_id)  # of a bid its year
    elif verb == "plan":
        for table in ("fields", "surveys", "works", "use"):
            rows[table] = list(project.tables.get(table, ()))
    elif verb in OVER_ALL:
        rows["fields"] = list(project.fields.values())
        rows["surveys"] = list(project.surveys.values())
        for table in OVER_ALL[verb]:
            rows[table] = taken(verb, table, project.tables.get(table, ()))
    if verb in ("layout", "measure", "grade", "report", "history", "bid") or verb in ALSO_OF_A_FIELD and field_id:
        rows["fields"] = [project.fields[field_id]]
    for table in FIELD_TABLES.get(verb, ()):
        rows[table] = taken(verb, table, project.rows_of(table, field_id))
    settings = handed(project.config, verb)
    if verb == "workbook" and field_id:  # a budget is none of a field's
        settings = {n: settings[n] for n in ("language", "units", "currency", "costs", "prices")}
    plain = {
        "settings": of_field(settings, field_id) if verb in ("history", "report", "catalogue") else settings,
        "rows": {table: [dict(sorted(r.cells.items())) for r in found] for table, found in rows.items()},
        "order": list(order),
        "tables_dir": tables_dir,
    }
    return json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=True)


def taken(verb: str, table: str, rows: Iterable[Read]) -> list[Read]:
    """Those of a table's rows that a verb uses."""
    column, words = TAKEN.get((verb, table), ("", ()))
    return [r for r in rows if not column or r.get(column) in words]


def earlier_baselines(project: Project, field_id: str, survey_id: str) -> tuple[str, ...]:
    """The surveys that would be this field's baseline before this one. Its own tie needs no other: if all of
    them are refused, it is the baseline itself. So a new routine survey changes nobody else's tie."""
    order = project.baseline_order(field_id)
    return order[: order.index(survey_id)]


def job(text: str, field_id: str = "", survey_id: str = "") -> Job:
    """The job that a line of JSON hands over."""
    plain = json.loads(text)
    rows = {}
    for table, cells in plain["rows"].items():
        header = tuple(f.name for f in TABLES[table])
        rows[table] = read(table, Rows(f"{table}.csv", header, tuple(enumerate(cells, start=2))))[0]
    return Job(field_id, survey_id, from_handed(plain["settings"]), rows, tuple(plain["order"]), plain["tables_dir"], plain["settings"])
