"""A part of the demo district in a folder of its own, run as an operator runs it."""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import yaml

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo_inputs"


@dataclass(frozen=True)
class District:
    """root: the folder of the results; folder: the one with config.yaml; said: what `run` printed; status: how it ended."""

    root: Path
    folder: Path
    said: str = ""
    status: int = 0

    @property
    def results(self) -> Path:
        return self.root / "results"


def district(root: Path, fields: set[str], surveys: set[str], link_clouds: Path | None = None) -> District:
    """Copy the demo's folder below `root`, with some fields and surveys only.

    link_clouds : a folder of clouds already made, to be used in place of making them
    """
    folder = root / "demo_inputs"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("clouds"))
    for table in ("fields", "works", "readings", "control", "use", "games"):
        keep(folder / f"{table}.csv", lambda row: row["field_id"] in fields)
    keep(folder / "surveys.csv", lambda row: row["survey_id"] in surveys)
    settings(folder, lambda config: _only(config, fields))
    if link_clouds is not None:
        (folder / "scenario.yaml").unlink()
        (folder / "clouds").symlink_to(link_clouds)
    return District(root, folder)


def settings(folder: Path, edit) -> str:
    """Edit config.yaml in place; returns what it was."""
    path = folder / "config.yaml"
    before = path.read_text()
    config = yaml.safe_load(before)
    edit(config)
    path.write_text(yaml.safe_dump(config, sort_keys=False))
    return before


def _only(config: dict, fields: set[str]) -> None:
    """Leave out what is said of other fields."""
    config["plan"]["pins"] = [p for p in config["plan"]["pins"] if p["field_id"] in fields]
    for part in (config["grading"], *config["tolerances"].values()):
        if "fields" in part:
            part["fields"] = {k: v for k, v in part["fields"].items() if k in fields}


def keep(table: Path, wanted) -> None:
    """Rewrite a table with the rows that are wanted."""
    with table.open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    kept = [r for r in rows if wanted(r)]
    with table.open("w", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0].keys(), lineterminator="\n")
        writer.writeheader()
        writer.writerows(kept)


def add_survey(folder: Path, survey_id: str, flown_on: str) -> None:
    """Append the demo's row of one survey, with another date."""
    lines = (DEMO / "surveys.csv").read_text().splitlines()
    cells = next(line for line in lines if line.startswith(f"{survey_id},")).split(",")
    with (folder / "surveys.csv").open("a") as stream:
        stream.write(",".join([cells[0], flown_on, *cells[2:]]) + "\n")


def run(made: District, cores: int, code: Path = ROOT) -> District:
    """`skinplane run` in a process of its own; code: the folder whose package runs it."""
    done = _call(made, code, "--cores", str(cores))
    return District(made.root, made.folder, done.stdout + done.stderr, done.returncode)


def planned(made: District, code: Path = ROOT) -> dict[str, set[str]]:
    """What would run: rule -> its jobs, as 'field/survey', 'field' or 'survey'."""
    done = _call(made, code, "--dry")
    assert done.returncode == 0, done.stdout + done.stderr
    out: dict[str, set[str]] = {}
    for line in done.stdout.splitlines()[1:-1]:
        rule, *names = line.split()
        out.setdefault(rule, set()).update({"/".join(n for n in names if n != "-")} - {""})
    return out


def verb(made: District, name: str, *options: str) -> subprocess.CompletedProcess:
    """Another of the operator's verbs on the project."""
    return _call(made, ROOT, *options, name=name)


def _call(made: District, code: Path, *options: str, name: str = "run") -> subprocess.CompletedProcess:
    command = [sys.executable, "-m", "pipeline", name, str(made.folder), *options]
    return subprocess.run(command, cwd=code, env=os.environ | {"PYTHONPATH": str(code)}, capture_output=True, text=True, check=False)
