"""The house: who may import whom, who may open files, what stands at the top, what is really used."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "pipeline"
GROUND = {"errors", "units", "columns", "works_columns", "plan_columns", "season_columns", "variables", "owner", "settings", "tables", "project", "frame", "coordinates", "heights", "transform",
          "jobs", "grading", "planning", "sheets"}
# Each floor may import itself and what is named beside it.
FLOORS = {
    "ground": set(),
    "store": {"ground", "diamond", "survey"},
    "diamond": {"ground"},
    "simulate": {"ground", "diamond"},
    "survey": {"ground", "diamond"},
    "surface": {"ground", "diamond", "survey"},
    "change": {"ground", "diamond", "survey", "surface"},
    "works": {"ground", "diamond", "survey", "surface", "change"},
    "plan": {"ground", "diamond", "survey", "surface", "change", "works"},
    "report": {"ground", "diamond", "survey", "surface", "change", "works", "plan"},
    "steps": {"ground", "fingerprint", "store", "diamond", "simulate", "survey", "surface", "change", "works", "plan", "report"},
    "fingerprint": set(),
    "desk": {"ground", "store", "diamond", "survey", "steps", "fingerprint", "report"},
    "cli": {"ground", "store", "desk", "steps"},
}
OPENERS = {"open", "read_text", "write_text", "read_bytes", "write_bytes", "mkdir", "unlink", "iterdir", "glob", "mkstemp"}
MAY_OPEN = {"store", "fingerprint", "desk", "cli"}
TOP = {".ci", ".gitignore", "DEVELOPERS.md", "LICENSE", "Makefile", "README.md", "Snakefile", "benchmarks", "config", "demo_inputs", "docs",
       "pipeline", "pyproject.toml", "requirements", "tests"}  # fmt: skip


def floor(module: str) -> str:
    """The floor a module of the package stands on."""
    parts = module.split(".")
    if len(parts) == 1:
        return "ground"
    return "ground" if parts[1] in GROUND else "cli" if parts[1] == "__main__" else parts[1]


def files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def imported(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names |= {f"{node.module}.{n.name}" for n in node.names if (PACKAGE.parent / (node.module + "." + n.name).replace(".", "/")).with_suffix(".py").is_file()}
        elif isinstance(node, ast.Import):
            names |= {n.name for n in node.names}
    return names


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__")


@pytest.mark.invariant
def test_imports_go_down_only():
    wrong = []
    for path in files():
        here = floor(module_of(path))
        for name in imported(path):
            if name.split(".")[0] == "pipeline" and name != "pipeline":
                there = floor(name)
                if there != here and there not in FLOORS[here]:
                    wrong.append(f"{module_of(path)} imports {name}")
    assert not wrong


@pytest.mark.invariant
def test_only_the_store_opens_paths():
    wrong = []
    for path in files():
        if floor(module_of(path)) in MAY_OPEN:
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call):
                name = getattr(node.func, "id", getattr(node.func, "attr", ""))
                if name in OPENERS:
                    wrong.append(f"{module_of(path)}:{node.lineno} calls {name}")
    assert not wrong


@pytest.mark.invariant
def test_the_top_level_holds_what_convention_needs_and_no_more():
    import subprocess

    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    found = {line.split("/")[0] for line in listed.splitlines()}
    assert found <= TOP, f"new at the top: {sorted(found - TOP)}"


@pytest.mark.invariant
@pytest.mark.parametrize("part", ["geopandas", "rasterio", "shapely", "pyproj", "xarray", "snakemake"])
def test_the_parts_the_house_is_built_on_are_really_used(part):
    used = {name.split(".")[0] for path in files() for name in imported(path)}
    called = "\n".join(path.read_text() for path in (PACKAGE / "desk").glob("*.py"))
    assert part in used or f'"{part}"' in called


@pytest.mark.invariant
def test_files_are_short_enough_to_hold_in_the_head():
    long = {module_of(p): n for p in files() if (n := len(p.read_text().splitlines())) > 400}
    assert not long
