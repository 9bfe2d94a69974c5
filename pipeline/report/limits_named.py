"""Against which of the owner's limits a verdict stands: what it is, whose, and since when."""

from __future__ import annotations

from pipeline.report.figures import limit
from pipeline.report.findings import FALL
from pipeline.report.saying import EDGE_LIMITS, LIMITS, Sayer
from pipeline.report.standing import Standing, leading
from pipeline.surface.verdict import UNSAFE, WATCH, WORK

MOST = 3  # limits named in one line; the table under "How sure" has all


def held_against(now: Standing, sayer: Sayer) -> str:
    """'Limits: low spot 20 mm, set by the park board on 3 March 2025.' of what the verdict's word stands on; empty without."""
    names: dict[str, None] = {}
    for f in leading(now, (UNSAFE, WORK, WATCH)):
        if f.word != now.verdict:
            continue
        if f.kind == FALL:
            names |= dict.fromkeys(("slope_min_pct", "slope_max_pct"))
        else:
            names[LIMITS.get(f.kind, EDGE_LIMITS)[f.word == UNSAFE]] = None
    said = []
    for name in names:
        owned = getattr(sayer.tolerances, name) if name else None
        if owned is not None:
            value = owned.of(sayer.placing.layout.field_id)
            figure = sayer.slope(value) if name.endswith("_pct") else limit(value, sayer.units.height)
            said.append(sayer.words("limit_named", limit=sayer.words(f"tolerance_{name}"), value=figure, signed=sayer.signed_by(owned)))
    return sayer.words("limits_named", what="; ".join(said[:MOST])) if said else ""
