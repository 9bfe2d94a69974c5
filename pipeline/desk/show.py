"""`show`: the page over all fields, or one field's, in the browser."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from pipeline.desk.roots import root_of, where_of
from pipeline.errors import BadInput, Problem, did_you_mean
from pipeline.store import files
from pipeline.store.config import load


def show(config: Path, field: str, path_only: bool) -> int:
    """Open a page and say where it is; where there is no display, say it alone. Exit status: 0. raises: BadInput"""
    project, folder = load(config)
    if field and field not in project.fields:
        raise BadInput([Problem("show", None, None, f"the field {field!r}", "a field_id of the table of fields", f"Correct the name.{did_you_mean(field, project.fields)}", code="unknown-field")])
    where = where_of(project, folder)
    page = root_of(project, folder) / (where.report(field) if field else where.index)
    if not files.is_file(page):
        raise BadInput([Problem("show", None, None, f"no {os.path.relpath(page)}", "a page that a run has made", f"Make it: skinplane run {config}", code="not-run-yet")])
    if path_only:
        print(page)
    elif opened(page):
        print(f"Opened {page}")
    else:
        print(f"No display here. Open this in a browser: {page}")
    return 0


def opened(page: Path) -> bool:
    """Whether a browser took the page. A browser of text would take the terminal over: none is started without a display."""
    import webbrowser

    return has_display() and webbrowser.open(page.as_uri())


def has_display() -> bool:
    """Whether a window can be opened here, or somebody named a browser."""
    return sys.platform in ("darwin", "win32") or any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"))
