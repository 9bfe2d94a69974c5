"""`run`: check, then let the workflow bring every result up to date."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from pipeline.desk.engine import HOME, Ended, command, follow, last_word, planned, require_rules
from pipeline.desk.folders import cannot_write
from pipeline.desk.look import look, made_by
from pipeline.desk.roots import root_of, where_of
from pipeline.desk.summary import DONE, summary
from pipeline.errors import BadInput, Problem, did_you_mean
from pipeline.store.config import find, load
from pipeline.store.where import Where

FAILED = 1
ENGINE_LOG, ENGINE_FOLDER = "workflow.log", ".snakemake"


def run(config: Path, cores: int = 0, profile: str = "", dry: bool = False) -> int:
    """Exit status: 0 all done, 1 a job failed or nothing could be written, 3 done with surveys refused."""
    require_rules()
    profiles = [p.name for p in sorted((HOME / "config" / "profiles").iterdir())]
    if profile and profile not in profiles:
        raise BadInput([Problem("--profile", None, None, repr(profile), "one of " + ", ".join(profiles), f"Correct the name.{did_you_mean(profile, profiles)}", code="unknown-profile")])
    project, folder = load(config)
    look(project, folder)
    root, where = root_of(project, folder), where_of(project, folder)
    asked = command(find(config), root, cores, profile)
    if dry:
        return _say_plan(*planned(asked, root), made_by(folder))
    shut = cannot_write(*(root / name for name in (where.results, where.build, where.logs, ENGINE_FOLDER)))
    if shut is not None:
        print(f"cannot write to {os.path.relpath(shut)}", file=sys.stderr)
        return FAILED
    ended = follow(asked)
    if ended.status:
        for line in failure(ended, root, where):
            print(line, file=sys.stderr)
        return FAILED
    return summary(project, root, where)


def _say_plan(ended: Ended, jobs: list[tuple[str, dict[str, str]]], made: dict[str, str]) -> int:
    """Print the jobs that would run as a table."""
    if ended.status:
        print("The workflow could not be planned: " + last_word(ended.said), file=sys.stderr)
        return FAILED
    for line in plan_lines(jobs, made):
        print(line)
    return DONE


def plan_lines(jobs: list[tuple[str, dict[str, str]]], made: dict[str, str]) -> list[str]:
    """Step, field and survey of every job in columns, in the engine's order of steps, and how many there are."""
    if not jobs:
        return ["Everything is up to date; nothing would run."]
    surveys = {w["cloud"]: next((s for path, s in made.items() if w["cloud"].endswith(path)), w["cloud"]) for _, w in jobs if "cloud" in w}
    order = list(dict.fromkeys(step for step, _ in jobs))
    rows = [(step, w.get("field", "-"), w.get("survey") or surveys.get(w.get("cloud", ""), "-")) for step, w in jobs]
    rows = [("step", "field", "survey"), *sorted(rows, key=lambda r: (order.index(r[0]), r[1:]))]
    wide = [max(len(r[k]) for r in rows) for k in range(2)]
    lines = [f"{step:{wide[0]}}  {field:{wide[1]}}  {survey}" for step, field, survey in rows]
    return [*lines, f"{len(jobs)} job{'s' * (len(jobs) != 1)} would run."]


def failure(ended: Ended, root: Path, where: Where) -> list[str]:
    """What to say of a run that did not end well: each failed job with the last thing it said, never the engine's own words."""
    if ended.locked:
        return [f"Another run is at work in {root}, or one was cut off there. If none is, remove {root / '.snakemake' / 'locks'} and run again."]
    kept = root / where.logs / ENGINE_LOG
    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text("\n".join(ended.said) + "\n", encoding="utf-8")
    except OSError:
        return [f"cannot write to {os.path.relpath(kept.parent)}"]
    if not ended.failed:
        return [f"The workflow could not be run: {last_word(ended.said)}", f"All it said stands in {os.path.relpath(kept)}."]
    out = []
    for rule, log in dict.fromkeys(ended.failed):
        path = root / log
        said = last_word(path.read_text(encoding="utf-8", errors="replace").splitlines()) if log and path.is_file() else "it left no log"
        out.append(f"{rule} {' '.join(Path(log).with_suffix('').parts[2:])} failed: {said} ({os.path.relpath(path)})")
    return [*out, "Everything else was done." if ended.done else "Nothing was done."]
