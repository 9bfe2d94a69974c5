"""What the Snakefile asks: which jobs there are, what each is handed, which files it reads."""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

from pipeline import jobs
from pipeline.desk.look import SCENARIO, made_by
from pipeline.desk.roots import root_of, where_of
from pipeline.fingerprint import fingerprint
from pipeline.owner import LASER_GRADE
from pipeline.store import files, issued
from pipeline.store.config import load
from pipeline.store.records import sha256
from pipeline.variables import FIELD_TABLES


class Workflow:
    """One project, seen from the folder that holds its results.

    given : config.yaml or its folder
    verbs : the rules there are; a verb without a rule is a mistake
    """

    def __init__(self, given: str, verbs: tuple[str, ...]):
        self.project, folder = load(given)
        self.root = root_of(self.project, folder)
        self.where = where_of(self.project, folder)
        self.folder_now = folder  # from where the engine reads the rules
        self.folder = Path(os.path.relpath(folder.resolve(), self.root))
        self._code = {verb: fingerprint(verb) for verb in verbs}
        self.scenario = self.folder / SCENARIO
        self.made = made_by(self.folder)

    @property
    def fields(self) -> list[str]:
        return sorted(self.project.fields)

    @property
    def bids(self) -> list[tuple[int, str]]:
        """Year and field of each laser grade that the owner has pinned to a year."""
        return [(year, field) for year, field in self.project.config.plan.pinned(LASER_GRADE) if field in self.project.fields]

    @property
    def tables(self) -> tuple[str, ...]:
        return FIELD_TABLES

    @property
    def history_tables(self) -> list[str]:
        return [self.where.table("{field}", name) for name in FIELD_TABLES]

    def code(self, verb: str) -> str:
        return self._code[verb]

    def given(self, verb: str, field: str = "", survey: str = "") -> str:
        return jobs.given(self.project, verb, str(self.folder), field, survey)

    @property
    def scenario_digest(self) -> str:
        return sha256(self.scenario)

    def features(self, field: str) -> list[str]:
        """The file a field's shapes were drawn in, if there is one."""
        named = self.project.fields[field].get("features")
        return [str(self.folder / named)] if named else []

    def designs_named(self, field: str) -> list[str]:
        """Rasters that the field's works name among their documents, those that are there."""
        named = [d.strip() for w in self.project.rows_of("works", field) for d in (w.get("documents") or "").split(";")]
        found = [f for d in named if d.lower().endswith(files.RASTERS) for f in files.named(self.folder, d)]
        return sorted(set(found))

    def issued(self, field: str = "") -> list[str]:
        """What a page is held against: every file of the report that was last handed on with it; of all fields also what every other
        says of itself. Nothing where none was. Files that are gone are not asked for: what is left makes the page run again."""
        found = issued.issues(self.folder_now)
        last = issued.newest(found, field)
        named = set(last.files if last is not None else ())
        if not field:
            named |= {f for i in found for f in i.files if f.endswith((issued.MANIFEST, issued.SUMS))}
        return sorted(str(self.folder / Path(os.path.relpath(f, self.folder_now))) for f in named)

    @cache
    def clouds(self, survey: str) -> list[str]:
        """The files behind a survey: what its path or glob names, or what will be made under that name."""
        row = self.project.surveys[survey]
        return files.named(self.folder, row["path"]) or [str(self.folder / row["path"])]

    def fields_of(self, survey: str) -> tuple[str, ...]:
        return self.project.fields_of(self.project.surveys[survey])

    @cache
    def surveys_of(self, field: str) -> tuple[str, ...]:
        return tuple(s["survey_id"] for s in self.project.surveys_of(field))

    def earlier_baselines(self, field: str, survey: str) -> tuple[str, ...]:
        return jobs.earlier_baselines(self.project, field, survey)
