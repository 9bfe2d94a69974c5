"""The pages of `explain`: texts of the package, one heading a page."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from pipeline.store.atomic import read_text

FOLDER = Path(__file__).resolve().parent.parent / "explained"
KINDS = ("errors", "words")
PARTS = ("Found", "Mend", "Example")


@dataclass(frozen=True)
class Page:
    """What one code or word stands for. kind : `errors` or `words`; parts : Found, Mend, Example -> text"""

    code: str
    kind: str
    parts: dict[str, str]


@cache
def pages() -> dict[str, Page]:
    """Code or word -> its page, in the order of the files. raises: ValueError where a page is not of three parts, or stands twice"""
    out: dict[str, Page] = {}
    for kind in KINDS:
        for section in re.split(r"^## ", read_text(FOLDER / f"{kind}.md"), flags=re.M)[1:]:
            code, *lines = section.strip().split("\n")
            parts = dict(line.split(": ", 1) for line in lines)
            if tuple(parts) != PARTS or code in out:
                raise ValueError(f"pipeline/explained/{kind}.md: {code}")
            out[code] = Page(code, kind, parts)
    return out
