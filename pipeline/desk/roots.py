"""Where a project's results lie, and from where they are named."""

from __future__ import annotations

from pathlib import Path

from pipeline.project import Project
from pipeline.store.where import Where


def root_of(project: Project, folder: Path) -> Path:
    """The folder the workflow runs in: the one that holds the results."""
    return (folder / project.config.results).resolve().parent


def where_of(project: Project, folder: Path) -> Where:
    """The results, as named from the folder that holds them."""
    return Where((folder / project.config.results).resolve().name)
