"""`run`: check, then let the workflow bring every result up to date."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from pipeline.desk.check import look
from pipeline.desk.summary import summary
from pipeline.desk.workflow import Workflow, root_of
from pipeline.store.config import load

HOME = Path(__file__).resolve().parent.parent.parent
DONE, REFUSED, FAILED = 0, 3, 1
_STEPS = re.compile(r"^(\d+) of (\d+) steps")
_RULE = re.compile(r"^(?:local)?rule (\w+):")


def run(config: Path, cores: int = 0, profile: str = "", dry: bool = False) -> int:
    """Exit status: 0 all done, 1 a job failed, 3 done with surveys refused."""
    project, folder = load(config)
    look(project, folder)
    root = root_of(project, folder)
    command = [
        sys.executable, "-m", "snakemake", "--snakefile", str(HOME / "Snakefile"), "--directory", str(root),
        "--cores", str(cores or os.cpu_count() or 1), "--config", f"project={config.resolve()}", "--nocolor",
        "--keep-going", "--rerun-incomplete", "--scheduler", "greedy",
    ]  # fmt: skip
    if profile:
        command += ["--profile", str(HOME / "config" / "profiles" / profile)]
    if dry:
        return subprocess.run([*command, "--dry-run"], check=False).returncode
    status = _follow(command)
    if status:
        return FAILED
    return summary(project, root, folder)


def _follow(command: list[str]) -> int:
    """Run the workflow; show how far it is. What it prints is kept for the case that it fails."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, [str(HOME), os.environ.get("PYTHONPATH")]))}
    console = Console(stderr=True)
    said = []
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment) as process, \
            Progress(*columns, console=console, disable=not console.is_terminal) as bar:  # fmt: skip
        task = bar.add_task("planning", total=None)
        for line in process.stdout:
            said.append(line)
            if found := _RULE.match(line):
                bar.update(task, description=found[1])
            elif found := _STEPS.match(line):
                done, total = int(found[1]), int(found[2])
                bar.update(task, completed=done, total=total)
                if not console.is_terminal and (done == total or done * 10 // total > (done - 1) * 10 // total):
                    print(f"{done} of {total} jobs done", file=sys.stderr, flush=True)
    if process.returncode:
        sys.stderr.writelines(said)
        print("A job failed; what it said stands above and in the logs folder. Everything else was done.", file=sys.stderr)
    return process.returncode
