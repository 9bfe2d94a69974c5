"""The command line as a whole: quick to start, help with examples, exit statuses, completion, no colour where none is wanted, doctor."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.desk import doctor as looking
from pipeline.desk.engine import how_far

ROOT = Path(__file__).resolve().parents[2]
HEAVY = ("numpy", "pandas", "pydantic", "scipy", "numba", "shapely", "pyproj", "rasterio", "geopandas", "laspy", "yaml", "rich.progress")
VERBS = {name: c for name, c in typer.main.get_command(app).commands.items() if not c.hidden}


def skinplane(*words: str, **env: str) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-c", "import sys; sys.argv[0] = 'skinplane'; from pipeline.cli import main; main()", *words], cwd=ROOT, capture_output=True, text=True, check=False,
                          env={**os.environ, "PYTHONPATH": str(ROOT), **env})  # fmt: skip


@pytest.mark.invariant
def test_nothing_heavy_is_loaded_before_a_verb_needs_it():
    code = "import sys; import pipeline.cli; from pipeline.cli import app; import typer; typer.main.get_command(app); print([m for m in %r if m in sys.modules])" % (HEAVY,)
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True).stdout.strip() == "[]"


@pytest.mark.invariant
@pytest.mark.parametrize("verb", VERBS)
def test_help_has_examples_that_name_the_verb_and_options_that_exist(verb):
    said = CliRunner().invoke(app, [verb, "--help"], env={"COLUMNS": "100"}).output
    body = said.split("Examples:")[1].split("Arguments:")[0].split("Options:")[0]
    assert f"skinplane {verb}" in body
    options = {o for p in VERBS[verb].params for o in p.opts}
    assert {word.split("=")[0] for word in body.split() if word.startswith("--")} <= options
    assert all(p.help for p in VERBS[verb].params if p.name != "help")


@pytest.mark.invariant
def test_exit_statuses_stand_in_one_place_and_are_those(tmp_path):
    said = CliRunner().invoke(app, ["--help"]).output
    docs = (ROOT / "docs" / "README.md").read_text().split("## Exit status")[1].split("\n## ")[0]
    for status in ("0", "1", "2", "3", "130", "143"):
        assert f"`{status}`" in docs and f" {status} " in said
    bad = skinplane("check", str(tmp_path))
    assert bad.returncode == 1 and "[no-config]" in bad.stderr and "skinplane explain no-config" in bad.stderr and bad.stdout == ""
    assert skinplane("chekc", ".").returncode == 2
    assert skinplane("explain", "[no-config]").returncode == 0


@pytest.mark.invariant
def test_a_shell_completes_projects_fields_surveys_and_codes():
    def complete(line: str) -> list[str]:
        words = line.split(" ")
        return skinplane(_SKINPLANE_COMPLETE="complete_bash", COMP_WORDS=line, COMP_CWORD=str(len(words) - 1)).stdout.split()

    assert complete("skinplane show demo_inputs m") == ["moth"]
    assert complete("skinplane show demo_i") == ["demo_inputs"]
    assert complete("skinplane foresee demo_inputs moth --like moth-2025-0") == ["moth-2025-04", "moth-2025-07"]
    assert complete("skinplane explain no_v") == ["no_vertical_unit"]
    assert complete("skinplane show nowhere m") == []


@pytest.mark.analytic
def test_how_far_a_run_is_in_words():
    assert how_far(0, None, None) == "" and how_far(3, 18, None) == "3 of 18 jobs"
    assert how_far(3, 18, 59) == "3 of 18 jobs, under a minute left" and how_far(3, 18, 61) == "3 of 18 jobs, about 1 min left"
    assert how_far(3, 900, 7300) == "3 of 900 jobs, about 2 h left" and how_far(18, 18, 0) == "18 of 18 jobs"


@pytest.mark.invariant
def test_doctor_finds_this_machine_able_and_names_what_is_not(tmp_path, monkeypatch, capsys):
    assert looking.doctor(ROOT / "demo_inputs") == 0
    lines = capsys.readouterr().out.splitlines()
    assert {line.split()[0] for line in lines[:-1]} <= {"fine", "look"} and any("6 fields" in line for line in lines)
    assert looking.doctor(tmp_path) == 1 and "[no-config]" in capsys.readouterr().out
    monkeypatch.setattr(looking, "PYTHONS", ((3, 8), (3, 9)))
    monkeypatch.setattr(looking, "drivers", lambda: (_ for _ in ()).throw(ImportError("libgdal is not there")))
    assert looking.doctor(None) == 1
    said = capsys.readouterr().out
    assert "Use 3.8 to 3.9" in said and "libgdal is not there" in said and "Something is broken" in said


@pytest.mark.invariant
def test_what_is_piped_holds_no_colour():
    for words in (("--help",), ("explain",), ("check", "--help"), ("status", "demo_inputs", "--quick")):
        for env in ({}, {"NO_COLOR": "1"}):
            done = skinplane(*words, **env)
            assert "\x1b" not in done.stdout + done.stderr
