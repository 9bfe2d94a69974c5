"""`foresee`: one field's page of what a survey would see."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from pipeline.desk.folders import cannot_write
from pipeline.desk.look import features_problem, require_filled
from pipeline.desk.roots import root_of, where_of
from pipeline.errors import BadInput, Problem, did_you_mean
from pipeline.steps import foresee as step
from pipeline.store.config import load
from pipeline.store.where import Where


def foresee(config: Path, field: str, source: str, height_m: float | None, spacing_mm: float | None, like: str) -> int:
    """Write the page and say where it is. Exit status: 0, or 1 where it cannot be written."""
    project, folder = load(config)
    require_filled(project)
    if field not in project.fields:
        raise BadInput([Problem("foresee", None, None, f"the field {field!r}", "a field_id of the table of fields", f"Correct the name.{did_you_mean(field, project.fields)}", code="unknown-field")])
    missing = features_problem(project, folder, project.fields[field])
    if missing:
        raise BadInput([missing])
    root = root_of(project, folder)
    where = Where(str(root / where_of(project, folder).results))
    shut = cannot_write(root, Path(where.results), Path(where.foresee(field)))
    if shut is not None:
        print(f"cannot write to {os.path.relpath(shut)}", file=sys.stderr)
        return 1
    page = step.run(project, str(folder), field, step.Wanted(source, spacing_mm, height_m, like), where)
    print(f"Page: open {os.path.relpath(page)} in a browser; its tables are beside it.")
    return 0
