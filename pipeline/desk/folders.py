"""Whether the folders that results go to can be written to."""

from __future__ import annotations

import os
from pathlib import Path


def cannot_write(*folders: Path) -> Path | None:
    """The first folder that could not be written to, or made, looked at without writing anything."""
    for path in folders:
        there = next(p for p in (path.absolute(), *path.absolute().parents) if os.path.lexists(p))
        if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
            return path
    return None
