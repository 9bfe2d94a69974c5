"""Beside each block of the field page: what was measured, how the figure follows from it, what ± takes in, what it rests on."""

from __future__ import annotations

from pipeline.diamond.places import DISC_M, RING_M
from pipeline.report.field_input import FieldInput
from pipeline.report.figures import counted
from pipeline.report.findings import Shown
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.surface.lip import SMOOTH_M

BLOCKS = ("map", "edges", "change", "spots", "works", "water")


def made_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict[str, list[str]]:
    """Sentences by block; empty without a usable survey."""
    if now.newest is None:
        return dict.fromkeys(BLOCKS, [])
    words = sayer.words
    newest = _rests(now.newest, given, sayer)
    pair = [_rests(s, given, sayer) for s in (now.before, now.newest) if s is not None]
    every = words("how_every", first=sayer.day(now.surveys[0].flown_on, now.surveys[0].survey_id), number=len(now.surveys))
    ruler = words.count("how_ruler", sum(r["kind"] == "lip_rise" for r in given.readings))
    told = {"map": [newest], "edges": [ruler, every, newest], "change": pair, "spots": [every, newest], "works": [], "water": [newest]}
    sizes = {"edges": {"edge": SMOOTH_M}, "spots": {"near": RING_M[0], "far": RING_M[1], "disc": DISC_M}}
    lengths = lambda block: {k: sayer.length(m) for k, m in sizes.get(block, {}).items()}
    return {block: [words(f"how_{block}", **lengths(block)), *rests] for block, rests in told.items()}


def _rests(shown: Shown, given: FieldInput, sayer: Sayer) -> str:
    """Which survey, of how many points, tied to how much stable ground."""
    words, day = sayer.words, sayer.words.date(shown.flown_on)
    quality = next(r for r in given.tables["survey_quality"] if r["survey_id"] == shown.survey_id)
    points = words("how_points", points=counted(quality["points_ground"])) if quality["points_ground"] else ""
    used = sum(bool(p.get("used")) for p in given.records[shown.survey_id].get("tie", {}).get("patches", ()))
    tied = words.count("how_tied", used) if used else ""
    return words("how_rests", day=day, survey=shown.survey_id, points=points, tied=tied)
