"""A fall against the owner's limits, in words. `sayer` is the field's `Sayer`."""

from __future__ import annotations

from math import inf

from pipeline.report.figures import printed
from pipeline.report.findings import Finding
from pipeline.surface.verdict import SURE_SDS, WATCH, WORK


def fall_says(finding: Finding, sayer) -> str:
    """'the skin by second base falls 0.2 % ± 0.08, less than the 0.5 % wanted': a fall against the owner's limits."""
    row, wanted = finding.row, sayer.tolerances
    fall = sayer.fall(row["fall_along_pct"], row["fall_along_sigma_pct"])
    if row["fall_verdict"] == "too_steep":
        fall = sayer.fall(row["slope_pct"], row["slope_sigma_pct"])
    field_id = sayer.placing.layout.field_id
    least, most = (sayer.words("unlimited") if v is None else sayer.slope(v) for v in (wanted.of(n, field_id) for n in ("slope_min_pct", "slope_max_pct")))
    toward = wanted.of("fall_bearing_deg", field_id)
    way = "" if toward is None else sayer.words("fall_toward", bearing=f"{printed(toward, 0)}\u00b0")
    return sayer.words(f"is_fall_{row['fall_verdict']}", where=sayer.where(finding), fall=fall, least=least, most=most, way=way)


def fall_flips(finding: Finding, sayer) -> str:
    """The fall, known as well as this one, at which the verdict on it would be another."""
    row, told, field_id = finding.row, finding.row["fall_verdict"], sayer.placing.layout.field_id
    least, most = (sayer.tolerances.of(name, field_id) for name in ("slope_min_pct", "slope_max_pct"))
    if told == "cannot_tell":
        return ""
    away = [abs(row["fall_along_pct"] - least) if least is not None else inf, abs(row["slope_pct"] - most) if most is not None else inf]
    flat = told == "too_flat" or told == "near" and away[0] <= away[1]
    turn = least - SURE_SDS * row["fall_along_sigma_pct"] if flat else most + SURE_SDS * row["slope_sigma_pct"]
    key, word = ("flips_below" if flat else "flips_from", WORK) if told == "near" else ("flips_from" if flat else "flips_below", WATCH)
    return sayer.words("flips", what=sayer.words(key, word=sayer.words(f"verdict_{word}").lower(), height=sayer.slope(turn)))
