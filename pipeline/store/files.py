"""Which files a path or glob names, and what stands in them."""

from __future__ import annotations

import os
from pathlib import Path

from pipeline.store.records import sha256


RASTERS = (".tif", ".tiff")  # how the names of height rasters end


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


def twins(named_by: dict[str, list[str]]) -> list[tuple[str, str, str]]:
    """Names behind which the same file lies: the one given first, the other, and the file. Files are the same that have
    one real path, or one size and checksum.

    named_by : name -> its files, in the order in which the names were given; a file need not be there yet
    """
    real = {path: os.path.realpath(path) for paths in named_by.values() for path in paths}
    sizes: dict[int, set[str]] = {}
    for path in real.values():
        if os.path.isfile(path):
            sizes.setdefault(os.path.getsize(path), set()).add(path)
    mark = {path: sha256(path) for alike in sizes.values() if len(alike) > 1 for path in alike}
    first: dict[str, str] = {}
    out = []
    for name, paths in named_by.items():
        for path in paths:
            earlier = first.setdefault(mark.get(real[path], real[path]), name)
            if earlier != name:
                out.append((earlier, name, path))
    return out


def below(folder: str | Path) -> list[str]:
    """Names of the files straight in a folder, sorted, hidden ones apart; empty where there is no folder."""
    folder = Path(folder)
    return sorted(p.name for p in folder.iterdir() if p.is_file() and not p.name.startswith(".")) if folder.is_dir() else []


def size(path: str | Path) -> int:
    """Bytes of a file."""
    return Path(path).stat().st_size


def is_file(path: str | Path) -> bool:
    return Path(path).is_file()


def inputs(paths: list[str], tables_dir: str) -> list[dict]:
    """Path (as the tables have it) and checksum of every input, for the record."""
    base = Path(tables_dir)
    return [{"path": Path(p).relative_to(base).as_posix() if Path(p).is_relative_to(base) else Path(p).name, "sha256": sha256(p)} for p in paths]
