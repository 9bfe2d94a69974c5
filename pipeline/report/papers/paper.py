"""What goes on a sheet of paper, as blocks in reading order: the same blocks make the PDF and the page."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Sequence, Union

from pipeline.report.papers.ink import inked

LETTER, A4 = "us-letter", "a4"


@dataclass(frozen=True)
class Heading:
    """level : 2, or 3 for a part of what stands under a 2."""

    text: str
    level: int = 2
    kind: str = "heading"


@dataclass(frozen=True)
class Lines:
    """Paragraphs one after another; `small`: what may be read later."""

    lines: Sequence[str]
    small: bool = False
    kind: str = "lines"


@dataclass(frozen=True)
class Caution:
    """What must be read first: set apart by a heavy rule, never by colour."""

    title: str
    lines: Sequence[str]
    kind: str = "caution"


@dataclass(frozen=True)
class Steps:
    """Things to do in their order, each with a box to tick: a lead, and sentences under it."""

    items: Sequence[tuple[str, Sequence[str]]]
    kind: str = "steps"


@dataclass(frozen=True)
class Ticks:
    """Things to look at, each with a box to tick."""

    lines: Sequence[str]
    kind: str = "ticks"


@dataclass(frozen=True)
class Table:
    """A table.

    right : columns (from 0) set to the right; blank: columns whose empty cells are drawn tall enough to write in
    wide  : columns that share the room left, one named twice gets twice as much; the others are as wide as what is in them
    """

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    right: Sequence[int] = ()
    blank: Sequence[int] = ()
    wide: Sequence[int] = ()
    kind: str = "table"


@dataclass(frozen=True)
class Picture:
    """A drawing as SVG, what it is called, what it shows for those who do not see it, and how it is read."""

    svg: str
    title: str
    about: str
    reads: str = ""
    height_mm: float = 105.0
    kind: str = "picture"


@dataclass(frozen=True)
class Beside:
    """Drawings side by side, each as wide as the other."""

    pictures: Sequence[Picture]
    kind: str = "beside"


@dataclass(frozen=True)
class Blanks:
    """Labels, each with a line to write on."""

    title: str
    labels: Sequence[str]
    kind: str = "blanks"


@dataclass(frozen=True)
class Break:
    """The next block begins on a new sheet."""

    kind: str = "break"


Block = Union[Heading, Lines, Caution, Steps, Ticks, Table, Picture, Beside, Blanks, Break]


@dataclass(frozen=True)
class Paper:
    """A document.

    size : LETTER or A4
    foot : one line at the foot of every sheet; `page`: how a sheet is numbered, with `{here}` and `{all}`
    day  : ISO date that stands in the file as its date
    """

    lang: str
    title: str
    over: Sequence[str]
    under: Sequence[str]
    blocks: Sequence[Block]
    foot: str
    page: str
    day: str
    size: str = A4

    def plain(self, style: str) -> dict:
        """All of it as plain values, its drawings inked. style : the pages' style sheet"""
        out = asdict(self)
        for block in out["blocks"]:
            for picture in [block] if block["kind"] == "picture" else block.get("pictures", ()):
                picture["svg"] = inked(picture["svg"], style)
        return out


def size_of(units: str) -> str:
    """Sheets as the reader's printer holds them."""
    return LETTER if units == "us" else A4
