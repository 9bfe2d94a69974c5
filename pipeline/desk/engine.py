"""The workflow engine as a process of its own: what it would do, how far it is, what failed. Its own words stay in a log."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, Progress, ProgressColumn, Task, TextColumn
from rich.text import Text

from pipeline.errors import BadInput, Problem

HOME = Path(__file__).resolve().parent.parent.parent
ENGINE = (sys.executable, "-m", "snakemake")
GRACE_S = 20  # a stopped engine may take so long to leave nothing half-made behind
_STEPS = re.compile(r"^(\d+) of (\d+) steps")
_RULE = re.compile(r"^(?:local)?rule (\w+):")
_WILDCARDS = re.compile(r"^\s+wildcards: (.*)")
_FAILED = re.compile(r"^Error in (?:local)?rule (\w+):")
_LOG = re.compile(r"^\s+log: (.+?)(?: \(check log file.*)?$")


@dataclass
class Ended:
    """How the engine ended: its status, jobs done, every line it wrote, and the jobs that failed as rule, log file."""

    status: int
    done: int = 0
    said: list[str] = field(default_factory=list)
    failed: list[tuple[str, str]] = field(default_factory=list)

    @property
    def locked(self) -> bool:
        return any("cannot be locked" in line or "LockException" in line for line in self.said)


def require_rules() -> None:
    """raises: BadInput where the package was installed without the rules beside it"""
    if not (HOME / "Snakefile").is_file():
        raise BadInput([Problem("skinplane", None, None, f"no {HOME / 'Snakefile'}", "the workflow's rules beside the package", "Install from a clone of the project, editable, as README.md says.", code="rules-missing")])


def command(config: Path, root: Path, cores: int, profile: str) -> list[str]:
    """The engine's command line for a project whose results lie below `root`. raises: BadInput, see `require_rules`"""
    require_rules()
    out = [
        *ENGINE, "--snakefile", str(HOME / "Snakefile"), "--directory", str(root),
        "--cores", str(cores or os.cpu_count() or 1), "--config", f"project={config.resolve()}", "--nocolor",
        "--keep-going", "--rerun-incomplete", "--scheduler", "greedy",
    ]  # fmt: skip
    return out + (["--profile", str(HOME / "config" / "profiles" / profile)] if profile else [])


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, [str(HOME), os.environ.get("PYTHONPATH")]))}


def planned(command: list[str], root: Path) -> tuple[Ended, list[tuple[str, dict[str, str]]]]:
    """What would run: rule and wildcards of every job. What the engine makes for itself on the way is taken away again."""
    before = _there(root)
    try:
        done = subprocess.run([*command, "--dry-run"], check=False, capture_output=True, text=True, env=environment())
    finally:
        for path in _there(root) - before:
            shutil.rmtree(path, ignore_errors=True)
    said = (done.stdout + done.stderr).splitlines()
    jobs: list[tuple[str, dict[str, str]]] = []
    for line in said:
        if found := _RULE.match(line):
            jobs.append((found[1], {}))
        elif jobs and (found := _WILDCARDS.match(line)):
            jobs[-1][1].update(part.split("=", 1) for part in found[1].split(", "))
    return Ended(done.returncode, said=said), [job for job in jobs if job[0] != "all"]


def _there(root: Path) -> set[Path]:
    """Those of the engine's own folder, `root` and the folders above it that exist."""
    return {path for path in (root / ".snakemake", root, *root.parents) if path.exists()}


def last_word(lines: list[str]) -> str:
    """The last line that says anything."""
    spoken = [line.strip() for line in lines if line.strip() and not line.endswith("found; nothing was run.")]
    return spoken[-1] if spoken else "it said nothing"


class _HowFar(ProgressColumn):
    """`7 of 18 jobs, about 2 min left`."""

    def render(self, task: Task) -> Text:
        return Text(how_far(task.completed, task.total, task.time_remaining))


def how_far(done: float, total: float | None, left_s: float | None) -> str:
    """Jobs done and time left in words; the time only once some jobs have shown how long they take."""
    if total is None:
        return ""
    said = f"{done:.0f} of {total:.0f} jobs"
    if left_s is None or done >= total:
        return said
    return said + (", under a minute left" if left_s < 60 else f", about {left_s / 60:.0f} min left" if left_s < 5400 else f", about {left_s / 3600:.0f} h left")


def follow(command: list[str]) -> Ended:
    """Run the workflow and show how far it is. Where this process is told to stop, so are the engine and its jobs."""
    console = Console(stderr=True)
    ended = Ended(0)
    columns = (BarColumn(bar_width=24), _HowFar(), TextColumn("{task.description}"))
    # In a group of its own: Ctrl-C reaches this process alone, which passes it on once.
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace", env=environment(),
                          start_new_session=True) as process:  # fmt: skip
        try:
            with Progress(*columns, console=console, disable=not console.is_terminal) as bar:
                task = bar.add_task("planning", total=None)
                for line in process.stdout:
                    _take(line, ended, bar, task)
        except BaseException:
            stop(process)
            raise
    ended.status = process.returncode
    return ended


def _take(line: str, ended: Ended, bar: Progress, task) -> None:
    """One line of the engine: keep it, and show what it says of progress."""
    ended.said.append(line.rstrip("\n"))
    if (found := _RULE.match(line)) and found[1] != "all":
        bar.update(task, description=found[1])
    elif found := _WILDCARDS.match(line):
        named = dict(part.split("=", 1) for part in found[1].split(", "))
        bar.update(task, description=" ".join([bar.tasks[task].description.split(" ")[0], *(named[w] for w in ("field", "survey") if w in named)]))
    elif found := _FAILED.match(line):
        ended.failed.append((found[1], ""))
    elif ended.failed and not ended.failed[-1][1] and (found := _LOG.match(line)):
        ended.failed[-1] = (ended.failed[-1][0], found[1])
    elif found := _STEPS.match(line):
        done, total = int(found[1]), int(found[2])
        ended.done = done
        bar.update(task, completed=done, total=total)
        if bar.disable and (done == total or done * 10 // total > (done - 1) * 10 // total):
            print(f"{done} of {total} jobs done", file=sys.stderr, flush=True)


def stop(process: subprocess.Popen) -> None:
    """End the engine and its jobs: first asked, then made to. The lock of a killed engine is taken away."""
    for sign in (signal.SIGINT, signal.SIGTERM):
        _send(process, sign)
        try:
            process.communicate(timeout=GRACE_S)
            break
        except subprocess.TimeoutExpired:
            continue
    else:
        _send(process, signal.SIGKILL)
        process.wait()
    _send(process, signal.SIGKILL)  # a job that outlived the engine
    root = Path(process.args[process.args.index("--directory") + 1])
    for lock in (root / ".snakemake" / "locks").glob("*.lock"):
        lock.unlink(missing_ok=True)


def _send(process: subprocess.Popen, sign: int) -> None:
    try:
        os.killpg(process.pid, sign)
    except ProcessLookupError:
        pass
