"""A week's sheet of two fields: one unsafe with runs, things in the ground and mix to bring, one that nobody looked at."""

from __future__ import annotations

import datetime as dt

from pipeline.report.week.field_week import FieldWeek, planned_of
from pipeline.report.week.page import week_page
from pipeline.report.week.paper import week_paper
from report.scene import FIELD, HOME, WORDS, field_seen, layout, reads, row, seen, stood
from report.season_scene import BAD
from report.test_grade_block import record, variant
from report.test_papers import ANCHOR, HEAD

NEWEST, MONDAY = dt.date(2026, 4, 9), dt.date(2026, 4, 13)
RUN = {"run": 1, "purpose": "whole_skin", "bearing_deg": 95.0, "entry": "first", "length_m": 20.0, "minutes": 0.6, "line": [[HOME[0] + 20, HOME[1] + 10], [HOME[0], HOME[1] + 10]]}
ACROSS = {**RUN, "purpose": "across_low_spots", "bearing_deg": 155.0, "entry": "second"}
DESIGNS = record(
    variant("touch_up", mix_tonnes=0.5, mix_low95_t=0.4, mix_high95_t=0.6, mix_reserve_t=0.05), chosen="touch_up", keep_outs=[ANCHOR, HEAD],
    passes={"reason": "", "machine": "groomer", "width_m": 1.8, "runs": [ACROSS, RUN], "last_bearings": [10.0], "last_entries": ["right"], "hand_m2": 4.0},
)  # fmt: skip
WORKS = (
    {"work_id": "a", "done_on": "2026-03-30", "work": "drag", "bearing_deg": "10", "entry": "right"},
    {"work_id": "b", "done_on": "2025-09-22", "work": "drag", "pattern": "spiral_in", "entry": "left"},
    {"work_id": "c", "done_on": "2025-08-04", "work": "drag", "bearing_deg": "40"},
    {"work_id": "d", "done_on": "2026-04-08", "work": "level", "pattern": "hand", "bearing_deg": "70"},
)
GAMES = (("2026-04-10", "softball-60"), ("2026-04-15", "softball-60"), ("2026-04-18", "softball-55"), ("2026-04-19", "softball-55"))


def works(*rows: dict):
    return reads("works", *({"field_id": FIELD, **r} for r in rows))


def games(*rows: tuple[str, str]):
    return reads("games", *({"field_id": FIELD, "on": on, "starts": "09:00", "ends": "10:30", "layout": base} for on, base in rows))


def queued(on: str, task: str, order: int | None, hours: float | None = 0.5, **given) -> dict:
    return row("season_queue", **{"week_start": on, "order": order, "field_id": FIELD, "task": task, "hours": hours, "done": "planned", "on": on, "rank": "upkeep", "reason": "upkeep", **given})


QUEUE = [queued("2026-04-13", "level", 1, 1.2, rank="unsafe", reason="low"), queued("2026-04-15", "drag", 2), queued("2026-04-22", "drag", 1), queued("2026-04-13", "roll", None, None, done="dropped")]


def field_week(**over) -> FieldWeek:
    given = {"seen": BAD, "designs": DESIGNS, "edges": layout().edges, "works": works(*WORKS), "games": games(*GAMES), "main": "softball-55", "other": "softball-60", "crs_m": 1.0,
             "planned": planned_of(QUEUE, FIELD)}  # fmt: skip
    return FieldWeek(**given | over)


def quiet(**over) -> FieldWeek:
    """A field without a survey's finding, a design, a work, a game or a plan."""
    return field_week(**{"seen": field_seen(stood(seen()), "Other <Field>", "other"), "designs": {}, "works": (), "games": (), "other": "", "planned": ()} | over)


FIELDS = (field_week(), quiet())


def page(fields=FIELDS, newest=NEWEST, title="Nowhere Parks") -> dict:
    return week_page(fields, newest, title, 3, WORDS)


def paper(fields=FIELDS, newest=NEWEST, units="us"):
    return week_paper(fields, newest, "Nowhere Parks", 3, units, WORDS)
