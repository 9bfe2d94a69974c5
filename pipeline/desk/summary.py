"""What `run` says at the end: where to look, unsafe fields first, the other verdicts in a line each, refused surveys."""

from __future__ import annotations

import os
from pathlib import Path

from pipeline.owner import Tolerances
from pipeline.project import Project
from pipeline.report.words import Words
from pipeline.steps.spoken import in_tables
from pipeline.store import tables
from pipeline.store.where import Where

DONE, REFUSED = 0, 3
AFTER_UNSAFE = ("work", "watch", "not_enough_evidence", "good")


def summary(project: Project, root: Path, where: Where) -> int:
    """Print what was found. Exit status: 0 done, 3 done with surveys refused."""
    surveyed = surveys(project, root, where)
    for line in lines(project, root, where, surveyed, in_tables()):
        print(line)
    return REFUSED if any(map(_refused, surveyed)) else DONE


def surveys(project: Project, root: Path, where: Where) -> list[dict]:
    """What became of every survey, field by field: rows of survey_quality, each with its field's id."""
    return [
        {**row, "field_id": field_id}
        for field_id in sorted(project.fields) for row in tables.read(root / where.table(field_id, "survey_quality"), "survey_quality")
    ]  # fmt: skip


def _refused(survey: dict) -> bool:
    return survey["verdict"] == "refused"


def _none_unsafe(tolerances: Tolerances, measured: bool) -> str:
    """Which sentence stands where no field is unsafe: without a trip limit nothing could be."""
    limits = [tolerances.lip_trip_mm, tolerances.low_spot_trip_mm]
    if not measured:
        return "said_none_measured"
    return "said_no_trip_limit" if limits == [None, None] else "said_some_trip_limit" if None in limits else "said_none_unsafe"


def lines(project: Project, root: Path, where: Where, surveyed: list[dict], words: Words) -> list[str]:
    refused = [r for r in surveyed if _refused(r)]
    fields = tables.read(root / where.portfolio, "portfolio")
    name = {f: row.get("name") or f for f, row in project.fields.items()}
    unsafe = [r for r in fields if r["verdict"] == "unsafe"]
    out = [words("said_unsafe", field=name[r["field_id"]], what=r["reason"]) for r in unsafe]
    out = out or [words(_none_unsafe(project.config.tolerances, len(refused) < len(surveyed)))]
    for verdict in AFTER_UNSAFE:
        named = [name[r["field_id"]] for r in fields if r["verdict"] == verdict]
        if named:
            out.append(words("said_others", word=words(f"verdict_{verdict}"), fields=", ".join(named)))
    if refused:
        out.append(words.count("said_refused", len(refused)))
        rows = {s: f"{project.files['surveys']} row {row.row}" for s, row in project.surveys.items()}
        out += [words("said_refusal", survey=f"{r['survey_id']}, {rows[r['survey_id']]}", field=name[r["field_id"]], reason=r["reason"]) for r in refused]
    return [*out, words("said_where", path=os.path.relpath(root / where.index))]
