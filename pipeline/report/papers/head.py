"""What all papers of a field have in common: whose they are, how their sheets are numbered, of which day they are."""

from __future__ import annotations

from typing import Sequence

from pipeline.report.field_input import FieldInput
from pipeline.report.papers.paper import Block, Paper, size_of
from pipeline.report.saying import Sayer
from pipeline.report.words import titled

NO_DAY = "1970-01-01"


def on_paper(given: FieldInput, sayer: Sayer, title: str, under: Sequence[str], blocks: Sequence[Block], day: str) -> Paper:
    """Blocks under a title that stands at the foot of every sheet. day: ISO date of the survey, or `` where there is none"""
    words = sayer.words
    over = [x for x in (given.settings.report.title, titled(given.row.get("site", ""))) if x]
    return Paper(words("lang"), title, over, under, blocks, title, words("paper_page", here="{here}", all="{all}"), day or NO_DAY, size_of(sayer.units.system))
