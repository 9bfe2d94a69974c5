"""`day`: one crew's work around the games of a day."""

from __future__ import annotations

import datetime as dt
import os
import sys
from pathlib import Path

from pipeline import jobs
from pipeline.desk.folders import cannot_write
from pipeline.desk.roots import root_of, where_of
from pipeline.errors import BadInput, Problem
from pipeline.steps import day as step
from pipeline.store import files
from pipeline.store.config import load
from pipeline.store.where import Where


def day(config: Path, on: dt.date, rain_mm: float) -> int:
    """Write the page and say where it is. Exit status: 0, or 1 where it cannot be written."""
    project, folder = load(config)
    root = root_of(project, folder)
    where = Where(str(root / where_of(project, folder).results))
    if not files.is_file(Path(where.portfolio)):
        raise BadInput([Problem("day", None, None, f"no {os.path.relpath(where.portfolio)}", "the results of a run", "Run the project first: skinplane run.", code="not-run-yet")])
    if project.config.games is None:
        raise BadInput([Problem(project.files["config"], None, "games", "nothing", "a table of games", "Name games.csv under `games`.", code="no-games")])
    if project.tables["sites"] and project.config.crew.yard is None:
        raise BadInput([Problem(project.files["config"], None, "crew.yard", "nothing", "the site that the crew's day begins at", "Name it, or take out the table of sites.", code="no-yard")])
    days = sorted({g["on"] for g in project.tables["games"]})
    if not days:
        raise BadInput([Problem(project.files["games"], None, None, "no game", "a row for each game", "Add the games: field_id, on, starts, ends.", code="no-games")])
    if not days[0] <= on <= days[-1]:
        raise BadInput([Problem("day", None, "--on", str(on), f"a day from {days[0]} to {days[-1]}, for which {project.files['games']} names games", "Correct the day, or add its games.", code="day-without-games")])
    shut = cannot_write(root, Path(where.results), Path(where.day(on.isoformat(), "html")).parent)
    if shut is not None:
        print(f"cannot write to {os.path.relpath(shut)}", file=sys.stderr)
        return 1
    page = step.run(jobs.job(jobs.given(project, "day", str(folder))), on, rain_mm, where)
    print(f"Page: open {os.path.relpath(page)} in a browser; its table is beside it.")
    return 0
