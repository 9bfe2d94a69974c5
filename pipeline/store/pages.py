"""Pages out: templates and words of `report/`, filled and written whole."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

from pipeline.store.atomic import read_text, write_text

TEMPLATES = Path(__file__).resolve().parent.parent / "report"


def write(path: str | Path, template: str, content: dict) -> None:
    """A page from a template of `report/`; everything it needs is in it."""
    write_text(path, render(template, content))


def render(template: str, content: dict) -> str:
    """The page as text. A name that the template asks for and nobody gave is an error."""
    text = _templates().get_template(template).render(style=style(), script=script, **content)
    return "\n".join(line for line in (line.rstrip() for line in text.splitlines()) if line) + "\n"


def note(path: str | Path, text: str) -> None:
    """One sentence in a file of its own: why something else is not there."""
    write_text(path, text + "\n")


def style() -> str:
    """The pages' style sheet."""
    return read_text(TEMPLATES / "style.css")


def script(name: str) -> str:
    """A script of `report/`, to stand inside a page: pages load nothing."""
    return read_text(TEMPLATES / name)


def sections(language: str) -> dict[str, dict[str, str]]:
    """The phrases of one language, by section."""
    return json.loads(read_text(TEMPLATES / f"words_{language}.json"))


@cache
def _templates():
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
