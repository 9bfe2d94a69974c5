"""The week's page for a phone: what stands on it, and what its script is handed."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from typing import Mapping, Sequence

from pipeline.plan.season_days import week_of
from pipeline.report import palette
from pipeline.report.week.columns import ACTIONS, COLUMNS
from pipeline.report.week.facts import WITH_MIX, bases_line, bearing_lines, gap_line, handful_line, hazard_lines, keep_line, last_line, mix_line, run_of, weekday
from pipeline.report.week.field_week import ROLLED, FieldWeek, weeks_of
from pipeline.report.week.phrases import HANDED
from pipeline.report.week.plan import frame_of, phone_plan, to_ground
from pipeline.report.words import Words, opened, titled
from pipeline.tables import CORNERS, MIX_UNITS, MOISTURES, SEEN, WORKS
from pipeline.works.moisture import JUDGED, NOT, possible


def week_page(fields: Sequence[FieldWeek], newest: dt.date | None, title: str, quiet_weeks: int, words: Words) -> dict:
    """Everything on the page.

    newest : the newest day of a survey or a work; None where there is none
    title  : the operator's line over every page
    """
    weeks = weeks_of(fields, newest)
    order = sorted(fields, key=lambda f: (f.seen.site, f.seen.name))
    return {
        "w": words, "lang": words("lang"), "colours": palette.css(), "title": title, "heading": words("week_heading"),
        "lead": lead(fields, newest, weeks, words), "fields": [_field(f, weeks, words) for f in order],
        "data": _data(order, weeks, title, quiet_weeks, words),
    }  # fmt: skip


def lead(fields: Sequence[FieldWeek], newest: dt.date | None, weeks: Sequence[dt.date], words: Words) -> list[str]:
    """Which week, by which rule, from which records."""
    out = [words("week_lead", day=words.date(newest), week=words.date(weeks[0]))] if newest is not None and weeks else [words("week_lead_none")]
    return out + ([] if any(f.planned for f in fields) else [words("week_no_plan")])


def project_of(fields: Sequence[FieldWeek], title: str) -> str:
    """Under which name a phone keeps what is entered: the title's, else that of all the fields. Not the sheet's: a new sheet finds
    what was entered on the one before it and not yet saved."""
    named = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")
    return named or hashlib.sha256(" ".join(sorted(f.seen.field_id for f in fields)).encode()).hexdigest()[:12]


def _field(field: FieldWeek, weeks: Sequence[dt.date], words: Words) -> dict:
    """A field's part that is the same in every week."""
    held, said = field.seen.now.open, hazard_lines(field)
    mix = {task: line for task in WITH_MIX if any(p.task == task for p in field.planned) and (line := mix_line(field, task))}
    facts = [
        (words("week_fact_bearing"), [*bearing_lines(field), last_line(field)]),
        (words("week_fact_keep"), [keep_line(field)]),
        (words("week_fact_mix"), [f"{opened(words(f'task_{task}'))}: {line}" for task, line in mix.items()]),
        (words("week_fact_handful"), [handful_line(("drag", "level"), words)]),
    ]  # fmt: skip
    return {
        "id": field.seen.field_id, "name": field.seen.name, "site": titled(field.seen.site),
        "hazards": [{"text": text, "place": h.place_id, "item": h.measure.replace("_", " ")} for h, text in zip(held, said)],
        "act": said[-1] if held else "", "facts": [f for f in facts if f[1]], "svg": phone_plan(field),
    }  # fmt: skip


def _data(fields: Sequence[FieldWeek], weeks: Sequence[dt.date], title: str, quiet_weeks: int, words: Words) -> str:
    """What the script works with, as JSON that may stand in a page."""
    plain = {
        "project": project_of(fields, title), "columns": COLUMNS, "words": {key: words.phrases[key] for key in HANDED},
        "works": {w: words(f"work_{w}") for w in WORKS}, "tasks": {t: opened(words(f"task_{t}")) for t in sorted({p.task for f in fields for p in f.planned})},
        "moistures": {m: words(f"handful_{m}") for m in MOISTURES}, "hands": {m: words(f"week_hand_{m}") for m in MOISTURES}, "corners": {c: words(f"runs_entry_{c}") for c in CORNERS},
        "units": {u: words(f"week_unit_{u}") for u in MIX_UNITS}, "seen": {s: words(f"week_seen_{s}") for s in SEEN},
        "actions": {a: words(f"week_action_{a}") for a in ACTIONS}, "off": {w: [m for m in MOISTURES if possible(w, m) == NOT] for w in JUDGED},
        "rolled": ROLLED, "mixed": [*WITH_MIX, "lip_cut", "sod", "rebuild", "other"],
        "weeks": [_week(monday, fields, quiet_weeks, words) for monday in weeks],
        "fields": {f.seen.field_id: _of_field(f, words) for f in fields},
    }  # fmt: skip
    text = json.dumps(plain, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _week(monday: dt.date, fields: Sequence[FieldWeek], quiet_weeks: int, words: Words) -> dict:
    tasks = [(p.order, f.seen.field_id, p) for f in fields for p in f.planned if week_of(p.on) == monday]
    lines = {f.seen.field_id: (bases_line(f, monday, words), gap_line(f, monday, quiet_weeks)) for f in fields}
    return {
        "start": monday.isoformat(), "name": words("week_of", day=words.date(monday)),
        "tasks": [[f, p.task, p.on.isoformat(), weekday(p.on, words), p.hours if p.hours is None else round(p.hours, 2), opened(p.reason)] for _, f, p in sorted(tasks, key=lambda t: t[:2])],
        "bases": {f: bases for f, (bases, _) in lines.items() if bases}, "gaps": {f: gap for f, (_, gap) in lines.items() if gap},
    }  # fmt: skip


def _of_field(field: FieldWeek, words: Words) -> dict:
    reader = field.seen.reader
    places: Mapping[str, tuple] = {p.place_id: (p.e / field.crs_m, p.n / field.crs_m) for p in reader.placing.layout.places}
    return {
        "name": field.seen.name, "runs": {task: [round(run["bearing_deg"]), run["entry"]] for task in ROLLED if (run := run_of(field, task)) is not None},
        "ground": [float(f"{v:.10g}") for v in to_ground(frame_of(field), field.crs_m)],
        "places": [[place_id, reader.placing.place(place_id), round(e, 2), round(n, 2)] for place_id, (e, n) in places.items()],
    }  # fmt: skip
