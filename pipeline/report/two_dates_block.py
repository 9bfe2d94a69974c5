"""The field page's block of any two dates: what the script is handed, and the words around it."""

from __future__ import annotations

import json
from itertools import pairwise

from pipeline.report.field_input import FieldInput
from pipeline.report.figures import limit
from pipeline.report.saying import Sayer
from pipeline.report.two_dates import MOVED, STEPS, carried, over, under

TOLD = ("none", "same", "said", "said_tied", "title")


def two_dates_block(given: FieldInput, sayer: Sayer) -> dict:
    """data (JSON, safe inside a script), drawings to lie under and over the pictures, legends; empty with fewer than two usable dates."""
    units, words = sayer.units, sayer.words
    data = carried(given.surfaces, given.first_plane, given.layout, given.settings.report.map_cell_m, units, {s.survey_id: sayer.day(s.flown_on, s.survey_id) for s in given.surfaces})
    if not data:
        return {}
    data["words"] = {name: words(f"two_{name}", **{k: f"{{{k}}}" for k in _asked(name)}) for name in TOLD}
    steps, moved = ([limit(v, units.height) for v in table[units.system]] for table in (STEPS, MOVED))
    return {
        "data": json.dumps(data, ensure_ascii=True, separators=(",", ":")).replace("<", "\\u003c"), "under": under(given.layout, given.edges), "over": over(given.layout, units, words("north")),
        "box": f"0 0 {data['width']:g} {data['height']:g}", "reads": words("two_reads", day=sayer.day(given.surfaces[0].flown_on, given.surfaces[0].survey_id), least=moved[0]),
        "plane": [words("two_lower", h=steps[2]), *(words("two_low", a=a, b=b) for b, a in pairwise(reversed(steps))), words("two_near", h=steps[0]),
                  *(words("two_high", a=a, b=b) for a, b in pairwise(steps)), words("two_higher", h=steps[2])],
        "lost": words("two_lost", h=moved[0]), "gained": words("two_gained", h=moved[0]), "steps": words("two_steps", a=moved[1], b=moved[2]),
    }  # fmt: skip


def _asked(name: str) -> tuple[str, ...]:
    """What the script fills in of a phrase."""
    return {"said": ("earlier", "later", "lost", "gained", "seen"), "said_tied": ("earlier", "later", "lost", "gained", "seen", "mean", "tie"), "title": ("earlier", "later")}.get(name, ())
