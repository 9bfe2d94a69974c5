"""`doctor`: whether this machine and a project's folders can do the work, a line each."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Callable, Iterator

from pipeline.desk.engine import ENGINE, HOME, environment
from pipeline.desk.folders import cannot_write
from pipeline.desk.show import has_display
from pipeline.errors import BadInput

FINE, LOOK, BROKEN = "fine", "look", "broken"
PYTHONS = ((3, 11), (3, 13))
LOCK = HOME / "requirements" / "all.lock"
MEMORY_A_JOB_GB = 2.0  # the demo's largest job stayed below 1 GB; a dense flight over ten fields takes more (ours)
DISK_TIMES_CLOUDS = 4.0  # the invented demo's results and build are 3.4 times its clouds
SPARE_GB = 1.0


@dataclass(frozen=True)
class Finding:
    """One thing looked at. state : fine, look, broken; todo : what to do, where it is not fine"""

    state: str
    what: str
    found: str
    todo: str = ""

    def __str__(self) -> str:
        return f"{self.state:6}  {self.what:12}  {self.found}" + (f" {self.todo}" if self.todo else "")


def doctor(config: Path | None) -> int:
    """Print a line for everything looked at. Exit status: 0, or 1 where something is broken"""
    broken = 0
    for looked_at in (python, parts, engine, coordinates, drivers, papers, cores, letters, browser):
        for finding in careful(looked_at):
            print(finding, flush=True)
            broken += finding.state == BROKEN
    for finding in careful(lambda: project(config)) if config is not None else ():
        print(finding, flush=True)
        broken += finding.state == BROKEN
    print("Something is broken; mend it first." if broken else "Ready." if config is not None else "Ready. With CONFIG a project's folders are looked at, too.")
    return 1 if broken else 0


def careful(look: Callable[[], Iterator[Finding]]) -> Iterator[Finding]:
    """What a look finds; a look that fails is itself a finding."""
    try:
        yield from look()
    except Exception as error:  # noqa: BLE001: whatever it is, the operator is told and the other looks go on
        yield Finding(BROKEN, getattr(look, "__name__", "project").strip("<>"), f"{type(error).__name__}: {error}.", "Install again into a fresh environment, as README.md says.")


def python() -> Iterator[Finding]:
    here, (low, high) = sys.version_info[:2], PYTHONS
    found = f"Python {sys.version.split()[0]}"
    ok = low <= here <= high
    yield Finding(FINE if ok else BROKEN, "Python", found, "" if ok else f"Use {low[0]}.{low[1]} to {high[0]}.{high[1]} and install again.")


def parts() -> Iterator[Finding]:
    """Every part of the lock that is for this Python, against what is installed."""
    from packaging.requirements import Requirement

    if not LOCK.is_file():
        needed = [Requirement(line) for line in metadata.requires("skinplane") or []]
        missing = sorted(r.name for r in needed if (r.marker is None or r.marker.evaluate({"extra": ""})) and _version(r.name) is None)
        yield Finding(BROKEN if missing else FINE, "parts", f"not installed: {', '.join(missing)}." if missing else "all there; no lock to compare versions with", "Install again." if missing else "")
        return
    lines = [line.rstrip("\\ \n") for line in LOCK.read_text(encoding="utf-8").splitlines() if line[:1].isalnum()]
    pins = {r.name: str(r.specifier).removeprefix("==") for r in map(Requirement, lines) if r.marker is None or r.marker.evaluate({"extra": ""})}
    have = {name: _version(name) for name in pins}
    needed = _closure("skinplane")
    missing = sorted(n for n in pins if have[n] is None and n in needed)
    other = sorted(f"{n} {have[n]} (pinned {pins[n]})" for n in pins if have[n] not in (None, pins[n]) and n in needed)
    if missing:
        yield Finding(BROKEN, "parts", f"not installed: {', '.join(missing)}.", "Install requirements/all.lock again.")
    if other:
        yield Finding(LOOK, "parts", f"other versions than were tested: {', '.join(other[:6])}{' ...' if len(other) > 6 else ''}.", "Figures may differ in the last digit; install requirements/all.lock again.")
    if not missing and not other:
        yield Finding(FINE, "parts", f"{len(needed & pins.keys())} parts, each in the version of the lock")


def _version(name: str) -> str | None:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None


def _closure(root: str) -> set[str]:
    """Names of all that a package needs, as far as it is installed: not what only tests need."""
    from packaging.requirements import Requirement
    from packaging.utils import canonicalize_name

    seen: set[str] = set()
    left = [(root, frozenset())]
    while left:
        name, extras = left.pop()
        if (name := canonicalize_name(name)) in seen and not extras:
            continue
        seen.add(name)
        try:
            needs = metadata.requires(name) or []
        except metadata.PackageNotFoundError:
            continue
        for need in map(Requirement, needs):
            if need.marker is None or any(need.marker.evaluate({"extra": e}) for e in (extras or {""})):
                if canonicalize_name(need.name) not in seen or need.extras:
                    left.append((need.name, frozenset(need.extras)))
    return seen - {root}


def engine() -> Iterator[Finding]:
    """Whether the workflow's engine starts, and its rules are where they are looked for."""
    import subprocess

    rules = HOME / "Snakefile"
    if not rules.is_file():
        yield Finding(BROKEN, "workflow", f"no {rules}.", "Install from a clone of the project, editable, as README.md says.")
        return
    done = subprocess.run([*ENGINE, "--version"], check=False, capture_output=True, text=True, env=environment())
    ok = done.returncode == 0
    yield Finding(FINE if ok else BROKEN, "workflow", f"engine {done.stdout.strip()}" if ok else "the engine does not start.", "" if ok else "Install requirements/all.lock again.")


def coordinates() -> Iterator[Finding]:
    import pyproj

    from pipeline.coordinates import working_crs

    worked = working_crs("EPSG:6565") == "EPSG:6564"
    network = pyproj.network.is_network_enabled()
    yield Finding(FINE if worked else BROKEN, "coordinates", f"PROJ {pyproj.proj_version_str} with its own database; correction grids are never used" if worked else "PROJ's database does not answer.", "" if worked else "Unset PROJ_DATA and PROJ_LIB, or install pyproj again.")
    if network:
        yield Finding(LOOK, "coordinates", "PROJ may fetch grids over the network.", "Set PROJ_NETWORK=OFF: results must not depend on a network.")


def drivers() -> Iterator[Finding]:
    import pyogrio
    import rasterio

    vectors = pyogrio.list_drivers()
    with rasterio.Env() as env:
        rasters = env.drivers()
    missing = [d for d in ("GPKG", "GeoJSON") if "w" not in vectors.get(d, "")] + [d for d in ("GTiff", "COG") if d not in rasters]
    yield Finding(BROKEN if missing else FINE, "files", f"cannot write {', '.join(missing)}." if missing else f"GeoTIFF, COG, GeoPackage, GeoJSON (GDAL {rasterio.__gdal_version__})", "Install rasterio and pyogrio from wheels again." if missing else "")


def papers() -> Iterator[Finding]:
    """Whether a paper can be set: the engine of papers brings its fonts along."""
    import typst

    made = typst.compile(b"#set page(width: 5cm, height: 2cm)\n3 m\xc2\xb2 \xc2\xb1 1", format="pdf")
    ok = made[:5] == b"%PDF-"
    yield Finding(FINE if ok else BROKEN, "papers", "PDF with fonts of its own" if ok else "no PDF came out.", "" if ok else "Install typst from its wheel again.")


def cores() -> Iterator[Finding]:
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    free = free_memory_gb()
    if free is None:
        yield Finding(FINE, "machine", f"{count} core{'s' * (count != 1)}; how much memory is free cannot be told here")
        return
    short = free < MEMORY_A_JOB_GB * count
    most = max(1, int(free // MEMORY_A_JOB_GB))
    found = f"{count} core{'s' * (count != 1)}, {free:.1f} GB of memory free"
    yield Finding(LOOK if short else FINE, "machine", found + ("." if short else ""), f"A large flight takes some {MEMORY_A_JOB_GB:g} GB a job: run with --cores {most}, or close something." if short else "")


def free_memory_gb() -> float | None:
    """Memory that a new process could have, GB (Linux); elsewhere None."""
    path = Path("/proc/meminfo")
    if not path.is_file():
        return None
    line = next((line for line in path.read_text().splitlines() if line.startswith("MemAvailable:")), "")
    return int(line.split()[1]) * 1024 / 1e9 if line else None


def letters() -> Iterator[Finding]:
    code = (sys.stdout.encoding or "").lower().replace("-", "")
    ok = code == "utf8"
    yield Finding(FINE if ok else LOOK, "letters", f"{sys.stdout.encoding}" + ("" if ok else ": signs such as m² may not print."), "" if ok else "Set PYTHONUTF8=1.")
    with tempfile.TemporaryDirectory() as folder:
        free = shutil.disk_usage(folder).free / 1e9
    yield Finding(FINE if free > SPARE_GB else LOOK, "scratch", f"{tempfile.gettempdir()}, {free:.1f} GB free" + ("" if free > SPARE_GB else "."), "" if free > SPARE_GB else "Make room, or set TMPDIR.")


def browser() -> Iterator[Finding]:
    ok = has_display()
    yield Finding(FINE if ok else LOOK, "browser", "a display for `show`" if ok else "no display.", "" if ok else "`show` says where a page is; open it on a machine with a browser.")


def project(config: Path) -> Iterator[Finding]:
    """A project: can it be read, written, and does it fit onto the disk."""
    from pipeline.desk.roots import root_of, where_of
    from pipeline.store.config import load

    try:
        read, folder = load(config)
    except BadInput as bad:
        n = len(bad.problems)
        yield Finding(BROKEN, "project", f"{n} fault{'s' * (n != 1)}, first {bad.problems[0]}", f"skinplane check {config} names all.")
        return
    yield Finding(FINE, "project", f"{len(read.fields)} field{'s' * (len(read.fields) != 1)}, {len(read.surveys)} survey{'s' * (len(read.surveys) != 1)}: settings and tables can be read")
    root, where = root_of(read, folder), where_of(read, folder)
    shut = cannot_write(folder, *(root / name for name in (where.results, where.build, where.logs, ".snakemake")))
    yield Finding(BROKEN if shut else FINE, "folders", f"cannot write to {shut}." if shut else f"{root} can be written to", "Change its owner or rights, or name other `results`." if shut else "")
    yield from room(read, folder, root)


def _size(gb: float) -> str:
    return f"{gb:.1f} GB" if gb >= 1 else f"{gb * 1000:.0f} MB"


def room(read, folder: Path, root: Path) -> Iterator[Finding]:
    """Free space against what the clouds there are will need."""
    from pipeline.store import files

    paths = {p for row in read.surveys.values() for p in files.named(folder, row["path"])}
    clouds = sum(files.size(p) for p in paths) / 1e9
    free = shutil.disk_usage(next(p for p in (root, *root.parents) if p.exists())).free / 1e9
    needed = DISK_TIMES_CLOUDS * clouds + SPARE_GB
    ok = free >= needed
    found = f"{_size(free)} free; a first run over {_size(clouds)} of clouds takes some {_size(needed - SPARE_GB)}"
    yield Finding(FINE if ok else LOOK, "disk", found + ("" if ok else "."), "" if ok else "Make room, or put `results` on a larger disk.")
