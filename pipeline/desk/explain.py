"""`explain`: what a code at the end of an error line, a verdict, a kind or a reason stands for."""

from __future__ import annotations

import textwrap
from shutil import get_terminal_size

from pipeline.errors import BadInput, Problem, did_you_mean
from pipeline.store.explained import KINDS, Page, pages

HEADS = {"errors": "Errors, the code in brackets at the end of a line", "words": "Words of the tables and pages"}
LEAST, MOST = 40, 100  # columns of a text


def explain(code: str) -> int:
    """Print one page, or the names of all. raises: BadInput where there is no such page"""
    every = pages()
    if not code:
        for line in listed(every, _width()):
            print(line)
        return 0
    wanted = "_".join(code.strip("[]`'\"“” ").lower().split())
    page = every.get(wanted) or every.get(wanted.replace("-", "_")) or every.get(wanted.replace("_", "-"))
    if page is None:
        raise BadInput([Problem("explain", None, None, repr(code), "an error's code, or a word of the tables", f"`skinplane explain` lists them.{did_you_mean(wanted, every)}", code="unknown-code")])
    for line in said(page, _width()):
        print(line)
    return 0


def said(page: Page, width: int) -> list[str]:
    """A page as lines: its name, then its three parts, wrapped."""
    out = [page.code]
    for name, text in page.parts.items():
        out += ["", name.upper(), *textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)]
    return out


def listed(every: dict[str, Page], width: int) -> list[str]:
    """The names of all pages, by kind, in columns."""
    out = []
    for kind in KINDS:
        names = sorted(name for name, page in every.items() if page.kind == kind)
        wide = max(map(len, names)) + 2
        across = max(1, width // wide)
        down = -(-len(names) // across)
        out += [HEADS[kind], *("".join(f"{n:{wide}}" for n in names[row::down]).rstrip() for row in range(down)), ""]
    return [*out, "skinplane explain CODE tells more of one."]


def _width() -> int:
    return max(LEAST, min(MOST, get_terminal_size().columns))
