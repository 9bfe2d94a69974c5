"""Where the mix went between two surveys: skin, edges, turf beyond, trucks, and what nothing explains."""

from __future__ import annotations

import math

from pipeline.report.field_input import FieldInput
from pipeline.report.figures import NBSP, Z95, Unit, decimals_of, figure, printed
from pipeline.report.placing import compass
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.words import opened

TERMS = ("skin", "edge", "beyond", "delivered", "unexplained")
DETECTED_P = 0.05
OUT_M = 30.0  # from the skin's middle: past its edge, so that the side of the field can be named
HABITS = ("along_passes", "out_of_corner")


def balance_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict:
    """The newest survey against the one before and against the baseline: a table, and each pair read out.

    `pairs` is empty where there are not two surveys.
    """
    if now.newest is None or now.before is None:
        return {"pairs": []}
    newest = now.newest.survey_id
    base = given.records[newest].get("baseline")
    rows = {r["from_survey"]: r for r in given.tables["balance"] if r["to_survey"] == newest}
    days = {s.survey_id: s.flown_on for s in now.surveys}
    shown = [rows[a] for a in dict.fromkeys((now.before.survey_id, base)) if a in rows and a in days]
    heads = [sayer.words("balance_since", day=sayer.day(days[r["from_survey"]], r["from_survey"])) for r in shown]
    table = [[sayer.words(f"balance_{term}"), *(_cell(r, term, sayer) for r in shown)] for term in TERMS]
    told = any(r["unexplained_m3"] is not None or r["skin_m3"] is not None for r in shown)
    return {
        "heads": heads, "table": table if told else [], "pairs": [{"head": h, "lines": _read(r, given, sayer)} for h, r in zip(heads, shown)],
    }  # fmt: skip


def _cell(row: dict, term: str, sayer: Sayer) -> str:
    value, sigma = row[f"{term}_m3"], row[f"{term}_sigma_m3"]
    if value is None:
        return sayer.words("not_told")
    if term == "delivered" and not value and not sigma:
        return sayer.words("no_ticket")
    return figure(value, sigma, sayer.units.volume, signed=term != "delivered")


def _read(row: dict, given: FieldInput, sayer: Sayer) -> list[str]:
    """One pair in sentences: what its sum says, which way mix moved, what limits the figures."""
    words = sayer.words
    if row["skin_m3"] is None:
        return [words("balance_none", why=words.told(row["reason"]))]
    out = [_sum(row, given, sayer), _moved(row, given, sayer), _record(row, given, sayer)]
    if row["notes"]:
        out.append(words("balance_limits", notes=words.told(row["notes"])))
    return [line for line in out if line]


def _sum(row: dict, given: FieldInput, sayer: Sayer) -> str:
    words, unit = sayer.words, sayer.units.volume
    skin = figure(row["skin_m3"], row["skin_sigma_m3"], unit, signed=True)
    seen = abs(row["skin_m3"]) > Z95 * row["skin_sigma_m3"]
    lead = words("balance_skin_gained" if row["skin_m3"] > 0 else "balance_skin_lost", skin=skin) if seen else words("balance_skin_untold", skin=skin)
    if row["unexplained_m3"] is None:
        return f"{lead} {words('balance_no_sum', why=words.told(row['reason']))}"
    left = figure(row["unexplained_m3"], row["unexplained_sigma_m3"], unit, signed=True)
    if row["balanced"]:
        area = given.layout.skin.area
        least = Z95 * row["unexplained_sigma_m3"]
        return f"{lead} " + words("balance_within", left=left, least=_about(least, unit), height=sayer.height(least / area * 1000))
    return f"{lead} " + words("balance_over" if row["unexplained_m3"] > 0 else "balance_short", left=left)


def _record(row: dict, given: FieldInput, sayer: Sayer) -> str:
    """How full the record of works is over the time of a pair: what is not in it, the sum cannot know."""
    days = {s["survey_id"]: s["flown_on"] for s in given.surveys}
    first, last = days.get(row["from_survey"]), days.get(row["to_survey"])
    if first is None or last is None or row["unexplained_m3"] is None:
        return ""
    between = [w for w in given.works if first < w["done_on"] <= last]
    weeks = max((last - first).days // 7, 1)
    held = len({(w["done_on"] - first).days // 7 for w in between})
    mix = len({w["done_on"] for w in between if w["work"] == "mix_add"})
    return sayer.words("balance_record", held=min(held, weeks), weeks=weeks, mix=sayer.words("balance_record_mix", days=mix) if mix else sayer.words("balance_record_no_mix"))


def _about(value: float, unit: Unit) -> str:
    """A size that is only known roughly, with as many digits as an uncertainty has."""
    here = value / unit.size
    return f"{printed(here, max(min(decimals_of(here), unit.finest), 0))}{NBSP}{unit.name}"


def _moved(row: dict, given: FieldInput, sayer: Sayer) -> str:
    """Which way, and whether the works recorded would do that."""
    words, bearing = sayer.words, row["moved_bearing_deg"]
    if bearing is None or row["moved_p"] is None or row["moved_p"] > DETECTED_P:
        return words("moved_not")
    a = math.radians(bearing)
    e, n = math.sin(a), math.cos(a)
    x, y = given.layout.centre
    side = sayer.placing.by(x + OUT_M * e, y + OUT_M * n)
    said = words("moved_toward", arrow=ARROWS[round(bearing / 45.0) % 8], side=words(f"compass_{compass(e, n)}"), by=side,
                 half=f"{Z95 * row['moved_bearing_sigma_deg']:.0f}")  # fmt: skip
    habits = [words(f"{name}_{row[name]}") for name in HABITS if row[name] in ("agrees", "differs")]
    return " ".join([said, *(opened(h) for h in habits or [words("moved_cause_untold")])])


ARROWS = ("\u2191", "\u2197", "\u2192", "\u2198", "\u2193", "\u2199", "\u2190", "\u2196")  # north up, clockwise
