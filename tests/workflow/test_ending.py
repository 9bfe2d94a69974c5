"""How `run` ends where it may not write, where a job fails, where it is told to stop; what `--dry` says and leaves."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest
from support.small_district import ROOT, district
from workflow.test_check import cloud, row, small

from pipeline.desk import engine
from pipeline.desk.folders import cannot_write
from pipeline.desk.run import failure, plan_lines
from pipeline.desk.stop import Stopped, stoppable
from pipeline.store.where import Where


def skinplane(*words: str, cwd: Path = ROOT) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-m", "pipeline", *words], cwd=cwd, env=os.environ | {"PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False)


@pytest.fixture
def project(tmp_path) -> Path:
    cloud(tmp_path / "june.csv")
    return small(tmp_path, row("june"))


@pytest.mark.analytic
@pytest.mark.parametrize(("verb", "block"), [("run", "build"), ("run", "logs"), ("run", "out"), ("foresee", "out")])
def test_a_folder_that_cannot_be_written_to_is_said_in_one_line_before_anything_runs(project, verb, block):
    (project / "config.yaml").write_text("results: out/results\n" if block == "out" else "")
    (project / block).write_text("a file, where a folder is wanted\n")
    before = sorted(p.name for p in project.iterdir())
    done = skinplane(verb, str(project), *(["moth"] if verb == "foresee" else []))
    lines = done.stderr.splitlines()
    assert done.returncode == 1 and len(lines) == 1 and lines[0].startswith("cannot write to ") and done.stdout == ""
    assert sorted(p.name for p in project.iterdir()) == before


@pytest.mark.analytic
def test_a_folder_without_leave_to_write_is_found(tmp_path, monkeypatch):
    shut = tmp_path / "shut"
    shut.mkdir()
    may = os.access
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != shut and may(path, mode))  # root may write everywhere
    assert cannot_write(tmp_path / "new" / "deep", shut / "results") == shut / "results" and cannot_write(tmp_path) is None


@pytest.mark.analytic
def test_a_dry_run_lists_its_jobs_and_leaves_nothing_behind(tmp_path):
    made = district(tmp_path, {"moth"}, {"moth-2025-04", "moth-2026-04"})
    before = sorted(str(p) for p in tmp_path.rglob("*"))
    done = skinplane("run", str(made.folder), "--dry")
    lines = [line.split() for line in done.stdout.splitlines()]
    assert done.returncode == 0 and done.stderr == "" and lines[0] == ["step", "field", "survey"]
    assert ["simulate", "-", "moth-2025-04"] in lines and ["tie", "moth", "moth-2026-04"] in lines and ["portfolio", "-", "-"] in lines
    assert done.stdout.splitlines()[-1] == f"{len(lines) - 2} jobs would run." and len(lines) == 24
    assert sorted(str(p) for p in tmp_path.rglob("*")) == before
    assert plan_lines([], {}) == ["Everything is up to date; nothing would run."]


FAILED = """rule grid:
Error in rule grid:
    jobid: 3
    output: build/grid/june
    log: logs/grid/june.log (check log file(s) for error details)
    shell:
        python -m pipeline step grid
Traceback (most recent call last):
"""


@pytest.mark.analytic
@pytest.mark.parametrize("done", [0, 4])
def test_a_failed_job_is_named_with_its_last_word_and_no_traceback(tmp_path, capsys, done):
    log = tmp_path / "logs" / "grid" / "june.log"
    log.parent.mkdir(parents=True)
    log.write_text("Traceback (most recent call last):\n  File\nMemoryError: no room\n\n")
    script = tmp_path / "engine.py"
    steps = f"{done} of 9 steps (4%) done\n" if done else ""
    script.write_text(f"import sys; sys.stdout.write({FAILED + steps!r}); sys.exit(1)")
    ended = engine.follow([sys.executable, str(script), "--directory", str(tmp_path)])
    said = failure(ended, tmp_path, Where())
    assert said == [f"grid june failed: MemoryError: no room ({os.path.relpath(log)})", "Everything else was done." if done else "Nothing was done."]
    assert "Error in rule" in (tmp_path / "logs" / "workflow.log").read_text() and "Traceback" not in capsys.readouterr().err


@pytest.mark.analytic
def test_an_engine_that_never_began_is_said_in_two_lines(tmp_path):
    ended = engine.Ended(1, said=["Traceback (most recent call last):", "WorkflowError: no such thing"])
    said = failure(ended, tmp_path, Where())
    assert said[0] == "The workflow could not be run: WorkflowError: no such thing" and len(said) == 2
    (said,) = failure(engine.Ended(1, said=["Error: Directory cannot be locked. Please make sure"]), tmp_path, Where())
    assert said.startswith("Another run is at work in ")


@pytest.mark.analytic
@pytest.mark.parametrize(("number", "heeds"), [(signal.SIGINT, True), (signal.SIGTERM, True), (signal.SIGINT, False)])
def test_told_to_stop_it_takes_engine_and_jobs_along(tmp_path, monkeypatch, number, heeds):
    """An engine with a job of its own; one that does not heed is made to end, and its lock is taken away."""
    monkeypatch.setattr(engine, "GRACE_S", 20 if heeds else 0.3)
    ignore = "" if heeds else "import signal; [signal.signal(s, signal.SIG_IGN) for s in (signal.SIGINT, signal.SIGTERM)]\n"
    job = tmp_path / "job.py"
    job.write_text(f"{ignore}import os, time\nopen({str(tmp_path / 'pid')!r}, 'w').write(str(os.getpid()))\ntime.sleep(60)\n")
    fake = tmp_path / "engine.py"
    fake.write_text(f"{ignore}import os, subprocess, sys\nos.kill({os.getpid()}, 0)\np = subprocess.Popen([sys.executable, {str(job)!r}])\n"
                    f"import time\nwhile not os.path.exists({str(tmp_path / 'pid')!r}): time.sleep(0.05)\ntime.sleep(0.2)\nos.kill({os.getpid()}, {int(number)})\ntime.sleep(60)\n")  # fmt: skip
    lock = tmp_path / ".snakemake" / "locks" / "0.input.lock"
    lock.parent.mkdir(parents=True)
    lock.write_text("x")
    began = time.monotonic()
    with pytest.raises(Stopped) as caught, stoppable():
        engine.follow([sys.executable, str(fake), "--directory", str(tmp_path)])
    assert caught.value.status == 128 + number and time.monotonic() - began < 30 and not lock.exists()
    pid = int((tmp_path / "pid").read_text())
    for _ in range(100):
        if not alive(pid):
            break
        time.sleep(0.05)
    assert not alive(pid)


def alive(pid: int) -> bool:
    """Whether a process runs: one that has ended and was not yet fetched does not."""
    try:
        return re.search(r"^State:\s+Z", Path(f"/proc/{pid}/status").read_text(), re.M) is None
    except (FileNotFoundError, ProcessLookupError):
        return False


@pytest.mark.analytic
@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_stopped_run_says_that_it_can_go_on(project, number, status):
    process = subprocess.Popen([sys.executable, "-m", "pipeline", "run", str(project)], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    for _ in range(600):
        time.sleep(0.05)
        if (project / ".snakemake").is_dir():  # the engine has begun
            break
    process.send_signal(number)
    out, said = process.communicate(timeout=60)
    assert process.returncode == status and said.splitlines()[-1] == "Stopped; run again to go on." and "Traceback" not in said and out == ""
    assert not list((project / ".snakemake" / "locks").glob("*"))


@pytest.mark.analytic
@pytest.mark.parametrize("fields", [True, False])
def test_a_run_that_measured_nothing_does_not_sound_like_all_clear(tmp_path, fields):
    """No survey at all; and one survey of `all` fields where there is none."""
    cloud(tmp_path / "june.csv")
    folder = small(tmp_path, "" if fields else row("june", fields="all"))
    if not fields:
        (folder / "fields.csv").write_text((folder / "fields.csv").read_text().splitlines()[0] + "\n")
    done = skinplane("run", str(folder), "--cores", "1")
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.startswith("No field was measured.") and "trip limit" not in done.stdout
    assert len(pd.read_csv(folder / "results" / "portfolio.csv")) == int(fields)


@pytest.mark.analytic
def test_stopped_at_a_question_there_is_nothing_to_go_on_with(tmp_path):
    master, slave = os.openpty()
    process = subprocess.Popen([sys.executable, "-m", "pipeline", "new", str(tmp_path / "p")], cwd=ROOT, stdin=slave, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        read = ""
        while not read.endswith("Field's id, in small letters, digits and -: "):
            read += process.stdout.read(1)
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=60)
    finally:
        os.close(master), os.close(slave)
    assert process.returncode == 130 and said.splitlines()[-1] == "Stopped at a question; nothing was changed." and not (tmp_path / "p").exists()
