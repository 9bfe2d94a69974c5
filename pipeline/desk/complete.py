"""What a shell may complete: folders of projects, ids of fields and surveys, codes. Quick, and silent where anything is amiss."""

from __future__ import annotations

import csv
import os
import re
from pathlib import Path

NAME = "config.yaml"


def projects(incomplete: str) -> list[str]:
    """Folders that hold a config.yaml, and folders on the way to one."""
    start, _, begun = incomplete.rpartition("/")
    base = Path(os.path.expanduser(start)) if start else Path("/" if incomplete.startswith("/") else ".")
    try:
        folders = sorted(p.name for p in base.iterdir() if p.is_dir() and p.name.startswith(begun) and (begun or not p.name.startswith(".")))
    except OSError:
        return []
    lead = f"{start}/" if "/" in incomplete else ""
    held = [f"{lead}{name}" for name in folders if (base / name / NAME).is_file()]
    return held or [f"{lead}{name}/" for name in folders]


def fields(ctx, incomplete: str) -> list[str]:
    """Field ids of the project that stands on the line already."""
    return _ids(ctx, "fields", incomplete)


def surveys(ctx, incomplete: str) -> list[str]:
    """Survey ids of that project."""
    return _ids(ctx, "surveys", incomplete)


def _ids(ctx, table: str, incomplete: str) -> list[str]:
    given = ctx.params.get("config") or _on_the_line()
    if given is None:
        return []
    path = Path(given)
    path = path / NAME if path.is_dir() else path
    try:
        named = re.search(rf"^{table}\s*:\s*[\"']?([^\s#\"']+)", path.read_text(encoding="utf-8-sig"), re.M)
        with (path.parent / (named[1] if named else f"{table}.csv")).open(encoding="utf-8-sig", newline="") as stream:
            ids = [row.get(f"{table[:-1]}_id") or "" for row in csv.DictReader(stream)]
    except (OSError, ValueError, csv.Error):
        return []
    return [i for i in dict.fromkeys(ids) if i and i.startswith(incomplete)]


def _on_the_line() -> str | None:
    """The first word typed that is a project: while an option waits for its value, nobody else has sorted out the words."""
    words = (os.environ.get("COMP_WORDS") or os.environ.get("_TYPER_COMPLETE_ARGS") or "").split()
    return next((word for word in words if (Path(word) / NAME).is_file() or Path(word).name == NAME), None)


def codes(incomplete: str) -> list[str]:
    """Codes and words that have a page."""
    from pipeline.store.explained import pages

    return [code for code in pages() if code.startswith(incomplete)]


def profiles(incomplete: str) -> list[str]:
    folder = Path(__file__).resolve().parents[2] / "config" / "profiles"
    return sorted(p.name for p in folder.iterdir() if p.name.startswith(incomplete)) if folder.is_dir() else []


def layouts(incomplete: str) -> list[str]:
    from pipeline.tables import LAYOUTS

    return [word for word in LAYOUTS if word.startswith(incomplete)]


def sources(incomplete: str) -> list[str]:
    from pipeline.tables import SOURCES

    return [word for word in SOURCES if word.startswith(incomplete)]
