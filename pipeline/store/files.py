"""Which files a path or glob names, and what stands in them."""

from __future__ import annotations

from pathlib import Path

from pipeline.store.records import sha256


def named(folder: str | Path, given: str) -> list[str]:
    """The files a path or glob of a table names, sorted, as paths that begin with `folder`; empty where there are none."""
    folder = Path(folder)
    path = folder / given
    if path.is_file():
        return [str(path)]
    if any(sign in given for sign in "*?["):
        base, pattern = (Path(given).anchor, given[1:]) if Path(given).is_absolute() else (folder, given)
        return sorted(str(p) for p in Path(base).glob(pattern) if p.is_file())
    return []


def is_file(path: str | Path) -> bool:
    return Path(path).is_file()


def inputs(paths: list[str], tables_dir: str) -> list[dict]:
    """Path (as the tables have it) and checksum of every input, for the record."""
    base = Path(tables_dir)
    return [{"path": Path(p).relative_to(base).as_posix() if Path(p).is_relative_to(base) else Path(p).name, "sha256": sha256(p)} for p in paths]
